"""The dialogue of a calibration: what to do, what it reads, what a person types.

One loop moves the port and the model along and looks at what was typed meanwhile. It
asks a stand who it is and never anything else.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from daq.errors import GramwattError, InputFault, StandFault
from ui.calibration_words import caution, resolved
from ui.cli.calibrate_end import End
from ui.cli.text import beside, labelled, wrapped
from ui.cli.typed import BACK, LEAVE, Typed, number

if TYPE_CHECKING:
    from daq.calibration.readings import Reading
    from daq.calibration.reference import Reference
    from daq.calibration.value import Calibration
    from daq.clock import Clock
    from daq.link.columns.description import Description
    from daq.link.conversation import Conversation
    from daq.link.ports import Port
    from daq.link.session import Happening
    from ui.calibration_known import Known
    from ui.calibration_steps import Step
    from ui.simulated_scale import SimulatedScale

SHOW_PERIOD_S: Final = 0.25
KEYS: Final = (
    "Enter takes the reading when you have done the step; u takes the last one back, "
    "done ends early, q leaves and keeps what was read."
)
TAKES_BACK: Final = "u takes the reading back."
#: How often, and for how long, hands of this program ask again for a reading that came
#: to nothing.
TRIES: Final = 3
TRIED_S: Final = 60.0
LEFT: Final = 1


class Walk:
    """One calibration or check at a terminal.

    Attributes:
        model: what is to be done, and what was read.
    """

    def __init__(
        self,
        args: argparse.Namespace,
        known: Known,
        description: Description | None,
    ) -> None:
        """Lay out the steps.

        Args:
            args: as typed.
            known: the channel, and what it is held against.
            description: of a stand that prints lines; None for any other.

        Raises:
            InputFault: a mass that there is not.
        """
        self._args = args
        self._known = known
        self._description = description
        self.model = known.walk(self._steps())
        self._typed = Typed()
        self._hands: SimulatedScale | None = None
        self._told_step = -1
        self._missed: list[tuple[float, str]] = []
        self._left = False
        self._end = End(args, self.model, self._say)

    def _steps(self) -> tuple[Step, ...]:
        args = self._args
        if args.check:
            return self._known.check(args.mass)
        return self._known.steps(
            series=args.series, hold_s=args.hold_s, points=args.points
        )

    # ------------------------------------------------------------ where

    def on_simulated(self) -> int:
        """On a simulated stand of its own, with hands; the exit status."""
        from daq.link.ports import open_port
        from daq.machine_clock import MachineClock
        from ui.simulated_scale import SimulatedScale

        scale = SimulatedScale(
            MachineClock(), truth=self._args.truth, seed=self._args.seed
        )
        with closing(scale) as hands:
            self._hands = hands
            port = open_port(hands.port)
            try:
                return self._until_done(port, hands.clock, hands.port)
            finally:
                port.close()

    def on_port(self, name: str, baud: int) -> int:
        """On a port, with a person; the exit status."""
        from daq.link.ports import open_port
        from daq.machine_clock import MachineClock

        port = open_port(name, baud)
        self._typed.listen()
        try:
            return self._until_done(port, MachineClock(), name)
        except (KeyboardInterrupt, GramwattError):
            self._end.keep_unfinished()
            raise
        finally:
            port.close()

    # ------------------------------------------------------------ the loop

    def _until_done(self, port: Port, clock: Clock, name: str) -> int:
        from daq.link.conversation import conversation_with

        self._introduce(name)
        session = conversation_with(self._description)
        session.identify(clock.now_s())
        shown_s = clock.now_s()
        while not self._left:
            now_s = clock.now_s()
            self._exchange(port, session, clock, name)
            if self.model.stand is None:
                continue
            self._ask(now_s)
            taken = self.model.poll(now_s)
            if taken is not None:
                self._tell_taken(taken)
            self._tell_said(now_s)
            if self.model.step is None and (status := self._finish()) is not None:
                return status
            self._obey(now_s)
            if now_s - shown_s >= SHOW_PERIOD_S:
                shown_s = now_s
                self._show(now_s)
        self._end.keep_unfinished()
        return LEFT

    def _exchange(
        self, port: Port, session: Conversation, clock: Clock, name: str
    ) -> None:
        """What the stand says, and what it is asked: who it is, and nothing else."""
        write, happenings = session.poll(clock.now_s())
        if write:
            port.write(write)
        happenings += session.receive(port.read(), clock.now_s())
        for happening in happenings:
            self._happened(happening, name, clock.now_s())

    def _happened(self, happening: Happening, name: str, now_s: float) -> None:
        from daq.link import session as s
        from protocols.explain import not_a_stand

        if isinstance(happening, s.WrongVersion | s.NotIdentified):
            outcome = not_a_stand(happening, name)
            raise StandFault(f"{outcome.cause} {outcome.advice}")
        known = self.model.stand is not None
        self.model.hear(happening, now_s)
        if self.model.stand is not None and not known:
            self._identified()

    # ------------------------------------------------------------ what is said

    def _say(self, text: str) -> None:
        out = sys.stderr if self._args.json else sys.stdout
        if out.isatty():
            out.write("\r\x1b[K")
        print(text, file=out, flush=True)

    def _introduce(self, name: str) -> None:
        self._say(wrapped(caution(self._known.channel)))
        if self._hands is not None:
            self._say(
                wrapped(
                    f"SIMULATED stand ({self._hands.specimen}) on {name}, "
                    f"{self._hands.clock.pace:g} times as fast as a real one; its "
                    "masses are set down and its meter is read by this program."
                )
            )
        if self._known.masses is not None:
            for words in self._known.masses.cautions:
                self._say(labelled("caution", words))
        elif self._known.meter is not None:
            self._say(labelled("meter", self._known.meter.words()))

    def _identified(self) -> None:
        stand = self.model.stand
        if stand is None:
            return
        identity = stand.identity
        self._say(
            f"Stand {identity.stand_id:08x} on {identity.board}, firmware "
            f"{identity.firmware_major}.{identity.firmware_minor}."
        )
        if self._args.check:
            self._end.kept(self._hands)  # or there is nothing to check
        if self._args.resume is not None:
            self._end.resume(self._args.resume)
        if self._hands is None:
            self._say(wrapped(KEYS))

    def _ask(self, now_s: float) -> None:
        """Say what is to be done next, once; hands do it at once."""
        step, number = self.model.step, len(self.model.readings)
        if step is None or number == self._told_step or not self.model.hears:
            return
        if self._missed and self._waits_on(now_s):
            return
        self._told_step = number
        lead = f"{number + 1:>4}/{len(self.model.steps)}  "
        self._say(beside(lead, step.words))
        if self._hands is not None:
            self._by_hand(step, now_s)
        elif step.hold_s > 0.0:
            self.model.take(now_s)

    def _waits_on(self, now_s: float) -> bool:
        """Whether a simulated stand that fell silent still is.

        Raises:
            StandFault: it has been for too long, or too often.
        """
        if len(self._missed) > TRIES or now_s - self._missed[0][0] > TRIED_S:
            raise StandFault(self._missed[-1][1])
        live = self.model.live(now_s)
        return live.counts != live.counts

    def _by_hand(self, step: Step, now_s: float) -> None:
        """The simulated somebody does what the step says."""
        hands = self._hands
        if hands is None:
            return
        typed = hands.do(self._known, step.level)
        if typed is not None and step.kind == "load":
            self._say(f"          the meter reads {typed:g} {self._known.typed_in}")
        try:
            self.model.take(now_s, typed)
        except InputFault:
            if not self.model.blocked:
                raise
            self._told_step = -1  # the supply is seen off in a moment

    def _tell_taken(self, taken: Reading) -> None:
        self._missed.clear()
        words = f"{taken.counts:.0f} counts, scatter {taken.sd_counts:.0f}"
        if len(self.model.readings) > 1:
            value_si = self.model.from_zero_si(taken.counts)
            step_si = self.model.apart_si(taken.sd_counts)
            value = resolved(self._known.channel, value_si, step_si)
            words += f"; nominally {value} from zero"
        self._say(f"          {words}")
        masses = self._known.masses
        doubt = "" if masses is None else self.model.doubt(masses)
        if doubt and not self._args.check:
            self._say(wrapped(f"{doubt} {TAKES_BACK}", indent=10))

    def _tell_said(self, now_s: float) -> None:
        said, self.model.said = self.model.said, []
        for words in said:
            self._say(wrapped(words, indent=10))
        if said and self._hands is not None:
            self._missed.append((now_s, said[-1]))
            self._told_step = -1  # this machine was busy: asked for once more

    def _show(self, now_s: float) -> None:
        """The live line, on a terminal."""
        out = sys.stderr if self._args.json else sys.stdout
        if not out.isatty() or self.model.step is None:
            return
        live = self.model.live(now_s)
        if live.counts != live.counts:
            line = "          no reading"
        else:
            still = "steady" if live.steady else f"moving {live.moving_counts:+.0f}"
            step_si = self.model.apart_si(live.noise_counts)
            value = resolved(self._known.channel, live.value_si, step_si)
            line = f"          {value} nominal  {still}"
            if self.model.taking:
                line += f"  taking: {self.model.left_s:.0f} s"
        if self.model.blocked:
            line = f"          {self.model.blocked}"
        width = shutil.get_terminal_size().columns - 1
        out.write("\r\x1b[K" + line[:width])
        out.flush()

    # ------------------------------------------------------------ what is typed

    def _obey(self, now_s: float) -> None:
        word = self._typed.next_word(taking=self.model.taking)
        if word is None:
            return
        if word in LEAVE:
            self._left = True
        elif word in BACK:
            self._undo()
        elif word == "done":
            self._end_early()
        else:
            self._take(word, now_s)

    def _undo(self) -> None:
        self.model.steps = self._steps()
        gone = self.model.undo()
        self._told_step = -1
        self._say(
            "          nothing to take back" if gone is None else "          back"
        )

    def _end_early(self) -> None:
        """No more steps: what was read is what there is."""
        self.model.steps = self.model.steps[: len(self.model.readings)]

    def _take(self, word: str, now_s: float) -> None:
        value: float | None = None
        try:
            if word:
                value = number(word)
            self.model.take(now_s, value)
        except InputFault as fault:
            self._say(wrapped(str(fault), indent=10))

    # ------------------------------------------------------------ the end

    def _finish(self) -> int | None:
        """The exit status; None where a step has to be done again."""
        try:
            reference = self._reference()
            if self._args.check:
                made = self._end.kept(self._hands)
                readings = self.model.readings
                return self._end.verdict(made, reference, readings)
            made = self._made(reference)
        except InputFault as fault:
            if self._hands is not None or not self.model.readings:
                self._end.keep_unfinished()
                raise
            self._say(wrapped(str(fault)))
            self._say(wrapped("u takes steps back, q leaves and keeps what was read."))
            self._wait_for_word()
            return None
        return self._end.keep(made)

    def _wait_for_word(self) -> None:
        """After readings that make no calibration: u or q."""
        if self._typed.leave_or_back() in LEAVE:
            self._left = True
        else:
            self._undo()

    def _reference(self) -> Reference:
        """What the readings are held against, with what was typed of the room."""
        found = self._known.reference(self.model.typed)
        if self._args.temperature_c is None:
            return found
        facts = {**(found.facts or {}), "temperature_c": self._args.temperature_c}
        return replace(found, facts=facts)

    def _made(self, reference: Reference) -> Calibration:
        from daq.machine_clock import utc_now

        return self.model.finish(
            reference,
            utc_now().isoformat(timespec="seconds"),
            specimen="" if self._hands is None else self._hands.specimen,
            simulated=self._hands is not None,
            note=self._args.note,
        )
