"""Whether ripple, dip and lines of captures hold the plant's own truth.

``python -m tests.campaign.captured [--worlds N]`` prints a row a quantity: how many of
the 95 % intervals hold what the plant did at every microsecond, filtered to the band by
scipy, and how wide they are for it. Worlds are drawn from what is usual on such stands
(common practice, no source); the analysis sees samples alone.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, ellip, sosfiltfilt

from daq.analysis.aliases import tell_apart
from daq.analysis.captures import Capture
from daq.analysis.measured import Measured
from daq.analysis.noise import with_scale
from daq.analysis.ripple import Ripple, read_ripple
from daq.analysis.series import Series
from daq.link import messages as m
from daq.link.bursts import Blocks, Captured
from daq.link.messages import ChannelPage
from daq.stand.capture import BurstMaker
from daq.stand.device import Device
from daq.stand.plant.bench import STEP_S, Plant
from daq.stand.plant.drawn import without_capacitor
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import changed

Array = NDArray[np.float64]
KEY: Final = 11_2026
PERIODS_US: Final = (10, 13)
SAMPLES: Final = 1000
GRID_S: Final = 1e-6
SPIN_UP_S: Final = 0.7
REST_PULSE_S: Final = 1e-3
PUNCH_PERIOD_US: Final = 100
LONGER_MS: Final = 60
END_US: Final = 2_000  # left out at both ends, where a filter settles


@dataclass(frozen=True, slots=True)
class Held:
    """One figure of one world.

    Attributes:
        quantity: of what.
        truth: what the plant did.
        value: what was found.
        low: end of its interval.
        high: the other end.
    """

    quantity: str
    truth: float
    value: float
    low: float
    high: float

    @property
    def holds(self) -> bool:
        return self.low <= self.truth <= self.high

    @property
    def half_rel(self) -> float:
        return 0.5 * (self.high - self.low) / abs(self.truth)


def world(seed: int) -> tuple[Truth, float]:
    """A stand, and the pulse that it is held at."""
    sequence = np.random.SeedSequence(seed, spawn_key=(KEY,))
    rng = np.random.Generator(np.random.PCG64(sequence))
    facts = changed(
        {
            "chopping.frequency_hz": rng.uniform(18e3, 46e3),
            "esc.bus_capacitance_f": rng.uniform(10e-6, 60e-6),
            "leads.resistance_ohm": rng.uniform(0.006, 0.03),
            "bus_capacitor.capacitance_f": rng.uniform(80e-6, 400e-6),
            "bus_capacitor.esr_ohm": rng.uniform(0.015, 0.08),
            "fast.wiring_h": rng.uniform(0.1e-6, 0.6e-6),
            "fast.motor_h": rng.uniform(8e-6, 30e-6),
            "fast.pole_pairs": int(rng.integers(6, 8)),
            "fast.commutation_dip_frac": rng.uniform(0.1, 0.6),
            "fast.voltage_filter_s": rng.uniform(3e-6, 12e-6),
            "fast.voltage_step_v": rng.choice([0.01, 0.02, 0.04]),
            "fast.noise_steps_rms": rng.uniform(0.1, 0.5),
        },
        "rough",
    )
    if rng.random() < 0.5:
        facts = without_capacitor(facts)
    return facts, float(rng.uniform(1.3e-3, 1.9e-3))


def captured(
    plant: Plant, pulse_s: tuple[float, float], period_us: int, label: str
) -> tuple[Capture, Array]:
    """A capture over the wire's own bytes, and the truth at each microsecond of it.

    ``pulse_s`` is what the ESC is given before the trigger and from it on.
    """
    page = next(page for page in Device(plant).channels if page.name == "voltage")
    before = SAMPLES // 4
    command = m.Capture(
        number=1,
        boot=1,
        channel=page.index,
        period_ns=1000 * period_us,
        count=SAMPLES,
        before=before,
        trigger=m.Trigger.AT_ONCE,
        level=0,
        patience_ms=5000,
    )
    making = BurstMaker(command, "voltage", plant.converter("voltage"), 0)
    now_us, waves = 0, []
    while not making.over:
        plant.advance(STEP_S, pulse_s[now_us >= before * period_us])
        for count in plant.conversions("voltage", making.due_us - now_us, period_us):
            making.take(count)
        moments = plant.moments
        assert moments is not None
        waves.append(moments.filtered("voltage"))
        now_us += 1000
    blocks = Blocks(1, page)
    while not making.sent:
        blocks.take(making.next_block(), 0.0)
    got = blocks.result()
    assert isinstance(got, Captured)
    return _as_capture(got, page, label), np.concatenate(waves)


def _longer(plant: Plant, pulse_s: float) -> Array:
    """The truth at each microsecond of what comes next."""
    waves = []
    for _ in range(LONGER_MS):
        plant.advance(STEP_S, pulse_s)
        moments = plant.moments
        assert moments is not None
        waves.append(moments.filtered("voltage"))
    return np.concatenate(waves)


def _as_capture(got: Captured, page: ChannelPage, label: str) -> Capture:
    counts = np.array([float("nan") if c is None else c for c in got.counts])
    return Capture(
        channel="voltage",
        label=label,
        segment=0,
        t_s=np.array(got.times_s),
        value_si=(counts - page.zero_counts) / page.counts_per_unit,
        period_s=got.period_s,
        step_si=got.step_si,
        at_top=got.at_top,
        lost=0,
        device_s=0.0,
    )


def in_band(wave: Array, ripple: Ripple, *, upper: bool) -> float:
    """Root mean square of the plant's own voltage in the band, while it is held."""
    low_hz, high_hz = ripple.band_hz
    quick = sosfiltfilt(
        butter(4, low_hz, "highpass", fs=1.0 / GRID_S, output="sos"), wave
    )
    if upper:  # as steep as can be: lines lie close to the band's end
        keeps = ellip(10, 0.01, 80.0, high_hz, fs=1.0 / GRID_S, output="sos")
        quick = sosfiltfilt(keeps, quick)
    return float(quick[END_US:-END_US].std())


