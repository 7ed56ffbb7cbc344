"""Lines read: taken whole, or refused by name; nothing wrong is ever used."""

import csv
import io
import json
import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link.columns.lines import Lines
from daq.link.columns.reading import Reader, Reason, Refusal, Sample
from tests.daq.link.columns.descriptions import (
    CHANNELS,
    HEAD,
    JSON,
    NAMED,
    WHOLE,
    described,
    one_channel,
)

NO_TIME = HEAD + CHANNELS
LINE = "1000,412.50,11080,3.214,RUN"


def taken(reader: Reader, line: str, now_s: float = 0.0) -> Sample:
    read = reader.take(line, now_s)
    assert isinstance(read, Sample), read
    return read


def why(reader: Reader, line: str, now_s: float = 0.0) -> Reason:
    read = reader.take(line, now_s)
    assert isinstance(read, Refusal), read
    return read.reason


def test_a_line_becomes_values_in_si() -> None:
    sample = taken(Reader(described()), LINE)
    assert sample.values_si == pytest.approx((412.5 * 9.80665e-3, 11.08, 3.214))
    assert (sample.time_s, sample.own_clock, sample.restarts) == (0.001, True, 0)


def test_without_a_clock_the_moment_of_arrival_is_the_time_and_the_sample_says_so() -> (
    None
):
    reader = Reader(described(NO_TIME))
    sample = taken(reader, LINE, 77.25)
    assert (sample.time_s, sample.own_clock) == (77.25, False)


def test_named_parts_are_read_in_any_order_with_others_between() -> None:
    reader = Reader(described(NAMED))
    sample = taken(reader, "ok tacho=700 extra=x load=-1.5")
    # 700 pulses a second at 7 a turn are 100 turns a second.
    assert sample.values_si == pytest.approx((-1.5 * 9.80665e-3, 200 * math.pi))


def test_a_json_object_is_read_with_others_in_it() -> None:
    reader = Reader(described(JSON))
    line = '{"tacho": 7e2, "load": -1.5, "state": {"armed": [true, null]}}'
    sample = taken(reader, line)
    assert sample.values_si == pytest.approx((-1.5 * 9.80665e-3, 200 * math.pi))


