"""What is held in a stand's place: no throttle but one that was granted, and stops.

The laws are those of a stand that protects itself (``daq/link/README.md``), as far as
this side of a cable can hold them.
"""

import math
import re
from itertools import pairwise

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from typing_extensions import override

from daq.link import messages as m
from daq.link.columns.commands import HeardCommands
from daq.link.columns.stand_in import (
    SAY_AGAIN_S,
    STOP_AGAIN_S,
    STOP_FOR_S,
    StandIn,
    stop_words,
)
from daq.link.standing import MAY_DRIVE
from tests.daq.link.columns.descriptions import WHOLE, described

BARE = WHOLE.replace('keep_alive = "K\\n"\nkeep_alive_period_s = 0.2\n', "")
NO_STOP = BARE.replace('stop = "S\\n"\n', "")
LIMITS = m.Limits((m.LimitEntry(2, -100, 100, 3, 10),))
BOOT, LEASE_MS = 1, 200
STOP = b"S\nT0.0\n"
STOP_NOW = m.Stop(m.StopReason.PERSON)
STEP_S = 1e-3


def armed(text: str = BARE, now_s: float = 0.0, nonce: int = 7) -> StandIn:
    """A stand-in that was granted throttle; what it says of that is taken."""
    stand_in = StandIn(described(text), BOOT)
    arm(stand_in, now_s, nonce)
    return stand_in


def arm(stand_in: StandIn, now_s: float, nonce: int) -> None:
    stand_in.take(LIMITS, now_s)
    verdict, _ = stand_in.take(
        m.Arm(nonce, stand_in.boot, LIMITS.crc, LEASE_MS, 0), now_s
    )
    assert verdict is m.Verdict.DONE
    assert stand_in.poll(now_s).startswith(b"T0.0")


def throttle(setpoint: int, nonce: int = 7, lease_ms: int = LEASE_MS) -> m.Throttle:
    return m.Throttle(nonce, setpoint, lease_ms, 0)


def said(stand_in: StandIn, from_s: float, to_s: float) -> list[tuple[float, bytes]]:
    """What it says when it is polled at its deadlines only."""
    texts = []
    now_s = max(from_s, stand_in.deadline_s)
    while now_s <= to_s:
        text = stand_in.poll(now_s)
        if text:
            texts.append((now_s, text))
        assert stand_in.deadline_s > now_s
        now_s = stand_in.deadline_s
    return texts


# ------------------------------------------------------------------- the words


def test_the_figures_are_those_that_are_told() -> None:
    assert (SAY_AGAIN_S, STOP_AGAIN_S, STOP_FOR_S) == (0.2, 0.05, 1.0)


def test_the_stop_is_what_is_described_and_a_throttle_of_zero() -> None:
    assert stop_words(described(BARE)) == b"S\nT0.0\n"
    assert stop_words(described(NO_STOP)) == b"T0.0\n"
    finer = BARE.replace("{percent:.1f}", "{percent:.2f}")
    assert stop_words(described(finer)) == b"S\nT0.00\n"
    silent = WHOLE[: WHOLE.index("[commands]")]
    assert stop_words(described(silent)) == b""


# ------------------------------------------------------------------- what is granted


def test_arming_asks_for_what_any_stand_asks_for() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    right = m.Arm(7, BOOT, LIMITS.crc, LEASE_MS, 0)
    assert stand_in.take(right, 0.0)[0] is m.Verdict.NO_LIMITS
    assert stand_in.take(LIMITS, 0.0) == (m.Verdict.DONE, LIMITS.crc)
    wrong = {
        m.Verdict.WRONG_BOOT: m.Arm(7, BOOT + 1, LIMITS.crc, LEASE_MS, 0),
        m.Verdict.WRONG_LIMITS: m.Arm(7, BOOT, LIMITS.crc ^ 1, LEASE_MS, 0),
        m.Verdict.BAD_NONCE: m.Arm(0, BOOT, LIMITS.crc, LEASE_MS, 0),
    }
    for verdict, command in wrong.items():
        assert stand_in.take(command, 0.0)[0] is verdict
        assert stand_in.state is m.State.LOCKED
    assert stand_in.take(right, 0.0)[0] is m.Verdict.DONE
    assert stand_in.take(right, 0.0)[0] is m.Verdict.WRONG_STATE
    assert stand_in.take(m.Lock(BOOT), 0.1)[0] is m.Verdict.DONE
    assert stand_in.take(right, 0.2)[0] is m.Verdict.BAD_NONCE  # each holds once


