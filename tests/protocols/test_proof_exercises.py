"""Each exercise by itself: what it asks, what it waits for, and for how long."""

import math
from dataclasses import dataclass, field, replace

import pytest
from typing_extensions import override

from daq.link import messages as m
from protocols.proof import exercises as x
from protocols.proof import trial as t
from tests.protocols.trials import (
    DAMAGE,
    LATCH,
    LEASE,
    LIMIT,
    LOOP,
    PAGES,
    SILENCE,
    STEP_S,
    STOP,
    Willing,
    shown,
    stand,
    trial,
    willing_trial,
)


class Opens(Willing):
    """Its person opens the loop half a second after being asked to."""

    @override
    def acts(self) -> None:
        super().acts()
        asked = self.tried.wants[-1:] == ["loop open"]
        if asked and self.tried.hold is not None and self.tried.now_s > 0.5:
            self.trips(m.Cause.STOP_LOOP_OPEN)


# ------------------------------------------------------------------- all of them


@pytest.mark.parametrize(
    "exercise",
    [LEASE, DAMAGE, STOP, LIMIT, SILENCE, LATCH, LOOP],
    ids=lambda e: e.guard,
)
@pytest.mark.parametrize("raised", [x.RAISED, 0])
def test_each_leaves_a_good_stand_locked_with_the_open_set_and_nothing_held(
    exercise: x.Exercise, raised: int
) -> None:
    hands = shown(Opens(willing_trial(raised=raised)), exercise)
    tried = hands.tried
    assert tried.state is m.State.LOCKED
    assert tried.entries == x.open_entries(tried)
    assert tried.hold is None
    assert tried.expected is None
    assert not tried.spoil
    assert hands.setpoint == 0
    assert {hold for _, hold in hands.held} <= {None, raised}


@pytest.mark.parametrize("exercise", [LEASE, DAMAGE, STOP, LIMIT, SILENCE, LATCH])
def test_each_throttle_is_raised_only_after_the_stand_granted_it(
    exercise: x.Exercise,
) -> None:
    hands = shown(Willing(willing_trial()), exercise)
    (granted_s, *_) = hands.when(m.Prove)
    first_s = min(at_s for at_s, hold in hands.held if hold is not None)
    assert first_s > granted_s


@pytest.mark.parametrize(
    ("exercise", "cause"),
    [
        (LEASE, m.Cause.LEASE_ENDED),
        (DAMAGE, m.Cause.LEASE_ENDED),
        (STOP, m.Cause.STOP),
        (LIMIT, m.Cause.LIMIT),
        (SILENCE, m.Cause.CHANNEL_SILENT),
        (LATCH, m.Cause.STOP),
        (LOOP, m.Cause.STOP_LOOP_OPEN),
    ],
)
def test_each_expects_one_trip_and_no_other(
    exercise: x.Exercise, cause: m.Cause
) -> None:
    expected: set[m.Cause | None] = set()

    class Watched(Opens):
        @override
        def shows(self) -> None:
            super().shows()
            expected.add(self.tried.expected)

    shown(Watched(willing_trial()), exercise)
    assert expected == {None, cause}


@dataclass
class PulseGoesOn(Opens):
    """Tells of every trip, and keeps its pulse."""

    @override
    def trips(self, cause: m.Cause, channel: int = m.NONE) -> None:
        kept = self.setpoint
        super().trips(cause, channel)
        self.setpoint = kept


@pytest.mark.parametrize("exercise", [LEASE, DAMAGE, STOP, LIMIT, SILENCE, LATCH, LOOP])
def test_each_fails_a_tenth_of_a_second_after_the_word_where_the_pulse_goes_on(
    exercise: x.Exercise,
) -> None:
    tripped_s: list[float] = []

    @dataclass
    class Kept(PulseGoesOn):
        @override
        def trips(self, cause: m.Cause, channel: int = m.NONE) -> None:
            super().trips(cause, channel)
            tripped_s.append(self.tried.now_s)

    hands = Kept(willing_trial())
    with pytest.raises(t.NotProven, match="but the pulse went on") as failure:
        shown(hands, exercise)
    assert "plug" in failure.value.advice
    assert hands.done_s - tripped_s[0] == pytest.approx(0.1, abs=STEP_S + 1e-6)
    assert hands.when(m.Acknowledge) == []


