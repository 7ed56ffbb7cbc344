"""Pictures of every room and state, light and dark, at two sizes, with one command.

``python -m tests.pictures FOLDER`` starts the window without a screen, has it spin
simulated stands, and saves what it shows on the way: one of its own, one that it takes
for real and that throws its propeller, and one that prints lines. For whoever changes
how it looks.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tests.lined import DESCRIPTION

if TYPE_CHECKING:
    from ui.simulation import SimulatedStand

SIZES: Final = ((1024, 700), (1600, 1000))
SCHEMES: Final = ("light", "dark")
LOOK_S: Final = 0.02
THROWN_S: Final = (
    45.0  # of the stand's time; its proof and a checklist are done by then
)
HAND_S: Final = 1.0  # a hand takes a while
INTO_S: Final = 9.0  # so long after "go" the propeller comes off
FAULTS: Final = """
[[fault]]
kind = "thrown-propeller"
start_s = {start_s}
"""


class Camera:
    """Takes pictures of one window, which goes on living meanwhile."""

    def __init__(self, folder: Path, scheme: str) -> None:
        from ui.desktop import theme

        theme.use(scheme)
        self.scheme = scheme
        from daq.machine_clock import MachineClock
        from ui.desktop.app import made_application, open_window
        from ui.desktop.model.memory import Memory

        self.folder = folder
        self.app = made_application()
        self._clock = MachineClock()
        self.asked_s = 0.0
        self.meanwhile: Callable[[], None] = lambda: None
        memory = Memory(folder)
        memory.set("protocol", "short-staircase")
        memory.set("runs", str(folder / "runs"))
        self.window = open_window(memory)
        self.window.show()

    def take(self, name: str) -> None:
        """One state, in every size."""
        for width, height in SIZES:
            self.window.resize(width, height)
            self.live(4 * LOOK_S)  # its beats go on meanwhile
            self.window.show_desk()
            picture = self.folder / f"{name}-{self.scheme}-{width}.png"
            self.window.grab().save(str(picture))

    @property
    def now_s(self) -> float:
        """This moment."""
        return self._clock.now_s()

    def live(self, seconds: float, until: Callable[[], bool] | None = None) -> bool:
        """Let the window live for a while, or until something is so."""
        end_s = self._clock.now_s() + seconds
        while self._clock.now_s() < end_s:
            self.app.processEvents()
            self.meanwhile()
            if until is not None and until():
                return True
            self._clock.sleep(LOOK_S / 4)
        return until is None

    def must(self, what: str, seconds: float, until: Callable[[], bool]) -> None:
        """Wait for something that has to come.

        Raises:
            TimeoutError: it did not.
        """
        if not self.live(seconds, until):
            raise TimeoutError(f"{what} did not come in {seconds:g} s")


def take_all(folder: Path) -> int:
    """Take them; how many there are."""
    for scheme in SCHEMES:
        camera = Camera(folder, scheme)
        tour(camera)
        club(camera)
        trip(camera)
        lines(camera)
        camera.window.close()
        camera.app.processEvents()
    return len(list(folder.glob("*.png")))


def tour(camera: Camera) -> None:
    """Through the rooms and one spin, with a picture of each state."""
    from ui.desktop.model.spinning import Stage

    window, desk = camera.window, camera.window.desk

    def at(stage: Stage) -> Callable[[], bool]:
        return lambda: desk.spinning is not None and desk.spinning.stage is stage

    for number, name in enumerate(("bench", "scale", "spin", "curves", "club")):
        window.go_to(number)
        camera.live(0.2)
        camera.take(f"{number + 1}-{name}-empty")
    window.go_to(0)
    window.bench.simulate.click()
    camera.must("a stand", 20, lambda: desk.heard.stand is not None)
    camera.live(0.2)
    window.go_to(0)
    camera.live(6.0)
    camera.take("1-bench-live")
    window.go_to(2)
    camera.live(0.3)
    camera.take("3-spin-together")
    window.spin.panel.go.click()
    camera.must("a proof", 20, lambda: len(_proved(camera)) > 4)
    camera.take("3-spin-proving")
    camera.must("readiness", 40, at(Stage.READY))
    camera.take("3-spin-ready")
    window.spin.steps.go.click()
    camera.must("the walk", 30, at(Stage.RUNNING))
    camera.live(9.0)
    camera.take("3-spin-running")
    camera.must("the end", 60, at(Stage.ENDED))
    camera.live(15.0, lambda: bool(window.spin.end.page.isEnabled()))
    camera.take("3-spin-ended")
    window.spin.end.among.click()
    camera.live(2.0)
    for run in sorted((camera.folder / "runs").iterdir()):
        window.curves.tick(run.resolve())  # whatever else is there already
    camera.must("all of them", 60, lambda: not window.curves.busy)
    camera.live(2.0)
    camera.take("4-curves")
    window.go_to(0)
    window.bench.leave.click()
    camera.live(0.5)


def club(camera: Camera) -> None:
    """Runs packed, bundles opened, one that says something else, and a refused one."""
    import shutil

    from tests.ui.desktop.club_bundles import tampered

    room = camera.window.club
    place = camera.folder / f"club-{camera.scheme}"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    camera.window.go_to(4)
    room.go_to(0)
    camera.must("the runs", 20, lambda: not room.busy)
    for run in sorted((camera.folder / "runs").iterdir())[:3]:
        room.pack.runs.tick(run.absolute())
    camera.take("5-club-pack")
    room.pack.sign.box.setChecked(True)
    room.pack.choose_file(str(place / "from-a-friend.zip"))
    room.pack.go.click()
    camera.must("a bundle", 60, lambda: not room.busy)
    camera.take("5-club-packed")
    room.go_to(1)
    camera.take("5-club-open-empty")
    bundle = place / "from-a-friend.zip"
    tampered(bundle, place / "a-tenth-more.zip")
    (place / "cut-short.zip").write_bytes(bundle.read_bytes()[:20_000])
    room.open.ask(place / f"{n}.zip" for n in ("from-a-friend", "a-tenth-more"))
    room.open.ask([place / "cut-short.zip"])
    camera.live(1.0)
    camera.take("5-club-looking")
    camera.must("a look", 120, lambda: not room.busy)
    for number, name in enumerate(("opened", "differs", "refused")):
        room.open.list.setCurrentRow(number)
        camera.live(0.5)
        camera.take(f"5-club-{name}")
    room.go_to(2)
    room.site.folder.setText(str(place))
    room.site.name.setText("Tern Lane Model Flyers")
    room.site.go.click()
    camera.live(2.0)
    camera.take("5-club-building")
    camera.must("a site", 120, lambda: not room.busy)
    camera.take("5-club-site")
    room.go_to(3)
    camera.take("5-club-signatures")


def trip(camera: Camera) -> None:
    """A stand that is taken for real, with hands at it; its propeller comes off."""
    from ui.desktop.model.spinning import Stage
    from ui.simulation import SimulatedStand

    window, desk = camera.window, camera.window.desk
    faults = camera.folder / "faults.toml"
    faults.write_text(FAULTS.format(start_s=THROWN_S), encoding="utf-8")
    with closing(SimulatedStand(faults=faults)) as stand:
        began_s = camera.now_s
        camera.meanwhile = lambda: _lend_a_hand(camera, stand)
        _meet(camera, stand.port)
        _begin(camera)
        camera.must("a wish", 30, lambda: "PULL" in _hand(camera))
        camera.take("3-spin-hand")
        camera.must("the checklist", 60, lambda: _stage(camera) is Stage.PLUGGING)
        camera.live(0.3)
        camera.take("3-spin-checklist")
        _answer(camera)
        camera.must("readiness", 60, lambda: _stage(camera) is Stage.READY)
        window.spin.steps.unlock.click()
        camera.take("3-spin-arm")
        camera.live(max(0.0, began_s + THROWN_S - INTO_S - camera.now_s))
        window.spin.steps.unlock.setChecked(False)
        window.spin.steps.unlock.click()
        window.spin.steps.go.click()
        camera.must("the trip", 60, lambda: _stage(camera) is Stage.ENDED)
        camera.live(15.0, lambda: bool(window.spin.end.page.isEnabled()))
        camera.take("3-spin-tripped")
        camera.meanwhile = lambda: None
        desk.disconnect()
    camera.live(0.5)


def lines(camera: Camera) -> None:
    """A stand that prints lines: what it lacks, and what has to be typed."""
    from ui.desktop.model.spinning import Stage
    from ui.simulation import SimulatedStand

    window, desk = camera.window, camera.window.desk
    described = camera.folder / "lines.toml"
    described.write_text(DESCRIPTION, encoding="utf-8")
    with closing(SimulatedStand(lines=described, plug_in=False)) as stand:
        camera.meanwhile = lambda: _lend_a_hand(camera, stand)
        window.spin.setup.protocol = "low-staircase"
        _meet(camera, stand.port, described)
        window.go_to(0)
        camera.live(6.0)
        camera.take("1-bench-lines")
        _begin(camera)
        camera.must("readiness", 60, lambda: _stage(camera) is Stage.PLUGGING)
        camera.live(0.3)
        camera.take("3-spin-lines")
        desk.stop()
        camera.must("the end", 60, lambda: _stage(camera) is Stage.ENDED)
        camera.meanwhile = lambda: None
        desk.disconnect()
    camera.live(0.5)


def _meet(camera: Camera, port: str, described: Path | None = None) -> None:
    """Connect to a stand that is not the window's own."""
    desk = camera.window.desk
    camera.window.spin.end.next.click()
    desk.connect(port, 500_000, described)
    camera.must("a stand", 20, lambda: desk.heard.stand is not None and not desk.busy)


