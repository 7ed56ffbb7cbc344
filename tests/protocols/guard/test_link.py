"""The check of the link: share of lost frames in a sliding second."""

import pytest

from protocols.guard.link import (
    BAD_SHARE,
    FRAMES_MIN,
    POOR_FOR_S,
    POOR_SHARE,
    LinkCheck,
)
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import sees


def told(
    check: LinkCheck,
    whole: int,
    lost: int,
    *,
    from_s: float = 0.0,
    for_s: float = 3.0,
    every_s: float = 0.02,
) -> tuple[Trip | None, float]:
    """Tell the same again and again; the first trip and when it came."""
    for step in range(round(for_s / every_s)):
        now_s = from_s + step * every_s
        trip = check.take(whole, lost, now_s)
        if trip is not None:
            return trip, now_s
    return None, from_s + for_s


def test_a_sound_cable_loses_nothing() -> None:
    assert told(LinkCheck(0.0), 10, 0, for_s=20.0)[0] is None


def test_no_frames_at_all_are_no_share() -> None:
    assert told(LinkCheck(0.0), 0, 0, for_s=20.0)[0] is None


def test_a_poor_link_ramps_down_after_a_second_and_a_half() -> None:
    trip, at_s = told(LinkCheck(0.0), 9, 1)
    assert trip == Trip(
        "link",
        "10 % of the frames of the last second were lost or damaged.",
        "less than 5 % are lost",
        "Look at the cable and its connectors, keep it away from the motor's leads, "
        "and look at the baud rate.",
        Action.RAMP_DOWN,
    )
    assert 1.5 <= at_s <= 1.55


def test_it_is_poor_at_the_end_of_its_time_and_not_before() -> None:
    check = LinkCheck(0.0)
    for step in range(6):
        assert check.take(90, 10, 0.25 * step) is None
    assert check.take(90, 10, 1.5) is not None


def test_the_window_is_between_nine_tenths_and_a_whole_second_long() -> None:
    for from_s in (0.0, 77.0):
        for later_s, remembered in ((0.95, True), (1.05, False)):
            check = LinkCheck(from_s)
            assert check.take(10, 4, from_s) is None
            trip = check.take(5, 4, from_s + later_s)
            assert (trip is not None) is remembered


def test_a_share_of_exactly_the_threshold_is_not_poor() -> None:
    assert told(LinkCheck(0.0), 19, 1, for_s=20.0)[0] is None
    assert POOR_SHARE == 1 / 20


def test_a_share_of_exactly_a_quarter_is_not_bad() -> None:
    trip, at_s = told(LinkCheck(0.0), 3, 1)
    assert sees(trip).action is Action.RAMP_DOWN
    assert at_s >= POOR_FOR_S
    assert BAD_SHARE == 1 / 4


def test_a_bad_link_cuts_at_once() -> None:
    trip, at_s = told(LinkCheck(0.0), 2, 1)
    assert sees(trip).action is Action.CUT
    assert at_s == pytest.approx(0.02 * (FRAMES_MIN // 3))


def test_a_few_frames_say_nothing() -> None:
    check = LinkCheck(0.0)
    assert check.take(9, 10, 0.0) is None
    assert check.take(0, 1, 0.01) is not None


def test_a_slow_stand_is_judged_once_it_has_said_enough() -> None:
    # 10 frames a second never are twenty in one: silence guards such a stand.
    assert told(LinkCheck(0.0), 0, 1, every_s=0.1)[0] is None
    trip, _ = told(LinkCheck(0.0), 1, 2, every_s=0.1)
    assert sees(trip).action is Action.CUT


def test_an_outage_of_its_own_slides_out_of_the_window() -> None:
    check = LinkCheck(0.0)
    assert told(check, 10, 0, for_s=1.0)[0] is None
    assert check.take(0, 80, 1.0) is None  # 80 of 580: above poor, below bad
    assert told(check, 10, 0, from_s=1.0, for_s=5.0)[0] is None


def test_outages_that_keep_coming_do_not() -> None:
    check = LinkCheck(0.0)
    assert told(check, 10, 0, for_s=1.0)[0] is None
    trips = []
    for index in range(4):
        from_s = 1.0 + 0.5 * index
        trips.append(check.take(0, 40, from_s))
        trips.append(told(check, 10, 0, from_s=from_s, for_s=0.5)[0])
    assert sees(next(t for t in trips if t)).action is Action.RAMP_DOWN


def test_what_was_lost_long_ago_is_forgotten() -> None:
    check = LinkCheck(0.0)
    assert check.take(0, 19, 0.05) is None
    assert check.take(100, 0, 10.0) is None
    assert check.take(0, 26, 10.01) is None  # 26 of 126
    assert check.take(0, 10, 10.02) is not None


def test_what_was_lost_within_the_second_is_not() -> None:
    check = LinkCheck(0.0)
    assert check.take(10, 0, 0.0) is None
    assert check.take(0, 2, 0.5) is None
    assert check.take(4, 4, 0.85) is not None  # 6 of 20


def test_the_window_is_whole_again_after_a_long_pause() -> None:
    check = LinkCheck(0.0)
    check.take(5, 4, 0.0)
    check.take(0, 0, 100.0)
    assert check.take(10, 2, 100.05) is None  # 12 frames only: too few
    assert check.take(5, 4, 100.5) is not None  # 6 of 21


def test_a_poor_spell_that_ends_begins_anew() -> None:
    check = LinkCheck(0.0)
    assert told(check, 9, 1, for_s=1.2)[0] is None
    assert told(check, 50, 0, from_s=1.2, for_s=1.4)[0] is None
    trip, at_s = told(check, 9, 1, from_s=2.6)
    assert sees(trip).action is Action.RAMP_DOWN
    assert at_s > 2.6 + POOR_FOR_S