def test_only_the_nonce_that_was_granted_moves_the_throttle() -> None:
    stand_in = armed()
    assert stand_in.throttle(throttle(3000, nonce=8), 0.1) == b""
    assert stand_in.throttle(throttle(3000, nonce=0), 0.1) == b""
    assert stand_in.setpoint == 0
    assert stand_in.throttle(throttle(3000), 0.1) == b"T30.0\n"
    assert stand_in.state is m.State.SPINNING
    assert (stand_in.setpoint, stand_in.latch) == (3000, 0)


def test_the_very_first_throttle_is_said_at_once() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    stand_in.take(LIMITS, 0.0)
    ask = m.Arm(1, BOOT, LIMITS.crc, LEASE_MS, 0)
    assert stand_in.take(ask, 0.0)[0] is m.Verdict.DONE
    assert stand_in.throttle(throttle(3000, nonce=1), 0.0) == b"T30.0\n"


def test_one_that_can_be_told_nothing_is_told_nothing() -> None:
    stand_in = StandIn(described(WHOLE[: WHOLE.index("[commands]")]), BOOT)
    stand_in.take(LIMITS, 0.0)
    stand_in.take(m.Arm(7, BOOT, LIMITS.crc, LEASE_MS, 0), 0.0)
    assert stand_in.throttle(throttle(3000), 0.0) == b""
    assert [stand_in.poll(0.1 * n) for n in range(20)] == [b""] * 20
    assert stand_in.state is m.State.TRIPPED


def test_nothing_is_granted_that_no_stand_is_asked_for() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    prove = m.Prove(7, BOOT, 0, LEASE_MS, 0)
    assert stand_in.take(prove, 0.0) == (m.Verdict.UNKNOWN_COMMAND, 0)
    assert stand_in.state is m.State.LOCKED


# ------------------------------------------------------------------- the lease


def test_a_lease_that_is_not_renewed_ends_in_a_stop() -> None:
    stand_in = armed()
    stand_in.throttle(throttle(3000), 0.1)
    assert stand_in.deadline_s == pytest.approx(0.3)
    assert stand_in.poll(0.1 + 0.2 - 1e-6) == b""
    assert stand_in.poll(0.1 + 0.2) == STOP
    assert stand_in.state is m.State.TRIPPED
    last = stand_in.events(0)[-1]
    assert last.cause is m.Cause.LEASE_ENDED
    assert last.throttle == 3000
    assert last.latch == last.number == stand_in.latch > 0
    assert stand_in.setpoint == 0
    # Not even the right nonce moves it any more.
    assert stand_in.throttle(throttle(3000), 0.31) == b""


def test_a_lease_that_has_ended_is_not_revived_though_nobody_looked() -> None:
    stand_in = armed()
    stand_in.throttle(throttle(3000), 0.1)
    assert stand_in.throttle(throttle(3500), 0.301) == b""
    assert stand_in.poll(0.302) == STOP


def test_a_lease_has_ended_at_its_very_end() -> None:
    stand_in = armed()  # until 0.2
    assert stand_in.throttle(throttle(3000), LEASE_MS * 1e-3) == b""
    assert stand_in.poll(LEASE_MS * 1e-3) == STOP


def test_each_renewal_counts_from_its_own_moment() -> None:
    stand_in = armed()
    for n in range(40):
        stand_in.throttle(throttle(3000, lease_ms=100), 0.05 * n)
        assert stand_in.state is m.State.SPINNING
    assert stand_in.poll(0.05 * 39 + 0.0999) in (b"", b"T30.0\n")
    assert stand_in.poll(0.05 * 39 + 0.1001) == STOP


# ------------------------------------------------------------------- said again


def test_a_throttle_that_holds_is_said_again() -> None:
    stand_in = armed()
    assert stand_in.throttle(throttle(3000, lease_ms=500), 0.1) == b"T30.0\n"
    assert stand_in.throttle(throttle(3000, lease_ms=500), 0.2) == b""
    ((again_s, text),) = said(stand_in, 0.2, 0.4)
    assert (again_s, text) == (0.1 + SAY_AGAIN_S, b"T30.0\n")


