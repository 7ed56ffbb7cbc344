"""Throttle, stop, acknowledge, lock, and what no stand knows: section 4 of the page."""

import struct

import pytest

from tests.contract import stranger
from tests.contract.host import (
    ARMED,
    BAD_LATCH,
    DONE,
    LOCKED,
    MALFORMED,
    PATIENCE_MS,
    PROVING,
    SLOW_SPIN,
    SPINNING,
    TRIPPED,
    UNKNOWN,
    UNKNOWN_KIND,
    WRONG_BOOT,
    WRONG_STATE,
    Host,
)

STATES = (LOCKED, PROVING, ARMED, SPINNING, TRIPPED)
DRIVEN = (PROVING, SPINNING)


# --- throttle -----------------------------------------------------------------------


def ignored(host: Host, *frames: tuple[bytes, int | None]) -> int:
    """How many of these throttles were counted as ignored."""
    before = host.counters()["ignored"]
    for body, sequence in frames:
        host.send(stranger.THROTTLE, body, sequence=sequence)
    return int(host.counters()["ignored"] - before) & 0xFFFF


@pytest.mark.parametrize("state", [LOCKED, TRIPPED])
def test_throttle_is_ignored_and_counted_unless_armed(host: Host, state: int) -> None:
    host.bring(state)
    told = host.told()
    for nonce in (0, host.nonce, host.nonce + 1):
        body = host.throttle_body(SLOW_SPIN, nonce=nonce)
        assert ignored(host, (body, None)) == 1
    assert host.told() == told


def test_throttle_is_ignored_and_counted_on_any_line(any_host: Host) -> None:
    any_host.ready()
    assert ignored(any_host, (any_host.throttle_body(SLOW_SPIN), None)) == 1
    assert any_host.arm() == DONE
    wrong = any_host.throttle_body(SLOW_SPIN, nonce=any_host.nonce + 1)
    assert ignored(any_host, (wrong, None)) == 1
    assert any_host.told()["throttle"] == 0


@pytest.mark.parametrize(
    "changes",
    [{"nonce": 0}, {"nonce": 9999}, {"ago_us": 600_000}, {"ago_us": -50_000}],
    ids=["no nonce", "another nonce", "stale", "from the future"],
)
def test_throttle_must_be_of_this_arming_and_in_time(
    host: Host, changes: dict[str, int]
) -> None:
    host.armed()
    wanted = dict(changes)
    ago_us = wanted.pop("ago_us", None)
    if ago_us is not None:
        wanted["seen_us"] = (host.newest_us - ago_us) & 0xFFFFFFFF
    host.throttle(SLOW_SPIN, **wanted)
    counters = host.counters()
    assert (counters["state"], counters["ignored"]) == (ARMED, 1)


@pytest.mark.parametrize(
    ("ahead", "taken"),
    [(1, True), (2, True), (32767, True), (0, False), (-1, False), (32768, False)],
)
def test_throttle_must_be_newer_than_the_last_accepted(
    host: Host, ahead: int, taken: bool
) -> None:
    host.armed()
    last = host.throttle(0)
    body = host.throttle_body(SLOW_SPIN)
    host.send(stranger.THROTTLE, body, sequence=(last + ahead) & 0xFFFF)
    host.pass_ms(5)
    assert (host.events()[-1]["cause"] == 17) is taken
    counters = host.until(lambda message: message["type"] == "counters")
    assert counters["ignored"] == (0 if taken else 1)


def test_throttle_must_be_newer_than_the_arming(host: Host) -> None:
    host.ready()
    assert host.arm() == DONE
    arming = host.last("reply")["to_sequence"]
    for sequence in (arming, arming - 1, arming - 5):
        host.send(
            stranger.THROTTLE, host.throttle_body(SLOW_SPIN), sequence=sequence & 0xFFFF
        )
    assert host.told()["state"] == ARMED
    assert host.counters()["ignored"] == 3


def test_an_ignored_throttle_uses_up_no_sequence(host: Host) -> None:
    host.armed()
    far = (host.sequence + 1000) & 0xFFFF
    host.send(
        stranger.THROTTLE, host.throttle_body(SLOW_SPIN, nonce=9999), sequence=far
    )
    host.throttle(SLOW_SPIN)
    assert host.event(17)["throttle"] == SLOW_SPIN


def test_the_sequence_passes_zero(host: Host) -> None:
    host.sequence = 65_000
    host.spinning(SLOW_SPIN)
    for _ in range(1000):
        host.throttle(SLOW_SPIN)
        host.listen()
    assert host.sequence < 1000
    assert host.events()[-1]["cause"] == 17
    assert host.counters()["ignored"] == 0


@pytest.mark.parametrize(
    "body",
    [
        struct.pack("<HHHI", 1, 10_001, 200, 0),
        struct.pack("<HHHI", 1, 65_535, 200, 0),
        struct.pack("<HHHI", 1, 0, 49, 0),
        struct.pack("<HHHI", 1, 0, 501, 0),
        bytes(9),
        bytes(11),
        b"",
    ],
)
def test_a_malformed_throttle_is_only_counted(host: Host, body: bytes) -> None:
    host.armed()
    good = host.throttle_body(SLOW_SPIN)
    nonce_and_stamp = good[:2], good[6:]
    if len(body) == 10:
        body = nonce_and_stamp[0] + body[2:6] + nonce_and_stamp[1]
    before = host.counters()
    host.send(stranger.THROTTLE, body)
    after = host.counters()
    assert after["damaged"] - before["damaged"] == 1
    assert after["ignored"] == before["ignored"]
    assert after["state"] == ARMED
    assert not any(m["type"] == "reply" and m["to_type"] == 0x45 for m in host.heard)


