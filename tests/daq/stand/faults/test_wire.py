"""One direction of a line, with what goes wrong on it."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.stand.faults.wire import (
    HOLD_S,
    CableOut,
    DamagedBytes,
    LateChunks,
    LostBytes,
    ReorderedChunks,
    RepeatedChunks,
    Wire,
    WireFault,
)

TEXT = bytes(range(256)) * 40


def through(
    faults: list[WireFault], data: bytes = TEXT, cut: int = 16, seed: int = 0
) -> bytes:
    """What comes out, sent in portions of that many bytes, a millisecond each."""
    wire = Wire("to-host", faults, seed=seed)
    out = b""
    for place in range(0, len(data), cut):
        now_s = place / cut * 1e-3
        wire.send(now_s, data[place : place + cut])
        out += wire.due(now_s)
    return out + wire.due(math.inf)


def chunks(faults: list[WireFault], number: int, seed: int = 0) -> list[int]:
    """The order in which numbered chunks of two bytes come out."""
    data = b"".join(i.to_bytes(2, "big") for i in range(number))
    came = through(faults, data, 2, seed)
    return [int.from_bytes(came[i : i + 2], "big") for i in range(0, len(came), 2)]


def test_a_healthy_line_passes_everything_at_once() -> None:
    wire = Wire("to-host")
    wire.send(1.0, b"abc")
    busy = [wire.busy]
    assert wire.due(1.0) == b"abc"
    assert [*busy, wire.busy] == [True, False]
    assert wire.due(2.0) == b""
    assert wire.next_due_s == math.inf


def test_a_line_has_its_own_delay() -> None:
    wire = Wire("to-stand", delay_s=0.002)
    wire.send(1.0, b"abc")
    assert wire.next_due_s == pytest.approx(1.002)
    assert wire.due(1.0019) == b""
    assert wire.due(1.0021) == b"abc"


@pytest.mark.parametrize(
    "kind",
    [CableOut, LostBytes, DamagedBytes, LateChunks, RepeatedChunks, ReorderedChunks],
)
def test_a_fault_acts_only_its_way_and_in_its_time(kind: type[WireFault]) -> None:
    sure = {} if kind is CableOut else {"rate_frac": 1.0}
    fault = kind(0.1, 0.2, "to-stand", **sure)  # type: ignore[arg-type]
    assert through([fault]) == TEXT
    wire = Wire("to-stand", [fault])
    for now_s in (0.0, 0.0999):
        wire.send(now_s, b"ab")
        assert wire.due(now_s) == b"ab"
    wire.send(0.1, b"abcd")
    assert wire.due(0.1) != b"abcd"
    wire.due(1.0)  # what it held
    for now_s in (1.0, 5.0):
        wire.send(now_s, b"ab")
        assert wire.due(now_s) == b"ab"


def test_a_cable_that_is_out_loses_all_and_passes_all_when_it_is_back() -> None:
    data = TEXT[:4096]
    came = through([CableOut(0.05, 0.1)], data, 16)
    assert came == data[: 50 * 16] + data[100 * 16 :]


def test_lost_bytes_are_as_many_as_the_rate_says_and_the_rest_in_order() -> None:
    rate = 0.02
    data = TEXT * 4
    came = through([LostBytes(rate_frac=rate)], data)
    lost = len(data) - len(came)
    # Binomial: within five standard deviations.
    expected = rate * len(data)
    assert abs(lost - expected) < 5 * math.sqrt(expected)
    rest = iter(data)
    assert all(byte in rest for byte in came)


def test_a_burst_loses_its_bytes_in_a_row_across_chunks() -> None:
    came = through([LostBytes(0.010, once=True, burst_bytes=100)], TEXT, 16)
    assert came == TEXT[:160] + TEXT[260:]


def test_bursts_do_not_begin_inside_each_other() -> None:
    came = through([LostBytes(rate_frac=0.05, burst_bytes=10)], TEXT * 4)
    # Ten lost, then 0.95/0.05 = 19 in the mean that get through.
    assert 1.0 - len(came) / len(TEXT * 4) == pytest.approx(10 / 29, abs=0.02)


def test_a_damaged_byte_has_one_bit_turned_and_the_length_stays() -> None:
    rate = 0.02
    came = through([DamagedBytes(rate_frac=rate)])
    assert len(came) == len(TEXT)
    changed = [a ^ b for a, b in zip(came, TEXT, strict=True) if a != b]
    assert {bits.bit_count() for bits in changed} == {1}
    assert set(changed) == {1 << bit for bit in range(8)}
    expected = rate * len(TEXT)
    assert abs(len(changed) - expected) < 5 * math.sqrt(expected)


@pytest.mark.parametrize("kind", [LostBytes, DamagedBytes])
@pytest.mark.parametrize("burst", [1, 7])
@given(cut=st.integers(1, 300), seed=st.integers(0, 5))
def test_what_is_hit_does_not_depend_on_how_the_bytes_were_cut(
    kind: type[LostBytes] | type[DamagedBytes], burst: int, cut: int, seed: int
) -> None:
    fault = kind(rate_frac=0.01, burst_bytes=burst)
    assert through([fault], cut=cut, seed=seed) == through([fault], cut=97, seed=seed)


def test_once_is_once() -> None:
    assert len(through([LostBytes(once=True)])) == len(TEXT) - 1
    damaged = through([DamagedBytes(once=True)])
    assert sum(a != b for a, b in zip(damaged, TEXT, strict=True)) == 1
    assert chunks([RepeatedChunks(0.003, once=True)], 6) == [0, 1, 2, 3, 3, 4, 5]
    assert chunks([ReorderedChunks(0.003, once=True)], 6) == [0, 1, 2, 4, 3, 5]


def test_late_bytes_come_late_and_hold_up_those_behind_them() -> None:
    wire = Wire("to-host", [LateChunks(1.0, 2.0, delay_s=0.5, once=True)])
    for now_s, data in [(0.9, b"a"), (1.0, b"b"), (1.2, b"c"), (1.6, b"d")]:
        wire.send(now_s, data)
    assert wire.due(1.499) == b"a"
    assert wire.due(1.5) == b"bc"
    assert wire.due(1.6) == b"d"


def test_lateness_is_within_its_bounds_and_no_byte_overtakes_another() -> None:
    wire = Wire("to-host", [LateChunks(delay_s=0.1, jitter_s=0.2)], seed=3)
    out, came_s = b"", {}
    for tick in range(2000):
        now_s = tick * 1e-3
        if tick < 250:
            wire.send(now_s, bytes([tick]))
        for byte in wire.due(now_s):
            out += bytes([byte])
            came_s[byte] = now_s
    assert out == bytes(range(250))
    late = np.array([came_s[byte] - byte * 1e-3 for byte in range(250)])
    assert late.min() >= 0.1 - 1e-9
    assert late.max() <= 0.301
    assert late.max() - late.min() > 0.1


def test_repeated_chunks_come_again_after_their_time() -> None:
    wire = Wire("to-host", [RepeatedChunks(rate_frac=1.0, again_s=0.01, once=True)])
    wire.send(0.0, b"a")
    wire.send(0.005, b"b")
    assert wire.due(0.0) == b"a"
    assert wire.due(0.0099) == b"b"
    assert wire.due(0.01) == b"a"


def test_repeated_chunks_are_as_many_as_the_rate_says() -> None:
    order = chunks([RepeatedChunks(rate_frac=0.1)], 5000)
    again = sum(a == b for a, b in pairwise(order))
    assert again == len(order) - 5000
    assert abs(again - 500) < 5 * math.sqrt(450)


def test_reordered_chunks_are_overtaken_by_one_and_none_is_lost() -> None:
    order = chunks([ReorderedChunks(rate_frac=0.1)], 5000)
    assert sorted(order) == list(range(5000))
    assert {came - place for place, came in enumerate(order)} == {-1, 0, 1}
    swapped = sum(a > b for a, b in pairwise(order))
    # Every tenth of those that can be hit: the one that overtakes cannot.
    assert abs(swapped - 5000 / 11) < 5 * math.sqrt(450)


def test_a_chunk_that_nothing_overtakes_comes_by_itself() -> None:
    wire = Wire("to-host", [ReorderedChunks(rate_frac=1.0)])
    wire.send(1.0, b"a")
    assert wire.next_due_s == pytest.approx(1.0 + HOLD_S)
    assert wire.due(1.0 + 0.9 * HOLD_S) == b""
    assert wire.due(1.0 + 1.1 * HOLD_S) == b"a"


def test_faults_act_together() -> None:
    faults: list[WireFault] = [
        LostBytes(0.01, once=True, burst_bytes=4),
        RepeatedChunks(0.02, once=True),
        CableOut(0.03, 0.04),
    ]
    data = TEXT[:1000]
    parts = [data[i : i + 10] for i in range(0, 1000, 10)]
    parts[10] = parts[10][4:]
    parts[20] *= 2
    parts[30:40] = []
    assert through(faults, data, 10) == b"".join(parts)


def test_the_same_seed_does_the_same_and_another_and_the_other_way_do_not() -> None:
    fault = DamagedBytes(rate_frac=0.01)
    assert through([fault], seed=4) == through([fault], seed=4)
    assert through([fault], seed=4) != through([fault], seed=5)
    back = Wire("to-stand", [fault], seed=4)
    back.send(0.0, TEXT)
    assert back.due(0.0) != through([fault], cut=len(TEXT), seed=4)


def test_two_faults_of_one_kind_hit_different_bytes() -> None:
    fault = DamagedBytes(rate_frac=0.01)
    # The same bits turned twice would leave everything as it was.
    assert through([fault, fault]) != TEXT
