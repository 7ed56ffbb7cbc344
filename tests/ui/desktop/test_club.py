"""The Club room without a screen: what each part says and does, and when it waits."""

import base64
import json
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from PySide6.QtCore import (
    QBuffer,
    QByteArray,
    QEvent,
    QIODevice,
    QMimeData,
    QObject,
    QPoint,
    QPointF,
    Qt,
    QUrl,
)
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QFont, QImage, QImageWriter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
    QScrollArea,
    QWidget,
)
from pytestqt.qtbot import QtBot
from typing_extensions import override

from daq.errors import InputFault
from daq.machine_clock import MachineClock
from tests.ui.desktop.club_bundles import Fake, checked, run, scale
from tests.ui.desktop.run_folders import make_run
from ui.club.signing import known_signers, own_key, public_text
from ui.desktop import club_bundle, club_pack, club_site, theme
from ui.desktop.app import made_application
from ui.desktop.club import PARTS, ClubRoom
from ui.desktop.club_bundle import AT_ONCE
from ui.desktop.club_parts import Rungs
from ui.desktop.model.clubs import SiteBuilt
from ui.desktop.model.desk import Desk
from ui.desktop.model.errands import WAITS, Work
from ui.desktop.model.memory import Memory
from ui.desktop.model.openings import Opening
from ui.desktop.parts import ABNORMAL, Fault, Mark

HOSTILE = "<b>bold</b><img src='x'>"
#: The first test of RFC 8032, section 7.1: a public key that nobody here made.
PUBLIC = "ed25519:11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo="
Open = Callable[..., ClubRoom]


class Busy(Desk):
    """A desk at which a spin goes on, or not."""

    def __init__(self) -> None:
        super().__init__(MachineClock())
        self.spins = False

    @property
    @override
    def is_spinning(self) -> bool:
        return self.spins


@pytest.fixture(autouse=True)
def _own_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "data"))


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    folder = tmp_path / "runs"
    for name in ("2026-05-08-a", "2026-05-09-b"):
        make_run(folder, name)
    make_run(folder, "2026-05-10-open", outcome=None)
    return folder


@pytest.fixture
def opened(qtbot: QtBot, tmp_path: Path) -> Iterator[Open]:
    """Opens a room over a folder of runs, with an inspector of the test's."""
    made_application()
    rooms: list[ClubRoom] = []

    def open_room(
        part: str,
        fake: Fake | None = None,
        desk: Desk | None = None,
        memory: Memory | None = None,
    ) -> ClubRoom:
        kept = memory or Memory(tmp_path / "memory")
        kept.set("runs", str(tmp_path / "runs"))
        room = ClubRoom(desk or Busy(), kept)
        qtbot.addWidget(room)
        rooms.append(room)
        if fake is not None:
            room.open.opening.close()
            room.open.opening = Opening(lambda: fake)
        room.resize(900, 460)
        room.go_to(PARTS.index(part))
        room.show()
        settled(room, qtbot)
        return room

    yield open_room
    for room in rooms:
        room.close_jobs()
    theme.use()


def settled(room: ClubRoom, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not room.busy, timeout=20_000)


def texts(part: QWidget) -> str:
    QApplication.processEvents()  # what was just put there is shown then
    shown = [x.text() for x in part.findChildren(QLabel) if x.isVisible()]
    return " ".join(shown)


def says(answer: object, kind: str = "answer") -> Work:
    """Work that a process of the test's own does, and what it says."""
    line = json.dumps({kind: answer})
    return Work([sys.executable, "-c", f"print({line!r})"])


def hangs() -> Work:
    return Work([sys.executable, "-c", "import time; time.sleep(600)"])


def marks(part: QWidget, meaning: str) -> list[Mark]:
    found = part.findChildren(Mark)
    return [mark for mark in found if mark.isVisible() and mark.meaning == meaning]


# ------------------------------------------------------------------ the room


