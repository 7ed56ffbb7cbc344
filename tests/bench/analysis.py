"""How long the numbers take: a run's findings, an hour at 1 kHz, plain averages.

Readings are invented: autocorrelated noise about a known truth. Everything that is
imported once has been, and one core does the work. The columns are read once from the
kind of file that a run's samples are kept in, and once more where they are in memory
already, which is as fast as memory is.
"""

import tempfile
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from daq.analysis.air import assumed_air
from daq.analysis.aircraft import Aircraft
from daq.analysis.aliases import tell_apart
from daq.analysis.curves import draw_curves
from daq.analysis.plateaus import average
from daq.analysis.power import electrical_power, specific_thrust
from daq.analysis.ripple import read_ripple
from daq.analysis.run import Analysis, analyse
from daq.analysis.scale import PowerPart, Scale, StrayPart
from daq.analysis.series import Hold, Series
from daq.analysis.unseen import USUAL
from daq.units import gf_to_n
from tests.daq.analysis.invented import DIAMETER_M, Noise, record, staircase
from tests.daq.analysis.sampled import sampled

LEVELS: Final = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
TEN_MINUTES_S, HOUR_S = 600.0, 3600.0
REPEATS: Final = 3
AIRCRAFT: Final = Aircraft(4, gf_to_n(180.0), 0.6, 1620.0, 3)


def measure(quick: bool) -> Iterable[tuple[str, str]]:
    """Figures, each with what it is."""
    repeats = 1 if quick else REPEATS
    holds, series = _run_of(TEN_MINUTES_S, 500.0)
    series = {name: _calibrated(channel) for name, channel in series.items()}
    _findings(holds, series)  # whatever is imported on first use
    took_s = _best_s(lambda: _findings(holds, series), repeats)
    yield "findings of 10 minutes at 500 Hz, budgets and aircraft", _ms(took_s)

    yield from _captures(repeats)

    span_s = HOUR_S / 10.0 if quick else HOUR_S
    holds, series = _run_of(span_s, 1000.0)
    series |= _more(series)
    columns = [channel.value_si for channel in series.values()]
    file_s = _from_file_s(columns, repeats)
    took_s = _best_s(lambda: _fits(holds, series), repeats)
    what = f"{span_s / 60.0:.0f} minutes at 1 kHz, {len(series)} channels"
    yield f"{what}: plateaus and fits", _ms(took_s)
    averages_s = _best_s(lambda: average(series, holds), repeats)
    reading_s = _best_s(lambda: [float(column.sum()) for column in columns], repeats)
    yield f"{what}: plateaus alone", _ms(averages_s)
    yield f"{what}: columns read from a file", _ms(file_s)
    yield f"{what}: columns summed in memory", _ms(reading_s)
    yield "plateaus over reading the file once", f"{averages_s / file_s:7.1f} x"
    yield "plateaus over summing once", f"{averages_s / reading_s:7.1f} x"


def _captures(repeats: int) -> Iterable[tuple[str, str]]:
    """Captures of 1,000 points: each function, and over one spectrum of as many."""
    level, other = (
        sampled(_rippled, period_s=period_s, step=0.02) for period_s in (1e-5, 1.3e-5)
    )
    punch = sampled(_dipped, period_s=1e-4, step=0.02, label="punch")
    pair = [read_ripple(one) for one in (level, other)]
    read_ripple(punch)
    spectrum_s = _best_s(lambda: np.fft.rfft(level.value_si, 4 * 1000), 20 * repeats)
    for what, one in (("a level", level), ("a punch", punch)):
        took_s = _best_s(partial(read_ripple, one), 3 * repeats)
        yield f"ripple of 1,000 points, {what}", _ms(took_s)
    if pair[0] is not None and pair[1] is not None:
        took_s = _best_s(partial(tell_apart, pair[0], pair[1]), 3 * repeats)
        yield "lines of two captures told apart", _ms(took_s)
    if spectrum_s > 0.0:
        ripple_s = _best_s(partial(read_ripple, level), 3 * repeats)
        yield "ripple over one spectrum", f"{ripple_s / spectrum_s:7.1f} x"


