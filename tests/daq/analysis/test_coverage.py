"""Do 95 % intervals hold the truth 95 times in 100?

Whole invented runs with known truth, analysed as a person's would be: noise is
autocorrelated, the zero of thrust wanders, scale factors, diameter and density
are off by draws from the distributions that the analysis is told. One interval
of each kind is taken from each run, so that the counts are binomial.

Bounds: the lower one is the 0.1 % point of the binomial at 95 %. Where the
uncertainty is mostly a scale factor of stated distribution the count must also
lie below the 99.9 % point. Where it is mostly estimated (few rests, correlated
noise) the analysis errs on the wide side by design and only the lower bound
holds.
"""

import math
from collections import Counter

import numpy as np
import pytest
from scipy.special import bdtrik

from daq.analysis.air import Air
from daq.analysis.measured import Measured
from daq.analysis.plateaus import average
from daq.analysis.run import Analysis, analyse
from daq.analysis.series import Hold
from daq.units import n_to_gf
from tests.daq.analysis.invented import (
    DENSITY_KG_M3,
    DIAMETER_M,
    PACK_V,
    POWER_EXPONENT,
    THRUST_COEFFICIENT,
    Noise,
    record,
    staircase,
    truth_at,
)

RUNS = 120
LEVELS = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
#: Scale factors known so well that everything else shows.
EXACT = dict.fromkeys(("thrust", "current", "voltage", "speed"), 1e-5)
#: Findings and plateau values whose uncertainty is mostly of known distribution.
KNOWN = {"current", "voltage", "power", "max-thrust"}


def lower_bound(runs: int) -> int:
    """Fewest hits that 95 % coverage gives in 999 of 1000 test runs."""
    return math.floor(float(bdtrik(0.001, runs, 0.95)))


def upper_bound(runs: int) -> int:
    return math.ceil(float(bdtrik(0.999, runs, 0.95)))


def analysed(holds: list[Hold], noise: Noise, rng: np.random.Generator) -> Analysis:
    series = record(holds, noise, rng)
    diameter_u_m, density_u = 2e-4, 0.006
    return analyse(
        series,
        holds,
        diameter_m=DIAMETER_M + diameter_u_m * rng.standard_normal(),
        diameter_u_m=diameter_u_m,
        air=Air(
            DENSITY_KG_M3 + density_u * rng.standard_normal(), density_u, "invented"
        ),
    )


def held(analysis: Analysis) -> dict[str, bool]:
    """Whether each interval of a run holds its truth."""
    plateaus, evidence = analysis.plateaus, analysis.evidence
    top = int(np.argmax(plateaus.throttle_frac))
    true, low = truth_at(0.95), truth_at(0.2)
    power = None if evidence.power is None else evidence.power.measured
    checks = {
        "current": _inside(plateaus.measured("current"), top, true.current_a),
        "voltage": _inside(plateaus.measured("voltage"), top, true.voltage_v),
        "power": _inside(power, top, true.power_w),
        "low thrust": _inside(plateaus.measured("thrust"), 0, low.thrust_n),
        "low specific thrust": _inside(
            evidence.specific, 0, low.thrust_n / low.power_w
        ),
    }
    area_m2 = math.pi * DIAMETER_M**2 / 4
    ideal_w = math.sqrt(true.thrust_n**3 / (2 * DENSITY_KG_M3 * area_m2))
    truths = {
        "max-thrust": n_to_gf(true.thrust_n),
        "specific-thrust-at-max": n_to_gf(true.thrust_n) / true.power_w,
        "thrust-exponent": 1 / POWER_EXPONENT,
        "thrust-coefficient": THRUST_COEFFICIENT,
        "total-efficiency": 100 * ideal_w / true.power_w,
        "sag": PACK_V - true.voltage_v,
        "up-down": 0.0,
    }
    for found in analysis.findings:
        if found.id in truths and found.low is not None and found.high is not None:
            checks[found.id] = found.low <= truths[found.id] <= found.high
    at = truth_at(0.58)
    for name, truth in (
        ("thrust against throttle", at.thrust_n),
        ("power against throttle", at.power_w),
        ("speed against throttle", at.speed_rad_s),
    ):
        curve = evidence.curve(name)
        if curve is not None:
            _, band_low, band_high = curve.band(np.array([0.58]))
            checks[name] = bool(band_low[0] <= truth <= band_high[0])
    return checks


def _inside(measured: Measured | None, index: int, truth: float) -> bool:
    if measured is None:
        return False
    low, high = measured.interval()
    return bool(low[index] <= truth <= high[index])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "noise", "rest_every"),
    [
        ("scale factors, few rests", Noise(), None),
        ("noise, rests between", Noise(gain_u_rel=EXACT, rho=0.9), 3),
        (
            "wandering and drifting zero, glitches",
            Noise(
                gain_u_rel=EXACT,
                zero_n_per_root_s=0.003,
                zero_n_per_s=5e-4,
                glitch_share=0.003,
                lost_share=0.01,
            ),
            3,
        ),
    ],
)
def test_intervals_hold_the_truth_as_often_as_they_say(
    name: str, noise: Noise, rest_every: int | None
) -> None:
    holds = staircase(LEVELS, rest_every=rest_every)
    rng = np.random.default_rng(2024)
    hits: Counter[str] = Counter()
    for _ in range(RUNS):
        hits.update(held(analysed(holds, noise, rng)))
    assert len(hits) == 15
    lower, upper = lower_bound(RUNS), upper_bound(RUNS)
    for what, count in hits.items():
        assert count >= lower, f"{name}: {what} held in {count} of {RUNS}"
        if noise.gain_u_rel is not EXACT and what in KNOWN:
            assert count <= upper, f"{name}: {what} held in {count} of {RUNS}"


@pytest.mark.slow
def test_two_rests_and_a_strongly_wandering_zero_are_the_hardest_case() -> None:
    # The zero wanders by 0.8 % of the largest thrust, little else counts, and two
    # rests give one degree of freedom. Known to hold a little less than it
    # says: the lower bound is that of 92 %, not 95 %.
    holds = staircase(LEVELS)
    noise = Noise(gain_u_rel=EXACT, zero_n_per_root_s=0.003)
    rng = np.random.default_rng(7)
    true, runs, hits = truth_at(0.95).thrust_n, 400, 0
    for _ in range(runs):
        series = record(holds, noise, rng, channels=("thrust",))
        plateaus = average(series, holds)
        top = int(np.argmax(plateaus.throttle_frac))
        hits += _inside(plateaus.measured("thrust"), top, true)
    assert hits >= float(bdtrik(0.001, runs, 0.92)), f"held in {hits} of {runs}"
