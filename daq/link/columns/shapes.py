"""What shape lines of text have: form, separator, decimal mark, columns, clock.

Looks at lines only and decides by counting, so that the same lines always give the
same answer. This module must never guess what a column measures.
"""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from daq.link.columns.description import MIN_WRAP_S, TIME_UNITS_S
from daq.link.columns.numbers import Printed, read_number
from daq.link.columns.reading import Fields, Wrong, json_fields, named_fields, split

_NUMERIC_SHARE = 0.9  # of a column's fields, for it to be one of numbers
_LEAST_SHARE = 0.5  # of the lines, for a form to be believed
_STEADY_SHARE = 0.9  # of a clock's steps within a factor of 2 of their median
_FALLS_SHARE = 0.02  # and so few of them back: a reset, or a log of several starts
_WRAPS = (2.0**16, 2.0**32)
_NEAR_WRAP = 0.01
# Without a rate to go by: a clock's unit gives a rate nearest to this one. Load-cell
# converters are set to 10 or 80 samples a second; common practice, no source.
_USUAL_RATE_HZ = 80.0
_RATES_HZ = (0.5, 3000.0)
_WORDS = re.compile(r"[A-Za-z_][\w /()\[\].°%-]*")
_MARKS = ("=", ":")
MAX_NAME = 40
MIN_STEPS = 4

Row = Mapping[str, Printed]


@dataclass(frozen=True, slots=True)
class Shape:
    """How lines are laid out.

    Attributes:
        form: as in a description.
        separator: as in a description, empty with json.
        mark: as in a description, empty unless named.
        decimal: the decimal mark.
        columns: names of all columns in order.
        numeric: those that hold numbers.
        headed: the names were read from the text, not made up.
        rows: the numbers of each line that fits, by column.
        fitting: how many lines fit.
    """

    form: str
    separator: str
    mark: str
    decimal: str
    columns: tuple[str, ...]
    numeric: tuple[str, ...]
    headed: bool
    rows: tuple[Row, ...]

    @property
    def fitting(self) -> int:
        """How many lines fit."""
        return len(self.rows)

    def decimals(self, column: str) -> tuple[int, bool]:
        """Most digits printed after the mark, and whether it was always as many."""
        seen = {row[column].decimals for row in self.rows}
        return max(seen), len(seen) == 1


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """A column that steps as a clock does.

    Attributes:
        column: its name.
        unit: ``us``, ``ms`` or ``s``.
        rate_hz: lines a second by it.
        wraps_at: where it was seen to begin again, or None.
        falls: how often it jumped back otherwise, as after a reset.
    """

    column: str
    unit: str
    rate_hz: float
    wraps_at: float | None
    falls: int = 0


def find_shape(lines: Sequence[str]) -> Shape | None:
    """The shape that fits most of the lines; None where none fits half of them."""
    shapes = [_json(lines), *_named(lines), *_separated(lines)]
    kept = [shape for shape in shapes if shape and shape.numeric]
    best = max(kept, key=_worth, default=None)
    if best is None or best.fitting < _LEAST_SHARE * len(lines):
        return None
    return best


def _worth(shape: Shape) -> tuple[float, int]:
    """A wrong separator leaves fields that are no numbers, or fewer fields."""
    share = len(shape.numeric) / len(shape.columns)
    return shape.fitting * share, len(shape.numeric)


def _json(lines: Sequence[str]) -> Shape | None:
    read = [json_fields(line) for line in lines]
    objects = [one for one in read if not isinstance(one, Wrong)]
    return _keyed("json", "", "", ".", objects)


def _named(lines: Sequence[str]) -> list[Shape | None]:
    shapes: list[Shape | None] = []
    for separator in ("tab", "semicolon", "comma", "whitespace"):
        for mark in _MARKS:
            read = [named_fields(split(line, separator), mark) for line in lines]
            objects = [one for one in read if not isinstance(one, Wrong)]
            decimals = (".",) if separator == "comma" else (".", ",")
            shapes += [_keyed("named", separator, mark, d, objects) for d in decimals]
    return shapes


def _keyed(
    form: str,
    separator: str,
    mark: str,
    decimal: str,
    objects: Sequence[Fields],
) -> Shape | None:
    """A shape of lines that name their fields, in the order first seen."""
    seen = Counter(key for one in objects for key in one if _is_name(key))
    often = [key for key, n in seen.items() if n >= _NUMERIC_SHARE * len(objects)]
    read = [_numbers(one, often, decimal) for one in objects]
    numeric = tuple(key for key in often if _is_numeric(key, read))
    rows = tuple(row for row in read if all(key in row for key in numeric))
    if not numeric or not rows:
        return None
    columns = tuple(often)
    return Shape(
        form, separator, mark, decimal, columns, numeric, headed=True, rows=rows
    )


def _is_name(key: str) -> bool:
    return 0 < len(key) <= MAX_NAME and key.isprintable()


def _numbers(fields: Fields, keys: Sequence[str], decimal: str) -> Row:
    row: dict[str, Printed] = {}
    for key in keys:
        field = fields.get(key)
        number = None if field is None else read_number(field, decimal)
        if isinstance(number, Printed):
            row[key] = number
    return row


