"""The dry run: what a plan will ask of an article, before anything turns.

So that a plan that would trip or empty the pack is seen on paper. It must never
pass for a measurement: each result carries what it assumed.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from daq.records.shelf import Article
from protocols.estimate import (
    Drive,
    Point,
    air_density_kg_m3,
    drive_of,
    operating_point,
    power_coefficient,
    thrust_n,
)
from protocols.limits import Limit, brief, derive, to_trade
from protocols.plan import Plan, Segment
from protocols.ratings import ratings_of

# Stages at which a person should be told. Common practice, no source.
NEAR_SHARE = 0.9
HALF_PACK = 0.5
USABLE_PACK = 0.8

# Even number of strips for Simpson's rule over a ramp.
_STRIPS = 64


@dataclass(frozen=True, slots=True)
class Row:
    """What one segment of the plan is expected to take.

    Attributes:
        start_s: from the start of the plan.
        segment: the segment.
        mean_current_a: over the segment.
        peak: state at its highest throttle.
        energy_j: out of the pack.
        charge_c: out of the pack.
        peak_thrust_n: at its highest throttle; None without a thrust coefficient.
    """

    start_s: float
    segment: Segment
    mean_current_a: float
    peak: Point
    energy_j: float
    charge_c: float
    peak_thrust_n: float | None

    @property
    def peak_s(self) -> float:
        """When its highest throttle is first reached, from the start of the plan."""
        if self.segment.end_frac > self.segment.start_frac:
            return self.start_s + self.segment.duration_s
        return self.start_s

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "start_s": self.start_s,
            **self.segment.to_dict(),
            "mean_current_a": self.mean_current_a,
            "peak": self.peak.to_dict(),
            "peak_thrust_n": self.peak_thrust_n,
            "energy_j": self.energy_j,
            "charge_c": self.charge_c,
        }


@dataclass(frozen=True, slots=True)
class Nearest:
    """The limit that the plan comes nearest to.

    Attributes:
        channel: which limit.
        value: what is expected there, SI.
        bound: the bound it nears, SI.
        share: 0 at rest, 1 at the bound, above 1 beyond it.
        at_s: when it first comes that near, from the start of the plan.
        throttle_frac: throttle at that moment.
    """

    channel: str
    value: float
    bound: float
    share: float
    at_s: float
    throttle_frac: float

    def words(self) -> str:
        """One clause: which limit, how near, and where."""
        value, unit = to_trade(self.channel, self.value)
        bound, _ = to_trade(self.channel, self.bound)
        return (
            f"{self.channel}, {brief(value)} {unit} expected where the limit is "
            f"{brief(bound)} {unit}, at {brief(100 * self.throttle_frac)} % throttle, "
            f"{self.at_s:.1f} s into the plan"
        )

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON; a share without measure is None."""
        return {
            "channel": self.channel,
            "value": self.value,
            "bound": self.bound,
            "share": self.share if math.isfinite(self.share) else None,
            "at_s": self.at_s,
            "throttle_frac": self.throttle_frac,
        }


@dataclass(frozen=True, slots=True)
class Preview:
    """What a plan is expected to take, and from what that follows.

    Attributes:
        duration_s: from start to end.
        energy_j: out of the pack.
        charge_c: out of the pack.
        peak_current_a: highest expected.
        peak_power_w: highest expected.
        pack_fraction_used: charge over rated capacity; None with a bench supply.
        rows: segment by segment.
        limits: what would be watched.
        nearest: the limit that the plan comes nearest to; None where none of them
            can be foreseen.
        assumptions: what the figures rest on, a sentence each.
        warnings: what a person should know before going on, a sentence each.
    """

    duration_s: float
    energy_j: float
    charge_c: float
    peak_current_a: float
    peak_power_w: float
    pack_fraction_used: float | None
    rows: tuple[Row, ...]
    limits: tuple[Limit, ...]
    nearest: Nearest | None
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "duration_s": self.duration_s,
            "energy_j": self.energy_j,
            "charge_c": self.charge_c,
            "peak_current_a": self.peak_current_a,
            "peak_power_w": self.peak_power_w,
            "pack_fraction_used": self.pack_fraction_used,
            "rows": [row.to_dict() for row in self.rows],
            "limits": [limit.to_dict() for limit in self.limits],
            "nearest": None if self.nearest is None else self.nearest.to_dict(),
            "assumptions": list(self.assumptions),
            "warnings": list(self.warnings),
        }


