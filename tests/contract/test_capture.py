"""Fast captures: what is asked for, what comes, and that nothing else is disturbed.

Expectations come from sections 3 and 4 of daq/link/README.md, 0x08 and 0x49.
"""

import struct
from collections.abc import Callable

import pytest

from tests.contract import stranger
from tests.contract.host import (
    ARMED,
    CANNOT_CAPTURE,
    DONE,
    EMPTY_MS,
    LOCKED,
    MALFORMED,
    PROVING,
    SLOW_SPIN,
    SPINNING,
    TRIPPED,
    UNKNOWN,
    WRONG_BOOT,
    Host,
)
from tests.contract.rows import after
from tests.contract.stranger import Message
from tests.contract.subjects import DirectDevice, DirectStranger, SideDoors

HEAD = ("number", "channel", "total", "trigger", "time_us", "period_ns", "base", "step")
HIGHEST = 2**31 - 1
LEASE_ENDED, LIMIT = 32, 33
PLUGGED_V, HALF_V = 9.0, 6.0


def samples(blocks: list[Message]) -> list[int]:
    """All samples of a capture that came whole and in order."""
    heads = {tuple(block[key] for key in HEAD) for block in blocks}
    assert len(heads) == 1
    out: list[int] = []
    for block in blocks:
        assert block["first"] == len(out)
        out += block["samples"]
    assert len(out) == blocks[0]["total"]
    return out


def values(host: Host, blocks: list[Message]) -> list[float | None]:
    """The same in SI, None where there is no reading."""
    channel = host.decoder.channels[blocks[0]["channel"]]
    base, step = blocks[0]["base"], blocks[0]["step"]
    return [
        None
        if sample == stranger.NO_SAMPLE
        else (base + step * sample - channel["zero_counts"])
        / channel["counts_per_unit"]
        for sample in samples(blocks)
    ]


def step_v(host: Host, block: Message) -> float:
    """What a step of a voltage's samples is in volt."""
    return float(abs(block["step"] / host.channel("voltage")["counts_per_unit"]))


def counts_at(host: Host, volt: float) -> int:
    """Counts of the voltage."""
    channel = host.channel("voltage")
    return int(round(volt * channel["counts_per_unit"]) + channel["zero_counts"])


# --- What comes -----------------------------------------------------------------------


def test_a_capture_at_once_brings_the_channels_readings(host: Host) -> None:
    host.ready()
    assert host.capture("voltage", count=100, number=9) == DONE
    blocks = host.blocks(9)
    assert len(samples(blocks)) == 100
    got = [value for value in values(host, blocks) if value is not None]
    assert len(got) >= 75  # a stand may have to look elsewhere now and then
    mean_v = sum(got) / len(got)
    assert abs(mean_v - host.reading("voltage")) <= step_v(host, blocks[0]) + 0.05


def test_a_capture_is_over_when_its_samples_are(host: Host) -> None:
    host.ready()
    begin_us = host.newest_us
    host.capture("voltage", count=100, before=40)
    blocks = host.blocks()
    span_us = 100 * blocks[0]["period_ns"] / 1000
    trigger_us = (blocks[0]["time_us"] - begin_us) & 0xFFFFFFFF
    assert 40 * blocks[0]["period_ns"] / 1000 <= trigger_us + 2
    assert trigger_us <= span_us + 10_000 + host.subject.lag_us
    host.pass_ms(300)
    assert [m for m in host.heard if m["type"] == "burst"] == blocks


def test_samples_from_before_the_trigger_are_kept_as_many_as_asked(host: Host) -> None:
    host.ready()
    host.capture("current", count=90, before=30)
    assert host.blocks()[0]["trigger"] == 30


def test_what_has_no_room_shrinks_in_proportion(host: Host) -> None:
    host.ready()
    assert host.capture("voltage", count=65_535, before=16_384) == DONE
    head = host.blocks()[0]
    assert 1 <= head["total"] < 65_535
    assert head["trigger"] == 16_384 * head["total"] // 65_535


