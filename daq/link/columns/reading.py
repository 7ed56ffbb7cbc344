"""Lines to samples: each is taken whole, or refused by name and counted.

Text and arrival times in, values out. Whatever a line holds there is no exception,
and nothing of a line is used unless all of it can be. What was refused is kept as
counts by reason with the first example of each.
"""

import json
import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from typing_extensions import override

from daq.link.columns.description import SEPARATORS, Channel, Description
from daq.link.columns.numbers import NoNumber, Printed, read_number
from daq.link.columns.stand_clock import ClockFault, StandClock
from daq.link.columns.tables import escaped

EXAMPLE_CHARACTERS = 60


# By name, as printed; None for what JSON knows to be no number.
Fields = Mapping[str, str | None]


class Reason(StrEnum):
    """Why a line is no sample, in words that end a sentence."""

    FIELD_COUNT = "another number of fields than described"
    FIELD_MISSING = "a described field is missing"
    FIELD_TWICE = "a field stands there twice"
    NOT_A_NUMBER = "a described field is not a number"
    DECIMAL_MARK = "another decimal mark than described"
    DECIMALS = "another number of decimals than described"
    NOT_FINITE = "a described field is not finite"
    CUT_SHORT = "a field or the line is cut short"
    OTHER_TEXT = "other text, such as a banner, a heading or another separator"
    CONTROL = "control characters in the line"
    CLOCK_BACK = "the stand's clock jumped back"
    CLOCK_AHEAD = "the stand's clock jumped far ahead"
    CLOCK_PACE = "the stand's clock does not keep pace; is its unit right"
    CLOCK_BEYOND = "the stand's clock shows what it cannot"
    OUT_OF_RANGE = "a value is too large for what was described"


_NUMBER_REASONS = {
    NoNumber.NOT_A_NUMBER: Reason.NOT_A_NUMBER,
    NoNumber.DECIMAL_MARK: Reason.DECIMAL_MARK,
    NoNumber.NOT_FINITE: Reason.NOT_FINITE,
    NoNumber.CUT_SHORT: Reason.CUT_SHORT,
}
_CLOCK_REASONS = {
    ClockFault.BACK: Reason.CLOCK_BACK,
    ClockFault.AHEAD: Reason.CLOCK_AHEAD,
    ClockFault.PACE: Reason.CLOCK_PACE,
    ClockFault.BEYOND: Reason.CLOCK_BEYOND,
}


@dataclass(frozen=True, slots=True)
class Sample:
    """One line, taken whole.

    Attributes:
        line: the text it was read from.
        time_s: seconds that never step back.
        own_clock: the time is the stand's; else the moment the line arrived.
        restarts: how often the stand's clock had begun again so far.
        printed: the figures, one a channel of the description.
        values_si: the same in SI.
    """

    line: str
    time_s: float
    own_clock: bool
    restarts: int
    printed: tuple[Printed, ...]
    values_si: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Refusal:
    """One line that was not used.

    Attributes:
        reason: why.
        column: the field it is about, empty for the whole line.
        example: the line, shortened, control characters escaped.
    """

    reason: Reason
    column: str
    example: str

    @override
    def __str__(self) -> str:
        about = f' (field "{self.column}")' if self.column else ""
        return f"{self.reason}{about}: {self.example}"


class Refusals:
    """What was refused so far.

    Attributes:
        counts: lines by reason.
        first: the first refusal for each reason.
    """

    def __init__(self) -> None:
        self.counts: Counter[Reason] = Counter()
        self.first: dict[Reason, Refusal] = {}

    def add(self, reason: Reason, column: str, line: str) -> Refusal:
        """Count one line."""
        column = escaped(column, EXAMPLE_CHARACTERS)
        refusal = Refusal(reason, column, escaped(line, EXAMPLE_CHARACTERS))
        self.counts[reason] += 1
        self.first.setdefault(reason, refusal)
        return refusal

    @property
    def lines(self) -> int:
        """Lines refused for any reason."""
        return self.counts.total()


@dataclass(frozen=True, slots=True)
class Wrong:
    """What is wrong with a line, before it is counted."""

    reason: Reason
    column: str = ""


class _Number(str):
    """A number in a JSON line as it was printed, or what stands for none there."""

    __slots__ = ()