def preview(
    plan: Plan, article: Article, limits: Sequence[Limit] | None = None
) -> Preview:
    """Estimate time, energy, charge and peaks of a plan.

    Args:
        plan: what will be walked.
        article: what it will be walked on.
        limits: what the stand will watch; without them, those that follow from
            the article alone.

    Raises:
        InputFault: the article gives no current rating.
    """
    if limits is None:
        limits = derive(ratings_of(article), ("current", "voltage", "speed"))
    drive = drive_of(article)
    rows = tuple(_rows(plan, drive, article))
    nearest = _nearest(rows, limits, drive)
    charge_c = math.fsum(row.charge_c for row in rows)
    pack = article.pack
    used_frac = None if pack is None else charge_c / pack.capacity_c
    return Preview(
        duration_s=plan.duration_s,
        energy_j=math.fsum(row.energy_j for row in rows),
        charge_c=charge_c,
        peak_current_a=max(row.peak.current_a for row in rows),
        peak_power_w=max(row.peak.power_w for row in rows),
        pack_fraction_used=used_frac,
        rows=rows,
        limits=tuple(limits),
        nearest=nearest,
        assumptions=_assumptions(article),
        warnings=_warnings(article, nearest, used_frac),
    )


def _rows(plan: Plan, drive: Drive, article: Article) -> Iterable[Row]:
    """Each segment, integrated."""
    for index, segment in enumerate(plan.segments):
        charge_c = _integral(segment, lambda point: point.current_a, drive)
        yield Row(
            start_s=plan.start_of(index),
            segment=segment,
            mean_current_a=charge_c / segment.duration_s,
            peak=(peak := operating_point(drive, segment.max_frac)),
            energy_j=_integral(segment, lambda point: point.power_w, drive),
            charge_c=charge_c,
            peak_thrust_n=thrust_n(peak.speed_rad_s, article),
        )


def _integral(
    segment: Segment, quantity: Callable[[Point], float], drive: Drive
) -> float:
    """A quantity over the time of a segment, by Simpson's rule where it ramps."""
    if segment.kind != "ramp":
        held = quantity(operating_point(drive, segment.end_frac))
        return held * segment.duration_s
    strip_s = segment.duration_s / _STRIPS
    values = [
        quantity(operating_point(drive, segment.setpoint_at(strip * strip_s)))
        for strip in range(_STRIPS + 1)
    ]
    ends, odd, even = values[0] + values[-1], values[1::2], values[2:-1:2]
    return strip_s / 3 * (ends + 4 * math.fsum(odd) + 2 * math.fsum(even))


def _nearest(
    rows: Sequence[Row], limits: Sequence[Limit], drive: Drive
) -> Nearest | None:
    """The highest share of any limit in any row; the first of equals."""
    found = [
        Nearest(limit.channel, value, bound, share, row.peak_s, row.segment.max_frac)
        for row in rows
        for limit in limits
        for value, bound, share in _share(row, limit, drive)
    ]
    return max(found, key=lambda near: near.share, default=None)


def _share(
    row: Row, limit: Limit, drive: Drive
) -> Iterable[tuple[float, float, float]]:
    """How much of a limit's room a row uses; nothing where it cannot be told."""
    if limit.channel == "voltage":
        yield _sag_share(row.peak.voltage_v, limit, drive.source_v)
        return
    value = {
        "current": row.peak.current_a,
        "speed": row.peak.speed_rad_s,
        "thrust": row.peak_thrust_n,
    }.get(limit.channel)
    if value is not None and math.isfinite(limit.high):
        yield value, limit.high, value / limit.high