def test_the_period_told_can_be_asked_for(host: Host) -> None:
    host.ready()
    told = []
    for number, period_ns in enumerate((0, 60_000, 2**32 - 1)):
        host.capture("voltage", count=5, period_ns=period_ns, number=number)
        told.append(host.blocks(number)[0]["period_ns"])
    assert 0 < told[0] <= told[1] <= told[2]
    for number, period_ns in enumerate(told, 10):
        host.capture("voltage", count=5, period_ns=period_ns, number=number)
        assert host.blocks(number)[0]["period_ns"] == period_ns
    near = [abs(period_ns - 60_000) for period_ns in told]
    assert near[1] == min(near)


# --- Triggers -------------------------------------------------------------------------


@pytest.mark.parametrize("rising", [True, False], ids=["rising", "falling"])
def test_a_crossing_is_found_with_what_was_before_it(
    host: Host, doors: SideDoors, rising: bool
) -> None:
    host.ready()
    doors.plug(inserted=not rising)
    host.pass_ms(EMPTY_MS)
    kind = stranger.RISING if rising else stranger.FALLING
    level = counts_at(host, HALF_V)
    host.capture(
        "voltage", count=60, before=20, trigger=kind, level=level, patience_ms=5000
    )
    host.pass_ms(100)  # nothing yet: it waits
    assert not [m for m in host.heard if m["type"] == "burst"]
    before_us = host.newest_us
    doors.plug(inserted=rising)
    blocks = host.blocks()
    assert blocks[0]["trigger"] == 20
    got = values(host, blocks)
    slack_v = step_v(host, blocks[0])
    earlier = [v for v in got[:20] if v is not None]
    here = got[20]
    assert here is not None
    assert earlier
    if rising:
        assert all(v < HALF_V + slack_v for v in earlier)
        assert here >= HALF_V - slack_v
    else:
        assert all(v > HALF_V - slack_v for v in earlier)
        assert here <= HALF_V + slack_v
    assert after(blocks[0], before_us) < EMPTY_MS * 1000


def test_a_level_already_passed_is_no_crossing(host: Host) -> None:
    host.ready()
    level = counts_at(host, HALF_V)  # the supply is on, far above
    kind = stranger.RISING
    host.capture("voltage", trigger=kind, level=level, patience_ms=50)
    assert host.blocks()[0]["total"] == 0


@pytest.mark.parametrize("level", [HIGHEST, -HIGHEST - 1])
@pytest.mark.parametrize("kind", [stranger.RISING, stranger.FALLING])
def test_without_a_trigger_it_ends_and_says_so(
    host: Host, kind: int, level: int
) -> None:
    host.ready()
    asked_us = host.newest_us
    host.capture(
        "current", trigger=kind, level=level, before=5, patience_ms=120, number=200
    )
    (block,) = host.blocks(200)
    assert (block["total"], block["first"], block["trigger"]) == (0, 0, 0)
    assert block["samples"] == []
    gave_up_us = after(block, asked_us)
    assert 118_000 <= gave_up_us <= 130_000 + host.subject.lag_us


# --- One at a time --------------------------------------------------------------------


def test_a_new_capture_replaces_the_one_that_waits(host: Host) -> None:
    host.ready()
    waits = {"trigger": stranger.RISING, "level": HIGHEST, "patience_ms": 300}
    host.capture("current", number=1, **waits)
    host.pass_ms(20)
    assert host.capture("voltage", number=2, count=50) == DONE
    head = host.blocks(2)[0]
    assert head["channel"] == host.channel("voltage")["index"]
    host.pass_ms(500)
    numbers = {m["number"] for m in host.heard if m["type"] == "burst"}
    assert numbers == {2}