def test_new_throttles_come_no_faster_than_lines() -> None:
    text = BARE.replace("rate_hz = 80", "rate_hz = 10")
    stand_in = armed(text)
    out = []
    for n in range(1, 101):
        now_s = n * 0.01
        told = stand_in.throttle(throttle(20 * n), now_s) + stand_in.poll(now_s)
        if told:
            out.append((now_s, told))
    times = [now_s for now_s, _ in out]
    assert all(b - a >= 0.1 - 1e-9 for a, b in pairwise(times))
    assert 8 <= len(out) <= 11
    # Each time the newest; what was passed over is never said.
    assert all(t == b"T%.1f\n" % (round(now_s * 100) * 0.2) for now_s, t in out)


def test_a_throttle_waits_for_its_line_and_no_longer() -> None:
    stand_in = armed(BARE.replace("rate_hz = 80", "rate_hz = 10"))
    assert stand_in.throttle(throttle(1000), math.nextafter(0.1, 0.0)) == b""
    assert stand_in.throttle(throttle(3000), 0.1) == b"T30.0\n"
    assert stand_in.deadline_s == pytest.approx(0.3)


def test_zero_does_not_wait_for_a_line() -> None:
    stand_in = armed(BARE.replace("rate_hz = 80", "rate_hz = 10"))
    stand_in.throttle(throttle(3000), 0.15)
    assert stand_in.throttle(throttle(0), 0.151) == b"T0.0\n"
    assert stand_in.state is m.State.ARMED


def test_a_throttle_that_waits_is_not_said_after_a_stop() -> None:
    stand_in = armed(BARE.replace("rate_hz = 80", "rate_hz = 10"))
    stand_in.throttle(throttle(3000), 0.15)
    assert stand_in.throttle(throttle(4000), 0.16) == b""  # waits
    stand_in.take(m.Stop(m.StopReason.PERSON), 0.17)
    texts = [text for _, text in said(stand_in, 0.17, 3.0)]
    assert set(texts) == {STOP}


def test_a_stop_is_said_at_once_and_again_for_a_while() -> None:
    stand_in = armed()
    stand_in.throttle(throttle(3000), 0.1)
    stand_in.take(m.Stop(m.StopReason.PERSON), 0.2)
    texts = said(stand_in, 0.2, 10.0)
    assert texts[0] == (0.2, STOP)
    assert {text for _, text in texts} == {STOP}
    assert texts[-1][0] == pytest.approx(0.2 + STOP_FOR_S, abs=STOP_AGAIN_S)
    assert len(texts) == pytest.approx(STOP_FOR_S / STOP_AGAIN_S, abs=2)
    assert stand_in.deadline_s == math.inf


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_stop_is_repeated_no_faster_than_its_lines_can_be_read(end: str) -> None:
    slow = BARE.replace("rate_hz = 80", "rate_hz = 10")
    slow = slow.replace("\\n", end.replace("\r", "\\r").replace("\n", "\\n"))
    stand_in = armed(slow)
    stand_in.take(m.Stop(m.StopReason.GUARD), 0.5)
    times = [now_s for now_s, _ in said(stand_in, 0.5, 9.0)]
    assert times[0] == 0.5
    gaps = [b - a for a, b in pairwise(times)]
    assert gaps == pytest.approx([0.2] * len(gaps))
    assert len(gaps) in (5, 6)


def test_throttles_leave_room_for_a_keep_alive() -> None:
    stand_in = armed(WHOLE.replace("rate_hz = 80", "rate_hz = 10"))
    assert stand_in.throttle(throttle(3000), 0.15) == b""
    stand_in.poll(0.15)
    assert stand_in.deadline_s == pytest.approx(0.2)
    assert stand_in.poll(0.2) == b"T30.0\nK\n"
    for n in range(1, 20):
        stand_in.throttle(throttle(3000 + n), 0.2 + 0.01 * n)
        stand_in.poll(0.2 + 0.01 * n)
    assert stand_in.throttle(throttle(4000), 0.4) == b"T40.0\n"


