"""What may be run on a stand that cannot stop its motor by itself, and what is said.

The caps are ours (no source): low enough to walk away from.
"""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link.columns.stand_in import stop_words
from protocols.limits import Limit
from protocols.recipe import expand, load_recipe
from protocols.task import NEEDED
from protocols.unprotected import (
    FITTING,
    LIMITED,
    MAX_DURATION_S,
    MAX_THROTTLE_FRAC,
    MIN_RATE_HZ,
    lacks,
    objection,
    patient,
)
from tests.lined import DESCRIPTION, described, slow, timeless
from tests.spins import LIMITS, plan

ALIVE = 'keep_alive = "K\\n"\nkeep_alive_period_s = 0.2\n'


def test_a_plan_within_the_caps_is_walked() -> None:
    assert objection(plan((0.3, MAX_THROTTLE_FRAC)), described()) is None


def test_the_protocol_that_is_recommended_fits_the_slowest_stand() -> None:
    walked = expand(load_recipe(FITTING))
    assert objection(walked, described(slow(rate_hz=MIN_RATE_HZ))) is None


@pytest.mark.parametrize("frac", [0.601, 0.7, 1.0])
def test_no_throttle_beyond_the_cap(frac: float) -> None:
    told = objection(plan((0.3, frac)), described())
    assert told is not None
    assert f"{100 * frac:.0f} % throttle" in told
    assert "60 % is the most" in told
    assert FITTING in told


def test_no_longer_than_the_cap() -> None:
    walked = plan((0.3,), dwell_s=1.0)
    rest = walked.duration_s - 1.0
    longest = plan((0.3,), dwell_s=MAX_DURATION_S - rest - 1e-6)
    assert objection(longest, described()) is None
    told = objection(plan((0.3,), dwell_s=MAX_DURATION_S - rest + 0.1), described())
    assert told is not None
    assert "90 s is the most" in told


class _Odd:
    """A plan whose figures are none."""

    protocol = "odd"
    goals = ()
    by_hand = False

    def __init__(self, max_throttle_frac: float, duration_s: float) -> None:
        self.max_throttle_frac = max_throttle_frac
        self.duration_s = duration_s


def test_the_caps_themselves_are_allowed() -> None:
    at_both = _Odd(MAX_THROTTLE_FRAC, MAX_DURATION_S)
    assert objection(at_both, described()) is None  # type: ignore[arg-type]


@pytest.mark.parametrize("odd", [_Odd(math.nan, 10.0), _Odd(0.3, math.nan)])
def test_what_is_no_figure_is_beyond_the_cap(odd: _Odd) -> None:
    assert objection(odd, described()) is not None  # type: ignore[arg-type]


def test_a_stand_is_watched_with_ten_lines_a_second_or_more() -> None:
    assert objection(plan((0.3,)), described(slow(rate_hz=10))) is None
    told = objection(plan((0.3,)), described(slow(rate_hz=9.99)))
    assert told is not None
    assert "9.99 lines a second" in told


def test_one_that_can_be_told_nothing_is_only_watched() -> None:
    silent = DESCRIPTION[: DESCRIPTION.index("[commands]")]
    told = objection(plan((0.3,)), described(silent))
    assert told is not None
    assert "cannot be told a throttle" in told
    # Nor one that can be told to stop and nothing else.
    only_stop = DESCRIPTION.replace('throttle = "T{percent:.1f}\\n"\n', "")
    assert objection(plan((0.3,)), described(only_stop)) is not None


def test_one_that_names_no_current_is_not_spun() -> None:
    unnamed = DESCRIPTION.replace('name = "current"', 'name = "drawn"')
    told = objection(plan((0.3,)), described(unnamed))
    assert told is not None
    assert "no channel named current" in told
    assert LIMITED == NEEDED


def test_a_stop_that_takes_long_to_hear_is_objected_to() -> None:
    words = stop_words(described())
    assert words == b"S\nT0.0\n"
    # Ten bits a byte, as a serial line with one start and one stop bit sends them.
    least_baud = len(words) * 10 / 0.1
    at = DESCRIPTION.replace("115200", f"{math.ceil(least_baud)}")
    assert objection(plan((0.3,)), described(at)) is None
    below = DESCRIPTION.replace("115200", f"{math.ceil(least_baud) - 10}")
    told = objection(plan((0.3,)), described(below))
    assert told is not None
    assert "101 ms to hear its stop" in told
    assert "100 ms is the most" in told


# ------------------------------------------------------------- what is said


def test_what_it_lacks_is_said_whole() -> None:
    told = lacks(described())
    assert len(told) == 4
    assert "may run on until the plug is pulled" in told[0]
    assert "12.5 ms apart" in told[1]
    assert "a stop is known only by a current that falls." in told[2]
    assert "damaged one may pass for whole" in told[3]
    assert all(sentence.endswith(".") for sentence in told)


def test_a_speed_helps_to_know_of_a_stop() -> None:
    more = DESCRIPTION.replace('name = "voltage"', 'name = "speed"').replace(
        'unit = "V"', 'unit = "rpm"'
    )
    assert "only by current and speed that fall." in lacks(described(more))[2]


def test_a_stand_without_a_clock_lacks_that_too() -> None:
    assert "as old as their lines are late" in lacks(described(timeless()))[-1]
    assert len(lacks(described(timeless()))) == 5


def test_a_keep_alive_helps_only_where_it_is_heeded() -> None:
    told = lacks(described(DESCRIPTION + ALIVE))
    assert "only if the stand heeds its missing keep-alive" in told[0]
    assert "until the plug is pulled" not in told[0]


# ------------------------------------------------------------- patience


@given(rate_hz=st.floats(MIN_RATE_HZ, 2000), age_s=st.floats(0.01, 2.55))
def test_a_channel_is_not_silent_before_four_lines_stayed_away(
    rate_hz: float, age_s: float
) -> None:
    stand = replace(described(), rate_hz=rate_hz)
    given_limit = replace(LIMITS[0], max_age_s=age_s)
    (limit,) = patient((given_limit,), stand)
    assert limit.max_age_s == max(age_s, 4 / rate_hz)
    assert replace(limit, max_age_s=age_s) == given_limit


def test_no_limit_is_lost_or_loosened() -> None:
    slowest = described(slow(rate_hz=10))
    given_limits: tuple[Limit, ...] = LIMITS
    after = patient(given_limits, slowest)
    assert [x.channel for x in after] == [x.channel for x in given_limits]
    assert [(x.low, x.high, x.persistence) for x in after] == [
        (x.low, x.high, x.persistence) for x in given_limits
    ]
    longest_s = max(x.max_age_s for x in given_limits)
    assert max(x.max_age_s for x in after) == max(longest_s, 0.4)
