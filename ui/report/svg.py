"""A chart as inline SVG that takes its colours and its type from the page.

Charts are drawn in stand-in colours, one a role, which become CSS variables
here: the page alone decides what ink is by day, by night and in print. Text
stays text, in the page's own font. What comes out depends on the chart alone:
no date, no random name, no setting of the machine it was drawn on.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from html import escape
from typing import TYPE_CHECKING, Any, Final

from markupsafe import Markup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Stand-ins: colours that no chart would use, each for what it will become. None
# is black, which the SVG writer leaves out.
INK: Final = "#010101"
MUTED: Final = "#010102"
GRID: Final = "#010103"
GRID_FINE: Final = "#010104"
SECOND: Final = "#010105"
WASH: Final = "#010106"
SHEET: Final = "#010107"
DANGER: Final = "#010108"

ROLES: Final[Mapping[str, str]] = {
    INK: "var(--ink)",
    MUTED: "var(--muted)",
    GRID: "var(--grid)",
    GRID_FINE: "var(--grid-fine)",
    SECOND: "var(--second)",
    WASH: "var(--wash)",
    SHEET: "var(--sheet)",
    DANGER: "var(--danger)",
}

TEXT_SIZE: Final = 10.5
POINTS_PER_INCH: Final = 72.0  # the SVG writer's; one point is one unit here
_DECIMALS: Final = 2

# Keys are typed by some versions of the library and text to others.
_SETTINGS: Final[Mapping[Any, Any]] = {
    "svg.fonttype": "none",
    "font.size": TEXT_SIZE,
    "text.color": MUTED,
    "axes.facecolor": SHEET,
    "axes.labelcolor": MUTED,
    "axes.edgecolor": MUTED,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "axes.formatter.use_locale": False,
    "axes.formatter.useoffset": False,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.major.size": 3,
    "ytick.major.size": 0,
    "xtick.major.width": 0.8,
    "ytick.major.pad": 5,
    "legend.frameon": False,
    "legend.fontsize": TEXT_SIZE,
    "path.simplify": False,
}


@contextmanager
def drawing(key: str) -> Iterator[None]:
    """Draw within this: our settings, whatever those of the machine are.

    Args:
        key: names the chart on its page; the names inside it follow from it.
    """
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update({**_SETTINGS, "svg.hashsalt": key})
        yield


def new_figure(width: float, height: float) -> Figure:
    """An empty, see-through figure of so many SVG units."""
    from matplotlib.figure import Figure

    size = (width / POINTS_PER_INCH, height / POINTS_PER_INCH)
    return Figure(figsize=size, facecolor="none", edgecolor="none")


def inline(figure: Figure, key: str, title: str, description: str) -> Markup:
    """The figure as an ``svg`` element; call it within ``drawing``.

    Args:
        figure: what was drawn.
        key: names the chart on its page.
        title: what it shows, for those who cannot see it.
        description: what there is to see, in words.
    """
    file = io.StringIO()
    nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
    figure.savefig(file, format="svg", metadata=nothing)
    return Markup(_opening(file.getvalue(), key, title, description))  # noqa: S704 - ours, with both texts escaped


def _opening(drawn: str, key: str, title: str, description: str) -> str:
    found = re.search(r'<svg [^>]*viewBox="([^"]*)"[^>]*>(.*)</svg>', drawn, re.DOTALL)
    if found is None:
        return ""
    box, body = found.groups()
    return (
        f'<svg viewBox="{box}" role="img" aria-labelledby="{key}-t {key}-d">'
        f'<title id="{key}-t">{escape(title)}</title>'
        f'<desc id="{key}-d">{escape(description)}</desc>'
        f"{_slim(body)}</svg>"
    )


def _slim(body: str) -> str:
    """Roles for colours, the page's font, short numbers, no name unless used."""
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<style.*?</style>", "", body, flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->", "", body, flags=re.DOTALL)
    # Two forms of one thing, by the writer's version.
    body = re.sub(r"font-family: [^;\"]*;? ?", "", body)
    body = re.sub(r"font: ([\d.]+px) [^;\"]*", r"font-size: \1", body)
    body = re.sub(r' transform="rotate\(-?0 [^"]*\)"', "", body)
    body = re.sub(r"#0101[0-9a-f]{2}", lambda role: ROLES[role[0]], body)
    used = set(re.findall(r"#(\w+)", body))
    body = re.sub(
        r' id="([^"]*)"', lambda name: name[0] if name[1] in used else "", body
    )
    body = re.sub(r"<[^>]*>", _short_inside, body)  # never what is written
    body = re.sub(r"\s*\n\s*", "\n", body)
    body = re.sub(r"\n(?=[LMz\"])", " ", body)
    return re.sub(r"<defs>\s*</defs>|<g>\s*</g>", "", body)


def _short_inside(tag: re.Match[str]) -> str:
    return re.sub(r"-?\d+\.\d+", _short, tag[0])


def _short(number: re.Match[str]) -> str:
    text = f"{float(number[0]):.{_DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
