"""One run from readings to findings: what is said, and what is never said."""

import itertools
import json
import math
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from daq.analysis.air import Air
from daq.analysis.findings import Finding
from daq.analysis.run import Analysis, analyse
from daq.analysis.series import Hold, Series
from daq.errors import InputFault
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

LEVELS = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
HOLDS = staircase(LEVELS, rest_every=4)
AIR = Air(DENSITY_KG_M3, 0.006, "as invented")
CHANNELS = ("thrust", "current", "voltage", "speed")


def run(
    holds: list[Hold] | None = None,
    channels: tuple[str, ...] = CHANNELS,
    noise: Noise | None = None,
    seed: int = 41,
) -> tuple[dict[str, Series], list[Hold]]:
    held = HOLDS if holds is None else holds
    rng = np.random.default_rng(seed)
    return record(held, noise or Noise(), rng, channels=channels), held


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return analyse(*run(), diameter_m=DIAMETER_M, diameter_u_m=1e-4, air=AIR)


def finding(analysis: Analysis, name: str) -> Finding:
    return next(found for found in analysis.findings if found.id == name)


def ids(analysis: Analysis) -> list[str]:
    return [found.id for found in analysis.findings]


def test_a_whole_run_says_everything_it_can(analysis: Analysis) -> None:
    assert ids(analysis) == [
        "max-thrust",
        "specific-thrust-at-max",
        "specific-thrust-best",
        "thrust-exponent",
        "thrust-coefficient",
        "total-efficiency",
        "momentum-bound",
        "thrust-in-standard-air",
        "sag",
        "pack-resistance",
        "up-down",
        "legs-on-one-voltage",
        "moved-by-voltage",
        "zero-of-thrust",
        "unsettled",
        "lost-readings",
    ]


def test_the_figures_hold_the_invented_truth(analysis: Analysis) -> None:
    top, low = truth_at(0.95), truth_at(0.2)
    area_m2 = math.pi * DIAMETER_M**2 / 4
    ideal_w = math.sqrt(top.thrust_n**3 / (2 * DENSITY_KG_M3 * area_m2))
    for name, true in {
        "max-thrust": n_to_gf(top.thrust_n),
        "specific-thrust-at-max": n_to_gf(top.thrust_n) / top.power_w,
        "specific-thrust-best": n_to_gf(low.thrust_n) / low.power_w,
        "thrust-exponent": 1 / POWER_EXPONENT,
        "thrust-coefficient": THRUST_COEFFICIENT,
        "total-efficiency": 100 * ideal_w / top.power_w,
        "sag": PACK_V - top.voltage_v,
        "up-down": 0.0,
    }.items():
        found = finding(analysis, name)
        assert found.low is not None
        assert found.high is not None
        assert found.low <= true <= found.high, found.sentence
        assert found.coverage == 0.95


def test_the_sentence_of_maximum_thrust_reads_as_a_person_would_say_it(
    analysis: Analysis,
) -> None:
    sentence = finding(analysis, "max-thrust").sentence
    assert re.fullmatch(
        r"Thrust at 95 % throttle was 2\d\d\.\d gf \(95 % interval 2\d\d\.\d to "
        r"2\d\d\.\d gf\) at 7\.\d\d A, 1[12]\.\d\d V and \d\d\.\d W\.",
        sentence,
    ), sentence


def test_every_sentence_is_whole_and_every_figure_has_its_interval(
    analysis: Analysis,
) -> None:
    for found in analysis.findings:
        assert found.sentence.endswith(".")
        assert "nan" not in found.sentence
        assert "unknown" not in found.sentence
        assert (found.low is None) == (found.high is None)
        if found.low is not None:
            assert "(95 % interval " in found.sentence
        assert found.rests_on


def test_a_figure_names_the_plateau_channels_and_zeros_it_rests_on(
    analysis: Analysis,
) -> None:
    assert finding(analysis, "max-thrust").rests_on == (
        "plateau 6: 95 % up",
        "channel thrust",
        "zero of thrust from 4 rests",
        "channel voltage",
        "channel current",
        "zero of current from 4 rests",
    )


