"""Proposals: what was seen is right, units are left to the person."""

import json
import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputFault
from daq.link.columns.description import Description, read_description
from daq.link.columns.lines import Lines
from daq.link.columns.proposal import Proposal, propose, unit_in_name
from daq.link.columns.reading import Reader

LINES = 120
RATE_HZ = 80.0


def load_gf(n: int) -> float:
    return 100 * math.sin(n / 9) + 3 * math.sin(5 * n)


def bus_v(n: int) -> float:
    return 11.4 - 0.3 * math.cos(n / 5)


def output(line: Callable[[int], str]) -> bytes:
    return "".join(f"{line(n)}\r\n" for n in range(LINES)).encode()


def finished(proposal: Proposal, *units: str) -> Description:
    """A proposal after a person filled in what it asks for, in order."""
    text = proposal.text
    assert text.count('= "?"') == proposal.to_fill_in == len(units)
    for unit in units:
        text = text.replace('= "?"', f'= "{unit}"', 1)
    return read_description(text, "proposed")


def all_taken(description: Description, data: bytes, *, but: int = 0) -> None:
    """Every line of the data is understood by the description that came of it."""
    reader = Reader(description)
    for number, line in enumerate(Lines(begins_whole=True).feed(data)):
        reader.take(line, number / RATE_HZ)
    assert reader.refusals.lines == but, reader.refusals.first
    assert reader.taken >= LINES - 1


@pytest.mark.parametrize(
    ("separator", "decimal", "name"),
    [
        (",", ".", "comma"),
        (", ", ".", "comma"),
        (";", ".", "semicolon"),
        (";", ",", "semicolon"),
        ("\t", ".", "tab"),
        ("\t", ",", "tab"),
        ("  ", ".", "whitespace"),
        (" ", ",", "whitespace"),
    ],
)
def test_separator_and_decimal_mark_are_found(
    separator: str, decimal: str, name: str
) -> None:
    data = output(
        lambda n: separator.join(
            f"{value:.2f}".replace(".", decimal)
            for value in (load_gf(n), bus_v(n), 3 + load_gf(n) / 50)
        )
    )
    proposal = propose(data, duration_s=LINES / RATE_HZ, begins_whole=True)
    description = finished(proposal, "gf", "V", "A")
    assert (description.separator, description.decimal) == (name, decimal)
    assert description.columns == ("field-1", "field-2", "field-3")
    assert description.exact_decimals
    assert description.rate_hz == RATE_HZ
    all_taken(description, data)


@pytest.mark.parametrize(
    ("unit", "stamp"),
    [
        ("us", lambda n: f"{700 + n * 12_500}"),
        ("ms", lambda n: f"{n * 25 // 2}"),
        ("s", lambda n: f"{n * 0.0125:.4f}"),
    ],
)
@pytest.mark.parametrize("duration_s", [LINES / RATE_HZ, None])
def test_a_clock_and_its_unit_are_found(
    unit: str, stamp: Callable[[int], str], duration_s: float | None
) -> None:
    data = output(lambda n: f"{load_gf(n):.1f},{stamp(n)},{bus_v(n):.3f}")
    proposal = propose(data, duration_s=duration_s, begins_whole=True)
    description = finished(proposal, "gf", "V")
    assert description.time is not None
    assert (description.time.column, description.time.unit) == ("field-2", unit)
    assert description.rate_hz == pytest.approx(RATE_HZ, rel=0.01)
    all_taken(description, data)


def test_a_clock_that_wraps_is_seen_to() -> None:
    data = output(
        lambda n: f"{(2**32 - 500_000 + n * 12_500) % 2**32},{load_gf(n):.1f}"
    )
    description = finished(propose(data, begins_whole=True), "gf")
    assert description.time is not None
    assert description.time.wraps_at == 2**32
    all_taken(description, data)


def test_a_clock_that_jumps_back_once_is_still_one_and_that_is_told() -> None:
    data = output(
        lambda n: f"{900_000 * (n < 70) + n * 25 // 2},{load_gf(n):.1f},{bus_v(n):.3f}"
    )
    proposal = propose(data, begins_whole=True)
    description = finished(proposal, "gf", "V")
    assert description.time is not None
    assert description.time.column == "field-1"
    assert description.rate_hz == pytest.approx(RATE_HZ, rel=0.01)
    assert any("jumps back 1 x" in said for said in proposal.seen)


def test_lines_that_are_missing_do_not_change_the_rate_of_a_clock() -> None:
    data = output(lambda n: f"{n * 25 // 2 + 4000 * (n > 60)},{load_gf(n):.1f}")
    description = finished(propose(data, begins_whole=True), "gf")
    assert description.rate_hz == pytest.approx(RATE_HZ, rel=0.01)