def test_every_part_that_is_empty_says_what_to_do(opened: Open) -> None:
    room = opened("Pack")
    assert "No runs here yet. Spin one, or choose another folder" in texts(room.pack)
    assert not room.pack.go.isEnabled()
    room.go_to(1)
    assert "Drop bundles here, or choose their files." in texts(room.open)
    room.go_to(2)
    assert "Choose the folder in which the club's bundles are." in texts(room.site)
    assert not room.site.go.isEnabled()
    room.go_to(3)
    assert "You have no key yet. Bundles need none" in texts(room.keys)
    assert "Nobody's key is kept." in texts(room.keys)


def test_its_parts_are_reached_by_keyboard_and_remembered(
    opened: Open, tmp_path: Path
) -> None:
    room = opened("Pack")
    room.pages.buttons[0].setFocus()
    for number, name in enumerate(PARTS):
        made = room.pages.buttons[number]
        assert room._stack.currentIndex() == number
        assert made.isChecked()
        assert made.focusPolicy() & Qt.FocusPolicy.TabFocus
        assert name in made.accessibleName()
        if made is not room.pages.buttons[-1]:
            QTest.keyClick(made, Qt.Key.Key_Right)
    again = ClubRoom(Busy(), room._memory)
    assert again._stack.currentIndex() == len(PARTS) - 1
    again.close_jobs()


@pytest.mark.parametrize("share", [1.0, 1.5])
@pytest.mark.parametrize("part", PARTS)
def test_in_a_small_window_with_large_letters_nothing_is_cut(
    opened: Open, runs: Path, part: str, share: float, qtbot: QtBot, tmp_path: Path
) -> None:
    app = made_application()
    usual, larger = app.font(), QFont(app.font())
    larger.setPixelSize(round(12 * share))
    app.setFont(larger)
    made_application()
    try:
        long = f"{'a-long-name-' * 8}.zip"
        fake = Fake()
        fake.says[long] = checked(run(differences=["x" * 90]), signed_by=PUBLIC)
        room = opened(part, fake)
        room.resize(680 if share == 1.0 else 880, 380)  # of a window of 800 by 600
        room.pack.runs.tick(runs / "2026-05-08-a")
        if part == "Open":
            (tmp_path / long).touch()
            room.open.ask([tmp_path / long])
            settled(room, qtbot)
            room.open.view.ask_name.click()
        QApplication.processEvents()
        assert [x for x in shown_in(room) if sticks_out(room, x)] == []
    finally:
        app.setFont(usual)
        made_application()


def shown_in(room: QWidget) -> list[QWidget]:
    kinds = (QAbstractButton, QLabel, QLineEdit, QComboBox)
    found = [x for x in room.findChildren(QWidget) if isinstance(x, kinds)]
    return [x for x in found if x.isVisible()]


def sticks_out(room: QWidget, part: QWidget) -> bool:
    left = part.mapTo(room, QPoint(0, 0)).x()
    around = part.parentWidget()
    while around is not None and not isinstance(around, QScrollArea):
        around = around.parentWidget()
    frame = around or room
    begin = frame.mapTo(room, QPoint(0, 0)).x()
    return left < begin or left + part.width() > begin + frame.width()


def test_closed_in_the_middle_of_everything_it_leaves_no_thread(
    opened: Open, runs: Path, tmp_path: Path
) -> None:
    before = set(threading.enumerate())
    fake = Fake(a=checked())
    fake.held = {"a.zip"}
    room = opened("Pack", fake)
    room.pack.work = hangs()
    room.pack.runs.tick(runs / "2026-05-08-a")
    room.pack.go.click()
    (tmp_path / "a.zip").touch()
    room.open.ask([tmp_path / "a.zip"])
    QTest.qWait(100)
    room.close_jobs()
    assert set(threading.enumerate()) <= before
    assert not room.busy


# ------------------------------------------------------------------ packing


def point() -> bytes:
    """A picture of one point."""
    image = QImage(1, 1, QImage.Format.Format_RGB32)
    image.fill(Qt.GlobalColor.white)
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    QImageWriter(buffer, QByteArray(b"png")).write(image)
    return bytes(buffer.data().data())


