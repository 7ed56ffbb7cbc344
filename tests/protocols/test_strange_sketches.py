"""Sketches of strangers: slow, deaf for a while, talkative, with ideas of their own.

Common practice, no source: all of these are seen on benches.
"""

import json
from collections import deque
from itertools import pairwise
from typing import cast

import pytest
from typing_extensions import override

from daq.records.wirelog import Kind
from daq.stand.device import Device
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.outcome import Ended
from protocols.phases import Phase
from protocols.task import Task
from tests.lined import DESCRIPTION, described, slow, timeless
from tests.spins import LIMITS, NONCE, plan
from tests.virtual import VirtualSpin


class Sketch(LineStand):
    """One of them; an ordinary one.

    Attributes:
        heard: whole lines that came, with when.
    """

    def begin(self) -> None:
        self.heard: list[tuple[float, str]] = []

    @override
    def _obey(self, line: str) -> None:
        self.heard.append((self._now_s, line))
        self.take(line)

    def take(self, line: str) -> None:
        super()._obey(line)


def spun(kind: type[Sketch], text: str = DESCRIPTION) -> tuple[VirtualSpin, Sketch]:
    """A spin on such a sketch that has not begun."""
    hardware = FaultyStand(Plant(shipped_truth(), 1), (), seed=1)
    stand = kind(hardware, described(text))
    stand.begin()
    task = Task(plan((0.3, 0.5)), LIMITS, NONCE, lines=text)
    return VirtualSpin(Control(task, "test port"), cast(Device, stand)), stand


def noted(spin: VirtualSpin, kind: str) -> list[dict[str, object]]:
    told = [json.loads(r.data) for r in spin.records if r.kind is Kind.NOTE]
    return [note for note in told if note["note"] == kind]


# ------------------------------------------------------------- before anything


def test_a_motor_that_turns_from_before_is_stopped_before_the_zeros() -> None:
    spin, sketch = spun(Sketch)
    sketch.advance(3000)
    sketch.receive(b"T30.0\n")  # whoever drove it was killed
    sketch.advance(500)
    seen: list[float] = []
    while spin.control.phase is not Phase.ZEROING:
        spin.step()
        seen.append(sketch.throttle_frac)
        assert spin.elapsed_s < 20.0
        if not spin.records:
            spin._input(Kind.TICK, b"")
    assert seen[0] == pytest.approx(0.3)
    assert seen[-1] == 0.0
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED


# ------------------------------------------------------------- slow ones


class OneALine(Sketch):
    """Reads one command each time that it prints, and keeps the rest waiting."""

    @override
    def begin(self) -> None:
        super().begin()
        self.waiting: deque[str] = deque()
        self.longest = 0
        self._look_s = 0.0

    @override
    def take(self, line: str) -> None:
        self.waiting.append(line)
        self.longest = max(self.longest, len(self.waiting))

    @override
    def advance(self, ticks: int = 1) -> bytes:
        if self._now_s >= self._look_s:
            self._look_s += 1 / self.description.rate_hz
            if self.waiting:
                super().take(self.waiting.popleft())
        return super().advance(ticks)


@pytest.mark.parametrize("rate_hz", [10, 25])
def test_a_stop_does_not_wait_behind_throttles_that_were_not_read(
    rate_hz: float,
) -> None:
    spin, one = spun(OneALine, slow(rate_hz=rate_hz))
    sketch = cast(OneALine, one)
    waited: list[int] = []
    spin.at_walk(3.4, lambda spin: waited.append(len(sketch.waiting)))
    spin.at_walk(3.4, lambda spin: spin.order(order="stop"))
    while not waited:
        spin.step()
        if not spin.records:
            spin._input(Kind.TICK, b"")
        assert spin.elapsed_s < 60.0
        queued = len([x for x in sketch.waiting if x.startswith("T")])
        assert spin.control.phase is not Phase.RUNNING or queued <= 4
    assert waited[0] <= 4
    stopped_s = sketch._now_s
    while sketch.throttle_frac > 0.0:
        spin.step()
        assert sketch._now_s - stopped_s < 6 / rate_hz
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.stop_confirmed


@pytest.mark.parametrize("text", [slow(), timeless(slow())], ids=["clock", "no clock"])
def test_a_whole_plan_is_walked_on_a_slow_one(text: str) -> None:
    spin, sketch = spun(OneALine, text)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED, outcome.cause
    assert outcome.stop_confirmed
    assert sketch.throttle_frac == 0.0


# ------------------------------------------------------------- deaf ones


class Deaf(Sketch):
    """Hears nothing for a while from the first stop that is meant on."""

    deaf_s = 1.4
    from_s = float("inf")

    @override
    def take(self, line: str) -> None:
        if not self.from_s <= self._now_s < self.from_s + self.deaf_s:
            super().take(line)


