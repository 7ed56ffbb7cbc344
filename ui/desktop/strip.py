"""Always on top: the interlock's state, three readings with their limits, the link.

Legible from two metres: the state as shape, word and colour, the readings as large
figures over bars that show the limit itself. It shows what ``Desk`` knows and no more.
"""

import math
from collections.abc import Iterable

from PySide6.QtCore import QRect, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget
from typing_extensions import override

from protocols.limits import Limit, brief, to_trade
from ui.desktop import theme
from ui.desktop.model.bars import Bar, Standing, bar_of
from ui.desktop.model.desk import SHOWN, STATES, WATCHED_LINES, Desk
from ui.desktop.model.numbers import figure
from ui.desktop.parts import ABNORMAL, DANGER, NEUTRAL, Mark, column, label, rule

SIMULATED = "SIMULATED: nothing turns"
MARGIN = theme.UNIT + 2
FULL = {"thrust": 10.0, "current": 20.0, "voltage": 26.0}  # where there is no limit
STANDINGS = {Standing.NEAR: ABNORMAL, Standing.BEYOND: DANGER}


def fitting(
    texts: Iterable[str],
    most_px: int,
    room: int,
    *,
    serif: bool = False,
) -> int:
    """Height of letters in pixels, at most so high, at which each text fits."""
    metrics = QFontMetrics(theme.font_px(most_px, serif=serif))
    widest = max(map(metrics.horizontalAdvance, texts))
    return min(most_px, most_px * room // max(widest, 1))


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
        self._head = QHBoxLayout()
        self._head.setSpacing(theme.UNIT)
        self._head.addWidget(self._name)
        self._head.addWidget(self._mark)
        self._head.addStretch(1)
        self._head.addWidget(self._limit)
        large = QHBoxLayout()
        large.setSpacing(theme.UNIT // 2)
        large.addWidget(self._figure)
        large.addWidget(self._unit, 0, Qt.AlignmentFlag.AlignBottom)
        large.addStretch(1)
        self._inside = QVBoxLayout(self)
        self._inside.setContentsMargins(0, 0, 0, 0)
        self._inside.setSpacing(theme.UNIT // 2)
        self._inside.addLayout(self._head)
        self._inside.addLayout(large)
        self._inside.addWidget(self._bar)
        self._inside.addStretch(1)
        self._mark.setVisible(False)

    def grow(self, most_px: int, room: int) -> None:
        """Fit a width: the figure as large as it may be, the limit where it can be.

        Args:
            most_px: height of the figure at most.
            room: width of all of it.
        """
        self.setFixedWidth(room)
        # Room for the widest, so that a figure neither jumps nor is cut.
        unit_px = min(max(theme.scaled(14), most_px // 3), room // 8)
        unit = QFontMetrics(theme.font_px(unit_px)).horizontalAdvance("gf")
        left = room - unit - theme.UNIT // 2
        px = fitting(("1000.0",), most_px, left, serif=True)
        theme.wear(self._figure, f"{theme.large()} font-size: {px}px;")
        metrics = QFontMetrics(theme.font_px(px, serif=True))
        self._figure.setMinimumWidth(metrics.horizontalAdvance("1000.0"))
        theme.wear(self._unit, f"font-size: {unit_px}px;")
        small = QFontMetrics(theme.font(12))
        told = sum(map(small.horizontalAdvance, (self._channel, "limit 1000 gf")))
        beside = told + theme.scaled(12) + 3 * theme.UNIT <= room
        for layout in (self._head, self._inside):
            layout.removeWidget(self._limit)
        if beside:
            self._head.addWidget(self._limit)
        else:
            self._inside.insertWidget(3, self._limit)

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
        self._simulated = label(SIMULATED, wraps=False)
        self._simulated.setVisible(False)
        self._sentence = label("", "small")
        self._gauges = {channel: Gauge(channel) for channel in SHOWN}
        self._link_mark = Mark(NEUTRAL, 12)
        self._link = label("not connected", "small")
        self._clock = label("", wraps=False)
        self._of = label("", "small", wraps=False)
        self._state, self._health = QWidget(), QWidget()
        self._state.setLayout(self._state_block())
        self._health.setLayout(self._link_block())
        row = QHBoxLayout(self)
        row.setContentsMargins(2 * theme.UNIT, MARGIN, 2 * theme.UNIT, MARGIN)
        row.setSpacing(2 * theme.UNIT)
        row.addWidget(self._state)
        for gauge in self._gauges.values():
            row.addWidget(rule(upright=True))
            row.addWidget(gauge)
        row.addWidget(rule(upright=True))
        row.addWidget(self._health)

    def _state_block(self) -> QVBoxLayout:
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT + 4)
        head.addWidget(self._mark, 0, Qt.AlignmentFlag.AlignVCenter)
        head.addWidget(self._word)
        head.addStretch(1)
        block = column(head, self._simulated, self._sentence)
        block.setSpacing(theme.UNIT // 2)
        block.addStretch(1)
        return block

    def _link_block(self) -> QVBoxLayout:
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT)
        head.addWidget(self._link_mark)
        head.addWidget(label("link", "small", wraps=False))
        head.addStretch(1)
        block = column(head, self._link)
        block.setSpacing(theme.UNIT // 2)
        block.addStretch(1)
        block.addWidget(self._clock)
        block.addWidget(self._of)
        return block

    def grow(self, width: int, height: int) -> None:
        """Fit the window: the larger it is, the larger the figures; all of it stays.

        Every part has a width of its own and the whole a height of its own, so that
        nothing moves when words and figures change.
        """
        rules = len(SHOWN) + 1
        room = width - rules - (2 * rules + 2) * 2 * theme.UNIT
        shares = {self._state: 0.235, self._health: 0.15}
        for part, share in shares.items():
            part.setFixedWidth(int(share * room))
        most_px = theme.scaled(min(max(44, height // 18), 84))
        for gauge in self._gauges.values():
            gauge.grow(most_px, int(0.205 * room))
        state = self._state.width()
        words = [state.word for state in (*STATES.values(), WATCHED_LINES)]
        beside = self._mark.width() + theme.UNIT + 4
        px = fitting(words, theme.scaled(30), state - beside, serif=True)
        theme.wear(self._word, f"{theme.large()} font-size: {px}px;")
        bold = QFontMetrics(theme.font(14, bold=True))
        fits = bold.horizontalAdvance(SIMULATED) <= state
        self._simulated.setText(SIMULATED if fits else SIMULATED.split(":")[0])
        theme.wear(
            self._simulated, f"font-weight: 600; font-size: {theme.scaled(14)}px;"
        )
        px = fitting(
            ("59 min 59 s",), theme.scaled(22), self._health.width(), serif=True
        )
        theme.wear(self._clock, f"{theme.large()} font-size: {px}px;")
        self.setFixedHeight(self._needed(state))

    def _needed(self, state: int) -> int:
        """The height that holds the longest sentence of all states."""
        letters = QFontMetrics(theme.font(12))
        wrap = int(Qt.TextFlag.TextWordWrap)
        highest = max(
            letters.boundingRect(QRect(0, 0, state, 999), wrap, told.sentence).height()
            for told in (*STATES.values(), WATCHED_LINES)
        )
        head = max(self._mark.height(), self._word.sizeHint().height())
        block = head + self._simulated.sizeHint().height() + highest + 2 * theme.UNIT
        others = [gauge.sizeHint().height() for gauge in self._gauges.values()]
        return max(block, *others) + 2 * MARGIN

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
        told, of = desk.clock_words()
        self._clock.setText(told)
        self._of.setText(of)
        self._of.setVisible(bool(of))