def test_at_zero_throttle_no_pulse_is_waited_for() -> None:
    hands = shown(PulseGoesOn(willing_trial(raised=0)), STOP)
    assert hands.tried.state is m.State.LOCKED


@pytest.mark.parametrize("exercise", [STOP, LIMIT, SILENCE, LATCH])
def test_what_should_act_at_once_has_three_tenths_of_a_second(
    exercise: x.Exercise,
) -> None:
    class Idle(Willing):
        @override
        def trips(self, cause: m.Cause, channel: int = m.NONE) -> None:
            pass

    hands = Idle(willing_trial())
    with pytest.raises(t.NotProven, match="did not act on"):
        shown(hands, exercise)
    # The word of the reply comes a step after the command.
    waited_s = hands.done_s - hands.tried.marked_s
    assert waited_s == pytest.approx(0.3 + STEP_S, abs=STEP_S + 1e-6)


# -------------------------------------------------------------- lease and damage


@pytest.mark.parametrize("lease_ms", [100, 200, 400])
def test_a_lapsed_lease_is_seen_when_it_is_due(lease_ms: int) -> None:
    hands = shown(Willing(willing_trial(lease_ms=lease_ms)), LEASE)
    assert hands.tried.took_s == pytest.approx(1e-3 * lease_ms, abs=STEP_S + 1e-6)


@pytest.mark.parametrize("exercise", [LEASE, DAMAGE])
@pytest.mark.parametrize("lease_ms", [100, 200, 400])
def test_a_lease_that_does_not_lapse_is_given_150_ms_more(
    exercise: x.Exercise, lease_ms: int
) -> None:
    class NoLease(Willing):
        @override
        def acts(self) -> None:
            super().acts()
            self.renewed_s = self.tried.now_s

    hands = NoLease(willing_trial(lease_ms=lease_ms))
    with pytest.raises(t.NotProven, match="did not act on lease ended"):
        shown(hands, exercise)
    waited_s = hands.done_s - hands.tried.marked_s
    assert waited_s == pytest.approx(1e-3 * lease_ms + 0.15, abs=STEP_S + 1e-6)


def test_damage_goes_on_until_the_stand_acted_and_not_a_frame_longer() -> None:
    spoilt: list[tuple[m.State, bool]] = []

    class Watched(Willing):
        @override
        def takes(self, command: m.ToStand) -> None:
            super().takes(command)
            if isinstance(command, m.Acknowledge):
                spoilt.append((self.tried.state, self.tried.spoil))

        @override
        def acts(self) -> None:
            if self.tried.state is m.State.PROVING and not math.isnan(
                self.tried.marked_s
            ):
                spoilt.append((self.tried.state, self.tried.spoil))
                assert (
                    self.tried.hold == x.RAISED
                )  # throttle goes on, in damaged frames
            super().acts()

    hands = shown(Watched(willing_trial()), DAMAGE)
    assert (m.State.PROVING, True) in spoilt
    assert spoilt[-1] == (m.State.LOCKED, False)
    hands.tried.throttle(0)
    assert not hands.tried.asks[-1].damaged


# ------------------------------------------------------------- limit and silence


def test_a_limit_that_names_another_channel_is_not_the_one_that_was_tried() -> None:
    class Mixed(Willing):
        @override
        def trips(self, cause: m.Cause, channel: int = m.NONE) -> None:
            super().trips(cause, 0 if cause is m.Cause.LIMIT else channel)

    with pytest.raises(t.NotProven, match="limit on current named another channel"):
        shown(Mixed(willing_trial()), LIMIT)
    shown(Mixed(willing_trial()), x.Exercise("limit", 0, "thrust"))


