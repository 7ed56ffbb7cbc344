"""How each exercise begins: nothing is held before the stand granted and told it."""

import math
from dataclasses import dataclass
from itertools import pairwise

import pytest
from typing_extensions import override

from daq.link import messages as m
from daq.link import session as s
from protocols.proof import exercises as x
from protocols.proof import trial as t
from tests.protocols.trials import (
    LEASE,
    STEP_S,
    Willing,
    shown,
    willing_trial,
)


def test_a_start_forgets_what_was_before() -> None:
    tried = willing_trial(hold=500, spoil=True, marked_s=1.0, took_s=2.0, seen={})
    tried.events.append(
        tried_event := m.Event(
            0, 7, 1, m.State.LOCKED, m.Cause.LOCKED, 0, m.NONE, m.NONE, 0, 0
        )
    )
    next(x.start(tried, "stop", m.Cause.STOP))
    assert tried_event not in tried.events
    assert tried.hold is None
    assert not tried.spoil
    assert math.isnan(tried.marked_s)
    assert math.isnan(tried.took_s)
    assert tried.expected is m.Cause.STOP


def test_a_pulse_pin_that_gives_no_readings_is_said_after_three_tenths() -> None:
    class Unread(Willing):
        @override
        def shows(self) -> None:
            self.tried.seen["pulse"] = math.nan

    hands = Unread(willing_trial())
    with pytest.raises(t.NotProven, match="gives no readings"):
        shown(hands, LEASE)
    assert hands.done_s == pytest.approx(0.3)
    assert hands.said == []


def test_a_pulse_that_is_not_read_back_is_said_after_three_tenths() -> None:
    class Dead(Willing):
        @override
        def shows(self) -> None:
            self.tried.seen["pulse"] = 1e-3

    hands = Dead(willing_trial())
    with pytest.raises(t.NotProven, match="none was read back"):
        shown(hands, LEASE)
    first_s = min(at_s for at_s, hold in hands.held if hold is not None)
    assert hands.done_s - first_s == pytest.approx(0.3)


@pytest.mark.parametrize("state", [m.State.PROVING, m.State.ARMED])
def test_a_stand_that_was_granted_unasked_is_asked_for_nothing(state: m.State) -> None:
    hands = Willing(willing_trial(state=state))
    with pytest.raises(t.NotProven, match=f"{state.name.lower()}, unasked"):
        shown(hands, LEASE)
    assert hands.said == []
    assert all(hold is None for _, hold in hands.held)


@dataclass
class Refusing(Willing):
    """Refuses its first grants.

    Attributes:
        verdict: what it says.
        times: how often.
    """

    verdict: m.Verdict = m.Verdict.STOP_LOOP_OPEN
    times: int = 1_000_000

    @override
    def grants(self, command: m.Prove | m.Arm) -> None:
        if self.times:
            self.times -= 1
            self.replies(command, self.verdict)
        else:
            super().grants(command)


def test_a_refused_grant_ends_the_proof_in_the_stands_words() -> None:
    hands = Refusing(willing_trial(), verdict=m.Verdict.CHANNEL_SILENT)
    with pytest.raises(t.NotProven, match="refused it: channel silent"):
        shown(hands, LEASE)
    assert len(hands.said) == 1
    assert hands.tried.wants == []


def test_an_open_loop_is_asked_about_four_times_a_second_until_it_is_closed() -> None:
    hands = shown(Refusing(willing_trial(), times=4), LEASE)
    asked_s = hands.when(m.Prove)
    assert len(asked_s) == 5
    gaps_s = [b - a for a, b in pairwise(asked_s)]
    assert gaps_s == [pytest.approx(0.25 + STEP_S, abs=1e-6)] * 4
    assert hands.tried.wants == ["loop closed"]
    nonces = [c.nonce for _, c in hands.said if isinstance(c, m.Prove)]
    assert len(set(nonces)) == 5


def test_an_open_loop_is_waited_for_two_minutes() -> None:
    hands = Refusing(willing_trial())
    with pytest.raises(t.NotProven, match="refused it: stop loop open"):
        shown(hands, LEASE)
    assert hands.done_s == pytest.approx(120.0, abs=0.5)


def test_two_minutes_are_over_at_two_minutes() -> None:
    tried = willing_trial(seen={"pulse": 1e-3})
    steps = x.start(tried, "lease", m.Cause.LEASE_ENDED)
    next(steps)
    tried.now_s = 120.0
    refused = s.Replied(tried.asks[-1].command, m.Verdict.STOP_LOOP_OPEN, 0, 0.001)
    tried.reply = refused
    with pytest.raises(t.NotProven, match="stop loop open"):
        next(steps)


def test_a_grant_that_is_answered_but_never_told_is_not_relied_on() -> None:
    class Mute(Willing):
        @override
        def grants(self, command: m.Prove | m.Arm) -> None:
            self.replies(command)

    hands = Mute(willing_trial())
    with pytest.raises(t.NotProven, match="did not tell that it was ready"):
        shown(hands, LEASE)
    assert hands.done_s == pytest.approx(STEP_S + 0.3)
    assert all(hold is None for _, hold in hands.held)


def test_a_grant_whose_first_answer_was_lost_counts_by_the_state_that_was_told() -> (
    None
):
    class Twice(Willing):
        @override
        def grants(self, command: m.Prove | m.Arm) -> None:
            super().grants(command)
            self.replies(command, m.Verdict.BAD_NONCE)  # said again, and known already

    assert shown(Twice(willing_trial()), LEASE).tried.state is m.State.LOCKED


def test_an_unanswered_grant_is_no_grant() -> None:
    class Silent(Willing):
        @override
        def takes(self, command: m.ToStand) -> None:
            self.tried.reply = s.Unanswered(command)

    with pytest.raises(t.NotProven, match="did not answer the prove command"):
        shown(Silent(willing_trial()), LEASE)
