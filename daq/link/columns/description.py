r"""A stand that prints lines of text, described by a small TOML file.

Standard library only, and the text is handed in: the keeper reads the same text that
the record keeps. Nothing may be left to guess: what the file does not say is refused
or has the one meaning given here.

    format = 1
    name = "kitchen stand"
    baud = 115200
    form = "separated"           # or "named": load=12.5 bus=11.1; or "json"
    separator = "comma"          # or "tab", "semicolon", "whitespace"; not with json
    columns = ["t", "load", "tacho", "state"]  # separated only: every field of a line
                                 # in order, the ones not used as well
    # mark = "="                 # named only: between name and value; or ":"
    decimal = "."                # or ","; left out: "."
    exact_decimals = true        # every number has as many decimals as described, so
                                 # that one cut short is seen; left out: false
    skip = ["#"]                 # lines that begin so are no samples
    rate_hz = 80                 # lines a second, nominal

    [time]                       # left out: the moment a line arrives is its time
    column = "t"
    unit = "us"                  # or "ms", "s"
    wraps_at = 4294967296        # left out: it never begins again; as printed

    [[channel]]
    name = "thrust"              # current, voltage, speed, winding-temp, plug-plus, ...
    column = "load"
    unit = "gf"                  # the quantity follows from it
    decimals = 2                 # digits printed after the decimal mark
    scale = 1.0                  # value = printed * scale + offset, in the unit
    offset = 0.0                 # left out: 1 and 0
    kind = "mean"                # or "point", "low", "high"; left out: "point"

    [[channel]]
    name = "speed"
    column = "tacho"
    unit = "Hz"
    pulses_per_turn = 7          # with Hz only
    decimals = 0

    [commands]                   # left out: it cannot be told anything; all of
                                 # them end alike, so that none runs into the next
    throttle = "T{percent:.1f}\n"  # {percent} 0 to 100, {fraction} 0 to 1, or
                                   # {us} 1000 to 2000
    stop = "S\n"                 # left out: a throttle of zero
    keep_alive = "K\n"
    keep_alive_period_s = 0.2
"""

import re
import tomllib
from dataclasses import dataclass

from daq.link.columns.commands import (
    MOST,
    Commands,
    objection_to_end,
    objection_to_text,
    objection_to_throttle,
)
from daq.link.columns.tables import Table, refusal
from daq.link.columns.trade_units import KNOWN_CHANNELS, LEAST_RANGE_SI, PULSES, UNITS
from daq.link.messages import Kind, Quantity

FORMAT = 1
MAX_CHARACTERS = 100_000
MAX_CHANNELS = 14  # counts of four bytes that one frame holds
MAX_COLUMNS = 40
MAX_DECIMALS = 9
COUNT_MAX = 2**31 - 1  # a count has four bytes, the lowest says "no reading"
MAX_RATE_HZ = 2000.0
# A clock that begins again sooner could not be told from one that jumps.
MIN_WRAP_S = 10.0

FORMS = ("separated", "named", "json")
SEPARATORS = {"comma": ",", "tab": "\t", "semicolon": ";", "whitespace": " "}
TIME_UNITS_S = {"us": 1e-6, "ms": 1e-3, "s": 1.0}
KINDS = {kind.name.lower(): kind for kind in Kind}