def test_many_captures_one_after_the_other_all_come(host: Host) -> None:
    host.ready()
    for number in range(12):
        name = ("current", "voltage")[number % 2]
        period_ns = (26_000, 52_000, 104_000)[number % 3]
        host.capture(name, number=number, count=50, before=number, period_ns=period_ns)
        blocks = host.blocks(number)
        assert len(samples(blocks)) == 50
        assert blocks[0]["channel"] == host.channel(name)["index"]


def test_a_start_ends_it(host: Host, doors: SideDoors) -> None:
    host.ready()
    host.capture("current", trigger=stranger.RISING, level=HIGHEST, patience_ms=300)
    host.pass_ms(20)
    doors.reset(1)
    host.event(1)
    host.pass_ms(600)
    assert not [m for m in host.heard if m["type"] == "burst"]


# --- Refusals -------------------------------------------------------------------------

GOOD = {"count": 10, "before": 2, "trigger": 1, "patience_ms": 100}
MALFORMATIONS = {
    "nothing asked for": {"count": 0, "before": 0},
    "all of it before": {"before": 10},
    "more than all before": {"before": 11},
    "no trigger": {"trigger": 0},
    "a trigger of no kind": {"trigger": 4},
    "a trigger of no kind at all": {"trigger": 255},
    "no patience": {"patience_ms": 0},
    "too much patience": {"patience_ms": 5001},
}


@pytest.mark.parametrize("wrong", MALFORMATIONS.values(), ids=list(MALFORMATIONS))
def test_values_out_of_their_range_are_malformed(
    host: Host, wrong: dict[str, int]
) -> None:
    host.ready()
    damaged = host.counters()["damaged"]
    assert host.capture("voltage", **(GOOD | wrong)) == MALFORMED
    assert host.counters()["damaged"] == damaged + 1
    host.pass_ms(200)
    assert not [m for m in host.heard if m["type"] == "burst"]


@pytest.mark.parametrize("size", [0, 1, 18, 20, 61])
def test_a_body_of_another_length_is_malformed(host: Host, size: int) -> None:
    host.ready()
    body = (host.capture_body("voltage") + bytes(61))[:size]
    assert host.verdict(stranger.CAPTURE, body) == MALFORMED


def test_refusals_come_in_the_order_of_the_page(host: Host) -> None:
    host.ready()
    boot = (host.boot + 1) & 0xFFFF
    assert host.capture("voltage", boot=boot) == WRONG_BOOT
    assert host.capture("voltage", boot=boot, channel=63) == WRONG_BOOT
    assert host.capture("voltage", channel=63) == CANNOT_CAPTURE
    assert host.capture("voltage", channel=255) == CANNOT_CAPTURE
    assert host.capture("voltage", channel=63, count=0) == MALFORMED


def test_a_refused_capture_leaves_the_one_that_waits(host: Host) -> None:
    host.ready()
    waits = {"trigger": stranger.RISING, "level": HIGHEST, "patience_ms": 200}
    host.capture("current", number=3, **waits)
    assert host.capture("voltage", number=4, channel=63) == CANNOT_CAPTURE
    assert host.capture("voltage", number=4, count=0) == MALFORMED
    assert host.blocks(3)[0]["total"] == 0


def test_a_stand_without_the_ability_knows_no_such_command() -> None:
    host = Host(DirectStranger(captures=False))
    host.ready()
    assert not host.captures
    assert host.capture("voltage") == UNKNOWN
    for body in (b"", struct.pack("<B", 1), bytes(61)):
        assert host.verdict(stranger.CAPTURE, body) == UNKNOWN
    assert not [m for m in host.heard if m["type"] == "burst"]


# --- Everything else goes on ----------------------------------------------------------