def test_remarks_are_no_samples_and_are_counted_apart() -> None:
    data = output(
        lambda n: "# still here" if n % 12 == 5 else f"{load_gf(n):.1f},{bus_v(n):.2f}"
    )
    proposal = propose(data, duration_s=1.0, begins_whole=True)
    assert finished(proposal, "gf", "V").rate_hz == LINES - LINES // 12
    assert f"{LINES // 12} begin with #: skipped." in proposal.seen


@pytest.mark.parametrize("column", ["pulse_us", "throttle [us]", "us of pwm us"])
def test_the_throttle_is_proposed_as_the_pulse_that_adopting_wants(column: str) -> None:
    head = f"load_g,{column}\n".encode()
    data = head + output(lambda n: f"{load_gf(n):.1f},{1000 + 50 * (n // 20)}")
    channels = finished(propose(data, begins_whole=True)).channels
    assert [(c.name, c.unit) for c in channels] == [("thrust", "g"), ("pulse", "us")]


def test_a_throttle_in_percent_is_told_how_to_be_described() -> None:
    data = b"load_g,throttle %\n" + output(lambda n: f"{load_gf(n):.1f},{n // 20}")
    proposal = propose(data, begins_whole=True)
    assert 'unit = "us", scale = 10, offset = 1000' in proposal.text
    assert finished(proposal, "us").channels[1].name == "pulse"


def test_a_rate_that_nobody_can_know_is_asked_for() -> None:
    data = output(lambda n: f"{load_gf(n):.1f},{bus_v(n):.2f}")
    said = " ".join(propose(data, begins_whole=True).seen)
    assert "put the right rate_hz there" in said
    said = " ".join(propose(data, duration_s=1.5, begins_whole=True).seen)
    assert "rate_hz" not in said


def test_a_counter_of_lines_is_no_clock() -> None:
    data = output(lambda n: f"{n},{load_gf(n):.1f}")
    proposal = propose(data, begins_whole=True)
    description = finished(proposal, "gf")
    assert description.time is None
    assert '"field-1" counts lines: left aside.' in proposal.seen
    all_taken(description, data)


def test_a_column_that_rises_at_no_likely_rate_is_no_clock() -> None:
    data = output(lambda n: f"{n * 9:.0f},{load_gf(n):.1f}")
    assert 'column = "field-1"' in propose(data, duration_s=1.5).text
    proposal = propose(data, duration_s=1e6, begins_whole=True)
    assert finished(proposal, "gf", "gf").time is None


def test_more_channels_than_fit_are_left_out_and_named() -> None:
    data = output(lambda n: " ".join(f"{load_gf(n + 31 * k):.1f}" for k in range(16)))
    proposal = propose(data, duration_s=1.5, begins_whole=True)
    assert len(finished(proposal, *["gf"] * 14).channels) == 14
    assert any('"field-15", "field-16" left out' in said for said in proposal.seen)


def test_pulses_a_turn_are_asked_for() -> None:
    data = output(lambda n: f"tacho_Hz={700 + n % 9}")
    proposal = propose(data, duration_s=1.5, begins_whole=True)
    assert (proposal.to_fill_in, 'unit = "Hz"' in proposal.text) == (1, True)
    text = proposal.text.replace('"?"  # fill in', "7")
    assert read_description(text, "proposed").channels[0].pulses_per_turn == 7


def test_a_heading_gives_names_and_the_units_written_in_it() -> None:
    head = b"ready, firmware 3\r\ntime,load_g,bus (V),current [mA],state\r\n"
    data = head + output(
        lambda n: f"{n * 12_500},{load_gf(n):.1f},{bus_v(n):.2f},{1500 + n % 7},RUN"
    )
    proposal = propose(data, begins_whole=True)
    description = finished(proposal)
    assert [(c.name, c.unit, c.decimals) for c in description.channels] == [
        ("thrust", "g", 1),
        ("voltage", "V", 2),
        ("current", "mA", 0),
    ]
    assert 'No numbers are in "state": left aside.' in proposal.seen
    all_taken(description, data, but=2)


def test_comments_are_skipped_and_may_hold_the_heading() -> None:
    data = b"# load_gf, speed_rpm\n# tared\n" + output(
        lambda n: f"{load_gf(n):.1f}, {9000 + 31 * (n % 11)}"
    )
    description = finished(propose(data, begins_whole=True, duration_s=1.5))
    assert description.skip == ("#",)
    assert [(c.name, c.unit) for c in description.channels] == [
        ("thrust", "gf"),
        ("speed", "rpm"),
    ]
    all_taken(description, data)


@pytest.mark.parametrize(
    ("between", "mark"), [(" ", "="), (", ", "="), ("\t", ":"), ("; ", "=")]
)
def test_named_parts_are_found(between: str, mark: str) -> None:
    data = output(
        lambda n: between.join(
            [f"load{mark}{load_gf(n):.1f}", f"vbat{mark}{bus_v(n):.2f}", f"n{mark}x"]
        )
    )
    description = finished(propose(data, duration_s=1.5, begins_whole=True), "gf", "V")
    assert (description.form, description.mark) == ("named", mark)
    assert [c.name for c in description.channels] == ["thrust", "voltage"]
    all_taken(description, data)


