"""The dry run: what a plan will ask of an article, before anything turns.

So that a plan that would trip or empty the pack is seen on paper. It must never
pass for a measurement: each result carries what it assumed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from daq.records.shelf import Article
from daq.units import coulomb_to_mah
from protocols.caps import capped
from protocols.dry_run import Row, walk_on_paper
from protocols.estimate import air_density_kg_m3, drive_of, power_coefficient
from protocols.held_on_paper import HELD_SHARE
from protocols.limits import Limit, brief, derive
from protocols.nearness import Budget, Nearest, Use, nearest_to_each, uses_of
from protocols.plan import Plan
from protocols.ratings import ratings_of
from protocols.rules import Rules, derive_rules

# Stages at which a person should be told. Common practice, no source.
NEAR_SHARE = 0.9
HALF_PACK = 0.5
USABLE_PACK = 0.8


@dataclass(frozen=True, slots=True)
class Preview:
    """What a plan is expected to take, and from what that follows.

    Attributes:
        duration_s: from start to end; the longest, where a hold ends by itself.
        energy_j: out of the pack.
        charge_c: out of the pack.
        peak_current_a: highest expected.
        peak_power_w: highest expected.
        pack_fraction_used: charge over rated capacity; None with a bench supply.
        rows: segment by segment.
        limits: what would be watched.
        approaches: for each limit that can be foreseen, where the plan comes nearest.
        uses: how much of each part's rating for seconds is used.
        budgets: charge and energy against what may be taken.
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
    approaches: tuple[Nearest, ...]
    uses: tuple[Use, ...]
    budgets: tuple[Budget, ...]
    assumptions: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def expected_s(self) -> float:
        """How long it is expected to take."""
        return math.fsum(row.lasts_s for row in self.rows)

    @property
    def nearest(self) -> Nearest | None:
        """The limit that the plan comes nearest to; None if none can be foreseen."""
        return max(self.approaches, key=lambda near: near.share, default=None)

    @property
    def unforeseen(self) -> tuple[str, ...]:
        """Channels with a limit that nobody can say how near the plan comes to."""
        seen = {near.channel for near in self.approaches}
        return tuple(x.channel for x in self.limits if x.channel not in seen)

    def time_words(self) -> str:
        """How long it takes; of a hold nobody knows."""
        if all(row.held is None for row in self.rows):
            return f"{self.duration_s:.0f} s"
        return (
            f"{self.expected_s / 60:.3g} min as estimated, {self.duration_s / 60:.3g} "
            "min at most"
        )

    def takes(self) -> str:
        """What it takes out of its source, in words."""
        charge = f"{brief(coulomb_to_mah(self.charge_c))} mAh"
        if self.pack_fraction_used is None:
            return charge
        return f"{charge}, {100 * self.pack_fraction_used:.0f} % of the pack"

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "duration_s": self.duration_s,
            "expected_s": self.expected_s,
            "energy_j": self.energy_j,
            "charge_c": self.charge_c,
            "peak_current_a": self.peak_current_a,
            "peak_power_w": self.peak_power_w,
            "pack_fraction_used": self.pack_fraction_used,
            "rows": [row.to_dict() for row in self.rows],
            "limits": [limit.to_dict() for limit in self.limits],
            "nearest": None if self.nearest is None else self.nearest.to_dict(),
            "approaches": [near.to_dict() for near in self.approaches],
            "unforeseen": list(self.unforeseen),
            "uses": [use.to_dict() for use in self.uses],
            "budgets": [budget.to_dict() for budget in self.budgets],
            "assumptions": list(self.assumptions),
            "warnings": list(self.warnings),
        }


def preview(
    plan: Plan,
    article: Article,
    limits: Sequence[Limit] | None = None,
    rules: Rules | None = None,
) -> Preview:
    """Estimate time, energy, charge and peaks of a plan.

    Args:
        plan: what will be walked.
        article: what it will be walked on.
        limits: what the stand will watch; without them, those that follow from
            the article alone.
        rules: what the guard will count besides; without them, those that follow
            from the article alone.

    Raises:
        InputFault: the article gives no current rating, or the plan bounds a speed
            that nothing watches.
    """
    ratings = ratings_of(article)
    if limits is None:
        limits = derive(ratings, ("current", "voltage", "speed"))
    rules = derive_rules(ratings) if rules is None else rules
    limits = capped(plan, limits)
    drive = drive_of(article, propeller_off=plan.propeller_off)
    rows = walk_on_paper(plan, drive, article)
    charge_c = math.fsum(row.charge_c for row in rows)
    energy_j = math.fsum(row.energy_j for row in rows)
    pack = article.pack
    used_frac = None if pack is None else charge_c / pack.capacity_c
    approaches = () if plan.by_hand else nearest_to_each(rows, limits, drive)
    uses = uses_of(rows, rules, drive)
    return Preview(
        duration_s=plan.duration_s,
        energy_j=energy_j,
        charge_c=charge_c,
        peak_current_a=max(row.peak.current_a for row in rows),
        peak_power_w=max(row.peak.power_w for row in rows),
        pack_fraction_used=used_frac,
        rows=rows,
        limits=limits,
        approaches=approaches,
        uses=uses,
        budgets=(
            Budget("charge", charge_c, rules.charge_c),
            Budget("energy", energy_j, rules.energy_j),
        ),
        assumptions=_assumptions(plan, article),
        warnings=(
            *_before_all(plan),
            *_limit_warnings(approaches),
            *_surge_warnings(rows, limits),
            *_use_warnings(uses),
            *_pack_warnings(used_frac, empties=bool(plan.goals)),
            *_supply_cautions(article),
            *_rating_warnings(article),
        ),
    )


