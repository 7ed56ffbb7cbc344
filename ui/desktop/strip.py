"""Always on top: the interlock's state, three readings with their limits, the link.

Legible from two metres: the state as shape, word and colour, the readings as large
figures over bars that show the limit itself. It shows what ``Desk`` knows and no more.
"""

import math

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget
from typing_extensions import override

from protocols.limits import Limit, brief, to_trade
from ui.desktop import theme
from ui.desktop.model.bars import Bar, Standing, bar_of
from ui.desktop.model.desk import SHOWN, STATES, Desk
from ui.desktop.model.numbers import figure
from ui.desktop.parts import ABNORMAL, DANGER, NEUTRAL, Mark, label, rule

FULL = {"thrust": 10.0, "current": 20.0, "voltage": 26.0}  # where there is no limit
STANDINGS = {Standing.NEAR: ABNORMAL, Standing.BEYOND: DANGER}


class LimitBar(QWidget):
    """A bar with its limits as posts."""

    def __init__(self) -> None:
        super().__init__()
        self._bar = Bar(math.nan, math.nan, math.nan, Standing.UNKNOWN)
        self.setFixedHeight(theme.scaled(10))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_bar(self, bar: Bar) -> None:
        """Draw this one."""
        if bar != self._bar:
            self._bar = bar
            self.update()

    @override
    def sizeHint(self) -> QSize:
        return QSize(theme.scaled(120), theme.scaled(10))

    @override
    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        p, bar = theme.palette(), self._bar
        width, height = float(self.width()), float(self.height())
        painter.fillRect(QRectF(0, 0, width, height), theme.color(p.grid))
        if not math.isnan(bar.filled):
            ink = {Standing.NEAR: p.abnormal, Standing.BEYOND: p.danger}
            fill = theme.color(ink.get(bar.standing, p.fill))
            painter.fillRect(QRectF(0, 0, bar.filled * width, height), fill)
        painter.setPen(QPen(theme.color(p.ink), 2))
        for mark in (bar.low_mark, bar.high_mark):
            if not math.isnan(mark):
                x = round(mark * width)
                painter.drawLine(x, 0, x, round(height))
        painter.end()


class Gauge(QWidget):
    """One reading: name, large figure, bar, limit in words."""

    def __init__(self, channel: str) -> None:
        super().__init__()
        self._channel = channel
        self._mark = Mark(NEUTRAL, 12)
        self._name = label(channel, "small", wraps=False)
        self._figure = label("–", wraps=False)  # noqa: RUF001 - a table's dash
        self._unit = label("", "muted", wraps=False)
        self._limit = label("", "small", wraps=False)
        self._bar = LimitBar()
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT)
        head.addWidget(self._name)
        head.addWidget(self._mark)
        head.addStretch(1)
        head.addWidget(self._limit)
        large = QHBoxLayout()
        large.setSpacing(theme.UNIT)
        large.addWidget(self._figure)
        large.addWidget(self._unit, 0, Qt.AlignmentFlag.AlignBottom)
        large.addStretch(1)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT // 2)
        inside.addLayout(head)
        inside.addLayout(large)
        inside.addWidget(self._bar)
        self._mark.setVisible(False)
        self.grow(44)

    def grow(self, px: int) -> None:
        """Height of the figure."""
        self._figure.setStyleSheet(theme.large(px))
        # Room for the widest, so that a figure neither jumps nor is cut.
        metrics = QFontMetrics(theme.font(px, serif=True))
        self._figure.setMinimumWidth(metrics.horizontalAdvance("1000.0"))
        self._unit.setStyleSheet(f"font-size: {theme.scaled(max(14, px // 3))}px;")

    def show_reading(self, value_si: float, limit: Limit | None) -> None:
        """Show a reading in SI, NaN for none, against its limit."""
        words, unit = figure(self._channel, value_si)
        bar = bar_of(value_si, limit, full=FULL[self._channel])
        self._figure.setText(words)
        self._unit.setText(unit)
        self._bar.show_bar(bar)
        meaning = STANDINGS.get(bar.standing)
        self._mark.setVisible(meaning is not None)
        if meaning is not None:
            self._mark.mean(meaning)
        told = self._limit_words(limit)
        self._limit.setText(told)
        self.setAccessibleName(
            f"{self._channel} {words} {unit}, {bar.standing.value}. {told}"
        )

    def _limit_words(self, limit: Limit | None) -> str:
        if limit is None:
            return "no limit set"
        if self._channel == "voltage" and math.isfinite(limit.low):
            low, unit = to_trade(self._channel, limit.low)
            return f"floor {brief(low)} {unit}"
        high, unit = to_trade(self._channel, limit.high)
        return f"limit {brief(high)} {unit}"


