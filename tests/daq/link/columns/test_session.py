"""One conversation with a stand that prints lines, fed without a port."""

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.link import messages as m
from daq.link import session as s
from daq.link.columns.description import Description
from daq.link.columns.lines import MAX_LINE
from daq.link.columns.session import (
    LISTEN_S,
    PATIENCE_S,
    SIMULATED_LINE,
    LineSession,
)
from daq.link.columns.stand_in import STOP_AGAIN_S, STOP_FOR_S
from tests.daq.link.columns.descriptions import (
    CHANNELS,
    COMMANDS,
    HEAD,
    JSON,
    NAMED,
    TIME,
    WHOLE,
    described,
)

BARE = HEAD + TIME + CHANNELS + COMMANDS.replace("keep_alive", "# keep_alive")
TIMELESS = HEAD.replace('"t", ', "") + CHANNELS + COMMANDS
LIMITS = m.Limits((m.LimitEntry(2, -100, 100, 3, 10),))
STOP = b"S\nT0.0\n"


def line(time_us: int, load: float = 12.5, bus: int = 11_100, amps: float = 3.2) -> str:
    return f"{time_us},{load:.2f},{bus},{amps:.3f},ok\n"


def sampled(happenings: Iterable[s.Happening]) -> list[s.Sampled]:
    return [h for h in happenings if isinstance(h, s.Sampled)]


def begun(text: str = BARE, *, whole: bool = True) -> LineSession:
    session = LineSession(described(text), begins_whole=whole)
    session.identify(0.0)
    return session


def known(text: str = BARE) -> LineSession:
    """A session that knows its stand."""
    session = begun(text)
    for n in range(3):
        session.receive(line(n * 1_000_000).encode(), float(n))
    assert session.stand is not None
    return session


def told(session: LineSession, now_s: float) -> tuple[bytes, list[s.Happening]]:
    """All that is due now."""
    text, happenings = session.poll(now_s)
    assert session.deadline_s > now_s
    return text, happenings


# ------------------------------------------------------------- who is there


def test_a_stand_is_known_by_a_line_that_is_taken_whole_after_a_while() -> None:
    session = begun(whole=False)
    early = session.receive(("0\n" + line(1)).encode(), LISTEN_S - 0.01)
    assert early == []
    assert [session.stand, session.state] == [None, m.State.UNKNOWN]
    now_s = LISTEN_S + 0.1
    identified, state, sample = session.receive(line(700_000).encode(), now_s)
    assert isinstance(identified, s.Identified)
    assert isinstance(state, s.StateTold)
    assert isinstance(sample, s.Sampled)
    assert identified.stand is session.stand
    assert [state.message.state, session.state] == [m.State.LOCKED] * 2
    assert session.deadline_s == math.inf


def test_a_log_is_known_by_its_first_line() -> None:
    assert sampled(begun().receive(line(1).encode(), 0.0))


def test_what_is_known_of_the_stand_is_what_the_description_says() -> None:
    stand = known().stand
    assert stand is not None
    assert stand.identity.abilities == m.Ability(0)
    assert [page.name for page in stand.channels] == ["thrust", "voltage", "current"]
    assert len(stand.layouts) == 1


def test_one_that_prints_nothing_of_use_is_not_known_and_it_is_said_why() -> None:
    session = begun()
    session.receive(b"# hello\nbooting\n1,2\n1,2\nx,y,z,w,v\n", 3.0)
    assert session.deadline_s == PATIENCE_S
    assert session.poll(PATIENCE_S - 0.01) == (b"", [])
    _, (unknown,) = session.poll(PATIENCE_S)
    assert isinstance(unknown, s.NotIdentified)
    assert unknown.heard_bytes == 34
    assert "2 x another number of fields" in unknown.why
    assert session.poll(PATIENCE_S + 1) == (b"", [])
    assert session.deadline_s == math.inf


def test_one_that_says_nothing_at_all_is_told_as_that() -> None:
    session = begun()
    _, (unknown,) = session.poll(60.0)
    assert isinstance(unknown, s.NotIdentified)
    assert (unknown.heard_bytes, unknown.why) == (0, "")


def test_a_slow_stand_is_waited_for() -> None:
    session = begun(BARE.replace("rate_hz = 80", "rate_hz = 0.2"))
    assert session.deadline_s == 25.0


def test_a_simulation_is_known_as_one_and_nothing_else_is() -> None:
    for said in (SIMULATED_LINE, SIMULATED_LINE.lower(), SIMULATED_LINE[:-1]):
        session = begun()
        session.receive(f"{said}\r\n".encode(), 1.0)
        session.receive(line(1).encode(), 1.3)
        assert session.stand is not None
        simulated = m.Ability.SIMULATED in session.stand.identity.abilities
        assert simulated == (said == SIMULATED_LINE)
        assert session.health.malformed == 0


