"""The parts of the proof by themselves: order, waits, sets of limits."""

from dataclasses import replace

import pytest

from daq.link import messages as m
from daq.link import session as s
from protocols.phases import Phase
from protocols.proof import exercises as x
from protocols.proof import trial as t
from protocols.proof.proof import VALID_S, can_prove_pulses
from protocols.readiness import Readiness
from tests.protocols.trials import (
    ALL,
    ENTRIES,
    FAST,
    PAGES,
    SLOW,
    event,
    layout,
    stand,
    trial,
    until_it_waits,
)

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


def test_nothing_is_taken_for_done_before_it_was() -> None:
    ready = Readiness()
    assert not ready.pulses_provable
    assert not ready.listened
    assert ready.proven_s is None
    assert not ready.supplied
    assert not ready.zeroed
    assert not ready.went
    assert not ready.tried


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
    for what in ("loop open", "loop open", "loop closed", "loop closed", "loop open"):
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
    assert str(failure.value) == "too late"
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


def test_grants_count_on_from_the_plans_nonce() -> None:
    for first, granted in ((77, [79, 80, 81]), (0xFFFE, [1, 2, 3])):
        tried = trial(first_nonce=first)
        assert [tried.next_grant().nonce for _ in range(3)] == granted


def test_a_pulse_just_at_a_threshold_is_neither_up_nor_gone() -> None:
    up = trial(seen={"pulse": t.PULSE_UP_S}, pulse_rest_s=0.0)
    assert not up.pulse_is_up
    gone = trial(seen={"pulse": t.PULSE_SAME_S}, pulse_rest_s=0.0)
    assert not gone.pulse_is_gone


def test_a_trip_that_was_told_before_its_latch_was_is_one() -> None:
    told = trial(events=[event(m.Cause.STOP)], state=m.State.PROVING)
    with pytest.raises(StopIteration):
        next(t.expect_event(told, "stop", m.Cause.STOP, 0.3))


def test_changes_that_are_no_trips_are_waited_past() -> None:
    tried = trial(events=[event(m.Cause.PROVING, m.State.PROVING)])
    steps = t.expect_event(tried, "stop", m.Cause.STOP, 0.3)
    assert until_it_waits(steps) == pytest.approx(0.3)


def test_an_answer_is_waited_for_six_tenths_of_a_second() -> None:
    tried = trial(now_s=2.0)
    steps = t.answered(tried, "stop", m.Lock(7))
    assert until_it_waits(steps) == pytest.approx(2.6)
    tried.now_s = 2.6
    with pytest.raises(t.NotProven, match="did not answer the lock"):
        next(steps)


def test_a_latch_that_does_not_clear_is_waited_for_six_tenths_of_a_second() -> None:
    tried = trial(events=[event(m.Cause.STOP, latch=41)], state=m.State.TRIPPED)
    steps = t.clear(tried, "stop")
    next(steps)
    tried.reply = s.Replied(tried.asks[-1].command, m.Verdict.DONE, 0, 0.001)
    assert until_it_waits(steps) == pytest.approx(0.6)
    tried.now_s = 0.6
    with pytest.raises(t.NotProven, match="did not clear a trip"):
        next(steps)


def test_the_latch_is_found_among_other_words() -> None:
    told = [event(m.Cause.PROVING, m.State.PROVING, 0), event(m.Cause.STOP, latch=42)]
    tried = trial(events=told, state=m.State.TRIPPED)
    next(t.clear(tried, "stop"))
    assert tried.asks[-1].command == m.Acknowledge(7, 42)


def test_a_throttle_says_the_lease_and_what_was_seen_and_is_damaged_when_due() -> None:
    tried = trial(nonce=79, newest_us=4321)
    tried.throttle(250)
    tried.spoil = True
    tried.throttle(251)
    sound, spoilt = tried.asks
    assert sound == t.Ask(m.Throttle(79, 250, 200, 4321), damaged=False)
    assert spoilt == t.Ask(m.Throttle(79, 251, 200, 4321), damaged=True)


def test_a_new_command_has_no_answer_yet() -> None:
    tried = trial(reply=s.Unanswered(m.Lock(7)))
    tried.send(m.Lock(8))
    assert tried.reply is None
    assert tried.asked == m.Lock(8)


def test_counts_are_kept_of_every_channel_and_readings_of_those_looked_at() -> None:
    tried = trial()
    tried.sampled(s.Sampled(SLOW, 0.0, (321,)))
    tried.sampled(s.Sampled(FAST, 0.0, (1000, 12_000, 1)))
    assert tried.counts == {0: 321, 1: 1000, 2: 12_000, 3: 1}
    assert tried.seen == {
        "current": pytest.approx(1.0),
        "voltage": pytest.approx(12.0),
        "pulse": pytest.approx(1e-3),
    }


def test_counters_tell_the_state_and_no_event() -> None:
    tried = trial()
    tried.told(m.Counters(0, 7, m.State.TRIPPED, 5, 1, 0, 0, 0, 0, 0, 0))
    assert tried.state is m.State.TRIPPED
    assert tried.events == []
