"""The proof as it is driven: what it sends, renews, notes, and when it is silent."""

import math
from dataclasses import dataclass, field

import pytest
from typing_extensions import override

from daq.link import messages as m
from daq.link import session as s
from protocols.phases import Note
from protocols.proof import exercises as x
from protocols.proof import trial as t
from protocols.proof.proof import Part, Proof
from tests.protocols.trials import ALL, ENTRIES, FAST, Willing, event, stand, trial


def proof(part: Part = Part.PULSE, known: s.Stand | None = None) -> Proof:
    return Proof(
        part,
        known or stand(),
        m.Limits(ENTRIES),
        lease_ms=200,
        nonce=77,
        highest=0.6,
        state=m.State.LOCKED,
        now_s=10.0,
    )


def test_a_proof_begins_by_opening_the_limits() -> None:
    driven = proof()
    assert driven.deadline_s == 10.0
    (ask,) = driven.step(10.0, 0)
    assert isinstance(ask.command, m.Limits)
    assert ask.command.entries == x.open_entries(trial())
    assert not ask.damaged
    assert [n["part"] for n in driven.take_notes()] == ["a"]
    assert driven.take_notes() == []
    assert 10.0 < driven.deadline_s < math.inf
    assert not driven.over


def test_a_set_that_is_not_taken_ends_the_proof() -> None:
    for verdict, value in ((m.Verdict.BAD_LIMITS, 0), (m.Verdict.DONE, 1)):
        driven = proof()
        (ask,) = driven.step(10.0, 0)
        driven.answered(s.Replied(ask.command, verdict, value, 0.001))
        assert driven.step(10.01, 0) == []
        assert driven.failure is not None
        assert driven.over
        assert driven.deadline_s == math.inf
        assert not driven.expects(m.Cause.LEASE_ENDED)


def test_an_answer_to_something_else_is_none() -> None:
    driven = proof()
    driven.step(10.0, 0)
    driven.answered(s.Replied(m.Lock(7), m.Verdict.DONE, 0, 0.001))
    driven.step(10.01, 0)
    assert not driven.over


def test_what_is_held_is_said_again_every_25_ms() -> None:
    driven = proof()
    (ask,) = driven.step(10.0, 0)
    assert isinstance(ask.command, m.Limits)
    driven.answered(s.Replied(ask.command, m.Verdict.DONE, ask.command.crc, 0.001))
    pulse = s.Sampled(FAST, 0.0, (0, 0, 1))
    driven.sampled(pulse)
    (grant,) = driven.step(10.01, 500)
    assert isinstance(grant.command, m.Prove)
    assert driven.hold_frac == 0.0
    driven.told(event(m.Cause.PROVING, m.State.PROVING, 0))
    driven.answered(s.Replied(grant.command, m.Verdict.DONE, 0, 0.001))
    (first,) = driven.step(10.02, 600)
    assert first.command == m.Throttle(grant.command.nonce, x.RAISED, 200, 600)
    assert driven.hold_frac == pytest.approx(0.1)
    assert driven.step(10.04, 700) == []
    (second,) = driven.step(10.046, 800)
    assert second.command == m.Throttle(grant.command.nonce, x.RAISED, 200, 800)
    assert driven.expects(m.Cause.LEASE_ENDED)
    assert not driven.expects(m.Cause.LIMIT)