def test_a_second_stop_is_as_prompt_as_the_first() -> None:
    # The proof lets the lease lapse and arms anew at once; then the plan may trip.
    stand_in = armed()
    stand_in.throttle(throttle(3000), 0.1)
    stand_in.take(m.Stop(m.StopReason.GUARD), 0.2)
    stand_in.poll(0.2)
    stand_in.take(m.Acknowledge(BOOT, stand_in.latch), 0.3)
    arm(stand_in, 0.4, nonce=8)
    stand_in.throttle(throttle(3000, nonce=8), 0.5)
    stand_in.take(m.Stop(m.StopReason.GUARD), 0.6)
    texts = said(stand_in, 0.6, 10.0)
    assert texts[0] == (0.6, STOP)
    assert texts[-1][0] == pytest.approx(0.6 + STOP_FOR_S, abs=STOP_AGAIN_S)


def test_a_stop_asked_for_again_is_said_again() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    for now_s in (0.0, 0.01, 0.02, 5.0):
        stand_in.take(m.Stop(m.StopReason.FAULT), now_s)
        assert stand_in.poll(now_s) == STOP
    assert len([e for e in stand_in.events(0) if e.cause is m.Cause.STOP]) == 1


def test_locking_says_stop_wherever_it_is_held_to_be() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    assert stand_in.take(m.Lock(BOOT), 0.0)[0] is m.Verdict.DONE
    assert stand_in.poll(0.0) == STOP
    assert stand_in.events(0) == []  # nothing changed
    assert stand_in.take(m.Lock(BOOT + 1), 0.1)[0] is m.Verdict.WRONG_BOOT
    stand_in.take(m.Stop(m.StopReason.PERSON), 0.1)
    assert stand_in.take(m.Lock(BOOT), 0.1)[0] is m.Verdict.WRONG_STATE


def test_a_latch_is_cleared_by_its_number_only() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    assert stand_in.take(m.Acknowledge(BOOT, 0), 0.0)[0] is m.Verdict.WRONG_STATE
    stand_in.take(m.Stop(m.StopReason.PERSON), 0.0)
    latch = stand_in.latch
    assert stand_in.take(m.Acknowledge(BOOT, latch + 1), 0)[0] is m.Verdict.WRONG_LATCH
    assert stand_in.state is m.State.TRIPPED
    assert stand_in.take(m.Acknowledge(BOOT, latch), 0.0)[0] is m.Verdict.DONE
    assert (stand_in.state, stand_in.latch) == (m.State.LOCKED, 0)


# ------------------------------------------------------------------- keep-alive


def test_a_keep_alive_is_said_while_armed_and_no_longer() -> None:
    stand_in = StandIn(described(WHOLE), BOOT)
    assert stand_in.deadline_s == math.inf
    arm(stand_in, 0.0, 7)
    heard = []
    for n in range(1000):
        now_s = n * STEP_S
        if now_s < 0.5:
            stand_in.throttle(throttle(0), now_s)
        if b"K\n" in stand_in.poll(now_s):
            heard.append(now_s)
    assert heard == pytest.approx([0.2, 0.4, 0.6], abs=2 * STEP_S)
    assert stand_in.state is m.State.TRIPPED


# ------------------------------------------------------------------- a new beginning


def test_answers_carry_no_value_but_that_of_the_limits() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    asked: tuple[m.ToStand, ...] = (
        m.Lock(BOOT),
        m.Stop(m.StopReason.PERSON),
        m.Acknowledge(BOOT, 1),
        m.Acknowledge(BOOT, 1),
        m.Arm(7, BOOT, LIMITS.crc, LEASE_MS, 0),
        m.Prove(7, BOOT, 0, LEASE_MS, 0),
    )
    for command in asked:
        assert stand_in.take(command, 0.0)[1] == 0
    for event in stand_in.events(0):
        assert (event.count, event.channel, event.limit) == (0, m.NONE, m.NONE)


def test_events_are_numbered_as_a_message_holds_them_and_never_zero() -> None:
    stand_in = StandIn(described(BARE), BOOT)
    numbers = []
    for n in range(0x10001):
        command = m.Acknowledge(BOOT, stand_in.latch) if n % 2 else STOP_NOW
        stand_in.take(command, 0.0)
        numbers += [event.number for event in stand_in.events(0)]
    assert numbers == [*range(1, 0x10000), 1, 2]


def test_a_stop_is_said_for_the_last_time_at_its_very_end() -> None:
    stand_in = armed()
    stand_in.take(STOP_NOW, 0.5)
    assert stand_in.poll(0.5 + STOP_FOR_S) == STOP
    assert stand_in.deadline_s == math.inf