@pytest.mark.parametrize("state", [LOCKED, PROVING, ARMED, SPINNING, TRIPPED])
def test_it_is_taken_in_every_state_and_changes_none(host: Host, state: int) -> None:
    host.bring(state)
    waits = {"trigger": stranger.RISING, "level": HIGHEST, "patience_ms": 200}
    assert host.capture("current", **waits) == DONE
    setpoint = SLOW_SPIN if state in (PROVING, SPINNING) else 0
    host.hold(setpoint, 250)
    events = len(host.events())
    assert host.told()["state"] == state
    assert host.capture("voltage", number=2, count=30) == DONE
    host.hold(setpoint, 100)
    assert host.told()["state"] == state
    assert len(host.events()) == events
    bursts = [m for m in host.heard if m["type"] == "burst"]
    assert {m["number"]: m["total"] for m in bursts} == {1: 0, 2: 30}


def test_a_lease_ends_while_it_waits(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    waits = {"trigger": stranger.RISING, "level": HIGHEST, "patience_ms": 3000}
    host.capture("current", **waits)
    host.throttle(SLOW_SPIN, lease_ms=100)
    seen_us = host.newest_us
    trip = host.event(LEASE_ENDED)
    assert trip["state"] == TRIPPED
    assert 98_000 <= after(trip, seen_us) <= 104_000 + host.subject.lag_us


@pytest.mark.parametrize("name", ["current", "voltage"])
def test_a_limit_trips_while_either_channel_is_captured(
    host: Host, doors: SideDoors, name: str
) -> None:
    host.ready()
    host.take_limits(
        [host.limit("voltage", low=PLUGGED_V, persistence=3), host.limit("current")]
    )
    assert host.arm() == DONE
    waits = {"trigger": stranger.RISING, "level": HIGHEST, "patience_ms": 5000}
    assert host.capture(name, **waits) == DONE
    host.hold(0, 50)
    assert host.told()["state"] == ARMED
    doors.plug(inserted=False)
    host.hold(0, EMPTY_MS)
    trip = host.events()[-1]
    assert (trip["cause"], trip["limit"]) == (LIMIT, 0)


def test_streams_go_on_at_their_pace_meanwhile(host: Host) -> None:
    host.ready()
    waits = {"trigger": stranger.RISING, "level": HIGHEST, "patience_ms": 1000}
    host.capture("voltage", **waits)
    heard = host.pass_ms(800)
    for index, stream in host.decoder.streams.items():
        got = sum(m["type"] == "samples" and m["stream"] == index for m in heard)
        due = 800_000 / stream["period_us"]
        assert abs(got - due) <= 0.03 * due + 2, index


# --- The same of a converter that is fast, on the simulated device --------------------

RULES: list[Callable[[Host], None]] = [
    test_a_capture_at_once_brings_the_channels_readings,
    test_a_capture_is_over_when_its_samples_are,
    test_samples_from_before_the_trigger_are_kept_as_many_as_asked,
    test_what_has_no_room_shrinks_in_proportion,
    test_the_period_told_can_be_asked_for,
    test_a_level_already_passed_is_no_crossing,
    test_a_new_capture_replaces_the_one_that_waits,
    test_many_captures_one_after_the_other_all_come,
    test_a_refused_capture_leaves_the_one_that_waits,
    test_a_lease_ends_while_it_waits,
    test_streams_go_on_at_their_pace_meanwhile,
]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__[5:])
def test_a_fast_converter_keeps_the_rules(rule: Callable[[Host], None]) -> None:
    rule(Host(DirectDevice(truth="rough")))


@pytest.mark.parametrize("rising", [True, False], ids=["rising", "falling"])
def test_a_fast_converter_finds_a_crossing(rising: bool) -> None:
    device = DirectDevice(truth="rough")
    assert device.doors is not None
    test_a_crossing_is_found_with_what_was_before_it(Host(device), device.doors, rising)


def test_a_fast_converter_takes_a_hundred_a_millisecond() -> None:
    host = Host(DirectDevice(truth="rough"))
    host.ready()
    host.capture("voltage", count=1000, period_ns=10_000)
    blocks = host.blocks()
    assert len(samples(blocks)) == 1000
    assert blocks[0]["period_ns"] == 10_000
