"""Shaking far above half the rate of steps, against a fine grid and scipy."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lsim

from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import QUIET, bench_supply, changed

FINE_S = 2e-6
PERIOD_S = 1.0 / 80.0
GAIN = 43_800_000.0  # counts that tell a micronewton apart


def shaken(rev_s: float, resonance_hz: float = 150.0, **changes: float) -> Truth:
    """A heavy rotor that keeps its speed, once it is there, on a stiff mount."""
    # Coasting without friction: no current, no torque, no thrust to speak of.
    vibration: dict[str, object] = {
        "vibration.imbalance_kg_m": 2e-7,
        "vibration.axial_frac": 0.2,
        "vibration.blade_pass_frac": 0.0,
    }
    return changed(
        QUIET
        | bench_supply(rev_s * 60.0 / 4600.0)
        | {
            "motor.no_load_current_a": 0.0,
            "motor.no_load_growth_a_s_rad": 0.0,
            "motor.inertia_kg_m2": 2.6e-8,
            "propeller.inertia_kg_m2": 1e-9,
            "propeller.speed_rpm": None,
            "propeller.ct": 1e-9,
            "propeller.cp": 1e-9,
            "propeller.blades": 3,
            "load_cell.counts_per_n": GAIN,
            "mount.resonance_hz": resonance_hz,
        }
        | vibration
        | changes
    )


def conversions(plant: Plant, duration_s: float) -> list[float]:
    out = []
    for _ in range(round(duration_s / 1e-3)):
        plant.advance(1e-3, 2.0e-3)
        count = plant.take_conversion()
        if count is not None:
            out.append(count / GAIN)
    return out


def fine(force: NDArray[np.float64], truth: Truth, number: int) -> NDArray[np.float64]:
    """The force through the mount by scipy, then through the converter's kernel."""
    w, zeta = 2.0 * math.pi * truth.mount.resonance_hz, truth.mount.damping_ratio
    time_s = np.arange(len(force)) * FINE_S
    _, felt, _ = lsim(([w * w], [1.0, 2.0 * zeta * w, w * w]), force, time_s)
    size = round(PERIOD_S / FINE_S)
    middle = 0.5 * (felt[1:] + felt[:-1])[: number * size]
    means: NDArray[np.float64] = middle.reshape(number, size).mean(axis=1)
    filtered: NDArray[np.float64] = (means[:-2] + 4.0 * means[1:-1] + means[2:]) / 6.0
    return filtered


@pytest.mark.slow
@pytest.mark.parametrize("rev_s", [90.0, 437.0, 655.0, 881.0])
def test_an_imbalance_comes_out_aliased_as_on_a_fine_grid(rev_s: float) -> None:
    # 1/rev at 90 Hz to 881 Hz against conversions at 80 Hz and steps at 1 kHz.
    truth = shaken(rev_s)
    plant = Plant(truth, 1)
    begin = conversions(plant, 1.0)
    assert len(begin) == 80
    turned = plant._press.turned_rad  # type: ignore[union-attr]
    speed = plant.state.speed_rad_s
    assert speed == pytest.approx(2.0 * math.pi * rev_s, rel=1e-6)
    seen = np.array(conversions(plant, 1.0))
    # From the same angle of the shaft on, with 1 s more for the mount to settle in.
    settle = 40
    time_s = np.arange(round((settle + 80) * PERIOD_S / FINE_S) + 1) * FINE_S
    angle = turned + speed * (time_s - settle * PERIOD_S)
    force = 0.2 * 2e-7 * speed**2 * np.cos(angle)
    expected = fine(force, truth, settle + 80)[settle - 2 :]
    scale = np.abs(expected).max()
    assert scale > 5e-6  # newton
    assert seen == pytest.approx(expected, abs=max(2e-3 * scale, 3e-8))


def test_a_force_at_twice_an_eightieth_of_the_rate_is_averaged_away() -> None:
    # 640 Hz is eight turns a conversion: sinc(8) = 0. Half a turn more is not.
    even = np.array(conversions(Plant(shaken(640.0), 1), 2.0))[100:]
    odd = np.array(conversions(Plant(shaken(680.0), 1), 2.0))[100:]
    assert even.std() < 0.02 * odd.std()


def test_blades_pass_at_their_number_times_the_turns() -> None:
    # A thrust of 0.4 N or so of which 5 % come and go three times a turn: what is
    # left of it is aliased at |3 n - k 80| Hz.
    truth = shaken(
        317.0,
        **{
            "load_cell.counts_per_n": GAIN / 10.0,
            "vibration.imbalance_kg_m": 0.0,
            "vibration.blade_pass_frac": 0.05,
            "propeller.ct": 0.10,
            "propeller.cp": 0.06,
        },
    )
    plant = Plant(truth, 1)
    conversions(plant, 1.0)
    assert plant.state.thrust_n > 0.3
    seen = np.array(conversions(plant, 16.0))
    spectrum = np.abs(np.fft.rfft(seen - seen.mean()))
    found_hz = float(np.argmax(spectrum)) / 16.0
    rev_s = plant.state.speed_rad_s / (2.0 * math.pi)
    passing_hz = 3.0 * rev_s
    alias_hz = abs(passing_hz - 80.0 * round(passing_hz / 80.0))
    assert found_hz == pytest.approx(alias_hz, abs=0.1)


def test_the_mounts_resonance_lets_through_what_the_textbook_says() -> None:
    # |H| = 1/sqrt((1 - r^2)^2 + (2 zeta r)^2): 1/(2 zeta) = 6.25 at resonance against
    # 1/3 at twice it. Den Hartog, Mechanical Vibrations.
    sizes = []
    for resonance_hz in (437.0, 437.0 / 2.0):
        seen = np.array(conversions(Plant(shaken(437.0, resonance_hz), 1), 4.0))[160:]
        sizes.append(seen.std())
    at_twice = 1.0 / math.sqrt((1.0 - 4.0) ** 2 + (2.0 * 0.08 * 2.0) ** 2)
    assert sizes[0] / sizes[1] == pytest.approx(6.25 / at_twice, rel=0.02)


def test_an_imbalance_pulls_with_the_square_of_the_speed_and_never_on_average() -> None:
    # m r omega^2; no share of it is steady, so that a mean is not shifted by it.
    seen = np.array(conversions(Plant(shaken(881.0), 1), 10.0))[80:]
    assert abs(seen.mean()) < 0.02 * seen.std()
    assert Plant(shaken(881.0), 1).state.felt_n == 0.0