def test_only_the_channel_that_is_tried_gets_a_bound_that_it_violates() -> None:
    hands = shown(Willing(willing_trial()), LIMIT)
    violated, opened = [c for _, c in hands.said if isinstance(c, m.Limits)]
    assert violated.entries == x.outside_entries(hands.tried, 1)
    assert opened.entries == x.open_entries(hands.tried)


def test_only_the_channel_that_is_tried_gets_a_silence_shorter_than_its_period() -> (
    None
):
    hands = shown(Willing(willing_trial()), SILENCE)
    short, opened = [c for _, c in hands.said if isinstance(c, m.Limits)]
    assert [e.max_age_10ms for e in short.entries] == [10, 1]
    assert [e.max_age_10ms for e in opened.entries] == [10, 50]


def test_on_a_channel_of_few_counts_the_bound_is_two_counts_away() -> None:
    few = replace(PAGES[1], low_counts=0, high_counts=20)
    channels = (PAGES[0], few, *PAGES[2:])
    tried = trial(stand=replace(stand(), channels=channels), counts={1: 5})
    (outside, _) = x.outside_entries(tried, 1)
    assert (outside.low, outside.high) == (7, 20)


@pytest.mark.parametrize("exercise", [LIMIT, SILENCE])
def test_limits_that_are_not_put_back_end_the_proof(exercise: x.Exercise) -> None:
    class Keeps(Willing):
        @override
        def limits(self, command: m.Limits) -> None:
            super().limits(command)
            if self.latch and self.tried.state is m.State.LOCKED:
                self.replies(command, m.Verdict.BAD_LIMITS)

    with pytest.raises(t.NotProven, match="did not take a set of limits"):
        shown(Keeps(willing_trial()), exercise)


# ----------------------------------------------------------------------- the latch


@dataclass
class AfterStop(Willing):
    """What it does wrong once it was stopped.

    Attributes:
        says: to another grant.
        drives: its pulse comes back.
        unlatches: it is locked by itself.
    """

    says: m.Verdict = m.Verdict.WRONG_STATE
    drives: bool = False
    unlatches: bool = False
    held_then: list[tuple[int | None, int]] = field(default_factory=list)

    @override
    def grants(self, command: m.Prove | m.Arm) -> None:
        if not self.latch:
            super().grants(command)
            return
        self.replies(command, self.says)
        if self.drives:
            self.setpoint = x.RAISED
        if self.unlatches:
            self.tells(m.Cause.ACKNOWLEDGED, m.State.LOCKED)

    @override
    def acts(self) -> None:
        if self.latch and not self.when(m.Acknowledge):
            self.held_then.append((self.tried.hold, self.tried.nonce))
        super().acts()


def test_a_latch_that_holds_is_proven() -> None:
    hands = shown(AfterStop(willing_trial()), LATCH)
    assert hands.tried.state is m.State.LOCKED
    assert len(hands.when(m.Acknowledge)) == 1


@pytest.mark.parametrize(
    "wrong",
    [{"says": m.Verdict.DONE}, {"drives": True}, {"unlatches": True}],
    ids=["another grant is taken", "the pulse comes back", "it unlatches by itself"],
)
def test_a_latch_that_gives_way_in_one_way_alone_is_found_out(
    wrong: dict[str, bool],
) -> None:
    hands = AfterStop(willing_trial(), **wrong)  # type: ignore[arg-type]
    with pytest.raises(
        t.NotProven, match="without having been acknowledged"
    ) as failure:
        shown(hands, LATCH)
    assert failure.value.advice == "Do not spin on this stand."
    assert hands.when(m.Acknowledge) == []


