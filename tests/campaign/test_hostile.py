"""Hostile bytes in their short form; ``python -m tests.campaign.hostile`` is all."""

from collections.abc import Iterator

import pytest

from daq.link.framing import Deframer
from daq.machine_clock import MachineClock
from tests.campaign import hostile_frames, hostile_lines
from tests.campaign.assault import Growth, Tally, chunks, hold
from tests.campaign.hostile import GROWTH_MAX, assail
from tests.campaign.hostile_frames import MAKERS, SUBJECTS

FEW = 20_000
# A spin has to be brought to its phase for every few thousand bytes.
COSTLY = ("control, each phase", "stand, motor turning")


PAIRS = [
    (subject, kind)
    for i, subject in enumerate(SUBJECTS)
    for j, kind in enumerate(MAKERS)
    if (i + j) % 2 == 0
]


# Longer in CI than in every run of the tests.
SIZES = pytest.mark.parametrize(
    "few", [FEW // 4, pytest.param(FEW, marks=pytest.mark.slow)]
)


@SIZES
@pytest.mark.parametrize(("subject", "kind"), PAIRS)
def test_laws_hold_whatever_comes(subject: str, kind: str, few: int) -> None:
    size = few // 2 if subject in COSTLY else few
    result = assail(subject, kind, size, 3, MachineClock())
    assert result.broken == ""
    assert result.tally.bytes == size


LINE_PAIRS = [
    (subject, kind)
    for i, subject in enumerate(hostile_lines.SUBJECTS)
    for j, kind in enumerate(hostile_lines.MAKERS)
    if (i + j) % 2 == 0
]


@pytest.mark.parametrize(("subject", "kind"), LINE_PAIRS)
def test_laws_hold_for_lines_too(subject: str, kind: str) -> None:
    result = assail(subject, kind, FEW // 2, 3, MachineClock())
    assert result.broken == ""
    assert result.tally.bytes == FEW // 2


def test_printed_lines_are_taken_and_random_fields_are_too() -> None:
    taken = {
        kind: assail("line session", kind, FEW, 4, MachineClock()).tally.seen["sampled"]
        for kind in hostile_lines.MAKERS
    }
    assert taken["lines, cut and spliced"] > 50
    assert taken["lines of random fields"] > 50
    assert taken["random bytes"] == taken["random with line ends"] == 0


@pytest.mark.parametrize("kind", MAKERS)
def test_bytes_are_as_many_as_wanted_and_the_same_again(kind: str) -> None:
    first, second = (b"".join(chunks(MAKERS[kind], 9, 5_000)) for _ in range(2))
    assert first == second
    assert len(first) == 5_000
    assert first != b"".join(chunks(MAKERS[kind], 10, 5_000))


def test_traffic_is_understood_and_random_frames_are_too() -> None:
    read = {
        kind: assail("messages", kind, 12_000, 4, MachineClock()).tally.seen["read"]
        for kind in MAKERS
    }
    assert read["valid, cut and spliced"] > 200
    assert read["frames of random bodies"] > 150
    assert read["random bytes"] == 0


def test_a_session_that_keeps_what_it_hears_would_be_seen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept: list[bytes] = []

    def keeping(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
        deframer = Deframer()
        for chunk in source:
            kept.extend(deframer.feed(chunk))
            tally.bytes += len(chunk)
            growth.look(tally.bytes)

    monkeypatch.setitem(hostile_frames.SUBJECTS, "keeping", keeping)
    kind = "valid, cut and spliced"
    result = assail("keeping", kind, 60_000, 5, MachineClock())
    assert result.tally.grown > GROWTH_MAX
    assert "kept more" in result.broken


def test_what_is_not_documented_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def raising(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
        raise KeyError("x")

    def lawless(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
        hold(False, "one is not two")

    for subject, words in ((raising, "KeyError"), (lawless, "one is not two")):
        monkeypatch.setitem(hostile_frames.SUBJECTS, "odd", subject)
        assert words in assail("odd", "random bytes", 10, 1, MachineClock()).broken
