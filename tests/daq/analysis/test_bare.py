"""A bare motor: what it takes against its speed, and nothing of thrust."""

import numpy as np
import pytest

from daq.analysis.findings import Finding
from daq.analysis.run import Analysis, analyse
from daq.analysis.series import Hold, Series

LEVELS = (0.08, 0.12, 0.16, 0.2, 0.25, 0.3)
IDLE_A, PER_RAD_S = 0.05, 1e-4


def walk() -> list[Hold]:
    found = [Hold("rest", "rest", -1, 0.0, 0.0, 3.0)]
    at_s = 3.0
    for step, level in enumerate(LEVELS):
        found.append(Hold("dwell", "up", step, level, at_s + 0.3, at_s + 3.3))
        at_s += 3.3
    return [*found, Hold("rest", "rest", -1, 0.0, at_s + 0.5, at_s + 4.5)]


def run(*, thrust_n: float = 0.0, channels: tuple[str, ...] = ()) -> Analysis:
    """Speed goes with throttle, current straight with speed."""
    holds = walk()
    rng = np.random.default_rng(5)
    t_s = np.arange(0.0, holds[-1].end_s, 0.01)
    throttle = np.zeros(t_s.size)
    for hold in holds:
        throttle[(t_s >= hold.start_s - 0.3) & (t_s < hold.end_s)] = hold.throttle_frac
    spins = throttle > 0
    speed = 6000 * throttle
    true = {
        "thrust": np.where(spins, thrust_n * throttle**2 / 0.09, 0.0),
        "current": np.where(spins, IDLE_A + PER_RAD_S * speed, 0.0),
        "voltage": np.full(t_s.size, 12.5),
        "speed": speed,
    }
    scatter = {"thrust": 2e-3, "current": 4e-3, "voltage": 0.01, "speed": 2.0}
    series = {
        name: Series(
            name,
            name,
            t_s,
            value
            + scatter[name] * rng.standard_normal(t_s.size) * (name != "speed")
            + scatter[name] * rng.standard_normal(t_s.size) * spins * (name == "speed"),
            0.005,
            scatter[name] / 10,
        )
        for name, value in true.items()
        if not channels or name in channels
    }
    return analyse(series, holds, propeller_off=True, diameter_m=0.0762)


def told(analysis: Analysis) -> dict[str, Finding]:
    return {finding.id: finding for finding in analysis.findings}


def test_the_current_at_the_highest_speed_is_the_invented_one() -> None:
    found = told(run())["no-load-current"]
    true_a = IDLE_A + PER_RAD_S * 6000 * 0.3
    assert found.low is not None
    assert found.high is not None
    assert found.low < true_a < found.high
    assert "Without a propeller the motor took" in found.sentence
    assert "at 30 % throttle" in found.sentence
    # 1800 rad/s by the definition of the revolution.
    assert f"{round(1800 * 60 / (2 * np.pi), -1):.0f}"[:3] in found.sentence


def test_the_power_is_what_the_current_takes_from_the_source() -> None:
    found = told(run())["no-load-power"]
    assert found.value == pytest.approx(12.5 * (IDLE_A + PER_RAD_S * 1800), rel=0.02)


def test_current_is_drawn_against_speed_and_thrust_against_nothing() -> None:
    analysis = run()
    names = [curve.name for curve in analysis.curves]
    assert names == [
        "current against throttle",
        "power against throttle",
        "speed against throttle",
        "current against speed",
    ]
    curve = analysis.curves[-1]
    y, low, high = curve.band(np.array([1000.0]))
    true_a = IDLE_A + PER_RAD_S * 1000
    assert low[0] < true_a < high[0]
    assert y[0] == pytest.approx(true_a, rel=0.03)


def test_nothing_that_rests_on_thrust_is_said() -> None:
    analysis = run()
    assert analysis.evidence.specific is None
    assert analysis.evidence.propeller is None
    assert analysis.evidence.exponent is None
    assert set(told(analysis)) == {
        "no-load-current",
        "no-load-power",
        "unsettled",
        "lost-readings",
    }


def test_thrust_gives_a_propeller_away_and_takes_the_figures_with_it() -> None:
    found = told(run(thrust_n=0.3))
    assert "a propeller seems to be on" in found["propeller-seen"].sentence
    assert "no-load-current" not in found
    assert "no-load-power" not in found


def test_a_breath_of_thrust_is_no_propeller() -> None:
    # Half a gram-force.
    assert "propeller-seen" not in told(run(thrust_n=0.005))


def test_without_speed_the_current_is_told_at_its_throttle() -> None:
    found = told(run(channels=("current", "voltage")))
    assert "rpm" not in found["no-load-current"].sentence
    names = [curve.name for curve in run(channels=("current",)).curves]
    assert names == ["current against throttle"]


def test_without_a_dwell_it_is_said() -> None:
    holds = [walk()[0]]
    series = {
        "current": Series(
            "current", "current", np.arange(300) / 100, np.zeros(300), 0.01, 1e-3
        )
    }
    analysis = analyse(series, holds, propeller_off=True)
    assert [finding.id for finding in analysis.findings] == ["no-dwell"]