def test_where_no_pulse_is_raised_none_is_looked_for_after_the_latch() -> None:
    hands = shown(AfterStop(willing_trial(raised=0), drives=True), LATCH)
    assert hands.tried.state is m.State.LOCKED


def test_throttle_goes_on_for_120_ms_after_the_stop_and_then_a_grant_is_tried() -> None:
    hands = shown(AfterStop(willing_trial()), LATCH)
    _, again = hands.when(m.Prove)
    (stopped_s,) = hands.when(m.Stop)
    assert again - stopped_s == pytest.approx(0.12 + STEP_S, abs=STEP_S + 1e-6)
    assert {hold for hold, _ in hands.held_then} == {x.RAISED}
    grants = [c.nonce for _, c in hands.said if isinstance(c, m.Prove)]
    assert hands.tried.nonce == grants[0] != grants[1]


# ------------------------------------------------------------------- the stop loop


def test_the_loop_is_opened_by_a_person_and_seen_closed_before_anything_else() -> None:
    hands = shown(Opens(willing_trial()), LOOP)
    assert hands.tried.wants == ["loop open", "loop closed"]
    kinds = [type(c) for _, c in hands.said]
    assert kinds == [m.Prove, m.Acknowledge, m.Prove, m.Lock]
    assert math.isnan(
        hands.tried.marked_s
    )  # a person gives the cause, at no known time


def test_a_loop_that_nobody_opens_is_waited_for_two_minutes() -> None:
    hands = Willing(willing_trial())
    with pytest.raises(t.NotProven, match="did not act on stop loop open"):
        shown(hands, LOOP)
    assert hands.done_s == pytest.approx(120.0, abs=0.1)
    assert hands.when(m.Acknowledge) == []


def test_a_trip_whose_event_was_lost_is_not_waited_for_two_minutes() -> None:
    class Unheard(Willing):
        @override
        def acts(self) -> None:
            super().acts()
            if self.tried.wants:
                self.tried.state = m.State.TRIPPED  # by the counters alone

    hands = Unheard(willing_trial())
    with pytest.raises(t.NotProven, match="the line loses words"):
        shown(hands, LOOP)
    assert hands.done_s < 1.0


def test_a_stand_that_locks_itself_while_a_person_is_on_the_way_is_granted_again() -> (
    None
):
    class Idles(Opens):
        @override
        def acts(self) -> None:
            if self.tried.now_s == 0.2:
                self.setpoint = 0
                self.tells(m.Cause.IDLE_TOO_LONG, m.State.LOCKED)
            super().acts()

    hands = shown(Idles(willing_trial()), LOOP)
    assert len(hands.when(m.Prove)) == 3
    assert hands.tried.wants == ["loop open", "loop closed"]
    assert hands.tried.state is m.State.LOCKED


def test_the_loop_is_looked_at_four_times_a_second_but_never_after_its_end() -> None:
    tried = willing_trial(seen={"pulse": 1e-3})
    hands = Willing(tried)
    steps = x.stop_loop(tried)
    waits_until_s = 0.0
    while tried.wants != ["loop open"]:
        hands.shows()
        waits_until_s = next(steps)
        for ask in tried.asks:
            hands.takes(ask.command)
        tried.asks.clear()
        hands.acts()
    assert waits_until_s == pytest.approx(tried.now_s + 0.25)
    tried.now_s = 119.9
    assert next(steps) == pytest.approx(120.0)
    tried.now_s = 120.0
    with pytest.raises(t.NotProven):
        next(steps)


def test_another_trip_than_the_loops_is_no_proof_of_it() -> None:
    class Stopped(Willing):
        @override
        def acts(self) -> None:
            super().acts()
            if self.tried.wants and self.tried.state is m.State.PROVING:
                self.trips(m.Cause.STOP)

    with pytest.raises(t.NotProven, match="the stand tripped on stop"):
        shown(Stopped(willing_trial()), LOOP)
