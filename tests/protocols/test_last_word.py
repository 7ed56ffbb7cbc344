"""The second process: it speaks when its keeper cannot, and not otherwise."""

import os
import select
import signal
import socket
import subprocess
import sys
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

import pytest

from daq.clock import JumpingClock
from daq.link.columns.stand_in import stop_words
from daq.machine_clock import MachineClock
from daq.records.wirelog import NAME, Kind, Record, WireLog
from protocols import last_word as module
from protocols.keeper import UNWATCHED, WAIT_MAX_S, Keeper, stopped_for_sure
from protocols.last_word import (
    AT_REST,
    FAREWELL,
    MAY_TURN,
    PATIENCE_S,
    STOPS,
    LastWord,
    listen,
    say_stop_on,
)
from protocols.outcome import Ended
from protocols.phases import Phase
from tests.lined import described, spin_on_lines

STOP = b"S\nT0.0\n"
FAST_S = 0.002
CLOCK = MachineClock()
ROOT = Path(__file__).parents[2]


def closed(*descriptors: int) -> None:
    """Closed now, if they were not before."""
    for descriptor in descriptors:
        with suppress(OSError):
            os.close(descriptor)


# ------------------------------------------------------------- listening


@dataclass
class Pipe:
    """The keeper's beats, and whether stop was said."""

    heard: int
    beats: int
    said: int = 0

    def say_stop(self) -> None:
        self.said += 1

    def listen(self) -> bool:
        return listen(self.heard, self.say_stop)


@pytest.fixture
def pipe() -> Iterator[Pipe]:
    made = Pipe(*os.pipe())
    yield made
    closed(made.heard, made.beats)


@pytest.mark.parametrize(
    ("beats", "is_said"),
    [
        (b"", False),
        (AT_REST, False),
        (MAY_TURN, True),
        (AT_REST * 9 + MAY_TURN, True),
        (MAY_TURN * 9 + AT_REST, False),
        (MAY_TURN + FAREWELL, False),
        (AT_REST + FAREWELL, False),
        (MAY_TURN * 9000, True),
        (MAY_TURN * 9000 + AT_REST, False),
        (MAY_TURN * 4096 + FAREWELL, False),
    ],
    ids=lambda x: f"{x[:2]!r}...{x[-2:]!r}" if isinstance(x, bytes) else "",
)
def test_the_last_beat_before_its_end_decides(
    pipe: Pipe, beats: bytes, *, is_said: bool
) -> None:
    os.write(pipe.beats, beats)
    os.close(pipe.beats)
    assert pipe.listen() is is_said
    assert pipe.said == is_said


