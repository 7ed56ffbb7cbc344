"""Limits and arming, and every way in which they are refused.

Expectations come from section 4 of daq/link/README.md, by number.
"""

import struct

import pytest

from tests.contract import stranger
from tests.contract.host import (
    ARMED,
    BAD_LEASE,
    BAD_LIMITS,
    BAD_NONCE,
    DONE,
    EXCEEDED,
    LOCKED,
    LOOP_OPEN,
    MALFORMED,
    NO_LIMITS,
    PROVING,
    SILENT,
    SPINNING,
    STALE,
    TRIPPED,
    WRONG_BOOT,
    WRONG_LIMITS,
    WRONG_STATE,
    Host,
)
from tests.contract.rows import readings
from tests.contract.subjects import SideDoors

# --- limits -------------------------------------------------------------------------


def test_the_reply_to_limits_carries_their_crc_as_received(host: Host) -> None:
    host.ready()
    entries = host.wide_limits()
    reply = host.take_limits(entries)
    assert reply["value"] == stranger.crc16(stranger.limits_body(entries))
    # Each entry in the wide form, which its values would not need.
    body = bytes([len(entries)]) + b"".join(
        struct.pack("<BiiBB", 0x80 | entry[0], *entry[1:]) for entry in entries
    )
    reply = host.ask(stranger.LIMITS, body)
    assert (reply["verdict"], reply["value"]) == (DONE, stranger.crc16(body))
    assert host.arm() == WRONG_LIMITS
    assert host.arm(crc=stranger.crc16(body)) == DONE


def test_limits_are_taken_on_any_line(any_host: Host) -> None:
    any_host.identify()
    any_host.unlatch()
    entries = any_host.wide_limits()
    reply = any_host.take_limits(entries)
    assert reply["verdict"] == DONE
    assert reply["value"] == stranger.crc16(stranger.limits_body(entries))
    reply = any_host.take_limits([])
    assert (reply["verdict"], reply["value"]) == (NO_LIMITS, 0)
    assert any_host.verdict(stranger.LIMITS, b"\x02" + bytes(7)) == MALFORMED


GOOD = struct.pack("<BhhBB", 0, -5, 5, 1, 1)
BAD_BODIES = {
    "nothing at all": b"",
    "fewer than said": b"\x02" + GOOD,
    "more than said": b"\x00" + GOOD,
    "an entry cut short": b"\x01" + GOOD[:-1],
    "a byte too many": b"\x01" + GOOD + b"\x01",
    "a wide entry cut short": b"\x01\x80" + GOOD[1:],
    "low above high": b"\x01" + struct.pack("<BhhBB", 0, 6, 5, 1, 1),
    "wide low above high": b"\x01" + struct.pack("<BiiBB", 0x80, 6, 5, 1, 1),
    "no persistence": b"\x01" + struct.pack("<BhhBB", 0, -5, 5, 0, 1),
    "no age": b"\x01" + struct.pack("<BhhBB", 0, -5, 5, 1, 0),
    "bit 6 of the channel": b"\x01" + struct.pack("<BhhBB", 0x40, -5, 5, 1, 1),
    "the second one wrong": b"\x02" + GOOD + struct.pack("<BhhBB", 0, 6, 5, 1, 1),
}


@pytest.mark.parametrize("body", BAD_BODIES.values(), ids=BAD_BODIES)
def test_malformed_limits_change_nothing(host: Host, body: bytes) -> None:
    host.ready()
    reply = host.ask(stranger.LIMITS, body)
    assert (reply["verdict"], reply["value"]) == (MALFORMED, 0)
    assert host.arm() == DONE  # with the set before


def test_refused_limits_leave_the_set_before(host: Host) -> None:
    host.ready()
    for body, verdict in (
        (b"\x00", NO_LIMITS),
        (b"\x01" + bytes([len(host.decoder.channels)]) + GOOD[1:], BAD_LIMITS),
        (b"\x02" + GOOD + bytes([63]) + GOOD[1:], BAD_LIMITS),
    ):
        reply = host.ask(stranger.LIMITS, body)
        assert (reply["verdict"], reply["value"]) == (verdict, 0)
    assert host.arm() == DONE


