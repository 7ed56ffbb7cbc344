"""Trip limits: derived from ratings, tightened by hand, never loosened.

One limit a channel, in SI. The stand gets them in raw counts and checks every
sample; the guard checks again with ``inside``. This module must never let a
missing or impossible figure pass as "no limit", and imports nothing beyond the
standard library, since the keeper does.

Where no source is named, a figure here is common practice and has none.
"""

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

from daq import units
from daq.errors import InputFault
from protocols import plain
from protocols.rated import Ratings, parts_of

# What the link can carry in a limit's entry.
MAX_PERSISTENCE = 255
MIN_AGE_S = 0.01
MAX_AGE_S = 2.55

CHANNELS = ("current", "voltage", "thrust", "speed")

# Samples in a row outside before a trip, and the longest silence. One reading may
# be a glitch; load cell converters may give as few as ten readings a second; a
# sensor of revolutions loses an edge now and then; sag is slow. Common practice.
_PERSISTENCE = {"current": 3, "voltage": 10, "thrust": 2, "speed": 5}
_AGE_S = {"current": 0.1, "voltage": 0.1, "thrust": 0.5, "speed": 0.5}

# A cell mounted backwards pulls this far below zero long before it pulls apart.
BACKWARD_THRUST_SHARE = 0.1
# A current sensor wired backwards would never see too much: it shows as negative.
BACKWARD_CURRENT_SHARE = 0.25
# A full pack reads its full voltage exactly, so the limit lies above it: open
# flight controllers ship 4.3 V a cell for cells charged to 4.2 V.
FULL_CELL_MARGIN_V = 0.1
# A motor cannot outrun its own Kv: beyond it poles, Kv or the sensor are wrong.
NO_LOAD_MARGIN = 1.1
# A bench supply holds what was set; leads drop some, a braking motor lifts it.
SUPPLY_MARGIN_SHARE = 0.1


def inside(low: float, value: float, high: float) -> bool:
    """Whether a reading is within its bounds; NaN and infinities are not."""
    return math.isfinite(value) and low <= value <= high


