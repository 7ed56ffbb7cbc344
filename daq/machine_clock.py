"""The machine's own clock: the one module that may ask it."""

import time
from datetime import UTC, datetime
from pathlib import Path


class MachineClock:
    """``time.monotonic`` and ``time.sleep`` behind the ``Clock`` protocol."""

    def now_s(self) -> float:
        """Monotonic time in seconds."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        """Wait that long; a time that has passed is no wait."""
        if seconds > 0:
            time.sleep(seconds)


def utc_now() -> datetime:
    """The wall clock in UTC, for names and anchors, never for durations."""
    return datetime.now(UTC)


def utc_of_file(path: Path) -> datetime:
    """When a file was last changed, by the wall clock of its disk, in UTC.

    Raises:
        OSError: it is gone.
    """
    return datetime.fromtimestamp(path.stat().st_mtime, UTC)
