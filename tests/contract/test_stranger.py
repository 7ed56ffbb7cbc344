"""The stranger's code and the project's, each held against the other.

What one encodes the other must read; two stands that share no line must answer the
same commands alike.
"""

from dataclasses import asdict
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from daq.link import messages as m
from daq.link import session as s
from daq.link.framing import Deframer
from tests.contract import stranger
from tests.contract.host import EMPTY_MS, Host
from tests.contract.stranger_stand import StrangerStand
from tests.contract.subjects import DirectDevice, DirectStranger, SideDoors, Subject
from tests.daq.link.examples import TO_STAND

START_NAMES = {
    m.Identity: "identity",
    m.ChannelPage: "channel",
    m.StreamPage: "stream",
    m.Samples: "samples",
    m.Event: "event",
    m.Reply: "reply",
    m.Counters: "counters",
    m.Burst: "burst",
}


# --- Codecs -------------------------------------------------------------------------


def test_the_crc_has_the_published_check_value() -> None:
    # CRC catalogue, CRC-16/IBM-3740: check value of the nine ASCII digits.
    assert stranger.crc16(b"123456789") == 0x29B1


def test_the_pages_worked_example() -> None:
    wire = bytes.fromhex("0341070401095900")
    assert stranger.frame(0x41, 7, b"\x01") == wire
    assert stranger.unframe(wire[:-1]) == bytes.fromhex("41070001")


@given(st.binary(min_size=3, max_size=64))
def test_frames_of_one_are_read_by_the_other(payload: bytes) -> None:
    kind, sequence = payload[0], int.from_bytes(payload[1:3], "little")
    wire = stranger.frame(kind, sequence, payload[3:])
    assert Deframer().feed(wire) == [payload]
    assert stranger.unframe(wire[:-1]) == payload


@given(st.lists(st.binary(max_size=80).map(lambda b: b.replace(b"\0", b"\1"))))
def test_both_drop_the_same_frames(wires: list[bytes]) -> None:
    deframer = Deframer()
    taken = deframer.feed(b"\0".join(wires) + b"\0")
    mine = [stranger.unframe(wire) for wire in wires if wire]
    assert [payload for payload in mine if payload is not None] == taken
    assert sum(payload is None for payload in mine) == deframer.drops.frames


@given(TO_STAND)
def test_commands_of_the_project_are_those_of_the_page(message: m.ToStand) -> None:
    match message:
        case m.Who(version):
            body = stranger.who_body(version)
        case m.Limits(entries):
            body = stranger.limits_body(
                (e.channel, e.low, e.high, e.persistence, e.max_age_10ms)
                for e in entries
            )
        case m.Prove() | m.Arm():  # one body for both
            body = stranger.arm_body(
                message.nonce,
                message.boot,
                message.limits_crc,
                message.lease_ms,
                message.seen_us,
            )
        case m.Throttle():
            body = stranger.throttle_body(
                message.nonce, message.setpoint, message.lease_ms, message.seen_us
            )
        case m.Stop(reason):
            body = bytes([reason])
        case m.Acknowledge(boot, latch):
            body = stranger.acknowledge_body(boot, latch)
        case m.Lock(boot):
            body = stranger.lock_body(boot)
        case m.Capture():
            body = stranger.capture_body(**asdict(message))
        case _:
            raise ValueError(f"no such command: {message}")
    assert message.body() == body


def everything_a_stand_says(subject: Subject) -> bytes:
    """Bytes of a short spin with every kind of message in it."""
    said = bytearray()
    read = subject.read

    def recording_read() -> bytes:
        data = read()
        said.extend(data)
        return data

    subject.read = recording_read  # type: ignore[method-assign]
    host = Host(subject)
    host.spinning(3000)
    host.hold(3000, 250)
    host.ask(stranger.STOP, b"\x01")
    host.capture("current", count=70, before=3)
    host.blocks()
    host.counters()
    return bytes(said)


