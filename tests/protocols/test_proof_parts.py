"""The parts of the proof by themselves: supply, order, waits, sets of limits."""

import math
from collections.abc import Generator
from dataclasses import replace

import pytest

from daq.link import messages as m
from daq.link import session as s
from protocols.phases import Phase
from protocols.proof import exercises as x
from protocols.proof import trial as t
from protocols.proof.proof import VALID_S, Part, Proof, can_prove_pulses
from protocols.readiness import Readiness
from protocols.supply import MAX_GAP_S, SETTLED_S, SupplyWatch


def page(index: int, name: str, quantity: m.Quantity) -> m.ChannelPage:
    return m.ChannelPage(
        index, quantity, m.Kind.POINT, 4, 1000.0, 0, -100_000, 100_000, 0, 0, name
    )


PAGES = (
    page(0, "thrust", m.Quantity.FORCE),
    page(1, "current", m.Quantity.CURRENT),
    page(2, "voltage", m.Quantity.VOLTAGE),
    page(3, "pulse", m.Quantity.DURATION),
)
ALL = m.Ability.PROVE | m.Ability.PULSE_READBACK | m.Ability.STOP_LOOP


def layout(index: int, period_us: int, members: tuple[int, ...]) -> s.Layout:
    pages = tuple(PAGES[i] for i in members)
    stream = m.StreamPage(index, period_us, members)
    return s.Layout(stream, pages, lambda _: (), 0)


SLOW, FAST = layout(0, 12_500, (0,)), layout(1, 2_000, (1, 2, 3))


def stand(abilities: m.Ability = ALL, slow: s.Layout = SLOW) -> s.Stand:
    identity = m.Identity(1, 0, 1, 7, 1, abilities, 4, 2, "test")
    return s.Stand(identity, PAGES, (slow, FAST))


ENTRIES = (
    m.LimitEntry(1, -3000, 12_000, 3, 10),
    m.LimitEntry(0, -1000, 9800, 2, 50),
)


def trial(**changes: object) -> t.Trial:
    made = t.Trial(stand(), ENTRIES, 200, 77, m.Prove, x.RAISED, state=m.State.LOCKED)
    for name, value in changes.items():
        setattr(made, name, value)
    return made


def event(cause: m.Cause, state: m.State = m.State.TRIPPED, latch: int = 5) -> m.Event:
    return m.Event(0, 7, latch, state, cause, latch, 255, 255, 0, 0)


def until_it_waits(steps: Generator[float, None, object]) -> float:
    return next(steps)


# -------------------------------------------------------------------- supply


def volts(value: float) -> s.Sampled:
    return s.Sampled(FAST, 0.0, (0, round(value * 1000), 1000))


def watched(value: float, since_s: float, until_s: float) -> SupplyWatch:
    watch = SupplyWatch(stand())
    number = round((until_s - since_s) / 0.01)
    for step in range(number + 1):
        watch.take(volts(value), since_s + step * 0.01)
    return watch


def test_a_supply_is_off_once_it_read_below_a_volt_for_a_while() -> None:
    assert watched(0.2, 0.0, SETTLED_S + 0.01).seen_off(SETTLED_S + 0.01)
    assert not watched(0.2, 0.0, SETTLED_S - 0.02).seen_off(SETTLED_S - 0.02)
    assert not watched(0.2, 0.0, 1.0).seen_on(1.0)


def test_a_volt_is_on() -> None:
    assert watched(1.0, 0.0, 1.0).seen_on(1.0)
    assert not watched(1.0, 0.0, 1.0).seen_off(1.0)
    assert watched(0.999, 0.0, 1.0).seen_off(1.0)


def test_a_plug_that_bounces_begins_anew() -> None:
    watch = watched(12.0, 0.0, 1.0)
    watch.take(volts(0.1), 1.01)
    watch.take(volts(12.0), 1.02)
    assert not watch.seen_on(1.02)
    for step in range(40):
        watch.take(volts(12.0), 1.03 + step * 0.01)
    assert watch.seen_on(1.42)