def packed(path: Path, digits: str = "") -> dict[str, object]:
    return {
        "path": str(path),
        "size": 2_178_486,
        "runs": {"2026-05-08-a": "simulated: nothing turned"},
        "picture": base64.b64encode(point()).decode(),
        "digits": digits,
    }


def test_runs_are_ticked_named_and_packed(
    opened: Open, runs: Path, qtbot: QtBot, tmp_path: Path
) -> None:
    room = opened("Pack")
    pack = room.pack
    assert pack.runs.runs.rowCount() == 3
    assert "No run is chosen." in texts(pack)
    pack.runs.tick(runs / "2026-05-09-b")
    pack.runs.tick(runs / "2026-05-08-a")
    assert "2 runs chosen, simulated" in texts(pack)
    out = tmp_path / "2026-05-08-a-and-1-more.zip"
    assert pack.file.text() == str(out)
    pack.by.setText("Wren")
    pack.licence.setCurrentIndex(1)
    pack.sign.box.setChecked(True)
    pack.work = says(packed(out, "dd06 da0a 874a 73c0"))
    pack.go.click()
    assert pack._asked is not None
    assert pack._asked.folders == (runs / "2026-05-09-b", runs / "2026-05-08-a")
    assert (pack._asked.by, pack._asked.licence) == ("Wren", "CC0-1.0")
    assert pack._asked.sign
    assert not pack.go.isEnabled()
    made = own_key(make=True)  # as packing does that signs for the first time
    assert made is not None
    settled(room, qtbot)
    qtbot.waitUntil(lambda: room.keys.keys.own == public_text(made))
    said = texts(pack.panel)
    assert "2.2 MB, signed with your key (dd06 da0a 874a 73c0)" in said
    assert "2026-05-08-a rests on: simulated: nothing turned." in said
    assert pack.go.isEnabled()
    assert room._memory.text(club_pack.BY) == "Wren"
    assert room._memory.text(club_pack.OUT) == str(tmp_path)


def test_the_picture_for_a_chat_is_shown_copied_and_saved(
    opened: Open, runs: Path, qtbot: QtBot, tmp_path: Path
) -> None:
    room = opened("Pack")
    room.pack.runs.tick(runs / "2026-05-08-a")
    room.pack.work = says(packed(tmp_path / "x.zip"))
    room.pack.go.click()
    settled(room, qtbot)
    panel = room.pack.panel
    assert not panel.picture.pixmap().isNull()
    panel.copy.click()
    image = QApplication.clipboard().image()
    assert (image.width(), image.height()) == (1, 1)
    assert "on the clipboard" in texts(panel)
    panel.save_picture(tmp_path / "x.png")
    assert QImage(str(tmp_path / "x.png")).width() == 1
    assert (tmp_path / "x.png").read_bytes() == point()
    panel.save_picture(tmp_path / "x.png")
    assert "is there already: choose another name" in texts(panel)
    panel.save.click()
    dialog = panel.findChild(QFileDialog)
    assert dialog is not None
    assert not dialog.isModal()
    dialog.close()


def test_a_run_that_is_not_sealed_cannot_be_ticked_and_says_why(
    opened: Open, runs: Path
) -> None:
    room = opened("Pack")
    table = room.pack.runs
    place = table.runs.place(runs / "2026-05-10-open")
    table.view.selectRow(place)
    QTest.keyClick(table.view, Qt.Key.Key_Space)
    assert table.ticked == []
    assert "Not sealed: its keeper was cut off" in texts(table)
    table.view.selectRow(table.runs.place(runs / "2026-05-08-a"))
    QTest.keyClick(table.view, Qt.Key.Key_Space)
    assert [row.name for row in table.ticked] == ["2026-05-08-a"]
    assert "Not sealed" not in texts(table)
    assert "space takes it along" in table.view.accessibleName()


def test_what_leaves_this_computer_is_said_before_it_does(opened: Open) -> None:
    room = opened("Pack")
    stays = room.pack._stays
    assert "the names of this computer and of its user" in stays.text()
    assert "the notes on articles" in stays.text()
    room.pack.notes.box.setChecked(True)
    assert "the notes on articles" not in stays.text()
    assert "as you wrote them" in room.pack._goes.text()
    room.pack.tables.box.setChecked(True)
    assert "nobody can check the figures" in stays.text()


