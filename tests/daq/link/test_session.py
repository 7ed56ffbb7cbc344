"""One conversation: identified whatever is lost, gaps counted, replies awaited."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link import messages as m
from daq.link import session as s
from daq.link.framing import Deframer, frame
from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.daq.link.examples import FROM_STAND


def device() -> Device:
    return Device(Plant(shipped_truth(), 1))


def pages(stand: Device) -> list[bytes]:
    """The frames of one identification, each whole."""
    stand.receive(frame(m.encode(m.Who(), 0)))
    wire = stand.advance(1)
    return [frame(payload) for payload in Deframer().feed(wire)]


def identified(session: s.Session, stand: Device) -> None:
    session.identify(0.0)
    session.receive(b"".join(pages(stand)), 0.01)
    assert session.stand is not None


def test_who_is_repeated_until_every_page_has_come() -> None:
    session, stand = s.Session(), device()
    session.identify(0.0)
    now_s, asked = 0.0, 0
    # Each round loses another page; together they are all there.
    while session.stand is None and now_s < 2.0:
        write, _ = session.poll(now_s)
        if write:
            asked += 1
            got = pages(stand)
            kept = [f for i, f in enumerate(got) if (i + asked) % 3]
            session.receive(b"".join(kept), now_s)
        now_s += 0.05
    assert session.stand is not None
    assert 2 <= asked <= 4
    assert [page.name for page in session.stand.channels][:2] == ["thrust", "current"]


def test_nobody_is_asked_for_after_three_seconds() -> None:
    session = s.Session()
    session.identify(10.0)
    asked = [now for now in range(400) if session.poll(10.0 + now / 100)[0]]
    assert len(asked) == 30
    assert session.deadline_s == float("inf")


def test_gaps_are_counted_over_every_type_and_through_the_wrap() -> None:
    session, stand = s.Session(), device()
    identified(session, stand)
    stand._sequence = 0xFFF0
    session._next_sequence = 0xFFF0
    frames = [frame(p) for p in Deframer().feed(stand.advance(200))]
    assert len(frames) > 40
    kept = [f for i, f in enumerate(frames) if i not in (3, 17, 18)]
    session.receive(b"".join(kept), 1.0)
    assert session.health.lost == 3


def test_a_restart_is_no_loss_and_is_told() -> None:
    session, stand = s.Session(), device()
    identified(session, stand)
    session.receive(stand.advance(500), 0.5)
    stand.reset(m.Cause.WATCHDOG)
    happenings = session.receive(stand.advance(10), 0.6)
    assert s.Restarted(1, 2) in happenings
    assert session.health.lost == 0
    assert session.stand is None  # it is asked again who it is
    assert session.poll(0.6)[0]


def test_a_reply_is_matched_by_number_and_type_and_timed() -> None:
    session, stand = s.Session(), device()
    identified(session, stand)
    stand.receive(session.send(m.Lock(1), 1.0))
    (replied,) = [
        h for h in session.receive(stand.advance(1), 1.004) if isinstance(h, s.Replied)
    ]
    assert replied.command == m.Lock(1)
    assert replied.verdict is m.Verdict.DONE
    assert replied.took_s == pytest.approx(0.004)


def test_a_reply_that_does_not_come_is_told_once() -> None:
    session = s.Session()
    session.send(m.Lock(1), 1.0)
    assert session.deadline_s == pytest.approx(1.0 + s.REPLY_PATIENCE_S)
    assert session.poll(1.2)[1] == []
    assert session.poll(1.3)[1] == [s.Unanswered(m.Lock(1))]
    assert session.poll(1.4)[1] == []


def test_commands_awaited_never_grow_beyond_a_bound() -> None:
    session = s.Session()
    for _ in range(1000):
        session.send(m.Lock(1), 1.0)
    assert len(session._awaited) == s.MAX_AWAITED


def test_each_command_begins_with_a_delimiter() -> None:
    assert s.Session().send(m.Lock(1), 0.0).startswith(b"\0")


@given(st.lists(FROM_STAND, max_size=30), st.binary(max_size=50))
def test_nonsense_of_any_kind_is_counted_and_never_raises(
    said: list[m.FromStand], garbage: bytes
) -> None:
    session = s.Session()
    session.identify(0.0)
    for number, message in enumerate(said):
        session.receive(frame(m.encode(message, number)), number * 0.01)
        session.receive(garbage + b"\0", number * 0.01)
        session.poll(number * 0.01)


def test_samples_of_a_wrong_length_or_stream_are_malformed() -> None:
    session, stand = s.Session(), device()
    identified(session, stand)
    for sample in (m.Samples(0, 1, b"\0"), m.Samples(9, 1, b"\0" * 14)):
        session.receive(frame(m.encode(sample, session._next_sequence)), 0.1)
    assert session.health.malformed == 2


def test_samples_before_the_stand_is_known_are_counted_apart() -> None:
    session = s.Session()
    session.receive(device().advance(100), 0.1)
    assert session.health.unsorted > 40