def test_a_restart_with_the_motor_running_goes_on_saying_stop() -> None:
    stand_in = armed()
    stand_in.throttle(throttle(3000), 0.1)
    new = stand_in.begun_again(2, 0.15)
    assert (new.state, new.setpoint, new.boot) == (m.State.LOCKED, 0, 2)
    texts = said(new, 0.15, 3.0)
    assert texts[0] == (0.15, STOP)
    assert texts[-1][0] >= 0.15 + STOP_FOR_S


def test_a_restart_while_a_stop_is_said_goes_on_saying_it() -> None:
    stand_in = armed()
    stand_in.take(m.Stop(m.StopReason.PERSON), 0.1)
    assert stand_in.begun_again(2, 0.5).poll(0.5) == STOP
    last_s = 0.1 + STOP_FOR_S
    assert stand_in.begun_again(2, last_s).poll(last_s) == STOP
    after_s = math.nextafter(last_s, 9.0)
    assert stand_in.begun_again(2, after_s).poll(after_s) == b""


def test_a_restart_of_a_stand_that_was_told_nothing_says_nothing() -> None:
    new = StandIn(described(BARE), BOOT).begun_again(2, 5.0)
    assert new.deadline_s == math.inf
    assert new.poll(5.0) == b""


def test_counters_tell_where_it_is_held_to_be() -> None:
    stand_in = armed()
    stand_in.throttle(throttle(3000), 0.1)
    told = stand_in.counters(99)
    assert (told.time_us, told.boot, told.state) == (99, BOOT, m.State.SPINNING)
    assert (told.throttle, told.latch, told.events) == (3000, 0, 2)
    # Nobody counts what a sketch hears and misses.
    unknown = (told.received, told.damaged, told.ignored, told.unsent, told.missed)
    assert unknown == (0, 0, 0, 0, 0)
    numbers = [event.number for event in stand_in.events(5)]
    assert numbers == [1, 2]
    assert stand_in.events(5) == []


# ------------------------------------------------------------------- the laws


