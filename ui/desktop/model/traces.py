"""What was derived from one run, to be drawn and told: curves, plateaus, sentences.

Read once a run and kept until its files change. Files may be damaged or a stranger's:
what is not as it should be is left out and said. Nothing is fitted here.
"""

import csv
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, TypeGuard

import numpy as np
from numpy.typing import NDArray

from daq.errors import RecordFault
from daq.records.folder import DESCRIPTOR
from daq.records.wirelog import NAME as WIRE_LOG
from daq.records.wirelog import Kind, Reader
from ui.desktop.model.rows import FINDINGS, Row, read_bytes, read_json, stamp_of
from ui.desktop.model.words import one_line, several_lines
from ui.report.charts import CURRENT, POWER, SPECIFIC, THROTTLE, THRUST, Axis
from ui.report.words import list_of, number_of, table_of, text_of
from ui.results import ANALYSIS

Array = NDArray[np.float64]

CURVES: Final = "curves.json"
PLATEAUS: Final = "plateaus.csv"
GLIDES: Final = "glides.csv"
MOST_POINTS: Final = 10_000
MOST_FINDINGS: Final = 60
HEAD_BYTES: Final = 262_144  # of a wire log: who the stand is comes early
NOMINAL: Final = "nominal, not calibrated"


@dataclass(frozen=True, slots=True)
class Family:
    """What against what.

    Attributes:
        key: names it.
        title: for people.
        curve: what the analysis calls the curve.
        x_axis: what x is.
        y_axis: what y is.
        x_column: column of the plateaus in SI.
        y_column: the same for y.
    """

    key: str
    title: str
    curve: str
    x_axis: Axis
    y_axis: Axis
    x_column: str
    y_column: str


def _family(key: str, words: str, x: tuple[Axis, str], y: tuple[Axis, str]) -> Family:
    """A family that is called here as the analysis calls its curve."""
    return Family(key, f"{words[:1].upper()}{words[1:]}", words, x[0], y[0], x[1], y[1])


_THROTTLE: Final = (THROTTLE, "throttle_frac")
_THRUST: Final = (THRUST, "thrust_n")
_POWER: Final = (POWER, "power_w")
FAMILIES: Final = (
    _family("thrust", "thrust against throttle", _THROTTLE, _THRUST),
    _family("current", "current against throttle", _THROTTLE, (CURRENT, "current_a")),
    _family("power", "power against throttle", _THROTTLE, _POWER),
    _family("thrust-power", "thrust against power", _POWER, _THRUST),
    _family(
        "specific",
        "specific thrust against thrust",
        _THRUST,
        (SPECIFIC, "specific_thrust_n_w"),
    ),
)


@dataclass(frozen=True, slots=True)
class Banded:
    """A curve with its band, in SI, shape (n,) each, x rising.

    Attributes:
        x: where.
        y: the curve.
        low: low limit of the band.
        high: high limit.
        coverage: of the band, 0 to 1.
    """

    x: Array
    y: Array
    low: Array
    high: Array
    coverage: float


@dataclass(frozen=True, slots=True)
class Points:
    """Plateaus, or means over parts of a glide, in SI, shape (n,) each.

    Attributes:
        x: where.
        y: what was measured.
        x_u: standard uncertainty of x; NaN where there is none.
        y_u: of y.
        legs: up, down, first or second.
        moving: they were read while the throttle glided, and are no plateaus.
    """

    x: Array
    y: Array
    x_u: Array
    y_u: Array
    legs: tuple[str, ...]
    moving: bool = False


@dataclass(frozen=True, slots=True)
class Trace:
    """One run, ready to be drawn.

    Attributes:
        row: the run.
        curves: by the family's key.
        points: by the family's key.
        findings: sentences, in order.
        cautions: what goes with them, each once.
        nominal: some scale factor is nominal, not calibrated.
        stand: who the stand was, in words; "" where nobody knows.
        stale: what is derived is not of the record that is there.
        faults: what cannot be used, sentences.
    """

    row: Row
    curves: Mapping[str, Banded] = field(default_factory=dict)
    points: Mapping[str, Points] = field(default_factory=dict)
    findings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    nominal: bool = False
    stand: str = ""
    stale: bool = False
    faults: tuple[str, ...] = ()

    @property
    def needs_making(self) -> bool:
        """Whether everything derived should be made, or made again."""
        return self.row.readable and (self.row.derived is None or self.stale)

    def has(self, family: Family) -> bool:
        """Whether there is something to draw."""
        return family.key in self.curves or family.key in self.points


