"""What holds for every kind of fault."""

import math
from dataclasses import FrozenInstanceError, fields

import pytest

from daq.errors import InputFault
from daq.stand.faults.article import LoosePlug, ThrownPropeller, WeakPack, WrongPack
from daq.stand.faults.board import Hang, LockUp, Reset
from daq.stand.faults.catalogue import KINDS
from daq.stand.faults.fault import LATEST_S, NEVER, Fault, describe, range_of
from daq.stand.faults.sensors import FrozenSensor, GlitchingSensor, OffsetSensor
from daq.stand.faults.wire import CableOut, LateChunks, LostBytes

EVERY_KIND = pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))


@EVERY_KIND
def test_every_kind_has_a_start_an_end_and_a_clause(kind: type[Fault]) -> None:
    fault = kind(start_s=1.5)
    assert fault.start_s == 1.5
    assert fault.end_s >= 1.5
    said = describe(fault)
    assert "1.5 s" in said
    assert said[0].islower() or said.startswith("ESC")
    assert not said.endswith(".")


@EVERY_KIND
def test_every_kind_is_a_value(kind: type[Fault]) -> None:
    assert kind(start_s=1.0) == kind(start_s=1.0) != kind(start_s=2.0)
    assert hash(kind()) == hash(kind())
    with pytest.raises((FrozenInstanceError, AttributeError, TypeError)):
        kind().start_s = 3.0  # type: ignore[misc]


@EVERY_KIND
@pytest.mark.parametrize("start_s", [-1e-9, math.nan, math.inf, 2 * LATEST_S])
def test_no_kind_starts_at_a_time_that_is_none(
    kind: type[Fault], start_s: float
) -> None:
    with pytest.raises(InputFault, match=rf"{kind.kind}: start_s is .* from 0 to"):
        kind(start_s=start_s)


@EVERY_KIND
def test_every_figure_of_every_kind_has_its_bounds_held(kind: type[Fault]) -> None:
    for item in fields(kind):
        allowed = range_of(item)
        if allowed is None:
            continue
        outside = (allowed.low - 1e-6 - 1, allowed.high * 2 + 1, math.nan, -math.inf)
        for value in outside:
            with pytest.raises(InputFault, match=rf"{kind.kind}: {item.name} is"):
                kind(**{item.name: value})
        for value in (allowed.low, allowed.high):
            kind(**{item.name: value})


@pytest.mark.parametrize("end_s", [1.9, -1.0, math.nan, -math.inf])
def test_an_end_before_the_start_is_refused(end_s: float) -> None:
    with pytest.raises(InputFault, match=r"hang: end_s is .* no less than start_s, 2"):
        Hang(2.0, end_s)


def test_words_that_are_none_are_refused_with_those_there_are() -> None:
    with pytest.raises(InputFault, match=r"frozen-sensor: channel is trust; .*thrust"):
        FrozenSensor(channel="trust")
    with pytest.raises(InputFault, match=r"direction is up; .*to-host or to-stand"):
        CableOut(direction="up")


def test_without_an_end_a_fault_stays() -> None:
    assert ThrownPropeller(3.0).end_s == NEVER


def test_a_moment_ends_when_the_board_runs_again() -> None:
    assert Reset(2.0, dark_s=0.5).end_s == 2.5
    assert LockUp(2.0, dark_s=0.5, watchdog_s=1.0).end_s == 3.5


@pytest.mark.parametrize(
    ("fault", "clause"),
    [
        (ThrownPropeller(12.0), "the propeller is off from 12 s on"),
        (WrongPack(cells=4), "the pack has 4 cells throughout"),
        (WeakPack(0.0, 5.0), "the pack has 3 times its resistance until 5 s"),
        (CableOut(2.0, 3.5), "the cable is out (both ways) from 2 s to 3.5 s"),
        (
            LostBytes(2.0, 3.0, "to-stand", rate_frac=0.01, burst_bytes=4),
            "bytes to the stand are lost (1 in 100, 4 in a row) from 2 s to 3 s",
        ),
        (
            LateChunks(1.0, direction="to-host", once=True),
            "bytes to the host are 0.05 s late (once) from 1 s on",
        ),
        (
            Reset(4.0, cause="watchdog"),
            "the stand resets (watchdog, back after 0.25 s) at 4 s",
        ),
        (
            LoosePlug(1.0),
            "the plug gains 0.02 ohm a second up to 0.5 ohm and opens 1 times a "
            "second from 1 s on",
        ),
    ],
)
def test_a_fault_is_told_in_one_clause(fault: Fault, clause: str) -> None:
    assert describe(fault) == clause


def test_a_mean_takes_the_extreme_of_its_sensor_along() -> None:
    assert OffsetSensor(channel="current").channels() == ("current", "current-high")
    assert FrozenSensor(channel="voltage").channels() == ("voltage", "voltage-low")
    assert GlitchingSensor(channel="voltage-low").channels() == ("voltage-low",)
