"""What some seconds of a stand's output, or a log, say about how to describe it.

Gives the text of a description with comments: what was seen, what was guessed, and
what a person has to fill in. Units are never guessed: where the output itself does
not name one, ``"?"`` stands there, and such a file is refused until it is filled in.
The same bytes give the same text.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from math import floor, log10

from daq.errors import InputFault
from daq.link.columns.description import (
    COUNT_MAX,
    FORMAT,
    MAX_CHANNELS,
    MAX_COLUMNS,
    MAX_DECIMALS,
)
from daq.link.columns.lines import Lines
from daq.link.columns.reading import has_controls
from daq.link.columns.shapes import (
    ClockSeen,
    Shape,
    find_clock,
    find_counter,
    find_shape,
)
from daq.link.columns.trade_units import KNOWN_CHANNELS, PULSES, UNITS
from daq.link.columns.writing import listed, quoted
from daq.link.messages import Quantity

MOST_LINES = 5000
LEAST_LINES = 5
FILL_IN = "?"
PULSE = "pulse"
_ROOM = 1000.0  # times what was seen, a motor at rest perhaps, must fit as well
_SKIPPED = ("#", "//", "%")
_WRAP_BY_HAND = "# wraps_at = 4294967296  # if it is a counter of 32 bits"

# The same words for every channel without a name that says what it is.
_NAMES = "fill in: thrust, current, voltage, speed, pulse, esc-temp, or a name of yours"
_PERCENT = '# A throttle in percent: unit = "us", scale = 10, offset = 1000.'

_COMMANDS = (
    "",
    "# To let a motor be spun, say what your sketch takes. It sets the throttle from",
    "# {percent} 0 to 100, {fraction} 0 to 1, or {us} 1000 to 2000; stop is left out",
    "# where a throttle of zero is all there is; the keep-alive, where your sketch",
    "# stops by itself when it stays away. Such a sketch is worth writing.",
    "# [commands]",
    '# throttle = "T{percent:.1f}\\n"',
    '# stop = "S\\n"',
    '# keep_alive = "K\\n"',
    "# keep_alive_period_s = 0.2",
)

# Words that a heading or a key may hold, and the channel they may stand for.
_HINTS = (
    (re.compile(r"thrust|force|load|weight|lift"), "thrust"),
    (re.compile(r"cur(r|rent)?|amps?|ampere|i|ibat|ma"), "current"),
    (re.compile(r"volts?|voltage|v|u|bus|vbat|batt?|vcc|mv"), "voltage"),
    (re.compile(r"rpm|speed|tacho?|rev(s)?"), "speed"),
    (re.compile(r"esc"), "esc-temp"),
    (re.compile(r"winding|motor"), "winding-temp"),
    (re.compile(r"pulse|throttle|thr|pwm"), PULSE),
)
# What is said of a plug is never the bus, whatever its unit.
_PLUG_HINTS = (
    (re.compile(r"plus|pos(itive)?|p"), "plug-plus"),
    (re.compile(r"minus|neg(ative)?|n|gnd"), "plug-minus"),
    (re.compile(r"t(emp(erature)?)?|degc"), "plug-temp"),
)
# Units that a name may carry: "load_g", "bus (V)", "amps [mA]", "rpm".
_UNIT_AT_END = re.compile(r"(?:^|[\s_(\[/-])([A-Za-z/ ]{1,5})[)\]]?$")
_MICROSECONDS = re.compile(r"(?<![A-Za-z])us\W*$")
_UNITS_BY_WORD = {unit.lower(): unit for unit in UNITS}
# Lower-case letters that could be two units: taken only as they are written.
_EXACT = frozenset({"mn", "mw", "k", "n", "a", "v", "w", "s", "us", "ms"})


@dataclass(frozen=True, slots=True)
class Proposal:
    """A description to be finished by a person.

    Attributes:
        text: the TOML file.
        seen: what was seen and guessed, a sentence each.
        to_fill_in: how many units have to be filled in before it can be read.
    """

    text: str
    seen: tuple[str, ...]
    to_fill_in: int


def propose(
    data: bytes,
    *,
    duration_s: float | None = None,
    baud: int | None = None,
    begins_whole: bool = False,
    name: str = "my stand",
) -> Proposal:
    """Propose a description.

    Args:
        data: some seconds of output, or a log.
        duration_s: how long it took to arrive; None where nobody knows.
        baud: the speed it was read at; None where nobody knows.
        begins_whole: the first byte begins a line, as in a log.
        name: what the stand shall be called.

    Raises:
        InputFault: there are no lines in it that hold numbers.
    """
    splitter = Lines(begins_whole=begins_whole)
    fed = splitter.feed(data)
    stripped = (line.strip(" ") for line in fed)
    sound = (line for line in stripped if line and not has_controls(line))
    lines = list(islice(sound, MOST_LINES))
    plain = [line for line in lines if not line.startswith(_SKIPPED)]
    if len(plain) < LEAST_LINES:
        dropped = splitter.drops.lines
        told = _too_few(data, len(plain), dropped, from_log=begins_whole)
        raise InputFault(told)
    shape = find_shape(lines if _headed_by_comment(lines) else plain)
    shape = shape or find_shape(plain)
    if shape is None or len(shape.columns) > MAX_COLUMNS:
        raise InputFault(
            f"{len(plain)} lines came, but most of them hold no numbers in an order "
            "that repeats; let the stand print one sample a line, as in 12.5,11.1,3.2."
        )
    samples = sum(not line.lstrip(" ").startswith(_SKIPPED) for line in fed)
    rate_hz = samples / duration_s if duration_s else None
    return _Draft(shape, lines, rate_hz, baud, name).proposal()


def looks_like_lines(data: bytes) -> bool:
    """Whether what came so far is text in lines, rather than noise."""
    splitter = Lines()
    lines = splitter.feed(data)
    sound = [line for line in lines if not has_controls(line)]
    return len(sound) >= LEAST_LINES and 2 * len(sound) > len(lines) + (
        splitter.drops.lines - 1
    )


def _too_few(data: bytes, lines: int, dropped: int, *, from_log: bool) -> str:
    if not data and from_log:
        return "the file is empty; keep what the stand prints in it."
    if not data:
        return "nothing was heard; check cable, port and that the stand prints."
    if from_log:
        return (
            f"{len(data)} bytes are in it, but only {lines} whole lines of text "
            f"({dropped} dropped); is it a log of lines?"
        )
    return (
        f"{len(data)} bytes came, but only {lines} whole lines of text "
        f"({dropped} dropped); check the baud rate, or listen for longer."
    )


def _headed_by_comment(lines: Sequence[str]) -> bool:
    return any(line.startswith(_SKIPPED) for line in lines)


class _Draft:
    """One proposal while it is written."""

    def __init__(
        self,
        shape: Shape,
        lines: Sequence[str],
        rate_hz: float | None,
        baud: int | None,
        name: str,
    ) -> None:
        self._shape = shape
        self._baud = baud
        self._name = name
        self._lines = len(lines)
        self._skip = tuple(
            begin for begin in _SKIPPED if any(x.startswith(begin) for x in lines)
        )
        self._comments = sum(line.startswith(_SKIPPED) for line in lines)
        self._clock = find_clock(shape, rate_hz)
        self._counter = find_counter(shape)
        self._rate_hz = rate_hz or (self._clock.rate_hz if self._clock else None)
        self._measured = rate_hz is not None
        aside = {self._counter, self._clock.column if self._clock else None}
        numeric = [column for column in shape.numeric if column not in aside]
        self._columns = numeric[:MAX_CHANNELS]
        self._left_out = numeric[MAX_CHANNELS:]
        self._to_fill_in = 0

    def proposal(self) -> Proposal:
        """The whole of it.

        Raises:
            InputFault: nothing but a clock or a counter is in the lines.
        """
        if not self._columns:
            raise InputFault(
                "the lines hold a clock or a counter and nothing else; let the stand "
                "print what it measures as well."
            )
        parts = [*self._head(), *self._time(), *self._channels(), *_COMMANDS]
        text = "\n".join(parts) + "\n"
        return Proposal(text, tuple(self._seen()), self._to_fill_in)

    def _head(self) -> list[str]:
        shape = self._shape
        baud = self._baud or 115200
        told = "" if self._baud else "  # guessed: fill in what the stand is set to"
        lines = [
            f"# Proposed from {self._lines} lines of output. Check every line that",
            f'# says "guessed", and fill in every "{FILL_IN}".',
            f"format = {FORMAT}",
            f"name = {quoted(self._name)}",
            f"baud = {baud}{told}",
            f'form = "{shape.form}"  # seen',
        ]
        if shape.separator:
            lines.append(f'separator = "{shape.separator}"  # seen')
        if shape.form == "separated":
            told = "from the heading" if shape.headed else "made up: rename as you like"
            lines.append(f"columns = {listed(shape.columns)}  # {told}")
        if shape.form == "named":
            lines.append(f'mark = "{shape.mark}"  # seen')
        if shape.form != "json":
            lines.append(f'decimal = "{shape.decimal}"  # seen')
        exact = all(self._is_exact(column) for column in self._columns)
        lines.append(f"exact_decimals = {str(exact).lower()}  # as seen so far")
        if self._skip:
            lines.append(f"skip = {listed(self._skip)}  # seen")
        return [*lines, self._rate()]

    def _is_exact(self, column: str) -> bool:
        """Whether its numbers always have as many decimals as will be described."""
        decimals, always = self._shape.decimals(column)
        values = [row[column].value for row in self._shape.rows]
        return always and _decimals_kept(decimals, values) == decimals

    def _rate(self) -> str:
        if self._rate_hz is None:
            return "rate_hz = 10.0  # guessed: fill in how many lines come a second"
        rate_hz = min(max(float(f"{self._rate_hz:.3g}"), 0.1), 2000.0)
        told = "as they arrived" if self._measured else "by the stand's own clock"
        return f"rate_hz = {rate_hz!r}  # {told}"

    def _time(self) -> list[str]:
        clock = self._clock
        if clock is None:
            return [
                "",
                "# No column looks like a clock: the moment of arrival is used.",
            ]
        lines = [
            "",
            "[time]",
            f"column = {quoted(clock.column)}  # guessed: it only rises",
        ]
        by = "by the rate" if self._measured else "by a usual rate, so check it"
        lines.append(f'unit = "{clock.unit}"  # guessed {by}')
        if clock.wraps_at is None:
            return [*lines, _WRAP_BY_HAND]
        return [*lines, f"wraps_at = {clock.wraps_at:.0f}  # seen to begin again there"]

    def _channels(self) -> list[str]:
        taken: set[str] = set()
        lines: list[str] = []
        for number, column in enumerate(self._columns, 1):
            unit = unit_in_name(column)
            name = _channel_name(column, number, unit, taken)
            if name == PULSE and unit is None and _MICROSECONDS.search(column):
                unit = "us"  # of a time it could be the stamp
            taken.add(name)
            lines += self._channel(column, name, unit)
        return lines

    def _channel(self, column: str, name: str, unit: str | None) -> list[str]:
        values = [row[column].value for row in self._shape.rows]
        decimals, _ = self._shape.decimals(column)
        known = name in KNOWN_CHANNELS
        told = "guessed from its name" if known else _NAMES
        lines = [
            "",
            f"[[channel]]  # printed {min(values):g} to {max(values):g}",
            f"name = {quoted(name)}  # {told}",
            f"column = {quoted(column)}",
        ]
        if unit is None:
            self._to_fill_in += 1
            fitting = [
                key
                for key, other in UNITS.items()
                if not known or other.quantity is KNOWN_CHANNELS[name]
            ]
            lines.append(f'unit = "{FILL_IN}"  # fill in: {", ".join(fitting)}')
        else:
            lines.append(f"unit = {quoted(unit)}  # guessed from its name")
        if unit == PULSES:
            self._to_fill_in += 1
            lines.append(f'pulses_per_turn = "{FILL_IN}"  # fill in')
        kept = _decimals_kept(decimals, values)
        told = "seen" if kept == decimals else f"kept of up to {decimals}"
        lines.append(f"decimals = {kept}  # {told}")
        if name == PULSE and unit is None:
            lines.append(_PERCENT)
        return [*lines, "# scale = 1.0", "# offset = 0.0"]

    def _seen(self) -> list[str]:
        shape = self._shape
        how = f", {shape.separator} between" if shape.separator else ""
        sentences = [
            f"{shape.fitting} of {self._lines} lines hold {len(shape.numeric)} "
            f"numbers each ({shape.form}{how})."
        ]
        if self._comments:
            begin = (
                "1 line begins" if self._comments == 1 else f"{self._comments} begin"
            )
            sentences.append(f"{begin} with {' or '.join(self._skip)}: skipped.")
        if shape.decimal == ",":
            sentences.append("Decimals have a comma.")
        words = [column for column in shape.columns if column not in shape.numeric]
        if words:
            sentences.append(f"No numbers are in {_in_words(words)}: left aside.")
        sentences.append(self._clock_seen(self._clock))
        if self._counter:
            sentences.append(f"{_in_words([self._counter])} counts lines: left aside.")
        if self._left_out:
            sentences.append(
                f"{_in_words(self._left_out)} left out: {MAX_CHANNELS} channels is the "
                "most."
            )
        if self._rate_hz is None:
            sentences.append(
                "How many lines came a second it does not say: put the right rate_hz "
                "there, every time in it follows from that."
            )
        return sentences

    def _clock_seen(self, clock: ClockSeen | None) -> str:
        if clock is None:
            return "No column looks like a clock; the moment of arrival will be used."
        jumps = (
            f" It jumps back {clock.falls} x, as after a reset or in a log of several "
            "starts."
            if clock.falls
            else ""
        )
        return (
            f"{_in_words([clock.column])} steps like a clock: in {clock.unit} that is "
            f"{clock.rate_hz:.3g} lines a second.{jumps}"
        )


def _decimals_kept(decimals: int, values: Sequence[float]) -> int:
    """So many that counts have room for far more than was seen."""
    most = max(1.0, *map(abs, values)) * _ROOM
    return max(0, min(decimals, MAX_DECIMALS, floor(log10(COUNT_MAX / most))))


def _in_words(columns: Sequence[str]) -> str:
    return ", ".join(quoted(column) for column in columns)


def unit_in_name(column: str) -> str | None:
    """The unit that a column's name carries; None where it carries none for sure."""
    found = _UNIT_AT_END.search(column)
    if found is None:
        return None
    word = found[1].strip()
    lower = word.lower()
    if word == "C":
        return "degC"
    if word in UNITS and UNITS[word].quantity is not Quantity.DURATION:
        return word
    return None if lower in _EXACT else _UNITS_BY_WORD.get(lower)


def _channel_name(column: str, number: int, unit: str | None, taken: set[str]) -> str:
    """A name of ours, by the words in the column's, that its unit does not deny."""
    words = [word for word in re.split(r"[^a-z]+", column.lower()) if word]
    hints = _PLUG_HINTS if "plug" in words else _HINTS
    for pattern, name in hints:
        said = any(pattern.fullmatch(word) for word in words)
        if said and name not in taken and _agree(name, unit):
            return name
    return f"channel-{number}"


def _agree(name: str, unit: str | None) -> bool:
    quantity: Quantity = KNOWN_CHANNELS[name]
    return unit is None or UNITS[unit].quantity is quantity