def as_read_by_the_project(
    data: bytes, host: stranger.Decoder
) -> list[stranger.Message]:
    """The project's messages in the stranger's form."""
    out = []
    for payload in Deframer().feed(data):
        message = m.decode_from_stand(payload)
        assert not isinstance(message, m.Unknown)
        fields: stranger.Message = {"type": START_NAMES[type(message)]}
        fields |= asdict(message) | {"sequence": m.head(payload)[1]}
        if isinstance(message, m.StreamPage):
            fields["channels"] = list(message.channels)
        if isinstance(message, m.Burst):
            fields["samples"] = list(message.samples)
        if isinstance(message, m.Samples):
            del fields["raw"]
            channels = host.streams[message.stream]["channels"]
            widths = [host.channels[index]["width"] for index in channels]
            counts, at = {}, 0
            for index, width in zip(channels, widths, strict=True):
                raw = message.raw[at : at + width]
                counts[index] = int.from_bytes(raw, "little", signed=True)
                at += width
            assert at == len(message.raw)
            fields["counts"] = counts
        out.append(fields)
    return out


def test_both_decoders_read_the_same_from_both_stands() -> None:
    for subject in (DirectDevice(), DirectStranger()):
        said = everything_a_stand_says(subject)
        decoder = stranger.Decoder()
        decoder.feed(said)  # once, to know the channels from the first byte on
        decoder.lost = decoder.unknown = 0
        mine = decoder.feed(said)
        theirs = as_read_by_the_project(said, decoder)
        assert {message["type"] for message in mine} == set(START_NAMES.values())
        assert mine == theirs
        assert decoder.unknown == decoder.damaged == 0


def test_the_projects_session_talks_to_the_strangers_stand() -> None:
    stand, session = StrangerStand(), s.Session()
    happened: list[s.Happening] = []
    now_s = 100.0

    def run(ms: int) -> None:
        nonlocal now_s
        for _ in range(ms):
            now_s += 1e-3
            written, told = session.poll(now_s)
            happened.extend(told)
            stand.feed(written)
            happened.extend(session.receive(stand.advance(1), now_s))

    def ask(command: m.ToStand) -> m.Verdict:
        stand.feed(session.send(command, now_s))
        run(5)
        replied = [h for h in happened if isinstance(h, s.Replied)]
        assert replied[-1].command == command
        return replied[-1].verdict

    session.identify(now_s)
    run(50)
    assert session.stand is not None
    assert session.stand.identity.board == "a stranger"
    speed = session.stand.channel("speed")
    assert speed is not None
    limits = m.Limits((m.LimitEntry(speed.index, 0, speed.to_counts(200.0), 3, 10),))
    assert ask(limits) is m.Verdict.DONE
    boot = session.stand.identity.boot
    arm = m.Arm(9, boot, limits.crc, 300, session.newest_us)
    assert ask(arm) is m.Verdict.DONE
    stand.feed(session.send(m.Throttle(9, 4000, 300, session.newest_us), now_s))
    run(100)
    trip = next(
        h.message
        for h in reversed(happened)
        if isinstance(h, s.StateTold) and isinstance(h.message, m.Event)
    )
    assert (trip.cause, trip.channel) == (m.Cause.LIMIT, speed.index)
    assert trip.count > speed.to_counts(200.0)
    assert session.state is m.State.TRIPPED
    assert ask(m.Acknowledge(boot, trip.latch)) is m.Verdict.DONE
    assert (session.health.lost, session.health.malformed, session.drops) == (0, 0, 0)


# --- Two stands, the same commands --------------------------------------------------

