"""How the window looks: colours, letters and the style sheet, and nothing else.

Colours carry the meanings of IEC 60073 only (red danger or stop, yellow abnormal, green
safe, blue required action), and never alone: a shape and a word go with each. Light and
dark follow the system. Every colour in the window comes from here.
"""

from dataclasses import dataclass
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontInfo, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication, QWidget

SERIF: Final = ("Charter", "Bitstream Charter", "Cambria", "Georgia", "DejaVu Serif")
SANS: Final = ("Segoe UI", "Roboto", "Helvetica Neue", "Noto Sans", "DejaVu Sans")
USUAL_PX: Final = 12  # of a system's letters, for which the design is drawn
UNIT: Final = 8  # every distance is a multiple of half of it


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one scheme, as ``#rrggbb``.

    Attributes:
        paper: the ground.
        sheet: what lies on it.
        ink: text and lines that matter.
        muted: text that explains.
        rule: lines that divide.
        grid: lines in plots.
        fill: the filled part of a bar.
        action: blue: something is to be done.
        danger: red: danger, or stop.
        abnormal: yellow: not as it should be.
        good: green: safe.
        on_danger: text on red.
        plan: the planned line in a plot.
        trace: the measured line in a plot.
        second: what is set beside it.
    """

    paper: str
    sheet: str
    ink: str
    muted: str
    rule: str
    grid: str
    fill: str
    action: str
    danger: str
    abnormal: str
    good: str
    on_danger: str
    plan: str
    trace: str
    second: str


LIGHT: Final = Palette(
    paper="#fbfaf5",
    sheet="#fffefb",
    ink="#1c232c",
    muted="#555e69",
    rule="#cfccbf",
    grid="#e4e2d8",
    fill="#4a5766",
    action="#1d5fb8",
    danger="#b3261e",
    abnormal="#f0b400",
    good="#1f7a3d",
    on_danger="#ffffff",
    plan="#a9a596",
    trace="#1c4f8f",
    second="#8a2f78",
)
DARK: Final = Palette(
    paper="#14181d",
    sheet="#191e24",
    ink="#e8e5dc",
    muted="#a4abb3",
    rule="#3d454e",
    grid="#2a3138",
    fill="#9aa7b5",
    action="#86b6ff",
    danger="#c4352b",
    abnormal="#f5c33b",
    good="#72cf92",
    on_danger="#ffffff",
    plan="#6b7580",
    trace="#8fc1ff",
    second="#e29ad2",
)


_asked: list[Palette] = []


def use(scheme: str = "") -> None:
    """Take a scheme instead of the system's: "light", "dark", or "" to follow it."""
    _asked[:] = {"light": [LIGHT], "dark": [DARK]}.get(scheme, [])


def palette() -> Palette:
    """The colours of the scheme that was asked for, or that the system has now."""
    if _asked:
        return _asked[0]
    hints = QGuiApplication.styleHints()
    return DARK if hints.colorScheme() == Qt.ColorScheme.Dark else LIGHT


def font(px: int, *, serif: bool = False, bold: bool = False) -> QFont:
    """Letters of that height; figures of one width where the font has them.

    Args:
        px: height in logical pixels, scaled with the system's text size.
        serif: for headings and large figures.
        bold: for what has to be read first.
    """
    return font_px(scaled(px), serif=serif, bold=bold)


def font_px(px: int, *, serif: bool = False, bold: bool = False) -> QFont:
    """The same, of that height whatever the system's text size."""
    made = QFont()
    made.setFamilies(list(SERIF if serif else SANS))
    made.setPixelSize(px)
    if bold:
        made.setWeight(QFont.Weight.DemiBold)
    return made


def scaled(px: float) -> int:
    """A size of the design in pixels of this system's text size."""
    return max(1, round(px * min(max(_text_px() / USUAL_PX, 0.8), 2.5)))


def _text_px() -> float:
    """Height of the system's letters: larger ones come as points or as dots an inch."""
    return float(QFontInfo(QGuiApplication.font()).pixelSize())


def color(name: str) -> QColor:
    """A colour of the design for a painter."""
    return QColor(name)


def qt_palette(p: Palette) -> QPalette:
    """The same for Qt's own drawing."""
    made = QPalette()
    roles = {
        QPalette.ColorRole.Window: p.paper,
        QPalette.ColorRole.Base: p.sheet,
        QPalette.ColorRole.AlternateBase: p.paper,
        QPalette.ColorRole.WindowText: p.ink,
        QPalette.ColorRole.Text: p.ink,
        QPalette.ColorRole.Button: p.paper,
        QPalette.ColorRole.ButtonText: p.ink,
        QPalette.ColorRole.Highlight: p.action,
        QPalette.ColorRole.HighlightedText: p.paper,
        QPalette.ColorRole.PlaceholderText: p.muted,
        QPalette.ColorRole.ToolTipBase: p.sheet,
        QPalette.ColorRole.ToolTipText: p.ink,
    }
    for role, value in roles.items():
        made.setColor(role, QColor(value))
    for role in (QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, role, QColor(p.muted))
    return made


def large(px: int = 0) -> str:
    """The style of a large figure or word; of that height where one is given."""
    serif = ", ".join(f'"{name}"' for name in SERIF)
    size = f" font-size: {scaled(px)}px;" if px else ""
    return f"font-family: {serif};{size}"


