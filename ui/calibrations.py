"""Which calibration a channel gets: kept ones into a run's header, and back out.

A run's header carries the whole text of every calibration that may serve it, since the
stand is not known before its port is opened; which of them fit is found here, when the
run is read. An old run can be read with others in their place. Nothing here measures.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from daq.analysis.scale import Scale
    from daq.analysis.series import Series
    from daq.calibration.use import Use
    from daq.calibration.value import Calibration
    from daq.records.read import Run

HEADER: Final = "calibrations"
CHECKED: Final = "checked"
SPECIMEN: Final = "specimen"
GIVEN: Final = "given"  # asked for by a person, instead of what the run came with
EXTREMES: Final = ("-high", "-low")
MOST: Final = 24
#: Beyond its range by less than this a channel is not said to be: noise about an end,
#: and for thrust a zero that another motor's weight has moved.
NOISE_SHARE: Final = 0.02
MOVED_SHARE: Final = 0.1


def channel_of(name: str) -> str:
    """The channel whose sensor a channel's readings come from."""
    for ending in EXTREMES:
        name = name.removesuffix(ending)
    return name


# ------------------------------------------------------------------ the shelf


def kept_calibrations() -> list[Calibration]:
    """Every calibration on the shelf that can be read, oldest first."""
    from daq.calibration.text import from_text
    from daq.errors import InputFault
    from daq.records.kept import kept

    found = []
    for path, text in kept():
        try:
            found.append(from_text(text, str(path)))
        except InputFault:
            continue
    return sorted(found, key=_age)


def read_calibration(path: Path) -> Calibration:
    """A calibration that a person names.

    Raises:
        InputFault: it cannot be read or is none.
    """
    from daq.calibration.text import from_text
    from daq.text_file import read_text

    return from_text(read_text(path), str(path))


def latest(
    found: Iterable[Calibration], channel: str, stand_id: int, specimen: str
) -> Calibration | None:
    """The newest calibration of a channel of a stand."""
    own = [
        made
        for made in found
        if (made.subject.channel, made.subject.stand_id, made.subject.specimen)
        == (channel, stand_id, specimen)
    ]
    return max(own, key=_age, default=None)


def _age(made: Calibration) -> tuple[str, int]:
    """Later ones later; what a mounting changes is added to one afterwards."""
    return made.made_utc, len(made.biases)


def passed_checks(identity: str) -> list[str]:
    """When a kept calibration passed a short check."""
    from daq.records.kept import checks

    return [
        str(check.get("utc"))
        for check in checks(identity)
        if check.get("passed") is True
    ]


def that_may_serve(*, own: bool, specimen: str) -> list[Calibration]:
    """The newest calibration of each channel of each stand that it may turn out to be.

    Args:
        own: on a simulated stand that was started for it.
        specimen: which one that is; "" if that is not said.
    """
    if own and not specimen:
        return []
    newest: dict[tuple[str, int], Calibration] = {}
    for made in kept_calibrations():
        if made.subject.specimen == specimen:
            newest[made.subject.channel, made.subject.stand_id] = made
    return sorted(newest.values(), key=_age)[-MOST:]


def for_header(*, own: bool, specimen: str) -> dict[str, object]:
    """What the shelf adds to the header of a run that is about to begin.

    Args:
        own: on a simulated stand that was started for it.
        specimen: which one that is; "" if that is not said.

    Returns:
        All that may serve, whole; nothing where there is none.
    """
    from daq.calibration.text import to_dict

    chosen = that_may_serve(own=own, specimen=specimen)
    if not chosen:
        return {}
    checks = {made.id: passed_checks(made.id) for made in chosen}
    return {
        SPECIMEN: specimen,
        HEADER: [to_dict(made) for made in chosen],
        CHECKED: {name: passed for name, passed in checks.items() if passed},
    }


# ------------------------------------------------------------------ a run