@pytest.mark.parametrize(
    ("line", "reason", "column"),
    [
        ("1000,412.50,11080,3.214", Reason.FIELD_COUNT, ""),
        ("1000,412.50,11080,3.214,RUN,", Reason.FIELD_COUNT, ""),
        ("1000,412,50,11080,3,214,RUN", Reason.FIELD_COUNT, ""),
        ("1000;412.50;11080;3.214;RUN", Reason.OTHER_TEXT, ""),
        ("kitchen stand, version 3, ready", Reason.OTHER_TEXT, ""),
        ("t,load,bus,amps,state", Reason.OTHER_TEXT, ""),
        ("1000,412.50,,3.214,RUN", Reason.CUT_SHORT, "bus"),
        ("1000,412.,11080,3.214,RUN", Reason.CUT_SHORT, "load"),
        ("1000,412.50,11080,-,RUN", Reason.CUT_SHORT, "amps"),
        ("1000,nan,11080,3.214,RUN", Reason.NOT_FINITE, "load"),
        ("1000,412.50,11080,-inf,RUN", Reason.NOT_FINITE, "amps"),
        ("1000,412.50,11080,1e999,RUN", Reason.NOT_FINITE, "amps"),
        ("1000,412.5g,11080,3.214,RUN", Reason.NOT_A_NUMBER, "load"),
        ("1000,412.50,11080,3.214,R\x00N", Reason.CONTROL, ""),
        ("-1000,412.50,11080,3.214,RUN", Reason.CLOCK_BEYOND, "t"),
        ("4294967296,412.50,11080,3.214,RUN", Reason.CLOCK_BEYOND, "t"),
    ],
)
def test_a_wrong_line_is_refused_by_name(
    line: str, reason: Reason, column: str
) -> None:
    reader = Reader(described())
    read = reader.take(line, 0.0)
    assert isinstance(read, Refusal)
    assert (read.reason, read.column) == (reason, column)
    assert (reader.refusals.lines, reader.taken) == (1, 0)
    taken(reader, LINE)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ('{"load": 1.5', Reason.CUT_SHORT),
        ('{"load": 1.5}', Reason.FIELD_MISSING),
        ('{"load": "1.5", "tacho": 7}', Reason.NOT_A_NUMBER),
        ('{"load": true, "tacho": 7}', Reason.NOT_A_NUMBER),
        ('{"load": null, "tacho": 7}', Reason.NOT_A_NUMBER),
        ('{"load": NaN, "tacho": 7}', Reason.NOT_FINITE),
        ('{"load": -Infinity, "tacho": 7}', Reason.NOT_FINITE),
        ('{"load": 1.5, "tacho": 7, "load": 2.5}', Reason.FIELD_TWICE),
        ('{"load": 1,5, "tacho": 7}', Reason.OTHER_TEXT),
        ("[1.5, 7]", Reason.OTHER_TEXT),
        ("ready", Reason.OTHER_TEXT),
        ('{"load":' + "[" * 390, Reason.CUT_SHORT),
    ],
)
def test_a_json_line_that_is_wrong_is_refused_by_name(
    line: str, reason: Reason
) -> None:
    assert why(Reader(described(JSON)), line) is reason


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("load=1.5 tacho=7 load=1.5", Reason.FIELD_TWICE),
        ("load=1.5", Reason.FIELD_MISSING),
        ("load=1,5 tacho=7", Reason.DECIMAL_MARK),
        ("load=1.5 tacho=", Reason.CUT_SHORT),
        ("ready to go", Reason.OTHER_TEXT),
    ],
)
def test_a_named_line_that_is_wrong_is_refused_by_name(
    line: str, reason: Reason
) -> None:
    assert why(Reader(described(NAMED)), line) is reason


def test_a_decimal_comma_is_read_only_where_it_is_described() -> None:
    text = HEAD.replace('"comma"', '"semicolon"') + CHANNELS
    line = LINE.replace(",", ";").replace(".", ",")
    assert why(Reader(described(text)), line) is Reason.DECIMAL_MARK
    text = text.replace("rate_hz", 'decimal = ","\nrate_hz')
    sample = taken(Reader(described(text)), line)
    assert sample.values_si == pytest.approx((412.5 * 9.80665e-3, 11.08, 3.214))


def test_an_empty_first_field_does_not_shift_the_others() -> None:
    text = HEAD.replace('"comma"', '"tab"') + CHANNELS
    columns = text.replace(', "state"]', "]")
    whole = "1000\t412.50\t11080\t3.214"
    assert taken(Reader(described(columns)), whole).values_si[2] == 3.214
    shifted = "\t1000\t412.50\t11080\t3.214"
    assert why(Reader(described(columns)), shifted) is Reason.FIELD_COUNT


def test_a_number_that_lost_digits_is_seen_where_they_are_always_as_many() -> None:
    text = WHOLE.replace("rate_hz", "exact_decimals = true\nrate_hz")
    reader = Reader(described(text))
    taken(reader, LINE)
    assert why(reader, LINE.replace("412.50", "412.5")) is Reason.DECIMALS
    assert why(reader, LINE.replace("3.214", "3")) is Reason.DECIMALS


def test_what_is_described_as_no_sample_is_not_counted_as_refused() -> None:
    reader = Reader(described())
    assert reader.take("# calibrated", 0.0) is None
    assert reader.take("   ", 0.0) is None
    assert (reader.skipped, reader.refusals.lines) == (1, 0)


