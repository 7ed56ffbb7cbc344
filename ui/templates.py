"""Templates of a package as every page of ours fills them in: every text escaped."""

from __future__ import annotations

from functools import cache, partial
from importlib import resources
from typing import TYPE_CHECKING

from ui.typeset import firm

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates_of(package: str) -> Environment:
    """The templates that lie in a package, by file name."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(partial(own_file, package)),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_set,
    )


def own_file(package: str, name: str) -> str:
    """A text that was shipped in a package."""
    return resources.files(package).joinpath(name).read_text(encoding="utf-8")


def _set(shown: object) -> object:
    """Text as it is put on a page; what is markup already stays as it is."""
    return firm(shown) if type(shown) is str else shown
