"""Work in a thread, taken up by the window's own: a beat never waits for a disk.

Of each kind of work one is under way; asked for again meanwhile, the newest is done
once more after it. Only the window's thread touches what is shown.
"""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final, TypeVar

from PySide6.QtCore import QObject, QTimer

STEP_MS: Final = 30
T = TypeVar("T")


class Background(QObject):
    """Jobs by name."""

    def __init__(self, parent: QObject, also: Callable[[], bool]) -> None:
        """Begin with nothing to do.

        Args:
            parent: what it belongs to.
            also: is called at each step too; whether it wants to be called again.
        """
        super().__init__(parent)
        self._pool: ThreadPoolExecutor | None = ThreadPoolExecutor(
            max_workers=1, thread_name_prefix="background"
        )
        self._running: dict[str, Callable[[], bool]] = {}
        self._again: dict[str, Callable[[], None]] = {}
        self._also = also
        self._timer = QTimer(self)
        self._timer.setInterval(STEP_MS)
        self._timer.timeout.connect(self._step)

    @property
    def busy(self) -> bool:
        """Whether anything is still going on."""
        return self._timer.isActive()

    def runs(self, name: str) -> bool:
        """Whether work of that kind is under way."""
        return name in self._running

    def wake(self) -> None:
        """Go on stepping."""
        if self._pool is not None:
            self._timer.start()

    def start(
        self, name: str, work: Callable[[], T], then: Callable[[T], None]
    ) -> None:
        """Do something in the thread, then something with what it gave, here."""
        if self._pool is None:
            return
        if name in self._running:
            self._again[name] = lambda: self.start(name, work, then)
            return
        future = self._pool.submit(work)
        self._running[name] = lambda: _taken(future, then)
        self.wake()

    def close(self) -> None:
        """Wait for what is under way and begin nothing more."""
        self._timer.stop()
        self._running.clear()
        self._again.clear()
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(cancel_futures=True)

    def _step(self) -> None:
        for name, taken in list(self._running.items()):
            # What is taken may ask for more of the same: it must be free by then.
            del self._running[name]
            if not taken():
                self._running[name] = taken
                continue
            again = self._again.pop(name, None)
            if again is not None:
                again()
        wants_more = self._also()
        if not self._running and not wants_more:
            self._timer.stop()


def _taken(future: Future[T], then: Callable[[T], None]) -> bool:
    """Hand over what was done; whether it was done."""
    if not future.done():
        return False
    then(future.result())
    return True
