"""Supply noise of a run: pooled, told, and held apart by runs."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.analysis.captures import Capture
from daq.analysis.findings import Finding
from daq.analysis.noise import Figure, Noise, figures, read_noise
from daq.analysis.noise_apart import NoiseDifference, hold_apart, noise_verdict
from daq.analysis.noised import aliases, cannot_see, dip, lines, overshoot, ripple
from daq.analysis.run import analyse
from daq.analysis.series import Array
from tests.daq.analysis.invented import Noise as Stand
from tests.daq.analysis.invented import record, staircase
from tests.daq.analysis.sampled import sampled, tone

HOLDS = staircase((0.3, 0.6, 0.9), dwell_s=3.0, rest_s=2.0)
SERIES = record(HOLDS, Stand(), np.random.default_rng(1), rate_hz=50.0)
EVIDENCE = analyse(SERIES, HOLDS).evidence


def level(
    amplitude: float = 0.2, period_s: float = 1e-5, phase: float = 0.0
) -> Capture:
    return sampled(
        lambda t: (
            11.5
            + tone(17_300.0, amplitude, phase)(t)
            + tone(96e3, amplitude / 4.0, phase)(t)
        ),
        period_s=period_s,
        step=0.01,
    )


def punch() -> Capture:
    def dips(t: Array) -> Array:
        gone = np.where(t < 0.0, 0.0, np.exp(-t / 20e-3) - np.exp(-t / 2e-3))
        return np.asarray(12.0 - 2.0 * gone)

    return sampled(dips, period_s=1e-4, step=0.01, label="punch", segment=3)


def chop(high_v: float = 0.4) -> Capture:
    def over(t: Array) -> Array:
        gone = high_v * np.exp(-np.maximum(t, 0.0) / 1e-3)
        return np.where(t < 0.0, 11.0 + tone(24e3, 0.05)(t), 12.3 + gone)

    return sampled(over, step=0.01, label="chop", segment=4)


def noise(*captures: Capture) -> Noise:
    found = read_noise(captures, SERIES)
    assert found is not None
    return found


def told(captures: Sequence[Capture]) -> dict[str, Finding]:
    found = analyse(SERIES, HOLDS, captures=captures).findings
    return {one.id: one for one in found if one.id.startswith("supply-")}


def test_captures_of_one_state_and_rate_are_pooled() -> None:
    found = noise(level(0.20), level(0.21), level(0.22), level(period_s=1.3e-5))
    first = found.loudest("voltage")
    assert first is not None
    assert len(first.ripples) == 3
    singles = [float(one.rms_si.value[0]) for one in first.ripples]
    assert float(first.rms_si.value[0]) == pytest.approx(np.mean(singles))
    own = float(first.rms_si.sources["ripple from capture to capture"].factor[0])
    assert own >= np.std(singles, ddof=1) / math.sqrt(3.0) - 1e-12


def test_what_is_known_of_the_scale_goes_with_every_figure() -> None:
    one = figures(noise(level(), punch()))
    for figure in (one["ripple"], one["dip"]):
        gain = figure.value.sources["voltage gain"]
        share = float(gain.factor[0, 0]) / float(figure.value.value[0])
        assert share == pytest.approx(SERIES["voltage"].gain_u_rel, rel=1e-6)


def test_only_captures_of_one_state_are_held_against_each_other() -> None:
    assert noise(level(), punch()).aliases == ()
    assert len(noise(level(), level(period_s=1.3e-5)).aliases) == 1


def test_a_run_without_captures_says_nothing() -> None:
    assert read_noise((), SERIES) is None
    assert told(()) == {}
    assert figures(None) == {}


def test_each_finding_has_its_figure_and_its_band() -> None:
    found = told([level(), level(period_s=1.3e-5), punch(), chop()])
    assert set(found) == {
        "supply-ripple",
        "supply-dip",
        "supply-overshoot",
        "supply-lines",
        "supply-aliases",
    }
    one = found["supply-ripple"]
    assert "Between 1 kHz and 50 kHz" in one.sentence.replace("1 and", "1 kHz and")
    expected_mv = 1e3 * math.hypot(0.2, 0.05) / math.sqrt(2.0)
    assert one.low is not None
    assert one.high is not None
    assert one.low <= expected_mv <= one.high
    assert any("Nothing faster than 50 kHz" in words for words in one.cautions)
    assert "940 samples of 10 ms at 100 kHz" in one.rests_on[0]
    assert found["supply-dip"].value == pytest.approx(1394.0, abs=15.0)
    assert "time constant" in found["supply-dip"].sentence
    assert found["supply-overshoot"].value == pytest.approx(400.0, abs=25.0)
    lines, origins = found["supply-lines"], found["supply-aliases"]
    assert "17.3" in lines.sentence
    assert "17.3000 kHz" in origins.sentence or "17.300" in origins.sentence
    assert "is real" in origins.sentence
    assert "alias of 96 kHz" in origins.sentence


def test_an_overshoot_that_cannot_be_seen_is_bounded() -> None:
    found = told([chop(0.0)])["supply-overshoot"]
    assert "by no more than" in found.sentence


def test_ripple_below_a_step_is_bounded() -> None:
    found = told([sampled(lambda t: 11.5 + tone(20e3, 1e-3)(t), step=0.02)])
    assert "by less than" in found["supply-ripple"].sentence


def test_samples_at_the_end_of_the_range_and_lost_ones_are_said() -> None:
    found = told([replace(level(), at_top=4, lost=39)])["supply-ripple"]
    assert any("4 samples were at the end" in words for words in found.cautions)
    assert any("39 samples were lost" in words for words in found.cautions)


def test_what_a_capture_cannot_see_follows_its_band() -> None:
    said = " ".join(cannot_see((1e3, 50e3), 1e-5))
    assert "faster than 50 kHz" in said
    assert "10 \N{MICRO SIGN}s apart" in said
    assert "slower than 1 kHz" in said
    assert "microsecond" in said
    assert "leads" in said
    assert "faster than 5 kHz" in " ".join(cannot_see((1e3, 5e3), 1e-4))


# --- Two articles ---------------------------------------------------------------------


def runs(*amplitudes: float, period_s: float = 1e-5) -> list[Figure]:
    return [
        figures(noise(level(amplitude, period_s, 0.3 * n)))["ripple"]
        for n, amplitude in enumerate(amplitudes)
    ]


def apart(first: list[Figure], second: list[Figure]) -> NoiseDifference:
    found = hold_apart(first, second)
    assert found is not None
    return found


def test_less_ripple_is_told_with_its_ratio_and_its_band() -> None:
    found = apart(runs(0.40, 0.41, 0.39), runs(0.10, 0.101, 0.099))
    assert found.verdict == "less"
    low, high = found.ratio[1:]
    assert low <= 0.25 <= high
    words = noise_verdict(found, "bare", "with capacitor")
    assert "with capacitor has less ripple (rms) than bare" in words
    assert "between 1 kHz and 50 kHz only" in words


def test_more_ripple_is_told_the_other_way_round() -> None:
    assert apart(runs(0.10, 0.101), runs(0.40, 0.402)).verdict == "more"


def test_runs_that_scatter_by_more_than_they_differ_cannot_be_told_apart() -> None:
    found = apart(runs(0.30, 0.36, 0.33), runs(0.31, 0.35, 0.34))
    assert found.verdict == "cannot tell"
    assert "cannot be told apart" in noise_verdict(found, "A", "B")


def test_one_run_each_is_no_verdict() -> None:
    found = apart(runs(0.4), runs(0.1))
    assert found.verdict == "no verdict"
    assert math.isnan(found.ratio[1])
    assert "No verdict" in noise_verdict(found, "A", "B")


def test_runs_that_agree_by_chance_are_no_better_than_each_is_for_itself() -> None:
    found = apart(runs(0.2, 0.2), runs(0.2, 0.2))
    assert found.reproducibility is not None
    assert found.reproducibility.sd_rel > 0.0


def test_captures_at_other_rates_are_not_compared() -> None:
    assert hold_apart(runs(0.4, 0.4), runs(0.1, 0.1, period_s=2e-5)) is None
    assert hold_apart([], runs(0.1)) is None


def test_the_verdict_is_wrong_no_more_often_than_it_says() -> None:
    rng, wrong, trials = np.random.default_rng(4), 0, 25
    for _ in range(trials):
        draws = 0.3 * np.exp(rng.normal(0.0, 0.05, 6))
        found = apart(runs(*draws[:3]), runs(*draws[3:]))
        wrong += found.verdict != "cannot tell"
    assert wrong <= 4  # 5 % of 25 and three sigma


# --- Whatever comes -------------------------------------------------------------------


@settings(max_examples=40)
@given(
    parts=st.lists(
        st.tuples(
            st.integers(1, 120),
            st.one_of(st.just(math.nan), st.floats(-30.0, 30.0)),
            st.floats(0.0, 3.0),
        ),
        min_size=1,
        max_size=8,
    ),
    before=st.integers(0, 200),
    period_s=st.sampled_from([2e-6, 1e-5, 2.6e-5, 1e-3]),
    step=st.sampled_from([1e-3, 0.02, 0.078]),
    label=st.sampled_from(["level", "punch", "chop", "something else"]),
)
def test_no_capture_is_too_odd_to_be_read(
    parts: list[tuple[int, float, float]],
    before: int,
    period_s: float,
    step: float,
    label: str,
) -> None:
    rng = np.random.default_rng(1)
    pieces = [
        level + rng.normal(0.0, 1.0, size) * spread for size, level, spread in parts
    ]
    value = step * np.round(np.concatenate(pieces) / step)
    t_s = (np.arange(value.size, dtype=np.float64) - before) * period_s
    one = Capture("voltage", label, 2, t_s, value, period_s, step, 0, 0, 0.0)
    other = replace(one, period_s=1.3 * period_s, t_s=1.3 * t_s)
    found = read_noise((one, other), SERIES)
    evidence = replace(EVIDENCE, noise=found)
    for write in (ripple, dip, overshoot, lines, aliases):
        made = write(evidence)
        assert made is None or "nan" not in made.sentence
    assert all(math.isfinite(f.value.value[0]) for f in figures(found).values())