def test_the_best_of_several_is_given_a_wider_interval_than_one(
    analysis: Analysis,
) -> None:
    best = finding(analysis, "specific-thrust-best")
    assert best.value is not None
    assert best.high is not None
    specific = analysis.evidence.specific
    assert specific is not None
    index = int(np.nanargmax(specific.value))
    plain = n_to_gf(float(specific.interval()[1][index]))
    assert best.high > plain
    assert any("picked as the best of 11 plateaus" in c for c in best.cautions)


@pytest.mark.parametrize(
    "channels",
    [
        subset
        for size in range(1, 5)
        for subset in itertools.combinations(CHANNELS, size)
    ],
)
def test_missing_channels_are_skipped_and_nothing_breaks(
    channels: tuple[str, ...],
) -> None:
    found = analyse(*run(channels=channels), diameter_m=DIAMETER_M, air=AIR)
    json.dumps(found.to_dict(), allow_nan=False)
    has = set(ids(found))
    assert ("max-thrust" in has) == ("thrust" in channels)
    assert ("sag" in has) == ("voltage" in channels)
    assert ("thrust-coefficient" in has) == ({"thrust", "speed"} <= set(channels))
    electrical = {"thrust", "voltage", "current"} <= set(channels)
    for name in ("specific-thrust-best", "thrust-exponent", "total-efficiency"):
        assert (name in has) == electrical


def test_a_gram_scale_alone_is_enough() -> None:
    rng = np.random.default_rng(42)
    t_s = np.arange(0.0, HOLDS[-1].end_s, 0.2)  # five readings a second
    gf = np.zeros(t_s.size)
    for hold in HOLDS:
        if hold.kind == "dwell":
            inside = (t_s >= hold.start_s) & (t_s < hold.end_s)
            gf[inside] = n_to_gf(truth_at(hold.throttle_frac).thrust_n)
    gf = np.round(gf + 0.3 * rng.standard_normal(t_s.size), 1)
    scale = Series("thrust", "force", t_s, gf * 9.80665e-3, 0.003, 9.80665e-4)
    found = analyse({"thrust": scale}, HOLDS)
    best = finding(found, "max-thrust")
    assert best.low is not None
    assert best.high is not None
    assert best.low < n_to_gf(truth_at(0.95).thrust_n) < best.high
    assert best.sentence.count("gf") == 2
    assert [c.name for c in found.curves] == ["thrust against throttle"]


def test_a_run_that_tripped_before_any_dwell_says_so() -> None:
    holds = [
        Hold("rest", "rest", 0, 0.0, 0.0, 4.0),
        Hold("dwell", "up", 1, 0.2, 4.3, 4.6),
    ]
    found = analyse(*run(holds), diameter_m=DIAMETER_M, air=AIR)
    assert found.rows() == []
    assert found.curves == ()
    assert ids(found)[0] == "no-dwell"
    assert "no dwell that lasted long enough" in found.findings[0].sentence
    assert "lasted 0.30 s" in found.findings[0].cautions[0]
    assert all(f.low is None for f in found.findings)


def test_a_run_without_any_hold_says_so() -> None:
    found = analyse(run()[0], [])
    assert ids(found)[0] == "no-dwell"


def test_a_run_that_tripped_half_way_is_analysed_as_far_as_it_goes() -> None:
    holds = [hold for hold in HOLDS if hold.end_s < 14]
    found = analyse(*run(holds))
    assert len(found.rows()) == 3
    assert finding(found, "max-thrust").sentence.startswith("Thrust at 50 % throttle")
    assert "up-down" not in ids(found)


def test_one_rest_is_said_to_leave_the_drift_unknown() -> None:
    holds = [hold for hold in HOLDS if hold.kind == "dwell" or hold.step == 0]
    found = analyse(*run(holds))
    assert "its drift is unknown" in finding(found, "zero-of-thrust").sentence
    cautions = finding(found, "max-thrust").cautions
    assert [caution for caution in cautions if "one rest only" in caution] == [
        "the zeros of thrust and current were read in one rest only, so drift is "
        "unknown and a bound stands in for it"
    ]


