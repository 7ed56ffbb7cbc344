"""Readings are counted: what comes more slowly than stated is said."""

from collections.abc import Iterator

import pytest

from daq.firmware.lockstep import Lockstep
from daq.link import session as s
from tests import built
from ui.cli.heard import Heard

LOOK_S = 0.5


class Watched:
    """The firmware's host build, watched in its own time."""

    def __init__(self) -> None:
        self.board = Lockstep([str(built.host())])
        self.session, self.heard = s.Session(), Heard()
        self.session.identify(0.0)
        self.pass_s(1.0)
        self.heard.slow(self.now_s)

    @property
    def now_s(self) -> float:
        return self.board.now_us * 1e-6

    def pass_s(self, duration_s: float) -> None:
        for _ in range(round(duration_s / 0.01)):
            write, happenings = self.session.poll(self.now_s)
            self.board.send(write)
            happenings += self.session.receive(self.board.run(10_000).sent, self.now_s)
            for happening in happenings:
                if isinstance(happening, s.Sampled):
                    self.heard.take(happening)

    def look(self) -> dict[str, tuple[float, float]]:
        self.pass_s(LOOK_S)
        return self.heard.slow(self.now_s)


@pytest.fixture
def watched() -> Iterator[Watched]:
    made = Watched()
    yield made
    made.board.close()


def test_a_stand_that_keeps_its_rates_is_not_spoken_of(watched: Watched) -> None:
    assert watched.look() == {}
    assert {"thrust", "current", "reference"} <= set(watched.heard.newest)


def test_a_converter_left_at_ten_a_second_is(watched: Watched) -> None:
    watched.board.ask("cell-us 100000")
    watched.look()
    slow = watched.look()
    assert list(slow) == ["thrust"]
    assert slow["thrust"] == pytest.approx((10.0, 80.0), abs=1.0)


def test_one_that_fell_silent_is_slower_still(watched: Watched) -> None:
    watched.board.ask("cell off")
    watched.look()
    assert watched.look()["thrust"] == (0.0, 80.0)


def test_too_few_to_tell_are_not_judged(watched: Watched) -> None:
    """Ten a second of the supply's channel: in half a second five or four come."""
    watched.board.ask("hang 1")
    watched.pass_s(0.2)
    assert "reference" not in watched.heard.slow(watched.now_s)