def test_why_it_was_not_packed_is_said_in_place(
    opened: Open, runs: Path, qtbot: QtBot
) -> None:
    room = opened("Pack")
    room.pack.runs.tick(runs / "2026-05-08-a")
    room.pack.work = says("The wire log was changed after it was sealed.", "refused")
    room.pack.go.click()
    settled(room, qtbot)
    assert "The wire log was changed" in texts(room.pack.fault)
    assert marks(room.pack.fault, ABNORMAL)
    assert not room.pack.panel.isVisible()
    room.pack.runs.tick(runs / "2026-05-09-b")
    assert not room.pack.fault.isVisible()


def test_packing_can_be_given_up(opened: Open, runs: Path, qtbot: QtBot) -> None:
    room = opened("Pack")
    room.pack.runs.tick(runs / "2026-05-08-a")
    room.pack.work = hangs()
    room.pack.go.click()
    qtbot.waitUntil(room.pack.progress.cancel.isVisible)
    assert "Packing 1 run: some 3 s." in texts(room.pack)
    room.pack.progress.cancel.click()
    settled(room, qtbot)
    assert not room.pack.progress.isVisible()
    assert room.pack.go.isEnabled()


def test_while_a_spin_goes_on_nothing_is_packed_and_it_says_so(
    opened: Open, runs: Path, qtbot: QtBot, tmp_path: Path
) -> None:
    desk = Busy()
    desk.spins = True
    room = opened("Pack", desk=desk)
    room.pack.runs.tick(runs / "2026-05-08-a")
    room.pack.work = says(packed(tmp_path / "x.zip"))
    room.pack.go.click()
    room.show_desk()
    assert "nothing is packed, looked into or built until it is over" in texts(room)
    qtbot.waitUntil(lambda: WAITS in texts(room.pack))
    QTest.qWait(100)
    assert room.pack.work.waits
    desk.spins = False
    settled(room, qtbot)
    assert room.pack.panel.isVisible()
    room.show_desk()
    assert "A spin goes on" not in texts(room)


# ------------------------------------------------------------------ opening


def files(folder: Path, *names: str) -> list[Path]:
    paths = [folder / f"{name}.zip" for name in names]
    for path in paths:
        path.write_bytes(b"bytes")
    return paths


