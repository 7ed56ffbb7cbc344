"""Curves of several runs in one plot, in the trade's units, and what they do not say.

Puts side by side what was derived elsewhere. Which run is better is not for a drawing
to say: what must not be compared is told in words beside it.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ui.desktop.model.rows import Row
from ui.desktop.model.styles import Slots, Style
from ui.desktop.model.traces import Array, Family, Points, Trace
from ui.report.charts import TALLEST, THROTTLE, Axis

MOST: Final = 24  # runs in one plot: so many differ in colour and dash
BAR: Final = 2.0  # k = 2, JCGM 100:2008, 6.3.3: about 95 % where u is well known
RISING: Final = ("up", "first")
NAMED: Final = 3  # runs named in a sentence


@dataclass(frozen=True, slots=True)
class Line:
    """One run in the plot, in the units of its axes.

    Attributes:
        folder: the run.
        label: short, and different from the others.
        style: how it is drawn.
        x: the curve, shape (n,); empty where none was fitted.
        y: the same.
        low: low limit of its band.
        high: high limit.
        points_x: plateaus, shape (m,).
        points_y: the same.
        points_x_u: half the length of the bar along x of each, ``BAR`` standard
            uncertainties, shape (m,); NaN where nobody knows it.
        points_y_u: the same along y.
        rising: whether a plateau was on the way up, or in the first pass.
        words: what it is, in words: its kind, how it ended, its points.
    """

    folder: Path
    label: str
    style: Style
    x: Array
    y: Array
    low: Array
    high: Array
    points_x: Array
    points_y: Array
    points_x_u: Array
    points_y_u: Array
    rising: NDArray[np.bool_]
    words: str


@dataclass(frozen=True, slots=True)
class Overlay:
    """What to draw.

    Attributes:
        family: what against what.
        lines: the runs that have it.
        x_range: what the x axis has to show.
        y_range: what the y axis has to show.
        remarks: what must be known before anything is compared, sentences.
        simulated: some of it is; a picture has to say so.
    """

    family: Family
    lines: tuple[Line, ...]
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    remarks: tuple[str, ...]
    simulated: bool


def overlay(traces: Sequence[Trace], family: Family, slots: Slots) -> Overlay:
    """Runs in one plot, those that have what is asked for.

    Args:
        traces: the runs, at most ``MOST`` of which are drawn.
        family: what against what.
        slots: where each has its place; those that are not here lose theirs.
    """
    taken = list(traces[:MOST])
    slots.keep([t.row.folder for t in taken if t.curves or t.points])
    rows = [trace.row for trace in taken]
    labels = dict(zip((r.folder for r in rows), short_labels(rows), strict=True))
    lines = []
    for trace in taken:
        style = slots.style(trace.row.folder)
        if style is not None and trace.has(family):
            lines.append(_line(trace, family, labels[trace.row.folder], style))
    drawn = [trace for trace in taken if trace.has(family)]
    return Overlay(
        family=family,
        lines=tuple(lines),
        x_range=_x_range(lines, family.x_axis),
        y_range=_y_range(lines),
        remarks=tuple(_remarks(taken, labels, family, len(traces) - len(taken))),
        simulated=any(trace.row.simulated for trace in drawn),
    )


def _line(trace: Trace, family: Family, label: str, style: Style) -> Line:
    nothing = np.zeros(0)
    x_scale, y_scale = family.x_axis.scale, family.y_axis.scale
    curve, points = trace.curves.get(family.key), trace.points.get(family.key)
    return Line(
        folder=trace.row.folder,
        label=label,
        style=style,
        x=curve.x * x_scale if curve else nothing,
        y=curve.y * y_scale if curve else nothing,
        low=curve.low * y_scale if curve else nothing,
        high=curve.high * y_scale if curve else nothing,
        points_x=points.x * x_scale if points else nothing,
        points_y=points.y * y_scale if points else nothing,
        points_x_u=BAR * points.x_u * x_scale if points else nothing,
        points_y_u=BAR * points.y_u * y_scale if points else nothing,
        rising=_rising(points),
        words=_words(trace, family),
    )


def _rising(points: Points | None) -> NDArray[np.bool_]:
    legs = points.legs if points else ()
    return np.array([leg in RISING for leg in legs], dtype=np.bool_)


def _words(trace: Trace, family: Family) -> str:
    row = trace.row
    curve, points = trace.curves.get(family.key), trace.points.get(family.key)
    parts = [row.kind] if row.kind else []
    if row.ended != "completed" and not row.elsewhere:
        parts.append(row.ended)
    moving = points is not None and points.moving
    what = "mean of a moving throttle" if moving else "plateau"
    many = "means of a moving throttle" if moving else "plateaus"
    number = points.x.size if points else 0
    parts.append(f"{number} {what if number == 1 else many}")
    if curve is None and not moving:
        parts.append("no curve: too few levels, or no model is near them")
    return ", ".join(parts)


# ------------------------------------------------------------------ labels


def short_labels(rows: Sequence[Row]) -> list[str]:
    """A label each: the article, then what sets it apart from its namesakes."""
    labels = [row.article or row.name for row in rows]
    if len(rows) == 1:
        return [_told(row, row.date) for row in rows]
    tails: tuple[Callable[[Row], str], ...] = (
        lambda row: row.date,
        lambda row: f"{row.date}, {row.name.rpartition('-')[2]}",
        lambda row: row.name,
        lambda row: str(row.folder),
    )
    for tail in tails:
        counts = Counter(labels)
        labels = [
            label if counts[label] == 1 else _told(row, tail(row))
            for label, row in zip(labels, rows, strict=True)
        ]
    return labels


def _told(row: Row, tail: str) -> str:
    return f"{row.article}, {tail}" if row.article else row.name


# ------------------------------------------------------------------ ranges


def _x_range(lines: Sequence[Line], axis: Axis) -> tuple[float, float]:
    if axis is THROTTLE:
        return 0.0, 100.0
    ends = [part for line in lines for part in (line.points_x, line.x) if part.size]
    return _span(ends)


def _y_range(lines: Sequence[Line]) -> tuple[float, float]:
    low, high = _span(
        [part for line in lines for part in (line.points_y, line.y) if part.size]
    )
    bands = [part for line in lines for part in (line.low, line.high) if part.size]
    bands += [part for line in lines for part in _bar_ends(line) if part.size]
    if not bands:
        return low, high
    # A band may be far wider than what was measured, which must stay readable.
    wide_low, wide_high = _span([*bands])
    room = (TALLEST - 1) * (high - low)
    return max(min(wide_low, low), low - room), min(max(wide_high, high), high + room)


def _bar_ends(line: Line) -> tuple[Array, Array]:
    half = np.nan_to_num(line.points_y_u)
    return line.points_y - half, line.points_y + half


def _span(parts: Sequence[Array]) -> tuple[float, float]:
    if not parts:
        return 0.0, 1.0
    low = min(0.0, *(float(part.min()) for part in parts))
    high = max(0.0, *(float(part.max()) for part in parts))
    return (low, high) if high > low else (low, low + 1.0)


# ------------------------------------------------------------------ in words


@dataclass(frozen=True, slots=True)
class _Said:
    """What may not be compared, of what is drawn."""

    drawn: Sequence[Trace]
    labels: Mapping[Path, str]

    def all(self) -> Iterator[str]:
        """Sentences, what matters most first."""
        yield from self.simulated()
        yield from self.stands()
        yield from self.scales()
        stale = [trace for trace in self.drawn if trace.stale]
        if stale:
            yield (
                f"Derived from another record than is there now: {self.named(stale)}."
            )
        moving = [t for t in self.drawn if any(p.moving for p in t.points.values())]
        if moving:
            yield (
                f"Read while the throttle moved: {self.named(moving)}. What lags "
                "behind it is in those points."
            )

    def simulated(self) -> Iterator[str]:
        simulated = [trace for trace in self.drawn if trace.row.simulated]
        if simulated and len(simulated) == len(self.drawn):
            what = "It is" if len(simulated) == 1 else "All of them are"
            yield f"{what} simulated: nothing was measured."
        elif simulated:
            yield (
                f"Simulated beside real: {self.named(simulated)}. Nothing was measured "
                "there, so it says nothing about the others."
            )

    def stands(self) -> Iterator[str]:
        elsewhere = [trace for trace in self.drawn if trace.row.elsewhere]
        own = [trace for trace in self.drawn if not trace.row.elsewhere]
        if elsewhere and own:
            yield (
                f"Recorded elsewhere: {self.named(elsewhere)}. How its stand was "
                "checked is not known here."
            )
        stands = {trace.stand for trace in own if trace.stand}
        if len(stands) > 1:
            yield (
                f"From {len(stands)} different stands: each has scale errors of its "
                "own, and a difference may be the stands' and not the articles'."
            )
        unknown = [trace for trace in own if not trace.stand]
        if unknown and len(own) > 1:
            yield f"Nobody knows on which stand this was: {self.named(unknown)}."

    def scales(self) -> Iterator[str]:
        nominal = [trace for trace in self.drawn if trace.nominal]
        if nominal and len(nominal) < len(self.drawn):
            yield f"Nominal scale factors beside calibrated: {self.named(nominal)}."
        elif nominal:
            yield "Scale factors are the stand's own: nominal, not calibrated."
        if len(self.drawn) > 1:
            yield (
                "A band holds errors that runs of one stand share, and errors of each "
                "alone: whether two runs differ cannot be read off bands."
            )

    def named(self, traces: Sequence[Trace]) -> str:
        names = [self.labels[trace.row.folder] for trace in traces[:NAMED]]
        more = len(traces) - len(names)
        return "; ".join(names) + (f"; and {more} more" if more else "")


def _remarks(
    taken: Sequence[Trace], labels: Mapping[Path, str], family: Family, left: int
) -> Iterator[str]:
    said = _Said([trace for trace in taken if trace.has(family)], labels)
    if left:
        yield f"Only {MOST} runs are drawn; {left} more are ticked."
    lacking = [t for t in taken if not t.has(family) and t.row.derived is not None]
    if lacking:
        title = f"{family.title[:1].lower()}{family.title[1:]}"
        yield f"There is no {title} in: {said.named(lacking)}."
    yield from said.all()
    yield from _drawing(said.drawn, family)


def _drawing(drawn: Sequence[Trace], family: Family) -> Iterator[str]:
    """What lines and markers are."""
    curves = [t.curves[family.key] for t in drawn if family.key in t.curves]
    if curves:
        shares = sorted({100 * curve.coverage for curve in curves})
        told = " and ".join(f"{share:g} %" for share in shares)
        yield f"Lines are fitted curves with their bands ({told})."
    points = [t.points[family.key] for t in drawn if family.key in t.points]
    if any(np.isfinite(there.y_u).any() for there in points):
        yield f"Bars on markers are {BAR:g} standard uncertainties either way."
    if any(leg not in RISING for there in points for leg in there.legs):
        yield "Markers are filled on the way up, or first, and hollow on the way back."


# ------------------------------------------------------------------ a table


def table(traces: Sequence[Trace], family: Family) -> list[dict[str, object]]:
    """What is drawn, a row for each point of a curve and each plateau.

    Units stand in the headings; ``u`` is a standard uncertainty.
    """
    x_name, y_name = _heading(family.x_axis), _heading(family.y_axis)
    rows: list[dict[str, object]] = []
    for trace in traces[:MOST]:
        about: dict[str, object] = {
            "run": _cell(trace.row.name),
            "article": _cell(trace.row.article),
            "simulated": "yes" if trace.row.simulated else "no",
            "recorded elsewhere": "yes" if trace.row.elsewhere else "no",
            "scale factors": "nominal" if trace.nominal else "calibrated",
        }
        for kind, leg, x, x_u, y, y_u, low, high, coverage in _values(trace, family):
            rows.append(
                about
                | {
                    "what": kind,
                    "leg": leg,
                    x_name: x,
                    f"u of {x_name}": x_u,
                    y_name: y,
                    f"u of {y_name}": y_u,
                    f"low limit, {family.y_axis.unit}": low,
                    f"high limit, {family.y_axis.unit}": high,
                    "coverage": coverage,
                }
            )
    return rows


def _heading(axis: Axis) -> str:
    return f"{axis.words.lower()}, {axis.unit}"


_Values = tuple[str, str, object, object, object, object, object, object, object]


def _values(trace: Trace, family: Family) -> Iterator[_Values]:
    x_scale, y_scale = family.x_axis.scale, family.y_axis.scale
    points, curve = trace.points.get(family.key), trace.curves.get(family.key)
    if points is not None:
        for n, leg in enumerate(points.legs):
            x, x_u = points.x[n] * x_scale, points.x_u[n] * x_scale
            y, y_u = points.y[n] * y_scale, points.y_u[n] * y_scale
            what = "moving" if points.moving else "plateau"
            yield (
                what, _cell(leg), _plain(x), _plain(x_u), _plain(y), _plain(y_u),
                "", "", "",
            )  # fmt: skip
    if curve is not None:
        for x, y, low, high in zip(
            curve.x, curve.y, curve.low, curve.high, strict=True
        ):
            yield (
                "curve", "", _plain(x * x_scale), "", _plain(y * y_scale), "",
                _plain(low * y_scale), _plain(high * y_scale), curve.coverage,
            )  # fmt: skip


def _plain(value: float) -> object:
    return float(f"{value:.9g}") if math.isfinite(value) else ""


def _cell(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text
