"""Commands: what a stand is sent is what was asked for, never more by a slip."""

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from daq.link.columns.commands import (
    FIELDS,
    Commands,
    HeardCommands,
    HeardThrottle,
    filled_in,
    objection_to_end,
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


# ------------------------------------------------------------- read back


_ENDS = ("", "f", "d", *(f".{n}f" for n in range(7)))
forms = st.sampled_from(
    [
        *(f":{width}{end}" for width in ("", "5", "9", "07", "09") for end in _ENDS),
        "",
    ]
)
starts = st.sampled_from(["", "T", "throttle ", "1", "{{", "<", "motor 1 = ", "A\r\n"])
ends = st.sampled_from(["\n", "\r\n", "\r", ";", "}}\n", " %\n", "0\n", ">", "\nGO\n"])


@given(starts, st.sampled_from(FIELDS), forms, ends, st.integers(0, 10_000))
def test_what_was_filled_in_is_read_back(
    start: str, field: str, form: str, end: str, setpoint: int
) -> None:
    template = f"{start}{{{field}{form}}}{end}"
    assume(objection_to_throttle(template) is None)
    heard = HeardThrottle(template)
    told = [
        heard.read(line) for line in re.split("[\r\n]+", filled_in(template, setpoint))
    ]
    (frac,) = (one for one in told if one is not None)
    decimals = re.search(r"\.([0-6])f", form)
    unit = {"percent": 100, "fraction": 1, "us": 1000}[field]
    step = 0.5 * 10.0 ** -int(decimals[1]) if decimals else 1e-4
    step = 1.0 if field == "us" else step  # whole microseconds, rounded down
    assert abs(frac * unit - setpoint / 10_000 * unit) <= step + 1e-9
    if setpoint == 0:
        assert frac == 0.0


def test_of_several_numbers_the_first_is_read_back() -> None:
    heard = HeardThrottle("M1 {us} {percent:5.1f}\n")
    assert heard.read("M1 1425  42.5") == 0.425
    assert heard.read("M1 1425 42") == 0.425
    assert heard.read("M1 1425") is None


@pytest.mark.parametrize(
    "line", ["", "T", "T-1.0", "Tx", "T1.0x", "xT1.0", "S", "T1,0"]
)
def test_what_is_no_throttle_is_not_read_as_one(line: str) -> None:
    assert HeardThrottle("T{percent:.1f}\n").read(line) is None


@pytest.mark.parametrize(
    ("template", "line", "frac"),
    [
        ("T{percent:.1f}\n", "T250.0", 1.0),
        ("{us}\n", "900", 0.0),
        ("{us}\n", "2100", 1.0),
        ("{fraction:.4f}\n", " 0.5000 ", 0.5),
    ],
)
def test_a_stand_takes_no_more_than_full_and_no_less_than_zero(
    template: str, line: str, frac: float
) -> None:
    assert HeardThrottle(template).read(line) == frac


def test_every_command_is_known_where_it_is_sent_back() -> None:
    heard = HeardCommands(Commands("T{percent:.1f}\n", "X\r\nSTOP\n", "K\n", 0.2))
    for line in ("T42.5", "T0.0", "STOP", " X ", "K"):
        assert heard.hears(line)
    for line in ("", "S", "TOP", "T", "12.5,11.1", "KK"):
        assert not heard.hears(line)
    assert not HeardCommands(Commands()).hears("")


# ------------------------------------------------------------- one after the other


@pytest.mark.parametrize(
    "template", ["{us}", "T{percent:.1f}", "{us}{percent}\n", "a{fraction}{us}b"]
)
def test_numbers_that_would_run_into_what_follows_are_refused(template: str) -> None:
    assert objection_to_throttle(template)


def test_commands_end_alike_so_that_none_runs_into_the_next() -> None:
    assert objection_to_end("S\n", "T{percent:.1f}\n") is None
    assert objection_to_end("S\r\n", "T{percent:.1f}\n") is None
    assert "\\n" in (objection_to_end("STOP", "T{percent:.1f}\n") or "")
    assert "must end as" in (objection_to_end("S\r", "T{percent:.1f}\n") or "")
    assert objection_to_end("stop;", "{us};") is None
