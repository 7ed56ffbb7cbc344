"""What every page has about it, and how a template is filled in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from ui.typeset import firm

if TYPE_CHECKING:
    from jinja2 import Environment

CAUTION: Final = (
    "Figures of specimens, on the stands that they were measured on. Not "
    "safety-rated: follow the makers' instructions, local rules and qualified people."
)


@dataclass(frozen=True, slots=True)
class Link:
    """A page of the site, as its navigation names it."""

    kind: str
    href: str
    words: str


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands about every page."""

    club: str
    pages: tuple[Link, ...]
    caution: str = CAUTION


def frame_of(club: str, refused: int, *, agreed: bool) -> Frame:
    """The frame of a site."""
    pages = [
        Link("index", "index.html", "Runs"),
        Link("compare", "compare.html", "Curves and verdicts"),
        Link("read", "read.html", "How to read it"),
        Link("refused", "refused.html", f"Refused ({refused})"),
    ]
    if agreed:
        pages.insert(2, Link("stands", "stands.html", "Stands"))
    return Frame(club, tuple(pages))


def filled_in(template: str, frame: Frame, page: Any) -> bytes:
    """A template with what it shows, every text escaped."""
    text = _environment().get_template(template).render(frame=frame, page=page)
    return text.encode("utf-8")


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(_own),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_set,
    )


def _set(shown: object) -> object:
    """Text as it is put on a page; what is markup already stays as it is."""
    return firm(shown) if type(shown) is str else shown


def _own(name: str) -> str:
    package = resources.files("ui.club.site.pages")
    return package.joinpath(name).read_text(encoding="utf-8")
