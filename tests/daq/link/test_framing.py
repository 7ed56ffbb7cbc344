"""Frames: any bytes, cut anywhere, give payloads or counted drops."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link.framing import (
    DELIMITER,
    MAX_ENCODED,
    MAX_PAYLOAD,
    MIN_PAYLOAD,
    Deframer,
    frame,
)

payloads = st.binary(min_size=MIN_PAYLOAD, max_size=MAX_PAYLOAD)


@given(st.lists(payloads, max_size=8))
def test_what_is_framed_comes_back(sent: list[bytes]) -> None:
    deframer = Deframer()
    assert deframer.feed(b"".join(frame(p) for p in sent)) == sent
    assert deframer.drops.frames == 0


@given(payloads)
def test_a_frame_holds_one_zero_at_its_end_and_is_at_most_68_bytes(
    payload: bytes,
) -> None:
    wire = frame(payload)
    assert wire.count(0) == 1
    assert wire.endswith(DELIMITER)
    assert len(wire) <= MAX_ENCODED + 1


@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=6))
def test_cuts_change_neither_payloads_nor_counts(data: bytes, cuts: list[int]) -> None:
    whole, cut = Deframer(), Deframer()
    expected = whole.feed(data + DELIMITER)
    got: list[bytes] = []
    edges = [0, *sorted(cuts), len(data)]
    for start, end in pairwise(edges):
        got += cut.feed(data[start:end])
    got += cut.feed(DELIMITER)
    assert got == expected
    assert cut.drops == whole.drops


@given(st.lists(payloads, min_size=3, max_size=6), st.data())
def test_one_flipped_bit_costs_at_most_the_two_frames_it_touches(
    sent: list[bytes], data: st.DataObject
) -> None:
    wire = bytearray(b"".join(frame(p) for p in sent))
    position = data.draw(st.integers(0, len(wire) - 1))
    wire[position] ^= 1 << data.draw(st.integers(0, 7))
    got = Deframer().feed(bytes(wire))
    assert len(got) >= len(sent) - 2
    assert all(payload in sent for payload in got)


def test_an_endless_frame_is_counted_and_never_kept() -> None:
    deframer = Deframer()
    for _ in range(1000):
        assert deframer.feed(b"\x55" * 1000) == []
    assert len(deframer._rest) <= MAX_ENCODED + 1
    assert deframer.feed(DELIMITER) == []
    assert (deframer.drops.size, deframer.drops.bytes) == (1, 1_000_000)
    assert deframer.feed(frame(b"abc")) == [b"abc"]


def test_idle_delimiters_are_no_error() -> None:
    deframer = Deframer()
    assert deframer.feed(b"\0\0\0" + frame(b"abc") + b"\0\0") == [b"abc"]
    assert deframer.drops.frames == 0


@pytest.mark.parametrize("size", [0, MIN_PAYLOAD - 1, MAX_PAYLOAD + 1])
def test_a_payload_of_the_wrong_size_is_our_own_fault(size: int) -> None:
    with pytest.raises(ValueError, match=str(size)):
        frame(bytes(size))