def test_no_rest_is_said_to_leave_the_zero_unknown() -> None:
    holds = [hold for hold in HOLDS if hold.kind == "dwell"]
    found = analyse(*run(holds))
    zero = finding(found, "zero-of-thrust").sentence
    assert zero.startswith(
        "No rest gave a zero of thrust; the calibration's zero was used, with a bound"
    )


def test_without_a_calibration_it_is_the_stands_nominal_zero() -> None:
    holds = [hold for hold in HOLDS if hold.kind == "dwell"]
    found = analyse(*run(holds), nominal=("thrust", "current", "voltage"))
    said = [finding(found, "zero-of-thrust").sentence]
    said += finding(found, "max-thrust").cautions
    assert "the stand's nominal zero was used" in said[0]
    assert (
        "no rest gave a zero of thrust and current; the stand's nominal zero was used "
        "with a wide bound"
    ) in said
    assert not any("calibration's" in words for words in said)


def test_the_zero_of_thrust_rests_on_thrust_alone(analysis: Analysis) -> None:
    zero = finding(analysis, "zero-of-thrust")
    assert zero.rests_on == ("channel thrust",)
    assert re.fullmatch(
        r"The zeros of thrust from 4 rests lie within 0\.\d+ gf\.", zero.sentence
    )


def test_an_excursion_is_told_by_the_table_and_by_the_findings_alike() -> None:
    series, holds = run()
    thrust = series["thrust"]
    pushed_s = holds[1].start_s + 1.5
    away = (thrust.t_s >= pushed_s) & (thrust.t_s < pushed_s + 0.4)
    series["thrust"] = replace(thrust, value_si=thrust.value_si + 2.0 * away)
    found = analyse(series, holds)
    assert found.rows()[0]["flags"] == (
        "thrust: left its level for a while, counted in"
    )
    said = finding(found, "unsettled")
    assert said.sentence == (
        "Every channel had settled at every plateau. But these left their level for "
        "a while and came back: thrust at 20 % up."
    )
    assert said.value == 1
    assert said.rests_on == ("channel thrust",)
    assert any("in the mean and in its interval" in c for c in said.cautions)


def test_a_run_without_flags_says_that_all_had_settled(analysis: Analysis) -> None:
    assert {row["flags"] for row in analysis.rows()} == {""}
    assert finding(analysis, "unsettled").sentence == (
        "Every channel had settled at every plateau."
    )


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (
            0.04,
            r"Thrust was [345]\.\d+ % \(95 % interval .*\) lower on the way down",
        ),
        (
            -0.04,
            r"Thrust was [345]\.\d+ % \(95 % interval .*\) higher on the way down",
        ),
        (0.0, r"Thrust on the way down cannot be told from that on the way up: the"),
    ],
)
def test_the_way_down_is_said_to_be_lower_or_higher_in_words(
    share: float, said: str
) -> None:
    series, holds = run()
    turn_s = next(h.start_s for h in holds if h.leg == "down")
    thrust, zero = series["thrust"], series["thrust"].value_si[:100].mean()
    value = np.where(
        thrust.t_s < turn_s,
        thrust.value_si,
        zero + (1 - share) * (thrust.value_si - zero),
    )
    series["thrust"] = replace(thrust, value_si=value)
    found = finding(analyse(series, holds), "up-down")
    assert re.match(said, found.sentence), found.sentence
    assert "-" not in found.sentence
    # JSON keeps the sign: down less up.
    assert found.value is not None
    assert found.value == pytest.approx(-100 * share, abs=1.0)


def test_the_only_level_is_neither_the_best_nor_the_highest() -> None:
    held = staircase((0.5,), rest_every=2)
    found = analyse(*run(held), diameter_m=DIAMETER_M, air=AIR)
    assert "max-thrust" in ids(found)
    assert "specific-thrust-best" not in ids(found)
    for one in found.findings:
        assert not re.search(r"\b(best|highest)\b", one.sentence), one.sentence


def test_nominal_constants_are_said_with_what_rests_on_them() -> None:
    found = analyse(*run(), nominal=("current", "voltage"))
    said = "the scale factors of voltage and current are nominal, not calibrated"
    assert said in finding(found, "specific-thrust-at-max").cautions
    assert (
        "the scale factor of voltage is nominal, not calibrated"
        in finding(found, "sag").cautions
    )
    assert not any("nominal" in c for c in finding(found, "up-down").cautions)