def _held(quantity: str, truth: float, found: Measured) -> Held:
    low, high = found.interval()
    return Held(quantity, truth, float(found.value[0]), float(low[0]), float(high[0]))


def judged(seed: int) -> Iterator[Held]:
    """All figures of one world."""
    facts, pulse_s = world(seed)
    plant = Plant(facts, seed)
    plant.advance(SPIN_UP_S, pulse_s)
    scale = Series(
        "voltage",
        "voltage",
        np.arange(4.0),
        np.full(4, 11.0),
        facts.voltage_sensor.tolerance_rel,
        1e-3,
    )
    ripples, waves = [], []
    for period_us in PERIODS_US:
        capture, wave = captured(plant, (pulse_s, pulse_s), period_us, "level")
        ripple = read_ripple(capture)
        assert ripple is not None
        ripples.append(with_scale(ripple, scale))
        waves.append(wave)
    held = np.concatenate([*waves, _longer(plant, pulse_s)])
    yield _held(
        "ripple that reaches the converter",
        in_band(held, ripples[0], upper=False),
        ripples[0].rms_si,
    )
    pair = tell_apart(*ripples)
    assert pair is not None
    yield _held(
        "ripple in band, aliases taken off",
        in_band(held, ripples[0], upper=True),
        pair.in_band_rms_si,
    )
    chopping_hz = facts.chopping_hz
    assert chopping_hz is not None
    line = min(ripples[0].lines, key=lambda one: abs(one.hertz - chopping_hz))
    yield _held("frequency of the chopping", chopping_hz, line.frequency_hz)
    plant.advance(SPIN_UP_S, REST_PULSE_S)
    capture, wave = captured(plant, (REST_PULSE_S, pulse_s), PUNCH_PERIOD_US, "punch")
    ripple = read_ripple(capture)
    assert ripple is not None
    change = with_scale(ripple, scale).transient
    assert change is not None
    before_us = SAMPLES // 4 * PUNCH_PERIOD_US
    deep = float(wave[: before_us // 2].mean() - wave.min())
    yield _held("dip of the punch", deep, change.depth_si)


def table(worlds: int, first: int = 0) -> dict[str, list[Held]]:
    """Every figure of so many worlds, by quantity."""
    rows: dict[str, list[Held]] = {}
    for seed in range(first, first + worlds):
        for one in judged(seed):
            rows.setdefault(one.quantity, []).append(one)
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.captured")
    parser.add_argument("--worlds", type=int, default=100, metavar="N")
    worlds = parser.parse_args().worlds
    print("SIMULATED: plants of tests/campaign/captured.py, captures of 1,000 samples.")
    print(f"{'quantity':<40}{'hold':>12}{'half width':>12}{'error, median':>16}")
    for quantity, held in table(worlds).items():
        hold = sum(one.holds for one in held)
        half = float(np.median([one.half_rel for one in held]))
        error = float(np.median([one.value / one.truth - 1.0 for one in held]))
        counted = f"{hold}/{len(held)}"
        print(f"{quantity:<40}{counted:>12}{half:>12.2%}{error:>16.2%}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
