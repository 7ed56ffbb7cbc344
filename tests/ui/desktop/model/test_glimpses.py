"""The newest capture of a stand, as its blocks come."""

import numpy as np
import pytest

from daq.link import messages as m
from daq.link.session import BurstTold
from ui.desktop.model.glimpses import Glimpses

PAGE = m.ChannelPage(
    index=3,
    quantity=m.Quantity.VOLTAGE,
    kind=m.Kind.MEAN,
    width=2,
    counts_per_unit=1000.0,
    zero_counts=0,
    low_counts=-32767,
    high_counts=32767,
    gain_u_ppm=4000,
    delay_us=0,
    name="voltage",
)


def block(first: int, samples: bytes, *, number: int = 1, total: int = 60) -> BurstTold:
    burst = m.Burst(
        number=number,
        channel=3,
        first=first,
        total=total,
        trigger=10,
        time_us=0,
        period_ns=200_000,
        base=12_000,
        step=20,
        samples=samples,
    )
    return BurstTold(1.0, burst)


def glimpses() -> Glimpses:
    made = Glimpses()
    made.know((PAGE,))
    return made


def test_samples_are_there_as_far_as_they_came() -> None:
    assert glimpses().newest is None
    seen = glimpses()
    seen.take(block(0, bytes([5] * 39)))
    half = seen.newest
    assert half is not None
    assert not half.whole
    assert half.came == 39
    assert half.value_si[0] == pytest.approx(12.1)
    assert np.isnan(half.value_si[39:]).all()
    assert half.t_s[10] == 0.0
    seen.take(block(39, bytes([6] * 21)))
    whole = seen.newest
    assert whole is not None
    assert whole.whole
    assert whole.channel == "voltage"


def test_another_capture_takes_its_place() -> None:
    seen = glimpses()
    seen.take(block(0, bytes([5] * 39)))
    seen.take(block(0, bytes([9] * 39), number=2))
    assert seen.newest is not None
    assert seen.newest.number == 2
    assert seen.newest.came == 39


def test_a_trigger_that_never_came_shows_nothing() -> None:
    seen = glimpses()
    gave_up = m.Burst(
        number=1,
        channel=3,
        first=0,
        total=0,
        trigger=0,
        time_us=0,
        period_ns=200_000,
        base=0,
        step=1,
        samples=b"",
    )
    seen.take(BurstTold(1.0, gave_up))
    assert seen.newest is None


def test_a_channel_that_nobody_declared_is_left_aside() -> None:
    seen = Glimpses()
    seen.take(block(0, bytes([5] * 39)))
    assert seen.newest is None
