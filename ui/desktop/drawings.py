"""Drawings of our own beside the cautions: what a sentence asks for, at a glance.

Each is a few strokes on a field of 48 by 48, drawn in the ink of the scheme. A drawing
never stands alone: the sentence beside it is what is acknowledged and recorded.
"""

from collections.abc import Callable, Sequence
from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget
from typing_extensions import override

from ui.cautions import HANDS
from ui.desktop import theme

FIELD: Final = 48.0
Stroke = tuple[str, tuple[float, ...]]

_DISC: Final[tuple[Stroke, ...]] = (
    ("bold", (24, 12, 24, 36)),
    ("dot", (24, 24, 3)),
)
_PLUG_APART: Final[tuple[Stroke, ...]] = (
    ("box", (5, 26, 14, 14)),
    ("line", (19, 30, 25, 30)),
    ("line", (19, 36, 25, 36)),
    ("line", (0, 33, 5, 33)),
    ("box", (31, 26, 12, 14)),
    ("line", (43, 33, 48, 33)),
)
_MOTOR: Final[tuple[Stroke, ...]] = (
    ("box", (14, 20, 20, 18)),
    ("box", (11, 38, 26, 5)),
    ("line", (24, 20, 24, 12)),
)
_PACK: Final[tuple[Stroke, ...]] = (
    ("box", (10, 18, 24, 18)),
    ("line", (18, 18, 18, 36)),
    ("line", (26, 18, 26, 36)),
    ("path", (34, 23, 40, 23, 40, 14)),
    ("path", (34, 29, 44, 29, 44, 14)),
)
_PROPELLER: Final[tuple[Stroke, ...]] = (
    ("shape", (20, 21, 9, 9, 4, 14, 18, 27)),
    ("shape", (28, 27, 39, 39, 44, 34, 30, 21)),
)

DRAWINGS: Final[dict[str, tuple[Stroke, ...]]] = {
    "guard": (
        *_DISC,
        ("box", (9, 5, 30, 38)),
        ("line", (16, 5, 16, 43)),
        ("line", (32, 5, 32, 43)),
    ),
    "eyes": (
        ("box", (6, 18, 15, 13)),
        ("box", (27, 18, 15, 13)),
        ("line", (21, 22, 27, 22)),
        ("line", (6, 21, 1, 15)),
        ("line", (42, 21, 47, 15)),
    ),
    "plane": (
        ("bold", (24, 30, 24, 46)),
        ("dot", (24, 38, 3)),
        ("dash", (24, 28, 24, 1)),
        ("ring", (24, 7, 3.5)),
        ("line", (24, 11, 24, 18)),
        ("line", (18, 13, 30, 13)),
        ("path", (19, 25, 24, 18, 29, 25)),
        ("no", (13, 3, 35, 25)),
        ("no", (35, 3, 13, 25)),
    ),
    "clamped": (
        ("bold", (1, 40, 47, 40)),
        ("box", (18, 34, 26, 6)),
        ("line", (34, 34, 34, 18)),
        ("box", (29, 11, 12, 8)),
        ("bold", (26, 4, 26, 26)),
        ("path", (22, 32, 8, 32, 8, 47, 15, 47)),
        ("line", (15, 47, 15, 42)),
        ("line", (11, 42, 19, 42)),
    ),
    "screwed": (
        *_PROPELLER,
        ("shape", (24, 17, 30, 20.5, 30, 27.5, 24, 31, 18, 27.5, 18, 20.5)),
        ("ring", (24, 24, 2.5)),
    ),
    "direction": (
        ("arc", (19, 26, 13, 40, 280)),
        ("path", (23.4, 36.1, 29, 34, 28, 39.9)),
        ("dot", (19, 26, 2.5)),
        ("line", (41, 42, 41, 7)),
        ("path", (36, 14, 41, 7, 46, 14)),
    ),
    "bare": (
        *_MOTOR,
        ("bold", (6, 7, 42, 7)),
        ("no", (17, 1, 31, 13)),
        ("no", (31, 1, 17, 13)),
    ),
    "pack": (*_PACK, ("path", (4, 24, 4, 44, 44, 44, 44, 36))),
    "cut": (
        *_PLUG_APART,
        ("line", (20, 14, 4, 14)),
        ("line", (28, 14, 44, 14)),
        ("path", (9, 9, 4, 14, 9, 19)),
        ("path", (39, 9, 44, 14, 39, 19)),
    ),
    "fire": (
        ("box", (19, 17, 15, 28)),
        ("line", (26, 17, 26, 11)),
        ("path", (17, 6, 26, 11, 36, 6)),
        ("path", (26, 13, 13, 14, 9, 24, 12, 30)),
        ("line", (19, 26, 34, 26)),
    ),
    "timed": (
        ("ring", (24, 28, 16)),
        ("line", (24, 12, 24, 6)),
        ("line", (19, 6, 29, 6)),
        ("line", (24, 28, 24, 17)),
        ("line", (24, 28, 31, 32)),
    ),
    "hand on plug": (
        ("box", (4, 17, 14, 14)),
        ("box", (18, 17, 12, 14)),
        ("line", (0, 24, 4, 24)),
        ("bold", (32, 24, 46, 24)),
        ("path", (41, 18, 46, 24, 41, 30)),
    ),
    "plug out": (
        *_PLUG_APART,
        ("bold", (30, 14, 44, 14)),
        ("path", (39, 8, 44, 14, 39, 20)),
    ),
    "plug in": (
        *_PLUG_APART,
        ("bold", (44, 14, 30, 14)),
        ("path", (35, 8, 30, 14, 35, 20)),
    ),
    "loop open": (
        ("arc", (24, 28, 16, 125, 290)),
        ("line", (15, 15, 26, 5)),
        ("dot", (15, 15, 2.5)),
        ("dot", (33, 15, 2.5)),
    ),
    "loop closed": (
        ("arc", (24, 28, 16, 125, 290)),
        ("line", (15, 15, 33, 15)),
        ("dot", (15, 15, 2.5)),
        ("dot", (33, 15, 2.5)),
    ),
    "cuts": (
        *_PROPELLER,
        ("ring", (24, 24, 4)),
        ("arc", (24, 24, 20, 60, 50)),
        ("arc", (24, 24, 20, 240, 50)),
    ),
    "burns": (
        *_PACK,
        ("path", (16, 14, 13, 8, 18, 2, 18, 8, 23, 4, 25, 10, 22, 14)),
    ),
    "hot": (
        *_MOTOR,
        ("path", (14, 14, 11, 10, 14, 6, 11, 2)),
        ("path", (36, 14, 33, 10, 36, 6, 33, 2)),
    ),
}
#: Beside the cautions: what propellers, packs and motors do.
DANGERS: Final = ("cuts", "burns", "hot")
_ASKED: Final = {sentence: what for what, sentence in HANDS.items()}