def test_json_objects_are_found_and_their_texts_left_aside() -> None:
    data = output(
        lambda n: json.dumps(
            {"ms": n * 25 // 2, "load": load_gf(n), "state": "1", "amps_A": n % 7 * 0.1}
        )
    )
    proposal = propose(data, begins_whole=True)
    description = finished(proposal, "gf")
    assert description.form == "json"
    assert description.time is not None
    assert [c.column for c in description.channels] == ["load", "amps_A"]
    # Figures with all the digits of a double: kept so that 1000 times fit as well.
    assert [c.decimals for c in description.channels] == [4, 6]
    assert not description.exact_decimals
    all_taken(description, data)


def test_a_unit_is_never_guessed_and_the_file_is_refused_until_it_is_filled_in() -> (
    None
):
    data = output(lambda n: f"current={1.5 + n % 3:.1f}")
    proposal = propose(data, duration_s=1.5, begins_whole=True)
    assert proposal.to_fill_in == 1
    with pytest.raises(InputFault, match=r'channel 1.unit is "\?"; it must be one of'):
        read_description(proposal.text, "proposed")


@pytest.mark.parametrize(
    ("column", "unit"),
    [
        ("load_g", "g"),
        ("bus (V)", "V"),
        ("i [mA]", "mA"),
        ("i_ma", "mA"),
        ("RPM", "rpm"),
        ("temp_C", "degC"),
        ("torque/N m", "N m"),
        ("thrust", None),
        ("load_n", None),
        ("power_mw", None),
        ("x_s", None),
        ("", None),
    ],
)
def test_a_unit_is_read_from_a_name_only_where_it_is_sure(
    column: str, unit: str | None
) -> None:
    assert unit_in_name(column) == unit


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "nothing was heard; check cable, port"),
        (b"\xff\x80" * 400 + b"\n", "check the baud rate"),
        (b"1,2\n3,4\n", "only 1 whole lines"),
        (b"hello\n" * 20, "most of them hold no numbers"),
        (b"".join(b"%d\n" % n for n in range(20)), "a clock or a counter and nothing"),
    ],
)
def test_what_cannot_be_described_is_told_in_one_sentence(
    data: bytes, sentence: str
) -> None:
    with pytest.raises(InputFault) as caught:
        propose(data)
    assert sentence in str(caught.value)


sound = ["12.5", "3", "-4.25", "700", "1e3"]
figures = st.sampled_from(sound * 8 + ["-4,5", "nan", "RUN", "", "7."])


@st.composite
def outputs(draw: st.DrawFn) -> str:
    """Lines that mostly have one form, with damage and other text among them."""
    between = draw(st.sampled_from([",", ";", "\t", " ", ", "]))
    names = draw(
        st.lists(
            st.sampled_from(["load", "bus (V)", "i_mA", "t", "x" * 41, "a\x7f", '"']),
            min_size=1,
            max_size=4,
            unique=True,
        )
    )
    form = draw(st.sampled_from(["{1}", "{0}={1}", "{0}:{1}", "json"]))
    lines = [draw(st.sampled_from(["", "ready", between.join(names), "# tared"]))]
    for _ in range(draw(st.integers(0, 30))):
        fields = [(name, draw(figures)) for name in names]
        line = between.join(form.format(*field) for field in fields)
        if form == "json":
            line = "{" + ",".join(f"{json.dumps(k)}:{v}" for k, v in fields) + "}"
        lines.append(draw(st.sampled_from([line] * 9 + [line[:3], "?\x00"])))
    return "\n".join(lines) + "\n" + draw(st.text(max_size=20))


def proposed_or_said(data: bytes) -> Proposal | str:
    try:
        return propose(data, begins_whole=True)
    except InputFault as fault:
        return str(fault)


@given(outputs())
def test_anything_gives_a_sound_proposal_or_one_sentence_and_always_the_same(
    text: str,
) -> None:
    data = text.encode("utf-8", "replace")
    first, again = proposed_or_said(data), proposed_or_said(data)
    assert first == again
    if isinstance(first, str):
        assert first.isprintable()
        return
    # A unit of the quantity that its name stands for, if it stands for one.
    filled = first.text
    for name, unit in (("thrust", "gf"), ("current", "A"), ("voltage", "V")):
        head, found, tail = filled.partition(f'name = "{name}"')
        filled = head + found + tail.replace('"?"', f'"{unit}"', 1) if found else filled
    description = read_description(filled.replace('"?"', '"V"'), "proposed")
    reader = Reader(description)
    for line in Lines(begins_whole=True).feed(data):
        reader.take(line, 0.0)
    assert reader.taken > 0
