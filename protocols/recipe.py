"""Protocol files: the recipe a person writes, and its expansion into a plan.

A file speaks in percent of full throttle, as people do; a plan in fractions. What
a file may hold depends on its ``kind``, each in a module of its own. This module
reads files, so the keeper never imports it: it is handed the plan.
"""

from difflib import get_close_matches
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Literal

from pydantic import ConfigDict

from daq.errors import InputFault
from daq.records.shelf import Article
from daq.typed_toml import Table, check_typed, read_typed
from protocols.endurance import Endurance
from protocols.glide import Glide
from protocols.idle_spin import IdleSpin
from protocols.load_by_hand import LoadByHand
from protocols.plan import Plan
from protocols.punch import Punch
from protocols.recipe_parts import Recipe, in_words
from protocols.staircase import Staircase

__all__ = ["Recipe", "catalogue_names", "expand", "load_recipe"]

KINDS: dict[str, type[Recipe]] = {
    "staircase": Staircase,
    "glide": Glide,
    "punch": Punch,
    "idle-spin": IdleSpin,
    "endurance": Endurance,
    "load-by-hand": LoadByHand,
}


class _Kind(Table):
    """What tells which table a file must hold; the rest is left for that one."""

    model_config = ConfigDict(extra="allow")

    format: Literal[1]
    kind: Literal[
        "staircase", "glide", "punch", "idle-spin", "endurance", "load-by-hand"
    ]


def catalogue_names() -> tuple[str, ...]:
    """The protocols that come with gramwatt, by name."""
    shipped = resources.files("protocols.catalogue").iterdir()
    return tuple(
        sorted(
            file.name.removesuffix(".toml")
            for file in shipped
            if file.name.endswith(".toml")
        )
    )


def load_recipe(source: Path | str) -> Recipe:
    """Read a protocol, shipped or a person's own.

    Args:
        source: a name from the catalogue, or a path: a ``Path``, or text that ends in
            ``.toml`` or holds a slash.

    Raises:
        InputFault: no such name or file, or what is wrong in it, by file and key.
    """
    if isinstance(source, Path) or _looks_like_a_path(source):
        return _read(Path(source))
    names = catalogue_names()
    if source not in names:
        near = get_close_matches(source, names, n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise InputFault(
            f'the catalogue has no protocol "{source}", only {in_words(names)}; '
            f"a file of your own is named with its ending .toml.{hint}"
        )
    return _read(resources.files("protocols.catalogue").joinpath(f"{source}.toml"))


def _read(file: Path | Traversable) -> Recipe:
    """One file, by the table of its kind.

    Raises:
        InputFault: what is wrong in it, by file and key.
    """
    written = read_typed(file, _Kind)
    where = str(file) if isinstance(file, Path) else file.name
    return check_typed(written.model_dump(), KINDS[written.kind], where)


def _looks_like_a_path(source: str) -> bool:
    return source.endswith(".toml") or "/" in source or "\\" in source


def expand(recipe: Recipe, article: Article | None = None) -> Plan:
    """Lay a recipe out in time.

    Args:
        recipe: what a file holds.
        article: what is tested, for a recipe that goes by it.

    Raises:
        InputFault: the plan would not be a safe one, to which a recipe that was read
            does not lead; or it needs an article, or one that says more.
    """
    return recipe.plan(article)