def test_notes_go_with_every_finding() -> None:
    found = analyse(*run(), notes=("simulated stand",))
    assert all("simulated stand" in f.cautions for f in found.findings)


def test_standard_air_that_was_assumed_is_said() -> None:
    found = analyse(*run(), diameter_m=DIAMETER_M)
    cautions = finding(found, "thrust-coefficient").cautions
    assert any("ISO 2533" in caution and "assumed" in caution for caution in cautions)
    assert any("taken as exact" in caution for caution in cautions)


def test_the_impossible_is_called_so_with_what_to_check_first() -> None:
    found = analyse(*run(), diameter_m=DIAMETER_M / 3, diameter_u_m=1e-4, air=AIR)
    bound = finding(found, "momentum-bound")
    assert bound.sentence.startswith("Impossible: total efficiency at ")
    assert "check the propeller's diameter as measured across the tips" in (
        bound.sentence
    )
    assert bound.low is not None
    assert bound.low > 100


def test_without_a_diameter_nothing_is_said_about_the_propeller() -> None:
    found = analyse(*run())
    assert not {"thrust-coefficient", "total-efficiency", "momentum-bound"} & set(
        ids(found)
    )


def test_sag_is_that_of_one_motor_on_this_stand(analysis: Analysis) -> None:
    sag = finding(analysis, "sag")
    assert "measured on this stand with one motor" in sag.sentence
    assert sag.unit == "V"
    # The gain of voltage acts on the drop, not on the voltage.
    assert sag.low is not None
    assert sag.high is not None
    assert (sag.high - sag.low) / 2 < 0.03


def test_glitches_and_gaps_are_counted() -> None:
    noise = Noise(glitch_share=0.004, lost_share=0.01)
    found = analyse(*run(noise=noise))
    lost = finding(found, "lost-readings")
    assert lost.value is not None
    # About 11 plateaus of 192 readings in 4 channels, 1.4 % of 8448.
    assert 60 < lost.value < 180
    assert "rejected as converter glitches" in lost.sentence
    rows = found.rows()
    counted = sum(int(row["glitches"] or 0) + int(row["lost"] or 0) for row in rows)
    assert counted == lost.value


def test_what_never_settled_is_named() -> None:
    series, holds = run()
    thrust = series["thrust"]
    start_s = holds[1].start_s
    moving = (thrust.t_s >= start_s) & (thrust.t_s < holds[1].end_s)
    creep = 0.1 * (thrust.t_s - start_s) * moving
    series["thrust"] = Series(
        "thrust", "force", thrust.t_s, thrust.value_si + creep, 0.005, 0.002
    )
    found = analyse(series, holds)
    assert finding(found, "unsettled").sentence == (
        "These never settled: thrust at 20 % up."
    )
    assert found.rows()[0]["flags"] == "thrust: not settled"


def test_the_table_has_the_same_columns_in_every_row(analysis: Analysis) -> None:
    rows = analysis.rows()
    assert len(rows) == 11
    assert all(row.keys() == rows[0].keys() for row in rows)
    first = rows[0]
    assert first["plateau"] == 1
    assert first["leg"] == "up"
    assert first["throttle_frac"] == 0.2
    assert first["thrust_gf"] == pytest.approx(n_to_gf(float(first["thrust_n"] or 0)))
    for key in ("thrust_u_n", "current_a", "voltage_v", "power_w", "speed_rpm"):
        assert key in first
    json.dumps(analysis.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("settle_s", "diameter_m", "said"),
    [
        (-1.0, None, "settle_s"),
        (math.nan, None, "settle_s"),
        (0.6, -0.1, "diameter_m"),
    ],
)
def test_numbers_that_cannot_be_are_refused(
    settle_s: float, diameter_m: float | None, said: str
) -> None:
    with pytest.raises(InputFault, match=said):
        analyse(*run(), settle_s=settle_s, diameter_m=diameter_m)


def test_importing_the_analysis_brings_no_heavy_library() -> None:
    code = (
        "import sys, daq.analysis.run; "
        "print([m for m in ('scipy', 'pandas', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