def with_calibrations(run: Run, given: Sequence[Calibration]) -> Run:
    """The run as if it had come with other calibrations; its record stays as it is.

    Raises:
        InputFault: one is of another stand or of a channel that the run has not, or
            two are of one channel.
    """
    from daq.calibration.text import to_dict
    from daq.calibration.use import fits
    from daq.errors import InputFault

    if not given:
        return run
    if run.stand is None:
        raise InputFault(
            f"The record in {run.folder} does not say who the stand is, so no "
            "calibration can be of it."
        )
    channels = [made.subject.channel for made in given]
    for made in given:
        channel = made.subject.channel
        if run.stand.channel(channel) is None:
            raise InputFault(f"The run has no channel {channel} for {made.id}.")
        if channels.count(channel) > 1:
            raise InputFault(f"Two calibrations of {channel} were given; give one.")
        specimen = run.header.get(SPECIMEN)
        subject = made.subject
        as_recorded = subject.specimen if specimen is None else str(specimen)
        stand_id = run.stand.identity.stand_id
        fits(made, channel, stand_id, as_recorded, simulated=run.simulated)
    checked = {made.id: passed_checks(made.id) for made in given}
    more = {GIVEN: [to_dict(made) for made in given], CHECKED: checked}
    return replace(run, header={**run.header, **more})


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What a run is read by.

    Attributes:
        uses: by channel.
        unused: what is in doubt of those that the record has, in sentences.
    """

    uses: Mapping[str, Use]
    unused: tuple[str, ...] = ()

    def of(self, name: str) -> Use | None:
        """What a channel, or the extreme of one, is read by."""
        return self.uses.get(channel_of(name))

    @property
    def name(self) -> str:
        """A short name for what is derived with it; "" for none."""
        checks = [use.calibration.id.rsplit("-", 1)[-1] for use in self.uses.values()]
        return "-".join(["calibrated", *sorted(checks)]) if checks else ""

    @property
    def gravity_m_s2(self) -> float:
        """By what masses became the forces that thrust is counted in.

        A weight that is held against thrust has to be taken with the same.
        """
        from daq.units import STANDARD_GRAVITY_M_S2

        use = self.uses.get("thrust")
        value = None if use is None else use.calibration.facts.get("gravity_m_s2")
        return float(value) if isinstance(value, int | float) else STANDARD_GRAVITY_M_S2

    def cautions(self) -> list[str]:
        """What has to be known of them, in sentences."""
        told = [words for use in self.uses.values() for words in use.cautions]
        return [*told, *self.unused]


def calibrated(run: Run) -> Calibrated:
    """The calibrations that a run's record has for its stand.

    One that a person gave goes before what the run came with; of these the newest that
    fits. What cannot be read is told, and not used.
    """
    from daq.errors import InputFault

    found: dict[str, Calibration] = {}
    unused = []
    for where in (HEADER, GIVEN):
        kept = run.header.get(where)
        for entry in kept if isinstance(kept, list) else []:
            try:
                made = _read(json.dumps(entry), f"a calibration in {run.folder}")
            except InputFault as fault:
                unused.append(str(fault))
                continue
            if _serves(made, run):
                found[made.subject.channel] = made
    unused += [
        f"The calibration {made.id} is of a simulated stand ({made.subject.specimen}), "
        "and the record does not say whether it was on that one."
        for made in found.values()
        if made.subject.specimen and SPECIMEN not in run.header
    ]
    return Calibrated({name: _use(made, run) for name, made in found.items()},
                      tuple(unused))  # fmt: skip


def idle_in(run: Run) -> frozenset[str]:
    """Ids of the calibrations that a record came with and that nothing is read by.

    They are of whatever else was on the shelf that day. What cannot be read is not
    among them: that it is there is told.
    """
    from daq.errors import InputFault

    used = {use.calibration.id for use in calibrated(run).uses.values()}
    idle = set()
    kept = run.header.get(HEADER)
    for entry in kept if isinstance(kept, list) else []:
        try:
            made = _read(json.dumps(entry), f"a calibration in {run.folder}")
        except InputFault:
            continue
        if made.id not in used:
            idle.add(made.id)
    return frozenset(idle)


@lru_cache(maxsize=64)
def _read(text: str, where: str) -> Calibration:
    """A calibration out of a record, read once: a page asks for it many times.

    Raises:
        InputFault: it is none.
    """
    from daq.calibration.text import from_text

    return from_text(text, where)


def _serves(made: Calibration, run: Run) -> bool:
    """Whether it is of the run's stand, and of a channel that it has."""
    stand = run.stand
    if stand is None or stand.channel(made.subject.channel) is None:
        return False
    specimen = run.header.get(SPECIMEN)
    subject = made.subject
    same = specimen is None or specimen == subject.specimen
    same = same and subject.simulated == run.simulated
    return same and subject.stand_id == stand.identity.stand_id


