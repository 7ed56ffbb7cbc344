"""Section 5 of the link's page: what any stand must do, whatever it is made of.

Times are the stand's own stamps; tolerances are stated where they are used. The
expectations come from daq/link/README.md, through an encoder, a decoder and a
judge of limits that share no code with the project.
"""

from itertools import pairwise

import pytest

from tests.contract import stranger
from tests.contract.host import (
    ARMED,
    LOCKED,
    PROVING,
    SLOW_SPIN,
    SPINNING,
    TRIPPED,
    Host,
)
from tests.contract.rows import after, only_event, readings
from tests.contract.stranger import Message
from tests.contract.subjects import SideDoors

LEASE_ENDED, STOP = 32, 35
CHECK_US = 1000  # lease and silence are looked at every millisecond at least
LATE_US = 5000  # what a trip may come after its moment


# --- Who it is, and what it sends ---------------------------------------------------


def test_the_identity_is_complete_and_agrees_with_itself(any_host: Host) -> None:
    identity = any_host.identify()
    channels, streams = any_host.decoder.channels, any_host.decoder.streams
    assert identity["link_version"] == 1
    assert identity["abilities"] & 3 == 3  # a stand without lease and limits is none
    assert sorted(channels) == list(range(identity["channel_count"]))
    assert sorted(streams) == list(range(identity["stream_count"]))
    carried = [index for stream in streams.values() for index in stream["channels"]]
    assert sorted(carried) == sorted(channels)
    names = [channel["name"] for channel in channels.values()]
    assert len(set(names)) == len(names)
    for channel in channels.values():
        assert channel["width"] in (2, 4)
        assert channel["quantity"] in range(1, 9)
        assert channel["kind"] in range(1, 5)
        assert channel["counts_per_unit"] != 0
        assert channel["name"].isprintable()
        lowest = -(1 << (8 * channel["width"] - 1))
        assert lowest < channel["low_counts"] < channel["high_counts"] < -lowest
    assert any_host.counters()["boot"] == identity["boot"]


@pytest.mark.parametrize("version", [0, 1, 2, 255])
def test_who_is_answered_whatever_the_version(host: Host, version: int) -> None:
    assert host.identify(version)["link_version"] == 1


def test_who_is_answered_in_every_state(host: Host) -> None:
    host.armed()
    assert host.identify()
    host.throttle(SLOW_SPIN)
    host.event(17)
    assert host.identify()
    host.ask(stranger.STOP, b"\x01")
    assert host.identify()
    assert host.told()["state"] == TRIPPED


