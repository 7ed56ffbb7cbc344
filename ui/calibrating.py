"""A channel calibrated step by step: what is to be done next, and what was read.

Fed with what a stand says and with moments; asked to take a reading when a person has
done what a step wants. No port, no clock, no terminal, no Qt: command line and desktop
both walk it. It never asks a stand for anything that turns, and refuses to read while
something does. What was read is never changed; a step can be taken back and done again.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from daq.analysis.statistics import MIN_READINGS, WindowMean, window_mean
from daq.calibration.readings import Reading
from daq.calibration.suspects import Sensor
from daq.errors import InputFault, StandFault
from daq.link import session as s
from daq.link.messages import Ability

if TYPE_CHECKING:
    from daq.calibration.reference import Reference
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
#: A reading further than this from what it should be, as a share of the largest load so
#: far, is told at once.
DOUBT_SHARE: Final = 0.02
#: Beyond this speed the motor turns, and above this voltage its supply is on.
TURNING_RAD_S: Final = 5.0
SUPPLY_OFF_V: Final = 1.0
#: What is typed is within this factor of what the stand's constants say, or in another
#: unit; of less than this, in SI, nothing can be said.
FAR: Final = 5.0
LEAST_NOMINAL: Final = 0.2
#: Readings older than this say nothing of now.
FRESH_S: Final = 0.5
SILENT_S: Final = 2.0
MOST_READINGS: Final = 4096
ZEROED_UNIT: Final = "N"


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
        channel: which.
        steps: all of them.
        readings: what was read, one for each step done.
        typed: what the meter read at each level, where one is used.
        direct: whether a meter reads what the channel reads.
        said: sentences that nobody took yet, oldest first.
        stand: who is there; None before it said so.
    """

    def __init__(
        self,
        channel: str,
        steps: Sequence[Step],
        *,
        needs_supply_off: bool,
        direct: bool = True,
    ) -> None:
        """Begin.

        Args:
            channel: to be calibrated.
            steps: what is to be done.
            needs_supply_off: whether nothing is read while the motor's supply is on.
            direct: whether a meter reads what the channel reads, and no volts across
                a load instead.
        """
        self.channel = channel
        self.steps = tuple(steps)
        self.readings: list[Reading] = []
        self.typed: dict[int, float] = {}
        self.said: list[str] = []
        self.stand: s.Stand | None = None
        self.direct = direct
        self._needs_supply_off = needs_supply_off
        self._window: deque[tuple[float, int]] = deque(maxlen=MOST_READINGS)
        self._others: dict[str, float] = {}
        self._state = ""
        self._taking: _Taking | None = None
        self._unsteady_at = -1
        self._newest_s = -math.inf

    # ------------------------------------------------------------ what is heard

    def hear(self, happening: s.Happening, now_s: float) -> None:
        """One thing that the stand said.

        Raises:
            InputFault: it has no such channel.
            StandFault: it began anew, and what was read may be of another zero.
        """
        if isinstance(happening, s.Identified):
            self._identified(happening.stand)
        elif isinstance(happening, s.Sampled):
            self._sampled(happening, now_s)
        elif isinstance(happening, s.StateTold):
            self._state = happening.message.state.name.lower()
        elif isinstance(happening, s.Restarted) and self.readings:
            raise StandFault(
                "The stand restarted in the middle of it, so its zero may be another: "
                "look at its supply and cable, and begin again."
            )

    def _identified(self, stand: s.Stand) -> None:
        """Take note of who it is.

        Raises:
            InputFault: it has no such channel.
        """
        if stand.channel(self.channel) is None:
            names = ", ".join(page.name for page in stand.channels)
            raise InputFault(
                f"This stand has no channel {self.channel}; it has {names}."
            )
        self.stand = stand

    def _sampled(self, sampled: s.Sampled, now_s: float) -> None:
        for page, count in zip(sampled.layout.channels, sampled.counts, strict=True):
            if page.name == self.channel:
                if count != page.no_reading:
                    self._window.append((sampled.device_s, count))
                    self._newest_s = now_s
            elif page.name in ("speed", "voltage"):
                self._others[page.name] = page.to_si(count)

    # ------------------------------------------------------------ what is shown

    @property
    def sensor(self) -> Sensor | None:
        """What the stand declares of the channel; None before it is known."""
        page = self.stand.channel(self.channel) if self.stand else None
        if page is None:
            return None
        return Sensor(
            page.name,
            page.quantity.unit,
            page.counts_per_unit,
            page.low_counts,
            page.high_counts,
        )

    @property
    def step(self) -> Step | None:
        """What is to be done next; None when all is done."""
        done = len(self.readings)
        return self.steps[done] if done < len(self.steps) else None

    @property
    def hears(self) -> bool:
        """Whether readings of the channel come."""
        return self.stand is not None and bool(self._window)

    @property
    def taking(self) -> bool:
        """Whether a reading was asked for and is not there yet."""
        return self._taking is not None

    @property
    def left_s(self) -> float:
        """How long until the reading that was asked for can be there; 0 for none."""
        if self._taking is None or not self._window:
            return 0.0
        end_s = self._taking.from_device_s + WINDOW_S
        return max(0.0, end_s - self._window[-1][0])

    @property
    def blocked(self) -> str:
        """Why nothing may be read now, a sentence; "" where it may."""
        speed = self._others.get("speed", 0.0)
        if speed > TURNING_RAD_S:
            return "The motor turns. Nothing is calibrated while it does: stop it."
        if self._state in ("armed", "spinning", "proving"):
            return f"The stand is {self._state}; it has to be locked."
        volts = self._others.get("voltage", 0.0)
        if self._needs_supply_off and volts > SUPPLY_OFF_V:
            return (
                f"The motor's supply is on ({volts:.1f} V). Take the pack off, or pull "
                "the plug: hands are at the propeller now."
            )
        return ""

    def live(self, now_s: float) -> Live:
        """What the channel reads now."""
        page = self.stand.channel(self.channel) if self.stand else None
        if page is None or now_s - self._newest_s > FRESH_S or not self._window:
            return NOTHING
        found = self._mean(self._window[-1][0] - WINDOW_S / 2.0)
        if found is None:
            return NOTHING
        value = (found.mean - page.zero_counts) / page.counts_per_unit
        steady = self._steady(found)
        return Live(found.mean, value, found.sd, found.change, steady)

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
        if not self.hears:
            raise InputFault(f"The stand sends no reading of {self.channel} yet.")
        self._check_typed(step, typed)
        again = self._unsteady_at == len(self.readings)
        begin_s = self._window[-1][0] + SETTLE_S + step.hold_s
        self._taking = _Taking(now_s, begin_s, typed, again)

    def _check_typed(self, step: Step, typed: float | None) -> None:
        """Whether what was typed fits the step.

        Raises:
            InputFault: it does not.
        """
        sensor = self.sensor
        if sensor is None or sensor.unit == ZEROED_UNIT:
            return
        page = self.stand.channel(self.channel) if self.stand else None
        nominal = math.nan if page is None else page.to_si(self._window[-1][1])
        if step.kind == "zero":
            if sensor.unit == "V" and abs(nominal) > SUPPLY_OFF_V:
                raise InputFault(
                    f"The channel reads {nominal:.1f} V: switch the supply off, or "
                    "take the pack off, for its zero."
                )
            return
        if typed is None or not math.isfinite(typed):
            raise InputFault("Type what the meter reads, such as 11.08.")
        if typed == 0.0 or typed in self.typed.values():
            raise InputFault(f"{typed:g} was taken already; set another value.")
        self._check_unit(typed, nominal, sensor.unit)

    def _check_unit(self, typed: float, nominal: float, unit: str) -> None:
        """Whether what was typed can be in the unit.

        Raises:
            InputFault: it is far from what the stand's own constants say.
        """
        if not self.direct or abs(nominal) < LEAST_NOMINAL:
            return
        if not 1.0 / FAR <= abs(typed / nominal) <= FAR:
            raise InputFault(
                f"By its own constants the stand reads {nominal:.3g} {unit}, and "
                f"{typed:g} was typed: is that in {unit}?"
            )

    def poll(self, now_s: float) -> Reading | None:
        """The reading that was asked for, once it is there.

        Where it comes to nothing, why goes to ``said``, and it may be asked for again.
        """
        taking, step = self._taking, self.step
        if taking is None or step is None:
            return None
        newest_s = self._window[-1][0] if self._window else -math.inf
        whole = newest_s >= taking.from_device_s + WINDOW_S
        found = self._mean(newest_s - WINDOW_S) if whole else None
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
        if now_s - self._newest_s > SILENT_S:
            return "The stand has stopped sending; look at its cable."
        if whole and found is None:
            return "Too few readings came; look at the link with 'gramwatt watch'."
        return ""

    def _give_up(self, words: str) -> None:
        self._taking = None
        self.said.append(words)

    def _mean(self, from_s: float) -> WindowMean | None:
        """The mean since a moment of the device; None where too little came."""
        recent = [(at, count) for at, count in self._window if at >= from_s]
        if len(recent) < MIN_READINGS:
            return None
        table = np.array(recent, dtype=np.float64)
        found = window_mean(table[:, 0], table[:, 1], 1.0)
        return found if math.isfinite(found.mean) else None

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
        counts = np.array([n for at, n in self._window if at >= newest_s - WINDOW_S])
        # A single bad conversion at the end of the range is no saturated sensor.
        low, high = np.quantile(counts, (0.05, 0.95), method="nearest")
        taken = Reading(
            kind=step.kind,
            series=step.series,
            leg=step.leg,
            level=step.level,
            counts=found.mean,
            u_counts=found.u,
            sd_counts=found.sd,
            low_counts=int(low),
            high_counts=int(high),
            count=found.count,
            at_s=newest_s - WINDOW_S / 2.0,
        )
        self.readings.append(taken)
        if typed is not None and step.kind == "load":
            self.typed[step.level] = typed
        return taken

    def doubt(self, reference: Reference) -> str:
        """Why the newest reading cannot be of what should be on it; "" where it can.

        By the readings before it, so that a slip is told while it can be mended by
        one step back.
        """
        newest, zero = self.readings[-1], self.readings[0]
        pairs = []
        for reading in self.readings:
            if reading.kind == "load":
                known = reference.levels[reading.level].value_si
                pairs.append((known, reading.counts - zero.counts))
        if newest.kind == "zero" and pairs:
            most = max(abs(moved) for _, moved in pairs)
            if abs(newest.counts - zero.counts) > DOUBT_SHARE * most:
                return (
                    "It does not come back to where it began: look whether everything "
                    "is off and nothing touches; u takes this reading back."
                )
        if newest.kind != "load" or len(pairs) < 2:
            return ""
        known, moved = pairs[-1]
        scale = float(np.median([counts / value for value, counts in pairs[:-1]]))
        largest = max(abs(value) for value, _ in pairs)
        seems = moved / scale
        if abs(seems - known) <= DOUBT_SHARE * largest:
            return ""
        return (
            f"By the steps before, that is {100.0 * seems / known:.0f} % of "
            f"{reference.levels[newest.level].name}. Look what is on it; u takes this "
            "reading back."
        )

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