class Strip(QWidget):
    """State, readings, link."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("State and readings")
        self._mark = Mark(NEUTRAL, 32)
        self._word = label("No stand", wraps=False)
        self._simulated = label("SIMULATED: nothing turns", wraps=False)
        self._simulated.setVisible(False)
        self._sentence = label("", "muted")
        self._sentence.setMinimumHeight(theme.scaled(36))
        self._sentence.setAlignment(
            Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft
        )
        self._gauges = {channel: Gauge(channel) for channel in SHOWN}
        self._link_mark = Mark(NEUTRAL, 12)
        self._link = label("not connected", "small")
        self._link.setMinimumHeight(theme.scaled(32))
        self._link.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self._clock = label("", "head")
        row = QHBoxLayout(self)
        row.setContentsMargins(
            2 * theme.UNIT, theme.UNIT + 4, 2 * theme.UNIT, theme.UNIT + 4
        )
        row.setSpacing(2 * theme.UNIT)
        row.addLayout(self._state_block(), 28)
        for gauge in self._gauges.values():
            row.addWidget(rule(upright=True))
            row.addWidget(gauge, 20)
        row.addWidget(rule(upright=True))
        row.addLayout(self._link_block(), 18)
        self._word.setStyleSheet(theme.large(30))
        widest = QFontMetrics(theme.font(30, serif=True))
        words = [state.word for state in STATES.values()]
        self._word.setMinimumWidth(max(widest.horizontalAdvance(x) for x in words))
        self._simulated.setStyleSheet("font-weight: 600;")

    def _state_block(self) -> QVBoxLayout:
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT + 4)
        head.addWidget(self._mark, 0, Qt.AlignmentFlag.AlignVCenter)
        head.addWidget(self._word)
        head.addStretch(1)
        block = QVBoxLayout()
        block.setSpacing(theme.UNIT // 2)
        block.addLayout(head)
        block.addWidget(self._simulated)
        block.addWidget(self._sentence)
        block.addStretch(1)
        return block

    def _link_block(self) -> QVBoxLayout:
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT)
        head.addWidget(self._link_mark)
        head.addWidget(label("link", "small", wraps=False))
        head.addStretch(1)
        block = QVBoxLayout()
        block.setSpacing(theme.UNIT // 2)
        block.addLayout(head)
        block.addWidget(self._link)
        block.addStretch(1)
        block.addWidget(self._clock)
        return block

    def grow(self, height: int) -> None:
        """Fit the window's height: the larger it is, the larger the figures."""
        px = min(max(44, height // 18), 84)
        for gauge in self._gauges.values():
            gauge.grow(px)

    def show_desk(self, desk: Desk) -> None:
        """Show what is known now."""
        state = desk.state_words()
        self._mark.mean(state.meaning)
        self._word.setText(state.word)
        self._sentence.setText(state.sentence)
        self._mark.setAccessibleName(f"{state.word}. {state.sentence}")
        if self._simulated.isHidden() == desk.simulated:
            self._simulated.setVisible(desk.simulated)
        now_s = desk.now_s
        for channel, gauge in self._gauges.items():
            reading = desk.heard.reading(channel, now_s)
            gauge.show_reading(reading.value, desk.limit_of(channel))
        meaning, words = desk.link_words()
        self._link_mark.mean(meaning)
        self._link.setText(words)
        self._clock.setText(desk.clock_words())