def test_the_first_example_of_each_reason_is_kept_shortened_and_escaped() -> None:
    reader = Reader(described())
    for number in range(100):
        reader.take(f"\x1b[2J{number}" + "x" * 300, 0.0)
        reader.take("short,1", 0.0)
    assert reader.refusals.counts == {Reason.CONTROL: 100, Reason.FIELD_COUNT: 100}
    first = reader.refusals.first[Reason.CONTROL]
    assert first.example.startswith("\\x1b[2J0xxx")
    assert len(first.example) < 80
    assert str(first).isprintable()
    assert str(reader.refusals.first[Reason.FIELD_COUNT]) == (
        "another number of fields than described: short,1"
    )


# ------------------------------------------------------------------- its clock


def at(stamp: float) -> str:
    return f"{stamp:.0f},412.50,11080,3.214,RUN"


def test_a_clock_that_wraps_goes_on() -> None:
    reader = Reader(described())
    begun = 2**32 - 30_000
    times = [
        taken(reader, at((begun + n * 12_500) % 2**32), n * 0.0125).time_s
        for n in range(6)
    ]
    assert times == pytest.approx([(begun + n * 12_500) * 1e-6 for n in range(6)])


def test_a_clock_that_wraps_in_a_silence_goes_on() -> None:
    reader = Reader(described())
    taken(reader, at(0), 0.0)
    two_turns_s = 2 * 2**32 * 1e-6
    sample = taken(reader, at(5_000_000), two_turns_s + 5.5)
    assert sample.time_s == pytest.approx(two_turns_s + 5)


def test_a_clock_that_jumps_once_costs_one_line() -> None:
    reader = Reader(described())
    taken(reader, at(9_000_000), 0.0)
    assert why(reader, at(1_000_000), 0.0125) is Reason.CLOCK_BACK
    assert why(reader, at(900_000_000), 0.0250) is Reason.CLOCK_AHEAD
    assert taken(reader, at(9_037_500), 0.0375).restarts == 0


def test_a_clock_that_begins_again_is_refused_then_taken_up_by_arrival() -> None:
    reader = Reader(described())
    before = taken(reader, at(90_000_000), 0.0)
    assert why(reader, at(1000), 1.5) is Reason.CLOCK_BACK
    assert why(reader, at(13_500), 1.5125) is Reason.CLOCK_BACK
    after = taken(reader, at(26_000), 1.525)
    assert after.restarts == 1
    assert after.time_s - before.time_s == pytest.approx(1.525)
    assert taken(reader, at(38_500), 1.5375).time_s - after.time_s == pytest.approx(
        0.0125
    )


def test_a_clock_in_another_unit_than_described_is_never_taken_up() -> None:
    fast = Reader(described(WHOLE.replace('"us"', '"ms"')))  # it prints us
    slow = Reader(described(WHOLE.replace('"us"', '"ms"')))  # it prints s
    for n in range(800):
        fast.take(at(n * 12_500), n * 0.0125)
        slow.take(at(n * 0.0125), n * 0.0125)
    assert fast.taken == 1
    assert fast.refusals.counts[Reason.CLOCK_AHEAD] == 799
    assert slow.taken <= 161  # the two seconds in which nobody could know
    assert slow.refusals.counts[Reason.CLOCK_PACE] >= 639


def test_a_clock_that_stands_still_is_found_out() -> None:
    reader = Reader(described())
    for n in range(800):
        reader.take(at(5000), n * 0.0125)
    assert reader.taken <= 161
    assert reader.refusals.counts[Reason.CLOCK_PACE] >= 639


def test_lines_that_waited_and_come_together_are_no_jump() -> None:
    reader = Reader(described())
    for n in range(100):
        taken(reader, at(n * 12_500), 1.25)
    for n in range(100, 400):
        taken(reader, at(n * 12_500), n * 0.0125)
    assert reader.refusals.lines == 0