class Traces:
    """Traces of runs, read when first asked for and again when their files change."""

    def __init__(self) -> None:
        self._kept: dict[Path, tuple[object, Trace]] = {}

    def get(self, row: Row) -> Trace:
        """The trace of a run, whatever state it is in."""
        stamp = _stamp(row)
        kept = self._kept.get(row.folder)
        if kept is not None and kept[0] == stamp and kept[1].row == row:
            return kept[1]
        trace = read_trace(row)
        self._kept[row.folder] = (stamp, trace)
        return trace


def _stamp(row: Row) -> object:
    if row.derived is None:
        return None
    names = (CURVES, PLATEAUS, GLIDES, FINDINGS, DESCRIPTOR)
    return tuple(stamp_of(row.derived / name) for name in names)


def read_trace(row: Row) -> Trace:
    """Read what was derived from a run; empty where nothing was."""
    if row.derived is None:
        return Trace(row)
    faults: list[str] = []
    findings, cautions = _findings(row.derived, faults)
    return Trace(
        row=row,
        curves=_curves(row, row.derived, faults),
        points=_points(row, row.derived, faults),
        findings=findings,
        cautions=cautions,
        nominal=row.derived.name == ANALYSIS
        or any(NOMINAL in words for words in cautions),
        stand=_stand(row.folder),
        stale=_is_stale(row),
        faults=tuple(faults),
    )


# ------------------------------------------------------------------ files


