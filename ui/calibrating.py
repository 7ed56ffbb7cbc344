"""A channel calibrated step by step: what is to be done next, and what was read.

Fed with what a stand says and with moments; asked to take a reading when a person has
done what a step wants. No port, no clock, no terminal, no Qt: command line and desktop
both walk it. It never asks a stand for anything that turns, and refuses to read while
something does. What was read is never changed; a step can be taken back and done again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from daq.errors import InputFault, StandFault
from daq.link import session as s
from daq.link.messages import Ability
from ui.calibration_doubts import ZEROED_UNIT, check_typed, check_zero, doubt
from ui.calibration_sensed import Sensed

if TYPE_CHECKING:
    from daq.analysis.statistics import WindowMean
    from daq.calibration.readings import Reading
    from daq.calibration.reference import Reference
    from daq.calibration.suspects import Sensor
    from daq.calibration.value import Calibration
    from ui.calibration_steps import Step

#: After something was set down the reading swings: left out (common practice, no
#: source; a converter at ten readings a second needs 0.4 s).
SETTLE_S: Final = 0.8
#: What one reading is averaged over, and how long it may take to come to rest.
WINDOW_S: Final = 2.0
PATIENCE_S: Final = 20.0
#: A reading that moves by less than this share of what is on it, over its window, is
#: steady; creep does that for minutes.
STEADY_SHARE: Final = 4e-4
STEADY_COUNTS: Final = 3.0
#: ... and scatters by no more than so many times what it did when it was calmest.
CALM: Final = 3.0
#: Readings older than this say nothing of now.
FRESH_S: Final = 0.5
SILENT_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class Live:
    """What a channel reads now.

    Attributes:
        counts: mean of the last while; NaN where nothing fresh came.
        value_si: the same by the stand's own constants.
        noise_counts: standard deviation of single readings.
        moving_counts: how far it moved over the last while.
        steady: whether that is little enough.
    """

    counts: float
    value_si: float
    noise_counts: float
    moving_counts: float
    steady: bool


NOTHING: Final = Live(math.nan, math.nan, math.nan, math.nan, steady=False)


@dataclass(slots=True)
class _Taking:
    """A reading that was asked for."""

    asked_s: float
    from_device_s: float
    typed: float | None
    as_it_is: bool


class Calibrating:
    """One calibration on its way.

    Attributes:
        steps: all of them.
        readings: what was read, one for each step done.
        typed: what the meter read at each level, where one is used.
        direct: whether a meter reads what the channel reads.
        said: sentences that nobody took yet, oldest first.
    """

    def __init__(
        self,
        channel: str,
        steps: Sequence[Step],
        *,
        needs_supply_off: bool,
        direct: bool = True,
        typed_in: str = "",
        typed_si: float = 1.0,
    ) -> None:
        """Begin.

        Args:
            channel: to be calibrated.
            steps: what is to be done.
            needs_supply_off: whether nothing is read while the motor's supply is on.
            direct: whether a meter reads what the channel reads, and no volts across
                a load instead.
            typed_in: unit of what the meter shows, where that is not the channel's.
            typed_si: SI for one of that.
        """
        self.steps = tuple(steps)
        self.readings: list[Reading] = []
        self.typed: dict[int, float] = {}
        self.said: list[str] = []
        self.direct = direct
        self._typed_in, self._typed_si = typed_in, typed_si
        self._sensed = Sensed(channel, needs_supply_off=needs_supply_off)
        self._taking: _Taking | None = None
        self._unsteady_at = -1

    # ------------------------------------------------------------ what is heard

    def hear(self, happening: s.Happening, now_s: float) -> None:
        """One thing that the stand said.

        Raises:
            InputFault: it has no such channel.
            StandFault: it began anew, and what was read may be of another zero.
        """
        if isinstance(happening, s.Restarted) and self.readings:
            raise StandFault(
                "The stand restarted in the middle of it, so its zero may be another: "
                "look at its supply and cable, and begin again."
            )
        self._sensed.hear(happening, now_s)

    # ------------------------------------------------------------ what is shown

    @property
    def channel(self) -> str:
        """Which channel is calibrated."""
        return self._sensed.channel

    @property
    def stand(self) -> s.Stand | None:
        """Who is there; None before it said so."""
        return self._sensed.stand

    @property
    def sensor(self) -> Sensor | None:
        """What the stand declares of the channel; None before it is known."""
        return self._sensed.sensor

    @property
    def blocked(self) -> str:
        """Why nothing may be read now, a sentence; "" where it may."""
        return self._sensed.blocked

    @property
    def step(self) -> Step | None:
        """What is to be done next; None when all is done."""
        done = len(self.readings)
        return self.steps[done] if done < len(self.steps) else None

    @property
    def hears(self) -> bool:
        """Whether readings of the channel come."""
        return self.stand is not None and self._sensed.newest is not None

    @property
    def taking(self) -> bool:
        """Whether a reading was asked for and is not there yet."""
        return self._taking is not None

    @property
    def left_s(self) -> float:
        """How long until the reading that was asked for can be there; 0 for none."""
        newest = self._sensed.newest
        if self._taking is None or newest is None:
            return 0.0
        return max(0.0, self._taking.from_device_s + WINDOW_S - newest[0])

    def live(self, now_s: float) -> Live:
        """What the channel reads now."""
        newest = self._sensed.newest
        if newest is None or now_s - self._sensed.newest_s > FRESH_S:
            return NOTHING
        found = self._sensed.mean(newest[0] - WINDOW_S / 2.0)
        if found is None:
            return NOTHING
        value = self._sensed.to_si(found.mean)
        steady = self._steady(found)
        return Live(found.mean, value, found.sd, found.change, steady)

    def from_zero_si(self, counts: float) -> float:
        """Counts from the first zero, by the stand's own constants; 0 before it."""
        zero = self.readings[0].counts if self.readings else counts
        return self._sensed.to_si(counts) - self._sensed.to_si(zero)

    def apart_si(self, counts: float) -> float:
        """How far so many counts are apart, and one at least, by the same constants."""
        return abs(self._sensed.to_si(max(1.0, counts)) - self._sensed.to_si(0.0))

    # ------------------------------------------------------------ what is done

    def take(self, now_s: float, typed: float | None = None) -> None:
        """A person has done what the step wants: read it.

        Args:
            now_s: host time.
            typed: what the meter reads, where one is used.

        Raises:
            InputFault: it may not be read now, or a figure is missing or none.
        """
        step = self.step
        if step is None or self._taking is not None:
            return
        if self.blocked:
            raise InputFault(self.blocked)
        newest = self._sensed.newest
        sensor = self.sensor
        if sensor is None or newest is None:
            raise InputFault(f"The stand sends no reading of {self.channel} yet.")
        nominal = self._sensed.to_si(newest[1])
        if step.kind == "zero":
            check_zero(nominal, sensor.unit)
        else:
            done = self.typed.values()
            unit = "" if sensor.unit == ZEROED_UNIT else self._typed_in or sensor.unit
            shown = nominal / self._typed_si
            check_typed(typed, done, shown, unit, direct=self.direct)
        again = self._unsteady_at == len(self.readings)
        begin_s = newest[0] + SETTLE_S + step.hold_s
        self._taking = _Taking(now_s, begin_s, typed, again)

    def poll(self, now_s: float) -> Reading | None:
        """The reading that was asked for, once it is there.

        Where it comes to nothing, why goes to ``said``, and it may be asked for again.
        """
        taking, step = self._taking, self.step
        if taking is None or step is None:
            return None
        newest = self._sensed.newest
        newest_s = -math.inf if newest is None else newest[0]
        whole = newest_s >= taking.from_device_s + WINDOW_S
        found = self._sensed.mean(newest_s - WINDOW_S) if whole else None
        why_not = self._why_not(now_s, found, whole=whole)
        if why_not:
            self._give_up(why_not)
        elif found is not None and (self._steady(found) or taking.as_it_is):
            return self._taken(step, taking.typed, found, newest_s)
        elif now_s - taking.asked_s - step.hold_s > PATIENCE_S:
            self._unsteady_at = len(self.readings)
            moved = math.nan if found is None else abs(found.change)
            self._give_up(
                f"It does not come to rest: it still moves by {moved:.0f} counts in "
                f"{WINDOW_S:g} s. Look for a draught, a hanging mass or a hand; ask "
                "again, and it is taken as it is."
            )
        return None

    def _why_not(self, now_s: float, found: WindowMean | None, *, whole: bool) -> str:
        """Why no reading can be had, a sentence; "" where one can, or can yet."""
        if self.blocked:
            return self.blocked
        if now_s - self._sensed.newest_s > SILENT_S:
            return "The stand has stopped sending; look at its cable."
        if whole and found is None:
            return "Too few readings came; look at the link with 'gramwatt watch'."
        return ""

    def _give_up(self, words: str) -> None:
        self._taking = None
        self.said.append(words)

    def _steady(self, found: WindowMean) -> bool:
        """Whether it moves by little enough to be read.

        A step within the window is no trend that stands out, but a scatter that does.
        """
        zeros = [r.counts for r in self.readings if r.kind == "zero"]
        load = abs(found.mean - zeros[-1]) if zeros else 0.0
        little = max(STEADY_COUNTS, STEADY_SHARE * load)
        still = abs(found.change) <= little or not found.trending
        calm = min((r.sd_counts for r in self.readings), default=math.inf)
        return still and found.sd <= max(little, CALM * calm)

    def _taken(
        self, step: Step, typed: float | None, found: WindowMean, newest_s: float
    ) -> Reading:
        self._taking = None
        counts = [n for _, n in self._sensed.since(newest_s - WINDOW_S)]
        # A single bad conversion at the end of the range is no saturated sensor.
        low, high = np.quantile(counts, (0.05, 0.95), method="nearest")
        at_s = newest_s - WINDOW_S / 2.0
        taken = step.reading(found, int(low), int(high), at_s)
        self.readings.append(taken)
        if typed is not None and step.kind == "load":
            self.typed[step.level] = typed
        return taken

    def doubt(self, reference: Reference) -> str:
        """Why the newest reading cannot be of what should be on it; "" where it can."""
        return doubt(self.readings, reference)

    def undo(self) -> Reading | None:
        """Take the last step back; what it read, or None where there was none."""
        self._taking = None
        if not self.readings:
            return None
        gone = self.readings.pop()
        self.typed.pop(gone.level, None)
        return gone

    def resume(self, readings: Sequence[Reading], typed: dict[int, float]) -> int:
        """Go on from what was read before; a series that was not ended is begun anew.

        Returns:
            How many of the readings are kept.
        """
        ends = [
            place + 1
            for place in range(len(readings))
            if place + 1 == len(self.steps)
            or self.steps[place + 1].series != self.steps[place].series
        ]
        whole = max([end for end in ends if end <= len(readings)], default=0)
        fits = all(
            (reading.kind, reading.level) == (step.kind, step.level)
            for reading, step in zip(readings, self.steps, strict=False)
        )
        kept = list(readings[:whole]) if fits else []
        self.readings = kept
        self.typed = {r.level: typed[r.level] for r in kept if r.level in typed}
        return len(kept)

    def unfinished(self, utc: str) -> str:
        """What was read so far, as text to go on from; "" where nothing was."""
        from daq.calibration.text import unfinished_to_text

        if not self.readings or self.stand is None:
            return ""
        stand_id = self.stand.identity.stand_id
        return unfinished_to_text(
            self.channel, stand_id, utc, self.readings, self.typed
        )

    def finish(
        self,
        reference: Reference,
        made_utc: str,
        *,
        specimen: str = "",
        simulated: bool = False,
        note: str = "",
    ) -> Calibration:
        """The calibration that follows from what was read.

        Raises:
            InputFault: why none does.
        """
        from daq.calibration.making import calibrate
        from daq.calibration.value import Subject

        sensor, stand = self.sensor, self.stand
        if sensor is None or stand is None:
            raise InputFault("The stand never said who it is.")
        subject = Subject(
            channel=self.channel,
            unit=sensor.unit,
            stand_id=stand.identity.stand_id,
            specimen=specimen,
            simulated=simulated or Ability.SIMULATED in stand.identity.abilities,
        )
        return calibrate(self.readings, reference, sensor, subject, made_utc, note=note)
