"""Captures of the firmware, by what its pins did."""

from collections.abc import Callable

import pytest

from tests.firmware.capture_checks import (
    CHECKS,
    PERIODS_NS,
    converter_is_given_back,
    waits,
)
from tests.firmware.checks import SPIN, spun
from tests.firmware.pins import Bench
from tests.firmware.test_size import leaves_room

BUSY_SHARE = 0.90  # at the fastest; what is left is the main loop's reserve


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_on_the_pins(bench: Bench, check: Callable[[Bench], None]) -> None:
    check(bench)


def test_the_converter_is_given_back(chip: Bench) -> None:
    converter_is_given_back(chip)


def test_the_rates_are_those_of_the_data_sheet() -> None:
    assert [round(1e6 / p, 1) for p in PERIODS_NS] == [38.5, 19.2, 9.6]  # thousands


@pytest.mark.parametrize("period_ns", PERIODS_NS)
def test_it_leaves_room_in_memory_and_time(chip: Bench, period_ns: int) -> None:
    spun(chip)
    waits(chip, "voltage", period_ns=period_ns)
    chip.hold(SPIN, 20)
    leaves_room(chip, BUSY_SHARE)
