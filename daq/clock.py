"""Time as an argument: the clock protocol, and the clock that jumps.

The core takes times; only the outermost loop holds a clock. The real one is in
``daq.machine_clock``, apart, so that nothing pure can import it by accident.
"""

from typing import Protocol


class Clock(Protocol):
    """A monotonic clock and a way to wait on it."""

    def now_s(self) -> float:
        """Monotonic time in seconds; the zero means nothing."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait that long on this clock."""
        ...


class JumpingClock:
    """A clock for tests: sleeping moves it, nothing else does."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s

    def now_s(self) -> float:
        """Monotonic time in seconds."""
        return self._now_s

    def sleep(self, seconds: float) -> None:
        """Jump forward by ``seconds``.

        Raises:
            ValueError: ``seconds`` is negative.
        """
        if seconds < 0:
            raise ValueError(f"a clock cannot sleep {seconds} s")
        self._now_s += seconds