class StoneDeaf(Deaf):
    """For good."""

    deaf_s = 1e9


def deafened(kind: type[Deaf]) -> tuple[VirtualSpin, Sketch]:
    spin, sketch = spun(kind)

    def stop(spin: VirtualSpin) -> None:
        cast(Deaf, sketch).from_s = sketch._now_s
        spin.order(order="stop")

    spin.at_walk(4.0, stop)
    return spin, sketch


def test_a_stop_is_said_until_the_motor_rests() -> None:
    spin, sketch = deafened(Deaf)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.STOPPED
    assert sketch.throttle_frac == 0.0
    assert outcome.stop_confirmed
    assert len(noted(spin, "still driven")) == 1  # that it ran on is on record


def test_one_that_never_hears_it_is_no_confirmed_stop() -> None:
    spin, sketch = deafened(StoneDeaf)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert sketch.throttle_frac > 0.0
    assert not outcome.stop_confirmed
    (looked,) = noted(spin, "looked on")
    assert looked["stopped"] is False
    from_s = cast(Deaf, sketch).from_s
    stops = [at_s - from_s for at_s, line in sketch.heard if line == "S"]
    said = [at_s for at_s in stops if at_s >= 0]
    assert said[0] < 0.01
    # Said to the end: no quarter of a second without it.
    gaps = [b - a for a, b in pairwise(said)]
    assert max(gaps) < 0.3
    assert said[-1] > 2.2


def test_a_port_that_is_lost_before_the_motor_was_seen_at_rest() -> None:
    spin, _ = deafened(StoneDeaf)
    while spin.control.phase is not Phase.LINGERING:
        spin.step()
        if not spin.records:
            spin._input(Kind.TICK, b"")
        assert spin.elapsed_s < 60.0
    spin.control.link_lost("The port is gone.")
    outcome = spin.control.outcome
    assert outcome is not None
    assert not outcome.stop_confirmed


# ------------------------------------------------------------- talkative ones


class Echoing(Sketch):
    """Sends back what it hears, as terminals do, and comments on it."""

    @override
    def begin(self) -> None:
        super().begin()
        self.echo = b""

    @override
    def take(self, line: str) -> None:
        self.echo += f"{line}\r\nok, {line}\r\n".encode()
        super().take(line)

    @override
    def advance(self, ticks: int = 1) -> bytes:
        printed = super().advance(ticks)
        if printed.endswith(b"\n") or not printed:
            printed, self.echo = printed + self.echo, b""
        return printed


@pytest.mark.parametrize("text", [DESCRIPTION, timeless()], ids=["clock", "no clock"])
def test_what_is_sent_back_is_neither_a_reading_nor_damage(text: str) -> None:
    spin, _ = spun(Echoing, text)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED, outcome.cause
    (health,) = noted(spin, "health")
    assert health["malformed"] == 0


class CarriageReturns(Sketch):
    """Ends its lines with a carriage return alone."""

    @override
    def advance(self, ticks: int = 1) -> bytes:
        return super().advance(ticks).replace(b"\n", b"\r")


class OwnIdeas(Sketch):
    """Stops its motor by itself above some throttle, says so, and prints on."""

    @override
    def take(self, line: str) -> None:
        super().take(line)
        if self.throttle_frac > 0.45:
            self.throttle_frac = 0.0

    @override
    def advance(self, ticks: int = 1) -> bytes:
        return super().advance(ticks).replace(b"# ", b"STOPPED: too much\n# ")


def test_carriage_returns_end_lines() -> None:
    spin, _ = spun(CarriageReturns)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED, outcome.cause


def test_one_that_stops_by_itself_is_seen_to() -> None:
    spin, sketch = spun(OwnIdeas)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.TRIPPED
    assert outcome.stop_confirmed
    assert sketch.throttle_frac == 0.0


class Resetting(Sketch):
    """Its stop text resets the board."""

    @override
    def take(self, line: str) -> None:
        super().take(line)
        if line == "S":
            self.restart()


def test_a_stop_that_resets_the_board_is_found_before_the_motor_turns() -> None:
    spin, sketch = spun(Resetting)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.ended is Ended.FAILED
    assert noted(spin, "armed") == []
    assert not any(line.startswith("T") and line != "T0.0" for _, line in sketch.heard)


class Rounding(Sketch):
    """Knows whole steps of five percent only."""

    @override
    def take(self, line: str) -> None:
        super().take(line)
        self.throttle_frac = round(self.throttle_frac * 20) / 20


def test_one_that_rounds_the_throttle_is_spun_or_stopped() -> None:
    spin, sketch = spun(Rounding)
    outcome = spin.run(60.0).outcome
    assert outcome is not None
    assert outcome.stop_confirmed
    assert outcome.ended in (Ended.COMPLETED, Ended.TRIPPED)
    assert sketch.throttle_frac == 0.0
