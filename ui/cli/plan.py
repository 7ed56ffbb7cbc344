"""``gramwatt plan``: what a protocol will do to an article, on paper.

Prints and never opens a port. Heavy imports wait until the command runs.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.text import wrapped

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from daq.records.shelf import Article
    from protocols.limits import Limit
    from protocols.plan import Plan
    from protocols.preview import Preview, Row
    from protocols.recipe import Recipe

COULOMB_A_MAH = 3.6
DEMO_ARTICLE = "indoor-quad-a.toml"

HELP = "lay a protocol out in time for an article; no hardware"
DESCRIPTION = (
    "Expand a protocol for an article and print its timeline, its time, energy, "
    "charge and peak current as estimated, and the limits that will be watched. "
    "Needs no hardware. Without PROTOCOL it lists the protocols that come with "
    "gramwatt."
)


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options.

    Args:
        subparsers: what ``ArgumentParser.add_subparsers`` returned.
    """
    parser = subparsers.add_parser("plan", help=HELP, description=DESCRIPTION)
    parser.add_argument(
        "protocol",
        metavar="PROTOCOL",
        nargs="?",
        help="a name from the catalogue, or the path of a .toml file",
    )
    parser.add_argument(
        "--article",
        metavar="FILE",
        type=Path,
        help="what is tested (default: the demo's simulated article)",
    )
    parser.add_argument(
        "--load-cell-g",
        metavar="GRAMS",
        type=float,
        help="rated load of the stand's load cell, to see the thrust limit too",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print the plan, or the catalogue.

    Returns:
        The exit status, 0.

    Raises:
        GramwattError: protocol, article or option is wrong, in one sentence.
    """
    if args.protocol is None:
        return _list_catalogue(as_json=args.json)
    from protocols.preview import preview
    from protocols.recipe import expand, load_recipe

    recipe = load_recipe(args.protocol)
    article = chosen_article(args.article)
    plan = expand(recipe)
    seen = preview(plan, article, limits_for(article, args.load_cell_g))
    if args.json:
        _print_json(plan, article, seen)
    else:
        _print_text(recipe, article, seen, is_default=args.article is None)
    return 0


def chosen_article(path: Path | None) -> Article:
    """The article asked for, or the demo's own.

    Raises:
        InputFault: the file is missing or wrong.
    """
    from daq.records.shelf import load_article

    return load_article(example_article() if path is None else path)


def example_article() -> Traversable:
    """The demo's article, as an example to copy."""
    from importlib import resources

    return resources.files("ui.cli.articles").joinpath(DEMO_ARTICLE)


def limits_for(article: Article, load_cell_g: float | None) -> tuple[Limit, ...]:
    """The limits of an article on a stand that measures all it can.

    Args:
        article: what is tested.
        load_cell_g: rated load of the stand's load cell; without it there is no
            limit on thrust.

    Raises:
        InputFault: the article gives no current rating, or the load is not above
            zero.
    """
    from daq import units
    from daq.errors import InputFault
    from protocols.limits import derive
    from protocols.ratings import ratings_of

    channels = ["current", "voltage", "speed"]
    if load_cell_g is None:
        return derive(ratings_of(article), channels)
    if not (math.isfinite(load_cell_g) and load_cell_g > 0):
        raise InputFault(f"--load-cell-g is {load_cell_g:g}; it must be above zero.")
    ratings = ratings_of(article, load_cell_range_n=units.gf_to_n(load_cell_g))
    return derive(ratings, [*channels, "thrust"])


def _list_catalogue(*, as_json: bool) -> int:
    from protocols.recipe import catalogue_names, expand, load_recipe

    recipes = [load_recipe(name) for name in catalogue_names()]
    if as_json:
        import json

        print(json.dumps([recipe.model_dump(mode="json") for recipe in recipes]))
        return 0
    print("Protocols in the catalogue (gramwatt plan NAME shows one):\n")
    for recipe in recipes:
        duration_s = expand(recipe).duration_s
        print(f"{recipe.name}: {recipe.title}, {duration_s:.0f} s")
        print(wrapped(recipe.why, indent=4))
    return 0


def _print_json(plan: Plan, article: Article, seen: Preview) -> None:
    import json

    print(
        json.dumps(
            {
                "article": article.to_dict(),
                "plan": plan.to_dict(),
                "preview": seen.to_dict(),
            },
            indent=2,
            allow_nan=False,
        )
    )


def _print_text(
    recipe: Recipe, article: Article, seen: Preview, *, is_default: bool
) -> None:
    print(f"{recipe.title} ({recipe.name})")
    print(wrapped(recipe.why))
    print(f"\nArticle: {article.name}{' (simulated)' if article.simulated else ''}")
    if is_default:
        print("No --article given, so this is the demo's own.")
    print("\nTimeline, figures estimated:\n")
    print(_timeline(seen.rows))
    print()
    print(_totals(article, seen))
    print("\nLimits, each checked on every sample:\n")
    print(_limit_table(seen.limits))
    if all(limit.channel != "thrust" for limit in seen.limits):
        print("  Thrust: a limit of the stand; --load-cell-g GRAMS shows it here.")
    if seen.nearest is not None:
        print()
        print(wrapped(f"Nearest: {seen.nearest.words()}.", hang=9))
    print("\nThese are estimates, not measurements. They rest on:")
    for sentence in seen.assumptions:
        print(wrapped(f"- {sentence}", indent=2, hang=4))
    if seen.warnings:
        print()
    for sentence in seen.warnings:
        print(wrapped(f"Warning: {sentence}", hang=9))


def _timeline(rows: tuple[Row, ...]) -> str:
    """One line a level or rest: the ramp that leads there, and the hold."""
    lines = [
        "  start  what       throttle    ramp  settle    hold  current   power   speed",
        "      s                    %       s       s       s        A       W     rpm",
    ]
    lines += [_stop_line(stop) for stop in _stops(rows)]
    return "\n".join(lines)


def _stops(rows: tuple[Row, ...]) -> list[list[Row]]:
    """Rows gathered by what they lead to: a ramp opens a stop, and so does a start."""
    stops: list[list[Row]] = []
    for row in rows:
        if not stops or row.segment.kind == "ramp":
            stops.append([])
        stops[-1].append(row)
    return stops


def _stop_line(stop: list[Row]) -> str:
    from daq import units

    kinds = {row.segment.kind: row.segment.duration_s for row in stop}
    held = stop[-1]
    segment = held.segment
    what = "rest" if segment.leg == "rest" else f"{segment.leg} {segment.step + 1}"
    point = held.peak
    return (
        f"{stop[0].start_s:7.1f}  {what:<9}{100 * segment.end_frac:10.3g}"
        f"{_seconds(kinds.get('ramp'))}{_seconds(kinds.get('settle'))}"
        f"{_seconds(kinds.get('dwell', kinds.get('rest')))}"
        f"{point.current_a:9.2f}{point.power_w:8.1f}"
        f"{units.rad_s_to_rpm(point.speed_rad_s):8.0f}"
    )


def _seconds(duration_s: float | None) -> str:
    return " " * 7 + "-" if duration_s is None else f"{duration_s:8.2f}"


def _totals(article: Article, seen: Preview) -> str:
    charge_mah = seen.charge_c / COULOMB_A_MAH
    pack = article.pack
    share = (
        ""
        if pack is None or seen.pack_fraction_used is None
        else (
            f", {100 * seen.pack_fraction_used:.0f} % of the pack's "
            f"{pack.capacity_mah:g} mAh"
        )
    )
    rows = (
        ("Time", f"{seen.duration_s:.1f}", "s"),
        ("Energy", f"{seen.energy_j:.0f}", "J"),
        (
            "Charge",
            f"{charge_mah:.0f}",
            f"mAh{share}",
        ),
        ("Peak current", f"{seen.peak_current_a:.1f}", "A"),
        ("Peak power", f"{seen.peak_power_w:.0f}", "W"),
    )
    return "\n".join(f"{name:<13}{value:>8} {unit}" for name, value, unit in rows)


def _limit_table(limits: tuple[Limit, ...]) -> str:
    from protocols.limits import to_trade

    lines = ["  channel        low    high  unit  samples outside  silence s"]
    for limit in limits:
        low, unit = to_trade(limit.channel, limit.low)
        high, _ = to_trade(limit.channel, limit.high)
        lines.append(
            f"  {limit.channel:<9}{_bound(low)}{_bound(high)}  {unit:<4}"
            f"{limit.persistence:17d}{limit.max_age_s:11.2f}"
        )
        lines.append(wrapped(limit.source, indent=4))
    return "\n".join(lines)


def _bound(value: float) -> str:
    if not math.isfinite(value):
        return f"{'none':>8}"
    digits = 0 if abs(value) >= 1000 else 1
    return f"{value:8.{digits}f}"