def _assumptions(plan: Plan, article: Article) -> tuple[str, ...]:
    """What the estimate rests on, and which way each guess errs."""
    motor = article.motor
    said = [
        *_hold_words(plan, article),
        "First-order motor model, ideal ESC, every moment settled, no warming.",
        *_load_words(plan, article),
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


def _hold_words(plan: Plan, article: Article) -> list[str]:
    """What is held, as the estimate takes it."""
    if not plan.goals:
        return []
    said = (
        "The hold: the throttle that the thrust takes on a full pack, until "
        f"{100 * HELD_SHARE:g} % of the printed charge is drawn. Peaks and limits: at "
        "the highest throttle that it may use."
    )
    if article.propeller.thrust_coefficient is not None:
        return [said]
    return [
        said,
        "No propeller.thrust_coefficient: the throttle is taken as the hold's start, "
        "so its current and its time are guesses.",
    ]


def _load_words(plan: Plan, article: Article) -> list[str]:
    """What the motor turns, as the estimate takes it."""
    if plan.propeller_off:
        return ["No propeller: the motor turns nothing but itself."]
    propeller = article.propeller
    coefficient = brief(power_coefficient(article))
    if propeller.power_coefficient is None:
        blades = f"{propeller.blades} blade{'s' if propeller.blades > 1 else ''}"
        load = (
            f"Power coefficient {coefficient}, assumed for {blades} and on the high "
            "side; give propeller.power_coefficient once you know it."
        )
    else:
        load = f"Power coefficient {coefficient}, as the article gives it."
    return [
        load,
        f"Air of {air_density_kg_m3(article.air):.3f} kg/m^3, "
        + ("the standard atmosphere." if article.air is None else "taken as dry."),
    ]


def _source_words(article: Article) -> str:
    """What feeds the motor, as the estimate takes it."""
    rest_v = brief(article.source_v)
    if article.pack is not None:
        return f"The pack full, {rest_v} V at rest, and not emptying."
    return f"The supply at {rest_v} V whatever it gives, its current limit apart."


def _before_all(plan: Plan) -> list[str]:
    """What has to be done before anything else."""
    if plan.by_hand:
        return [
            "By hand: what the load draws is its own affair, and only you can switch "
            "it off. Nobody can say here how near it will come to a limit."
        ]
    if not plan.propeller_off:
        return []
    return ["Propeller off: this plan is for a bare motor. Take the propeller off."]


def _limit_warnings(approaches: Sequence[Nearest]) -> list[str]:
    """Each limit that the plan would cross, or else the one it comes close to."""
    beyond = [near for near in approaches if near.share >= 1]
    if beyond:
        return [f"This plan would probably trip: {near.words()}." for near in beyond]
    return [
        f"This plan comes close to a limit: {near.words()}."
        for near in approaches
        if near.share > NEAR_SHARE
    ]


def _surge_warnings(rows: Sequence[Row], limits: Sequence[Limit]) -> list[str]:
    """What a punch draws before the motor has followed."""
    surges = [row for row in rows if row.segment.kind == "punch" and row.surge_a]
    if not surges:
        return []
    row = max(surges, key=lambda row: row.surge_a or 0.0)
    surge_a = row.surge_a or 0.0
    said = (
        f"A punch from {brief(100 * row.segment.start_frac)} to "
        f"{brief(100 * row.segment.end_frac)} % draws more than its level while the "
        f"motor speeds up: at most {brief(surge_a)} A for some hundredths of a second"
    )
    bounds = [x.high for x in limits if x.channel == "current" and x.high < surge_a]
    if not bounds:
        return [f"{said}."]
    return [
        f"{said}, and the current limit is {brief(bounds[0])} A: it may trip. The "
        "rotor's inertia decides; try a lower punch_percent first."
    ]


def _use_warnings(uses: Sequence[Use]) -> list[str]:
    """Ratings for seconds that the plan would use up, or nearly."""
    said = []
    for use in uses:
        if use.share >= 1:
            said.append(f"This plan would probably trip: {use.words()}.")
        elif use.share > NEAR_SHARE:
            said.append(f"This plan comes close to a timed limit: {use.words()}.")
    return said


def _pack_warnings(used_frac: float | None, *, empties: bool) -> list[str]:
    """What the plan does to a pack."""
    if empties:
        return [
            "This plan empties the pack to its floor under load, which is what it is "
            "for: begin with a full one, stay with it, and charge it soon after."
        ]
    if used_frac is None or used_frac <= HALF_PACK:
        return []
    if used_frac > USABLE_PACK:
        return [
            f"This plan takes {100 * used_frac:.0f} % of the pack, more than the "
            f"{100 * USABLE_PACK:.0f} % that should be used: split it over two packs."
        ]
    return [
        f"This plan takes {100 * used_frac:.0f} % of the pack: expect the later "
        "levels to read low, and perhaps a trip on low voltage."
    ]


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


def _rating_warnings(article: Article) -> list[str]:
    """Ratings that are missing where they matter."""
    motor = article.motor
    if motor.max_current_a is not None or motor.short_current_a is not None:
        return []
    return [
        "The article does not rate its motor (motor.max_current_a): the current "
        "limit protects the other parts only, and small motors overheat in seconds."
    ]