def dropped(room: ClubRoom, paths: Sequence[Path]) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    told = (
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    enter = QDragEnterEvent(QPoint(5, 5), *told)
    room.dragEnterEvent(enter)
    assert enter.isAccepted()
    room.dropEvent(QDropEvent(QPointF(5, 5), *told))


def test_several_are_dropped_and_each_says_what_it_is(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    fake = Fake(
        good=checked(),
        bad=InputFault("bad.zip is refused: a name in it leads outside."),
        odd=checked(run(differences=["max-thrust: the sender says 300 gf."])),
    )
    room = opened("Pack", fake)
    dropped(room, files(tmp_path, "good", "bad", "odd"))
    assert room._stack.currentWidget() is room.open
    settled(room, qtbot)
    rows = [room.open.list.item(n).text() for n in range(3)]
    assert rows == ["good.zip\n1 run", "bad.zip\nrefused", "odd.zip\nfigures differ"]
    room.open.list.setCurrentRow(1)
    said = texts(room.open.view)
    assert "Refused" in said
    assert "a name in it leads outside" in said
    assert "Nothing of it was kept, and nothing of it ran." in said
    assert marks(room.open.view, ABNORMAL)


def test_what_comes_from_the_web_is_not_taken(opened: Open) -> None:
    room = opened("Open")
    data = QMimeData()
    data.setUrls([QUrl("https://example.org/a.zip")])
    event = QDragEnterEvent(
        QPoint(5, 5),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    event.ignore()
    room.dragEnterEvent(event)
    assert not event.isAccepted()


def shown(
    opened: Open, qtbot: QtBot, folder: Path, fake: Fake, name: str = "a"
) -> ClubRoom:
    room = opened("Open", fake)
    room.open.ask(files(folder, name))
    settled(room, qtbot)
    view = room.open.view
    qtbot.waitUntil(lambda: 0 < len(view.blocks) == view._wanted)
    return room


def test_nothing_of_it_is_ever_a_window_of_its_own(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    appeared: list[str] = []

    class Watch(QObject):
        @override
        def eventFilter(self, watched: QObject, event: QEvent) -> bool:
            is_window = isinstance(watched, QWidget) and watched.isWindow()
            if event.type() == QEvent.Type.Show and is_window:
                appeared.append(type(watched).__name__)
            return False

    watch = Watch()
    app = made_application()
    app.installEventFilter(watch)
    try:
        found = checked(
            run(differences=["x"]), run("told", raw=False), signed_by=PUBLIC
        )
        room = shown(opened, qtbot, tmp_path, Fake(a=found))
        room.open.view.ask_name.click()
        for part in range(len(PARTS)):
            room.go_to(part)
        settled(room, qtbot)
    finally:
        app.removeEventFilter(watch)
    assert appeared == ["ClubRoom"]


def test_differences_stand_at_the_head_and_at_the_run_with_shape_and_words(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    other = run("other", differences=["max-thrust: the sender says 300 gf, not 273."])
    room = shown(opened, qtbot, tmp_path, Fake(a=checked(run("same"), other)))
    view = room.open.view
    said = texts(view)
    assert "In 1 of 2 runs (other) the sender's figures are not what" in said
    assert "max-thrust: the sender says 300 gf, not 273." in said
    faults = [part for part in view.findChildren(Fault) if part.isVisible()]
    assert len(faults) == 2  # a triangle each
    assert "Re-derived here from its wire log: the sender's figures are the same." in (
        texts(view.blocks[0])
    )


def test_what_rests_on_less_comes_later_with_fewer_rungs_and_other_words(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    kitchen = run("kitchen", scales=[scale("own masses", "masses weighed at home")])
    class_m2 = run("class-m2", scales=[scale("masses", "weights of class M2")])
    room = shown(opened, qtbot, tmp_path, Fake(a=checked(kitchen, class_m2)))
    first, second = room.open.view.blocks
    assert (first.found.name, second.found.name) == ("class-m2", "kitchen")
    assert "Thrust by weights of a class" in texts(first)
    assert "weights of class M2 on 2026-05-01" in texts(first)
    assert "Thrust by things weighed at home" in texts(second)
    spoken = [b.findChild(Rungs) for b in (first, second)]
    assert [r.accessibleName() for r in spoken if r is not None] == [
        "rests on 4 of 4",
        "rests on 2 of 4",
    ]


def test_a_signers_key_is_kept_only_once_it_was_compared_in_person(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    room = shown(opened, qtbot, tmp_path, Fake(a=checked(signed_by=PUBLIC)))
    view = room.open.view
    assert "Signed, not known" in texts(view)
    assert "anybody can make a key" in texts(view)
    view.ask_name.click()
    asked = view.keep_key
    asked.name.setText("Wren")
    assert not asked.keep.isEnabled()
    asked.compared.setChecked(True)
    asked.keep.click()
    assert known_signers() == {PUBLIC: "Wren"}
    qtbot.waitUntil(lambda: "Signed by Wren" in texts(view))
    assert "Signed, known" in texts(view)


def test_nothing_goes_among_my_runs_but_what_is_ticked(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    told = run("told", raw=False)
    room = shown(opened, qtbot, tmp_path, Fake(a=checked(run("one"), run("two"), told)))
    view, mine = room.open.view, tmp_path / "runs"
    assert not view.take.isEnabled()
    assert not mine.exists()
    view.blocks[1].tick.box.setChecked(True)
    assert view.take.text() == "Put 1 run among mine"
    view.take.click()
    settled(room, qtbot)
    assert [path.name for path in mine.iterdir()] == ["two"]
    assert "1 run of it among yours" in texts(view)
    view.all.click()
    assert view.take.text() == "Put 1 run among mine"
    assert "Without its wire log it cannot be among your runs" in texts(view)
    settled(room, qtbot)
    assert "two" in [row.name for row in room.pack._library.rows]


def test_why_runs_were_not_taken_is_said_in_place(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    room = shown(opened, qtbot, tmp_path, Fake(a=checked(run("one"))))
    (tmp_path / "runs").write_text("no folder")
    room.open.view.all.click()
    room.open.view.take.click()
    settled(room, qtbot)
    assert "cannot be written" in texts(room.open.view)
    assert room.open.view.take.isEnabled()


def test_two_hundred_runs_are_shown_a_few_at_a_time_and_all_can_be_ticked(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    many = [run(f"r{n:03}") for n in range(200)]
    room = shown(opened, qtbot, tmp_path, Fake(a=checked(*many)))
    view = room.open.view
    qtbot.waitUntil(lambda: len(view.blocks) == AT_ONCE)
    assert view.more.text() == f"{200 - AT_ONCE} more runs"
    view.more.click()
    qtbot.waitUntil(lambda: len(view.blocks) == 2 * AT_ONCE)
    view.all.click()
    assert view.take.text() == "Put 200 runs among mine"
    assert all(block.tick.on for block in view.blocks)


def test_what_a_stranger_wrote_is_text(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    odd = run(article=HOSTILE, differences=[HOSTILE], proof_words=HOSTILE)
    found = checked(odd, title=HOSTILE, by=HOSTILE, licence=HOSTILE, notes=(HOSTILE,))
    room = shown(opened, qtbot, tmp_path, Fake(a=found))
    view = room.open.view
    holding = [x for x in view.findChildren(QLabel) if HOSTILE in x.text()]
    assert len(holding) >= 6
    assert {x.textFormat() for x in holding} == {Qt.TextFormat.PlainText}


def test_a_check_can_be_given_up_and_begun_again(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    fake = Fake(a=checked())
    fake.held = {"a.zip"}
    room = opened("Open", fake)
    room.open.ask(files(tmp_path, "a"))
    qtbot.waitUntil(room.open.progress.cancel.isVisible)
    assert "Looking into a.zip" in texts(room.open)
    room.open.progress.cancel.click()
    settled(room, qtbot)
    assert "You gave it up." in texts(room.open.view)
    assert not room.open.progress.isVisible()
    fake.held.clear()
    room.open.view.again.emit()
    settled(room, qtbot)
    assert "Two motors of the Tern Lane Model Flyers" in texts(room.open.view)


def test_one_that_is_put_away_makes_room_for_the_next(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    fake = Fake(a=checked(title="First"), b=checked(title="Second"))
    room = opened("Open", fake)
    room.open.ask(files(tmp_path, "a", "b"))
    settled(room, qtbot)
    assert "First" in texts(room.open.view)
    room.open.view.away.emit()
    assert "Second" in texts(room.open.view)
    room.open.view.away.emit()
    assert "Drop bundles here" in texts(room.open)
    assert (tmp_path / "a.zip").exists()


def test_the_page_that_was_made_here_opens_in_the_browser(
    opened: Open, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def opens(path: Path) -> bool:
        asked.append(path.read_text())
        return False

    monkeypatch.setattr(club_bundle, "open_outside", opens)
    fake = Fake(a=checked(run("one"), run("told", raw=False)))
    room = shown(opened, qtbot, tmp_path, fake)
    first, second = room.open.view.blocks
    assert not second.page.isVisible()
    first.page.click()
    assert asked == ["<p>a page</p>"]
    assert "Nothing here opens it by itself" in texts(room.open.view)


def test_what_is_being_typed_stays_while_another_bundle_is_looked_into(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    fake = Fake(a=checked(signed_by=PUBLIC), b=checked(), c=checked())
    room = shown(opened, qtbot, tmp_path, fake)
    room.open.view.ask_name.click()
    room.open.view.keep_key.name.setText("Wr")
    room.open.ask(files(tmp_path, "b", "c"))
    settled(room, qtbot)
    assert room.open.list.count() == 3
    assert room.open.view.keep_key.name.text() == "Wr"
    assert room.open.view.keep_key.name.isVisible()


# ------------------------------------------------------------------ the site


def site(room: ClubRoom, folder: Path, work: Work) -> None:
    folder.mkdir(exist_ok=True)
    room.site.folder.setText(str(folder))
    room.site.name.setText("Tern Lane Model Flyers")
    room.site.work = work
    room.site.go.click()


def test_a_site_is_built_told_and_opened(
    opened: Open, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Path] = []

    def opens(path: Path) -> bool:
        asked.append(path)
        return True

    monkeypatch.setattr(club_site, "open_outside", opens)
    page = tmp_path / "club-site" / "index.html"
    built = SiteBuilt(page, 3, 7, (("a.zip", "It is no zip file."),))
    room = opened("Site")
    site(room, tmp_path / "club", says(built.asked()))
    assert room.site.site.text() == str(tmp_path / "club-site")
    settled(room, qtbot)
    said = texts(room.site)
    assert "3 bundles looked through: 7 runs in the site, 1 refused." in said
    assert "a.zip: It is no zip file." in said
    assert marks(room.site, ABNORMAL)
    room.site.show_site.click()
    assert asked == [page]
    again = opened("Site", memory=room._memory)
    assert again.site.name.text() == "Tern Lane Model Flyers"
    assert again.site.folder.text() == str(tmp_path / "club")


def test_round_robins_among_the_runs_are_told(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    room = opened("Site")
    words = 'Round robin "spring": 3 stands, 2026-03-01 to 2026-04-02.'
    built = SiteBuilt(tmp_path / "index.html", 1, 1, (), (words,))
    site(room, tmp_path / "club", says(built.asked()))
    settled(room, qtbot)
    assert words in texts(room.site)
    assert not marks(room.site, ABNORMAL)


def test_why_no_site_was_built_is_said_in_place(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    room = opened("Site")
    site(room, tmp_path / "club", says("there is no folder.", "refused"))
    settled(room, qtbot)
    assert "There is no folder." in texts(room.site.fault)


def test_building_tells_how_far_it_is_and_can_be_given_up(
    opened: Open, qtbot: QtBot, tmp_path: Path
) -> None:
    code = "print('{\"progress\": [2, 7]}', flush=True); import time; time.sleep(600)"
    room = opened("Site")
    site(room, tmp_path / "club", Work([sys.executable, "-c", code]))
    qtbot.waitUntil(lambda: "Looked into 2 of 7 bundles." in texts(room.site))
    room.site.progress.cancel.click()
    settled(room, qtbot)
    assert room.site.go.isEnabled()


# ------------------------------------------------------------------ signatures


def test_ones_own_key_is_made_shown_and_copied(opened: Open, qtbot: QtBot) -> None:
    room = opened("Signatures")
    assert not room.keys.copy.isVisible()
    room.keys.make.click()
    qtbot.waitUntil(room.keys.copy.isVisible)
    assert room.keys.keys.digits in texts(room.keys)
    room.keys.copy.click()
    assert QApplication.clipboard().text() == room.keys.keys.own
    assert "PRIVATE" not in texts(room.keys)


def test_a_key_is_kept_by_hand_and_forgotten_only_when_asked_twice(
    opened: Open, qtbot: QtBot
) -> None:
    room = opened("Signatures")
    keep = room.keys.keep
    keep.name.setText("Wren")
    keep.typed.setText("no key")
    keep.compared.setChecked(True)
    keep.keep.click()
    assert "is no public key" in texts(keep)
    keep.typed.setText(PUBLIC)
    keep.keep.click()
    qtbot.waitUntil(lambda: len(room.keys.forgets) == 1)
    assert "Wren" in texts(room.keys)
    [forget] = room.keys.forgets
    forget.click()
    assert known_signers() == {PUBLIC: "Wren"}
    assert forget.text() == "Forget indeed"
    forget.click()
    qtbot.waitUntil(lambda: not room.keys.forgets)
    assert known_signers() == {}