def _is_numeric(column: str, rows: Sequence[Row]) -> bool:
    return sum(column in row for row in rows) >= _NUMERIC_SHARE * len(rows) > 0


def _separated(lines: Sequence[str]) -> list[Shape | None]:
    options = [
        (separator, decimal)
        for separator in ("tab", "semicolon", "comma", "whitespace")
        for decimal in (".", ",")
        if (separator, decimal) != ("comma", ",")
    ]
    return [_one_separated(lines, *option) for option in options]


def _one_separated(lines: Sequence[str], separator: str, decimal: str) -> Shape | None:
    parts = [split(line, separator) for line in lines]
    number = [any(_number(part, decimal) for part in line) for line in parts]
    counts = Counter(
        len(line) for line, some in zip(parts, number, strict=True) if some
    )
    if not counts:
        return None
    # Of equally many the longer, since it says more.
    count = max(counts, key=lambda n: (counts[n], n))
    head = _heading(parts, count)
    columns = head or tuple(f"field-{n}" for n in range(1, count + 1))
    whole = [
        dict(zip(columns, line, strict=True))
        for line, some in zip(parts, number, strict=True)
        if some and len(line) == count
    ]
    rows = [_numbers(fields, columns, decimal) for fields in whole]
    numeric = tuple(column for column in columns if _is_numeric(column, rows))
    kept = tuple(row for row in rows if all(column in row for column in numeric))
    headed = head is not None
    return Shape("separated", separator, "", decimal, columns, numeric, headed, kept)


def _number(text: str, decimal: str) -> bool:
    return isinstance(read_number(text, decimal), Printed)


def _heading(parts: Sequence[Sequence[str]], count: int) -> tuple[str, ...] | None:
    """The first line of that many different words, if there is one."""
    for line in parts:
        words = [line[0].lstrip("#%/ "), *line[1:]] if line else []
        named = all(len(word) <= MAX_NAME and _WORDS.fullmatch(word) for word in words)
        if len(words) == count and named and len(set(words)) == count:
            return tuple(words)
    return None


def find_clock(shape: Shape, rate_hz: float | None) -> ClockSeen | None:
    """The first column that steps as a clock does.

    Args:
        shape: of the lines.
        rate_hz: lines a second as they arrived; None where nobody knows.
    """
    for column in shape.numeric:
        values = [row[column].value for row in shape.rows]
        if min(values) < 0:
            continue
        clock = _clock(column, values, rate_hz)
        if clock:
            return clock
    return None


def find_counter(shape: Shape) -> str | None:
    """The first column that counts lines, one by one."""
    for column in shape.numeric:
        values = [row[column].value for row in shape.rows]
        if _counts_lines([after - before for before, after in pairwise(values)]):
            return column
    return None


def _counts_lines(steps: Sequence[float]) -> bool:
    ones = sum(step == 1 for step in steps)
    return len(steps) >= MIN_STEPS and ones >= _STEADY_SHARE * len(steps)


def _clock(
    column: str, values: Sequence[float], rate_hz: float | None
) -> ClockSeen | None:
    steps = [after - before for before, after in pairwise(values)]
    wraps_at = _wrap(values)
    if wraps_at is not None:
        steps = [step + wraps_at if step < 0 else step for step in steps]
    falls = sum(step < 0 for step in steps)
    if len(steps) < MIN_STEPS or _counts_lines(steps):
        return None
    middle = median(steps)
    steady = [step for step in steps if middle / 2 <= step <= middle * 2]
    if middle <= 0 or len(steady) < _STEADY_SHARE * len(steps):
        return None
    if falls > _FALLS_SHARE * len(steps):
        return None
    clock = _in_unit(column, len(steady) / sum(steady), rate_hz, wraps_at)
    return clock and replace(clock, falls=falls)


def _in_unit(
    column: str, per_printed: float, rate_hz: float | None, wraps_at: float | None
) -> ClockSeen | None:
    """The unit that makes the rate most like the one known, or the usual one.

    Args:
        column: name of the column.
        per_printed: lines for each one that the clock goes on.
        rate_hz: known rate or None.
        wraps_at: where it begins again.
    """
    aim_hz = rate_hz or _USUAL_RATE_HZ
    low, high = (rate_hz / 2, rate_hz * 2) if rate_hz else _RATES_HZ
    rates = {unit: per_printed / unit_s for unit, unit_s in TIME_UNITS_S.items()}
    likely = {
        unit: rate
        for unit, rate in rates.items()
        if low <= rate <= high
        and (wraps_at is None or wraps_at * TIME_UNITS_S[unit] >= MIN_WRAP_S)
    }
    if not likely:
        return None
    unit = min(likely, key=lambda u: max(likely[u] / aim_hz, aim_hz / likely[u]))
    return ClockSeen(column, unit, likely[unit], wraps_at)


def _wrap(values: Sequence[float]) -> float | None:
    """Where a counter of 16 or 32 bits was seen to begin again."""
    falls = [pair for pair in pairwise(values) if pair[1] < pair[0]]
    for wrap in _WRAPS:
        near = wrap * _NEAR_WRAP
        if falls and all(a < wrap and a > wrap - near and b < near for a, b in falls):
            return wrap
    return None