def test_silence_while_the_motor_may_turn_is_a_stop(
    pipe: Pipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", FAST_S)
    os.write(pipe.beats, MAY_TURN)
    assert pipe.listen()
    assert pipe.said == 1


def test_silence_at_rest_is_waited_out(
    pipe: Pipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", FAST_S)
    os.write(pipe.beats, MAY_TURN + AT_REST)
    later = threading.Timer(30 * FAST_S, os.close, (pipe.beats,))
    later.start()
    assert not pipe.listen()
    later.join()
    assert pipe.said == 0


def test_beats_in_time_keep_it_quiet(
    pipe: Pipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.5)

    def keep() -> None:
        for _ in range(12):
            os.write(pipe.beats, MAY_TURN)
            CLOCK.sleep(0.05)
        os.write(pipe.beats, FAREWELL)

    beating = threading.Thread(target=keep)
    beating.start()
    assert not pipe.listen()
    beating.join()
    assert pipe.said == 0


def test_a_keeper_learns_before_the_stop_is_said_that_nobody_hears_it(
    pipe: Pipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", FAST_S)
    os.write(pipe.beats, MAY_TURN)

    def say_stop() -> None:
        with pytest.raises(BrokenPipeError):
            os.write(pipe.beats, MAY_TURN)
        pipe.said += 1

    assert listen(pipe.heard, say_stop)
    assert pipe.said == 1


def test_the_figures_are_those_that_are_told() -> None:
    # A keeper that waits its longest has been heard twice by then.
    assert WAIT_MAX_S * 2 < PATIENCE_S == 0.6
    assert (STOPS, module.AGAIN_S) == (40, 0.05)  # two seconds of it
    assert module.TRIES == 400  # and twenty where the port takes nothing
    assert module.END_S == 1.0


# ------------------------------------------------------------- saying it


@dataclass
class Line:
    """A pseudo-terminal: a port, and the stand's end of it."""

    stand: int
    port: int
    name: str
    heard: bytearray = field(default_factory=bytearray)

    def hear(self, seconds: float) -> bytes:
        """What arrives within that time."""
        end_s = CLOCK.now_s() + seconds
        while (left_s := end_s - CLOCK.now_s()) > 0:
            if select.select([self.stand], [], [], left_s)[0]:
                self.heard += os.read(self.stand, 65_536)
        return bytes(self.heard)

    def hear_until(self, what: Callable[[bytes], bool], seconds: float = 10.0) -> None:
        """Until that is so."""
        end_s = CLOCK.now_s() + seconds
        while not what(self.hear(0.02)):
            assert CLOCK.now_s() < end_s, bytes(self.heard)

    def fill(self, text: bytes) -> int:
        """Write until it takes no more; how many bytes it took."""
        taken = 0
        try:
            while True:
                taken += os.write(self.port, text)
        except BlockingIOError:
            return taken


@pytest.fixture
def line() -> Iterator[Line]:
    stand, port = os.openpty()
    tty.setraw(port)
    os.set_blocking(port, False)
    made = Line(stand, port, os.ttyname(port))
    yield made
    closed(stand, port)


@pytest.fixture
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "AGAIN_S", FAST_S)
    monkeypatch.setattr(module, "STOPS", 5)
    monkeypatch.setattr(module, "TRIES", 20)


@pytest.mark.usefixtures("quickly")
def test_stop_is_said_again_and_again(line: Line) -> None:
    say_stop_on(line.port, STOP)
    assert line.hear(0.05) == STOP * 5


@pytest.mark.usefixtures("quickly")
def test_throttles_that_wait_in_the_driver_are_taken_back_first(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Not every system's pseudo-terminals do it; that it is asked for is seen.
    asked: list[tuple[int, int, bytes]] = []

    def flush(port: int, queue: int) -> None:
        asked.append((port, queue, line.hear(FAST_S)))
        raise termios.error("not here")

    monkeypatch.setattr(termios, "tcflush", flush)
    say_stop_on(line.port, STOP)
    assert asked == [(line.port, termios.TCOFLUSH, b"")]
    assert line.hear(0.05) == STOP * 5


@pytest.mark.usefixtures("quickly")
def test_it_is_heard_behind_what_was_not_read(line: Line) -> None:
    assert line.fill(b"T60.0\n") > 1000
    speaking = threading.Thread(target=say_stop_on, args=(line.port, STOP))
    speaking.start()
    line.hear_until(lambda heard: heard.endswith(STOP))
    speaking.join(5.0)


@pytest.mark.usefixtures("quickly")
def test_a_port_that_takes_nothing_is_tried_for_a_while() -> None:
    # A socket's unsent bytes cannot be taken back; nobody reads the other end.
    port, stand = socket.socketpair()
    with port, stand:
        port.setblocking(False)
        try:
            while True:
                port.send(b"T60.0\n")
        except BlockingIOError:
            pass
        say_stop_on(port.fileno(), STOP)
        stand.setblocking(False)
        assert stand.recv(1 << 24).startswith(b"T60.0")


def test_a_port_that_is_read_again_hears_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "AGAIN_S", FAST_S)
    monkeypatch.setattr(module, "STOPS", 5)
    port, stand = socket.socketpair()
    with port, stand:
        port.setblocking(False)
        try:
            while True:
                port.send(b"T60.0\n")
        except BlockingIOError:
            pass
        speaking = threading.Thread(target=say_stop_on, args=(port.fileno(), STOP))
        speaking.start()
        CLOCK.sleep(10 * FAST_S)
        heard = b""
        while not heard.endswith(STOP * 5):
            heard += stand.recv(1 << 20)
        speaking.join(5.0)
        assert not speaking.is_alive()


@pytest.mark.usefixtures("quickly")
def test_what_was_taken_in_part_is_said_to_its_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    written = bytearray()

    def three(_: int, data: bytes) -> int:
        written.extend(data[:3])
        return len(data[:3])

    monkeypatch.setattr(os, "write", three)
    port, stand = os.pipe()
    say_stop_on(port, STOP)
    monkeypatch.undo()
    os.close(port)
    os.close(stand)
    assert bytes(written) == STOP * 5


def test_a_port_that_is_gone_is_left(line: Line) -> None:
    os.close(line.stand)
    begun_s = CLOCK.now_s()
    say_stop_on(line.port, STOP)
    assert CLOCK.now_s() - begun_s < 1.0
    os.close(line.port)
    say_stop_on(line.port, STOP)


# ------------------------------------------------------------- the real process

KEEPER = """
import os, sys, time
from protocols.last_word import LastWord
port = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
watched = LastWord(port, bytes.fromhex(sys.argv[2]))
print(watched.process.pid, flush=True)
while True:
    watched.beat(may_turn=True)
    time.sleep(0.1)
"""


def test_a_keeper_that_is_killed_leaves_a_stop_behind(line: Line) -> None:
    keeper = subprocess.Popen(
        [sys.executable, "-c", KEEPER, line.name, STOP.hex()],
        stdout=subprocess.PIPE,
        cwd=ROOT,
    )
    with keeper:
        assert keeper.stdout is not None
        speaker = os.pidfd_open(int(keeper.stdout.readline()))
        assert line.hear(0.8) == b""
        keeper.send_signal(signal.SIGKILL)
        killed_s = CLOCK.now_s()
        line.hear_until(lambda heard: STOP in heard)
        assert CLOCK.now_s() - killed_s < 0.5
        line.hear_until(lambda heard: heard == STOP * STOPS)
        assert select.select([speaker], [], [], 5.0)[0]  # and it ends
        os.close(speaker)


@pytest.fixture
def watched(line: Line) -> Iterator[LastWord]:
    made = LastWord(line.port, STOP)
    yield made
    made.process.kill()
    made.process.wait()
    closed(made._beats)


def test_a_keeper_that_hangs_is_spoken_for_and_learns_of_it(
    line: Line, watched: LastWord
) -> None:
    for _ in range(8):
        assert watched.beat(may_turn=True)
        assert line.hear(0.1) == b""
    silent_s = CLOCK.now_s()
    line.hear_until(lambda heard: STOP in heard)
    assert CLOCK.now_s() - silent_s < PATIENCE_S + 0.5
    assert not watched.beat(may_turn=True)
    assert not watched.beat(may_turn=False)


def test_at_rest_it_may_be_silent_for_as_long_as_it_likes(
    line: Line, watched: LastWord
) -> None:
    watched.beat(may_turn=True)
    watched.beat(may_turn=False)
    assert line.hear(PATIENCE_S + 0.3) == b""
    assert watched.beat(may_turn=False)
    watched.farewell()
    assert line.hear(0.1) == b""
    assert watched.process.returncode == 0


def test_after_a_farewell_nothing_is_said(line: Line, watched: LastWord) -> None:
    watched.beat(may_turn=True)
    watched.farewell()
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(watched._beats)
    assert watched.process.returncode == 0
    assert line.hear(0.2) == b""


def test_a_motor_that_nobody_saw_stop_is_told_on(line: Line, watched: LastWord) -> None:
    watched.beat(may_turn=False)
    watched.hand_over()
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(watched._beats)
    line.hear_until(lambda heard: heard.startswith(STOP * 2))


def test_it_is_known_when_it_has_died(line: Line, watched: LastWord) -> None:
    assert watched.beat(may_turn=True)
    watched.process.kill()
    watched.process.wait()
    assert not watched.beat(may_turn=True)
    watched.farewell()


def test_one_that_is_frozen_holds_up_no_end(line: Line, watched: LastWord) -> None:
    watched.process.send_signal(signal.SIGSTOP)
    for _ in range(100_000):  # more than a pipe holds
        assert watched.beat(may_turn=True)
    watched.farewell()
    assert watched.process.returncode == -signal.SIGKILL


def test_ctrl_c_in_the_terminal_does_not_reach_it(
    line: Line, watched: LastWord
) -> None:
    assert os.getpgid(watched.process.pid) != os.getpgid(0)
    watched.beat(may_turn=True)
    assert line.hear(0.3) == b""  # it has begun
    watched.process.send_signal(signal.SIGINT)
    assert watched.beat(may_turn=True)
    watched.farewell()
    assert watched.process.returncode == 0


def test_what_cannot_be_started_leaves_nothing_open(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = len(list(Path("/proc/self/fd").iterdir()))
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with pytest.raises(OSError, match="nowhere"):
        LastWord(line.port, STOP)
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_the_port_s_settings_are_left_alone(line: Line, watched: LastWord) -> None:
    before = termios.tcgetattr(line.port)
    watched.hand_over()
    line.hear_until(lambda heard: STOP in heard)
    assert termios.tcgetattr(line.port) == before


# ------------------------------------------------------------- the keeper's side


@dataclass
class FakeWord:
    """In the second process's place.

    Attributes:
        heard: what was beaten.
        there: whether anybody hears it.
    """

    heard: list[bool] = field(default_factory=list)
    there: bool = True

    def beat(self, *, may_turn: bool) -> bool:
        self.heard.append(may_turn)
        return self.there


@dataclass
class Written:
    """A port that keeps what is written to it."""

    name: str = "port"
    descriptor: int | None = None
    texts: list[bytes] = field(default_factory=list)

    def read(self) -> bytes:
        return b""

    def write(self, data: bytes) -> None:
        self.texts.append(data)

    def close(self) -> None:
        """Nothing to let go of."""


def test_one_that_nobody_watches_over_stops_before_anything_else(
    tmp_path: Path,
) -> None:
    spin = spin_on_lines()
    while spin.control.phase is not Phase.RUNNING or spin.elapsed_s < 9.0:
        spin.step()
        assert spin.elapsed_s < 60.0
    port, word = Written(), FakeWord()
    log = WireLog(tmp_path / NAME)
    keeper = Keeper(
        spin.control, port, log, JumpingClock(), last_word=cast(LastWord, word)
    )
    # As before a freeze: what waits in the queue is old, and its throttle is due.
    stale_ns = spin.host_ns + 20_000_000
    keeper._take(Record(Kind.TICK, stale_ns, b""))
    assert word.heard == [True, True]
    word.there = False
    port.texts.clear()
    keeper._take(Record(Kind.TICK, stale_ns + 180_000_000, b""))
    assert port.texts[0] == stop_words(described())
    assert set(port.texts) == {stop_words(described())}
    for n in range(200):
        keeper._take(Record(Kind.TICK, stale_ns + 200_000_000 + n * 20_000_000, b""))
    assert set(port.texts) == {stop_words(described())}
    outcome = spin.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.FAILED
    assert (outcome.check, outcome.cause) == ("unwatched", UNWATCHED)
    log.close()


def test_the_motor_counts_as_one_that_may_turn_until_it_was_seen_at_rest(
    tmp_path: Path,
) -> None:
    spin = spin_on_lines()
    beats: dict[Phase, set[bool]] = {}
    word = FakeWord()
    log = WireLog(tmp_path / NAME)
    keeper = Keeper(
        spin.control, Written(), log, JumpingClock(), last_word=cast(LastWord, word)
    )
    while not stopped_for_sure(spin.control):
        assert spin.elapsed_s < 60.0
        spin.step()
        assert keeper._beat()
        beats.setdefault(spin.control.phase, set()).add(word.heard[-1])
    at_rest = {phase for phase, told in beats.items() if told == {False}}
    turning = {phase for phase, told in beats.items() if told == {True}}
    assert at_rest >= {Phase.IDENTIFYING, Phase.ZEROING, Phase.LIMITING, Phase.ENDED}
    assert turning == {Phase.TRYING, Phase.ARMING, Phase.RUNNING, Phase.LINGERING} | (
        turning & {Phase.LOCKING, Phase.STOPPING}
    )
    assert at_rest | turning == set(beats)
    log.close()


def test_a_run_that_ended_unseen_still_counts_as_one_that_may_turn(
    tmp_path: Path,
) -> None:
    spin = spin_on_lines()
    spin.at_walk(4.0, lambda spin: setattr(spin, "cable", False))
    spin.run(60.0)
    word, log = FakeWord(), WireLog(tmp_path / NAME)
    keeper = Keeper(
        spin.control, Written(), log, JumpingClock(), last_word=cast(LastWord, word)
    )
    assert spin.control.phase is Phase.ENDED
    assert keeper._beat()
    assert word.heard == [True]
    assert not stopped_for_sure(spin.control)
    log.close()


def test_where_there_can_be_none_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.lined import described
    from ui import cautions

    assert module.NONE_HERE not in cautions.lacks_of(described())
    monkeypatch.setattr(cautions, "THERE_IS_ONE", False)
    assert cautions.lacks_of(described())[-1] == module.NONE_HERE


def test_a_machine_that_ends_nothing_in_time_keeps_nobody_from_the_seal(
    watched: LastWord, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(timeout: float | None = None) -> int:
        raise subprocess.TimeoutExpired("it", timeout or 0.0)

    with monkeypatch.context() as stalled:
        stalled.setattr(watched.process, "wait", never)
        watched.farewell()
    watched.process.wait(5.0)  # it has ended, by its farewell or by the kill