def drawing_of(name: str) -> str:
    """Which drawing goes with an item of the checklist; "" for none."""
    known = "timed" if name.startswith("timed ") else name
    return known if known in DRAWINGS else ""


def drawing_of_hand(sentence: str) -> str:
    """Which drawing goes with what a hand is asked for; "" for none."""
    return _ASKED.get(sentence, "")


class Drawing(QWidget):
    """One of them.

    Attributes:
        name: which; "" for nothing.
    """

    def __init__(self, name: str = "", size: int = 34) -> None:
        super().__init__()
        self.name = name
        side = theme.scaled(size)
        self.setFixedSize(QSize(side, side))

    def show_drawing(self, name: str) -> None:
        """Show another one."""
        if name != self.name:
            self.name = name
            self.update()
        self.setVisible(bool(name))

    @override
    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scale = self.width() / FIELD
        painter.scale(scale, scale)
        for kind, numbers in DRAWINGS.get(self.name, ()):
            painter.setPen(_pen(kind, scale))
            painter.setBrush(_ink() if kind == "dot" else Qt.BrushStyle.NoBrush)
            _STROKES[kind](painter, numbers)
        painter.end()


def _ink() -> QColor:
    return theme.color(theme.palette().ink)


def _pen(kind: str, scale: float) -> QPen:
    ink = theme.color(theme.palette().danger) if kind == "no" else _ink()
    width = {"bold": 4.0, "no": 3.0}.get(kind, 1.9)
    pen = QPen(ink, max(width, 1.0 / scale))
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    if kind == "dash":
        pen.setDashPattern([1.5, 2.0])
    return pen


def _line(painter: QPainter, numbers: Sequence[float]) -> None:
    x1, y1, x2, y2 = numbers
    painter.drawLine(QPointF(x1, y1), QPointF(x2, y2))


def _ring(painter: QPainter, numbers: Sequence[float]) -> None:
    x, y, radius = numbers
    painter.drawEllipse(QPointF(x, y), radius, radius)


def _box(painter: QPainter, numbers: Sequence[float]) -> None:
    x, y, wide, high = numbers
    painter.drawRoundedRect(QRectF(x, y, wide, high), 3, 3)


def _arc(painter: QPainter, numbers: Sequence[float]) -> None:
    x, y, radius, start_deg, span_deg = numbers
    around = QRectF(x - radius, y - radius, 2 * radius, 2 * radius)
    painter.drawArc(around, round(16 * start_deg), round(16 * span_deg))


def _points(numbers: Sequence[float]) -> list[QPointF]:
    pairs = zip(numbers[0::2], numbers[1::2], strict=True)
    return [QPointF(x, y) for x, y in pairs]


def _path(painter: QPainter, numbers: Sequence[float]) -> None:
    painter.drawPolyline(_points(numbers))


def _shape(painter: QPainter, numbers: Sequence[float]) -> None:
    painter.drawPolygon(QPolygonF(_points(numbers)))


_STROKES: Final[dict[str, Callable[[QPainter, Sequence[float]], None]]] = {
    "line": _line,
    "bold": _line,
    "dash": _line,
    "no": _line,
    "ring": _ring,
    "dot": _ring,
    "box": _box,
    "arc": _arc,
    "path": _path,
    "shape": _shape,
}