@pytest.mark.parametrize("state", [SPINNING, TRIPPED])
@pytest.mark.parametrize("body", [b"\x00", b"\x01" + GOOD, b"\x01\x3f" + GOOD[1:]])
def test_limits_are_refused_unless_locked_or_armed(
    host: Host, state: int, body: bytes
) -> None:
    host.bring(state)
    assert host.verdict(stranger.LIMITS, body) == WRONG_STATE
    assert host.events()[-1]["state"] == state


def test_a_full_frame_of_limits_is_taken(host: Host) -> None:
    host.ready()
    index = host.channel("current")["index"]
    entries = [(index, -32768 + n, 32767 - n, 255, 255) for n in range(8)]
    assert host.take_limits(entries)["verdict"] == DONE
    wide = [(index, -(2**31), 2**31 - 1, 1, 1)] * 5
    assert host.take_limits(wide)["verdict"] == DONE
    assert host.arm() == DONE


# --- arm ----------------------------------------------------------------------------


def test_arm_is_refused_in_the_stated_order(host: Host, doors: SideDoors) -> None:
    """Everything is wrong at first, and is put right one by one."""
    host.identify()
    host.pass_ms(100)
    boot, right_nonce = host.boot, 77
    wrong = {
        "nonce": 0,
        "boot": boot + 1,
        "crc": 1,
        "lease_ms": 49,
        "seen_us": (host.newest_us - 600_000) & 0xFFFFFFFF,
    }
    doors.open_loop(is_open=True)
    host.ask(stranger.STOP, b"\x01")
    latch = host.events()[-1]["number"]
    assert host.arm(**wrong) == WRONG_STATE
    host.ask(stranger.ACKNOWLEDGE, host.named(latch))
    assert host.arm(**wrong) == WRONG_BOOT
    wrong["boot"] = boot
    assert host.arm(**wrong) == NO_LIMITS
    violated = host.limit("voltage", high=5.0)
    silent = host.limit("thrust", age_10ms=10)
    reply = host.take_limits([violated, silent])
    wrong["crc"] = reply["value"] ^ 1
    doors.silence("thrust")
    host.pass_ms(150)
    assert host.arm(**wrong) == WRONG_LIMITS
    wrong["crc"] = reply["value"]
    assert host.arm(**wrong) == BAD_NONCE
    wrong["nonce"] = right_nonce
    assert host.arm(**wrong) == BAD_LEASE
    wrong["lease_ms"] = 501
    assert host.arm(**wrong) == BAD_LEASE
    wrong["lease_ms"] = 500
    wrong["seen_us"] = (host.newest_us - 600_000) & 0xFFFFFFFF
    assert host.arm(**wrong) == STALE
    del wrong["seen_us"]  # the newest from here on
    assert host.arm(**wrong) == LOOP_OPEN
    doors.open_loop(is_open=False)
    assert host.arm(**wrong) == SILENT
    doors.silence()
    host.pass_ms(30)
    assert host.arm(**wrong) == EXCEEDED
    wrong["crc"] = host.take_limits([host.limit("voltage"), silent])["value"]
    assert [event["cause"] for event in host.events()][1:] == [35, 20]
    assert host.arm(**wrong) == DONE
    told = host.events()[-1]
    assert (told["cause"], told["state"], told["throttle"]) == (16, ARMED, 0)


def test_arm_is_refused_on_any_line(any_host: Host) -> None:
    any_host.ready()
    assert any_host.arm(boot=any_host.boot + 1 & 0xFFFF) == WRONG_BOOT
    assert any_host.arm(crc=any_host.limits_crc ^ 1) == WRONG_LIMITS
    assert any_host.arm(nonce=0) == BAD_NONCE
    assert any_host.arm(lease_ms=501) == BAD_LEASE
    assert any_host.arm(seen_us=any_host.newest_us + 10**9 & 0xFFFFFFFF) == STALE
    assert any_host.verdict(stranger.ARM, any_host.arm_body()[:-1]) == MALFORMED
    assert any_host.told()["state"] == LOCKED