_TOP = (
    "format",
    "name",
    "baud",
    "form",
    "separator",
    "columns",
    "mark",
    "decimal",
    "exact_decimals",
    "skip",
    "rate_hz",
    "time",
    "channel",
    "commands",
)
_TIME = ("column", "unit", "wraps_at")
_CHANNEL = (
    "name",
    "column",
    "unit",
    "decimals",
    "scale",
    "offset",
    "kind",
    "pulses_per_turn",
)
_COMMANDS = ("throttle", "stop", "keep_alive", "keep_alive_period_s")
_CHANNEL_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,15}")
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d+\s*(#.*)?$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class StandTime:
    """The column that a stand prints its own time in.

    Attributes:
        column: its name among the columns, or its key.
        unit: ``us``, ``ms`` or ``s``.
        wraps_at: what it would print where it begins again at 0; None for never.
    """

    column: str
    unit: str
    wraps_at: float | None = None

    @property
    def unit_s(self) -> float:
        """One of its units, in seconds."""
        return TIME_UNITS_S[self.unit]


@dataclass(frozen=True, slots=True)
class Channel:
    """One column that is measured.

    Attributes:
        name: as the rest of the program knows it.
        column: its name among the columns, or its key.
        unit: one of ``trade_units.UNITS``.
        decimals: digits printed after the decimal mark.
        scale: what a printed figure is multiplied with, to be in the unit.
        offset: what is added after that, in the unit.
        kind: how a figure came out of its interval.
        pulses_per_turn: with the unit Hz, else None.
    """

    name: str
    column: str
    unit: str
    decimals: int
    scale: float = 1.0
    offset: float = 0.0
    kind: Kind = Kind.POINT
    pulses_per_turn: float | None = None

    @property
    def quantity(self) -> Quantity:
        """What is measured."""
        return UNITS[self.unit].quantity

    @property
    def step_si(self) -> float:
        """What one more in the last printed digit means in SI; may be negative."""
        scale = self.scale / (self.pulses_per_turn or 1.0)
        unit = UNITS[self.unit]
        # The difference of two close temperatures would lose its last digits.
        if unit.quantity is Quantity.TEMPERATURE:
            return scale / 10.0**self.decimals
        return unit.to_si(scale) / 10.0**self.decimals

    def to_si(self, printed: float) -> float:
        """A printed figure as an SI value."""
        value = printed * self.scale + self.offset
        return UNITS[self.unit].to_si(value / (self.pulses_per_turn or 1.0))


@dataclass(frozen=True, slots=True)
class Description:
    """All that is known of a stand that prints lines.

    Attributes:
        name: for people, and what its stand id is made of.
        baud: speed of its port, bit/s.
        form: ``separated``, ``named`` or ``json``.
        separator: a key of ``SEPARATORS``; empty with json.
        columns: names of all fields in order; empty unless separated.
        mark: between name and value; empty unless named.
        decimal: the decimal mark.
        exact_decimals: whether every number has its channel's decimals exactly.
        skip: beginnings of lines that are no samples.
        rate_hz: lines a second, nominal.
        time: its own clock; None where the moment of arrival has to do.
        channels: what it measures.
        commands: what it can be told.
    """

    name: str
    baud: int
    form: str
    separator: str
    columns: tuple[str, ...]
    mark: str
    decimal: str
    exact_decimals: bool
    skip: tuple[str, ...]
    rate_hz: float
    time: StandTime | None
    channels: tuple[Channel, ...]
    commands: Commands


def read_description(text: str, where: str) -> Description:
    """Read and check a description.

    Args:
        text: the whole TOML file.
        where: the file, as sentences name it.

    Raises:
        InputFault: it is no TOML, or what is wrong in it, by file and key.
    """
    top = Table(_parsed(text, where), where, "", _TOP)
    top.whole("format", FORMAT, FORMAT)
    form = top.choice("form", FORMS)
    separator = _separator(top, form)
    columns = _columns(top, form)
    time = _time(top, columns)
    return Description(
        name=_name(top),
        baud=top.whole("baud", 300, 4_000_000),
        form=form,
        separator=separator,
        columns=columns,
        mark=_mark(top, form),
        decimal=_decimal(top, form, separator),
        exact_decimals="exact_decimals" in top and top.flag("exact_decimals"),
        skip=_skip(top),
        rate_hz=top.number("rate_hz", 0.1, MAX_RATE_HZ),
        time=time,
        channels=_channels(top, columns, time),
        commands=_commands(top),
    )


def _parsed(text: str, where: str) -> dict[str, object]:
    if len(text) > MAX_CHARACTERS:
        raise refusal(where, f"it has more than {MAX_CHARACTERS} characters")
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as fault:
        hint = ""
        if _DECIMAL_COMMA.search(text):
            hint = "; write decimals with a point: 76.2, not 76,2"
        raise refusal(where, f"it is not valid TOML: {fault}{hint}") from None


def _name(top: Table) -> str:
    name = top.text("name")
    if not name.isprintable() or name != name.strip():
        raise top.wrong("name", "it must be one line without blanks around it")
    return name


def _separator(top: Table, form: str) -> str:
    if form != "json":
        return top.choice("separator", tuple(SEPARATORS))
    if "separator" in top:
        raise top.wrong("separator", 'it has no meaning with form "json"; take it out')
    return ""


def _columns(top: Table, form: str) -> tuple[str, ...]:
    if form != "separated":
        if "columns" in top:
            rule = f'it has no meaning with form "{form}"; take it out'
            raise top.wrong("columns", rule)
        return ()
    rule = f"name every field of a line in order, at most {MAX_COLUMNS}, each in quotes"
    columns = top.texts("columns", rule, most=MAX_COLUMNS)
    if len(set(columns)) < len(columns):
        raise top.wrong("columns", "each name may stand there once")
    return columns


def _mark(top: Table, form: str) -> str:
    if form == "named":
        return top.choice("mark", ("=", ":")) if "mark" in top else "="
    if "mark" in top:
        raise top.wrong("mark", 'it has a meaning with form "named" only; take it out')
    return ""


def _decimal(top: Table, form: str, separator: str) -> str:
    decimal = top.choice("decimal", (".", ",")) if "decimal" in top else "."
    if decimal == "," and form == "json":
        raise top.wrong("decimal", "JSON numbers have a point; take it out")
    if decimal == "," and separator == "comma":
        raise top.wrong("decimal", "a comma cannot separate the fields as well")
    return decimal


def _skip(top: Table) -> tuple[str, ...]:
    if "skip" not in top:
        return ()
    rule = 'it must be a list of beginnings such as ["#"], at most 8'
    skip = top.texts("skip", rule, most=8)
    if any(begin[0] in "+-.0123456789{" for begin in skip):
        raise top.wrong("skip", "none of them may begin as a sample does")
    return skip


def _column(table: Table, columns: tuple[str, ...]) -> str:
    column = table.text("column", most=40)
    if columns and column not in columns:
        raise table.wrong("column", f"columns has {', '.join(columns)} only")
    return column


def _time(top: Table, columns: tuple[str, ...]) -> StandTime | None:
    if "time" not in top:
        return None
    table = top.table("time", _TIME)
    column = _column(table, columns)
    unit = table.choice("unit", tuple(TIME_UNITS_S))
    if "wraps_at" not in table:
        return StandTime(column, unit)
    least = MIN_WRAP_S / TIME_UNITS_S[unit]
    return StandTime(column, unit, table.number("wraps_at", least, 2.0**53))


def _channels(
    top: Table, columns: tuple[str, ...], time: StandTime | None
) -> tuple[Channel, ...]:
    tables = top.tables("channel", _CHANNEL)
    if len(tables) > MAX_CHANNELS:
        raise top.fault(f"there are more than {MAX_CHANNELS} channels; leave some out")
    channels: list[Channel] = []
    taken = {time.column: "the time"} if time else {}
    for table in tables:
        channel = _channel(table, columns)
        if any(channel.name == other.name for other in channels):
            raise table.wrong("name", "another channel has that name")
        if channel.column in taken:
            raise table.wrong("column", f"{taken[channel.column]} is in it already")
        taken[channel.column] = channel.name
        channels.append(channel)
    return tuple(channels)


def _channel(table: Table, columns: tuple[str, ...]) -> Channel:
    name = table.text("name")
    if not _CHANNEL_NAME.fullmatch(name):
        rule = "it may hold at most 16 lower-case letters, digits and hyphens"
        raise table.wrong("name", rule)
    unit = table.choice("unit", tuple(UNITS))
    known = KNOWN_CHANNELS.get(name)
    if known not in (None, UNITS[unit].quantity):
        fitting = [key for key, other in UNITS.items() if other.quantity is known]
        raise table.wrong("unit", f"{name} is measured in {', '.join(fitting)}")
    kinds = tuple(KINDS)
    channel = Channel(
        name=name,
        column=_column(table, columns),
        unit=unit,
        decimals=table.whole("decimals", 0, MAX_DECIMALS),
        scale=_scale(table),
        offset=table.number("offset", -1e9, 1e9) if "offset" in table else 0.0,
        kind=KINDS[table.choice("kind", kinds)] if "kind" in table else Kind.POINT,
        pulses_per_turn=_pulses(table, unit),
    )
    least_si = LEAST_RANGE_SI[channel.quantity]
    if COUNT_MAX * abs(channel.step_si) < least_si:
        rule = (
            f"with that unit and scale it leaves no room for {least_si:g} "
            f"{channel.quantity.unit}; write fewer"
        )
        raise table.wrong("decimals", rule)
    return channel


def _scale(table: Table) -> float:
    if "scale" not in table:
        return 1.0
    scale = table.number("scale", -1e9, 1e9)
    if abs(scale) < 1e-12:
        raise table.wrong("scale", "a scale of nothing leaves no reading")
    return scale


def _pulses(table: Table, unit: str) -> float | None:
    if unit == PULSES:
        return table.number("pulses_per_turn", 0.01, 1000)
    if "pulses_per_turn" in table:
        rule = f'it has a meaning with unit "{PULSES}" only; take it out'
        raise table.wrong("pulses_per_turn", rule)
    return None


def _commands(top: Table) -> Commands:
    if "commands" not in top:
        return Commands()
    table = top.table("commands", _COMMANDS)
    alive = _sent(table, "keep_alive")
    if (alive is None) == ("keep_alive_period_s" in table):
        raise table.fault(
            "commands.keep_alive and commands.keep_alive_period_s belong together; "
            "write both or neither"
        )
    throttle = _sent(table, "throttle")
    stop = _sent(table, "stop")
    objection = objection_to_throttle(throttle) if throttle else None
    if objection:
        raise table.wrong("throttle", objection)
    for key, text in (("stop", stop), ("keep_alive", alive)):
        objection = objection_to_end(text, throttle) if text and throttle else None
        if objection:
            raise table.wrong(key, objection)
    period_s = table.number("keep_alive_period_s", 0.02, 10) if alive else None
    return Commands(throttle, stop, alive, period_s)


def _sent(table: Table, key: str) -> str | None:
    if key not in table:
        return None
    text = table.text(key, most=MOST)
    objection = objection_to_text(text)
    if objection:
        raise table.wrong(key, objection)
    return text
