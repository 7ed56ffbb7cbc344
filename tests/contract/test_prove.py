"""Proving: pulses while the supply is seen off, and everything that ends them.

Expectations come from section 4 of daq/link/README.md, 0x43. Asked of every stand that
has the ability; those that have not know no such command.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import median

import pytest

from tests.contract import stranger
from tests.contract.host import (
    ARMED,
    BAD_LEASE,
    BAD_NONCE,
    DONE,
    EXCEEDED,
    LOCKED,
    LOOP_OPEN,
    MALFORMED,
    NO_LIMITS,
    PROVING,
    SILENT,
    SLOW_SPIN,
    SPINNING,
    STALE,
    SUPPLY_ON,
    TRIPPED,
    UNKNOWN,
    WRONG_BOOT,
    WRONG_LIMITS,
    WRONG_STATE,
    Host,
)
from tests.contract.rows import after, readings
from tests.contract.subjects import DirectStranger, SideDoors

LEASE, LIMIT, SILENCE, STOP, LOOP = range(32, 37)
SUPPLY = 37
NOW_PROVING = 22
RAISED = 2000
UP_S = 40e-6  # a pulse this much longer than at rest is up
SAME_S = 15e-6  # as at rest
# A chip times both edges in interrupts, and others may hold them off for 13 us.
SCATTER_S = 13e-6
SCATTERED = 9  # readings of which the middle one is not
# The next servo frame, 20 ms at the slowest, and the sample that shows it.
FRAME_MS = 25
LATE_US = 5000
SUPPLY_AGE_US = 100_000


@pytest.fixture
def prover(host: Host) -> Host:
    """A host of a virtual stand that can prove, and says so."""
    host.identify()
    if not host.proves:
        pytest.skip("this stand cannot prove")
    return host


def pulse_s(host: Host) -> float:
    """The middle one of the newest readings."""
    channel = host.channel("pulse")
    since = [message for message in host.heard if message["type"] == "samples"]
    counts = [count for _, count in readings(since[-3 * SCATTERED :], channel["index"])]
    middle = median(counts[-SCATTERED:])
    return float((middle - channel["zero_counts"]) / channel["counts_per_unit"])


def grows(host: Host, rest_s: float) -> bool:
    return pulse_s(host) - rest_s > UP_S


@dataclass
class Raised:
    """A stand that proves with its pulse up.

    Attributes:
        host: of it.
        rest_s: what the pulse pin read before.
    """

    host: Host
    rest_s: float


@pytest.fixture
def raised(prover: Host) -> Raised:
    """Proving, with the pulse seen up."""
    prover.proving()
    rest_s = pulse_s(prover)
    prover.hold(RAISED, 40)
    assert grows(prover, rest_s)
    return Raised(prover, rest_s)


# ------------------------------------------------------------------- refusals


def test_prove_is_refused_in_the_stated_order(prover: Host, doors: SideDoors) -> None:
    """Everything is wrong at first, and is put right one by one."""
    host = prover
    host.pass_ms(100)
    wrong = {
        "nonce": 0,
        "boot": host.boot + 1,
        "crc": 1,
        "lease_ms": 49,
        "seen_us": (host.newest_us - 600_000) & 0xFFFFFFFF,
    }
    doors.open_loop(is_open=True)
    host.ask(stranger.STOP, b"\x01")
    latch = host.events()[-1]["number"]
    assert host.prove(**wrong) == WRONG_STATE
    host.ask(stranger.ACKNOWLEDGE, host.named(latch))
    assert host.prove(**wrong) == WRONG_BOOT
    wrong["boot"] = host.boot
    assert host.prove(**wrong) == NO_LIMITS
    reply = host.take_limits(
        [host.limit("voltage", high=5.0), host.limit("thrust", age_10ms=10)]
    )
    wrong["crc"] = reply["value"] ^ 1
    doors.silence("thrust")
    host.pass_ms(150)
    assert host.prove(**wrong) == WRONG_LIMITS
    wrong["crc"] = reply["value"]
    assert host.prove(**wrong) == BAD_NONCE
    wrong["nonce"] = 77
    assert host.prove(**wrong) == BAD_LEASE
    wrong["lease_ms"] = 500
    wrong["seen_us"] = (host.newest_us - 600_000) & 0xFFFFFFFF
    assert host.prove(**wrong) == STALE
    del wrong["seen_us"]  # the newest from here on
    assert host.prove(**wrong) == LOOP_OPEN
    doors.open_loop(is_open=False)
    assert host.prove(**wrong) == SILENT
    doors.silence()
    host.pass_ms(30)
    assert host.prove(**wrong) == EXCEEDED
    wrong["crc"] = host.take_limits([host.limit("voltage")])["value"]
    assert host.prove(**wrong) == SUPPLY_ON
    doors.plug(inserted=False)
    host.until(lambda _: host.reading("voltage") < 1.0)
    assert [event["cause"] for event in host.events()][1:] == [STOP, 20]
    assert host.prove(**wrong) == DONE
    told = host.events()[-1]
    assert (told["cause"], told["state"]) == (NOW_PROVING, PROVING)
    assert (told["throttle"], told["latch"], told["limit"]) == (0, 0, 255)


def test_a_supply_that_was_not_heard_lately_is_not_off(
    prover: Host, doors: SideDoors
) -> None:
    host = prover.unplugged()
    host.take_limits([host.limit("thrust")])  # nothing waits for the voltage
    doors.silence("voltage")
    last_us = readings(host.heard, host.channel("voltage")["index"])[-1][0]
    while host.newest_us - last_us < SUPPLY_AGE_US - 20_000:
        host.listen()
    assert host.prove() == DONE
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    host.pass_ms(40)
    assert host.prove() == SUPPLY_ON
    doors.silence()
    host.pass_ms(150)
    assert host.prove() == DONE


@pytest.mark.parametrize("length", [0, 11, 13])
def test_a_malformed_prove_changes_nothing(prover: Host, length: int) -> None:
    host = prover.unplugged()
    body = (host.arm_body() + b"\0")[:length]
    assert host.verdict(stranger.PROVE, body) == MALFORMED
    assert host.told()["state"] == LOCKED
    assert host.prove() == DONE


@pytest.mark.parametrize("state", [PROVING, ARMED, SPINNING, TRIPPED])
def test_prove_is_refused_unless_locked(prover: Host, state: int) -> None:
    prover.bring(state)
    before = prover.events()[-1]
    assert prover.prove(nonce=prover.nonce + 5) == WRONG_STATE
    assert prover.events()[-1] == before


def test_nothing_else_begins_while_it_proves(raised: Raised) -> None:
    host = raised.host
    before = host.events()[-1]
    assert host.arm(nonce=host.nonce + 5) == WRONG_STATE
    assert host.verdict(stranger.ACKNOWLEDGE, host.named(0)) == WRONG_STATE
    host.send(stranger.WHO, stranger.who_body())
    host.hold(RAISED, 20)
    assert host.events()[-1] == before
    assert sum(m["type"] == "identity" for m in host.heard) == 3
    assert grows(host, raised.rest_s)


def test_a_proving_uses_up_its_nonce_as_an_arming_does(prover: Host) -> None:
    host = prover.unplugged()
    assert host.prove(nonce=100) == DONE
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert host.prove(nonce=100) == BAD_NONCE
    assert host.arm(nonce=100) == BAD_NONCE
    assert host.arm(nonce=101) == DONE
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert host.prove(nonce=101) == BAD_NONCE
    assert host.prove(nonce=100) == DONE  # only the last one counts


# ------------------------------------------------------------------ the pulse


def test_throttle_moves_the_pulse_and_is_no_spinning(raised: Raised) -> None:
    host = raised.host
    widths_s = []
    for setpoint in (1000, 4000, 10_000):
        host.hold(setpoint, 40)
        widths_s.append(pulse_s(host) - raised.rest_s)
    assert widths_s == sorted(widths_s)
    assert widths_s[0] > UP_S
    # As on a servo: the way goes with the setpoint.
    assert widths_s[1] == pytest.approx(0.4 * widths_s[2], rel=0.05)
    told = host.told()
    assert (told["state"], told["throttle"]) == (PROVING, 10_000)
    host.hold(0, 40)
    assert abs(pulse_s(host) - raised.rest_s) < SAME_S
    assert host.events()[-1]["cause"] == NOW_PROVING  # neither 17 nor 18
    assert host.told()["state"] == PROVING


def test_nothing_turns_while_it_proves(raised: Raised) -> None:
    raised.host.hold(10_000, 300)
    assert raised.host.reading("speed") == 0
    assert raised.host.reading("voltage") < 1.0
    assert raised.host.told()["state"] == PROVING


@pytest.mark.parametrize(
    "changes",
    [{"nonce": 0}, {"nonce": 9999}, {"ago_us": 600_000}, {"ago_us": -50_000}],
    ids=["no nonce", "another nonce", "stale", "from the future"],
)
def test_a_throttle_that_is_not_of_this_proving_moves_nothing(
    prover: Host, changes: dict[str, int]
) -> None:
    host = prover.proving()
    rest_s = pulse_s(host)
    before = host.counters()["ignored"]
    wanted = dict(changes)
    ago_us = wanted.pop("ago_us", None)
    if ago_us is not None:
        wanted["seen_us"] = (host.newest_us - ago_us) & 0xFFFFFFFF
    host.throttle(RAISED, **wanted)
    host.pass_ms(FRAME_MS)
    assert abs(pulse_s(host) - rest_s) < SAME_S
    host.throttle(0)
    assert host.counters()["ignored"] - before == 1


def test_throttle_must_be_newer_than_the_proving(prover: Host) -> None:
    host = prover.unplugged()
    assert host.prove() == DONE
    proving = host.last("reply")["to_sequence"]
    for sequence in (proving, proving - 1):
        body = host.throttle_body(RAISED)
        host.send(stranger.THROTTLE, body, sequence=sequence & 0xFFFF)
    counters = host.until(lambda message: message["type"] == "counters")
    assert (counters["throttle"], counters["ignored"]) == (0, 2)


# ------------------------------------------------------------------- what ends it


def wait_for_lease(host: Host, _: SideDoors) -> None:
    """Nobody renews the throttle any more."""


def send_stop(host: Host, _: SideDoors) -> None:
    host.ask(stranger.STOP, b"\x01")


def open_loop(_: Host, doors: SideDoors) -> None:
    doors.open_loop(is_open=True)


def plug_in(_: Host, doors: SideDoors) -> None:
    doors.plug(inserted=True)


def silence(_: Host, doors: SideDoors) -> None:
    doors.silence("thrust")


def lose_voltage(host: Host, doors: SideDoors) -> None:
    doors.silence("voltage")


def violate(host: Host, _: SideDoors) -> None:
    low = host.limit("voltage", low=5.0, persistence=1)
    assert host.take_limits([host.limit("current"), low])["verdict"] == DONE


ENDS: dict[str, tuple[int, Callable[[Host, SideDoors], None]]] = {
    "lease": (LEASE, wait_for_lease),
    "stop": (STOP, send_stop),
    "stop loop": (LOOP, open_loop),
    "limit": (LIMIT, violate),
    "silence": (SILENCE, silence),
    "supply": (SUPPLY, plug_in),
    "supply not heard": (SUPPLY, lose_voltage),
}
BY_THEMSELVES_MS = 600


@pytest.fixture(params=list(ENDS))
def ended(
    request: pytest.FixtureRequest, raised: Raised, doors: SideDoors
) -> tuple[int, Raised]:
    """A proving that something ended, throttle renewed all the while."""
    host = raised.host
    cause, act = ENDS[request.param]
    limits = [host.limit("current"), host.limit("thrust", age_10ms=5)]
    assert host.take_limits(limits)["verdict"] == DONE
    host.throttle(RAISED)
    host.pass_ms(2)
    act(host, doors)
    setpoint = 0 if cause == LEASE else RAISED
    if cause == LEASE:
        host.pass_ms(BY_THEMSELVES_MS)
    elif cause != STOP and host.events()[-1]["cause"] != cause:
        host.hold(setpoint, 200)
    return cause, raised


def test_whatever_trips_an_armed_stand_cuts_the_pulse_and_latches(
    ended: tuple[int, Raised],
) -> None:
    cause, raised = ended
    host = raised.host
    (trip,) = [e for e in host.events() if e["state"] == TRIPPED]
    assert trip["cause"] == cause
    assert trip["latch"] == trip["number"]
    assert trip["throttle"] == RAISED
    host.pass_ms(FRAME_MS)
    assert abs(pulse_s(host) - raised.rest_s) < SAME_S
    # The throttle of before goes on: nothing comes back.
    begin = len(host.heard)
    host.hold(RAISED, 300)
    index = host.channel("pulse")["index"]
    scale = host.channel("pulse")["counts_per_unit"]
    zero = host.channel("pulse")["zero_counts"]
    for _, count in readings(host.heard[begin:], index):
        away_s = abs((count - zero) / scale - raised.rest_s)
        assert away_s < SAME_S + SCATTER_S
    told = host.told()
    assert (told["state"], told["throttle"]) == (TRIPPED, 0)
    assert told["latch"] == trip["number"]
    assert host.prove(nonce=host.nonce + 9) == WRONG_STATE


def test_a_plug_that_goes_in_while_it_proves_gets_a_zero_pulse(
    raised: Raised, doors: SideDoors
) -> None:
    host = raised.host
    host.pass_ms(1)
    at_us = host.newest_us
    doors.plug(inserted=True)
    trip = host.event(SUPPLY, 100)
    assert after(trip, at_us) <= LATE_US
    assert (trip["limit"], trip["channel"], trip["count"]) == (255, 255, 0)
    host.hold(RAISED, 300)
    assert host.reading("voltage") > 5.0
    assert host.reading("speed") < 150.0  # it may have been one frame long
    assert abs(pulse_s(host) - raised.rest_s) < SAME_S
    host.ask(stranger.ACKNOWLEDGE, host.named(trip["number"]))
    assert host.prove() == SUPPLY_ON
    assert host.arm() == DONE


def test_a_voltage_that_is_not_heard_ends_it_after_100_ms(
    prover: Host, doors: SideDoors
) -> None:
    host = prover.unplugged()
    host.take_limits([host.limit("thrust")])
    assert host.prove() == DONE
    host.hold(RAISED, 20)
    doors.silence("voltage")
    host.hold(RAISED, 150)
    trip = next(e for e in host.events() if e["state"] == TRIPPED)
    assert trip["cause"] == SUPPLY
    last_us = readings(host.heard, host.channel("voltage")["index"])[-1][0]
    assert 0 < after(trip, last_us) - SUPPLY_AGE_US <= LATE_US


def test_a_lease_ends_counted_from_what_was_seen(raised: Raised) -> None:
    host = raised.host
    seen_us = (host.newest_us - 60_000) & 0xFFFFFFFF
    host.throttle(RAISED, lease_ms=200, seen_us=seen_us)
    trip = host.event(LEASE, 400)
    assert 0 <= after(trip, seen_us) - 200_000 <= LATE_US
    assert trip["throttle"] == RAISED


def test_the_lease_of_the_proving_ends_too(prover: Host) -> None:
    host = prover.unplugged()
    seen_us = host.newest_us
    assert host.prove(lease_ms=100, seen_us=seen_us) == DONE
    trip = host.event(LEASE, 300)
    assert 0 <= after(trip, seen_us) - 100_000 <= LATE_US
    assert trip["throttle"] == 0


def test_damaged_throttles_renew_nothing(raised: Raised) -> None:
    host = raised.host
    host.throttle(RAISED, lease_ms=200)
    begun_us = host.newest_us
    while not any(e["state"] == TRIPPED for e in host.events()):
        good = stranger.frame(
            stranger.THROTTLE, host.sequence, host.throttle_body(RAISED)
        )
        host.subject.write(b"\0" + good[:5] + bytes([good[5] ^ 0x10 or 1]) + good[6:])
        host.pass_ms(10)
        assert host.newest_us - begun_us < 400_000
    assert host.events()[-1]["cause"] == LEASE


# ------------------------------------------------------------------- limits, lock


def test_limits_are_taken_while_the_pulse_is_up(raised: Raised) -> None:
    host = raised.host
    reply = host.take_limits([host.limit("current"), host.limit("speed", high=100.0)])
    assert reply["verdict"] == DONE
    host.hold(RAISED, 100)
    assert host.told()["state"] == PROVING
    assert host.take_limits([])["verdict"] == NO_LIMITS
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    assert host.prove(crc=reply["value"] ^ 1) == WRONG_LIMITS
    assert host.prove(crc=reply["value"]) == DONE  # the new set is in force


@pytest.mark.parametrize("persistence", [1, 4, 30])
def test_a_violated_set_trips_and_names_limit_and_channel(
    raised: Raised, persistence: int
) -> None:
    host = raised.host
    limit = host.limit("voltage", low=5.0, persistence=persistence)
    host.take_limits([host.limit("current"), limit])
    sent_us = host.newest_us
    if host.events()[-1]["cause"] != LIMIT:
        host.hold(RAISED, 2 * persistence + 20)
    trip = next(e for e in host.events() if e["state"] == TRIPPED)
    assert (trip["cause"], trip["limit"], trip["channel"]) == (LIMIT, 1, limit[0])
    assert not limit[1] <= trip["count"] <= limit[2]
    assert (
        after(trip, sent_us) <= persistence * 2_500 + LATE_US
        or trip["time_us"] <= sent_us
    )


def test_a_lock_ends_it_without_a_latch(raised: Raised) -> None:
    host = raised.host
    assert host.verdict(stranger.LOCK, stranger.lock_body(host.boot + 1)) == WRONG_BOOT
    assert host.verdict(stranger.LOCK, stranger.lock_body(host.boot)) == DONE
    locked = host.events()[-1]
    assert (locked["cause"], locked["state"], locked["latch"]) == (19, LOCKED, 0)
    assert locked["throttle"] == RAISED
    host.hold(RAISED, 60)
    assert abs(pulse_s(host) - raised.rest_s) < SAME_S
    assert host.told()["state"] == LOCKED


def test_a_start_ends_it_and_leaves_nothing(raised: Raised, doors: SideDoors) -> None:
    host = raised.host
    doors.reset(3)
    assert host.event(3)["state"] == LOCKED
    host.pass_ms(FRAME_MS)
    host.identify()
    assert abs(pulse_s(host) - raised.rest_s) < SAME_S
    assert host.prove() == NO_LIMITS


def test_proving_lasts_as_long_as_its_lease_is_renewed(prover: Host) -> None:
    """What locks an armed stand after 30 s does not: nothing can turn here."""
    host = prover.proving()
    for _ in range(80):
        host.throttle(0)
        host.pass_ms(400)
    host.throttle(0)
    assert host.events()[-1]["cause"] == NOW_PROVING
    assert host.told()["state"] == PROVING


def test_after_proving_it_is_armed_as_ever(raised: Raised, doors: SideDoors) -> None:
    host = raised.host
    host.ask(stranger.LOCK, stranger.lock_body(host.boot))
    doors.plug(inserted=True)
    host.pass_ms(20)
    assert host.arm() == DONE
    host.throttle(SLOW_SPIN)
    assert host.event(17)["state"] == SPINNING
    host.hold(SLOW_SPIN, 100)
    assert host.told()["state"] == SPINNING


# ------------------------------------------------------------------- any stand


def test_it_is_there_on_any_line_or_is_not_known(any_host: Host) -> None:
    any_host.ready()
    if not any_host.proves:
        assert any_host.prove() == UNKNOWN
        return
    assert any_host.prove() == SUPPLY_ON
    if any_host.doors is None:
        return  # nobody pulls the plug of a real stand for a test
    any_host.proving()
    rest_s = pulse_s(any_host)
    any_host.hold(RAISED, 150)
    assert grows(any_host, rest_s)
    any_host.doors.plug(inserted=True)
    any_host.hold(RAISED, 150)
    (trip,) = [e for e in any_host.events() if e["state"] == TRIPPED]
    assert (trip["cause"], trip["throttle"]) == (SUPPLY, RAISED)
    assert abs(pulse_s(any_host) - rest_s) < SAME_S


@pytest.fixture
def plain() -> Iterator[Host]:
    """A host of a stand without the ability."""
    subject = DirectStranger(proves=False)
    yield Host(subject)
    subject.close()


@pytest.mark.parametrize("state", [LOCKED, ARMED, SPINNING, TRIPPED])
def test_a_stand_without_the_ability_knows_no_such_command(
    plain: Host, state: int
) -> None:
    plain.bring(state)
    assert not plain.proves
    before = plain.events()[-1]
    for body in (plain.arm_body(nonce=plain.nonce + 1), b"", bytes(13)):
        reply = plain.ask(stranger.PROVE, body)
        assert (reply["verdict"], reply["value"]) == (UNKNOWN, 0)
    assert plain.events()[-1] == before
