"""Steps of current: an invented pack's resistance recovered, and the plant's own."""

import numpy as np
import pytest

from daq.analysis.findings import Finding
from daq.analysis.pack import FittedPack
from daq.analysis.run import analyse
from daq.analysis.series import Array, Hold, Series
from daq.analysis.steps import PackSteps, read_steps

EVERY_S = 0.004
QUICK_OHM, SLOW_OHM, SLOW_S, REST_V = 0.08, 0.03, 11.0, 12.6
LOW_A, HIGH_A = 0.6, 6.0
CELLS = {"cell-1": 0.024, "cell-2": 0.032, "cell-3": 0.024}


def walk(count: int = 4, before_s: float = 10.0, burst_s: float = 1.05) -> list[Hold]:
    """Rest, then so often ten seconds low, a burst, a moment low, and a rest."""
    found = [Hold("rest", "rest", -1, 0.0, 0.0, 10.0)]
    for _ in range(count):
        at_s = found[-1].end_s + 0.3
        found += [
            Hold("dwell", "up", 0, 0.25, at_s, at_s + before_s),
            Hold(
                "burst", "up", 1, 0.7, at_s + before_s, at_s + before_s + burst_s, 0.25
            ),
        ]
        at_s = found[-1].end_s
        found.append(Hold("rest", "rest", -1, 0.0, at_s + 0.5, at_s + 20.5))
    return found


def record(
    holds: list[Hold], seed: int = 1, noise_v: float = 2e-3
) -> dict[str, Series]:
    """A pack of one quick and one slow part (closed form, step by step)."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(0.0, holds[-1].end_s, EVERY_S)
    amp: Array = np.zeros(t_s.size)
    for hold in holds:
        inside = (t_s >= hold.start_s) & (t_s < hold.end_s)
        if hold.kind == "dwell":
            amp[inside] = LOW_A
        if hold.kind == "burst":
            amp[inside] = HIGH_A
    slow, state = np.empty(t_s.size), 0.0
    for index, now in enumerate(amp.tolist()):
        state += (now - state) * (1 - np.exp(-EVERY_S / SLOW_S))
        slow[index] = state
    volt = REST_V - QUICK_OHM * amp - SLOW_OHM * slow
    read = {
        "current": amp + 0.02 + rng.normal(0.0, 0.01, t_s.size),
        "voltage": volt + rng.normal(0.0, noise_v, t_s.size),
        **{
            name: REST_V / 3 - ohm * amp + rng.normal(0.0, noise_v, t_s.size)
            for name, ohm in CELLS.items()
        },
    }
    return {
        name: Series(name, name, t_s, value, 0.002, 1e-4)
        for name, value in read.items()
    }


def steps(**changes: float) -> PackSteps:
    holds = walk(**changes)  # type: ignore[arg-type]
    found = read_steps(record(holds), holds)
    assert found is not None
    return found


def told(found: list[Finding]) -> dict[str, Finding]:
    return {finding.id: finding for finding in found}


def test_the_resistance_is_that_of_the_second_after_the_step() -> None:
    whole = steps().whole
    # The slow part grows for as long as the step lasts, from what it was before.
    truth = QUICK_OHM + SLOW_OHM * (1 - np.exp(-1.0 / SLOW_S))
    low, high = whole.ohm.interval()
    assert low[0] <= truth <= high[0]
    assert high[0] - low[0] < 0.02 * truth
    assert whole.before_a == pytest.approx(LOW_A + 0.02, abs=0.005)
    assert whole.after_a == pytest.approx(HIGH_A + 0.02, abs=0.005)


def test_an_offset_of_the_current_cancels() -> None:
    holds = walk()
    series = record(holds)
    current = series["current"]
    off = Series("current", "current", current.t_s, current.value_si + 0.5, 0.002, 1e-4)
    first, second = (
        read_steps(series, holds),
        read_steps({**series, "current": off}, holds),
    )
    assert first is not None
    assert second is not None
    assert second.whole.ohm.value[0] == pytest.approx(first.whole.ohm.value[0])


def test_the_times_of_the_standard_are_told_from_others() -> None:
    assert steps().whole.timed_as_the_standard
    assert not steps(before_s=3.0).whole.timed_as_the_standard
    assert not steps(burst_s=0.5).whole.timed_as_the_standard


def test_the_findings_say_what_was_followed_and_what_not() -> None:
    holds = walk()
    pack = FittedPack("pack", 3, 9.9, None, capacity_c=0.45 * 3600)
    found = told(list(analyse(record(holds), holds, fitted_pack=pack).findings))
    cautions = " ".join(found["pack-step"].cautions)
    assert "at the times of the direct-current method of IEC 61960-3" in cautions
    assert "1.4 and 13 times the pack's hourly rate" in cautions
    assert "10 s at rest, it had 12.60 V (4.20 V a cell)" in cautions
    short = walk(before_s=3.0)
    found = told(list(analyse(record(short), short, fitted_pack=pack).findings))
    assert "not at the times of" in " ".join(found["pack-step"].cautions)


def test_the_weakest_cell_is_named_where_it_can_be_told() -> None:
    holds = walk()
    found = told(list(analyse(record(holds), holds).findings))["pack-cells"]
    assert found.sentence.startswith("Of the pack's cells cell 2 has most, 31.9")
    assert "clearly the weakest" in found.sentence
    assert "cell 2 was lowest, 4.01 V" in found.sentence
    assert found.low is not None
    assert found.high is not None
    assert found.low <= 1e3 * CELLS["cell-2"] <= found.high


def test_a_step_too_small_to_tell_is_none() -> None:
    holds = walk()
    series = record(holds)
    flat = Series(
        "current",
        "current",
        series["current"].t_s,
        np.full(series["current"].t_s.size, 2.0),
        0.002,
        1e-4,
    )
    assert read_steps({**series, "current": flat}, holds) is None


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    holds = walk(count=3)
    truth = QUICK_OHM + SLOW_OHM * (1 - np.exp(-1.0 / SLOW_S))
    held = 0
    for seed in range(20):
        found = read_steps(record(holds, seed, noise_v=0.02), holds)
        assert found is not None
        low, high = found.whole.ohm.interval()
        held += bool(low[0] <= truth <= high[0])
    assert held >= 16  # of 20; fewer in one of 300 where 95 % hold