@dataclass(frozen=True, slots=True)
class Limit:
    """The bounds of one channel, and how long it may stray.

    Attributes:
        channel: name of the channel it guards.
        low: lowest value allowed, SI; minus infinity for none.
        high: highest value allowed, SI; infinity for none.
        persistence: samples in a row outside before a trip; 1 is at once.
        max_age_s: the longest silence of the channel; beyond it trips too.
        source: where the bounds come from, in words.

    Raises:
        InputFault: it would guard nothing, everything, or cannot be sent.
    """

    channel: str
    low: float
    high: float
    persistence: int
    max_age_s: float
    source: str

    def __post_init__(self) -> None:
        if not self.channel or not self.source:
            raise InputFault("a limit must name its channel and its source.")
        if not self.low < self.high:
            raise InputFault(
                f"the {self.channel} limit runs from {self.low} to {self.high}; "
                "the low bound must lie below the high one."
            )
        if not (math.isfinite(self.low) or math.isfinite(self.high)):
            raise InputFault(f"the {self.channel} limit has no bound at all.")
        if self.low == math.inf or self.high == -math.inf:
            raise InputFault(f"nothing can lie within the {self.channel} limit.")
        if not 1 <= self.persistence <= MAX_PERSISTENCE:
            raise InputFault(
                f"the {self.channel} limit waits for {self.persistence} samples; "
                f"it must be from 1 to {MAX_PERSISTENCE}."
            )
        if not inside(MIN_AGE_S, self.max_age_s, MAX_AGE_S):
            raise InputFault(
                f"the {self.channel} limit allows a silence of {self.max_age_s} s; "
                f"it must be from {MIN_AGE_S} to {MAX_AGE_S} s."
            )

    def allows(self, value: float) -> bool:
        """Whether one reading, SI, lies within the bounds."""
        return inside(self.low, value, self.high)

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON; a missing bound is None."""
        return {
            "channel": self.channel,
            "low": self.low if math.isfinite(self.low) else None,
            "high": self.high if math.isfinite(self.high) else None,
            "persistence": self.persistence,
            "max_age_s": self.max_age_s,
            "source": self.source,
        }

    @classmethod
    def from_dict(cls, data: object) -> "Limit":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        known = tuple(item.name for item in fields(cls))
        row = plain.table(data, "a limit", known)
        return cls(
            channel=plain.text(row, "channel", "a limit"),
            low=-math.inf
            if row["low"] is None
            else plain.number(row, "low", "a limit"),
            high=(
                math.inf
                if row["high"] is None
                else plain.number(row, "high", "a limit")
            ),
            persistence=plain.whole(row, "persistence", "a limit"),
            max_age_s=plain.number(row, "max_age_s", "a limit"),
            source=plain.text(row, "source", "a limit"),
        )


def limits_from_dicts(rows: Sequence[object]) -> tuple[Limit, ...]:
    """Read a whole set, one limit a channel.

    Raises:
        InputFault: the set is empty, a channel is named twice, or one is wrong.
    """
    limits = tuple(Limit.from_dict(row) for row in rows)
    if not limits:
        raise InputFault("the set of limits is empty, so nothing would be guarded.")
    names = [limit.channel for limit in limits]
    for name in names:
        if names.count(name) > 1:
            raise InputFault(f"the set of limits names the channel {name} twice.")
    return limits


def derive(
    ratings: Ratings, channels: Collection[str], timed: Collection[str] = ()
) -> tuple[Limit, ...]:
    """Limits for the channels that a stand has; the tightest rating wins.

    Args:
        ratings: what the parts can bear.
        channels: names of the stand's channels; those not in ``CHANNELS`` are
            left unguarded.
        timed: parts, of ``rated.PARTS``, that count with their short-time current.
            A limit watches samples and cannot count seconds: the same parts must
            go to ``rules.derive_rules``, and its rules to the guard.

    Returns:
        One limit a channel, in the order of ``CHANNELS``. A speed channel gets
        none where no speed is known.

    Raises:
        InputFault: no current rating at all, a channel that needs a figure nobody
            gave, no channel that can be guarded, or a part in ``timed`` without a
            short-time rating.
    """
    current = _current_limit(ratings, timed)
    makers: dict[str, Callable[[], Limit | None]] = {
        "current": lambda: current,
        "voltage": lambda: _voltage_limit(ratings),
        "thrust": lambda: _thrust_limit(ratings),
        "speed": lambda: _speed_limit(ratings),
    }
    made = [makers[name]() for name in CHANNELS if name in channels]
    limits = tuple(limit for limit in made if limit is not None)
    if not limits:
        raise InputFault(
            "no limit can be set: the stand must measure at least one of "
            f"{', '.join(CHANNELS)}."
        )
    return limits


def _current_ratings(
    ratings: Ratings, timed: Collection[str]
) -> list[tuple[float, str]]:
    """Every current rating known, each with its words.

    Raises:
        InputFault: a part in ``timed`` has no short-time rating.
    """
    known: list[tuple[float | None, str]] = []
    for part in parts_of(ratings, timed):
        if part.timed:
            known.append((part.short_a, part.short_words))
        elif part.continuous_a is not None:
            known.append((part.continuous_a, f"{part.name} {part.continuous_a:g} A"))
    for name, value_a in (
        ("pack", ratings.pack_max_current_a),
        ("supply", ratings.supply_current_a),
    ):
        if value_a is not None:
            known.append((value_a, f"{name} {brief(value_a)} A"))
    return [(value_a, words) for value_a, words in known if value_a is not None]


def _tightest(known: Sequence[tuple[float, str]]) -> tuple[float, str]:
    """The lowest of some upper bounds, and what it beat in words."""
    (value, words), *others = sorted(known, key=lambda rating: rating[0])
    if not others:
        return value, f"{words}, the only rating known"
    return value, f"{words}, tighter than {others[0][1]}"


def _limit(channel: str, low: float, high: float, source: str) -> Limit:
    return Limit(channel, low, high, _PERSISTENCE[channel], _AGE_S[channel], source)


def _current_limit(ratings: Ratings, timed: Collection[str]) -> Limit:
    known = _current_ratings(ratings, timed)
    if not known:
        raise InputFault(
            "the article has no current rating, so nothing would stop an "
            "over-current: add at least one of plug.rated_a, motor.max_current_a, "
            "esc.continuous_a or pack.c_rate to its file."
        )
    high_a, words = _tightest(known)
    return _limit("current", -BACKWARD_CURRENT_SHARE * high_a, high_a, words)


def _voltage_limit(ratings: Ratings) -> Limit:
    if ratings.supply_v is not None:
        supply_v = ratings.supply_v
        return _limit(
            "voltage",
            (1 - SUPPLY_MARGIN_SHARE) * supply_v,
            (1 + SUPPLY_MARGIN_SHARE) * supply_v,
            f"supply {supply_v:g} V, {100 * SUPPLY_MARGIN_SHARE:g} % either way",
        )
    cells = ratings.pack_cells
    if cells is None:
        raise InputFault(
            "the voltage has no limit: add pack.cells, or supply.voltage_v, to the "
            "article's file."
        )
    low_v = ratings.pack_min_cell_v
    high_v = ratings.pack_max_cell_v + FULL_CELL_MARGIN_V
    return _limit(
        "voltage",
        cells * low_v,
        cells * high_v,
        f"{cells} cells of {brief(low_v)} V under load to {brief(high_v)} V",
    )


def _thrust_limit(ratings: Ratings) -> Limit:
    range_n = ratings.load_cell_range_n
    if range_n is None:
        raise InputFault(
            "the thrust has no limit: say what the stand's load cell is rated for."
        )
    source = f"load cell {brief(units.n_to_gf(range_n))} gf"
    return _limit("thrust", -BACKWARD_THRUST_SHARE * range_n, range_n, source)


def _speed_limit(ratings: Ratings) -> Limit | None:
    known = []
    if ratings.propeller_max_speed_rad_s is not None:
        speed_rad_s = ratings.propeller_max_speed_rad_s
        known.append((speed_rad_s, f"propeller {_rpm(speed_rad_s)}"))
    if ratings.no_load_speed_rad_s is not None:
        speed_rad_s = NO_LOAD_MARGIN * ratings.no_load_speed_rad_s
        known.append((speed_rad_s, f"motor without load {_rpm(speed_rad_s)}"))
    if not known:
        return None
    high_rad_s, words = _tightest(known)
    return _limit("speed", -math.inf, high_rad_s, words)


def _rpm(speed_rad_s: float) -> str:
    return f"{brief(units.rad_s_to_rpm(speed_rad_s))} rpm"


@dataclass(frozen=True, slots=True)
class Tightening:
    """What a person wants narrower in one limit; None leaves it as it is.

    Attributes:
        channel: which limit.
        low: new lowest value, SI.
        high: new highest value, SI.
        persistence: samples in a row outside before a trip.
        max_age_s: the longest silence.
    """

    channel: str
    low: float | None = None
    high: float | None = None
    persistence: int | None = None
    max_age_s: float | None = None


def tighten(limits: Iterable[Limit], wishes: Iterable[Tightening]) -> tuple[Limit, ...]:
    """Narrow limits by hand.

    Returns:
        The same channels in the same order, each as tight as before or tighter.

    Raises:
        InputFault: a wish would loosen a limit, is not a number, leaves no room, or
            names a channel without a limit.
    """
    narrowed = {limit.channel: limit for limit in limits}
    for wish in wishes:
        if wish.channel not in narrowed:
            raise InputFault(
                f"there is no {wish.channel} limit to tighten; there are limits on "
                f"{', '.join(narrowed) or 'nothing'}."
            )
        narrowed[wish.channel] = _narrow(narrowed[wish.channel], wish)
    return tuple(narrowed.values())


def _narrow(limit: Limit, wish: Tightening) -> Limit:
    low = limit.low if wish.low is None else wish.low
    high = limit.high if wish.high is None else wish.high
    persistence = limit.persistence if wish.persistence is None else wish.persistence
    max_age_s = limit.max_age_s if wish.max_age_s is None else wish.max_age_s
    # Each is written so that NaN is a loosening.
    kept = (
        (low >= limit.low, "low bound", low, limit.low),
        (high <= limit.high, "high bound", high, limit.high),
        (persistence <= limit.persistence, "samples", persistence, limit.persistence),
        (max_age_s <= limit.max_age_s, "silence", max_age_s, limit.max_age_s),
    )
    for is_tighter, what, asked, held in kept:
        if not is_tighter:
            raise InputFault(
                f"the {limit.channel} limit may only be tightened: {what} {asked} "
                f"would loosen {held} ({limit.source})."
            )
    return replace(
        limit,
        low=low,
        high=high,
        persistence=persistence,
        max_age_s=max_age_s,
        source=f"tightened by hand, from {limit.source}",
    )


_UNITS: Final = {
    "current": "A",
    "current-high": "A",
    "voltage": "V",
    "voltage-low": "V",
}


def to_trade(channel: str, value: float) -> tuple[float, str]:
    """A channel's value in the unit that a person reads, and that unit."""
    if channel == "thrust":
        return units.n_to_gf(value), "gf"
    if channel == "speed":
        return units.rad_s_to_rpm(value), "rpm"
    if channel.endswith("-temp"):
        return units.k_to_c(value), "degC"
    if channel.startswith("plug-"):
        return units.milli(value), "mV"
    return value, _UNITS.get(channel, "")


def allowed(limit: Limit) -> str:
    """A limit's bounds as a person reads them: 9.9 to 12.9 V, or up to 60000 rpm."""
    low, unit = to_trade(limit.channel, limit.low)
    high, _ = to_trade(limit.channel, limit.high)
    if not math.isfinite(low):
        return f"up to {brief(high)} {unit}"
    if not math.isfinite(high):
        return f"from {brief(low)} {unit}"
    return f"{brief(low)} to {brief(high)} {unit}"


def brief(value: float) -> str:
    """Three digits, never an exponent: 33.75 is 33.8, 1000 is 1000."""
    if not math.isfinite(value):
        return f"{value}"
    text = f"{float(f'{value:.3g}'):.10f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
