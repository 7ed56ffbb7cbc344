"""What every page has about it, and how a template is filled in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from ui.templates import templates_of

PAGES: Final = "ui.club.site.pages"
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
    made = templates_of(PAGES).get_template(template)
    return made.render(frame=frame, page=page).encode("utf-8")
