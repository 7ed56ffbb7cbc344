"""A row that goes on in the next line where it has no room, as words do.

For rows of buttons and fields: with large letters none of them is cut.
"""

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QSizePolicy, QWidget
from typing_extensions import override

from ui.desktop import theme


class Flow(QLayout):
    """Parts beside each other, and below where that does not fit.

    In each line the parts that like to be wide share what is left of it.
    """

    def __init__(self, *parts: QWidget) -> None:
        super().__init__()
        self._items: list[QLayoutItem] = []
        self.setContentsMargins(0, 0, 0, 0)
        self.setSpacing(theme.UNIT)
        for part in parts:
            self.addWidget(part)

    @override
    def addItem(self, item: QLayoutItem) -> None:
        self._items.append(item)

    @override
    def count(self) -> int:
        return len(self._items)

    @override
    def itemAt(self, index: int) -> QLayoutItem | None:
        return self._items[index] if 0 <= index < len(self._items) else None

    @override
    def takeAt(self, index: int) -> QLayoutItem | None:
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    @override
    def expandingDirections(self) -> Qt.Orientation:
        return Qt.Orientation.Horizontal

    @override
    def hasHeightForWidth(self) -> bool:
        return True

    @override
    def heightForWidth(self, width: int) -> int:
        return self._placed(QRect(0, 0, width, 0), moves=False)

    @override
    def setGeometry(self, rect: QRect) -> None:
        super().setGeometry(rect)
        self._placed(rect, moves=True)

    @override
    def sizeHint(self) -> QSize:
        shown = [item.sizeHint() for item in self._items if not item.isEmpty()]
        wide = sum(hint.width() + self.spacing() for hint in shown) - self.spacing()
        return QSize(max(wide, 0), max((hint.height() for hint in shown), default=0))

    @override
    def minimumSize(self) -> QSize:
        shown = [item.minimumSize() for item in self._items if not item.isEmpty()]
        return QSize(
            max((least.width() for least in shown), default=0),
            max((least.height() for least in shown), default=0),
        )

    def _lines(self, room: int) -> list[list[QLayoutItem]]:
        lines: list[list[QLayoutItem]] = []
        left = 0
        for item in self._items:
            if item.isEmpty():
                continue
            wide = _wanted(item)
            if not lines or wide > left:
                lines.append([])
                left = room
            lines[-1].append(item)
            left -= wide + self.spacing()
        return lines

    def _placed(self, rect: QRect, *, moves: bool) -> int:
        """Place the parts, or only find out how high all of it is."""
        top = rect.y()
        for line in self._lines(rect.width()):
            high = max(item.sizeHint().height() for item in line)
            if moves:
                self._place(line, QRect(rect.x(), top, rect.width(), high))
            top += high + self.spacing()
        return max(top - self.spacing() - rect.y(), 0)

    def _place(self, line: list[QLayoutItem], room: QRect) -> None:
        wants = [min(_wanted(item), room.width()) for item in line]
        spare = max(room.width() - sum(wants) - self.spacing() * (len(line) - 1), 0)
        growing = [n for n, item in enumerate(line) if _grows(item)]
        x = room.x()
        for number, item in enumerate(line):
            wide = wants[number]
            if number in growing:
                wide += spare // len(growing)
            item.setGeometry(QRect(QPoint(x, room.y()), QSize(wide, room.height())))
            x += wide + self.spacing()


def _wanted(item: QLayoutItem) -> int:
    """What an item has to have: one that likes to be wide can do with less."""
    return (item.minimumSize() if _grows(item) else item.sizeHint()).width()


def _grows(item: QLayoutItem) -> bool:
    widget = item.widget()
    expanding = QSizePolicy.Policy.Expanding
    return widget is not None and widget.sizePolicy().horizontalPolicy() == expanding