@dataclass
class Driven:
    """A proof, the stand that it is made on, and all that it sent and noted."""

    proof: Proof
    hands: Willing
    now_s: float = 10.0
    sent: list[tuple[float, t.Ask]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def goes_on(self, until_s: float) -> None:
        """Steps it every 5 ms."""
        trial = self.proof._trial
        while self.now_s < until_s and not self.proof.over:
            self.hands.shows()
            for ask in self.proof.step(self.now_s, 0):
                self.sent.append((self.now_s, ask))
                if not isinstance(ask.command, m.Throttle):
                    self.hands.takes(ask.command)
            self.notes += self.proof.take_notes()
            self.now_s = trial.now_s = round(self.now_s + 0.005, 6)
            self.hands.acts()

    @property
    def throttles(self) -> list[tuple[float, t.Ask]]:
        return [row for row in self.sent if isinstance(row[1].command, m.Throttle)]


def driven_proof(part: Part = Part.PULSE, kind: type[Willing] = Willing) -> Driven:
    made = proof(part, stand(ALL & ~m.Ability.STOP_LOOP))
    made._trial.counts.update({0: 0, 1: 0})
    return Driven(made, kind(made._trial))


def test_a_proof_goes_through_every_exercise_and_notes_each() -> None:
    driven = driven_proof()
    driven.goes_on(30.0)
    assert driven.proof.done
    assert driven.proof.failure is None
    assert driven.proof.over
    assert driven.proof.deadline_s == math.inf
    first, *shown, last = driven.notes
    assert first == {"note": "proof", "part": "a", "how": Part.PULSE.words}
    assert [(n["guard"], n.get("channel")) for n in shown] == [
        ("lease", None),
        ("damage", None),
        ("stop", None),
        ("limit", "current"),
        ("limit", "thrust"),
        ("silence", "thrust"),
        ("latch", None),
    ]
    assert all(n["note"] == "proved" and n["part"] == "a" for n in shown)
    took_ms = [n["took_ms"] for n in shown]
    assert took_ms[:2] == [200.0, pytest.approx(200.0, abs=10)]
    assert all(isinstance(n, float) and n < 50 for n in took_ms[2:-1])
    assert last["note"] == "proven"
    assert last["took_s"] == pytest.approx(driven.now_s - 10.0, abs=0.006)


def test_only_the_damage_exercise_damages_frames() -> None:
    driven = driven_proof()
    driven.goes_on(30.0)
    spoilt_s = [at_s for at_s, ask in driven.throttles if ask.damaged]
    assert 5 < len(spoilt_s) < 10
    assert spoilt_s[-1] - spoilt_s[0] < 0.2
    spoilt = [ask.command for _, ask in driven.sent if ask.damaged]
    assert all(isinstance(c, m.Throttle) for c in spoilt)


def test_a_proof_that_failed_sends_nothing_any_more() -> None:
    class NeverStops(Willing):
        @override
        def stops(self, command: m.Stop) -> None:
            self.replies(command)

    driven = driven_proof(kind=NeverStops)
    driven.goes_on(30.0)
    made = driven.proof
    assert made.failure is not None
    assert made.failure.guard == "stop"
    assert not made.done
    # The pulse was held until then; no frame goes out that would renew it.
    failed_s = driven.now_s
    assert failed_s - driven.throttles[-1][0] <= 0.03
    for step in range(100):
        assert made.step(failed_s + step * 0.005, 0) == []
    assert made.deadline_s == math.inf
    assert not made.expects(m.Cause.STOP)


def test_a_renewal_is_due_when_the_proof_says_so_and_no_earlier() -> None:
    driven = driven_proof()
    while not driven.throttles:
        driven.goes_on(driven.now_s + 0.005)
    last_s = driven.throttles[-1][0]
    made = driven.proof
    due_s = made.deadline_s
    assert due_s == pytest.approx(last_s + 0.025)
    assert made.step(math.nextafter(due_s, 0.0), 0) == []
    (again,) = made.step(due_s, 0)
    assert isinstance(again.command, m.Throttle)


def test_a_hold_that_ended_is_not_renewed_and_the_next_begins_at_once() -> None:
    driven = driven_proof()
    driven.goes_on(30.0)
    said = [
        (at_s, ask.command)
        for at_s, ask in driven.sent
        if isinstance(ask.command, m.Prove | m.Throttle)
    ]
    grants = [place for place, (_, c) in enumerate(said) if isinstance(c, m.Prove)]
    assert len(grants) == 8  # seven exercises, and the latch asks once more
    for place in grants[:-1]:
        (granted_s, grant), (first_s, first) = said[place : place + 2]
        assert first_s - granted_s == pytest.approx(0.005)
        assert isinstance(first, m.Throttle)
        assert first.nonce == grant.nonce


def test_wishes_are_noted_once_each() -> None:
    class Loop(Willing):
        @override
        def acts(self) -> None:
            super().acts()
            if self.tried.wants[-1:] == ["loop open"] and self.tried.hold is not None:
                self.trips(m.Cause.STOP_LOOP_OPEN)

    made = proof()
    made._trial.counts.update({0: 0, 1: 0})
    driven = Driven(made, Loop(made._trial))
    driven.goes_on(30.0)
    assert made.done
    wanted = [n["what"] for n in driven.notes if n["note"] == "wanted"]
    assert wanted == ["loop open", "loop closed"]
    opened = next(n for n in driven.notes if n.get("guard") == "stop loop")
    assert "took_ms" not in opened  # nobody knows when a hand began


@pytest.mark.parametrize(
    ("part", "grant", "nonce", "raised"),
    [
        (Part.PULSE, m.Prove, 79, x.RAISED),
        (Part.EVENTS, m.Arm, 79, 0),
    ],
)
def test_only_with_the_supply_off_is_a_pulse_raised_and_only_by_prove(
    part: Part, grant: type[m.ToStand], nonce: int, raised: int
) -> None:
    driven = driven_proof(part)
    driven.goes_on(30.0)
    assert driven.proof.done
    grants = [a.command for _, a in driven.sent if isinstance(a.command, grant)]
    assert len(grants) == 8
    first = grants[0]
    assert isinstance(first, m.Prove | m.Arm)
    assert first.nonce == nonce
    others = m.Arm if grant is m.Prove else m.Prove
    assert not any(isinstance(a.command, others) for _, a in driven.sent)
    setpoints = {
        a.command.setpoint
        for _, a in driven.throttles
        if isinstance(a.command, m.Throttle)
    }
    assert setpoints == {raised}
    seen = {n["seen"] for n in driven.notes if n["note"] == "proved"}
    assert seen == {"pulse read back as gone" if raised else "event"}


def test_with_the_supply_on_the_real_limits_stay_and_the_nonces_are_others() -> None:
    class Motor(Willing):
        @override
        def shows(self) -> None:
            turns = self.setpoint > 800
            self.tried.seen.update(current=0.5 if turns else 0.02)

    driven = driven_proof(Part.RUNNING, Motor)
    driven.goes_on(30.0)
    assert driven.proof.done
    (arm,) = [a.command for _, a in driven.sent if isinstance(a.command, m.Arm)]
    assert arm.nonce == 77 + 0x4000 + 2
    assert arm.limits_crc == m.Limits(ENTRIES).crc
    assert not any(isinstance(a.command, m.Limits) for _, a in driven.sent)
    (shown,) = [n for n in driven.notes if n["note"] == "proved"]
    assert shown["guard"] == "lease while running"
    assert shown["part"] == "c"
    assert "channel" not in shown
    assert shown["took_ms"] == pytest.approx(200, abs=30)
