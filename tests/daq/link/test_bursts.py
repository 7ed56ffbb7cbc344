"""Blocks of a capture become one value, whatever was lost on the way."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link import messages as m
from daq.link.bursts import Blocks, Captured, NoTrigger

VOLTAGE = m.ChannelPage(
    2, m.Quantity.VOLTAGE, m.Kind.MEAN, 2, 819.2, 0, 0, 16367, 0, 1000, "voltage"
)
PERIOD_NS = 26_000


def blocks(samples: bytes, *, trigger: int = 0, number: int = 7) -> list[m.Burst]:
    """A capture as a stand would send it."""
    return [
        m.Burst(
            number,
            VOLTAGE.index,
            first,
            len(samples),
            trigger,
            5_000,
            PERIOD_NS,
            24,
            64,
            samples[first : first + m.Burst.MOST],
        )
        for first in range(0, len(samples), m.Burst.MOST)
    ]


def together(told: list[m.Burst], number: int = 7) -> Blocks:
    made = Blocks(number, VOLTAGE)
    for block in told:
        made.take(block, 0.005)
    return made


@given(st.binary(min_size=1, max_size=1000), st.data())
def test_in_any_order_and_with_any_lost_each_sample_is_where_it_belongs(
    samples: bytes, data: st.DataObject
) -> None:
    sent = data.draw(st.permutations(blocks(samples)))
    came = sent[: data.draw(st.integers(1, len(sent)))]
    made = together(came)
    assert made.whole == (len(came) == len(sent))
    result = made.result()
    assert isinstance(result, Captured)
    here = {n for b in came for n in range(b.first, b.first + len(b.samples))}
    for index, count in enumerate(result.counts):
        told = index in here and samples[index] != m.NO_SAMPLE
        assert count == (24 + 64 * samples[index] if told else None)
    gone = {n for first, last in result.lost for n in range(first, last + 1)}
    assert gone == set(range(len(samples))) - here
    assert result.unread == sum(samples[n] == m.NO_SAMPLE for n in here)


def test_times_run_from_the_trigger_in_the_period_that_was_told() -> None:
    result = together(blocks(bytes(100), trigger=40)).result()
    assert isinstance(result, Captured)
    assert result.times_s[40] == 0.0
    assert result.times_s[0] == pytest.approx(-40 * 26e-6)
    assert result.span_s == pytest.approx(99 * 26e-6)
    assert result.trigger_device_s == 0.005


def test_a_step_is_what_it_is_in_volt() -> None:
    result = together(blocks(bytes(3))).result()
    assert isinstance(result, Captured)
    # 5 V over 256 steps, through a divider by four.
    assert result.step_si == pytest.approx(4 * 5 / 256)


def test_the_upper_end_of_the_range_is_noticed() -> None:
    result = together(blocks(bytes([0, 200, 254, 254, 255]))).result()
    assert isinstance(result, Captured)
    assert result.at_top == 2


def test_blocks_of_another_capture_are_left_aside() -> None:
    mine, other = blocks(bytes(100)), blocks(bytes(100), number=6)
    made = together([other[0], mine[0], other[1], *mine[1:]])
    assert made.whole
    assert not made.take(other[2], 0.0)
    longer = blocks(bytes(101))
    assert not made.take(longer[0], 0.0)


def test_nothing_came_is_not_no_trigger() -> None:
    assert together([]).result() is None
    none = m.Burst(7, 2, 0, 0, 0, 9_000, PERIOD_NS, 0, 1, b"")
    made = Blocks(7, VOLTAGE)
    assert made.take(none, 0.009)
    assert made.whole
    assert made.result() == NoTrigger(0.009)
