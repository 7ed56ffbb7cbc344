"""Commands: what a stand is sent is what was asked for, never more by a slip."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link.columns.commands import (
    filled_in,
    objection_to_text,
    objection_to_throttle,
)


@pytest.mark.parametrize(
    ("template", "setpoint", "text"),
    [
        ("T{percent:.1f}\n", 4250, "T42.5\n"),
        ("{percent}\n", 4251, "42.51\n"),
        ("{fraction:.4f}\n", 4251, "0.4251\n"),
        ("{fraction}\n", 1, "0.0001\n"),
        ("{us}\n", 0, "1000\n"),
        ("{us:05d}\n", 4250, "01425\n"),
        ("{us}\n", 9999, "1999\n"),
        ("{us}\n", 10_000, "2000\n"),
        ("{{throttle:{percent:.2f}}}\r\n", 10_000, "{throttle:100.00}\r\n"),
    ],
)
def test_a_template_is_filled_in(template: str, setpoint: int, text: str) -> None:
    assert objection_to_throttle(template) is None
    assert filled_in(template, setpoint) == text


@pytest.mark.parametrize("setpoint", [-1, 10_001])
def test_a_throttle_outside_its_range_is_our_own_fault(setpoint: int) -> None:
    with pytest.raises(ValueError, match="throttle"):
        filled_in("{us}", setpoint)


templates = st.lists(
    st.builds(
        "{}{{{}{}}}".format,
        st.sampled_from(["", "T", "{{", "}}", "\n", "throttle "]),
        st.sampled_from(["percent", "fraction", "us"]),
        st.just("") | st.text(st.sampled_from(":.0123456789fd"), max_size=5),
    )
    | st.text(st.sampled_from("T{}:.!r[]_\n"), max_size=3),
    max_size=4,
).map("".join)


@given(templates)
def test_a_template_without_objection_can_always_be_sent(template: str) -> None:
    if objection_to_throttle(template) is None:
        texts = [filled_in(template, setpoint) for setpoint in range(0, 10_001, 100)]
        assert len(set(texts)) == 101
        assert all(text.isascii() and len(text) <= 64 for text in texts)


@given(st.integers(0, 10_000))
def test_a_pulse_is_never_longer_than_what_was_asked_for(setpoint: int) -> None:
    asked_us = 1000 + setpoint / 10
    assert asked_us - 1 < int(filled_in("{us}", setpoint)) <= asked_us


@pytest.mark.parametrize("text", ["S\\n", "\x00", "\x1b[2J", "\u00e9", "\x7f"])
def test_a_text_that_no_stand_means_is_objected_to(text: str) -> None:
    assert objection_to_text(text)