SETS = ("holds", "empty", "unknown channel", "cut short", "violated", "violated late")
STEPS = st.one_of(
    st.tuples(st.just("limits"), st.sampled_from(SETS)),
    st.tuples(
        st.just("arm"),
        st.sampled_from([0, 1, 1, 2, 3]),
        st.sampled_from([0, 0, 0, 0, 1]),
        st.sampled_from([0, 0, 0, 0, 1]),
        st.sampled_from([49, 50, 200, 500, 501]),
        st.sampled_from([0, 0, 0, 100, 600, -20]),
    ),
    st.tuples(
        st.just("prove"),
        st.sampled_from([0, 1, 1, 2, 3]),
        st.sampled_from([0, 0, 0, 0, 1]),
        st.sampled_from([0, 0, 0, 0, 1]),
        st.sampled_from([49, 50, 200, 500, 501]),
        st.sampled_from([0, 0, 0, 100, 600, -20]),
    ),
    st.tuples(
        st.just("hand"),
        st.sampled_from(["plug in", "loop open", "loop closed", "loop closed"]),
    ),
    st.tuples(
        st.just("throttle"),
        st.sampled_from([0, 0, 0, 1]),
        st.sampled_from([0, 0, 800, 3000, 10_000, 10_001]),
        st.sampled_from([50, 100, 500, 501]),
        st.sampled_from([0, 0, 0, 40, 120, 600, -20]),
        st.sampled_from([0, 0, 0, 0, -1, -300, 40_000]),
    ),
    st.tuples(st.just("stop"), st.sampled_from([0, 1, 4])),
    st.tuples(
        st.just("acknowledge"),
        st.sampled_from([0, 0, 0, 1]),
        st.sampled_from([0, 0, 1]),
    ),
    st.tuples(st.just("lock"), st.sampled_from([0, 0, 1])),
    st.tuples(
        st.just("capture"),
        st.sampled_from([0, 0, 0, 1]),
        st.sampled_from(["current", "voltage", "no such"]),
        st.sampled_from([(0, 0), (1, 1), (1, 0), (200, 60), (9000, 8999)]),
        st.sampled_from([0, 1, 2, 3, 4]),
        st.sampled_from([0, 1, 40, 5000, 5001]),
    ),
    st.tuples(st.just("unknown"), st.sampled_from([0x02, 0x99])),
    st.tuples(st.just("time"), st.sampled_from([1, 5, 30, 60, 250])),
)


def begin(subject: Subject, *, supply: bool) -> Host:
    """A host that has heard every channel, of a stand with its supply on or off.

    Pulled before anything else: a bus with a capacitor takes its time to be empty, and
    how long is the stand's own affair.
    """
    host = Host(subject)
    host.identify()
    doors_of(host).plug(inserted=supply)
    pass_ticks(host, 60 if supply else EMPTY_MS)
    return host


def pass_ticks(host: Host, ticks: int) -> None:
    """Time that is the same on both stands, whatever their samples say."""
    for _ in range(ticks):
        host.listen()


def seen_us(host: Host, ago_ms: int) -> int:
    """Stamp of the newest fast sample, which both take at the same times."""
    newest = next(m for m in reversed(host.heard) if m.get("stream") == 0)
    return int(newest["time_us"] - ago_ms * 1000) & 0xFFFFFFFF


def limit_set(host: Host, name: str) -> bytes:
    """The body of a set that means the same on every stand."""
    holds = stranger.limits_body([host.limit("voltage"), host.limit("current")])
    violated = host.limit("voltage", high=5.0, persistence=1)
    late = host.limit("voltage", high=5.0, persistence=9)
    return {
        "holds": holds,
        "empty": b"\0",
        "unknown channel": b"\x01\x3e" + bytes(4) + b"\x01\x01",
        "cut short": holds[:-1],
        "violated": stranger.limits_body([violated]),
        "violated late": stranger.limits_body([host.limit("current"), late]),
    }[name]


def doors_of(host: Host) -> SideDoors:
    """The stand's side doors."""
    assert host.doors is not None
    return host.doors


def lend_a_hand(host: Host, does: str) -> None:
    """Move the plug or the loop, and let the stand see it."""
    if does == "plug in":
        doors_of(host).plug(inserted=True)
    else:
        doors_of(host).open_loop(is_open=does == "loop open")
    pass_ticks(host, 5)


