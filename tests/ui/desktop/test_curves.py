"""The Curves room without a screen: rows, curves, tags, files out, empty states."""

import csv
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFontMetrics, QImage
from PySide6.QtSvg import QSvgRenderer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QWidget,
)
from pytestqt.modeltest import ModelTester
from pytestqt.qtbot import QtBot

from tests.ui.desktop.run_folders import (
    TRIPPED,
    add_findings,
    finding,
    make_run,
    sampled,
)
from ui.desktop import curves_shown, theme
from ui.desktop.app import made_application
from ui.desktop.background import Background
from ui.desktop.curves import CurvesRoom
from ui.desktop.curves_plot import HOVER, Elided, OverlayPlot, color_of
from ui.desktop.curves_table import KEYS, LETTERS, STAYS, TICK, UNITS
from ui.desktop.model.labels import Label, read_label, write_label
from ui.desktop.model.memory import Memory
from ui.desktop.model.styles import style_of

LONG = "Indoor camera quad of somebody with a very long name, motor A, three blades"
HOSTILE = "<b>bold</b><img src='x'>"

Open = Callable[..., CurvesRoom]


@pytest.fixture(scope="session")
def whole_runs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two runs with everything that is derived from them."""
    folder = tmp_path_factory.mktemp("whole")
    first = sampled(folder, "2026-05-09-short-staircase-aaaa")
    shutil.copytree(first, folder / "2026-05-09-short-staircase-bbbb")
    return folder


@pytest.fixture
def runs(whole_runs: Path, tmp_path: Path) -> Path:
    """The two, which a test may change."""
    folder = tmp_path / "runs"
    left_out = shutil.ignore_patterns("*.parquet")
    shutil.copytree(whole_runs, folder, ignore=left_out)
    return folder


@pytest.fixture
def opened(qtbot: QtBot, tmp_path: Path) -> Iterator[Open]:
    """Opens a room over a folder, looked at and drawn."""
    made_application()
    rooms: list[CurvesRoom] = []

    def open_room(folder: Path, memory: Memory | None = None) -> CurvesRoom:
        kept = memory or Memory(tmp_path / "memory")
        kept.set("runs", str(folder))
        room = CurvesRoom(kept)
        qtbot.addWidget(room)
        rooms.append(room)
        room.resize(900, 520)
        room.show()
        settled(room, qtbot)
        return room

    yield open_room
    for room in rooms:
        room.close_jobs()
    theme.use()


def settled(room: CurvesRoom, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not room.busy, timeout=30_000)


def texts(part: QWidget) -> str:
    shown = [x.text() for x in part.findChildren(QLabel) if x.isVisible()]
    return " ".join(shown)


def names(room: CurvesRoom) -> list[str]:
    runs = room.side.runs
    found = [runs.row(number) for number in range(runs.rowCount())]
    return [row.name for row in found if row is not None]


# ------------------------------------------------------------------ what is shown


def test_a_run_is_chosen_drawn_and_told_at_once(opened: Open, runs: Path) -> None:
    room = opened(runs)
    assert len(names(room)) == 2
    assert room.side.row is not None
    shown = room.shown.plot.shown
    assert shown is not None
    assert [line.folder for line in shown.lines] == [room.side.row.folder]
    said = texts(room.shown)
    assert "Thrust at 95 % throttle was" in said
    assert "simulated" in said
    assert "nominal, not calibrated" in said
    assert room.shown.plot.isVisible()


def test_an_empty_folder_says_what_to_do_next(opened: Open, tmp_path: Path) -> None:
    room = opened(tmp_path / "runs")
    assert "No runs here yet. Spin one, or choose another folder." in texts(room.side)
    assert room.side.other.isVisible()
    assert not room.side.all.isVisible()
    assert "appear here" in texts(room.shown)
    assert not room.shown.picture.isEnabled()
    assert not room.shown.page.isEnabled()


def test_words_that_no_run_has_say_so_and_all_come_back(
    opened: Open, runs: Path
) -> None:
    room = opened(runs)
    room.side.filter.setText("bbbb")
    assert names(room) == ["2026-05-09-short-staircase-bbbb"]
    assert "1 of 2 runs" in texts(room.side)
    room.side.filter.setText("bbbb nonsense")
    assert "No run has all of these words" in texts(room.side)
    room.side.all.click()
    assert len(names(room)) == 2


def test_a_broken_run_is_a_row_that_says_why(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    broken = runs / "broken"
    broken.mkdir()
    (broken / "datapackage.json").write_text("{")
    room = opened(runs)
    room.choose(str(broken))
    settled(room, qtbot)
    assert "datapackage.json cannot be read: it is no JSON." in texts(room.shown)
    assert not room.shown.page.isEnabled()
    assert room.shown.show_folder.isEnabled()


def test_a_run_deleted_under_the_window_is_told_and_harms_nothing(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    room = opened(runs)
    chosen = room.side.row
    assert chosen is not None
    room.tick(chosen.folder)
    shutil.rmtree(chosen.folder)
    room.side.panel.tags.setText("too late")
    room.side.panel.keep()
    assert "is gone: nothing was kept" in texts(room.side)
    room.refresh()
    settled(room, qtbot)
    assert "deleted, moved or renamed" in texts(room.shown)
    assert not room.shown.show_folder.isEnabled()
    assert not chosen.folder.exists()
    room.refresh()
    settled(room, qtbot)
    assert len(names(room)) == 1


def test_a_strangers_words_are_shown_as_text(opened: Open, tmp_path: Path) -> None:
    make_run(tmp_path / "runs", "a", article=HOSTILE)
    room = opened(tmp_path / "runs")
    index = room.side.runs.index(0, KEYS.index("article"))
    assert index.data() == HOSTILE
    tip = str(index.data(Qt.ItemDataRole.ToolTipRole))
    assert "<img" not in tip
    for part in room.findChildren(QLabel):
        assert part.textFormat() == Qt.TextFormat.PlainText


def test_long_names_are_cut_and_whole_in_their_tooltips(qtbot: QtBot) -> None:
    words = Elided(LONG)
    qtbot.addWidget(words)
    words.resize(80, 20)
    words.show()
    assert words.text() != LONG
    assert words.text().endswith("…")
    assert LONG in words.toolTip()
    assert words.accessibleName() == LONG


@pytest.mark.parametrize("size", [(912, 480), (1400, 800), (3700, 1900)])
def test_a_room_of_any_size_holds_its_parts(
    opened: Open, tmp_path: Path, size: tuple[int, int]
) -> None:
    for name in "ab":
        run = make_run(tmp_path / "runs", f"{name}-{LONG}", article=LONG)
        write_label(run, Label((LONG[:40],) * 3, LONG))
    room = opened(tmp_path / "runs")
    room.resize(*size)
    QApplication.processEvents()
    assert (room.width(), room.height()) == size
    for part in room.findChildren(QAbstractButton):
        if part.isVisible() and part.text():
            assert part.width() >= part.minimumSizeHint().width()
            corner = part.mapTo(room, QPoint(part.width(), part.height()))
            assert corner.x() <= size[0]
            assert corner.y() <= size[1]


def test_the_table_is_a_model_as_qt_wants_it(
    opened: Open, runs: Path, qtmodeltester: ModelTester
) -> None:
    make_run(runs, "c", outcome=TRIPPED)
    room = opened(runs)
    check: Callable[[object], None] = qtmodeltester.check
    check(room.side.runs)


def test_columns_are_left_out_where_there_is_no_room(opened: Open, runs: Path) -> None:
    room = opened(runs)
    view = room.side.view
    sag, article = KEYS.index("sag"), KEYS.index("article")
    assert view.isColumnHidden(sag)
    assert not view.isColumnHidden(article)
    room.resize(2600, 900)
    QApplication.processEvents()
    assert not view.isColumnHidden(sag)


def test_a_click_on_a_head_sorts_and_keeps_the_chosen_run(
    opened: Open, tmp_path: Path
) -> None:
    for name, value in (("a", 100.0), ("b", 300.0), ("c", 200.0)):
        run = make_run(tmp_path / "runs", name)
        add_findings(run, finding("max-thrust", value, 5.0, "gf"))
    make_run(tmp_path / "runs", "d")
    room = opened(tmp_path / "runs")
    chosen = room.side.current
    thrust = KEYS.index("thrust")
    room.side.view.sortByColumn(thrust, Qt.SortOrder.DescendingOrder)
    assert names(room) == ["b", "c", "a", "d"]
    room.side.view.sortByColumn(thrust, Qt.SortOrder.AscendingOrder)
    assert names(room) == ["a", "c", "b", "d"]
    assert room.side.current == chosen


# ------------------------------------------------------------------ overlay


def test_ticked_runs_are_drawn_beside_the_chosen_one(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    room = opened(runs)
    view = room.side.view
    view.setFocus()
    QTest.keyClick(view, Qt.Key.Key_Space)
    QTest.keyClick(view, Qt.Key.Key_Down)
    settled(room, qtbot)
    shown = room.shown.plot.shown
    assert shown is not None
    assert len(shown.lines) == 2
    assert len({line.style for line in shown.lines}) == 2
    first = room.side.runs.index(0, TICK)
    checked = first.data(Qt.ItemDataRole.CheckStateRole)
    assert Qt.CheckState(checked) == Qt.CheckState.Checked
    assert first.data(Qt.ItemDataRole.DecorationRole) is not None
    assert room.shown.untick.isVisible()
    room.shown.untick.click()
    settled(room, qtbot)
    assert len(room.shown.plot.shown.lines) == 1  # type: ignore[union-attr]


def test_a_tick_by_mouse_does_the_same(opened: Open, runs: Path, qtbot: QtBot) -> None:
    room = opened(runs)
    view = room.side.view
    box = view.visualRect(room.side.runs.index(1, TICK))
    at = QPoint(box.left() + 10, box.center().y())
    QTest.mouseClick(
        view.viewport(), Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, at
    )
    settled(room, qtbot)
    checked = room.side.runs.index(1, TICK).data(Qt.ItemDataRole.CheckStateRole)
    assert Qt.CheckState(checked) == Qt.CheckState.Checked


def test_every_family_is_drawn(opened: Open, runs: Path) -> None:
    room = opened(runs)
    for number in range(room.shown.family.count()):
        room.shown.family.setCurrentIndex(number)
        shown = room.shown.plot.shown
        assert shown is not None
        assert shown.family.title == room.shown.family.currentText()
        assert len(shown.lines) == 1
        assert shown.family.title.lower() in room.shown.plot.accessibleName()
        (x_low, x_high), (y_low, y_high) = room.shown.plot.plot.viewRange()
        line = shown.lines[0]
        assert x_low <= line.points_x.min() <= line.points_x.max() <= x_high
        assert y_low <= line.points_y.min() <= line.points_y.max() <= y_high


def test_colours_follow_the_scheme(opened: Open, runs: Path) -> None:
    room = opened(runs)
    line = room.shown.plot.shown.lines[0]  # type: ignore[union-attr]
    found = []
    for scheme in ("light", "dark"):
        theme.use(scheme)
        room.dress()
        found.append(color_of(line.style))
        QApplication.processEvents()
        ground = room.shown.plot.plot.grab().toImage().pixelColor(2, 2).name()
        assert ground == theme.palette().sheet
    assert found == [line.style.on_light, line.style.on_dark]


# ------------------------------------------------------------------ tags and note


def test_tags_and_note_are_kept_with_the_run(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    room = opened(runs)
    row = room.side.row
    assert row is not None
    panel = room.side.panel
    QTest.keyClicks(panel.tags, "indoor, windy")
    QTest.keyClick(panel.tags, Qt.Key.Key_Return)
    assert read_label(row.folder)[0] == Label(("indoor", "windy"))
    panel.note.setPlainText("Rough at 60 %.")
    QTest.keyClick(room.side.view, Qt.Key.Key_Down)  # another run is chosen
    assert read_label(row.folder)[0] == Label(("indoor", "windy"), "Rough at 60 %.")
    assert panel.note.toPlainText() == ""
    room.side.filter.setText("rough windy")
    assert names(room) == [row.name]


def test_what_is_being_typed_survives_a_look_at_the_folders(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    room = opened(runs)
    room.activateWindow()
    room.side.panel.note.setFocus()
    qtbot.waitUntil(room.side.panel.note.hasFocus)
    QTest.keyClicks(room.side.panel.note, "half a sen")
    room.refresh()
    settled(room, qtbot)
    assert room.side.panel.note.toPlainText() == "half a sen"


def test_closing_keeps_what_was_typed(opened: Open, runs: Path) -> None:
    room = opened(runs)
    row = room.side.row
    assert row is not None
    room.side.panel.note.setPlainText("last words")
    room.close_jobs()
    assert read_label(row.folder)[0].note == "last words"
    room.refresh()  # nothing begins any more
    assert not room.busy


def test_a_damaged_label_is_told(opened: Open, runs: Path) -> None:
    for run in runs.iterdir():
        (run / "derived" / "label.json").write_text("{")
    room = opened(runs)
    assert "Its tags and note are lost" in texts(room.side)


# ------------------------------------------------------------------ working out


def test_working_out_is_given_up_when_asked(
    opened: Open, tmp_path: Path, qtbot: QtBot
) -> None:
    run = sampled(tmp_path / "runs", "a", made=False)
    room = opened(tmp_path / "runs")
    room.shown.make.click()
    room.shown.cancel.click()
    assert not room.making.busy
    settled(room, qtbot)
    assert room.shown.make.isVisible()
    assert not (run / "derived" / "nominal").exists()


def test_what_cannot_be_worked_out_says_why(
    opened: Open, tmp_path: Path, qtbot: QtBot
) -> None:
    run = make_run(tmp_path / "runs", "a")
    (run / "wire.log").write_bytes(b"nonsense")
    room = opened(tmp_path / "runs")
    room.shown.make.click()
    settled(room, qtbot)
    assert "is not a wire log" in texts(room.shown)


# ------------------------------------------------------------------ out of the room


@pytest.fixture
def outside(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """What was shown outside the window."""
    found: list[Path] = []

    def show(path: Path) -> bool:
        found.append(path)
        return path.suffix == ".html"

    monkeypatch.setattr(curves_shown, "open_outside", show)
    return found


def test_the_report_opens_and_what_has_no_program_is_named(
    opened: Open, runs: Path, outside: list[Path]
) -> None:
    room = opened(runs)
    row = room.side.row
    assert row is not None
    room.shown.page.click()
    assert outside == [row.folder / "derived" / "nominal" / "report.html"]
    room.shown.show_folder.click()
    assert outside[-1] == row.folder
    assert str(row.folder) in texts(room.shown)


@pytest.mark.slow
def test_a_run_is_worked_out_when_asked_and_its_report_opens(
    opened: Open, tmp_path: Path, outside: list[Path], qtbot: QtBot
) -> None:
    run = sampled(tmp_path / "runs", "a", made=False)
    room = opened(tmp_path / "runs")
    assert "Nothing is worked out from this run yet." in texts(room.shown)
    assert not room.shown.plot.isVisible()
    room.shown.page.click()
    assert room.shown.cancel.isVisible()
    assert "Working out 1 of 1: a" in texts(room.shown)
    settled(room, qtbot)
    assert outside == [run / "derived" / "nominal" / "report.html"]
    assert outside[0].is_file()
    assert not room.shown.cancel.isVisible()
    assert room.shown.plot.isVisible()
    assert "Thrust at 95 % throttle was" in texts(room.shown)


def test_pictures_carry_what_is_drawn(opened: Open, runs: Path, tmp_path: Path) -> None:
    room = opened(runs)
    png, svg = tmp_path / "a.png", tmp_path / "a.SVG"
    room.shown.save_picture(png)
    room.shown.save_picture(svg)
    assert f"Written: {svg}" in texts(room.shown)
    image = QImage(str(png))
    assert image.width() == 2000
    assert image.height() > 800
    colors = {
        image.pixelColor(x, y).name()
        for x in range(0, image.width(), 2)
        for y in range(0, image.height(), 2)
    }
    assert color_of(room.shown.plot.shown.lines[0].style) in colors  # type: ignore[union-attr]
    assert QSvgRenderer(str(svg)).isValid()
    written = svg.read_text(encoding="utf-8")
    assert "Thrust against throttle, simulated" in written
    assert "Indoor quad, motor A" in written


def test_no_file_is_written_over_and_odd_names_are_refused(
    opened: Open, runs: Path, tmp_path: Path
) -> None:
    room = opened(runs)
    there = tmp_path / "a.png"
    there.write_bytes(b"mine")
    room.shown.save_picture(there)
    assert "a.png is there already" in texts(room.shown)
    assert there.read_bytes() == b"mine"
    room.shown.save_picture(tmp_path / "a.gif")
    assert "ends in .png or .svg" in texts(room.shown)
    room.shown.save_table(tmp_path / "a.txt")
    assert "ends in .csv" in texts(room.shown)
    room.shown.save_table(tmp_path / "no such folder" / "a.csv")
    assert "cannot be written" in texts(room.shown)


def test_the_table_holds_the_drawn_curves(
    opened: Open, runs: Path, tmp_path: Path
) -> None:
    room = opened(runs)
    room.shown.family.setCurrentIndex(1)
    path = tmp_path / "a.csv"
    room.shown.save_table(path)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    line = room.shown.plot.shown.lines[0]  # type: ignore[union-attr]
    curve = [float(r["current, A"]) for r in rows if r["what"] == "curve"]
    assert curve == pytest.approx(line.y.tolist(), rel=1e-8)
    assert len(rows) == line.x.size + line.points_x.size


@pytest.mark.parametrize("asks", ["picture", "table"])
def test_no_dialog_stops_the_window(
    opened: Open, runs: Path, qtbot: QtBot, asks: str
) -> None:
    room = opened(runs)
    getattr(room.shown, asks).click()
    dialog = room.shown.findChild(QFileDialog)
    assert dialog is not None
    assert dialog.isVisible()
    assert not dialog.isModal()
    dialog.close()


# ------------------------------------------------------------------ folders


def test_another_folder_is_remembered_and_can_be_forgotten(
    opened: Open, runs: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    make_run(tmp_path / "others", "x")
    memory = Memory(tmp_path / "memory")
    room = opened(runs, memory)
    assert not room.side.forget.isVisible()
    room.side.add_folder(str(tmp_path / "others"))
    settled(room, qtbot)
    assert names(room) == ["x"]
    again = opened(runs, memory)
    assert names(again) == ["x"]
    again.side.folders.setCurrentIndex(again.side.folders.count() - 1)
    again.side.folders.activated.emit(again.side.folders.currentIndex())
    settled(again, qtbot)
    assert len(names(again)) == 3
    again.side.folders.setCurrentIndex(
        again.side.folders.findData(str(tmp_path / "others"))
    )
    again.side.folders.activated.emit(again.side.folders.currentIndex())
    again.side.forget.click()
    settled(again, qtbot)
    assert len(names(again)) == 2
    assert (tmp_path / "others" / "x").is_dir()


def test_a_run_from_elsewhere_is_found_and_chosen(
    opened: Open, runs: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    run = make_run(tmp_path / "others", "x")
    room = opened(runs)
    room.side.filter.setText("nonsense")
    room.choose(str(run))
    settled(room, qtbot)
    assert room.side.row is not None
    assert room.side.row.folder == run
    assert room.side.filter.text() == ""
    room.choose(str(tmp_path / "others" / "no run"))
    settled(room, qtbot)
    assert "There is no run in" in texts(room.shown)
    assert room.side.row.folder == run


# ------------------------------------------------------------------ for everybody


def test_everything_can_be_reached_and_has_a_name(opened: Open, runs: Path) -> None:
    room = opened(runs)
    fields = QAbstractButton | QComboBox | QLineEdit | QPlainTextEdit
    for part in room.findChildren(QWidget):
        if not part.isVisible() or not isinstance(part, fields):
            continue
        if part.focusPolicy() == Qt.FocusPolicy.NoFocus:
            continue
        assert part.accessibleName() or getattr(part, "text", str)(), part
    assert room.side.view.accessibleName()


def test_tab_walks_through_the_room(opened: Open, runs: Path, qtbot: QtBot) -> None:
    room = opened(runs)
    room.activateWindow()
    room.side.folders.setFocus()
    qtbot.waitUntil(room.side.folders.hasFocus)
    met: list[QWidget] = []
    for _ in range(30):
        focused = QApplication.focusWidget()
        assert focused is not None
        if focused in met:
            break
        met.append(focused)
        QTest.keyClick(focused, Qt.Key.Key_Tab)
    for wanted in (
        room.side.filter,
        room.side.view,
        room.side.panel.tags,
        room.side.panel.note,
        room.shown.family,
        room.shown.page,
        room.shown.table,
    ):
        assert wanted in met, wanted.accessibleName()


def test_the_window_goes_on_while_a_folder_is_read(qtbot: QtBot) -> None:
    parent = QWidget()
    qtbot.addWidget(parent)
    jobs = Background(parent, lambda: False)
    gate: list[bool] = []
    taken: list[str] = []

    def work() -> str:
        while not gate:
            time.sleep(0.001)  # noqa: TID251 - a disk that takes its time
        return "read"

    jobs.start("look", work, taken.append)
    jobs.start("look", lambda: "old", taken.append)
    jobs.start("look", lambda: "newest", taken.append)
    QApplication.processEvents()
    assert taken == []
    assert jobs.runs("look")
    gate.append(True)
    qtbot.waitUntil(lambda: not jobs.busy)
    assert taken == ["read", "newest"]
    jobs.close()
    jobs.start("look", lambda: "late", taken.append)
    jobs.wake()
    assert not jobs.busy


def test_a_tag_written_while_folders_are_read_is_not_lost(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    room = opened(runs)
    row = room.side.row
    assert row is not None
    room.refresh()
    write_label(row.folder, Label(("windy",)))
    room.side.panel.kept.emit(row.folder)
    settled(room, qtbot)
    assert room.side.row is not None
    assert room.side.row.label.tags == ("windy",)


@pytest.mark.parametrize("wide", [380, 460, 500, 700, 1200])
def test_no_number_in_the_table_is_cut(opened: Open, runs: Path, wide: int) -> None:
    room = opened(runs)
    view, model = room.side.view, room.side.runs
    view.setMinimumWidth(0)
    view.resize(wide, 300)
    letters = QFontMetrics(theme.font(LETTERS))
    shown = [n for n, key in enumerate(KEYS) if not view.isColumnHidden(n)]
    for place in shown:
        if KEYS[place] not in UNITS:
            continue
        for line in range(model.rowCount()):
            text = str(model.data(model.index(line, place)))
            assert letters.horizontalAdvance(text) < view.columnWidth(place), text
    assert STAYS in shown


def test_key_figures_are_in_the_table_of_the_smallest_window(
    opened: Open, runs: Path
) -> None:
    """1024 px less the rail, 57.5 % of it, less the margins: 480 px."""
    room = opened(runs)
    view = room.side.view
    view.setMinimumWidth(0)
    view.resize(480, 300)
    for key in ("thrust", "best"):
        assert not view.isColumnHidden(KEYS.index(key)), key


def test_the_first_mark_of_hover_says_what_it_is(qtbot: QtBot) -> None:
    plot = OverlayPlot()
    qtbot.addWidget(plot)
    plot.mark([(45.0, style_of(0)), (46.0, style_of(1))])
    lines = [item for item in plot.plot.getPlotItem().items if hasattr(item, "label")]
    assert [line.label.toPlainText() for line in lines] == [HOVER]
    plot.mark([])
    assert not [i for i in plot.plot.getPlotItem().items if hasattr(i, "label")]