def _begin(camera: Camera) -> None:
    """Begin a spin."""
    window, desk = camera.window, camera.window.desk
    window.go_to(2)
    window.spin.panel.renew()
    window.show_desk()
    camera.live(0.3)
    window.spin.panel.go.click()
    camera.must("a spin", 20, lambda: desk.is_spinning)


def _stage(camera: Camera) -> object:
    spinning = camera.window.desk.spinning
    return spinning.stage if spinning else None


def _hand(camera: Camera) -> str:
    spinning = camera.window.desk.spinning
    return spinning.hand if spinning else ""


def _lend_a_hand(camera: Camera, stand: SimulatedStand) -> None:
    """Do at a stand what the window asks for, a while after it asked."""
    from ui.cautions import HANDS

    spinning = camera.window.desk.spinning
    if spinning is None or spinning.over:
        return
    wanted = next((w for w, told in HANDS.items() if told == spinning.hand), "")
    if not wanted or (wanted == "plug in" and not spinning.checklist.complete):
        camera.asked_s = camera.now_s
        return
    if camera.now_s - camera.asked_s < HAND_S:
        return
    camera.asked_s = camera.now_s
    if wanted.startswith("plug"):
        stand.plug(inserted=wanted == "plug in")
    else:
        stand.stop_loop(closed=wanted == "loop closed")


def _answer(camera: Camera) -> None:
    """Acknowledge the whole checklist."""
    from PySide6.QtWidgets import QCheckBox

    for box in camera.window.spin.steps.findChildren(QCheckBox):
        if box.isVisible():
            box.setChecked(True)


def _proved(camera: Camera) -> list[object]:
    spinning = camera.window.desk.spinning
    return list(spinning.proved) if spinning else []


def main() -> int:
    """Take the pictures into a folder."""
    parser = argparse.ArgumentParser(prog="python -m tests.pictures")
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    options = parser.parse_args()
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    options.folder.mkdir(parents=True, exist_ok=True)
    # Whoever takes pictures has keys and calibrations of their own: not in these.
    os.environ["GRAMWATT_DATA"] = str(options.folder.absolute() / "data")
    sys.stdout.write(f"{take_all(options.folder)} pictures in {options.folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
