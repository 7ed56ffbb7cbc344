"""What the simulated stand makes of conversions: samples in bytes, in whole steps."""

from collections.abc import Sequence

from daq.link import messages as m
from daq.stand.capture import ROOM, BurstMaker
from daq.stand.plant.conversions import Converter

FAST = Converter(10, 1000, 20)


def asked(**changes: int) -> m.Capture:
    fields = {
        "number": 1,
        "boot": 1,
        "channel": 3,
        "period_ns": 0,
        "count": 6,
        "before": 2,
        "trigger": m.Trigger.AT_ONCE,
        "level": 0,
        "patience_ms": 100,
    }
    return m.Capture(**(fields | changes))  # type: ignore[arg-type]


def taken(counts: Sequence[int | None], **changes: int) -> BurstMaker:
    one = BurstMaker(asked(**changes), "voltage", FAST, 5_000)
    for count in counts:
        one.take(count)
    return one


def test_the_trigger_has_the_time_of_its_sample() -> None:
    one = taken([100, 120, 140, 160, 180, 200])
    block = one.next_block()
    assert one.over
    assert one.sent
    assert (block.trigger, block.time_us, block.period_ns) == (2, 5_030, 10_000)


def test_samples_are_told_in_whole_conversions() -> None:
    block = taken([11_000, 11_020, None, 11_100, 11_000, 11_040]).next_block()
    assert (block.base, block.step) == (11_000, 20)
    assert block.samples == bytes([0, 1, m.NO_SAMPLE, 5, 0, 2])


def test_a_wide_range_takes_several_conversions_a_step() -> None:
    block = taken([0, 20 * 600, 0, 0, 0, 0]).next_block()
    assert block.step == 60
    assert block.samples[1] == 200


def test_what_comes_after_it_is_over_is_left() -> None:
    one = taken([0] * 6 + [999, 999])
    assert max(one.next_block().samples) == 0


def test_only_the_newest_are_kept_before_the_trigger() -> None:
    falling = {"trigger": m.Trigger.FALLING, "level": 500}
    one = taken([900, 880, 860, 840, 820, 500, 480, 460, 440], **falling)
    block = one.next_block()
    assert block.base + block.step * block.samples[0] == 840
    assert block.base + block.step * block.samples[2] == 500


def test_there_is_room_for_a_thousand() -> None:
    one = taken([0] * ROOM, count=65_535, before=65_535 // 2)
    assert one.over
    assert one.next_block().total == ROOM