def test_an_old_reading_and_a_gap_say_nothing() -> None:
    watch = watched(0.1, 0.0, 1.0)
    assert watch.seen_off(1.0 + MAX_GAP_S - 0.001)
    assert not watch.seen_off(1.0 + MAX_GAP_S + 0.001)
    watch.take(volts(0.1), 1.5)
    assert not watch.seen_off(1.5)


def test_no_number_and_no_channel_are_neither_on_nor_off() -> None:
    watch = watched(12.0, 0.0, 1.0)
    none = s.Sampled(FAST, 0.0, (0, PAGES[2].no_reading, 1000))
    for step in range(60):
        watch.take(none, 1.01 + step * 0.01)
    assert not watch.seen_on(1.6)
    assert not watch.seen_off(1.6)
    blind = SupplyWatch(replace(stand(), channels=PAGES[:2]))
    blind.take(s.Sampled(SLOW, 0.0, (0,)), 0.0)
    assert not blind.seen_off(0.0)
    odd = page(2, "voltage", m.Quantity.FORCE)
    assert not SupplyWatch(replace(stand(), channels=(*PAGES[:2], odd))).seen_off(0.0)


def test_nothing_is_known_before_anything_was_read() -> None:
    watch = SupplyWatch(stand())
    assert not watch.seen_on(0.0)
    assert not watch.seen_off(0.0)


# ----------------------------------------------------------------- readiness


def test_the_order_with_a_stand_that_proves_pulses() -> None:
    ready = Readiness(pulses_provable=True)
    order = []
    for step in ("listened", "proven", "supplied", "zeroed", ""):
        order.append(ready.next_phase(latched=False))
        if step == "proven":
            ready.proven(1.0)
        elif step:
            setattr(ready, step, True)
    assert order == [
        Phase.LISTENING,
        Phase.UNPLUGGING,
        Phase.PLUGGING,
        Phase.ZEROING,
        Phase.LIMITING,
    ]


def test_the_order_with_a_stand_that_does_not() -> None:
    ready = Readiness()
    order = []
    for step in ("listened", "zeroed", "proven", ""):
        order.append(ready.next_phase(latched=False))
        if step == "proven":
            ready.proven(1.0)
        elif step:
            setattr(ready, step, True)
    assert order == [Phase.LISTENING, Phase.ZEROING, Phase.PROVING, Phase.LIMITING]


def test_a_latch_goes_before_everything_but_listening() -> None:
    assert Readiness().next_phase(latched=True) is Phase.LISTENING
    ready = Readiness(pulses_provable=True, listened=True)
    assert ready.next_phase(latched=True) is Phase.LATCHED
    ready.proven(0.0)
    assert ready.next_phase(latched=True) is Phase.LATCHED


def test_a_proof_lapses_after_ten_minutes_and_everything_is_due_again() -> None:
    assert VALID_S == 600.0
    ready = Readiness(True, listened=True, supplied=True, zeroed=True)
    assert ready.lapsed(0.0)  # there is none
    ready = Readiness(True, listened=True, supplied=True, zeroed=True)
    ready.proven(100.0)
    assert not ready.lapsed(100.0 + VALID_S)
    assert ready.zeroed
    assert ready.lapsed(100.1 + VALID_S)
    assert (ready.proven_s, ready.supplied, ready.zeroed) == (None, False, False)
    assert ready.next_phase(latched=False) is Phase.UNPLUGGING


# --------------------------------------------------------------- what is asked


def test_a_stand_proves_pulses_only_with_both_abilities_and_both_channels() -> None:
    assert can_prove_pulses(stand())
    assert not can_prove_pulses(stand(m.Ability.PROVE))
    assert not can_prove_pulses(stand(m.Ability.PULSE_READBACK))
    assert not can_prove_pulses(replace(stand(), channels=PAGES[:3]))
    assert not can_prove_pulses(
        replace(stand(), channels=(PAGES[0], PAGES[1], PAGES[3]))
    )


