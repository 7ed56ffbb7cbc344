"""Each fault of each sensor, in the counts that the host hears."""

import math
from functools import cache

import numpy as np
import pytest

from daq.errors import InputFault
from daq.link import messages as m
from daq.stand.faults.sensors import (
    CHANNELS,
    SIZES_SI,
    FrozenSensor,
    GlitchingSensor,
    NoisySensor,
    OffsetSensor,
    SaturatedSensor,
    SensorFault,
    SilentSensor,
)
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from tests.daq.stand.faults.rig import Reading, Rig, mean, spinning
from tests.daq.stand.plant.builder import changed

EVERY_CHANNEL = pytest.mark.parametrize("channel", CHANNELS)
# A slow channel and a fast one, where many samples are needed; the rest in CI.
SAMPLED = [
    name
    if name in ("thrust", "voltage")
    else pytest.param(name, marks=pytest.mark.slow)
    for name in CHANNELS
]
BEGIN_S, END_S, LATER_S = 0.5, 1.1, 1.6


def resting(*faults: SensorFault) -> Rig:
    """A rig with noisy sensors at rest, past the end of the faults."""
    rig = Rig(*faults, noisy=True)
    rig.until(LATER_S)
    return rig


HEALTHY = resting()


@cache
def calm(channel: str) -> list[Reading]:
    """What a sensor without a fault reads in twenty seconds at 30 % throttle."""
    return _calm().readings(channel)


@cache
def _calm() -> Rig:
    return spinning(throttle_frac=0.3, until_s=20.0)


@EVERY_CHANNEL
def test_a_fault_touches_its_sensor_in_its_time_and_nothing_else(channel: str) -> None:
    fault = OffsetSensor(BEGIN_S, END_S, channel, 0.5 * SIZES_SI[channel])
    rig = resting(fault)
    for name in CHANNELS:
        plain, now = HEALTHY.readings(name), rig.readings(name)
        assert len(plain) == len(now)
        changed_s = [a.at_s for a, b in zip(plain, now, strict=True) if a != b]
        if name in fault.channels():
            assert min(changed_s) > BEGIN_S
            assert max(changed_s) <= END_S + 1e-9
            inside = [r for r in now if BEGIN_S < r.at_s <= END_S]
            assert len(changed_s) == len(inside)
        else:
            assert changed_s == []


@EVERY_CHANNEL
def test_an_offset_is_as_large_as_it_says(channel: str) -> None:
    offset = 0.5 * SIZES_SI[channel]
    rig = resting(OffsetSensor(BEGIN_S, END_S, channel, offset))
    plain = HEALTHY.si(channel, BEGIN_S, END_S)
    now = rig.si(channel, BEGIN_S, END_S)
    page = rig.stand.channels[rig.index(channel)]
    assert mean(now) - mean(plain) == pytest.approx(
        offset, abs=1.0 / page.counts_per_unit
    )


@EVERY_CHANNEL
def test_a_frozen_sensor_repeats_one_reading_and_then_lives_again(channel: str) -> None:
    rig = Rig(FrozenSensor(BEGIN_S, END_S, channel), noisy=True)
    rig.arm()
    rig.hold(0.2, 0.45)
    rig.hold(0.3, 0.8)
    rig.hold(0.5, 2.0)
    assert len(set(rig.si(channel, BEGIN_S, END_S))) == 1
    before = rig.si(channel, BEGIN_S - 0.15, BEGIN_S)
    after = rig.si(channel, END_S, 2.0)
    assert len({*before, *after}) > 1
    if channel not in ("winding-temp", "esc-temp"):  # those are not so fast
        assert abs(after[-1] - rig.si(channel, BEGIN_S, END_S)[0]) > 1e-5


@pytest.mark.parametrize("channel", SAMPLED)
def test_noise_is_white_and_as_large_as_it_says(channel: str) -> None:
    rms = 0.2 * SIZES_SI[channel]
    rig = spinning(
        NoisySensor(0.6, 20.0, channel, rms), throttle_frac=0.3, until_s=12.0
    )
    plain = [r.si for r in calm(channel) if 0.7 < r.at_s <= rig.now_s]
    pairs = zip(rig.si(channel, 0.7, rig.now_s), plain, strict=True)
    noise = np.array([a - b for a, b in pairs])
    spread = 5.0 / math.sqrt(2.0 * noise.size)
    assert noise.std() == pytest.approx(rms, rel=max(0.02, spread))
    assert abs(noise.mean()) < 5.0 * rms / math.sqrt(noise.size)
    following = np.corrcoef(noise[:-1], noise[1:])[0, 1]
    assert abs(following) < 5.0 / math.sqrt(noise.size)


