"""The Club room with real runs, real processes and real bundles, start to end."""

import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtGui import QImage
from pytestqt.qtbot import QtBot

from tests.ui.desktop.club_bundles import tampered
from tests.ui.desktop.run_folders import SAMPLE, make_run
from tests.ui.desktop.test_club import Busy, texts
from ui.club import layout
from ui.desktop.app import made_application
from ui.desktop.club import ClubRoom
from ui.desktop.model.clubs import PackedTold, Packing, half_made
from ui.desktop.model.errands import Work
from ui.desktop.model.memory import Memory

pytestmark = pytest.mark.slow
PATIENCE_MS = 60_000


@pytest.fixture
def room(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[ClubRoom]:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "data"))
    made_application()
    shutil.copytree(SAMPLE, tmp_path / "runs" / SAMPLE.name)
    memory = Memory(tmp_path / "memory")
    memory.set("runs", str(tmp_path / "runs"))
    made = ClubRoom(Busy(), memory)
    qtbot.addWidget(made)
    made.resize(1000, 500)
    made.show()
    settled(made, qtbot)
    yield made
    made.close_jobs()


def settled(room: ClubRoom, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not room.busy, timeout=PATIENCE_MS)


def test_what_one_packs_another_opens_takes_and_finds_in_the_site(
    room: ClubRoom, qtbot: QtBot, tmp_path: Path
) -> None:
    pack = room.pack
    pack.runs.tick(tmp_path / "runs" / SAMPLE.name)
    pack.by.setText("Wren")
    pack.sign.box.setChecked(True)
    pack.go.click()
    settled(room, qtbot)
    assert pack.work.fault == ""
    [bundle] = tmp_path.glob("*.zip")
    told = PackedTold.read(pack.work.answer or {})
    assert told.path == bundle
    assert told.size == bundle.stat().st_size
    assert QImage.fromData(told.picture).width() == 1200
    assert not half_made(bundle).exists()
    with zipfile.ZipFile(bundle) as file:
        assert layout.SIGNATURE in file.namelist()

    shutil.rmtree(tmp_path / "runs")
    club = tmp_path / "club"
    club.mkdir()
    shutil.copy(bundle, club / "good.zip")
    (club / "cut.zip").write_bytes(bundle.read_bytes()[:20_000])
    tampered(bundle, club / "other.zip")
    room.go_to(1)
    room.open.ask(sorted(club.iterdir()))
    settled(room, qtbot)
    assert [b.words for b in room.open.opening.bundles] == [
        "refused",
        "1 run",
        "figures differ",
    ]
    room.open.list.setCurrentRow(2)
    qtbot.waitUntil(lambda: bool(room.open.view.blocks))
    assert "Max thrust: the sender says" in texts(room.open.view)
    room.open.list.setCurrentRow(1)
    qtbot.waitUntil(lambda: bool(room.open.view.blocks))
    assert told.digits in texts(room.open.view)
    room.open.view.all.click()
    room.open.view.take.click()
    settled(room, qtbot)
    [taken] = (tmp_path / "runs").iterdir()
    assert (taken / "derived" / "nominal" / "findings.json").is_file()

    room.go_to(2)
    room.site.folder.setText(str(club))
    room.site.name.setText("Tern Lane Model Flyers")
    room.site.go.click()
    settled(room, qtbot)
    built = room.site.built
    assert built is not None
    assert (built.bundles, [name for name, _ in built.refused]) == (3, ["cut.zip"])
    assert "cut.zip: It does not end as a bundle does" in texts(room.site)
    assert built.page.is_file()


def test_a_pack_that_is_given_up_leaves_nothing(tmp_path: Path, qtbot: QtBot) -> None:
    out = tmp_path / "x.zip"
    work = Work()
    work.ask(Packing((SAMPLE,), out).asked())
    work.step(may_work=True)
    qtbot.wait(1500)
    work.step(may_work=True)
    assert work.busy
    work.give_up()
    assert not any(tmp_path.iterdir())


def test_what_cannot_be_packed_says_why(tmp_path: Path, qtbot: QtBot) -> None:
    folder = make_run(tmp_path, "a", outcome=None)
    out = tmp_path / "x.zip"
    work = Work()
    work.ask(Packing((folder,), out).asked())
    qtbot.waitUntil(lambda: work.step(may_work=True), timeout=PATIENCE_MS)
    assert work.answer is None
    assert work.fault.startswith(f"The run in {folder} is not sealed")
    assert not out.exists()
    out.write_text("somebody's")
    work.ask(Packing((SAMPLE,), out).asked())
    qtbot.waitUntil(lambda: work.step(may_work=True), timeout=PATIENCE_MS)
    assert work.fault.startswith(f"{out} is there already")
    assert out.read_text() == "somebody's"
