"""A port watched while nothing is spun: who is there, what it reads. Never arms.

A thread reads the port, so that a window that is busy loses nothing; what was read is
understood where ``step`` is called. A port that goes away is told and can be opened
again. This is not the path on which a motor runs: that is the keeper's alone.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Final

from daq.clock import Clock
from daq.errors import GramwattError
from daq.link import session as s
from daq.link.columns.description import Description
from daq.link.conversation import conversation_with
from daq.link.messages import Acknowledge, State, Stop, StopReason
from daq.link.ports import Port, PortLost
from protocols.explain import not_a_stand
from ui.desktop.model.heard import Heard

MOST_WAITING: Final = 4096
JOIN_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why nothing is heard.

    Attributes:
        sentence: what is wrong.
        advice: what to look at first.
    """

    sentence: str
    advice: str = ""


class Watching:
    """One port.

    Attributes:
        name: of the port.
        heard: what was heard.
        trouble: why nothing is, or None.
        also: hears the same; None for nobody.
    """

    def __init__(
        self,
        name: str,
        open_it: Callable[[], Port],
        clock: Clock,
        description: Description | None = None,
    ) -> None:
        """Open the port and begin to ask who is there.

        Args:
            name: of the port, for people.
            open_it: opens it.
            clock: for the time that bytes came.
            description: of a stand that prints lines; None for any other.

        Raises:
            GramwattError: it does not open.
        """
        self.name = name
        self.heard = Heard()
        self.trouble: Trouble | None = None
        self.also: Callable[[s.Happening, float], None] | None = None
        self._clock = clock
        self._port = open_it()
        self._session = conversation_with(description)
        self._came: SimpleQueue[tuple[float, bytes] | PortLost] = SimpleQueue()
        self._over = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self._session.identify(clock.now_s())

    # ------------------------------------------------------------------ the thread

    def _read(self) -> None:
        while not self._over.is_set():
            try:
                data = self._port.read()
            except PortLost as lost:
                self._came.put(lost)
                return
            if data and self._came.qsize() < MOST_WAITING:
                self._came.put((self._clock.now_s(), data))

    # ------------------------------------------------------------------ the window

    def step(self) -> None:
        """Understand what came, and ask what is due. Never raises."""
        if self._over.is_set():
            return
        now_s = self._clock.now_s()
        write, happenings = self._session.poll(now_s)
        self._take(happenings, now_s)
        self._write(write)
        while True:
            try:
                came = self._came.get_nowait()
            except Empty:
                break
            if isinstance(came, PortLost):
                self.trouble = Trouble(str(came), "Look at the cable.")
                break
            at_s, data = came
            self._take(self._session.receive(data, at_s), at_s)
        self.heard.judge(self._session, now_s)

    def _take(self, happenings: list[s.Happening], now_s: float) -> None:
        for happening in happenings:
            if isinstance(happening, s.WrongVersion | s.NotIdentified):
                outcome = not_a_stand(happening, self.name)
                self.trouble = Trouble(outcome.cause, outcome.advice)
            if isinstance(happening, s.Identified):
                self.trouble = None
            self.heard.take(happening, now_s)
            if self.also is not None:
                self.also(happening, now_s)

    def _write(self, data: bytes) -> None:
        if not data:
            return
        try:
            self._port.write(data)
        except GramwattError as lost:
            self.trouble = Trouble(str(lost), "Look at the cable.")

    def stop(self) -> None:
        """Say stop, though nothing should turn."""
        self._write(self._session.send(Stop(StopReason.PERSON), self._clock.now_s()))

    def acknowledge(self) -> None:
        """A person found the cause and removed it."""
        stand = self._session.stand
        if stand is not None and self.heard.state is State.TRIPPED:
            words = Acknowledge(stand.identity.boot, self.heard.latch)
            self._write(self._session.send(words, self._clock.now_s()))

    @property
    def stands_in(self) -> bool:
        """Whether the stand has no state of its own."""
        return self._session.stands_in

    def ask_again(self) -> None:
        """Ask who is there once more."""
        self.trouble = None
        self._session.identify(self._clock.now_s())

    def close(self) -> None:
        """Let go of the port."""
        self._over.set()
        self._reader.join(JOIN_S)
        self._port.close()
