"""Whether the supply is on or off: only what was read, often enough and long enough."""

import math
from dataclasses import replace

import pytest

from daq.link import messages as m
from daq.link import session as s
from protocols.supply import MAX_GAP_S, SETTLED_S, SupplyWatch
from tests.protocols.trials import FAST, PAGES, SLOW, page, stand


def volts(value: float) -> s.Sampled:
    return s.Sampled(FAST, 0.0, (0, round(value * 1000), 1000))


def watched(value: float, since_s: float, until_s: float) -> SupplyWatch:
    watch = SupplyWatch(stand())
    number = round((until_s - since_s) / 0.01)
    for step in range(number + 1):
        watch.take(volts(value), since_s + step * 0.01)
    return watch


def test_a_supply_is_off_once_it_read_below_a_volt_for_a_while() -> None:
    assert watched(0.2, 0.0, SETTLED_S + 0.01).seen_off(SETTLED_S + 0.01)
    assert not watched(0.2, 0.0, SETTLED_S - 0.02).seen_off(SETTLED_S - 0.02)
    assert not watched(0.2, 0.0, 1.0).seen_on(1.0)


def test_a_volt_is_on() -> None:
    assert watched(1.0, 0.0, 1.0).seen_on(1.0)
    assert not watched(1.0, 0.0, 1.0).seen_off(1.0)
    assert watched(0.999, 0.0, 1.0).seen_off(1.0)


def test_a_plug_that_bounces_begins_anew() -> None:
    watch = watched(12.0, 0.0, 1.0)
    watch.take(volts(0.1), 1.01)
    watch.take(volts(12.0), 1.02)
    assert not watch.seen_on(1.02)
    for step in range(40):
        watch.take(volts(12.0), 1.03 + step * 0.01)
    assert watch.seen_on(1.42)


def test_an_old_reading_and_a_gap_say_nothing() -> None:
    watch = watched(0.1, 0.0, 1.0)
    assert watch.seen_off(1.0 + MAX_GAP_S - 0.001)
    assert not watch.seen_off(1.0 + MAX_GAP_S + 0.001)
    watch.take(volts(0.1), 1.5)
    assert not watch.seen_off(1.5)


def test_no_number_and_no_channel_are_neither_on_nor_off() -> None:
    watch = watched(12.0, 0.0, 1.0)
    none = s.Sampled(FAST, 0.0, (0, PAGES[2].no_reading, 1000))
    for step in range(60):
        watch.take(none, 1.01 + step * 0.01)
    assert not watch.seen_on(1.6)
    assert not watch.seen_off(1.6)
    blind = SupplyWatch(replace(stand(), channels=PAGES[:2]))
    blind.take(s.Sampled(SLOW, 0.0, (0,)), 0.0)
    assert not blind.seen_off(0.0)
    odd = page(2, "voltage", m.Quantity.FORCE)
    assert not SupplyWatch(replace(stand(), channels=(*PAGES[:2], odd))).seen_off(0.0)


def test_nothing_is_known_before_anything_was_read() -> None:
    watch = SupplyWatch(stand())
    assert not watch.seen_on(0.0)
    assert not watch.seen_off(0.0)


def followed(*moments_s: float, value_v: float = 0.2) -> SupplyWatch:
    watch = SupplyWatch(stand())
    for moment_s in moments_s:
        watch.take(volts(value_v), moment_s)
    return watch


def test_readings_a_tenth_of_a_second_apart_are_enough() -> None:
    assert followed(0.0, 0.1, 0.2, 0.3).seen_off(0.3)
    assert followed(0.0, 0.1, 0.2, 0.3, value_v=12.0).seen_on(0.3)


def test_readings_further_apart_hide_a_plug_that_was_in_between() -> None:
    assert not followed(0.0, 0.101, 0.2, 0.3).seen_off(0.3)


def test_it_has_to_agree_for_three_tenths_of_a_second() -> None:
    assert not followed(0.0, 0.1, 0.2, math.nextafter(0.3, 0.0)).seen_off(0.3)


def test_the_supply_is_known_for_a_tenth_of_a_second_after_a_reading() -> None:
    watch = followed(-0.3, -0.2, -0.1, 0.0)
    assert watch.seen_off(0.1)
    assert not watch.seen_off(math.nextafter(0.1, 1.0))


@pytest.mark.parametrize("value", [0.0, 12.0])
def test_a_channel_that_only_is_called_voltage_is_not_believed(value: float) -> None:
    odd = page(2, "voltage", m.Quantity.FORCE)
    channels = (*PAGES[:2], odd, PAGES[3])
    row = replace(FAST, channels=channels[1:])
    watch = SupplyWatch(replace(stand(), channels=channels, layouts=(SLOW, row)))
    for step in range(60):
        counts = (0, round(value * 1000), 1000)
        watch.take(s.Sampled(row, 0.0, counts), step * 0.01)
    assert not watch.seen_off(0.59)
    assert not watch.seen_on(0.59)


def test_samples_of_another_stream_keep_no_knowledge_alive() -> None:
    watch = followed(-0.3, -0.2, -0.1, 0.0)
    for step in range(1, 20):
        watch.take(s.Sampled(SLOW, 0.0, (0,)), step * 0.01)
    assert not watch.seen_off(0.19)
