"""The whole desk: which stand is there, what is spun, what the window may do now.

Holds either a port that is watched or a spin that is followed, never both: a port has
one master. What takes long (opening a port, starting a simulation or a keeper) runs as
a job in a thread; whatever goes wrong in it is kept as a sentence.
"""

import contextlib
import math
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import GramwattError
from daq.link.columns.description import Description, read_description
from daq.link.messages import Ability, State
from daq.link.ports import DEFAULT_BAUD, PortFound, found_ports, open_port
from daq.text_file import read_text
from protocols.limits import Limit
from ui.desktop.model.heard import Heard
from ui.desktop.model.numbers import clock as clock_words
from ui.desktop.model.spinning import Spinning, Stage, start
from ui.desktop.model.watching import Trouble, Watching
from ui.ordered import Order
from ui.simulated_scale import specimen_of
from ui.simulation import SimulatedStand

SHOWN: Final = ("thrust", "current", "voltage")
LINK_POOR: Final = 0.01
LINK_BAD: Final = 0.05


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which stand a person chose.

    Attributes:
        port: its name.
        baud: symbols a second.
        lines: text of its description; "" for a stand with frames.
        own: it is a simulation that this program started.
    """

    port: str
    baud: int = DEFAULT_BAUD
    lines: str = ""
    own: bool = False

    @property
    def description(self) -> Description | None:
        """What it prints, where it prints lines.

        Raises:
            InputFault: the description is wrong.
        """
        if not self.lines:
            return None
        return read_description(self.lines, "the stand's description")


@dataclass(frozen=True, slots=True)
class StateWords:
    """The interlock's state for people.

    Attributes:
        meaning: of its mark: good, abnormal, danger, action, neutral.
        word: in a word.
        sentence: what it means for whoever stands there.
    """

    meaning: str
    word: str
    sentence: str


STATES: Final = {
    State.UNKNOWN: StateWords("neutral", "No stand", "Nothing is heard from a stand."),
    State.LOCKED: StateWords("good", "Locked", "The stand gives no throttle."),
    State.PROVING: StateWords(
        "abnormal", "Proving", "Real pulses, the motor's supply off."
    ),
    State.ARMED: StateWords(
        "abnormal", "Armed", "It may turn at any moment: stand clear."
    ),
    State.SPINNING: StateWords("danger", "Spinning", "Keep out of the disc's plane."),
    State.TRIPPED: StateWords(
        "action", "Tripped", "Latched at zero throttle: find the cause."
    ),
}
WATCHED_LINES: Final = StateWords(
    "neutral",
    "Watching",
    "It cannot stop its motor by itself.",
)


class Desk:
    """What the window is about.

    Attributes:
        chosen: the stand; None before one is.
        watching: its port while nothing is spun.
        spinning: the spin that goes on, or the last one; None before.
        trouble: why what was asked for did not come about; None where it did.
        busy: what is being waited for, in words; "" for nothing.
    """

    def __init__(self, clock: Clock) -> None:
        self.chosen: Chosen | None = None
        self.watching: Watching | None = None
        self.spinning: Spinning | None = None
        self.trouble: Trouble | None = None
        self.busy = ""
        self._clock = clock
        self._own: SimulatedStand | None = None
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="desk")
        self._job: tuple[Future[object], Callable[[object], None]] | None = None
        self._nothing = Heard()
        self._returned = True

    # ------------------------------------------------------------------ time

    def step(self) -> None:
        """Let what is there take what came. Never raises."""
        self._look_at_job()
        if self.spinning is not None and not self.spinning.over:
            self.spinning.step()
        elif self.watching is not None:
            self.watching.step()
            if self.watching.trouble is not None:
                self.trouble = self.watching.trouble
            elif self.watching.heard.stand is not None:
                self.trouble = None
        elif not self._returned and self._job is None and self.spinning is not None:
            self._returned = True
            self._watch_again()

    def _look_at_job(self) -> None:
        if self._job is None or not self._job[0].done():
            return
        future, then = self._job
        self._job, self.busy = None, ""
        try:
            then(future.result())
        except GramwattError as fault:
            self.trouble = Trouble(str(fault))

    def _do(
        self, words: str, work: Callable[[], object], then: Callable[[object], None]
    ) -> None:
        """Have something done in a thread, one thing at a time."""
        if self._job is None:
            self.busy, self.trouble = words, None
            self._job = (self._pool.submit(work), then)

    @property
    def heard(self) -> Heard:
        """What is heard of the stand, whoever hears it."""
        if self.spinning is not None and not self.spinning.over:
            return self.spinning.heard
        if self.watching is not None:
            return self.watching.heard
        return self.spinning.heard if self.spinning is not None else self._nothing

    @property
    def is_spinning(self) -> bool:
        """Whether a spin goes on, in whatever stage."""
        return self.spinning is not None and not self.spinning.over

    @property
    def keys_stop(self) -> bool:
        """Whether space and escape mean stop, and nothing else."""
        spinning = self.spinning
        if spinning is not None and not spinning.over:
            return spinning.may_turn
        return self.heard.state in (State.PROVING, State.ARMED, State.SPINNING)

    # ------------------------------------------------------------------ the stand

    def ports(self) -> list[PortFound]:
        """The serial ports of this machine."""
        try:
            return found_ports()
        except OSError:
            return []

    def connect(self, port: str, baud: int, lines: Path | None = None) -> None:
        """Open a port and find out who is there.

        Raises:
            InputFault: the description cannot be read or is wrong.
        """
        text = read_text(lines) if lines is not None else ""
        chosen = Chosen(port, baud, text)
        description = chosen.description
        if description is not None:
            chosen = Chosen(port, description.baud, text)
        self.disconnect()
        self.chosen = chosen
        self._watch_again()

    def simulate(self) -> None:
        """Start a simulated stand of our own and connect to it."""
        self.disconnect()

        def serve() -> object:
            return SimulatedStand()

        def served(stand: object) -> None:
            if isinstance(stand, SimulatedStand):
                self._own = stand
                self.chosen = Chosen(stand.port, own=True)
                self._watch_again()

        self._do("starting a simulated stand", serve, served)

    def _watch_again(self) -> None:
        chosen = self.chosen
        if chosen is None:
            return

        def opened() -> object:
            return Watching(
                chosen.port,
                lambda: open_port(chosen.port, chosen.baud),
                self._clock,
                chosen.description,
            )

        def watched(made: object) -> None:
            if isinstance(made, Watching):
                self.watching = made

        self._do(f"opening {chosen.port}", opened, watched)

    def disconnect(self) -> None:
        """Let go of the stand; a simulation of our own ends. Not while spinning.

        What is still being waited for is given up: what comes of it is closed.
        """
        if self.is_spinning:
            return
        if self._job is not None:
            self._job[0].add_done_callback(_close_what_came)
            self._job, self.busy = None, ""
        self._close_watching()
        if self._own is not None:
            self._own.close()
        self._own = self.chosen = None
        self.trouble = None

    @property
    def own(self) -> SimulatedStand | None:
        """The simulated stand that this program started; None where there is none."""
        return self._own

    @property
    def specimen(self) -> str:
        """Which simulated stand of our own is there; "" where none is."""
        return specimen_of(None, 1) if self._own is not None else ""

    def _close_watching(self) -> None:
        if self.watching is not None:
            self.watching.close()
            self.watching = None

    # ------------------------------------------------------------------ the spin

    def spin(self, order: Order, out: Path) -> None:
        """Start a keeper for it; the motor turns only when a person says go."""
        chosen = self.chosen
        if chosen is None or self.is_spinning or self._job is not None:
            return
        self._close_watching()
        own = self._own
        order = replace(order, specimen=self.specimen)

        def begun() -> object:
            return start(order, chosen.port, chosen.baud, out, self._clock, own)

        def follow(made: object) -> None:
            if isinstance(made, Spinning):
                self.spinning, self._returned = made, False

        self._returned = True
        self._do("starting the spin", begun, follow)

    def recover(self) -> None:
        """After a spin that did not begin: watch the port again."""
        if self.watching is None and not self.is_spinning and self._job is None:
            self._watch_again()

    def stop(self) -> None:
        """STOP, whatever goes on."""
        if self.spinning is not None and not self.spinning.over:
            self.spinning.stop()
        elif self.watching is not None:
            self.watching.stop()

    def acknowledge(self) -> None:
        """A person found the cause of a trip and removed it."""
        if self.spinning is not None and not self.spinning.over:
            self.spinning.clear_latch()
        elif self.watching is not None:
            self.watching.acknowledge()

    def close(self) -> None:
        """The window goes: a spin is stopped, whatever was started ends."""
        if self.spinning is not None and not self.spinning.over:
            self.spinning.stop("The window was closed.")
        self._close_watching()
        self._pool.shutdown(wait=True, cancel_futures=True)
        if self._job is not None:
            _close_what_came(self._job[0])
        if self._own is not None:
            self._own.close()

    # ------------------------------------------------------------------ what is shown

    @property
    def now_s(self) -> float:
        """This moment."""
        return self._clock.now_s()

    def state_words(self) -> StateWords:
        """The interlock's state, in words."""
        spinning = self.spinning
        if spinning is not None and not spinning.over:
            told = STATES[spinning.state]
            if spinning.unprotected:  # the word is this program's, not the stand's
                return replace(told, sentence=WATCHED_LINES.sentence)
            return told
        if self.watching is not None and self.watching.stands_in:
            known = self.heard.stand is not None
            return WATCHED_LINES if known else STATES[State.UNKNOWN]
        return STATES[self.heard.state]

    @property
    def simulated(self) -> bool:
        """Whether it is a simulation: by its own word, or because we started it."""
        stand = self.heard.stand
        says = stand is not None and Ability.SIMULATED in stand.identity.abilities
        return says or (self.chosen is not None and self.chosen.own)

    def limit_of(self, channel: str) -> Limit | None:
        """The limit of a channel in the spin that goes on; None where there is none.

        While the motor's supply is to be off, its voltage has no floor.
        """
        if self.spinning is None:
            return None
        unplugged = self.spinning.stage in (Stage.PROVING, Stage.PLUGGING)
        if channel == "voltage" and unplugged:
            return None
        limits = self.spinning.order.task.limits
        return next((x for x in limits if x.channel == channel), None)

    def link_words(self) -> tuple[str, str]:
        """Meaning of the link's mark, and its health in words."""
        if self.chosen is None:
            return "neutral", "not connected"
        if self.busy:
            return "neutral", self.busy
        share = self.heard.lost_share(self.now_s)
        if math.isnan(share):
            return "abnormal", "silent"
        _, lost = self.heard.totals
        meaning = "good"
        if share > LINK_POOR:
            meaning = "danger" if share > LINK_BAD else "abnormal"
        return meaning, f"{100 * share:.1f} % lost, {lost} in all"

    def clock_words(self) -> tuple[str, str]:
        """Where the run is in its time, and of how long it is; "" before it began."""
        spinning = self.spinning
        if spinning is None or math.isnan(spinning.live.began_s):
            return "", ""
        live = spinning.live
        whole_s = live.whole_s
        # Short, for a narrow strip.
        words = "of" if not live.open_ended else "at most"
        of = f"{words} {clock_words(whole_s)}"
        told = clock_words(min(live.walked_s, whole_s))
        return told, f"{of}, over" if spinning.over else of


def _close_what_came(future: Future[object]) -> None:
    """Close what a job made that nobody waits for any more."""
    if future.cancelled():
        return
    with contextlib.suppress(GramwattError):
        made = future.result()
        if isinstance(made, SimulatedStand | Watching):
            made.close()
        elif isinstance(made, Spinning):
            made.stop("Nobody waits for it any more.")