# ------------------------------------------------------------- what is measured


def test_a_sample_is_what_the_line_says() -> None:
    session = known()
    (sample,) = session.receive(line(2_100_000, 12.5, 11_100, 3.204).encode(), 2.1)
    assert isinstance(sample, s.Sampled)
    assert sample.device_s == 2.1
    values = [
        page.to_si(count)
        for page, count in zip(sample.layout.channels, sample.counts, strict=True)
    ]
    # Standard gravity, 3rd CGPM (1901).
    assert values == pytest.approx([12.5e-3 * 9.80665, 11.1, 3.204], rel=1e-6)
    assert session.newest_us == 2_100_000
    assert session.arrivals.to_host(2.1) == pytest.approx(2.1)


def test_the_first_line_is_only_used_where_it_begins_whole() -> None:
    for whole in (False, True):
        session = begun(whole=whole)
        happenings = session.receive(line(5_000_000).encode(), 5.0)
        assert len(sampled(happenings)) == whole
        assert session.drops == (not whole)


def test_of_lines_without_a_clock_that_come_at_once_the_earlier_ones_waited() -> None:
    session = LineSession(described(TIMELESS), begins_whole=True)
    one = b"12.50,11100,3.200,ok\n"
    times = [x.device_s for x in sampled(session.receive(one * 4, 9.0))]
    assert times == pytest.approx([9.0 - 3 / 80, 9.0 - 2 / 80, 9.0 - 1 / 80, 9.0])
    (later,) = sampled(session.receive(one, 9.01))
    assert later.device_s == 9.01
    # Their time never steps back, however many come at once.
    times = [x.device_s for x in sampled(session.receive(one * 20, 9.02))]
    assert min(times) >= 9.01
    assert times == sorted(times)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_is_one(end: str) -> None:
    session = LineSession(described(BARE), begins_whole=True)
    text = "".join(line(n * 12_500).replace("\n", end) for n in range(20))
    happenings = session.receive(text.encode(), 5.0)
    assert len(sampled(happenings)) == 20
    assert session.health == s.Health(frames=20)


def test_refused_lines_are_damage_and_other_text_and_echoes_are_not() -> None:
    session = known()
    session.receive(b"booting\nmotor on\n# remark\nT42.5\nS\nT0.0\n", 2.1)
    assert session.health.malformed == 0
    session.receive(b"1,2,3\n" + b"x" * 500 + b"\n\xff\xfe\n", 2.2)
    assert session.health.malformed == 3
    assert session.drops == 2
    assert "1 x another number of fields" in session.not_taken()


def test_every_line_that_was_not_used_is_in_the_sentence() -> None:
    session = known()
    assert session.not_taken() == ""
    session.receive(b"1,2,3\n" * 4, 2.1)
    assert session.not_taken().startswith("4 lines were not used: 4 x another number")
    session.receive(b"x" * 500 + b"\n\xff\xfe\n", 2.2)
    assert session.not_taken().startswith("6 lines were not used: ")
    assert session.not_taken().endswith(
        "; 1 x no text, as at a wrong baud rate; 1 x too long."
    )


def test_reasons_beyond_the_commonest_are_counted_together() -> None:
    session = known()
    whole = line(2_100_000).rstrip("\n")
    head, *fields = whole.split(",")
    wrong = [
        "booting",
        f"{head},1",
        ",".join([head, "x", *fields[1:]]),
        ",".join([head, "nan", *fields[1:]]),
        ",".join([head, "1.", *fields[1:]]),
        whole[:5] + "\x07" + whole[5:],
        ",".join(["1e30", *fields]),
    ]
    session.receive("".join(f"{one}\n" for one in wrong).encode(), 2.1)
    told = session.not_taken()
    assert told.startswith(f"{len(wrong)} lines were not used: "), told
    assert told.endswith("; 2 for other reasons."), told


def test_commands_sent_back_are_no_damage_in_named_fields_either() -> None:
    text = NAMED + '[commands]\nthrottle = "thr={percent:.1f}\\n"\n'
    session = LineSession(described(text), begins_whole=True)
    session.receive(b"thr=42.5\n", 1.0)
    assert session.health == s.Health(unknown=1)
    session.receive(b"thr=42.5 load=12\n", 1.0)
    assert session.health.malformed == 1


# ------------------------------------------------------------- what is told


def arm(session: LineSession, now_s: float) -> None:
    assert session.send(LIMITS, now_s) == b""
    text = session.send(m.Arm(7, 1, LIMITS.crc, 200, 0), now_s)
    assert text == b"T0.0\n"