@given(
    st.lists(
        st.tuples(st.integers(0, 2**32 + 10), st.floats(0, 5)), min_size=1, max_size=60
    )
)
def test_whatever_a_clock_shows_time_never_steps_back(
    steps: list[tuple[int, float]],
) -> None:
    reader, now_s, last_s = Reader(described()), 0.0, -math.inf
    for stamp, passed_s in steps:
        now_s += passed_s
        read = reader.take(at(stamp), now_s)
        if isinstance(read, Sample):
            assert read.time_s >= last_s
            last_s = read.time_s
    assert reader.taken + reader.refusals.lines == len(steps)


# --------------------------------------------------------- against other readers

printed = st.decimals(-(10**6), 10**6, places=3)


@given(st.lists(st.tuples(printed, printed, printed), min_size=1, max_size=20))
def test_separated_lines_are_read_as_the_csv_module_reads_them(
    rows: list[tuple[object, object, object]],
) -> None:
    file = io.StringIO()
    csv.writer(file).writerows([("x", *row, "RUN") for row in rows])
    reader = Reader(described(NO_TIME))
    got = [
        [number.value for number in taken(reader, line).printed]
        for line in Lines(begins_whole=True).feed(file.getvalue().encode())
    ]
    second = csv.reader(io.StringIO(file.getvalue()))
    assert got == [[float(field) for field in row[1:4]] for row in second]


@given(
    st.dictionaries(st.text(), st.integers() | st.text() | st.booleans()),
    st.floats(-1e9, 1e9),
    st.integers(-(10**9), 10**9),
)
def test_json_lines_are_read_as_the_json_module_reads_them(
    others: dict[str, object], load: float, tacho: int
) -> None:
    line = json.dumps(others | {"load": load, "tacho": tacho})
    read = Reader(described(JSON)).take(line, 0.0)
    second = json.loads(line)
    assert isinstance(read, Sample)
    assert [number.value for number in read.printed] == [
        second["load"],
        second["tacho"],
    ]


# --------------------------------------------------------------------- garbage

garbage = st.lists(
    st.sampled_from([LINE, "load=1.5 tacho=7", '{"load":1,"tacho":2}', ",", "=", "{"])
    | st.text(max_size=30)
    | st.text(st.sampled_from('0123456789.,-=e{}":\t '), max_size=30),
    max_size=30,
)


@given(garbage, st.sampled_from([WHOLE, NO_TIME, NAMED, JSON]))
def test_any_line_is_a_sample_or_a_counted_refusal_and_nothing_grows(
    lines: list[str], text: str
) -> None:
    reader = Reader(described(text))
    reads = [reader.take(line, number * 0.01) for number, line in enumerate(lines)]
    samples = [read for read in reads if isinstance(read, Sample)]
    refusals = [read for read in reads if isinstance(read, Refusal)]
    assert len(samples) == reader.taken
    assert len(refusals) == reader.refusals.lines
    assert all(math.isfinite(v) for sample in samples for v in sample.values_si)
    assert all(str(refusal).isprintable() for refusal in refusals)
    assert len(reader.refusals.first) <= len(Reason)


@given(st.binary(max_size=2000), st.lists(st.integers(0, 2000), max_size=5))
def test_any_bytes_cut_anywhere_give_the_same_samples(
    data: bytes, cuts: list[int]
) -> None:
    data = f"{LINE}\n".encode() + data + f"\n{LINE}\n".encode()
    whole, cut = Reader(described(NO_TIME)), Reader(described(NO_TIME))
    expected = [whole.take(line, 1.0) for line in Lines().feed(data)]
    lines = Lines()
    edges = [0, *sorted(min(c, len(data)) for c in cuts), len(data)]
    pieces = [data[a:b] for a, b in pairwise(edges)]
    got = [cut.take(line, 1.0) for piece in pieces for line in lines.feed(piece)]
    assert got == expected
    assert cut.refusals.counts == whole.refusals.counts


def test_a_value_that_is_no_longer_finite_in_si_is_refused() -> None:
    reader = Reader(one_channel("kg", 0, "scale = 1e9"))
    assert why(reader, "9e307") is Reason.OUT_OF_RANGE