def _read(path: Path, faults: list[str]) -> object:
    """A derived JSON file; None, and a sentence, where it is of no use."""
    try:
        return read_json(path)
    except FileNotFoundError:
        return None  # nothing was sampled, so there was nothing to write
    except (OSError, ValueError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else str(fault)
        faults.append(f"{path.name} cannot be used: {why}. Make it again.")
        return None


def _findings(derived: Path, faults: list[str]) -> tuple[tuple[str, ...], ...]:
    read = _read(derived / FINDINGS, faults)
    rows = [row for row in read if isinstance(row, dict)] if _is_list(read) else []
    told = [several_lines(row.get("sentence"), 1000) for row in rows[:MOST_FINDINGS]]
    cautions = [
        several_lines(words, 600)
        for row in rows[:MOST_FINDINGS]
        for words in list_of(row, "cautions")[:MOST_FINDINGS]
    ]
    return (
        tuple(words for words in told if words),
        tuple(words for words in dict.fromkeys(cautions) if words),
    )


def _is_list(read: object) -> TypeGuard[list[object]]:
    return isinstance(read, list)


def _curves(row: Row, derived: Path, faults: list[str]) -> dict[str, Banded]:
    read = _read(derived / CURVES, faults)
    by_name = {text_of(one, "name"): one for one in (read if _is_list(read) else [])}
    curves = {}
    for family in _asked_of(row):
        found = by_name.get(family.curve)
        if found is None:
            continue
        banded = _banded(found, family)
        if banded is None:
            faults.append(f"{family.title}: its curve in {CURVES} is damaged.")
        else:
            curves[family.key] = banded
    return curves


def _banded(row: object, family: Family) -> Banded | None:
    band = table_of(row, "band")
    lines = [_array(band.get(name)) for name in ("x", "y", "low", "high")]
    x, y, low, high = lines
    coverage = number_of(row, "coverage")
    fits = (
        text_of(row, "x_quantity") == family.x_column
        and text_of(row, "y_quantity") == family.y_column
        and 2 <= x.size <= MOST_POINTS
        and all(line.size == x.size for line in lines)
        and all(bool(np.isfinite(line).all()) for line in lines)
    )
    if not fits or coverage is None or not 0 < coverage < 1:
        return None
    rises = bool((np.diff(x) > 0).all())
    holds = bool(((low <= y) & (y <= high)).all())
    return Banded(x, y, low, high, coverage) if rises and holds else None


def _array(values: object) -> Array:
    """Numbers as an array; empty where they are none."""
    if not isinstance(values, list) or len(values) > MOST_POINTS:
        return np.zeros(0)
    if any(isinstance(v, bool) or not isinstance(v, int | float) for v in values):
        return np.zeros(0)
    try:
        return np.array(values, dtype=np.float64)
    except OverflowError:
        return np.zeros(0)


def _asked_of(row: Row) -> Iterator[Family]:
    """What a run can be asked for: a bare motor has no thrust."""
    for family in FAMILIES:
        if not (row.bare and "thrust" in family.key + family.curve):
            yield family


def _points(row: Row, derived: Path, faults: list[str]) -> dict[str, Points]:
    rows = _table(derived / PLATEAUS, faults)
    moving = not rows
    if moving:
        rows = _table(derived / GLIDES, faults)
    legs = tuple(one_line(row.get("leg"), 20) for row in rows)
    points = {}
    for family in _asked_of(row):
        x, y = _column(rows, family.x_column), _column(rows, family.y_column)
        both = np.isfinite(x) & np.isfinite(y)
        if both.any():
            points[family.key] = Points(
                x=x[both],
                y=y[both],
                x_u=_column(rows, uncertainty_of(family.x_column))[both],
                y_u=_column(rows, uncertainty_of(family.y_column))[both],
                legs=tuple(leg for leg, is_in in zip(legs, both, strict=True) if is_in),
                moving=moving,
            )
    return points


_UNITS: Final = ("_frac", "_n_w", "_n", "_a", "_w")


def uncertainty_of(column: str) -> str:
    """The column of a quantity's standard uncertainty: thrust_n to thrust_u_n."""
    unit = next(unit for unit in _UNITS if column.endswith(unit))
    return f"{column.removesuffix(unit)}_u{unit}"


def _table(path: Path, faults: list[str]) -> list[dict[str, str]]:
    try:
        lines = read_bytes(path).decode("utf-8").splitlines()
        rows = list(csv.DictReader(lines))[:MOST_POINTS]
    except FileNotFoundError:
        return []  # a run without plateaus
    except (OSError, ValueError, csv.Error) as fault:
        why = fault.strerror if isinstance(fault, OSError) else str(fault)
        faults.append(f"{path.name} cannot be used: {why}. Make it again.")
        return []
    return rows


def _column(rows: Sequence[Mapping[str, str]], name: str) -> Array:
    return np.array([_number(row.get(name)) for row in rows], dtype=np.float64)


def _number(text: str | None) -> float:
    try:
        value = float(text or "nan")
    except (TypeError, ValueError):
        return math.nan
    return value if math.isfinite(value) else math.nan


# ------------------------------------------------------------------ the record


def _is_stale(row: Row) -> bool:
    """Whether what is derived names another wire log than the sealed one."""
    if row.derived is None:
        return False
    try:
        derived = read_json(row.derived / DESCRIPTOR)
        sealed = read_json(row.folder / DESCRIPTOR)
    except (OSError, ValueError):
        return True
    logs = list_of(sealed, "resources")
    hashed = text_of(logs[0], "hash") if logs else ""
    return text_of(table_of(derived, "gramwatt"), "wire_log_hash") != hashed


def _stand(folder: Path) -> str:
    """Who the stand said it is, from the head of the wire log."""
    try:
        with (folder / WIRE_LOG).open("rb") as file:
            data = file.read(HEAD_BYTES)
    except OSError:
        return ""
    for record in Reader(data).records():
        if record.kind is not Kind.NOTE:
            continue
        try:
            note = record.json()
        except RecordFault:
            continue
        number = number_of(note, "stand_id")
        if note.get("note") == "identified" and number is not None:
            return f"{int(number):08x} on {one_line(note.get('board'), 40)}"
    return ""
