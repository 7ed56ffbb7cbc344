"""A channel calibrated in the window: the same walk as in the terminal, without Qt.

Hears what the stand on the Bench says, and never asks it for anything. On a simulated
stand of this program's own the masses are set down by the program, since nobody can
reach in. What was read is kept when the room is left in the middle.
"""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Final

from daq.calibration.meter import meter_from
from daq.calibration.standards import masses_of
from daq.calibration.text import to_text
from daq.calibration.value import Calibration
from daq.errors import GramwattError, InputFault
from daq.link import session as s
from daq.records.kept import keep, keep_unfinished
from ui.calibrating import Calibrating, Live
from ui.calibration_known import Known, standards_in
from ui.calibration_steps import UNITS
from ui.calibration_words import caution, resolved, told, worse
from ui.calibrations import kept_calibrations, latest

CHANNELS: Final = tuple(UNITS)
USUAL: Final = CHANNELS[:3]

Row = tuple[str, str, str, str, str]
"""A reading: which step, what was on it, nominally from zero, counts, scatter."""
Place = Callable[[float], None]
"""Sets down so many newton on a simulated stand."""


class Scaling:
    """What the Scale room is about.

    Attributes:
        model: the calibration on its way; None where none is.
        channel: that is calibrated, or was last.
        fault: what is wrong, a sentence; "" for nothing.
        made: the calibration that came of it; None before.
    """

    def __init__(self, utc_now: Callable[[], datetime]) -> None:
        """Begin with nothing on its way.

        Args:
            utc_now: tells the date.
        """
        self.model: Calibrating | None = None
        self.channel = CHANNELS[0]
        self.fault = ""
        self.made: Calibration | None = None
        self._utc_now = utc_now
        self._known: Known | None = None
        self._place: Place | None = None
        self._specimen = ""
        self._worse = ""

    # ------------------------------------------------------------ beginning, ending

    def begin(
        self,
        channel: str,
        *,
        stand: s.Stand,
        standards: Path | None = None,
        meter: str = "",
        place: Place | None = None,
        specimen: str = "",
    ) -> None:
        """Lay out the steps; what is wrong goes to ``fault``.

        Args:
            channel: one of ``CHANNELS``.
            stand: who is there.
            standards: masses, for thrust; on a simulated stand of its own the example.
            meter: how good it is, for current and voltage, such as "0.5% + 2 x 0.01".
            place: sets masses down, on a simulated stand of its own.
            specimen: which simulated stand that is.
        """
        self.channel, self.fault, self.made = channel, "", None
        self._place, self._specimen = place, specimen
        try:
            self._known = self._held_against(channel, standards, meter)
            self.model = self._known.walk(self._known.steps())
            self.model.hear(s.Identified(stand), 0.0)
        except GramwattError as fault:
            self.model, self.fault = None, str(fault)
            return
        self._set_down()

    def _held_against(self, channel: str, standards: Path | None, meter: str) -> Known:
        """What a channel is held against here.

        Raises:
            InputFault: what is missing or wrong.
        """
        own = self._place is not None
        if channel != "thrust":
            if own:
                raise InputFault(
                    f"On a simulated stand {channel} is calibrated in a terminal: "
                    f"'gramwatt calibrate --simulated {channel}'. Thrust can be, here."
                )
            return Known(channel, meter_from(meter))
        if standards is None and not own:
            raise InputFault(
                "Thrust is calibrated with masses: choose the file that says what you "
                "have. 'gramwatt calibrate --example-standards' prints one to copy."
            )
        return Known(channel, masses_of(standards_in(standards)))

    def leave(self) -> str:
        """Give it up; where what was read is kept, a sentence, or ""."""
        model, self.model = self.model, None
        text = model.unfinished(self._now()) if model else ""
        if model is None or not text:
            return ""
        return f"What was read is kept in {keep_unfinished(model.channel, text)}."

    def _now(self) -> str:
        return self._utc_now().isoformat(timespec="seconds")

    # ------------------------------------------------------------ the walk

    def hear(self, happening: s.Happening, now_s: float) -> None:
        """One thing that the stand said."""
        if self.model is None:
            return
        try:
            self.model.hear(happening, now_s)
        except GramwattError as fault:
            self.fault, self.model = str(fault), None

    def step(self, now_s: float) -> None:
        """See whether what was asked for is there, and finish when all is."""
        model = self.model
        if model is None:
            return
        taken = model.poll(now_s)
        said, model.said = model.said, []
        if said:
            self.fault = said[-1]
        if taken is None:
            return
        self.fault = ""
        if self._known is not None and self._known.masses is not None:
            self.fault = model.doubt(self._known.masses)
        if model.step is None:
            self._finish(model)
        else:
            self._set_down()

    def _set_down(self) -> None:
        """Do what the step wants, where this program has the hands."""
        masses = self._known.masses if self._known else None
        step = self.model.step if self.model else None
        if self._place is None or masses is None or step is None:
            return
        if step.kind == "load":
            self._place(masses.levels[step.level].value_si)
        elif step.kind == "zero":
            self._place(0.0)

    def take(self, now_s: float, typed: float | None = None) -> None:
        """A person has done what the step wants."""
        if self.model is None:
            return
        self.fault = ""
        try:
            self.model.take(now_s, typed)
        except InputFault as fault:
            self.fault = str(fault)

    def undo(self) -> None:
        """Take the last reading back."""
        if self.model is not None:
            self.fault = ""
            self.model.undo()
            self._set_down()

    def _finish(self, model: Calibrating) -> None:
        if self._known is None:
            return
        try:
            made = model.finish(
                self._known.reference(model.typed),
                self._now(),
                specimen=self._specimen,
                simulated=self._place is not None,
            )
            self._worse = worse(made, kept_calibrations())
            keep(made.id, to_text(made))
        except GramwattError as fault:
            self.fault = f"{fault} Take readings back, or give it up."
            return
        self.made, self.model = made, None

    # ------------------------------------------------------------ what is shown

    @property
    def needs_typing(self) -> bool:
        """Whether the step wants what a meter reads."""
        step = self.model.step if self.model else None
        return (
            bool(self._known and self._known.meter)
            and step is not None
            and step.kind == "load"
        )

    @property
    def caution(self) -> str:
        """What must be minded while this channel is calibrated."""
        return caution(self.channel)

    def words(self) -> tuple[str, str]:
        """Which step it is of how many, and what is to be done."""
        model = self.model
        step = model.step if model else None
        if model is None or step is None:
            return "", ""
        place = f"Step {len(model.readings) + 1} of {len(model.steps)}"
        return place, step.words

    def reads(self, now_s: float) -> tuple[str, str]:
        """What the channel reads, and whether it is steady, in words."""
        model = self.model
        if model is None:
            return "", ""
        live: Live = model.live(now_s)
        if live.counts != live.counts:
            return "\N{EN DASH}", "no reading"
        value_si = model.from_zero_si(live.counts)
        value = resolved(self.channel, value_si, model.apart_si(live.noise_counts))
        if model.taking:
            return value, f"reading: {model.left_s:.0f} s left"
        still = "steady" if live.steady else "moving"
        return value, f"{still}, nominally from zero, {live.counts:.0f} counts"

    def rows(self) -> list[Row]:
        """What was read so far, the newest first."""
        model, known = self.model, self._known
        if model is None or known is None:
            return []
        found: list[Row] = []
        for number, (step, reading) in enumerate(
            zip(model.steps, model.readings, strict=False), 1
        ):
            what = "nothing on it"
            if step.kind != "zero" and known.masses is not None:
                what = known.masses.levels[step.level].name
            elif step.kind != "zero":
                what = f"{model.typed.get(step.level, 0.0):g} {known.typed_in}"
            if step.kind == "held":
                what += ", held"
            nominal = resolved(
                self.channel,
                model.from_zero_si(reading.counts),
                model.apart_si(reading.sd_counts),
            )
            counts, scatter = f"{reading.counts:.0f}", f"{reading.sd_counts:.0f}"
            found.append((f"{number}", what, nominal, counts, scatter))
        return found[::-1]

    def told(self) -> list[tuple[str, str]]:
        """What the calibration says that was made."""
        if self.made is None:
            return []
        caution = [("caution", self._worse)] if self._worse else []
        return caution + told(self.made)


def channels_of(stand: s.Stand | None) -> list[str]:
    """What can be calibrated on a stand; without one what every stand may read."""
    if stand is None:
        return list(USUAL)
    there = [name for name in CHANNELS if stand.channel(name) is not None]
    return there or list(USUAL)


def kept_of(stand: s.Stand | None, specimen: str) -> list[tuple[str, str]]:
    """What is kept for a stand: channel, and how well it is known or that it is not."""
    if stand is None:
        return []
    there = kept_calibrations()
    found = []
    for channel in CHANNELS:
        if stand.channel(channel) is None:
            continue
        made = latest(there, channel, stand.identity.stand_id, specimen)
        words = "nominal, not calibrated"
        if made is not None:
            known = dict(told(made)).get("known to", "")
            words = (
                f"calibrated {made.made_utc[:10]}, known to {known.partition(';')[0]}"
            )
        found.append((channel, words))
    return found