def wear(part: QWidget | QApplication, sheet: str) -> None:
    """Give something a style sheet; what it wears already is not put on again."""
    if part.styleSheet() != sheet:
        part.setStyleSheet(sheet)


def style(p: Palette) -> str:
    """The style sheet."""
    small, text, head = scaled(12), scaled(14), scaled(20)
    sans = ", ".join(f'"{name}"' for name in SANS)
    serif = ", ".join(f'"{name}"' for name in SERIF)
    return f"""
* {{ font-family: {sans}; font-size: {text}px; color: {p.ink}; outline: none; }}
QWidget {{ background: {p.paper}; }}
QLabel, QCheckBox, QRadioButton {{ background: transparent; }}
QLabel[role="head"] {{ font-family: {serif}; font-size: {head}px; }}
QLabel[role="title"] {{ font-family: {serif}; font-size: {scaled(28)}px; }}
QLabel[role="muted"], QLabel[role="small"] {{ color: {p.muted}; }}
QLabel[role="small"] {{ font-size: {small}px; }}
QLabel[role="fault"] {{ font-weight: 600; }}
QLabel[role="wanted"] {{ color: {p.action}; font-size: {scaled(18)}px; }}
QLabel[role="danger"] {{
  background: {p.danger}; color: {p.on_danger}; font-size: {scaled(18)}px;
  font-weight: 600; padding: {UNIT}px {2 * UNIT}px;
}}
QFrame[role="rule"] {{ background: {p.rule}; border: 0; max-height: 1px; }}
QFrame[role="post"] {{ background: {p.rule}; border: 0; max-width: 1px; }}
QFrame[role="drop"] {{ border: 2px dashed {p.rule}; }}
QPushButton, QToolButton {{
  background: {p.sheet}; border: 1px solid {p.rule}; padding: {UNIT - 2}px {UNIT + 4}px;
}}
QPushButton:hover, QToolButton:hover {{ border-color: {p.muted}; }}
QPushButton:focus, QToolButton:focus, QLineEdit:focus, QComboBox:focus,
QPlainTextEdit:focus, QTableView:focus, QListView:focus {{
  border: 2px solid {p.action};
}}
QPushButton:disabled, QToolButton:disabled {{ color: {p.muted}; }}
QPushButton[role="act"] {{
  background: {p.action}; color: {p.paper}; border: 1px solid {p.action};
  font-weight: 600;
}}
QPushButton[role="act"]:disabled {{
  background: {p.paper}; color: {p.muted}; border-color: {p.rule};
}}
QPushButton[role="act"]:focus {{ border: 2px solid {p.ink}; }}
QPushButton[role="plain"] {{
  border: 0; background: transparent; text-align: left; padding: {UNIT}px {UNIT}px;
  text-decoration: underline;
}}
QPushButton[role="plain"]:focus {{ border: 2px solid {p.action}; }}
QLineEdit, QComboBox, QPlainTextEdit, QSpinBox {{
  background: {p.sheet}; border: 1px solid {p.rule};
  padding: {UNIT // 2 + 1}px {UNIT}px;
  selection-background-color: {p.action}; selection-color: {p.paper};
}}
QComboBox::drop-down {{ border: 0; width: {scaled(22)}px; }}
QComboBox QAbstractItemView {{ background: {p.sheet}; border: 1px solid {p.rule}; }}
QTableView, QListView {{
  background: {p.paper}; border: 0; gridline-color: {p.rule};
  selection-background-color: {p.rule}; selection-color: {p.ink};
  alternate-background-color: {p.sheet};
}}
QHeaderView::section {{
  background: {p.paper}; color: {p.muted}; border: 0; font-size: {small}px;
  border-bottom: 1px solid {p.ink}; padding: {UNIT // 2}px {UNIT}px;
}}
QScrollArea {{ border: 2px solid transparent; }}
QScrollArea:focus {{ border-color: {p.action}; }}
QScrollBar:vertical {{ background: {p.paper}; width: {scaled(6)}px; }}
QScrollBar::handle:vertical {{ background: {p.rule}; min-height: {4 * UNIT}px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; width: 0; }}
QScrollBar:horizontal {{ background: {p.paper}; height: {scaled(10)}px; }}
QScrollBar::handle:horizontal {{ background: {p.rule}; min-width: {4 * UNIT}px; }}
QCheckBox::indicator, QRadioButton::indicator {{
  width: {scaled(18)}px; height: {scaled(18)}px; border: 1px solid {p.muted};
  background: {p.sheet};
}}
QRadioButton::indicator {{ border-radius: {scaled(9)}px; }}
QCheckBox::indicator:checked, QRadioButton::indicator:checked {{
  background: {p.ink}; border-color: {p.ink};
}}
QCheckBox:focus, QRadioButton:focus {{ color: {p.action}; }}
QCheckBox::indicator:focus, QRadioButton::indicator:focus {{
  border: 2px solid {p.action};
}}
QToolTip {{ background: {p.sheet}; color: {p.ink}; border: 1px solid {p.rule}; }}
QSplitter::handle {{ background: {p.rule}; }}
QProgressBar {{
  background: {p.sheet}; border: 1px solid {p.rule}; text-align: center;
  max-height: {UNIT}px;
}}
QProgressBar::chunk {{ background: {p.fill}; }}
"""