def _rippled(t_s: np.ndarray) -> np.ndarray:
    lines = ((24e3, 0.3), (48e3, 0.1), (17.3e3, 0.05), (144e3, 0.03))
    noise = np.random.default_rng(1).normal(0.0, 0.01, t_s.size)
    return noise + sum(a * np.sin(2.0 * np.pi * f * t_s) for f, a in lines) + 11.5


def _dipped(t_s: np.ndarray) -> np.ndarray:
    gone = np.where(t_s < 0.0, 0.0, np.exp(-t_s / 20e-3) - np.exp(-t_s / 2e-3))
    return np.asarray(_rippled(t_s) - 2.0 * gone)


def _from_file_s(columns: Iterable[np.ndarray], repeats: int) -> float:
    """How long the counts take to read back, as a run's samples are kept."""
    names = (f"channel-{n}" for n in range(99))
    counts = (np.round(1e3 * column).astype(np.int64) for column in columns)
    table = pd.DataFrame(dict(zip(names, counts, strict=False)))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "samples.parquet"
        table.to_parquet(path, compression="zstd", index=False)
        return _best_s(lambda: pd.read_parquet(path), repeats)


def _calibrated(channel: Series) -> Series:
    """As if by a calibration: as many causes, of such sizes."""
    names = ("gain", "standards", "repeatability", "seating", "creep", "drift")
    parts = [PowerPart(name, (1,), np.array([[1e-3]])) for name in names]
    parts.append(PowerPart("zero return", (0, 1), np.eye(2) * 1e-4))
    largest = float(np.nanmax(np.abs(channel.value_si)))
    knots = largest * np.array([1.0, 2.0, 3.0]) / 3.0
    stray = StrayPart("straightness", knots, np.full(3, 3e-4 * largest), 4.0)
    turned = StrayPart("hysteresis", knots, np.full(3, 3e-4 * largest), 4.0)
    return replace(channel, scale=Scale(tuple(parts), (stray,), turned))


def _run_of(span_s: float, rate_hz: float) -> tuple[list[Hold], dict[str, Series]]:
    """A staircase, up and down, that lasts so long."""
    dwells = 2 * len(LEVELS) - 1
    rest_s = span_s / (dwells + 2.0)
    holds = staircase(LEVELS, dwell_s=rest_s - 0.3, rest_s=rest_s)
    rng = np.random.default_rng(1)
    return holds, record(holds, Noise(), rng, rate_hz=rate_hz)


def _more(series: Mapping[str, Series]) -> dict[str, Series]:
    """Extremes, and channels of which nothing is made, so that there are eight."""
    found = {}
    for name, like in (
        ("current-high", "current"),
        ("voltage-low", "voltage"),
        ("winding-temp", "voltage"),
        ("esc-temp", "voltage"),
    ):
        one = series[like]
        found[name] = Series(
            name, one.quantity, one.t_s, one.value_si.copy(), 0.01, one.resolution_si
        )
    return found


def _findings(holds: list[Hold], series: Mapping[str, Series]) -> Analysis:
    found = analyse(
        series,
        holds,
        diameter_m=DIAMETER_M,
        diameter_u_m=2e-4,
        air=assumed_air(),
        aircraft=AIRCRAFT,
        unseen=USUAL,
    )
    for finding in found.findings:
        finding.to_dict()
    return found


def _fits(holds: list[Hold], series: Mapping[str, Series]) -> None:
    plateaus = average(series, holds, unseen=USUAL)
    power = electrical_power(series, plateaus)
    thrust = plateaus.measured("thrust")
    if power is not None and thrust is not None:
        draw_curves(plateaus, power.measured, specific_thrust(thrust, power.measured))


def _best_s(work: Callable[[], object], repeats: int) -> float:
    """Least of a few times, in seconds of one core, whatever else is running."""
    times = []
    for _ in range(repeats):
        begin_s = time.process_time()
        work()
        times.append(time.process_time() - begin_s)
    return min(times)


def _ms(seconds: float) -> str:
    return f"{1e3 * seconds:7.0f} ms"