def test_replies_come_with_the_next_look_after_what_they_brought_about() -> None:
    session = known()
    arm(session, 2.1)
    assert session.deadline_s == -math.inf
    _, (limits, state, armed) = told(session, 2.1)
    assert isinstance(limits, s.Replied)
    assert limits.verdict is m.Verdict.DONE
    assert limits.value == LIMITS.crc
    assert isinstance(state, s.StateTold)
    assert state.message.state is m.State.ARMED
    assert isinstance(armed, s.Replied)
    assert isinstance(armed.command, m.Arm)
    assert session.state is m.State.ARMED
    # Nobody is asked who it is: it prints.
    assert session.send(m.Who(), 2.2) == b""


def test_a_stop_is_text_at_once_and_a_trip_told() -> None:
    session = known()
    arm(session, 2.1)
    session.poll(2.1)
    assert session.send(m.Throttle(7, 3000, 200, 0), 2.2) == b"T30.0\n"
    session.poll(2.2)
    assert session.send(m.Stop(m.StopReason.GUARD), 2.21) == STOP
    _, (state, stop) = told(session, 2.21)
    assert isinstance(state, s.StateTold)
    assert isinstance(stop, s.Replied)
    assert isinstance(state.message, m.Event)
    assert state.message.cause is m.Cause.STOP
    assert state.message.throttle == 3000
    assert session.deadline_s == pytest.approx(2.21 + STOP_AGAIN_S)
    # Said once more, whoever asks and when: the keeper's last resort does.
    assert session.send(m.Stop(m.StopReason.FAULT), 2.22) == STOP


def test_a_lease_that_lapses_is_told_with_the_stop_that_it_brings() -> None:
    session = known()
    arm(session, 2.1)
    session.poll(2.1)
    session.send(m.Throttle(7, 3000, 200, 0), 2.2)
    session.poll(2.2)
    assert session.deadline_s == pytest.approx(2.4)
    text, (state,) = session.poll(2.401)
    assert text == STOP
    assert isinstance(state, s.StateTold)
    assert isinstance(state.message, m.Event)
    assert state.message.cause is m.Cause.LEASE_ENDED


def test_nothing_arms_before_its_limits_nor_with_another_boot() -> None:
    session = known()
    session.send(m.Arm(7, 1, LIMITS.crc, 200, 0), 2.1)
    session.send(LIMITS, 2.1)
    session.send(m.Arm(7, 2, LIMITS.crc, 200, 0), 2.1)
    verdicts = [h.verdict for h in session.poll(2.1)[1] if isinstance(h, s.Replied)]
    assert verdicts == [m.Verdict.NO_LIMITS, m.Verdict.DONE, m.Verdict.WRONG_BOOT]
    assert session.send(m.Throttle(7, 3000, 200, 0), 2.2) == b""


# ------------------------------------------------------------- a new beginning


def restart(session: LineSession, now_s: float) -> list[s.Happening]:
    """Its clock begins at zero again."""
    out: list[s.Happening] = []
    for n in range(4):
        out += session.receive(line(n * 12_500).encode(), now_s + n / 80)
    return out


def test_a_restart_is_told_and_who_is_there_again() -> None:
    session = known()
    kinds = [type(h) for h in restart(session, 2.1)]
    assert kinds[:3] == [s.Restarted, s.Identified, s.StateTold]
    assert session.stand is not None
    assert session.stand.identity.boot == 2
    assert session.state is m.State.LOCKED


def test_what_was_granted_before_a_restart_holds_no_more_and_a_stop_is_said() -> None:
    session = known()
    arm(session, 2.1)
    session.poll(2.1)
    session.send(m.Throttle(7, 3000, 500, 0), 2.1)
    session.poll(2.1)
    restart(session, 2.15)
    assert session.send(m.Throttle(7, 3000, 500, 0), 2.2) == b""
    session.send(m.Arm(8, 1, LIMITS.crc, 200, 0), 2.2)
    text, happenings = session.poll(2.3)
    assert text == STOP
    (refused,) = [h for h in happenings if isinstance(h, s.Replied)]
    assert refused.verdict is m.Verdict.WRONG_BOOT
    assert session.deadline_s <= 2.3 + STOP_AGAIN_S


def test_answers_of_one_that_is_no_more_are_not_told() -> None:
    session = known()
    arm(session, 2.1)
    restart(session, 2.15)
    _, happenings = session.poll(2.2)
    assert happenings == []


# ------------------------------------------------------------- whatever comes


TEXTS = {"separated": BARE, "timeless": TIMELESS, "named": NAMED, "json": JSON}