class Reader:
    """Takes the lines of one stand in the order they arrived.

    Attributes:
        description: what a line must hold.
        refusals: what was not used.
        taken: lines that became samples.
        skipped: lines that the description says to skip.
    """

    def __init__(self, description: Description) -> None:
        self.description = description
        self.refusals = Refusals()
        self.taken = 0
        self.skipped = 0
        time = description.time
        self._clock = StandClock(time) if time else None
        self._newest_s = float("-inf")
        self._needed = [channel.column for channel in description.channels]
        if time:
            self._needed.append(time.column)

    def take(self, line: str, now_s: float) -> Sample | Refusal | None:
        """One line that arrived at ``now_s`` on the host's clock.

        Returns:
            The sample; or why there is none; or None for a line that is described as
            none, or is blank.
        """
        text = line.strip(" ")
        if not text or text.startswith(self.description.skip):
            self.skipped += bool(text)
            return None
        read = self._read(text, now_s)
        if isinstance(read, Wrong):
            return self.refusals.add(read.reason, read.column, line)
        self.taken += 1
        return read

    def _read(self, text: str, now_s: float) -> Sample | Wrong:
        if has_controls(text):
            return Wrong(Reason.CONTROL)
        fields = self._fields(text)
        if isinstance(fields, Wrong):
            return fields
        numbers: dict[str, Printed] = {}
        for column in self._needed:
            number = self._number(fields, column)
            if isinstance(number, Wrong):
                return number
            numbers[column] = number
        printed = tuple(numbers[channel.column] for channel in self._channels)
        wrong = self._objection(printed)
        if wrong:
            return wrong
        values_si = self._values_si(printed)
        if isinstance(values_si, Wrong):
            return values_si
        time_s = self._time(numbers, now_s)
        if isinstance(time_s, Wrong):
            return time_s
        return Sample(
            line=text,
            time_s=time_s,
            own_clock=self._clock is not None,
            restarts=self._clock.restarts if self._clock else 0,
            printed=printed,
            values_si=values_si,
        )

    @property
    def _channels(self) -> tuple[Channel, ...]:
        return self.description.channels

    def _fields(self, text: str) -> Fields | Wrong:
        """All fields of a line by name, before any is looked at."""
        if self.description.form == "json":
            return json_fields(text)
        parts = split(text, self.description.separator)
        if self.description.form == "named":
            return named_fields(parts, self.description.mark)
        columns = self.description.columns
        if len(parts) == len(columns):
            return dict(zip(columns, parts, strict=True))
        numbers = [read_number(part, self.description.decimal) for part in parts]
        heard = any(isinstance(number, Printed) for number in numbers)
        return Wrong(Reason.FIELD_COUNT if heard else Reason.OTHER_TEXT)

    def _number(self, fields: Fields, column: str) -> Printed | Wrong:
        if column not in fields:
            return Wrong(Reason.FIELD_MISSING, column)
        field = fields[column]
        if field is None:
            return Wrong(Reason.NOT_A_NUMBER, column)
        number = read_number(field, self.description.decimal)
        if isinstance(number, Printed):
            return number
        if self._says_no_number(fields):
            return Wrong(Reason.OTHER_TEXT)
        return Wrong(_NUMBER_REASONS[number], column)

    def _says_no_number(self, fields: Fields) -> bool:
        """Whether every described field is words: a heading, not a damaged sample."""
        needed = [fields.get(column) for column in self._needed]
        return self.description.form == "separated" and all(
            field is not None
            and read_number(field, self.description.decimal) is NoNumber.NOT_A_NUMBER
            for field in needed
        )

    def _objection(self, printed: tuple[Printed, ...]) -> Wrong | None:
        if not self.description.exact_decimals:
            return None
        for channel, number in zip(self._channels, printed, strict=True):
            if number.decimals != channel.decimals:
                return Wrong(Reason.DECIMALS, channel.column)
        return None

    def _values_si(self, printed: tuple[Printed, ...]) -> tuple[float, ...] | Wrong:
        values_si: list[float] = []
        for channel, number in zip(self._channels, printed, strict=True):
            value_si = channel.to_si(number.value)
            if not math.isfinite(value_si):
                return Wrong(Reason.OUT_OF_RANGE, channel.column)
            values_si.append(value_si)
        return tuple(values_si)

    def _time(self, numbers: Mapping[str, Printed], now_s: float) -> float | Wrong:
        time = self.description.time
        if self._clock is None or time is None:
            read: float | ClockFault = now_s
        else:
            read = self._clock.read(numbers[time.column].value, now_s)
        if isinstance(read, ClockFault):
            return Wrong(_CLOCK_REASONS[read], time.column if time else "")
        self._newest_s = max(self._newest_s, read)
        return self._newest_s


def has_controls(text: str) -> bool:
    """Whether something is in a line that no printer means, tabs aside."""
    return not text.replace("\t", " ").isprintable()


def split(text: str, separator: str) -> list[str]:
    """The fields of a line, blanks around them taken off.

    Args:
        text: the line.
        separator: a key of ``SEPARATORS``.
    """
    if separator == "whitespace":
        return text.split()
    return [part.strip(" \t") for part in text.split(SEPARATORS[separator])]


def named_fields(parts: list[str], mark: str) -> Fields | Wrong:
    """``name=value`` parts; those without a mark say nothing that is described."""
    fields: dict[str, str | None] = {}
    for part in parts:
        name, found, value = part.partition(mark)
        if not found:
            continue
        if name.strip() in fields:
            return Wrong(Reason.FIELD_TWICE, name.strip())
        fields[name.strip()] = value.strip()
    return fields or Wrong(Reason.OTHER_TEXT)


class _Twice(ValueError):
    """A key stands twice in one JSON object."""


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """An object whose keys are all different; the standard leaves it open.

    Raises:
        _Twice: one of them is not.
    """
    made: dict[str, object] = {}
    for key, value in pairs:
        if key in made:
            raise _Twice(key)
        made[key] = value
    return made


def json_fields(text: str) -> Fields | Wrong:
    """The members of one JSON object on a line (RFC 8259)."""
    if not text.startswith("{"):
        return Wrong(Reason.OTHER_TEXT)
    try:
        read: object = json.loads(
            text,
            parse_float=_Number,
            parse_int=_Number,
            parse_constant=_Number,
            object_pairs_hook=_once,
        )
    except _Twice as fault:
        return Wrong(Reason.FIELD_TWICE, str(fault))
    except (ValueError, RecursionError):
        whole = text.endswith("}")
        return Wrong(Reason.OTHER_TEXT if whole else Reason.CUT_SHORT)
    if not isinstance(read, dict):
        return Wrong(Reason.OTHER_TEXT)
    return {key: v if isinstance(v, _Number) else None for key, v in read.items()}
