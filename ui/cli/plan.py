"""``gramwatt plan``: what a protocol will do to an article, on paper.

Prints and never opens a port. Heavy imports wait until the command runs.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.text import wrapped

if TYPE_CHECKING:
    from daq.records.shelf import Article
    from protocols.plan import Plan
    from protocols.preview import Preview

HELP = "lay a protocol out in time for an article; no hardware"
DESCRIPTION = (
    "Say what a protocol does to an article: in sentences, as a picture, as a "
    "timeline with current, power and speed as estimated, and how near it comes to "
    "each limit, timed limit and budget. Needs no hardware. Without PROTOCOL it "
    "lists the protocols that come with gramwatt."
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
    add_timed_option(parser)
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def add_timed_option(parser: argparse.ArgumentParser) -> None:
    """Which parts may be used beyond what they carry for ever."""
    parser.add_argument(
        "--timed",
        metavar="PART",
        action="append",
        default=[],
        help=(
            "let a part (plug, motor, esc) reach its rating for seconds, counted by "
            "the guard; may be given again for another part"
        ),
    )


def run(args: argparse.Namespace) -> int:
    """Print the plan, or the catalogue.

    Returns:
        The exit status, 0.

    Raises:
        GramwattError: protocol, article or option is wrong, in one sentence.
    """
    if args.protocol is None:
        return _list_catalogue(as_json=args.json)
    from protocols.caps import ruled
    from protocols.preview import preview
    from protocols.recipe import expand, load_recipe
    from ui.cli.plan_text import print_plan
    from ui.ordered import limits_for, rules_for

    recipe = load_recipe(args.protocol)
    article = chosen_article(args.article)
    plan = expand(recipe, article)
    limits = limits_for(article, args.load_cell_g, args.timed, by_hand=plan.by_hand)
    rules = ruled(plan, rules_for(article, args.timed))
    seen = preview(plan, article, limits, rules)
    if args.json:
        _print_json(plan, article, seen, recipe.told())
    else:
        print_plan(recipe, plan, article, seen, rules, is_default=args.article is None)
    return 0


def chosen_article(path: Path | None) -> Article:
    """The article asked for, or the demo's own.

    Raises:
        InputFault: the file is missing or wrong.
    """
    from daq.records.shelf import load_article
    from ui.articles import example_article

    return load_article(example_article() if path is None else path)


def _list_catalogue(*, as_json: bool) -> int:
    from protocols.recipe import catalogue_names, load_recipe

    recipes = [load_recipe(name) for name in catalogue_names()]
    if as_json:
        import json

        print(json.dumps([recipe.model_dump(mode="json") for recipe in recipes]))
        return 0
    print("Protocols in the catalogue (gramwatt plan NAME shows one):\n")
    for recipe in recipes:
        print(f"{recipe.name}: {recipe.title}, {recipe.lasts()}")
        print(wrapped(recipe.why, indent=4))
    return 0


def _print_json(plan: Plan, article: Article, seen: Preview, told: list[str]) -> None:
    import json

    print(
        json.dumps(
            {
                "article": article.to_dict(),
                "told": told,
                "plan": plan.to_dict(),
                "preview": seen.to_dict(),
            },
            indent=2,
            allow_nan=False,
        )
    )