def test_full_throttle_is_taken(host: Host) -> None:
    host.armed()
    host.throttle(10_000)
    assert host.event(17)["throttle"] == 10_000
    told = host.until(lambda message: message["type"] == "counters", PATIENCE_MS)
    assert told["throttle"] == 10_000


# --- stop, acknowledge, lock, and what is unknown -----------------------------------


@pytest.mark.parametrize("body", [b"", b"\x00", b"\x05", b"\xff", b"\x01\x01"])
def test_a_stop_is_a_stop_whatever_came_with_it(host: Host, body: bytes) -> None:
    host.armed()
    assert host.verdict(stranger.STOP, body) == DONE
    assert host.told()["state"] == TRIPPED


def test_acknowledge_clears_the_right_latch_of_the_right_boot_only(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    trip = host.event(32)
    latch, boot = trip["number"], host.boot
    for named, verdict in (
        (host.named(latch, boot + 1), WRONG_BOOT),
        (host.named(latch + 1, boot + 1), WRONG_BOOT),
        (host.named(latch + 1), BAD_LATCH),
        (host.named(latch - 1), BAD_LATCH),
        (host.named(0), BAD_LATCH),
        (host.named(latch)[:-1], MALFORMED),
        (host.named(latch) + b"\0", MALFORMED),
    ):
        assert host.verdict(stranger.ACKNOWLEDGE, named) == verdict
        assert host.events()[-1] == trip
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(latch)) == DONE
    cleared = host.events()[-1]
    assert (cleared["cause"], cleared["state"], cleared["latch"]) == (20, LOCKED, 0)
    assert cleared["number"] == latch + 1
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(latch)) == WRONG_STATE
    assert host.arm() == DONE  # the limits were kept


def test_an_old_acknowledgement_does_not_clear_a_new_latch(host: Host) -> None:
    host.ready()
    host.ask(stranger.STOP, b"\x01")
    first = host.events()[-1]["number"]
    host.ask(stranger.ACKNOWLEDGE, host.named(first))
    host.ask(stranger.STOP, b"\x01")
    second = host.events()[-1]["number"]
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(first)) == BAD_LATCH
    assert host.told()["latch"] == second
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(second)) == DONE


@pytest.mark.parametrize("state", [LOCKED, PROVING, ARMED, SPINNING])
def test_acknowledge_is_refused_unless_tripped(host: Host, state: int) -> None:
    host.bring(state)
    before = host.events()[-1]
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(0)) == WRONG_STATE
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(0, 999)) == WRONG_STATE
    assert host.events()[-1] == before


@pytest.mark.parametrize("state", STATES)
def test_lock_ends_the_armed_state_and_no_other(host: Host, state: int) -> None:
    host.bring(state)
    before = host.events()[-1]
    wrong_boot = host.verdict(stranger.LOCK, stranger.lock_body(host.boot + 1))
    assert wrong_boot == (WRONG_STATE if state == TRIPPED else WRONG_BOOT)
    assert host.verdict(stranger.LOCK, b"") == MALFORMED
    assert host.events()[-1] == before
    verdict = host.verdict(stranger.LOCK, stranger.lock_body(host.boot))
    last = host.events()[-1]
    if state in (LOCKED, TRIPPED):
        assert verdict == (DONE if state == LOCKED else WRONG_STATE)
        assert last == before
    else:
        assert verdict == DONE
        assert (last["cause"], last["state"], last["latch"]) == (19, LOCKED, 0)
        assert last["throttle"] == (SLOW_SPIN if state in DRIVEN else 0)
        assert host.told()["throttle"] == 0


def test_what_is_locked_needs_a_new_arming(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert ignored(host, (host.throttle_body(SLOW_SPIN), None)) == 1
    assert host.told()["state"] == LOCKED


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("kind", [0x00, 0x01, 0x04, 0x40, 0x4A, 0x7F, 0xFF])
def test_an_unknown_command_is_answered_as_one(
    host: Host, state: int, kind: int
) -> None:
    host.bring(state)
    before = host.events()[-1]
    for body in (b"", b"\x01\x02", bytes(61)):
        reply = host.ask(kind, body)
        assert (reply["verdict"], reply["value"]) == (UNKNOWN, 0)
        assert reply["to_type"] == kind
    assert host.events()[-1] == before


def test_an_unknown_command_is_answered_on_any_line(any_host: Host) -> None:
    assert any_host.verdict(UNKNOWN_KIND) == UNKNOWN


def test_a_malformed_who_is_answered_as_one(host: Host) -> None:
    for body in (b"", b"\x01\x01"):
        assert host.verdict(stranger.WHO, body) == MALFORMED
    assert not [m for m in host.heard if m["type"] == "identity"]


def test_each_command_gets_exactly_one_reply(host: Host) -> None:
    host.spinning(SLOW_SPIN)
    host.ask(stranger.STOP, b"\x01")
    host.unlatch()
    sent = host.sequence
    host.pass_ms(100)
    answered = [m["to_sequence"] for m in host.heard if m["type"] == "reply"]
    assert len(set(answered)) == len(answered)
    unanswered = set(range(sent)) - set(answered)
    assert len(unanswered) == 2  # the who and the throttle
    reply = next(m for m in host.heard if m["type"] == "reply")
    assert reply["time_us"] <= host.newest_us


def test_commands_may_come_byte_by_byte(host: Host) -> None:
    host.ready()
    whole = stranger.frame(stranger.ARM, 4321, host.arm_body())
    for byte in whole:
        host.subject.write(bytes([byte]))
        host.listen()
    assert host.reply_to(stranger.ARM, 4321)["verdict"] == DONE