def test_what_a_stand_is_made_to_show() -> None:
    names = [(e.guard, e.channel, e.name) for e in x.exercises_for(trial())]
    assert names == [
        ("lease", None, ""),
        ("damage", None, ""),
        ("stop", None, ""),
        ("limit", 1, "current"),
        ("limit", 0, "thrust"),
        ("silence", 0, "thrust"),
        ("latch", None, ""),
        ("stop loop", None, ""),
    ]
    bare = trial(stand=stand(ALL & ~m.Ability.STOP_LOOP))
    assert "stop loop" not in [e.guard for e in x.exercises_for(bare)]
    quick = trial(stand=stand(slow=layout(0, 10_500, (0,))))
    assert "silence" not in [e.guard for e in x.exercises_for(quick)]
    barely = trial(stand=stand(slow=layout(0, 10_501, (0,))))
    assert "silence" in [e.guard for e in x.exercises_for(barely)]


def test_an_exercise_that_does_not_exist_is_a_bug() -> None:
    for exercise in (x.Exercise("dance"), x.Exercise("limit"), x.Exercise("silence")):
        with pytest.raises(ValueError, match="no such exercise"):
            x.steps_of(exercise, trial())


def test_the_open_set_lets_everything_pass_that_a_channel_can_read() -> None:
    for entry, real in zip(x.open_entries(trial()), ENTRIES, strict=True):
        assert (entry.low, entry.high) == (-100_000, 100_000)
        assert entry.channel == real.channel
        assert entry.persistence == real.persistence
        assert entry.max_age_10ms == real.max_age_10ms


@pytest.mark.parametrize("reads", [0, 50_000, -100_000, 97_999])
def test_the_violated_set_lies_above_what_is_read(reads: int) -> None:
    entries = x.outside_entries(trial(counts={1: reads}), 1)
    outside, other = entries
    assert (outside.low, outside.high) == (reads + 2000, 100_000)
    assert (other.low, other.high) == (-100_000, 100_000)


@pytest.mark.parametrize("reads", [98_000, 100_000])
def test_at_the_top_of_the_range_it_lies_below(reads: int) -> None:
    (outside, _) = x.outside_entries(trial(counts={1: reads}), 1)
    assert (outside.low, outside.high) == (-100_000, reads - 2000)


def test_a_channel_that_never_spoke_counts_as_its_lowest() -> None:
    (outside, _) = x.outside_entries(trial(), 1)
    assert outside.low == -98_000


def test_every_grant_has_a_nonce_of_its_own_and_never_the_plans() -> None:
    for first in (1, 77, 0xFFFE, 0xFFFF):
        tried = trial(first_nonce=first)
        nonces = [tried.next_grant().nonce for _ in range(50)]
        assert len(set(nonces)) == 50
        assert first not in nonces
        assert all(1 <= nonce <= 0xFFFF for nonce in nonces)


def test_a_grant_names_boot_limits_lease_and_what_was_seen() -> None:
    tried = trial(newest_us=123)
    grant = tried.next_grant()
    assert isinstance(grant, m.Prove)
    assert (grant.boot, grant.lease_ms, grant.seen_us) == (7, 200, 123)
    assert grant.limits_crc == m.Limits(ENTRIES).crc
    assert tried.nonce == grant.nonce


def test_a_wish_is_uttered_once_until_another_comes() -> None:
    tried = trial()
    for what in ("loop open", "loop open", "loop closed", "loop open"):
        tried.want(what)
    assert tried.wants == ["loop open", "loop closed", "loop open"]


def test_the_pulse_is_up_or_gone_by_what_it_read_at_rest() -> None:
    for reads_us, is_up, is_gone in (
        (1000, False, True),
        (1014, False, True),
        (1016, False, False),
        (1039, False, False),
        (1041, True, False),
        (984, False, False),
        (986, False, True),
    ):
        tried = trial(seen={"pulse": reads_us * 1e-6}, pulse_rest_s=1e-3)
        assert tried.pulse_is_up is is_up, reads_us
        assert tried.pulse_is_gone is is_gone, reads_us
    unread = trial(pulse_rest_s=1e-3)
    assert not unread.pulse_is_up
    assert not unread.pulse_is_gone


def test_only_a_raised_pulse_is_read_back() -> None:
    assert trial().reads_back
    assert not trial(raised=0).reads_back
    assert not trial(grant=m.Arm).reads_back


