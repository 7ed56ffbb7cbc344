"""What a round robin says: every kind of sentence, with its figures."""

from daq.analysis.round_robin import RoundFound, round_robin
from daq.analysis.round_words import agreement, doubts, head, stand_words
from tests.daq.analysis.test_round_robin import SEATS, WHAT, spun, visits

NAMES = {name: f"Stand {name.upper()}" for name in "abcdef"}


def said(found: RoundFound) -> str:
    told = [head(found), *agreement(found), *doubts(found, NAMES)]
    told += [stand_words(one, NAMES[one.scale]) for one in found.stands]
    return "\n".join(told)


def test_a_quiet_round_says_how_well_stands_agree() -> None:
    told = said(round_robin(WHAT, visits(a=0.0, b=0.01, c=-0.01, d=0.02, e=-0.02)))
    for words in (
        "Thrust at the same throttle on the same bus voltage, from 1.00 to 3.00 V",
        "15 runs on 5 stands",
        "by 0.40 % (repeatability s_r; 95 % interval 0.28 to 0.70 %; 10 degrees",
        "Beside that the stands differ by 1.6 % (s_L; 95 % interval",
        "(reproducibility s_R;",
        "Stand D reads +2.0 % (95 % interval",
        "Stand E reads \N{MINUS SIGN}2.0 % (95 % interval",
        "by 3 runs",
        "nobody knows whether it changed on its way",
    ):
        assert words in told, words
    assert "outlier" not in told
    assert "stands say little" not in told


def test_who_is_off_is_told_and_never_left_out() -> None:
    found = round_robin(WHAT, visits(a=0.0, b=0.01, c=-0.01, d=0.005, e=-0.005, f=0.15))
    told = said(found)
    assert "Stand F is an outlier by Grubbs' test (chance" in told
    assert "Nothing was left out" in told
    assert "Without the outliers s_r would be" in told
    assert "that does NOT hold its bias" in told
    assert "there are causes that no calibration shows" in told
    loose = visits(a=0.0, b=0.01, c=-0.01, d=0.004)
    loose += [spun("e", 0.0, seat) for seat in (-0.05, 0.0, 0.05)]
    assert "Stand E is an outlier in scatter by Cochran's test" in said(
        round_robin(WHAT, loose)
    )


def test_few_stands_say_that_they_know_little() -> None:
    assert "3 stands say little" in said(round_robin(WHAT, visits(a=0, b=0.01, c=0.02)))
    assert "not which of them is off" in said(round_robin(WHAT, visits(a=0, b=0.01)))


def test_without_a_second_mounting_there_is_no_interval() -> None:
    told = said(round_robin(WHAT, [spun("a", 0.0), spun("b", 0.01), spun("c", -0.02)]))
    assert "No stand mounted the article twice" in told
    assert "by 1 run, without interval" in told
    assert "scatter by" in told


def test_what_closing_the_round_shows() -> None:
    runs = visits(a=0.0, b=0.01, c=-0.01)
    home = [spun("a", 0.0, seat) for seat in SEATS]
    assert "The article came home as it left" in said(round_robin(WHAT, [*runs, *home]))
    worn = [spun("a", -0.05, seat) for seat in SEATS]
    assert "THE ARTICLE CHANGED on its way" in said(round_robin(WHAT, [*runs, *worn]))
    single = [spun("a", 0.0), spun("b", 0.0), spun("c", 0.0), spun("a", 0.01)]
    assert "nothing says what mounting alone does" in said(round_robin(WHAT, single))


def test_air_that_nobody_noted_is_told() -> None:
    runs = visits(a=0.0, b=0.01)
    runs.append(spun("b", 0.01, density_kg_m3=None))
    assert "The air was not noted for every run" in said(round_robin(WHAT, runs))


def test_a_bias_that_is_not_one_factor_is_told_at_both_ends() -> None:
    rises = (-0.001, 0.001, 0.0005)
    runs = [
        spun(name, bias, seat, rise=rise + (0.03 if name == "f" else 0.0))
        for name, bias in zip(
            "abcdef", (0.0, 0.01, -0.01, 0.005, -0.005, 0.0), strict=True
        )
        for seat, rise in zip(SEATS, rises, strict=True)
    ]
    told = said(round_robin(WHAT, runs))
    assert told.count("It is not one factor") == 1
    assert "at the lower end of the range and 3.05 % at the upper one" in told
