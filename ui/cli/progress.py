"""A run while it goes, in a terminal: one line that renews itself.

On anything that is no terminal it prints one line for each part that is walked for
its data, and for each rest, instead.
"""

import math
import shutil
import sys
from collections.abc import Mapping, Sequence

from protocols.limits import Limit, brief, to_trade
from ui.live import LiveRun

NAMES = ("thrust", "current", "voltage")
DIGITS = {"gf": 0, "A": 1, "V": 2}
TOLD = ("rest", "dwell", "warm", "glide", "burst", "soak", "hold", "load")
KIND_WIDTH = 7
HOLDING_S = 60.0


class Progress:
    """Draws a live run; give it every moment, it decides what to print."""

    def __init__(self, limits: Sequence[Limit]) -> None:
        self._limits = {limit.channel: limit for limit in limits}
        self._rewrites = sys.stdout.isatty()
        # A line that fills the last column would wrap.
        self._width = shutil.get_terminal_size().columns - 1
        self._drawn = 0
        self._next_s = HOLDING_S

    def say(self, text: str) -> None:
        """A line that stays."""
        self.clear()
        print(text, flush=True)

    def clear(self) -> None:
        """Take the renewing line away."""
        if self._drawn:
            sys.stdout.write("\r" + " " * self._drawn + "\r")
            self._drawn = 0

    def draw(self, live: LiveRun) -> None:
        """Renew the line."""
        if not self._rewrites or math.isnan(live.began_s):
            return
        text = self.line(live)
        sys.stdout.write("\r" + text.ljust(self._drawn))
        sys.stdout.flush()
        self._drawn = len(text)

    def segment(self, note: Mapping[str, object], live: LiveRun) -> None:
        """A new part of the plan began."""
        kind = note.get("kind")
        if not self._rewrites and kind in TOLD:
            self.say(f"{kind:<{KIND_WIDTH}}{self.line(live)}"[: self._width])

    def holding(self, live: LiveRun) -> None:
        """A hold goes on: a line each minute where none renews itself."""
        if not self._rewrites and live.walked_s >= self._next_s:
            self.say(f"{'':<{KIND_WIDTH}}{self.line(live)}"[: self._width])
            self._next_s = live.walked_s + HOLDING_S

    def line(self, live: LiveRun) -> str:
        """The line: time left, throttle, and readings against their limits."""
        readings = live.readings
        parts = [live.left_words(), f"{100 * live.throttle_frac:3.0f} %"]
        parts += [self._reading(n, readings[n]) for n in NAMES if n in readings]
        return "  ".join(parts)[: self._width]

    def _reading(self, channel: str, value: float) -> str:
        shown, unit = to_trade(channel, value)
        digits = DIGITS[unit]
        if not math.isfinite(shown):
            return f"- {unit}"
        figure = f"{round(shown, digits) + 0.0:.{digits}f}"
        limit = self._limits.get(channel)
        if limit is None:
            return f"{figure} {unit}"
        if channel == "voltage":
            return f"{figure} {unit}, floor {brief(limit.low)}"
        high, _ = to_trade(channel, limit.high)
        return f"{figure} of {brief(high)} {unit}"
