"""The loop in front of the person while a spin goes on: beats, draws, asks, stops.

Follows the keeper's record, tells what it says, and has a person asked where one has
to answer. Deciding anything about the motor is the keeper's business.
"""

from __future__ import annotations

import math
import signal
import sys
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from daq.clock import Clock
    from protocols.plan import Segment
    from ui.client import KeeperClient
    from ui.ordered import Order
    from ui.simulation import SimulatedStand

DRAW_PERIOD_S = 0.1
KEEPER_SILENT_S = 1.5
STOPS_TO_KILL = 2  # asked this often, a silent keeper is ended
BELL: Final = "\a"  # a person looks at the load and not at the screen
# The simulated somebody: how late a hand is, and what share of the limit is drawn.
QUICKEST_HAND_S: Final = 0.4
SLOWEST_HAND_S: Final = 1.1
SIMULATED_SHARE: Final = 0.8
NOTHING_TO_SWITCH: Final = (math.inf, math.inf)


class Show:
    """The loop in front of the person: beats, draws, asks, stops.

    Attributes:
        alarmed: every danger that was told while it went on.
    """

    def __init__(
        self,
        order: Order,
        client: KeeperClient,
        clock: Clock,
        *,
        own: SimulatedStand | None,
        quiet: bool,
    ) -> None:
        from daq.link.conversation import conversation_with
        from ui.cli.ending import Narrator
        from ui.cli.progress import Progress
        from ui.live import LiveRun

        self._order = order
        self._client = client
        self._clock = clock
        self._own = own
        self._quiet = quiet
        self._live = LiveRun(order.plan, conversation_with(order.task.stand))
        self._progress = Progress(order.task.limits)
        self._narrator = Narrator()
        self._stops = 0
        self._heard_s = clock.now_s()
        self._warned = False
        self._acknowledged: list[str] = []
        self._switching = NOTHING_TO_SWITCH
        self.alarmed: set[str] = set()

    def until_the_end(self) -> Mapping[str, object]:
        """Show the run and give its outcome; {} when the keeper left none."""
        before = signal.signal(signal.SIGINT, self._stop_asked)
        try:
            while self._client.running:
                self._moment()
                self._clock.sleep(DRAW_PERIOD_S)
            self._follow()
        finally:
            # Whatever went wrong here, the motor is asked to stop.
            if self._client.running:
                self._client.order("stop", why="The program before the person failed.")
            ending = self._client.finish()
            signal.signal(signal.SIGINT, before)
        self._progress.clear()
        outcome = self._live.outcome or ending.get("outcome")
        return outcome if isinstance(outcome, dict) else {}

    @property
    def how_far(self) -> tuple[str, ...]:
        """How far it came, where it did not come to its end."""
        extent = self._live.extent
        cut = extent is not None and not extent.whole
        return (extent.words(),) if extent is not None and cut else ()

    @property
    def tried(self) -> bool:
        """Whether a part of the proof was begun."""
        return self._live.tried

    def clears(self, check: str) -> str:
        """What has to be so before such a trip is acknowledged, a clause."""
        return self._narrator.clears(check)

    def _alarm(self, danger: str) -> None:
        from ui.cli.ending import alarm

        self.alarmed.add(danger)
        self._progress.clear()
        alarm(danger)

    def _moment(self) -> None:
        from ui.dangers import SILENT, SILENT_UNPROTECTED

        self._client.beat()
        self._switch()
        if self._follow():
            self._heard_s = self._clock.now_s()
            self._warned = False
        elif self._clock.now_s() - self._heard_s > KEEPER_SILENT_S and not self._warned:
            self._warned = True
            unprotected = self._order.task.stand is not None
            self._alarm(SILENT_UNPROTECTED if unprotected else SILENT)
        if self._warned and self._stops >= STOPS_TO_KILL:
            self._client.kill()
        if not self._quiet:
            self._progress.draw(self._live)

    def _follow(self) -> bool:
        """Take what the keeper recorded; whether there was anything."""
        records = self._client.fresh()
        for record in records:
            self._live.take(record)
        for note in self._live.taken_notes():
            self._noted(note)
        return bool(records)

    def _noted(self, note: Mapping[str, object]) -> None:
        from ui.dangers import danger_told

        kind = note.get("note")
        if danger_told(note):
            self._alarm(danger_told(note))
        if kind == "wanted":
            self._wanted(str(note.get("what")))
        elif kind == "ready":
            self._go()
        elif kind == "latched":
            self._acknowledge()
        elif kind == "segment":
            self._segment(note)
        elif kind == "holding" and not self._quiet:
            self._progress.holding(self._live)
        elif (words := self._narrator.words(note)) and not self._quiet:
            self._progress.say(words)
            if kind == "zeroed":
                self._charge(note)

    def _segment(self, note: Mapping[str, object]) -> None:
        """A part of the plan begins; of a load by hand a person is told."""
        plan = self._order.plan
        index = note.get("index")
        if plan.by_hand and isinstance(index, int):
            from ui.cautions import cue_of

            loads = 1 + max(segment.step for segment in plan.segments)
            segment = plan.segments[index]
            if not self._quiet:
                self._progress.say(f"{BELL}{cue_of(segment, loads)}")
            if self._own is not None:
                self._switch_soon(segment, loads)
        if not self._quiet:
            self._progress.segment(note, self._live)

    def _switch_soon(self, segment: Segment, loads: int) -> None:
        """The simulated somebody hears it, and takes a moment to switch."""
        article, now_s = self._order.article, self._clock.now_s()
        ohm = math.inf
        if segment.kind == "load":
            limit = next(x for x in self._order.task.limits if x.channel == "current")
            share = (segment.step + 1) / loads
            ohm = article.source_v / (SIMULATED_SHARE * limit.high * share)
        late = SLOWEST_HAND_S if segment.step % 2 else QUICKEST_HAND_S
        self._switching = (now_s + late, ohm)

    def _switch(self) -> None:
        from daq.errors import WorldFault

        due_s, ohm = self._switching
        if self._own is None or self._clock.now_s() < due_s:
            return
        self._switching = NOTHING_TO_SWITCH
        try:
            self._own.bank(ohm)
        except WorldFault:
            pass  # the stand is gone, which the keeper tells

    def _charge(self, note: Mapping[str, object]) -> None:
        """A pack that will not last the plan is said before anything turns."""
        from ui.cli.text import labelled

        means = note.get("means")
        rest_v = means.get("voltage") if isinstance(means, dict) else None
        if isinstance(rest_v, float) and (said := self._order.charge_caution(rest_v)):
            self._progress.say(labelled("caution", said))

    def _wanted(self, what: str) -> None:
        """The stand wants a hand: our own simulation gets it, a person is asked."""
        from ui.cautions import HANDS
        from ui.cli import checklist

        if self._own is not None:
            self._lend_a_hand(self._own, what)
            return
        if what == "plug in" and not self._ask_person():
            return  # no supply before the checklist
        checklist.tell_hand(HANDS[what])

    def _lend_a_hand(self, stand: SimulatedStand, what: str) -> None:
        from daq.errors import WorldFault

        try:
            if what.startswith("plug"):
                stand.plug(inserted=what == "plug in")
            else:
                stand.stop_loop(closed=what == "loop closed")
        except WorldFault:
            pass  # the stand is gone, which the keeper tells

    def _go(self) -> None:
        """Ask the checklist, unless the stand is our own simulation."""
        from ui.cautions import start_of
        from ui.cli import checklist

        if self._own is not None:
            self._client.order("go", checklist="waived: own simulation")
        elif self._ask_person() and self._asking(
            lambda: checklist.confirm(start_of(self._order.task))
        ):
            self._client.order("go", checklist=self._acknowledged)

    def _ask_person(self) -> bool:
        """The checklist, once; a person who does not finish it ends the run."""
        from ui.cautions import HAND_ON_PLUG, HAND_WORDS, checklist_for
        from ui.cli import checklist

        if self._acknowledged:
            return True
        items = checklist_for(self._order.task, self._order.timed)
        done: list[str] = []

        def answer() -> None:
            done.extend(checklist.ask(items))
            task = self._order.task
            if task.stand is not None and not task.plan.by_hand:
                checklist.declare(HAND_ON_PLUG, HAND_WORDS)
                done.append("hand on plug")

        if self._asking(answer):
            self._acknowledged = done
        return bool(self._acknowledged)

    def _acknowledge(self) -> None:
        """A latch from before: only a person may clear it."""
        from ui.cli import checklist

        sentence = (
            "The stand is latched from an earlier trip or stop; the cause is found and "
            "removed."
        )
        if self._asking(lambda: checklist.confirm(sentence)):
            self._client.order("acknowledge")

    def _asking(self, ask: Callable[[], None]) -> bool:
        """Whether a person answered; whoever does not, or ctrl-C, ends the run."""
        from daq.errors import GramwattError

        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            ask()
        except (GramwattError, KeyboardInterrupt) as fault:
            if isinstance(fault, KeyboardInterrupt):
                print(file=sys.stderr)
            why = str(fault) or "A person ended the checklist with ctrl-C."
            self._client.order("stop", why=why)
            return False
        else:
            return True
        finally:
            signal.signal(signal.SIGINT, self._stop_asked)
            self._heard_s = self._clock.now_s()

    def _stop_asked(self, _number: int, _frame: object) -> None:
        self._stops += 1
        self._client.order("stop", why="A person stopped it with ctrl-C.")
        if not self._quiet:
            self._progress.say("Stopping.")