def ask_for_grant(host: Host, step: tuple[Any, ...]) -> None:
    """Ask to be armed or to prove, rightly or not."""
    asked, nonce, boot, crc, lease_ms, ago_ms = step
    body = stranger.arm_body(
        nonce,
        host.boot + boot,
        host.limits_crc ^ crc,
        lease_ms,
        seen_us(host, ago_ms),
    )
    kind = stranger.ARM if asked == "arm" else stranger.PROVE
    if host.verdict(kind, body) == 0:
        host.nonce = nonce


def ask_for_capture(host: Host, step: tuple[Any, ...]) -> None:
    """Ask for a capture, rightly or not."""
    _, boot, name, (count, before), trigger, patience_ms = step
    channel = 63 if name == "no such" else host.channel(name)["index"]
    changes = {"boot": host.boot + boot, "channel": channel, "trigger": trigger}
    more = {"count": count, "before": before, "patience_ms": patience_ms}
    host.capture("voltage", **changes, **more)


ASKING = {"arm": ask_for_grant, "prove": ask_for_grant, "capture": ask_for_capture}


def take(host: Host, step: tuple[Any, ...]) -> None:
    """Do one step to one stand."""
    latch = host.events()[-1]["latch"]
    match step:
        case ("limits", str(name)):
            reply = host.ask(stranger.LIMITS, limit_set(host, name))
            host.limits_crc = reply["value"] or host.limits_crc
        case ("hand", str(does)):
            lend_a_hand(host, does)
        case ("arm" | "prove" | "capture", *_):
            ASKING[step[0]](host, step)
        case ("throttle", int(nonce), int(setpoint), int(lease), int(ago), int(jump)):
            body = stranger.throttle_body(
                host.nonce ^ nonce,
                setpoint,
                lease,
                seen_us(host, ago),
            )
            sequence = (host.sequence + jump) & 0xFFFF if jump else None
            host.send(stranger.THROTTLE, body, sequence=sequence)
            pass_ticks(host, 1)
        case ("stop", int(reason)):
            host.ask(stranger.STOP, bytes([reason]))
        case ("acknowledge", int(wrong), int(boot)):
            host.ask(stranger.ACKNOWLEDGE, host.named(latch + wrong, host.boot + boot))
        case ("lock", int(boot)):
            host.ask(stranger.LOCK, stranger.lock_body(host.boot + boot))
        case ("unknown", int(kind)):
            host.ask(kind, b"\x01")
        case ("time", int(ms)):
            pass_ticks(host, ms)
        case _:
            raise ValueError(f"no such step: {step}")


def account(host: Host, begin_index: int) -> list[tuple[object, ...]]:
    """What a stand said that any other must have said too, boot numbers aside."""
    out: list[tuple[object, ...]] = []
    for message in host.heard[begin_index:]:
        if message["type"] == "event":
            keys = "time_us number state cause latch limit throttle"
        elif message["type"] == "reply":
            keys = "to_type to_sequence verdict time_us"
        elif message["type"] == "counters":
            keys = "time_us state latch events throttle received damaged ignored"
        else:
            continue
        out.append(tuple(message[key] for key in keys.split()))
    return out


@settings(max_examples=60, deadline=None)
@given(st.booleans(), st.lists(STEPS, min_size=5, max_size=40))
def test_two_stands_answer_alike(supply: bool, steps: list[tuple[Any, ...]]) -> None:
    one = begin(DirectDevice(), supply=supply)
    other = begin(DirectStranger(), supply=supply)
    grant = ("arm" if supply else "prove", 2, 0, 0, 500, 0)
    for step in [("limits", "holds"), grant, *steps, ("time", 250)]:
        begun = len(one.heard), len(other.heard)
        take(one, step)
        take(other, step)
        assert account(one, begun[0]) == account(other, begun[1]), step
