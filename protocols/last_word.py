"""A second process that says stop when the keeper cannot any more.

A stand that prints lines has no lease: whoever drives it and dies leaves the motor
running. So the keeper of such a stand starts this program, hands it the open port, and
beats. Silence while the motor may turn, or the keeper's end without a farewell, make
it write the stop words itself, again and again for a while. It helps against a keeper
that is killed, crashes or hangs; against a machine that stops or a cable that falls
out nothing here can help. Standard library only; it reads nothing from the port.

Once it has begun to say stop it hears no more beats, and the keeper's next one fails:
a keeper that hung and goes on learns so that it may not drive any more, and one whose
second process has died that nobody watches over it.
"""

import os
import select
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from daq.own_process import command_of

PATIENCE_S: Final = 0.6  # the keeper beats at least four times a second
AGAIN_S: Final = 0.05
STOPS: Final = 40
TRIES: Final = 400  # 20 s, where the port takes nothing
END_S: Final = 1.0  # for the process to end after the farewell
AT_REST, MAY_TURN, FAREWELL = b"0", b"1", b"."
# An open port cannot be handed to another process everywhere.
THERE_IS_ONE: Final = os.name == "posix"
NONE_HERE: Final = (
    "On this system no second process says stop where the program that drives the "
    "motor is killed or hangs: only your hand does."
)


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
            self.process = subprocess.Popen(
                command_of(__name__, str(port), str(heard), text.hex()),
                pass_fds=(port, heard),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,  # who reads the keeper's waits for its end
                start_new_session=True,
            )
        except OSError:
            os.close(self._beats)
            raise
        finally:
            os.close(heard)
        os.set_blocking(self._beats, False)

    def beat(self, *, may_turn: bool) -> bool:
        """The keeper lives, and the motor may turn or not; whether that is heard."""
        return self._say(MAY_TURN if may_turn else AT_REST)

    def farewell(self) -> None:
        """The keeper ends in order and the motor rests; nothing has to be said.

        Never raises: the record is still to be sealed, on whatever machine.
        """
        self._say(FAREWELL)
        os.close(self._beats)
        try:
            self.process.wait(END_S)
        except subprocess.TimeoutExpired:
            self.process.kill()  # frozen, or at a stop that is not needed any more
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(
                    END_S
                )  # killed it is, whenever the machine gets to it

    def hand_over(self) -> None:
        """The keeper ends, and nobody saw the motor stop: stop is said on."""
        self._say(MAY_TURN)
        os.close(self._beats)

    def _say(self, word: bytes) -> bool:
        try:
            os.write(self._beats, word)
        except BlockingIOError:
            return True  # full: it hears enough, or hangs and says nothing wrong
        except OSError:
            return False
        return True


def listen(beats: int, say_stop: Callable[[], None]) -> bool:
    """Until a farewell, or a reason to say stop; whether it was said.

    Args:
        beats: descriptor that the keeper's beats come from; closed when this returns.
        say_stop: says it, again and again for a while.
    """
    is_due = _is_stop_due(beats)
    os.close(beats)  # first: a keeper that goes on now is to know
    if is_due:
        say_stop()
    return is_due


def _is_stop_due(beats: int) -> bool:
    may_turn = False
    while True:
        wait_s = PATIENCE_S if may_turn else None
        if not select.select([beats], [], [], wait_s)[0]:
            return True
        heard = os.read(beats, 4096)
        if heard.endswith(FAREWELL):
            return False
        if not heard:
            return may_turn
        may_turn = heard.endswith(MAY_TURN)


def say_stop_on(port: int, text: bytes) -> None:
    """Write the stop again and again, as long as the port is there."""
    _forget_unsent(port)
    said, rest = 0, text
    for _ in range(TRIES):
        try:
            rest = rest[os.write(port, rest) :]
        except BlockingIOError:
            pass  # full of what a hung keeper wrote; some of it will go
        except OSError:
            return  # the port is gone
        if not rest:
            said, rest = said + 1, text
        if said >= STOPS:
            return
        select.select([], [], [], AGAIN_S)


def _forget_unsent(port: int) -> None:
    """Throttles that wait in the driver are not to be heard before the stop."""
    import termios  # not everywhere, and nothing starts this where it is not

    try:
        termios.tcflush(port, termios.TCOFLUSH)
    except termios.error:
        pass  # a socket, or a port that is gone


def main() -> int:
    """Watch over one keeper: 0 when it ended in order, 1 when stop was said."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    port, beats, text = int(sys.argv[1]), int(sys.argv[2]), bytes.fromhex(sys.argv[3])
    return int(listen(beats, lambda: say_stop_on(port, text)))


if __name__ == "__main__":
    sys.exit(main())