# ---------------------------------------------------------------------- waits


def test_a_wait_ends_when_it_is_seen_and_fails_when_it_is_late() -> None:
    tried = trial(now_s=5.0)
    seen: list[int] = []
    steps = t.until(tried, "lease", lambda: seen, 0.5, "too late", "look there")
    assert until_it_waits(steps) == 5.5
    tried.now_s = 5.4999
    assert until_it_waits(steps) == 5.5
    seen.append(1)
    with pytest.raises(StopIteration):
        next(steps)
    late = t.until(tried, "lease", lambda: False, 0.5, "too late", "look there")
    next(late)
    tried.now_s = 5.4999 + 0.5
    with pytest.raises(t.NotProven, match="too late") as failure:
        next(late)
    assert failure.value.guard == "lease"
    assert failure.value.advice == "look there"


def test_a_pause_lasts_as_long_as_it_says() -> None:
    tried = trial(now_s=1.0)
    steps = t.pause(tried, 0.2)
    assert until_it_waits(steps) == pytest.approx(1.2)
    tried.now_s = 1.1999
    next(steps)
    tried.now_s = 1.2
    with pytest.raises(StopIteration):
        next(steps)


def test_a_command_is_said_three_times_and_then_it_is_the_cable() -> None:
    tried = trial()
    command = m.Acknowledge(7, 5)
    steps = t.answered(tried, "stop", command)
    for said in (1, 2, 3):
        next(steps)
        assert [a.command for a in tried.asks] == [command] * said
        tried.reply = s.Unanswered(command)
    with pytest.raises(t.NotProven, match="did not answer the acknowledge") as failure:
        next(steps)
    assert "cable" in failure.value.advice
    steps = t.answered(tried, "stop", command)
    next(steps)
    tried.reply = s.Replied(command, m.Verdict.WRONG_STATE, 0, 0.001)
    with pytest.raises(StopIteration):
        next(steps)


def test_a_trip_of_another_cause_is_no_proof() -> None:
    tried = trial(events=[event(m.Cause.LIMIT)])
    steps = t.expect_event(tried, "lease", m.Cause.LEASE_ENDED, 0.3)
    with pytest.raises(t.NotProven, match="tripped on limit"):
        next(steps)
    tried = trial(events=[event(m.Cause.LEASE_ENDED)], marked_s=0.0, now_s=0.25)
    with pytest.raises(StopIteration):
        next(t.expect_event(tried, "lease", m.Cause.LEASE_ENDED, 0.3))


def test_a_trip_whose_word_was_lost_is_the_lines_fault() -> None:
    tried = trial(state=m.State.TRIPPED)
    with pytest.raises(t.NotProven, match="loses words"):
        next(t.expect_event(tried, "lease", m.Cause.LEASE_ENDED, 0.3))


def test_starts_and_other_changes_are_no_trips() -> None:
    told = [event(m.Cause.PROVING, m.State.PROVING), event(m.Cause.STOP)]
    with pytest.raises(StopIteration):
        next(t.expect_event(trial(events=told), "stop", m.Cause.STOP, 0.3))


def test_the_latch_that_is_cleared_is_the_one_that_was_caused() -> None:
    tried = trial(events=[event(m.Cause.STOP, latch=41)], hold=1000)
    steps = t.clear(tried, "stop")
    next(steps)
    (ask,) = tried.asks
    assert ask.command == m.Acknowledge(7, 41)
    assert tried.hold is None
    assert tried.expected is None


def test_how_long_a_cut_took_runs_from_its_cause() -> None:
    tried = trial(now_s=2.0, seen={"pulse": 1e-3}, pulse_rest_s=1e-3)
    tried.mark()
    tried.now_s = 2.2
    with pytest.raises(StopIteration):
        next(t.expect_no_pulse(tried, "lease"))
    assert tried.took_s == pytest.approx(0.2)


# ----------------------------------------------------------------- the driver


def proof(part: Part = Part.PULSE) -> Proof:
    return Proof(
        part,
        stand(),
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
