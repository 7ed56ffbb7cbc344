"""One spin as a window shows it: from the start order to its end.

A client of the keeper and nothing more: it beats, orders and follows the record. What
it decides is what to show and what a person may do now; it must never keep a person
from stopping, and never answer in a person's place.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Final, Protocol

from daq.clock import Clock
from daq.errors import GramwattError, WorldFault
from daq.link.conversation import conversation_with
from daq.link.messages import State
from daq.records.wirelog import Record
from ui.cautions import HAND_WORDS, HANDS, Item, checklist_for
from ui.dangers import RUNS_ON, SILENT, SILENT_UNPROTECTED, danger_in
from ui.desktop.model.heard import Heard
from ui.live import LiveRun
from ui.ordered import Order
from ui.proved import guard_called

BEAT_S: Final = 0.2
KEEPER_SILENT_S: Final = 1.5
STOP_PATIENCE_S: Final = 1.0


class Stage(Enum):
    """How far it is, in words that follow "Now:"."""

    IDENTIFYING = "finding out who the stand is"
    LATCHED = "the stand is latched from before"
    PROVING = "proving the guards"
    PLUGGING = "the checklist, then the arming plug"
    ZEROING = "taking the zeros"
    READY = "ready; the motor turns when you say so"
    TRYING = "proving the stop with the motor running"
    RUNNING = "walking the plan"
    STOPPING = "stopping"
    ENDED = "over"


# Where space and escape mean stop and nothing else.
MAY_TURN: Final = (Stage.PROVING, Stage.TRYING, Stage.RUNNING, Stage.STOPPING)


class Client(Protocol):
    """What is needed of the keeper's client."""

    folder: Path

    @property
    def running(self) -> bool:
        """Whether the keeper is there."""
        ...

    def order(self, order: str, **fields: object) -> None:
        """Send an order."""
        ...

    def beat(self) -> None:
        """Tell that the person's program is alive."""
        ...

    def fresh(self) -> list[Record]:
        """Records since last asked."""
        ...

    def finish(self, patience_s: float = 5.0) -> Mapping[str, object]:
        """Wait for the end, and give the keeper's last line."""
        ...

    def kill(self) -> None:
        """End a keeper that does not answer."""
        ...


class Hands(Protocol):
    """A simulated stand of our own, whose plug and loop are moved for it."""

    def plug(self, *, inserted: bool) -> None:
        """Put the arming plug in or pull it."""
        ...

    def stop_loop(self, *, closed: bool) -> None:
        """Close or open the stop loop."""
        ...


@dataclass(frozen=True, slots=True)
class Proved:
    """One guard that was seen to act.

    Attributes:
        part: of the proof.
        called: which guard, with its channel.
        took_ms: how long it took; NaN by hand.
        seen: how it was seen.
    """

    part: str
    called: str
    took_ms: float
    seen: str


@dataclass(slots=True)
class StopAnswer:
    """A stop that a person asked for, and what came of it.

    Attributes:
        asked_s: when it was asked for, host time.
        took_s: until it was confirmed; NaN while it is not.
        failed: it was not confirmed in time.
    """

    asked_s: float
    took_s: float = math.nan
    failed: bool = False


@dataclass(slots=True)
class Checklist:
    """What a person acknowledges before the motor may turn.

    Attributes:
        items: the sentences.
        done: names of those that were acknowledged.
        words: what has to be typed besides; "" for nothing.
        declared: it was typed.
        waived: our own simulation, in which nothing turns.
    """

    items: tuple[Item, ...]
    words: str = ""
    waived: bool = False
    done: set[str] = field(default_factory=set)
    declared: bool = False

    @property
    def complete(self) -> bool:
        """Whether nothing is left to acknowledge."""
        every = all(item.name in self.done for item in self.items)
        return self.waived or (every and (self.declared or not self.words))

    def record(self) -> object:
        """What the keeper is told of it."""
        if self.waived:
            return "waived: own simulation"
        named = [item.name for item in self.items]
        return [*named, "hand on plug"] if self.words else named