def lines_of(name: str, number: int) -> str:
    return {
        "separated": line(number * 12_500),
        "timeless": f"{number}.25,11100,3.200,ok\n",
        "named": f"load={number}.5 tacho=700\n",
        "json": f'{{"load": {number}.5, "tacho": 700}}\n',
    }[name]


pieces = st.one_of(
    st.binary(max_size=60),
    st.text(st.sampled_from('0123456789.,-+eE "{}:=\r\n\t#nak'), max_size=60).map(
        lambda text: text.encode()
    ),
    st.integers(0, 99).map(lambda n: ("line", n)),
    st.integers(1, 30).map(lambda n: ("cut", n)),
)


@pytest.mark.parametrize("name", TEXTS)
@given(parts=st.lists(pieces, max_size=30), ends=st.sampled_from(["\n", "\r\n", "\r"]))
def test_only_whole_lines_become_samples_and_each_line_is_counted(
    name: str, parts: Sequence[bytes | tuple[str, int]], ends: str
) -> None:
    description = described(TEXTS[name])
    session = LineSession(description, begins_whole=True)
    now_s, data, found = 0.0, b"", 0
    for number, part in enumerate(parts):
        if isinstance(part, tuple):
            whole = lines_of(name, number).replace("\n", ends)
            came = (whole if part[0] == "line" else whole[: part[1]]).encode()
        else:
            came = part
        now_s += 0.0125
        data += came
        happenings = session.receive(came, now_s)
        found += len(sampled(happenings))
        assert len(session._lines._rest) <= MAX_LINE + 1
    every = [x for x in data.replace(b"\r", b"\n").split(b"\n")[:-1] if x]
    health = session.health
    assert health.frames == found <= len(every)
    passed = health.malformed + health.unknown + session.reader.skipped
    blank = sum(1 for x in every if not x.strip(b" "))
    simulated = every.count(SIMULATED_LINE.encode())
    assert found + passed + blank + simulated == len(every)


@pytest.mark.parametrize("name", TEXTS)
@given(
    damage=st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), max_size=5),
    cuts=st.lists(st.integers(0, 10_000), max_size=12),
    bite=st.integers(1, 40),
)
@settings(max_examples=30)
def test_the_same_bytes_cut_otherwise_give_the_same_samples(
    name: str, damage: list[tuple[int, int]], cuts: list[int], bite: int
) -> None:
    description = described(TEXTS[name])
    data = bytearray("".join(lines_of(name, n) for n in range(12)).encode())
    for place, value in damage:
        data[place % len(data)] = value
    places = sorted({place % len(data) for place in cuts} | {0, len(data)})
    cut = [bytes(data[a:b]) for a, b in pairwise(places)]
    small = [bytes(data[n : n + bite]) for n in range(0, len(data), bite)]
    results = [counts_of(description, parts) for parts in ([bytes(data)], cut, small)]
    assert results[0] == results[1] == results[2]


def counts_of(
    description: Description, parts: list[bytes]
) -> tuple[list[tuple[object, ...]], s.Health]:
    session = LineSession(description, begins_whole=True)
    own = description.time is not None
    found: list[tuple[object, ...]] = [
        (sample.counts, sample.device_s if own else None)
        for part in parts
        for sample in sampled(session.receive(part, 5.0))
    ]
    return found, session.health


@given(st.lists(st.binary(min_size=1, max_size=900), max_size=20))
def test_nothing_is_sampled_from_noise_and_nothing_is_kept(parts: list[bytes]) -> None:
    session = LineSession(described(BARE))
    for n, part in enumerate(parts):
        assert sampled(session.receive(part, n * 0.1)) == []
    assert len(session._pending) == 0
    assert len(session._lines._rest) <= MAX_LINE + 1


def test_memory_is_bounded_whatever_is_sent_and_heard() -> None:
    session = known()
    for n in range(2_000):
        now_s = 3.0 + n * 0.01
        session.receive(b"x" * 700, now_s)
        session.send(m.Stop(m.StopReason.FAULT), now_s)
        session.poll(now_s)
    assert session._pending == []
    assert session._stand_in.events(0) == []
    assert len(session._lines._rest) <= MAX_LINE + 1
    assert session.poll(3.0 + 20.0 + STOP_FOR_S)[1] == []


def test_boots_are_counted_in_what_a_message_holds() -> None:
    session = known(WHOLE)
    session._restarts = 0xFFFF - 1  # so many were noticed
    session.reader._clock.restarts = 0xFFFF - 1  # type: ignore[union-attr]
    restart(session, 2.1)
    assert session.stand is not None
    assert 1 <= session.stand.identity.boot <= 0xFFFF
    assert session.stand.identity.boot == session._stand_in.boot