def _sag_share(
    voltage_v: float, limit: Limit, rest_v: float
) -> tuple[float, float, float]:
    """Sag as a share of the sag allowed; beyond it where even rest is too low."""
    room_v = rest_v - limit.low
    share = (rest_v - voltage_v) / room_v if room_v > 0 else math.inf
    return voltage_v, limit.low, share


def _assumptions(article: Article) -> tuple[str, ...]:
    """What the estimate rests on, and which way each guess errs."""
    motor, propeller = article.motor, article.propeller
    coefficient = brief(power_coefficient(article))
    if propeller.power_coefficient is None:
        blades = f"{propeller.blades} blade{'s' if propeller.blades > 1 else ''}"
        load = (
            f"Power coefficient {coefficient}, assumed for {blades} and on the high "
            "side; give propeller.power_coefficient once you know it."
        )
    else:
        load = f"Power coefficient {coefficient}, as the article gives it."
    said = [
        "First-order motor model, ideal ESC, every moment settled, no warming.",
        load,
        f"Air of {air_density_kg_m3(article.air):.3f} kg/m^3, "
        + ("the standard atmosphere." if article.air is None else "taken as dry."),
        _source_words(article),
    ]
    if motor.resistance_ohm is None:
        said.append(
            "No motor.resistance_ohm: taken as zero, so current errs on the high side."
        )
    if motor.no_load_current_a is None:
        said.append(
            "No motor.no_load_current_a: taken as zero, so current errs low by as much."
        )
    if article.source.resistance_mohm is None:
        table = "supply" if article.pack is None else "pack"
        said.append(
            f"No {table}.resistance_mohm: taken as zero, so sag and low voltage are "
            "not foreseen."
        )
    return tuple(said)


def _source_words(article: Article) -> str:
    """What feeds the motor, as the estimate takes it."""
    rest_v = brief(article.source_v)
    if article.pack is not None:
        return f"The pack full, {rest_v} V at rest, and not emptying."
    return f"The supply at {rest_v} V whatever it gives, its current limit apart."


def _warnings(
    article: Article, nearest: Nearest | None, used_frac: float | None
) -> tuple[str, ...]:
    """What a person should know before going on."""
    said = []
    if nearest is not None and nearest.share >= 1:
        said.append(f"This plan would probably trip: {nearest.words()}.")
    elif nearest is not None and nearest.share > NEAR_SHARE:
        said.append(f"This plan comes close to a limit: {nearest.words()}.")
    if used_frac is None:
        said += _supply_cautions(article)
    elif used_frac > USABLE_PACK:
        said.append(
            f"This plan takes {100 * used_frac:.0f} % of the pack, more than the "
            f"{100 * USABLE_PACK:.0f} % that should be used: split it over two packs."
        )
    elif used_frac > HALF_PACK:
        said.append(
            f"This plan takes {100 * used_frac:.0f} % of the pack: expect the later "
            "levels to read low, and perhaps a trip on low voltage."
        )
    motor = article.motor
    if motor.max_current_a is None and motor.short_current_a is None:
        said.append(
            "The article does not rate its motor (motor.max_current_a): the current "
            "limit protects the other parts only, and small motors overheat in seconds."
        )
    return tuple(said)


def _supply_cautions(article: Article) -> list[str]:
    """What a bench supply does that a pack does not."""
    supply = article.supply
    if supply is None:
        return []
    return [
        f"At its current limit, {brief(supply.current_limit_a)} A, the supply lets the "
        "voltage fall instead of tripping: a reading taken there says nothing about "
        "the motor.",
        "A bench supply takes no current back: an ESC that brakes the motor raises "
        "the voltage. Switch braking off, or put a large capacitor across the supply.",
    ]
