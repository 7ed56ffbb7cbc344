"""A second process that says stop when the keeper cannot any more.

A stand that prints lines has no lease: whoever drives it and dies leaves the motor
running. So the keeper of such a stand starts this program, hands it the open port, and
beats. Silence while the motor may turn, or the keeper's end without a farewell, make
it write the stop text itself, again and again for a while. It helps against a keeper
that is killed, crashes or hangs; against a machine that stops or a cable that falls
out nothing here can help. Standard library only; it reads nothing from the port.
"""

import os
import select
import signal
import subprocess
import sys
from collections.abc import Callable
from typing import Final

PATIENCE_S: Final = 0.6  # the keeper beats at least four times a second
AGAIN_S: Final = 0.05
STOPS: Final = 40
AT_REST, MAY_TURN, FAREWELL = b"0", b"1", b"."


class LastWord:
    """The keeper's end: beats, and says farewell."""

    def __init__(self, port: int, text: bytes) -> None:
        """Start the second process.

        Args:
            port: descriptor of the open port.
            text: what stops the motor.

        Raises:
            OSError: it cannot be started.
        """
        heard, self._beats = os.pipe()
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-m", __name__, str(port), str(heard), text.hex()],
                pass_fds=(port, heard),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                start_new_session=True,
            )
        finally:
            os.close(heard)
        os.set_blocking(self._beats, False)

    def beat(self, *, may_turn: bool) -> None:
        """The keeper lives, and the motor may turn or not."""
        self._say(MAY_TURN if may_turn else AT_REST)

    def farewell(self) -> None:
        """The keeper ends in order; nothing has to be said."""
        self._say(FAREWELL)
        os.close(self._beats)
        self._process.wait()

    def _say(self, word: bytes) -> None:
        try:
            os.write(self._beats, word)
        except OSError:
            pass  # full: it hears enough; gone: the keeper still drives


def listen(beats: int, say_stop: Callable[[], None]) -> bool:
    """Until a farewell, or a reason to say stop; whether it was said.

    Args:
        beats: descriptor that the keeper's beats come from.
        say_stop: says it, again and again for a while.
    """
    may_turn = False
    while True:
        wait_s = PATIENCE_S if may_turn else None
        if not select.select([beats], [], [], wait_s)[0]:
            say_stop()
            return True
        heard = os.read(beats, 4096)
        if heard.endswith(FAREWELL):
            return False
        if not heard:
            if may_turn:
                say_stop()
            return may_turn
        may_turn = heard.endswith(MAY_TURN)


def say_stop_on(port: int, text: bytes) -> None:
    """Write the stop again and again, as long as the port takes it."""
    for _ in range(STOPS):
        try:
            os.write(port, text)
        except BlockingIOError:
            pass  # full of what a hung keeper wrote; some of it will go
        except OSError:
            return  # the port is gone
        select.select([], [], [], AGAIN_S)


def main() -> int:
    """Watch over one keeper: 0 when it ended in order, 1 when stop was said."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    port, beats, text = int(sys.argv[1]), int(sys.argv[2]), bytes.fromhex(sys.argv[3])
    return int(listen(beats, lambda: say_stop_on(port, text)))


if __name__ == "__main__":
    sys.exit(main())