def _use(made: Calibration, run: Run) -> Use:
    from daq.calibration.use import used

    checked = run.header.get(CHECKED)
    passed = checked.get(made.id) if isinstance(checked, Mapping) else None
    when = [str(utc) for utc in passed] if isinstance(passed, list) else []
    at_utc = str(run.header.get("utc") or made.made_utc)
    return used(made, at_utc, _temperature_c(run), when)


def _temperature_c(run: Run) -> float | None:
    """Of the room, as the article's file says; None where it does not."""
    article = run.header.get("article")
    air = article.get("air") if isinstance(article, Mapping) else None
    value = air.get("temperature_c") if isinstance(air, Mapping) else None
    return float(value) if isinstance(value, int | float) else None


# ------------------------------------------------------------------ the analysis


def scale_of(use: Use) -> Scale:
    """How wrong a calibrated scale may be, as the analysis takes it."""
    import numpy as np

    from daq.analysis.scale import PowerPart, Scale, StrayPart
    from daq.calibration.use import beyond_rel

    made = use.calibration
    parts = [
        PowerPart(
            cause.name, cause.powers, np.array(cause.factor), cause.dof, cause.alone
        )
        for cause in (*made.causes, use.drift)
    ]
    bias_rel = math.hypot(0.0, *(bias.component_rel for bias in made.biases))
    if bias_rel:
        parts.append(PowerPart("mounting", (1,), np.array([[bias_rel]])))
    strays = [
        StrayPart(s.name, np.array(s.knots_si), np.array(s.u_si), s.dof)
        for s in (*made.strays, *((made.hysteresis,) if made.hysteresis else ()))
    ]
    return Scale(
        parts=tuple(parts),
        strays=tuple(strays[: len(made.strays)]),
        hysteresis=strays[-1] if made.hysteresis else None,
        low=made.low_si,
        high=made.high_si,
        beyond_u_rel=beyond_rel(made),
    )


def out_of_range(series: Mapping[str, Series], found: Calibrated) -> list[str]:
    """Channels that were read beyond what their calibration was made with."""
    import numpy as np

    from protocols.limits import brief, to_trade

    told = []
    for name, channel in series.items():
        use = found.of(name)
        if use is None or channel.scale is None or name != channel_of(name):
            continue
        made = use.calibration
        span = made.high_si - made.low_si
        beyond = channel.scale.beyond(channel.value_si)
        far = beyond > (MOVED_SHARE if made.subject.unit == "N" else NOISE_SHARE) * span
        if not np.any(far):
            continue
        values = channel.value_si[far]
        furthest = float(values[np.argmax(np.abs(values))])
        shown, unit = to_trade(name, furthest)
        low, high = (to_trade(name, end)[0] for end in (made.low_si, made.high_si))
        told.append(
            f"{name} was read up to {brief(shown)} {unit}, and its calibration goes "
            f"from {brief(low)} to {brief(high)} {unit}: what lies beyond is "
            "extrapolated, and its interval grows."
        )
    return told
