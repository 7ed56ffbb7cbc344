"""A plot of runs as a picture to pass on: PNG or SVG.

It carries its title, its legend and what must be known, since it may travel alone. No
file that is there already is written over.
"""

from pathlib import Path
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics, QImage, QImageWriter, QPainter
from PySide6.QtSvg import QSvgGenerator

from daq.errors import InputFault
from daq.fresh_file import write_fresh
from ui.desktop import theme
from ui.desktop.curves_plot import draw_sample
from ui.desktop.model.overlay import Line, Overlay

PICTURE: Final = 1000  # width of a picture in its own units
SHARP: Final = 2  # pixels of a picture for each of them


def save_picture(plot: pg.PlotWidget, overlay: Overlay | None, path: Path) -> None:
    """Write what is drawn, with its legend, as PNG or SVG.

    Raises:
        InputFault: the name ends in something else, or nothing is drawn.
        WorldFault: there is such a file already, or it cannot be written.
    """
    kind = path.suffix.lower()
    if kind not in (".png", ".svg"):
        raise InputFault(f"{path.name}: a picture's name ends in .png or .svg.")
    if overlay is None or not overlay.lines:
        raise InputFault("Nothing is drawn, so there is no picture of it.")
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    picture = _Picture(plot, overlay)
    if kind == ".png":
        QImageWriter(buffer, QByteArray(b"png")).write(picture.as_image())
    else:
        picture.as_svg(buffer)
    write_fresh(path, bytes(buffer.data().data()))


class _Picture:
    """Title, plot, legend and remarks below each other on one ground."""

    def __init__(self, plot: pg.PlotWidget, overlay: Overlay) -> None:
        self._overlay, self._plot = overlay, plot
        self._margin = 3 * theme.UNIT
        self._room = PICTURE - 2 * self._margin
        view = self._plot.viewport().rect()
        self._plot_high = round(self._room * view.height() / max(view.width(), 1))
        self._title_font = theme.font(22, serif=True)
        self._text_font, self._small_font = theme.font(15), theme.font(13)
        self._row = QFontMetrics(self._text_font).height() + theme.UNIT

    def as_image(self) -> QImage:
        high = self._paint(None)
        image = QImage(QSize(PICTURE, high) * SHARP, QImage.Format.Format_ARGB32)
        image.setDevicePixelRatio(SHARP)
        painter = QPainter(image)
        self._paint(painter, high)
        painter.end()
        return image

    def as_svg(self, device: QIODevice) -> None:
        high = self._paint(None)
        generator = QSvgGenerator()
        generator.setOutputDevice(device)
        generator.setSize(QSize(PICTURE, high))
        generator.setViewBox(QRect(0, 0, PICTURE, high))
        generator.setTitle(self._title())
        painter = QPainter(generator)
        self._paint(painter, high)
        painter.end()

    def _title(self) -> str:
        simulated = ", simulated" if self._overlay.simulated else ""
        return f"{self._overlay.family.title}{simulated}"

    def _paint(self, painter: QPainter | None, high: int = 0) -> int:
        """Paint it all, or only find out how high it is."""
        p, top, family = theme.palette(), self._margin, self._overlay.family
        if painter is not None:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.fillRect(QRect(0, 0, PICTURE, high), theme.color(p.paper))
        top = self._text(painter, self._title(), self._title_font, p.ink, top)
        words = f"{family.y_axis.words.lower()}, {family.y_axis.unit}"
        top = self._text(painter, words, self._small_font, p.muted, top)
        if painter is not None:
            target = QRectF(self._margin, top, self._room, self._plot_high)
            self._plot.render(painter, target, self._plot.viewport().rect())
        top += self._plot_high + theme.UNIT
        for line in self._overlay.lines:
            top = self._legend(painter, line, top)
        for remark in self._overlay.remarks:
            top = self._text(painter, remark, self._small_font, p.muted, top)
        return top + self._margin

    def _legend(self, painter: QPainter | None, line: Line, top: int) -> int:
        sample = QSize(44, self._row - theme.UNIT)
        if painter is not None:
            painter.save()
            painter.translate(self._margin, top)
            draw_sample(painter, sample, line.style)
            painter.restore()
        left = self._margin + sample.width() + theme.UNIT
        words = f"{line.label} ({line.words})"
        ink = theme.palette().ink
        return self._text(painter, words, self._text_font, ink, top, left)

    def _text(
        self,
        painter: QPainter | None,
        text: str,
        letters: QFont,
        ink: str,
        top: int,
        left: int | None = None,
    ) -> int:
        begin = self._margin if left is None else left
        room = QRect(begin, top, PICTURE - begin - self._margin, 10_000)
        wrap = int(Qt.TextFlag.TextWordWrap) | int(Qt.AlignmentFlag.AlignLeft)
        taken = QFontMetrics(letters).boundingRect(room, wrap, text)
        if painter is not None:
            painter.setFont(letters)
            painter.setPen(theme.color(ink))
            painter.drawText(room, wrap, text)
        return top + taken.height() + theme.UNIT // 2
