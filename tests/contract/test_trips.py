"""Limits, silence, stop loop and damage: what makes any stand trip, and what must not.

Expectations come from daq/link/README.md, through a judge of limits that shares no
code with the project; times are the stand's own stamps.
"""

import random

import pytest

from tests.contract import stranger
from tests.contract.host import ARMED, LOCKED, SLOW_SPIN, SPINNING, TRIPPED, Host
from tests.contract.rows import after, due, only_event, readings, rows
from tests.contract.stranger import Message
from tests.contract.subjects import SideDoors

LIMIT, SILENT, STOP, LOOP_OPEN = range(33, 37)
CHECK_US = 1000  # lease and silence are looked at every millisecond at least
LOOK_US = 500  # from the start of a look to its word: a chip reads everything before
LATE_US = 5000  # what a trip may come after its moment


# --- Limits at work -----------------------------------------------------------------


@pytest.mark.parametrize("persistence", [1, 2, 7, 40])
def test_a_limit_trips_after_exactly_its_persistence(
    host: Host, persistence: int
) -> None:
    host.ready()
    limit = host.limit("speed", high=250.0, persistence=persistence)
    host.take_limits([*host.wide_limits(), limit])
    begin = len(host.heard)
    assert host.arm() == 0
    host.throttle(2500)
    trip = host.event(LIMIT, 400)
    moment = due(host.heard[begin:], limit)
    assert moment is not None
    assert 0 <= after(trip, moment[0]) <= CHECK_US
    assert (trip["count"], trip["channel"]) == (moment[1], limit[0])
    assert trip["limit"] == 3
    assert (trip["state"], trip["latch"]) == (TRIPPED, trip["number"])
    assert trip["throttle"] == 2500
    assert host.told()["throttle"] == 0


@pytest.mark.parametrize("name", ["current", "thrust"])
def test_a_limit_on_any_stream_trips(host: Host, name: str) -> None:
    host.ready()
    resting = readings(host.heard, host.channel(name)["index"])[-1][1]
    channel = host.channel(name)
    value = (resting - channel["zero_counts"]) / channel["counts_per_unit"]
    limit = host.limit(name, high=value + 0.15, persistence=3)
    host.take_limits([limit, host.limit("voltage")])
    begin = len(host.heard)
    assert host.arm() == 0
    host.throttle(6000)
    trip = host.event(LIMIT, 450)
    moment = due(host.heard[begin:], limit)
    assert moment is not None
    assert 0 <= after(trip, moment[0]) <= CHECK_US + LOOK_US
    assert (trip["limit"], trip["channel"]) == (0, limit[0])
    assert trip["count"] == moment[1]


def test_a_lower_limit_trips(host: Host) -> None:
    host.spinning(4000)
    host.hold(4000, 400)
    host.throttle(0)
    host.event(18)
    limit = host.limit("speed", low=600.0, persistence=2)
    assert host.take_limits([limit])["verdict"] == 0
    trip = host.event(LIMIT, 500)
    assert trip["count"] < limit[1]
    assert trip["channel"] == limit[0]