class Laws(RuleBasedStateMachine):
    """Any commands at any moments."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 10.0
        self.began()

    def began(self) -> None:
        self.description = described(self.text())
        self.heard = HeardCommands(self.description.commands)
        lines = stop_words(self.description).count(b"\n")
        self.again_s = max(STOP_AGAIN_S, lines / self.description.rate_hz)
        self.stand_in = StandIn(self.description, BOOT)
        self.granted = 0
        self.lease_end_s = -math.inf
        self.setpoint = 0
        self.stopped_s: float | None = None
        self.said_stop_s = -math.inf

    def text(self) -> str:
        return WHOLE

    # ---------------------------------------------------------- what is asked

    @rule(wait_ms=st.integers(1, 400))
    def wait_at_deadlines(self, wait_ms: int) -> None:
        """Time passes; it is polled when it asks for it, as the keeper does."""
        end_s = self.now_s + wait_ms * 1e-3
        while self.stand_in.deadline_s <= end_s:
            due_s = self.stand_in.deadline_s
            assert due_s >= self.now_s - 1e-9
            if due_s > self.now_s:
                state = self.stand_in.state
                assert self.poll(math.nextafter(due_s, -math.inf)) == b""
                assert self.stand_in.state is state
            changed = self.stand_in.state
            text = self.poll(due_s)
            assert text or self.stand_in.state is not changed
        self.now_s = max(self.now_s, end_s)

    @rule(late_ms=st.integers(0, 3000))
    def be_late(self, late_ms: int) -> None:
        """This program was held up."""
        self.now_s += late_ms * 1e-3
        self.poll(self.now_s)

    @rule(
        setpoint=st.integers(0, 10_000),
        lease_ms=st.integers(50, 500),
        right=st.sampled_from([True, True, True, False]),
    )
    def throttle(self, setpoint: int, lease_ms: int, *, right: bool) -> None:
        nonce = self.granted if right else (self.granted + 1) % 0xFFFF
        takes = right and self.may_drive
        text = self.stand_in.throttle(
            m.Throttle(nonce, setpoint, lease_ms, 0), self.now_s
        )
        if takes:
            self.setpoint = setpoint
            self.lease_end_s = self.now_s + lease_ms * 1e-3
        else:
            assert text == b""
        self.judge(text)

    @rule()
    def limits(self) -> None:
        self.stand_in.take(LIMITS, self.now_s)

    @rule(boot=st.sampled_from([BOOT, BOOT, 9]), crc=st.sampled_from([0, 0, 1]))
    def arm(self, boot: int, crc: int) -> None:
        nonce = self.granted + 1
        ask = m.Arm(nonce, boot, LIMITS.crc ^ crc, LEASE_MS, 0)
        verdict, _ = self.stand_in.take(ask, self.now_s)
        if verdict is m.Verdict.DONE:
            assert (boot, crc) == (BOOT, 0)
            self.granted, self.setpoint = nonce, 0
            self.lease_end_s = self.now_s + LEASE_MS * 1e-3
            self.stopped_s = None

    @rule()
    def stop(self) -> None:
        self.stand_in.take(m.Stop(m.StopReason.PERSON), self.now_s)
        self.begin_stop()
        assert self.poll(self.now_s) == stop_words(self.description)

    @rule()
    def lock(self) -> None:
        verdict, _ = self.stand_in.take(m.Lock(BOOT), self.now_s)
        if verdict is m.Verdict.DONE:
            self.begin_stop()
            assert self.poll(self.now_s) == stop_words(self.description)

    @rule()
    def acknowledge(self) -> None:
        self.stand_in.take(m.Acknowledge(BOOT, self.stand_in.latch), self.now_s)

    @rule()
    @precondition(lambda self: self.stand_in.state is m.State.TRIPPED)
    def begin_again(self) -> None:
        """To come to drive again more often than by chance."""
        self.acknowledge()
        self.limits()
        self.arm(BOOT, 0)
        self.poll(self.now_s)
        self.throttle(3000, 300, right=True)

    # ---------------------------------------------------------- what it does

    @property
    def may_drive(self) -> bool:
        return self.stand_in.state in MAY_DRIVE and self.now_s < self.lease_end_s

    def begin_stop(self) -> None:
        self.stopped_s, self.setpoint = self.now_s, 0

    def poll(self, now_s: float) -> bytes:
        self.now_s = max(self.now_s, now_s)
        drove = self.stand_in.state in MAY_DRIVE
        text = self.stand_in.poll(now_s)
        if drove and self.stand_in.state not in MAY_DRIVE:
            assert now_s >= self.lease_end_s
            assert text == stop_words(self.description)
            self.stopped_s, self.setpoint = now_s, 0
        self.judge(text)
        return text

    def judge(self, text: bytes) -> None:
        """Whatever leaves, it is whole and it is allowed."""
        lines = re.split("[\r\n]+", text.decode("ascii"))
        assert lines.pop() == ""
        for line in lines:
            told = self.heard.throttle(line)
            if told:
                assert self.may_drive
                assert self.stopped_s is None
                assert told == pytest.approx(self.setpoint / 10_000, abs=5.1e-4)
            elif line == "K":
                assert self.may_drive
            else:
                assert told == 0.0 or line == "S"
        if text == stop_words(self.description):
            self.said_stop_s = self.now_s

    @invariant()
    def the_lease_is_the_last_that_was_granted(self) -> None:
        if self.stand_in.state in MAY_DRIVE:
            assert self.stand_in.deadline_s <= self.lease_end_s
            assert self.stand_in.setpoint == self.setpoint
        else:
            assert self.stand_in.setpoint == 0

    @invariant()
    def a_stop_goes_on_being_said(self) -> None:
        if self.stopped_s is None or self.stand_in.state in MAY_DRIVE:
            return
        if self.now_s < self.stopped_s + STOP_FOR_S:
            assert self.stand_in.deadline_s <= self.said_stop_s + self.again_s + 1e-9

    @invariant()
    def a_latch_is_there_while_it_is_tripped(self) -> None:
        assert (self.stand_in.latch != 0) == (self.stand_in.state is m.State.TRIPPED)

    @invariant()
    def events_are_as_many_as_are_counted(self) -> None:
        events = self.stand_in.events(0)
        told = self.stand_in.counters(0)
        if events:
            assert events[-1].number == told.events
            assert events[-1].state is told.state


class SlowLaws(Laws):
    """The same where a new throttle has to wait for a line, and no stop text is."""

    @override
    def text(self) -> str:
        return NO_STOP.replace("rate_hz = 80", "rate_hz = 10")


TestLaws = Laws.TestCase
TestLaws.settings = settings(stateful_step_count=40)
TestSlowLaws = SlowLaws.TestCase
TestSlowLaws.settings = settings(stateful_step_count=40)
