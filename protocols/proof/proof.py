"""Drives the exercises of a proof: what came in, and what goes out.

Part (a), supply off and seen off, a real pulse read back; part (b), where a stand
cannot do that, the same at zero throttle by its events; part (c), supply on, the
lease left to lapse while the motor turns. It acknowledges only latches that it
caused itself, and it is proof of this stand, in this boot, with these limits, for
a while.
"""

import math
from collections.abc import Iterator
from enum import StrEnum
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from protocols.phases import Note
from protocols.proof import exercises as x
from protocols.proof.running import GUARD, running
from protocols.proof.trial import Ask, NotProven, Steps, Trial

RENEW_S: Final = 0.025
VALID_S: Final = 600.0  # a stand proven longer ago than this is proven again


class Part(StrEnum):
    """The parts of a proof."""

    PULSE = "a"
    EVENTS = "b"
    RUNNING = "c"

    @property
    def words(self) -> str:
        """What this part goes by, for people."""
        return {
            "a": "supply off, a real pulse read back",
            "b": "at zero throttle, by the stand's events",
            "c": "supply on, at the lowest running throttle",
        }[str(self)]


def can_prove_pulses(stand: s.Stand) -> bool:
    """Whether part (a) can be done with this stand."""
    needed = m.Ability.PROVE | m.Ability.PULSE_READBACK
    has = needed & stand.identity.abilities == needed
    return bool(has and stand.channel("pulse") and stand.channel("voltage"))


class Proof:
    """One part of the proof, from its first step to its end.

    Attributes:
        part: which.
        done: every guard was seen to act.
        failure: what was not, once that is known.
    """

    def __init__(
        self,
        part: Part,
        stand: s.Stand,
        limits: m.Limits,
        *,
        lease_ms: int,
        nonce: int,
        highest: float,
        state: m.State,
        now_s: float,
    ) -> None:
        """Ready to step.

        Args:
            part: which.
            stand: who is there.
            limits: the real set.
            lease_ms: the plan's lease.
            nonce: the plan's, which the proof leaves alone.
            highest: the plan's highest throttle, 0 to 1.
            state: the stand's, as last told.
            now_s: this moment.
        """
        self.part = part
        self.done = False
        self.failure: NotProven | None = None
        self._notes: list[Note] = []
        self._begun_s = now_s
        self._highest = highest
        self._trial = Trial(
            stand=stand,
            entries=limits.entries,
            lease_ms=lease_ms,
            first_nonce=nonce + (0x4000 if part is Part.RUNNING else 0),
            grant=m.Prove if part is Part.PULSE else m.Arm,
            raised=x.RAISED if part is Part.PULSE else 0,
            state=state,
        )
        self._renew_s = math.inf
        self._wanted = 0
        self._steps = self._all()
        self._until_s = now_s
        self._notes.append({"note": "proof", "part": str(part), "how": part.words})

    # -------------------------------------------------------------- driving

    def sampled(self, sampled: s.Sampled) -> None:
        """A sample came."""
        self._trial.sampled(sampled)

    def told(self, message: m.Event | m.Counters) -> None:
        """The stand told its state."""
        self._trial.told(message)

    def answered(self, reply: s.Replied | s.Unanswered) -> None:
        """A command was answered, or was not in time."""
        if reply.command is self._trial.asked:
            self._trial.reply = reply

    @property
    def over(self) -> bool:
        """Whether there is nothing more to do."""
        return self.done or self.failure is not None

    def expects(self, cause: m.Cause) -> bool:
        """Whether a trip of that cause is what the present exercise is after."""
        return not self.over and cause is self._trial.expected

    @property
    def deadline_s(self) -> float:
        """When ``step`` has something to do next, if nothing comes in."""
        return math.inf if self.over else min(self._until_s, self._renew_s)

    @property
    def hold_frac(self) -> float:
        """Throttle held now, 0 to 1."""
        return (self._trial.hold or 0) / m.THROTTLE_FULL

    def take_notes(self) -> list[Note]:
        """What was shown or is wanted since last asked, for the record."""
        taken, self._notes = self._notes, []
        return taken

    def step(self, now_s: float, newest_us: int) -> list[Ask]:
        """Go as far as what came in allows; what is to be sent."""
        trial = self._trial
        trial.now_s, trial.newest_us = now_s, newest_us
        if not self.over:
            try:
                self._until_s = next(self._steps)
            except StopIteration:
                self.done = True
            except NotProven as failure:
                self.failure = failure
        self._renew(now_s)
        for what in trial.wants[self._wanted :]:
            self._notes.append({"note": "wanted", "what": what})
        self._wanted = len(trial.wants)
        asks, trial.asks = trial.asks, []
        return asks

    def _renew(self, now_s: float) -> None:
        """Hold the throttle by saying it again and again."""
        hold = self._trial.hold
        if hold is None or self.over:
            self._renew_s = math.inf
        elif self._renew_s is math.inf or now_s >= self._renew_s:
            self._trial.throttle(hold)
            self._renew_s = now_s + RENEW_S

    # ----------------------------------------------------------- the order

    def _all(self) -> Steps:
        trial = self._trial
        if self.part is Part.RUNNING:
            yield from running(trial, self._highest)
            self._shown(GUARD, "current and speed fell")
        else:
            yield from x.take_limits(trial, "limits", x.open_entries(trial))
            seen = "pulse read back as gone" if trial.reads_back else "event"
            for exercise in self._exercises():
                yield from x.steps_of(exercise, trial)
                self._shown(exercise.guard, seen, exercise.name)
        took_s = trial.now_s - self._begun_s
        self._notes.append(
            {"note": "proven", "part": str(self.part), "took_s": round(took_s, 3)}
        )

    def _exercises(self) -> Iterator[x.Exercise]:
        return iter(x.exercises_for(self._trial))

    def _shown(self, guard: str, seen: str, channel: str = "") -> None:
        """One guard was seen to act: into the record."""
        took_s = self._trial.took_s
        note: Note = {"note": "proved", "part": str(self.part), "guard": guard}
        if channel:
            note["channel"] = channel
        if math.isfinite(took_s):
            note["took_ms"] = round(took_s * 1e3, 1)
        self._notes.append(note | {"seen": seen})
