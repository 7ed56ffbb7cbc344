"""The desk on a served stand: connecting, losing, sharing and leaving a port."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daq.errors import InputFault
from daq.link import messages as m
from daq.machine_clock import MachineClock
from tests.served import Bench, served
from ui.desktop.model.desk import STATES, Desk

PATIENCE_S = 15.0


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with served(tmp_path) as made:
        yield made


@pytest.fixture
def desk() -> Iterator[Desk]:
    made = Desk(MachineClock())
    yield made
    made.close()


def until(desk: Desk, so: Callable[[], object]) -> None:
    clock = MachineClock()
    end_s = clock.now_s() + PATIENCE_S
    while not so():
        assert clock.now_s() < end_s, "it did not come"
        desk.step()
        clock.sleep(0.01)


def known(desk: Desk, bench: Bench) -> None:
    desk.connect(bench.server.name, 500_000)
    until(desk, lambda: desk.heard.stand is not None and not desk.busy)


def test_a_stand_is_found_and_left_again(desk: Desk, bench: Bench) -> None:
    assert desk.state_words() == STATES[m.State.UNKNOWN]
    assert desk.link_words() == ("neutral", "not connected")
    known(desk, bench)
    until(desk, lambda: desk.heard.rate_hz("current", desk.now_s) > 100)
    assert desk.state_words().word == "Locked"
    assert desk.simulated
    assert not desk.keys_stop
    meaning, words = desk.link_words()
    assert meaning == "good"
    assert words.endswith("in all")
    desk.disconnect()
    assert desk.heard.stand is None
    assert desk.chosen is None


def test_two_windows_on_one_port(desk: Desk, bench: Bench) -> None:
    known(desk, bench)
    other = Desk(MachineClock())
    try:
        other.connect(bench.server.name, 500_000)
        until(other, lambda: other.trouble)
        assert other.trouble is not None
        assert "Another program has" in other.trouble.sentence
    finally:
        other.close()
    until(desk, lambda: desk.heard.rate_hz("current", desk.now_s) > 100)


def test_a_port_that_is_pulled_out_is_told_and_nothing_freezes(
    desk: Desk, bench: Bench
) -> None:
    known(desk, bench)
    bench.server.end()
    until(desk, lambda: desk.trouble)
    assert desk.trouble is not None
    assert "is gone" in desk.trouble.sentence
    desk.disconnect()
    assert desk.trouble is None


def test_a_stand_that_begins_again_is_known_again(desk: Desk, bench: Bench) -> None:
    known(desk, bench)
    bench.server.between_ticks(lambda d: d.reset(m.Cause.BROWN_OUT))
    until(desk, lambda: desk.heard.restarts == 1)
    until(desk, lambda: desk.state_words().word == "Locked")


def test_stop_and_acknowledge_while_nothing_is_spun(desk: Desk, bench: Bench) -> None:
    known(desk, bench)
    desk.stop()
    until(desk, lambda: desk.state_words().word == "Tripped")
    desk.acknowledge()
    until(desk, lambda: desk.state_words().word == "Locked")


def test_what_is_waited_for_can_be_given_up(desk: Desk, bench: Bench) -> None:
    desk.simulate()
    assert desk.busy
    desk.disconnect()
    assert not desk.busy
    known(desk, bench)


@pytest.mark.parametrize(
    ("port", "words"),
    [
        ("/dev/there-is-none", "There is no port"),
        ("socket://nowhere", "not of the form socket://host:port"),
    ],
)
def test_a_port_that_does_not_open_is_a_sentence(
    desk: Desk, port: str, words: str
) -> None:
    desk.connect(port, 500_000)
    until(desk, lambda: desk.trouble)
    assert desk.trouble is not None
    assert words in desk.trouble.sentence


def test_a_description_that_is_wrong_is_told_before_the_port_is_opened(
    desk: Desk, bench: Bench, tmp_path: Path
) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("format = 7\n")
    with pytest.raises(InputFault, match=r"format"):
        desk.connect(bench.server.name, 500_000, wrong)
    assert desk.chosen is None
