"""A port that is watched, in virtual time, with a simulated stand behind it."""

import math
import threading
from collections.abc import Iterator
from queue import Empty, SimpleQueue

import pytest

from daq.clock import JumpingClock
from daq.link.messages import State
from daq.link.ports import PortLost
from daq.stand.device import TICK_S, Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from ui.desktop.model.heard import Heard
from ui.desktop.model.watching import Watching


class Line:
    """A port with a device behind it that lives when it is told to."""

    name = "line"
    descriptor: int | None = None

    def __init__(self, device: Device) -> None:
        self.device = device
        self.said: SimpleQueue[bytes | None] = SimpleQueue()
        self.taken = threading.Semaphore(0)

    def read(self) -> bytes:
        try:
            data = self.said.get(timeout=0.05)
        except Empty:
            return b""
        if data is None:
            raise PortLost("The port line is gone.")
        self.taken.release()
        return data

    def write(self, data: bytes) -> None:
        self.device.receive(data)

    def close(self) -> None:
        pass


class Bench:
    def __init__(self) -> None:
        self.clock = JumpingClock()
        self.device = Device(Plant(shipped_truth(), 1))
        self.line = Line(self.device)
        self.watching = Watching("line", lambda: self.line, self.clock)

    def live(self, seconds: float, step_s: float = 0.02) -> None:
        """Let time pass on both sides."""
        for _ in range(round(seconds / step_s)):
            self.clock.sleep(step_s)
            sent = self.device.advance(round(step_s / TICK_S))
            if sent:
                self.line.said.put(sent)
                assert self.line.taken.acquire(timeout=5.0)
            self.settle()
            self.watching.step()

    def settle(self) -> None:
        """Until the thread has handed over what it read."""
        for _ in range(200):
            if self.line.said.empty() and self.watching._came.qsize():
                return
            threading.Event().wait(0.001)


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench()
    yield made
    made.watching.close()


def heard_of(bench: Bench) -> Heard:
    return bench.watching.heard


def test_a_stand_is_known_and_read(bench: Bench) -> None:
    bench.live(1.0)
    heard, now_s = heard_of(bench), bench.clock.now_s()
    assert heard.stand is not None
    assert heard.state is State.LOCKED
    assert heard.reading("voltage", now_s).value == pytest.approx(12.6, abs=0.2)
    assert heard.reading("voltage", now_s).age_s < 0.1
    assert math.isnan(heard.reading("nothing such", now_s).value)
    assert bench.watching.trouble is None


def test_rates_and_losses_are_those_of_lately(bench: Bench) -> None:
    bench.live(3.0)
    heard, now_s = heard_of(bench), bench.clock.now_s()
    assert heard.rate_hz("current", now_s) == pytest.approx(500, rel=0.05)
    assert heard.nominal_hz("current") == pytest.approx(500)
    assert heard.rate_hz("thrust", now_s) == pytest.approx(80, rel=0.1)
    assert heard.lost_share(now_s) == 0.0
    bench.line.said.put(b"\x05damaged\x00" * 40)
    assert bench.line.taken.acquire(timeout=5.0)
    bench.live(0.1)
    assert 0.01 < heard.lost_share(bench.clock.now_s()) < 0.1
    bench.live(2.5)
    assert heard.lost_share(bench.clock.now_s()) == 0.0


def test_a_reading_that_is_old_is_not_the_present_one(bench: Bench) -> None:
    bench.live(1.0)
    bench.clock.sleep(2.0)
    reading = heard_of(bench).reading("voltage", bench.clock.now_s())
    assert math.isnan(reading.value)
    assert reading.age_s > 1.5


def test_a_port_that_goes_away_is_told(bench: Bench) -> None:
    bench.live(0.5)
    bench.line.said.put(None)
    for _ in range(200):
        bench.watching.step()
        if bench.watching.trouble:
            break
        threading.Event().wait(0.005)
    assert bench.watching.trouble is not None
    assert "is gone" in bench.watching.trouble.sentence


def test_something_that_is_no_stand_is_told(bench: Bench) -> None:
    def babble(_: int) -> bytes:
        return b"hello, I print lines\r\n"

    bench.device.advance = babble  # type: ignore[method-assign, assignment]
    bench.live(3.5)
    assert bench.watching.trouble is not None
    assert "no gramwatt stand" in bench.watching.trouble.sentence
    assert "describe" in bench.watching.trouble.advice


def test_zeros_shift_what_is_shown(bench: Bench) -> None:
    bench.live(1.0)
    now_s = bench.clock.now_s()
    before = heard_of(bench).reading("thrust", now_s).value
    heard_of(bench).zero({"thrust": before})
    bench.live(0.5)
    after = heard_of(bench).reading("thrust", bench.clock.now_s()).value
    assert abs(after) < 0.1 * abs(before)


def test_a_restart_is_counted_and_readings_go_on(bench: Bench) -> None:
    from daq.link.messages import Cause

    bench.live(1.0)
    bench.device.reset(Cause.WATCHDOG)
    bench.live(1.0)
    assert heard_of(bench).restarts == 1
    assert heard_of(bench).state is State.LOCKED
    assert heard_of(bench).reading("voltage", bench.clock.now_s()).age_s < 0.1


def test_a_stop_latches_and_is_acknowledged(bench: Bench) -> None:
    bench.live(0.5)
    bench.watching.stop()
    bench.live(0.3)
    assert heard_of(bench).state is State.TRIPPED
    bench.watching.acknowledge()
    bench.live(0.3)
    assert heard_of(bench).state is State.LOCKED
