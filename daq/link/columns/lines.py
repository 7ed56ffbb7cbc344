"""Bytes to lines: however they are cut, the same lines come out.

A line ends with a line feed, a carriage return or both; empty lines are nothing.
Whatever arrives, there is no exception and no more than ``MAX_LINE + 1`` bytes are
held. This module knows nothing of what a line says.
"""

from dataclasses import dataclass

MAX_LINE = 400
_END = b"\n"


@dataclass(slots=True)
class LineDrops:
    """What was no line, by reason.

    Attributes:
        too_long: lines of more than ``MAX_LINE`` bytes.
        not_text: lines that are not UTF-8, which holds ASCII.
        cut: what was there before the first line's end or after the last one's.
        bytes: bytes in all of those, line ends not counted.
    """

    too_long: int = 0
    not_text: int = 0
    cut: int = 0
    bytes: int = 0

    @property
    def lines(self) -> int:
        """Lines dropped for any reason."""
        return self.too_long + self.not_text + self.cut


class Lines:
    """Takes bytes as they come and gives whole lines of text.

    Attributes:
        drops: what had to be dropped.
    """

    def __init__(self, *, begins_whole: bool = False) -> None:
        """Begin.

        Args:
            begins_whole: the first byte begins a line, as in a log from its start; a
                port is opened in the middle of one.
        """
        self.drops = LineDrops()
        self._rest = b""
        self._at_start = not begins_whole

    def feed(self, data: bytes) -> list[str]:
        """Lines completed by ``data``, in order, without their ends."""
        parts = (self._rest + data.replace(b"\r", _END)).split(_END)
        self._rest = self._bounded(parts.pop())
        lines: list[str] = []
        for part in parts:
            line = self._take(part)
            if line:
                lines.append(line)
        return lines

    def end(self) -> None:
        """Nothing follows: what waits for its end never became a line."""
        if self._rest:
            self.drops.cut += 1
            self.drops.bytes += len(self._rest)
        self._rest = b""
        self._at_start = False

    def _bounded(self, rest: bytes) -> bytes:
        """Too long already: keep just enough to know that when it ends."""
        if len(rest) <= MAX_LINE + 1:
            return rest
        self.drops.bytes += len(rest) - (MAX_LINE + 1)
        return rest[: MAX_LINE + 1]

    def _take(self, part: bytes) -> str:
        """One line, empty where there is none."""
        if self._at_start:
            self._at_start = False
            if part:
                self.drops.cut += 1
                self.drops.bytes += len(part)
            return ""
        if len(part) > MAX_LINE:
            self.drops.too_long += 1
            self.drops.bytes += len(part)
            return ""
        try:
            return part.decode("utf-8")
        except UnicodeDecodeError:
            self.drops.not_text += 1
            self.drops.bytes += len(part)
            return ""
