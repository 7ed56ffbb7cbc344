"""Descriptions: read whole, or refused in one sentence that says what to do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputFault
from daq.link.columns import description as module
from daq.link.columns.commands import Commands
from daq.link.columns.description import StandTime, read_description
from daq.link.messages import Kind, Quantity
from tests.daq.link.columns.descriptions import (
    CHANNELS,
    HEAD,
    JSON,
    NAMED,
    TIME,
    WHERE,
    WHOLE,
    described,
    one_channel,
)


def refused(text: str) -> str:
    with pytest.raises(InputFault) as caught:
        read_description(text, WHERE)
    sentence = str(caught.value)
    assert sentence.startswith(f"{WHERE}: ")
    assert sentence.endswith(".")
    assert sentence.isprintable()
    return sentence.removeprefix(f"{WHERE}: ")


def test_a_whole_file_is_read() -> None:
    read = described()
    assert (read.name, read.baud, read.form) == ("kitchen stand", 115200, "separated")
    assert read.time == StandTime("t", "us", 4294967296.0)
    assert [channel.name for channel in read.channels] == [
        "thrust",
        "voltage",
        "current",
    ]
    assert read.channels[0].quantity is Quantity.FORCE
    assert read.commands == Commands("T{percent:.1f}\n", "S\n", "K\n", 0.2)


def test_what_is_left_out_has_the_meaning_that_is_documented() -> None:
    read = described(NAMED)
    assert (read.mark, read.decimal, read.exact_decimals) == ("=", ".", False)
    assert (read.skip, read.time, read.commands) == ((), None, Commands())
    channel = read.channels[0]
    assert (channel.scale, channel.offset, channel.kind) == (1.0, 0.0, Kind.POINT)


def test_the_example_in_the_documentation_is_sound() -> None:
    text = (module.__doc__ or "").split("\n\n", 2)[2]
    read = read_description(text, WHERE)
    assert read.channels[0].kind is Kind.MEAN
    assert read.channels[1].pulses_per_turn == 7
    assert read.commands.throttle == "T{percent:.1f}\n"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (WHOLE.replace("baud =", "buad ="), "buad is not a known key; baud was prob"),
        (WHOLE.replace('unit = "gf"', 'unit = "lbs"'), 'channel 1.unit is "lbs"; it'),
        (WHOLE.replace('unit = "gf"', 'unit = "?"'), 'channel 1.unit is "?"; it must'),
        (WHOLE.replace('unit = "gf"', 'unit = "A"'), "thrust is measured in gf, g, kg"),
        (WHOLE.replace('"load"\n', '"laod"\n'), 'channel 1.column is "laod"; columns'),
        (WHOLE.replace('"bus"\n', '"load"\n'), 'channel 2.column is "load"; thrust is'),
        (WHOLE.replace('"bus"\n', '"t"\n'), 'channel 2.column is "t"; the time is in'),
        (
            WHOLE.replace('"mV"', '"g"').replace('"voltage"', '"thrust"'),
            "another channel has that name",
        ),
        (WHOLE.replace('"voltage"', '"Bus Voltage"'), "lower-case letters, digits"),
        (WHOLE.replace("= 115200", '= "115200"'), 'baud is "115200"; it must be a who'),
        (WHOLE.replace("= 115200", "= true"), "baud is true; it must be a whole numbe"),
        (WHOLE.replace("= 80", "= nan"), "rate_hz is nan; it must be a number from"),
        (
            WHOLE.replace("= 80", "= 80,5"),
            "write decimals with a point: 76.2, not 76,2",
        ),
        (WHOLE.replace("= 4294967296", "= 1000"), "time.wraps_at is 1000; it must be"),
        (
            WHOLE.replace("decimals = 3", "decimals = 9"),
            "leaves no room for 50 A; writ",
        ),
        (WHOLE.replace('["#"]', '["-"]'), "skip is ['-']; none of them may begin as"),
        (WHOLE.replace("S\\n", "\u00e9"), "commands.stop is"),
        (WHOLE.replace("S\\n", "S"), 'stop is "S"; it must end as the'),
        (WHOLE.replace("K\\n", "K\\r"), "must end as the throttle does, with"),
        (WHOLE.replace("{percent:.1f}\\n", "{percent:.1f}"), "must end its number"),
        (WHOLE.replace("keep_alive_period_s = 0.2", ""), "belong together; write both"),
        (WHOLE.replace('"T{percent:.1f}\\n"', "'T{percent}\\n'"), "in double quotes"),
        (HEAD + 'decimal = ","' + CHANNELS, "a comma cannot separate the fields as we"),
        (HEAD + 'mark = "="' + CHANNELS, 'a meaning with form "named" only; take it o'),
        (HEAD + TIME, "channel is missing; write one [[channel]] table for each"),
        (HEAD.replace('"bus"', '"load"') + CHANNELS, "each name may stand there once"),
        (JSON.replace("rate_hz", 'separator = "tab"\nrate_hz'), 'form "json"; take it'),
        (
            JSON.replace("rate_hz", 'decimal = ","\nrate_hz'),
            "numbers have a point; tak",
        ),
        (JSON.replace("rate_hz", 'columns = ["a"]\nrate_hz'), 'form "json"; take it o'),
        (NAMED.replace("pulses_per_turn = 7", ""), "pulses_per_turn is missing; it mu"),
        (NAMED.replace('unit = "Hz"', 'unit = "rpm"'), 'with unit "Hz" only; take it'),
        (NAMED.replace("decimals = 1", "decimals = 1\nscale = 0"), "leaves no reading"),
        ("format = 2", "format is 2; it must be a whole number from 1 to 1."),
        ("channel = 3\nformat = 1", "form is missing; it must be one of"),
        ("format = ", "it is not valid TOML: "),
        ("format = 1" + "#" * 100_000, "it has more than 100000 characters."),
        ('format = 1\n"a\\u001b[2J" = 3', "is not a known key; known are format, name"),
        ("x = " + "[" * 50_000, "it is not valid TOML: "),
    ],
)
def test_a_mistake_is_named_with_its_key_and_what_to_do(
    text: str, sentence: str
) -> None:
    assert sentence in refused(text)


@pytest.mark.parametrize(
    "template",
    [
        "T{percent.real}\\n",
        "T{percent[0]}\\n",
        "T{percent!r}\\n",
        "T{percent:{us}}\\n",
        "T{percent:>99999999999}\\n",
        "T{percent:999999999.1f}\\n",
        "T{percent:x}\\n",
        "T{percent:d}\\n",
        "T{}\\n",
        "T{0}\\n",
        "T{__class__}\\n",
        "T{throttle}\\n",
        "T{percent\\n",
        "T}\\n",
        "full\\n",
        "{fraction:.1f}\\n",
        "{fraction:.0f}\\n",
        "{us:09d}" * 8,
    ],
)
def test_a_throttle_template_that_could_misbehave_is_refused(template: str) -> None:
    text = WHOLE.replace("T{percent:.1f}\\n", template)
    assert "commands.throttle is " in refused(text)


def test_units_are_converted_as_published() -> None:
    # Standard gravity 9.80665 m/s^2, 3rd CGPM (1901); revolutions and degrees
    # Celsius, NIST SP 811 (2008) appendix B.
    def si(unit: str, printed: float, *more: str) -> float:
        return one_channel(unit, 0, *more).channels[0].to_si(printed)

    assert si("kg", 1.0) == pytest.approx(9.80665, rel=1e-15)
    assert si("g", 1000.0) == si("gf", 1000.0) == pytest.approx(9.80665, rel=1e-15)
    assert si("rpm", 1.0) == pytest.approx(0.10471975511965977, rel=1e-15)
    assert si("degC", 25.0) == 298.15
    assert si("mA", 1500.0) == 1.5
    assert si("mV", 11100.0) == pytest.approx(11.1, rel=1e-15)
    # 700 pulses a second at 7 a turn are 100 turns a second.
    assert si("Hz", 700.0, "pulses_per_turn = 7") == pytest.approx(628.3185307179587)


def test_scale_and_offset_act_in_the_unit() -> None:
    channel = one_channel("gf", 0, "scale = 0.5", "offset = -10").channels[0]
    assert channel.to_si(120.0) == pytest.approx(50 * 9.80665e-3)


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused_in_one_sentence(text: str) -> None:
    refused("x = 1\n" + text)


values = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


@given(st.sampled_from(WHOLE.strip().splitlines()), values)
def test_any_value_under_any_key_is_taken_or_refused(line: str, value: object) -> None:
    key, found, _ = line.partition(" = ")
    written = repr(value).replace("True", "true").replace("False", "false")
    said = "taken"
    try:
        read_description(WHOLE.replace(line, f"{key} = {written}" if found else ""), "")
    except InputFault as fault:
        said = str(fault)
    assert said.isprintable()