@pytest.mark.parametrize("state", [PROVING, ARMED, SPINNING, TRIPPED])
def test_arm_is_refused_unless_locked(host: Host, state: int) -> None:
    host.bring(state)
    before = host.events()[-1]
    assert host.arm(nonce=host.nonce + 5) == WRONG_STATE
    assert host.events()[-1] == before


def test_the_nonce_of_the_arming_before_is_refused(host: Host) -> None:
    host.ready()
    assert host.arm(nonce=100) == DONE
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert host.arm(nonce=100) == BAD_NONCE
    assert host.arm(nonce=0) == BAD_NONCE
    assert host.arm(nonce=200, lease_ms=10) == BAD_LEASE
    assert host.arm(nonce=200) == DONE  # a refused arming used up nothing
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert host.arm(nonce=100) == DONE  # only the last one counts


@pytest.mark.parametrize("nonce", [1, 0x8000, 0xFFFF])
@pytest.mark.parametrize("lease_ms", [50, 500])
def test_arm_takes_the_ends_of_every_range(
    host: Host, nonce: int, lease_ms: int
) -> None:
    host.ready()
    assert host.arm(nonce=nonce, lease_ms=lease_ms) == DONE


@pytest.mark.parametrize(
    ("seen_ago_us", "verdict"),
    [
        (-10_000, STALE),
        (-(2**31) + 10_000_000, STALE),
        (0, DONE),
        (190_000, DONE),
        (200_001, STALE),
        (400_000, STALE),
        (2**31 - 1, STALE),
    ],
)
def test_arm_refuses_stamps_that_are_stale_or_from_the_future(
    host: Host, seen_ago_us: int, verdict: int
) -> None:
    host.ready()
    host.pass_ms(300)
    seen_us = (host.newest_us - seen_ago_us) & 0xFFFFFFFF
    assert host.arm(lease_ms=200, seen_us=seen_us) == verdict


@pytest.mark.parametrize("name", ["current", "thrust"])
def test_a_channel_heard_within_its_age_may_be_armed(
    host: Host, doors: SideDoors, name: str
) -> None:
    host.ready()
    limit = host.limit(name, age_10ms=20)
    host.take_limits([limit])
    doors.silence(name)
    last_us = readings(host.heard, limit[0])[-1][0]
    while host.newest_us - last_us < 195_000:
        host.listen()
    assert host.arm() == DONE
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    host.pass_ms(20)
    assert host.arm() == SILENT


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(0, 0, DONE), (-5, 0, DONE), (0, 5, DONE), (1, 5, EXCEEDED), (-5, -1, EXCEEDED)],
)
def test_both_ends_of_a_limit_are_inside(
    host: Host, low: int, high: int, verdict: int
) -> None:
    host.ready()
    speed = host.channel("speed")["index"]
    assert readings(host.heard, speed)[-1][1] == 0  # nothing turns
    host.take_limits([(speed, low, high, 1, 10)])
    assert host.arm() == verdict
    host.pass_ms(50)
    assert host.events()[-1]["state"] == (ARMED if verdict == DONE else LOCKED)


def test_arm_judges_the_newest_reading_only(host: Host) -> None:
    """A limit that was violated a moment ago does not hinder."""
    host.ready()
    limit = host.limit("speed", high=100.0, persistence=255)
    host.take_limits([limit])
    assert host.arm() == DONE
    host.hold(3000, 150)
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert readings(host.heard, limit[0])[-1][1] > limit[2]
    assert host.arm() == EXCEEDED
    # One pulse a turn leaves long gaps in a speed that is nearly nothing.
    while readings(host.heard[-200:], limit[0])[-1][1] > limit[2]:
        host.listen()
    assert host.arm() == DONE
