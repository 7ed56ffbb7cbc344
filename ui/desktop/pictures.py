"""Pictures of every room and state, light and dark, at two sizes, with one command.

``python -m ui.desktop.pictures FOLDER`` starts the window without a screen, has it spin
a simulated stand, and saves what it shows on the way. For whoever changes how it looks.
"""

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final

SIZES: Final = ((1024, 700), (1600, 1000))
SCHEMES: Final = ("light", "dark")
LOOK_S: Final = 0.02


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
        memory = Memory(folder)
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

    def live(self, seconds: float, until: Callable[[], bool] | None = None) -> bool:
        """Let the window live for a while, or until something is so."""
        end_s = self._clock.now_s() + seconds
        while self._clock.now_s() < end_s:
            self.app.processEvents()
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
        tour(Camera(folder, scheme))
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
    window.close()
    camera.app.processEvents()


def _proved(camera: Camera) -> list[object]:
    spinning = camera.window.desk.spinning
    return list(spinning.proved) if spinning else []


def main() -> int:
    """Take the pictures into a folder."""
    parser = argparse.ArgumentParser(prog="python -m ui.desktop.pictures")
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    options = parser.parse_args()
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    options.folder.mkdir(parents=True, exist_ok=True)
    sys.stdout.write(f"{take_all(options.folder)} pictures in {options.folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