@EVERY_CHANNEL
@pytest.mark.parametrize("at", ["high", "low"])
def test_a_saturated_sensor_stands_at_the_end_of_its_range(
    channel: str, at: str
) -> None:
    rig = resting(SaturatedSensor(BEGIN_S, END_S, channel, at))
    page = rig.stand.channels[rig.index(channel)]
    end = page.high_counts if at == "high" else page.low_counts
    counts = {r.count for r in rig.readings(channel) if BEGIN_S < r.at_s <= END_S}
    assert counts == {end}


@pytest.mark.parametrize("channel", SAMPLED)
def test_glitches_are_rare_single_spikes_of_either_sign(channel: str) -> None:
    size, period_s = SIZES_SI[channel], 0.002
    if channel == "thrust":
        period_s = 0.0125
    elif channel.endswith("-temp"):
        period_s = 0.1
    per_s = 0.1 / period_s  # one reading in ten
    rig = spinning(
        GlitchingSensor(0.6, 20.0, channel, per_s, size),
        throttle_frac=0.3,
        until_s=20.0,
    )
    readings = rig.si(channel, 0.7, 20.0)
    plain = [r.si for r in calm(channel) if 0.7 < r.at_s <= 20.0]
    spikes = [
        a - b for a, b in zip(readings, plain, strict=True) if abs(a - b) > 0.01 * size
    ]
    number = 0.1 * len(plain)
    assert abs(len(spikes) - number) < 5.0 * math.sqrt(0.9 * number)
    page = rig.stand.channels[rig.index(channel)]
    room = min(plain) - size > page.to_si(page.low_counts)
    if room:  # else the low ones end at the end of the range
        for spike in spikes:
            assert abs(spike) == pytest.approx(size, abs=1.0 / page.counts_per_unit)
    assert min(spikes) < 0.0 < max(spikes)


@EVERY_CHANNEL
def test_a_silent_sensor_gives_no_reading_and_the_rest_goes_on(channel: str) -> None:
    fault = SilentSensor(BEGIN_S, END_S, channel)
    rig = resting(fault)
    for name in CHANNELS:
        inside = rig.si(name, BEGIN_S + 1e-6, END_S)
        assert (inside == []) == (name in fault.channels())
        assert rig.si(name, END_S, LATER_S)
    stream = next(
        s for s in rig.stand.streams if rig.index(channel) in s.channels
    ).index
    number = [
        at_s
        for at_s, said in rig.said
        if isinstance(said, m.Samples)
        and said.stream == stream
        and BEGIN_S < at_s <= END_S
    ]
    # A converter that is silent sends nothing; the others say that they have none.
    assert (number == []) == (channel == "thrust")


def test_a_silent_channel_trips_the_stand_where_it_is_limited() -> None:
    rig = spinning(SilentSensor(1.0, channel="current"), until_s=2.0)
    assert rig.causes()[-1] is m.Cause.CHANNEL_SILENT


def test_faults_of_one_channel_act_one_after_the_other() -> None:
    frozen = FrozenSensor(BEGIN_S, END_S, "voltage")
    low = OffsetSensor(BEGIN_S, END_S, "voltage", -3.0)
    rig = resting(frozen, low)
    (stuck,) = set(rig.si("voltage", BEGIN_S, END_S))
    assert stuck == pytest.approx(mean(HEALTHY.si("voltage", 0.4, 0.5)) - 3.0, abs=0.02)


def test_readings_stay_inside_the_channels_range() -> None:
    rig = resting(OffsetSensor(BEGIN_S, END_S, "current", -100.0))
    page = rig.stand.channels[rig.index("current")]
    assert min(r.count for r in rig.readings("current")) == page.low_counts


def test_a_channel_that_the_stand_does_not_have_is_refused_by_name() -> None:
    bare = changed({}).model_copy(update={"winding_sensor": None})
    with pytest.raises(
        InputFault, match=r"silent-sensor: this stand has no channel winding-temp; it"
    ):
        FaultyStand(Plant(bare, 1), [SilentSensor(channel="winding-temp")])