class Spinning:
    """One spin.

    Attributes:
        order: what is spun.
        heard: what the stand says, for bars and plots.
        live: how far the plan is walked.
        stage: how far all of it is.
        proved: guards that were seen to act, in order.
        checklist: what a person acknowledges.
        hand: what somebody has to do at the stand now, a sentence; "" for nothing.
        stop_answer: the last stop that was asked for; None before.
        danger: what cannot wait, a sentence; "" for nothing.
        trip: the note of what acted; None before.
        outcome: how it ended; None before.
        told: the notes so far, for whoever tells them in words.
    """

    def __init__(
        self,
        order: Order,
        client: Client,
        clock: Clock,
        own: Hands | None = None,
    ) -> None:
        """Follow a spin that a keeper has just been started with.

        Args:
            order: what is spun.
            client: of its keeper.
            clock: host time, the keeper's.
            own: the simulated stand that this program started; only then is the
                checklist waived, and plug and loop are moved for it.
        """
        self.order = order
        self.heard = Heard()
        self.stage = Stage.IDENTIFYING
        self.proved: list[Proved] = []
        described = order.task.stand
        self.checklist = Checklist(
            items=checklist_for(order.task, order.timed),
            words=HAND_WORDS if described is not None else "",
            waived=own is not None,
        )
        self.hand = ""
        self.stop_answer: StopAnswer | None = None
        self.danger = ""
        self.trip: Mapping[str, object] | None = None
        self.outcome: Mapping[str, object] | None = None
        self.told: list[Mapping[str, object]] = []
        self.went = False
        self._unlocked = False
        self._client = client
        self._clock = clock
        self._own = own
        self._wanted = ""
        self._beat_s = -math.inf
        self._heard_s = clock.now_s()
        self._silent = False
        self._over = False
        self.live = LiveRun(
            order.plan,
            conversation_with(described),
            listener=self.heard.take,
        )

    @property
    def folder(self) -> Path:
        """Where the run is recorded."""
        return self._client.folder

    @property
    def unprotected(self) -> bool:
        """Whether the stand cannot stop its motor by itself."""
        return self.order.task.stand is not None

    @property
    def over(self) -> bool:
        """Whether the keeper is done."""
        return self._over

    @property
    def may_turn(self) -> bool:
        """Whether the motor may turn or a pulse may be raised: keys mean stop."""
        return self.stage in MAY_TURN

    @property
    def state(self) -> State:
        """The interlock's state as last told."""
        return self.live.state

    # ------------------------------------------------------------------ time

    def step(self) -> None:
        """Beat and follow. Never raises.

        Called by the window's own loop, so that a window that hangs stops beating.
        """
        if self._over:
            return
        now_s = self._clock.now_s()
        if now_s - self._beat_s >= BEAT_S:
            self._beat_s = now_s
            self._client.beat()
        self._follow(now_s)
        self._judge_stop(now_s)
        if not self._client.running:
            self._ended()

    def _follow(self, now_s: float) -> None:
        records = self._client.fresh()
        for record in records:
            self.live.take(record)
        if records:
            self._heard_s, self._silent = now_s, False
            self.heard.judge(self.live.session, now_s)
        elif now_s - self._heard_s > KEEPER_SILENT_S and not self._silent:
            self._silent = True
            self.danger = SILENT_UNPROTECTED if self.unprotected else SILENT
        for note in self.live.taken_notes():
            self.told.append(note)
            self._noted(note, self.live.now_s)

    def _ended(self) -> None:
        """The keeper is gone, in order or not."""
        self._over = True
        ending = self._client.finish()
        self._follow(self._clock.now_s())
        last = ending.get("outcome")
        outcome = self.live.outcome or (last if isinstance(last, dict) else None)
        self.outcome = outcome or {}
        self.stage, self.hand = Stage.ENDED, ""
        self.danger = danger_in(self.outcome, unprotected=self.unprotected)
        answer = self.stop_answer
        if answer is not None and math.isnan(answer.took_s):
            answer.failed = bool(self.danger)

    # ------------------------------------------------------------------ what is told

    def _noted(self, note: Mapping[str, object], now_s: float) -> None:
        kind = str(note.get("note"))
        act: Callable[[Mapping[str, object], float], None] | None = {
            "latched": self._latched,
            "wanted": self._hand_wanted,
            "proof": self._proof_began,
            "proved": self._guard_proved,
            "proven": self._part_proven,
            "zeroed": self._zeroed,
            "ready": self._ready,
            "armed": self._armed,
            "trip": self._tripped,
            "stop": self._stopping,
            "stop confirmed": self._stop_confirmed,
            "still driven": self._still_driven,
            "looked on": self._looked_on,
            "outcome": self._outcome_noted,
        }.get(kind)
        if act is not None:
            act(note, now_s)

    def _latched(self, _: Mapping[str, object], __: float) -> None:
        self.stage = Stage.LATCHED

    def _hand_wanted(self, note: Mapping[str, object], _: float) -> None:
        self._wanted = str(note.get("what"))
        self.stage = Stage.PLUGGING if self._wanted == "plug in" else Stage.PROVING
        if self._own is not None:
            self._lend_a_hand(self._own)
        else:
            self.hand = HANDS[self._wanted]

    def _lend_a_hand(self, stand: Hands) -> None:
        try:
            if self._wanted.startswith("plug"):
                stand.plug(inserted=self._wanted == "plug in")
            else:
                stand.stop_loop(closed=self._wanted == "loop closed")
        except WorldFault:
            pass  # the stand is gone, which the keeper tells

    def _proof_began(self, note: Mapping[str, object], _: float) -> None:
        self.hand = ""
        self.stage = Stage.TRYING if note.get("part") == "c" else Stage.PROVING

    def _guard_proved(self, note: Mapping[str, object], _: float) -> None:
        took = note.get("took_ms")
        self.proved.append(
            Proved(
                part=str(note.get("part")),
                called=guard_called(note),
                took_ms=took if isinstance(took, float) else math.nan,
                seen=str(note.get("seen")),
            )
        )

    def _part_proven(self, note: Mapping[str, object], _: float) -> None:
        self.hand = ""
        if note.get("part") == "a":
            self.stage = Stage.PLUGGING

    def _zeroed(self, _: Mapping[str, object], __: float) -> None:
        self.hand = ""
        self.stage = Stage.ZEROING
        self.heard.zero(self.live.zeros)

    def _ready(self, _: Mapping[str, object], __: float) -> None:
        self.stage, self.hand, self.went = Stage.READY, "", False
        self._unlocked = False

    def _armed(self, _: Mapping[str, object], __: float) -> None:
        self.stage = Stage.RUNNING

    def _tripped(self, note: Mapping[str, object], _: float) -> None:
        if self.trip is None:
            self.trip = note

    def _stopping(self, _: Mapping[str, object], __: float) -> None:
        self.stage, self.hand = Stage.STOPPING, ""

    def _stop_confirmed(self, _: Mapping[str, object], now_s: float) -> None:
        answer = self.stop_answer
        if answer is not None and math.isnan(answer.took_s):
            answer.took_s = max(0.0, now_s - answer.asked_s)
            answer.failed = False

    def _still_driven(self, _: Mapping[str, object], __: float) -> None:
        self.danger = RUNS_ON

    def _looked_on(self, note: Mapping[str, object], now_s: float) -> None:
        # Where a stand confirms nothing, a motor seen at rest is the answer.
        if note.get("stopped") is True and self.unprotected:
            self._stop_confirmed(note, now_s)

    def _outcome_noted(self, note: Mapping[str, object], now_s: float) -> None:
        answer = self.stop_answer
        if answer is not None and note.get("stop_confirmed") is True:
            self._stop_confirmed(note, now_s)

    # ------------------------------------------------------------- what a person does

    def acknowledge(self, name: str, *, so: bool = True) -> None:
        """Take one item of the checklist as acknowledged, or not."""
        if so:
            self.checklist.done.add(name)
        else:
            self.checklist.done.discard(name)

    def declare(self, words: str) -> bool:
        """What was typed for a stand that only a hand can stop; whether it is it."""
        typed = " ".join(words.lower().split()).strip(".\"'")
        self.checklist.declared = typed == self.checklist.words
        return self.checklist.declared

    @property
    def plug_wanted(self) -> bool:
        """Whether the arming plug is to go in, and may: not before the checklist."""
        return self.stage is Stage.PLUGGING and self.checklist.complete

    @property
    def may_unlock(self) -> bool:
        """Whether the first of the two steps to a turning motor may be taken."""
        return self.stage is Stage.READY and self.checklist.complete and not self.went

    @property
    def unlocked(self) -> bool:
        """Whether the first step was taken, so that the second may be.

        In a simulation of our own, in which nothing turns, one step is enough.
        """
        return (self._unlocked or self.checklist.waived) and self.may_unlock

    def unlock(self, *, so: bool = True) -> None:
        """The first step: nothing moves yet."""
        self._unlocked = so and self.may_unlock

    def go(self) -> None:
        """The second step: the motor may turn."""
        if self.unlocked:
            self.went, self._unlocked = True, False
            self._client.order("go", checklist=self.checklist.record())

    def clear_latch(self) -> None:
        """A person found the cause of an earlier trip and removed it."""
        if self.stage is Stage.LATCHED:
            self._client.order("acknowledge")

    def stop(self, why: str = "A person pressed STOP.") -> None:
        """Stop, whatever is going on; may be asked for again and again."""
        if self._over:
            return
        self._client.order("stop", why=why)
        if self.stop_answer is None:
            self.stop_answer = StopAnswer(self._clock.now_s())
        elif self._silent:
            self._client.kill()  # asked again and it does not answer: the lease stops

    def _judge_stop(self, now_s: float) -> None:
        answer = self.stop_answer
        if answer is None or not math.isnan(answer.took_s):
            return
        if now_s - answer.asked_s > STOP_PATIENCE_S and not self.unprotected:
            answer.failed = True


def start(
    order: Order,
    port: str,
    baud: int,
    out: Path,
    clock: Clock,
    own: Hands | None = None,
) -> Spinning:
    """Start a keeper on a port and follow it.

    Raises:
        GramwattError: port or folder cannot be opened.
    """
    from ui.client import KeeperClient

    client = KeeperClient(order.start(port, baud, out, own=own is not None))
    try:
        return Spinning(order, client, clock, own)
    except GramwattError:
        client.kill()
        raise