def test_samples_come_at_the_stated_rates_with_rising_times(any_host: Host) -> None:
    any_host.identify()
    decoder, begin = any_host.decoder, len(any_host.heard)
    lost, damaged, unknown = decoder.lost, decoder.damaged, decoder.unknown
    any_host.pass_ms(500)
    for stream in decoder.streams.values():
        times = [
            message["time_us"]
            for message in any_host.heard[begin:]
            if message["type"] == "samples" and message["stream"] == stream["index"]
        ]
        steps = [(b - a) & 0xFFFFFFFF for a, b in pairwise(times)]
        assert all(0 < step < 1 << 31 for step in steps)
        # A stand may keep time in milliseconds; 2 % is what a resonator may be off.
        assert abs(sorted(steps)[len(steps) // 2] - stream["period_us"]) <= 1000
        if decoder.lost == lost:  # a real line may lose some
            assert decoder.damaged == damaged
            mean_us = sum(steps) / len(steps)
            assert mean_us == pytest.approx(stream["period_us"], rel=0.02)
    # Widths: a sample of another length would not have been read.
    assert decoder.unknown == unknown


def test_counts_stay_in_the_channels_ranges(host: Host) -> None:
    host.spinning(3000)
    host.hold(3000, 300)
    for index, channel in host.decoder.channels.items():
        for _, count in readings(host.heard, index):
            assert channel["low_counts"] <= count <= channel["high_counts"]


def test_counters_come_every_200_ms_and_agree_with_the_events(any_host: Host) -> None:
    any_host.spinning(SLOW_SPIN)
    any_host.hold(SLOW_SPIN, 450)
    any_host.ask(stranger.STOP, b"\x01")
    any_host.pass_ms(450)
    last: Message | None = None
    times: list[int] = []
    for message in any_host.heard:
        if message["type"] == "event":
            last = message
        elif message["type"] == "counters":
            times.append(message["time_us"])
            if last is not None:
                assert message["state"] == last["state"]
                assert message["latch"] == last["latch"]
                assert message["events"] == last["number"]
                assert message["boot"] == last["boot"]
                spins = last["state"] == SPINNING
                assert message["throttle"] == (SLOW_SPIN if spins else 0)
    if any_host.decoder.lost == 0:
        steps = [(b - a) & 0xFFFFFFFF for a, b in pairwise(times)]
        assert all(abs(step - 200_000) <= CHECK_US for step in steps)
        assert len(steps) >= 3


def test_frames_are_numbered_without_a_gap(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.pass_ms(700)
    # Samples that come between the pages of the identity cannot be read yet.
    last_page = max(i for i, m in enumerate(host.heard) if m["type"] == "stream")
    first = host.heard[last_page]["sequence"]
    after_it = [m["sequence"] for m in host.heard[last_page:]]
    assert after_it == list(range(first, first + len(after_it)))
    assert host.heard[0]["sequence"] == 0
    assert host.decoder.lost == 0


# --- The states ---------------------------------------------------------------------


def test_a_spin_from_armed_to_locked_is_told_step_by_step(any_host: Host) -> None:
    any_host.armed()
    begin = any_host.events()[-1]["number"]
    any_host.throttle(SLOW_SPIN)
    any_host.event(17)
    any_host.throttle(SLOW_SPIN + 100)
    any_host.throttle(0)
    any_host.event(18)
    any_host.throttle(SLOW_SPIN)
    any_host.event(17)
    assert any_host.verdict(stranger.LOCK, stranger.lock_body(any_host.boot)) == 0
    told = any_host.events()[-5:]
    assert [event["cause"] for event in told] == [16, 17, 18, 17, 19]
    assert [event["state"] for event in told] == [
        ARMED,
        SPINNING,
        ARMED,
        SPINNING,
        LOCKED,
    ]
    assert [event["throttle"] for event in told] == [
        0,
        SLOW_SPIN,
        SLOW_SPIN + 100,
        SLOW_SPIN,
        SLOW_SPIN,
    ]
    assert [event["number"] for event in told] == list(range(begin, begin + 5))
    for event in told:
        assert event["boot"] == any_host.boot
        assert (event["limit"], event["channel"]) == (255, 255)
        assert (event["latch"], event["count"]) == (0, 0)
    assert any_host.told()["throttle"] == 0


def test_after_a_start_it_is_locked_and_says_why_first(host: Host) -> None:
    host.identify()
    first = host.heard[0]
    assert (first["type"], first["number"], first["state"]) == ("event", 1, LOCKED)
    assert 1 <= first["cause"] <= 5
    assert (first["latch"], first["throttle"], first["boot"]) == (0, 0, host.boot)
    host.pass_ms(50)
    assert host.arm(crc=0) == 6


@pytest.mark.parametrize("cause", [1, 2, 3, 4, 5])
def test_a_reset_while_spinning_starts_afresh(
    host: Host, doors: SideDoors, cause: int
) -> None:
    host.spinning(SLOW_SPIN)
    host.hold(SLOW_SPIN, 250)
    boot, nonce = host.boot, host.nonce
    host.pass_ms(1)
    doors.reset(cause)
    first = host.until(lambda message: True)
    assert (first["type"], first["sequence"]) == ("event", 0)
    assert (first["number"], first["state"]) == (1, LOCKED)
    assert (first["cause"], first["boot"]) == (cause, boot + 1)
    assert (first["latch"], first["throttle"]) == (0, 0)
    host.pass_ms(50)
    assert host.arm() == 4  # the boot before
    assert host.arm(boot=boot + 1) == 6
    host.throttle(SLOW_SPIN)
    counters = host.counters()
    assert (counters["state"], counters["throttle"]) == (LOCKED, 0)
    assert (counters["ignored"], counters["events"]) == (1, 1)
    assert counters["damaged"] == 0
    host.identify()
    assert host.boot == boot + 1
    host.take_limits()
    assert host.arm(nonce=nonce) == 0  # no arming since this start has used it


def test_a_reset_is_told_on_a_line_in_real_time_too(
    any_host: Host, any_doors: SideDoors
) -> None:
    any_host.spinning(SLOW_SPIN)
    boot = any_host.boot
    any_doors.reset(3)
    first = any_host.event(3)
    assert (first["boot"], first["number"], first["state"]) == (boot + 1, 1, LOCKED)
    assert any_host.told() == {"state": LOCKED, "latch": 0, "throttle": 0, "events": 1}


@pytest.mark.slow
def test_armed_for_30_s_without_spinning_locks(host: Host) -> None:
    host.armed()
    armed = only_event(host, 16)
    host.hold(0, 15_000, lease_ms=500)
    host.throttle(SLOW_SPIN)
    host.event(17)
    host.throttle(0)
    rest = host.event(18)
    host.hold(0, 29_900)
    assert host.told()["state"] == ARMED
    host.hold(0, 300)
    locked = only_event(host, 21)
    assert after(locked, armed["time_us"]) > 40_000_000
    assert 0 <= after(locked, rest["time_us"]) - 30_000_000 <= LATE_US
    assert (locked["state"], locked["latch"]) == (LOCKED, 0)


# --- The lease ----------------------------------------------------------------------


@pytest.mark.parametrize("lease_ms", [50, 200, 500])
def test_a_lease_ends_by_itself_counted_from_what_was_seen(
    host: Host, lease_ms: int
) -> None:
    host.spinning(SLOW_SPIN)
    seen_us = host.newest_us
    host.pass_ms(30)  # the words were on their way for that long
    host.throttle(SLOW_SPIN, lease_ms=lease_ms, seen_us=seen_us)
    trip = host.event(LEASE_ENDED)
    assert 0 <= after(trip, seen_us) - lease_ms * 1000 <= LATE_US
    assert (trip["state"], trip["latch"]) == (TRIPPED, trip["number"])
    assert (trip["limit"], trip["channel"], trip["count"]) == (255, 255, 0)
    assert trip["throttle"] == SLOW_SPIN


def test_a_lease_ends_in_real_time_too_and_the_trip_is_held(any_host: Host) -> None:
    any_host.spinning(SLOW_SPIN)
    any_host.hold(SLOW_SPIN, 100)
    seen_us = any_host.newest_us
    any_host.throttle(SLOW_SPIN, lease_ms=300, seen_us=seen_us)
    trip = any_host.event(LEASE_ENDED)
    assert 0 <= after(trip, seen_us) - 300_000 <= LATE_US
    for _ in range(20):
        any_host.throttle(SLOW_SPIN)
        any_host.listen()
    told = any_host.told()
    assert (told["state"], told["throttle"]) == (TRIPPED, 0)
    assert told["latch"] == trip["number"] == told["events"]
    reply = any_host.ask(stranger.ACKNOWLEDGE, any_host.named(trip["number"]))
    assert reply["verdict"] == 0
    assert any_host.told()["state"] == LOCKED


def test_the_lease_of_the_arming_ends_too(host: Host) -> None:
    host.ready()
    seen_us = host.newest_us
    assert host.arm(lease_ms=70) == 0
    trip = host.event(LEASE_ENDED)
    assert 0 <= after(trip, seen_us) - 70_000 <= LATE_US
    assert trip["throttle"] == 0


def test_a_shorter_lease_replaces_a_longer_one(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.throttle(SLOW_SPIN, lease_ms=500)
    seen_us = host.newest_us
    host.throttle(SLOW_SPIN, lease_ms=60)
    assert 0 <= after(host.event(LEASE_ENDED), seen_us) - 60_000 <= LATE_US


def test_a_renewed_lease_does_not_end(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.hold(SLOW_SPIN, 600, lease_ms=50)
    assert host.events()[-1]["cause"] == 17
    assert host.event(LEASE_ENDED, 60)["throttle"] == SLOW_SPIN


def test_frames_that_waited_in_a_driver_cannot_revive_a_lease(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    queued = [host.throttle_body(SLOW_SPIN, lease_ms=100) for _ in range(20)]
    trip = host.event(LEASE_ENDED, 600)
    before = host.counters()
    for body in queued:
        host.send(stranger.THROTTLE, body)
        host.pass_ms(2)
    after_it = host.counters()
    assert after_it["ignored"] - before["ignored"] == len(queued)
    assert (after_it["state"], after_it["latch"]) == (TRIPPED, trip["number"])
    host.ask(stranger.ACKNOWLEDGE, host.named(trip["number"]))
    assert host.arm() == 0
    for body in queued:  # of the arming before, and over long ago
        host.send(stranger.THROTTLE, body)
    assert host.told()["state"] == ARMED


def test_a_stale_throttle_does_not_prolong_the_lease(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    first_us = host.newest_us
    host.throttle(SLOW_SPIN, lease_ms=100, seen_us=first_us)
    host.pass_ms(60)
    host.throttle(SLOW_SPIN, lease_ms=50, seen_us=first_us)  # over 10 ms ago
    trip = host.event(LEASE_ENDED)
    assert 0 <= after(trip, first_us) - 100_000 <= LATE_US
    assert host.counters()["ignored"] == 1


# --- Stop ---------------------------------------------------------------------------


@pytest.mark.parametrize("reason", [1, 2, 3, 4])
@pytest.mark.parametrize("state", [LOCKED, PROVING, ARMED, SPINNING])
def test_stop_latches_in_every_state(host: Host, state: int, reason: int) -> None:
    host.bring(state)
    reply = host.ask(stranger.STOP, bytes([reason]))
    trip = only_event(host, STOP)
    assert reply["verdict"] == 0
    assert trip["sequence"] < reply["sequence"]  # what it brought about goes first
    assert (trip["state"], trip["latch"]) == (TRIPPED, trip["number"])
    assert trip["throttle"] == (SLOW_SPIN if state in (PROVING, SPINNING) else 0)
    told = host.told()
    assert (told["state"], told["throttle"]) == (TRIPPED, 0)
    host.throttle(SLOW_SPIN)
    assert host.arm() == 3
    assert host.told() == told


def test_stop_works_on_any_line(any_host: Host) -> None:
    any_host.spinning(SLOW_SPIN)
    assert any_host.verdict(stranger.STOP, b"\x01") == 0
    assert any_host.events()[-1]["cause"] == STOP
    told = any_host.told()
    assert (told["state"], told["throttle"]) == (TRIPPED, 0)


def test_stop_works_before_anything_else_was_said(host: Host) -> None:
    assert host.verdict(stranger.STOP, b"\x04") == 0
    assert host.told()["state"] == TRIPPED


def test_a_second_stop_is_done_and_changes_nothing(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.ask(stranger.STOP, b"\x01")
    told = host.told()
    for reason in (1, 2, 3, 4):
        assert host.verdict(stranger.STOP, bytes([reason])) == 0
    assert host.told() == told


def test_a_trip_keeps_the_latch_of_its_first_cause(
    host: Host, doors: SideDoors
) -> None:
    host.spinning(SLOW_SPIN)
    trip = host.event(LEASE_ENDED)
    doors.open_loop(is_open=True)
    doors.silence("current", "thrust")
    host.ask(stranger.STOP, b"\x01")
    host.pass_ms(900)
    assert host.events()[-1] == trip
    assert host.told()["latch"] == trip["number"]