def test_a_reading_inside_ends_the_row(host: Host) -> None:
    """Speed swings about the limit: many readings outside, none of the rows long."""
    host.ready()
    speed = host.channel("speed")["index"]
    limit = host.limit("speed", high=300.0, persistence=255)

    def swing() -> list[Message]:
        begin = len(host.heard)
        for _ in range(1200):
            count = readings(host.heard[-20:], speed)[-1][1]
            host.throttle(2000 if count <= limit[2] else 0)
            host.listen()
        return host.heard[begin:]

    host.take_limits([limit])
    assert host.arm() == 0
    swung = rows(swing(), limit)
    longest = max(row for _, _, row in swung)
    assert longest < 200
    assert len(swung) > 2 * longest  # else one row would prove nothing
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    host.pass_ms(1000)
    allowed = longest + max(5, longest // 4)  # no two swings are the same
    host.take_limits([(*limit[:3], allowed, limit[4])])
    assert host.arm() == 0
    again = swing()
    assert len(rows(again, limit)) > allowed
    assert due(again, (*limit[:3], allowed, 0)) is None
    assert host.events()[-1]["state"] in (ARMED, SPINNING)


@pytest.mark.parametrize("persistence", [1, 4, 30])
def test_a_violated_set_sent_while_armed_trips(host: Host, persistence: int) -> None:
    host.armed()
    limit = host.limit("voltage", high=5.0, persistence=persistence)
    newest_us = readings(host.heard, limit[0])[-1][0]
    reply = host.take_limits([host.limit("current"), limit])
    trip = host.event(LIMIT) if not host.events()[-1]["latch"] else host.events()[-1]
    assert reply["verdict"] == 0
    # The newest reading is the first that the new set judges; here it was not
    # heard yet, perhaps.
    judged = [m for m in host.heard if m.get("time_us", -1) >= newest_us]
    moment = due(judged, limit)
    assert moment is not None
    late_us = CHECK_US + (persistence == 1) * CHECK_US + host.subject.lag_us
    assert 0 <= after(trip, moment[0]) <= late_us
    assert (trip["cause"], trip["limit"], trip["channel"]) == (LIMIT, 1, limit[0])


def test_no_reading_neither_breaks_a_row_nor_makes_one(
    host: Host, doors: SideDoors
) -> None:
    host.armed()
    limit = host.limit("voltage", high=5.0, persistence=12, age_10ms=20)
    newest_us = readings(host.heard, limit[0])[-1][0]
    host.take_limits([limit])
    host.pass_ms(6)
    doors.silence("voltage")
    host.pass_ms(60)
    assert host.events()[-1]["cause"] == 16
    doors.silence()
    trip = host.event(LIMIT)
    judged = [m for m in host.heard if m.get("time_us", -1) >= newest_us]
    moment = due(judged, limit)
    assert moment is not None
    assert 0 <= after(trip, moment[0]) <= CHECK_US + host.subject.lag_us


@pytest.mark.parametrize("name", ["current", "thrust"])
@pytest.mark.parametrize("age_10ms", [5, 30])
def test_a_silent_channel_trips_when_its_age_is_over(
    host: Host, doors: SideDoors, name: str, age_10ms: int
) -> None:
    host.ready()
    limits = [host.limit("voltage"), host.limit(name, age_10ms=age_10ms)]
    host.take_limits(limits)
    assert host.arm() == 0
    host.hold(SLOW_SPIN, 40)
    doors.silence(name)
    host.hold(SLOW_SPIN, age_10ms * 10 + 40)
    trip = only_event(host, SILENT)
    time_us, count = readings(host.heard, limits[1][0])[-1]
    late_us = after(trip, time_us) - age_10ms * 10_000
    assert 0 < late_us <= LATE_US
    assert (trip["limit"], trip["channel"]) == (1, limits[1][0])
    assert trip["count"] == count
    assert (trip["state"], trip["latch"]) == (TRIPPED, trip["number"])
    assert trip["throttle"] == SLOW_SPIN


def test_a_channel_that_never_spoke_is_silent_not_outside(
    host: Host, doors: SideDoors
) -> None:
    doors.silence("thrust")
    doors.reset(1)
    host.pass_ms(50)
    host.identify()
    host.pass_ms(100)
    host.take_limits([host.limit("current")])
    assert host.arm() == 0
    limit = (host.channel("thrust")["index"], 5, 10, 1, 100)
    host.take_limits([limit])
    host.pass_ms(5)
    trip = host.events()[-1]
    assert (trip["cause"], trip["limit"], trip["count"]) == (SILENT, 0, 0)


def test_a_silence_is_noticed_on_any_line(any_host: Host, any_doors: SideDoors) -> None:
    any_host.armed()
    limit = any_host.limit("current", age_10ms=10)
    any_host.take_limits([limit])
    any_doors.silence("current")
    any_host.hold(0, 250)
    trip = only_event(any_host, SILENT)
    last_us = readings(any_host.heard, limit[0])[-1][0]
    assert 0 < after(trip, last_us) - 100_000 <= LATE_US


def test_limits_do_nothing_while_locked(host: Host, doors: SideDoors) -> None:
    host.ready()
    host.take_limits([host.limit("voltage", high=5.0, persistence=1)])
    doors.silence("voltage")
    doors.open_loop(is_open=True)
    host.pass_ms(700)
    assert host.told()["state"] == LOCKED
    assert [event["number"] for event in host.events()] == [1]


def test_limits_replace_the_whole_set_before(host: Host) -> None:
    host.ready()
    host.take_limits([host.limit("speed", high=100.0, persistence=1)])
    host.take_limits([host.limit("current")])
    assert host.arm() == 0
    host.hold(2500, 400)
    assert readings(host.heard, host.channel("speed")["index"])[-1][1] > 0
    assert host.told()["state"] == SPINNING


# --- The stop loop, damage, and lines full of rubbish -------------------------------


@pytest.mark.parametrize("setpoint", [0, SLOW_SPIN])
def test_the_stop_loop_trips(host: Host, doors: SideDoors, setpoint: int) -> None:
    host.armed()
    host.hold(setpoint, 50)
    host.pass_ms(1)
    opened_us = host.newest_us
    doors.open_loop(is_open=True)
    trip = host.event(LOOP_OPEN, 100)
    assert after(trip, opened_us) <= LATE_US
    assert (trip["state"], trip["latch"]) == (TRIPPED, trip["number"])
    assert trip["throttle"] == setpoint
    host.ask(stranger.ACKNOWLEDGE, host.named(trip["number"]))
    assert host.arm() == 10
    doors.open_loop(is_open=False)
    assert host.arm() == 0


def test_the_stop_loop_trips_on_any_line(any_host: Host, any_doors: SideDoors) -> None:
    any_host.spinning(SLOW_SPIN)
    any_doors.open_loop(is_open=True)
    any_host.hold(SLOW_SPIN, 100)
    assert only_event(any_host, LOOP_OPEN)["throttle"] == SLOW_SPIN
    assert any_host.told()["state"] == TRIPPED


def test_damaged_frames_change_nothing_and_are_counted(any_host: Host) -> None:
    any_host.armed()
    good = stranger.frame(
        stranger.THROTTLE, any_host.sequence, any_host.throttle_body(SLOW_SPIN)
    )
    stop = stranger.frame(stranger.STOP, any_host.sequence, b"\x01")
    before = any_host.counters()
    damaged = 0
    for whole in (good, stop):
        for at in range(len(whole) - 1):
            flipped = whole[at] ^ 0x10
            bad = whole[:at] + bytes([flipped or 0x20]) + whole[at + 1 :]
            any_host.subject.write(b"\0" + bad)
            damaged += 1
            any_host.throttle(0)
            any_host.listen()
    any_host.subject.write(b"\0" + bytes([7]) * 300 + b"\0")
    any_host.subject.write(stranger.cobs_encode(b"\x1d\x0f") + b"\0")
    after_it = any_host.counters()
    assert (after_it["damaged"] - before["damaged"]) & 0xFFFF == damaged + 2
    assert after_it["state"] == ARMED
    assert after_it["events"] == before["events"]
    assert after_it["ignored"] == before["ignored"]


def test_empty_frames_are_no_error(host: Host) -> None:
    host.subject.write(bytes(50))
    counters = host.counters()
    assert (counters["damaged"], counters["received"]) == (0, 1)


def test_every_good_frame_is_counted(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.hold(SLOW_SPIN, 333)
    assert host.counters()["received"] == host.sequence


@pytest.mark.parametrize("seed", range(20))
def test_floods_of_rubbish_never_arm_and_never_hurt(host: Host, seed: int) -> None:
    """Half of it raw noise, half of it good frames with nonsense in them."""
    host.ready()
    chance = random.Random(seed)
    for _ in range(150):
        noise = chance.randbytes(chance.randrange(120))
        if chance.random() < 0.5:
            kind = chance.choice([*range(0x3F, 0x4B), chance.randrange(256)])
            body = chance.randbytes(chance.choice([0, 1, 2, 4, 8, 10, 12, 30, 61]))
            noise = b"\0" + stranger.frame(kind, chance.randrange(65536), body)
        host.subject.write(noise)
        host.listen()
    host.subject.write(b"\0")
    causes = {event["cause"] for event in host.events()}
    assert causes <= {host.events()[0]["cause"], STOP, 20}
    counters = host.counters()
    assert counters["state"] in (LOCKED, TRIPPED)
    assert counters["throttle"] == 0
    assert counters["damaged"] > 0
    assert host.decoder.damaged == host.decoder.lost == 0
    host.unlatch()
    host.take_limits()
    assert host.arm() == 0  # and it works as before


def test_a_short_flood_on_any_line_leaves_it_locked(any_host: Host) -> None:
    any_host.ready()
    chance = random.Random(7)
    for _ in range(40):
        any_host.subject.write(chance.randbytes(60).replace(b"\x46", b"\x40"))
        any_host.listen()
    any_host.subject.write(b"\0")
    assert any_host.told()["state"] in (LOCKED, TRIPPED)
    any_host.unlatch()
    assert any_host.verdict(stranger.LOCK, stranger.lock_body(any_host.boot)) == 0
