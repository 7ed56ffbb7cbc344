"""Printed numbers, against RFC 8259 section 6 as the standard library reads it."""

import json
import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link.columns.numbers import NoNumber, Printed, read_number


@given(
    st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(10**30), 10**30)
)
def test_every_json_number_is_read_as_the_standard_library_reads_it(
    value: float,
) -> None:
    text = json.dumps(value)
    read = read_number(text)
    assert isinstance(read, Printed)
    assert read.value == float(json.loads(text))


@given(st.decimals(-(10**9), 10**9, places=4))
def test_the_decimals_of_a_printed_number_are_counted(value: Decimal) -> None:
    read = read_number(f"{value:f}")
    assert read == Printed(float(value), 4)
    assert read_number(f"{value:f}".replace(".", ","), ",") == read


@pytest.mark.parametrize(
    ("text", "value", "decimals"),
    [
        ("12", 12.0, 0),
        ("+12.50", 12.5, 2),
        ("-0007", -7.0, 0),
        (".5", 0.5, 1),
        ("1.25e1", 12.5, 1),
        ("1e-3", 0.001, 3),
        ("1E+2", 100.0, 0),
    ],
)
def test_what_stands_print_is_read(text: str, value: float, decimals: int) -> None:
    assert read_number(text) == Printed(value, decimals)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", NoNumber.CUT_SHORT),
        ("-", NoNumber.CUT_SHORT),
        ("12.", NoNumber.CUT_SHORT),
        ("1.5e", NoNumber.CUT_SHORT),
        ("1.5e-", NoNumber.CUT_SHORT),
        ("12,5", NoNumber.DECIMAL_MARK),
        ("nan", NoNumber.NOT_FINITE),
        ("-NaN", NoNumber.NOT_FINITE),
        ("inf", NoNumber.NOT_FINITE),
        ("-Infinity", NoNumber.NOT_FINITE),
        ("1.#QNAN", NoNumber.NOT_FINITE),
        ("ovf", NoNumber.NOT_FINITE),
        ("1e999", NoNumber.NOT_FINITE),
        ("1_000", NoNumber.NOT_A_NUMBER),
        ("0x1F", NoNumber.NOT_A_NUMBER),
        ("12.5g", NoNumber.NOT_A_NUMBER),
        ("1.2.3", NoNumber.NOT_A_NUMBER),
        ("1,234.5", NoNumber.NOT_A_NUMBER),
        ("--1", NoNumber.NOT_A_NUMBER),
        ("\u0661\u0662", NoNumber.NOT_A_NUMBER),
        ("armed", NoNumber.NOT_A_NUMBER),
    ],
)
def test_what_is_no_number_is_told_apart(text: str, why: NoNumber) -> None:
    assert read_number(text) is why
    assert read_number("12.5", ",") is NoNumber.DECIMAL_MARK


@given(st.text(st.sampled_from("0123456789+-.,eEnaif_ "), max_size=12))
def test_whatever_is_read_is_finite_and_what_float_says(text: str) -> None:
    read = read_number(text)
    if isinstance(read, Printed):
        assert math.isfinite(read.value)
        assert read.value == float(text)
