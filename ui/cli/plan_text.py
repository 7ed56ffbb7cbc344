"""What ``gramwatt plan`` prints, in eighty columns of plain characters.

Words and figures only; everything was estimated elsewhere.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ui.cli import text
from ui.cli.sketch import MOVING, READ, sketch

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from daq.records.shelf import Article
    from protocols.dry_run import Row
    from protocols.limits import Limit
    from protocols.nearness import Nearest, Use
    from protocols.plan import Kind, Plan
    from protocols.preview import Preview
    from protocols.recipe import Recipe
    from protocols.rules import Rules

COULOMB_A_MAH = 3.6
NOTHING = "-"
# Legs that have no levels, as a stop of them is called.
APART = {"rest": "rest", "warm": "warm-up", "soak": "soak", "hold": "held"}


def print_plan(
    recipe: Recipe,
    plan: Plan,
    article: Article,
    seen: Preview,
    rules: Rules,
    *,
    is_default: bool,
) -> None:
    """Everything about one protocol on one article."""
    print(text.wrapped(f"{plan.title} ({recipe.name})"))
    print(text.wrapped(recipe.why))
    print("\nWhat it does, in order:\n")
    for number, sentence in enumerate(recipe.told(), start=1):
        print(text.wrapped(f"{number}. {sentence}", indent=2, hang=5))
    if plan.by_hand:
        _print_by_hand(article, seen, rules)
        return
    print(f"\nThrottle in %, {READ} where it is read, {MOVING} on the way there:\n")
    print(sketch(plan, seen.rows))
    simulated = " (simulated)" if article.simulated else ""
    print()
    print(text.wrapped(f"Article: {article.name}{simulated}", hang=9))
    if is_default:
        print("No --article given, so this is the demo's own.")
    print("\nTimeline, figures estimated:\n")
    print(_timeline(seen.rows))
    if any(row.held is not None for row in seen.rows):
        print("  What follows a hold begins then at the latest.")
    print()
    print(_totals(seen))
    print(_budgets(seen))
    print("\nLimits, each checked on every sample, and how near the plan comes:\n")
    print(_limit_table(seen))
    print()
    print(_timed_limits(article, seen, rules))
    print("\nThese are estimates, not measurements. They rest on:")
    for sentence in seen.assumptions:
        print(text.wrapped(f"- {sentence}", indent=2, hang=4))
    if seen.warnings:
        print()
    for sentence in seen.warnings:
        print(text.wrapped(f"Warning: {sentence}", hang=9))


def _print_by_hand(article: Article, seen: Preview, rules: Rules) -> None:
    """What is known of a load that a person switches: what is watched, no estimate."""
    print(f"\n{'Time':<14}{f'{seen.duration_s:.1f} s':>10}")
    print("\nLimits, each watched; nothing but a hand can switch the load off:\n")
    print("  channel       low    high  unit")
    for limit in seen.limits:
        print(_limit_line(limit, None).rstrip(f" {NOTHING}"))
        print(text.wrapped(_limit_words(limit), indent=6, hang=6))
    print()
    print(_timed_limits(article, seen, rules))
    print()
    for sentence in seen.warnings:
        print(text.wrapped(f"Warning: {sentence}", hang=9))


# ----------------------------------------------------------------- the timeline


def _timeline(rows: Sequence[Row]) -> str:
    """One line a level or rest: the way that leads there, and the hold."""
    lines = [
        "  start  what       throttle    move  settle    hold  current   power   speed",
        "      s                    %       s       s       s        A       W     rpm",
    ]
    lines += [_stop_line(stop) for stop in _stops(rows)]
    return "\n".join(lines)


def _stops(rows: Sequence[Row]) -> list[list[Row]]:
    """Rows gathered by what they lead to: a move opens a stop, and so does a start."""
    stops: list[list[Row]] = []
    for row in rows:
        held = stops[-1][-1].segment.kind if stops else None
        opens = row.segment.kind in ("ramp", "glide", "punch")
        # A level that needs no move to get there follows another hold.
        opens = opens or held in (None, "dwell", "warm", "burst", "soak", "hold")
        if opens or held in ("rest", "load"):
            stops.append([])
        stops[-1].append(row)
    return stops


def _stop_line(stop: list[Row]) -> str:
    from daq import units

    kinds = {row.segment.kind: row.lasts_s for row in stop}
    moves = [kinds[kind] for kind in ("ramp", "glide", "punch") if kind in kinds]
    holds = [
        kinds[kind]
        for kind in ("dwell", "rest", "warm", "burst", "soak", "hold", "load")
        if kind in kinds
    ]
    end = stop[-1]
    return (
        f"{stop[0].start_s:7.1f}  {_what(stop):<10}{100 * end.end_frac:9.3g}"
        f"{_seconds(moves)}{_seconds(_settles(kinds))}{_seconds(holds)}"
        f"{end.end.current_a:9.2f}{end.end.power_w:8.1f}"
        f"{units.rad_s_to_rpm(end.end.speed_rad_s):8.0f}"
    )


def _settles(kinds: Mapping[Kind, float]) -> list[float]:
    return [kinds["settle"]] if "settle" in kinds else []


def _what(stop: Sequence[Row]) -> str:
    """What a stop is called: rest, up 3, glide down, burst."""
    segment = stop[-1].segment
    kinds = {row.segment.kind for row in stop}
    if segment.leg in APART:
        return APART[segment.leg]
    if "glide" in kinds:
        return f"glide {segment.leg}"
    if "burst" in kinds:
        return "burst"
    if "load" in kinds:
        return f"load {segment.step + 1}"
    return f"{segment.leg} {segment.step + 1}"


def _seconds(durations_s: Sequence[float]) -> str:
    return f"{durations_s[0]:8.2f}" if durations_s else f"{NOTHING:>8}"


# ------------------------------------------------------------ totals and budgets


def _totals(seen: Preview) -> str:
    rows = (
        ("Time", _time(seen)),
        ("Peak current", f"{seen.peak_current_a:.1f} A"),
        ("Peak power", f"{seen.peak_power_w:.0f} W"),
    )
    return "\n".join(f"{name:<14}{figure:>10}" for name, figure in rows)


def _time(seen: Preview) -> str:
    """How long it takes; of a hold nobody knows."""
    if all(row.held is None for row in seen.rows):
        return f"{seen.duration_s:.1f} s"
    return seen.time_words()


def _budgets(seen: Preview) -> str:
    """Charge and energy, and what may be taken."""
    from protocols.limits import brief

    scales = {"charge": (1 / COULOMB_A_MAH, "mAh"), "energy": (1.0, "J")}
    lines = []
    for budget in seen.budgets:
        scale, unit = scales[budget.name]
        figure = f"{scale * budget.expected:.0f} {unit}"
        line = f"{budget.name.capitalize():<14}{figure:>10}"
        if budget.allowed is not None and budget.share is not None:
            line += (
                f", {brief(100 * budget.share)} % of the {scale * budget.allowed:.0f} "
                f"{unit} that a spin may take"
            )
        lines.append(line)
    if seen.pack_fraction_used is None:
        lines.append("The supply does not run empty, so nothing bounds what is taken.")
    return "\n".join(lines)


# ------------------------------------------------------------------------ limits


def _limit_table(seen: Preview) -> str:
    nearest = {near.channel: near for near in seen.approaches}
    lines = [
        "  channel       low    high  unit  expected  of limit     at s  throttle",
    ]
    for limit in seen.limits:
        lines.append(_limit_line(limit, nearest.get(limit.channel)))
        lines.append(text.wrapped(_limit_words(limit), indent=6, hang=6))
    if all(limit.channel != "thrust" for limit in seen.limits):
        lines.append(
            "  Thrust: a limit of the stand; --load-cell-g GRAMS shows it here."
        )
    if seen.unforeseen:
        lines.append(
            text.wrapped(
                f"How near it comes to {' and '.join(seen.unforeseen)} cannot be "
                "foreseen: the article does not say enough.",
                indent=2,
                hang=2,
            )
        )
    if any(near.channel == "voltage" for near in seen.approaches):
        lines.append(
            "  Of the voltage's limit: the sag, as a share of the sag allowed."
        )
    if seen.nearest is not None:
        lines += ["", text.wrapped(f"Nearest: {seen.nearest.words()}.", hang=9)]
    return "\n".join(lines)


def _limit_line(limit: Limit, near: Nearest | None) -> str:
    from protocols.limits import to_trade

    low, unit = to_trade(limit.channel, limit.low)
    high, _ = to_trade(limit.channel, limit.high)
    line = f"  {limit.channel:<9}{_bound(low)}{_bound(high)}  {unit:<4}"
    if near is None:
        return f"{line}{NOTHING:>10}{NOTHING:>10}{NOTHING:>9}{NOTHING:>10}"
    value, _ = to_trade(limit.channel, near.value)
    throttle = f"{100 * near.throttle_frac:.3g} %"
    return (
        f"{line}  {_bound(value)}{_share(near.share):>10}{near.at_s:9.1f}{throttle:>10}"
    )


def _limit_words(limit: Limit) -> str:
    """Where a limit comes from, and when it acts."""
    samples = (
        "the first sample"
        if limit.persistence == 1
        else f"{limit.persistence} samples in a row"
    )
    source = f"{limit.source[:1].upper()}{limit.source[1:]}"
    return f"{source}. Acts on {samples} outside, or {limit.max_age_s:g} s of silence."


def _share(share: float) -> str:
    return f"{100 * share:.0f} %" if math.isfinite(share) else "beyond"


def _bound(value: float) -> str:
    if not math.isfinite(value):
        return f"{'none':>8}"
    digits = 0 if abs(value) >= 1000 else 1
    return f"{value:8.{digits}f}"


# ------------------------------------------------------------------ timed limits


def _timed_limits(article: Article, seen: Preview, rules: Rules) -> str:
    """Ratings for seconds that are in use, those that could be, and temperatures."""
    lines = []
    if seen.uses:
        lines += [
            "Timed limits, the square of the current counted over the whole plan:\n",
            "  part      for ever     short  for s  expected      used     at s",
        ]
        for use in seen.uses:
            lines.append(_use_line(use))
            source = f"{use.burst.source[:1].upper()}{use.burst.source[1:]}."
            lines.append(text.wrapped(source, indent=6, hang=6))
    else:
        lines.append(
            "No timed limit is in use: every part is held to its continuous rating."
        )
    lines += [text.wrapped(hint, hang=2) for hint in _could_be_timed(article, rules)]
    lines += [text.wrapped(words, hang=2) for words in _temperatures(rules)]
    if rules.plug_heat_w is not None:
        lines.append(text.wrapped(_plug_heat(article, rules), hang=2))
    return "\n".join(lines)


def _plug_heat(article: Article, rules: Rules) -> str:
    """What each pole may turn into heat, and why so much."""
    from protocols.limits import brief
    from protocols.ratings import ratings_of
    from protocols.rules import plug_heat

    timed = [burst.part for burst in rules.bursts]
    most_w, why = plug_heat(ratings_of(article), timed)
    return (
        f"Each pole of the plug may turn {brief(most_w)} W into heat for long ({why}), "
        "where the stand reads its drop; its resistance may grow no more than heat "
        "explains."
    )


def _use_line(use: Use) -> str:
    burst = use.burst
    at_s = f"{use.at_s:.1f}" if use.share > 0 else NOTHING
    return (
        f"  {burst.part:<8}{burst.continuous_a:8.1f} A{burst.short_a:8.1f} A"
        f"{burst.short_s:7.1f}{use.peak_a:8.1f} A{_share(use.share):>10}{at_s:>9}"
    )


def _could_be_timed(article: Article, rules: Rules) -> list[str]:
    """Ratings for seconds that are known and not in use."""
    from protocols.rated import PARTS, parts_of
    from protocols.ratings import ratings_of

    used = {burst.part for burst in rules.bursts}
    return [
        f"--timed {key} would let the {part.name} go from {part.continuous_a:g} A to "
        f"{part.short_a:g} A for {part.short_s:g} s."
        for key, part in zip(PARTS, parts_of(ratings_of(article)), strict=True)
        if part.name not in used
        and part.continuous_a is not None
        and part.short_a is not None
        and part.short_s is not None
        and part.short_a > part.continuous_a
    ]


def _temperatures(rules: Rules) -> list[str]:
    """The hottest that parts may get; how hot they will get nobody can say here."""
    from daq import units

    known = (
        ("winding", rules.winding_max_k),
        ("ESC", rules.esc_max_k),
        ("plug", rules.plug_max_k),
    )
    return [
        f"The {name} may reach {units.k_to_c(hottest_k):.0f} C, where the stand "
        "measures it; how hot it gets cannot be foreseen."
        for name, hottest_k in known
        if hottest_k is not None
    ]
