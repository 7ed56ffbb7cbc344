"""A run's record as the analysis takes it: channels in SI, and what was walked.

By the calibrations that the record has for its stand, and by the stand's own constants
where there is none. Raw stays raw in the record; what cannot be used (out of order,
after a restart, in doubt because of a trip) is left out here, and counted where it is
told.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from daq.link.messages import Quantity
from ui.cut import cut_of
from ui.stretches import plan_of, stretches_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from daq.analysis.series import Hold, HoldKind, HoldLeg, Series
    from daq.calibration.use import Use
    from daq.link.messages import ChannelPage
    from daq.records.read import Run, Stream
    from ui.stretches import Stretch

# The end of a hold is known on the stand's clock to a few milliseconds only: what a
# command overtakes on its way must not reach into the plateau before it.
END_GUARD_S = 0.02
# A crystal is good to some tens of parts per million (common practice, no source).
COUNTED_PPM = 1000
# What the analysis knows, by what the record calls it.
KINDS: Final[Mapping[str, HoldKind]] = {
    "rest": "rest",
    "dwell": "dwell",
    "warm": "warm",
    "glide": "glide",
    "burst": "burst",
    "soak": "soak",
    "hold": "hold",
}
LEGS: Final[Mapping[str, HoldLeg]] = {
    "up": "up",
    "down": "down",
    "first": "first",
    "second": "second",
}
# What leads straight into another stretch and belongs to it: a dwell is cut from
# where settling began, a burst is timed from where the throttle began to move.
LEAD_INS: Final[Mapping[str, str]] = {"dwell": "settle", "burst": "punch"}


def series_of(run: Run) -> tuple[dict[str, Series], set[str]]:
    """Channels in SI, and which of them are nominal: no calibration serves them."""
    from daq.analysis.series import CHANNEL_UNITS
    from ui.calibrations import calibrated

    found = calibrated(run)
    series: dict[str, Series] = {}
    nominal = set()
    for stream in run.streams:
        if not stream.device_s.size:
            continue
        good = in_order(stream)
        for column, page in enumerate(stream.channels):
            if page.name not in CHANNEL_UNITS:
                continue
            use = found.of(page.name)
            known = bool(found.uses) and _is_known(page)
            times_s, counts = stream.device_s[good], stream.counts[good, column]
            if use is None:
                nominal |= set() if known else {page.name}
                series[page.name] = _nominal(page, times_s, counts)
            else:
                series[page.name] = _calibrated(page, use, times_s, counts)
    return series, nominal


def _is_known(page: ChannelPage) -> bool:
    """Whether its scale needs no calibration: a crystal counts it, and says how well.

    Turns are counted, not converted; beside calibrated channels nothing is nominal
    about them.
    """
    return page.quantity is Quantity.ROTATIONAL_SPEED and page.gain_u_ppm <= COUNTED_PPM


def _nominal(
    page: ChannelPage, times_s: NDArray[np.float64], counts: NDArray[np.int64]
) -> Series:
    """A channel by the stand's own constants."""
    from daq.analysis.series import Series
    from daq.calibration.nominal import nominal

    scale = nominal(page)
    return Series(
        name=page.name,
        quantity=page.quantity.name.lower(),
        t_s=times_s,
        value_si=_within(page, counts, scale.to_si(counts)),
        gain_u_rel=scale.gain_u_rel,
        resolution_si=scale.resolution_si,
    )


def _calibrated(
    page: ChannelPage,
    use: Use,
    times_s: NDArray[np.float64],
    counts: NDArray[np.int64],
) -> Series:
    """A channel by a calibration."""
    from daq.analysis.series import Series
    from ui.calibrations import scale_of

    made = use.calibration
    return Series(
        name=page.name,
        quantity=page.quantity.name.lower(),
        t_s=times_s,
        value_si=_within(page, counts, made.to_si(counts, page.no_reading)),
        gain_u_rel=made.u_rel,
        resolution_si=made.resolution_si,
        scale=scale_of(use),
    )


def _within(
    page: ChannelPage, counts: NDArray[np.int64], value_si: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values, none at the end of the range of a channel that no limit guards there.

    There it says "at least", and nothing tripped on it.
    """
    from daq.analysis.series import PLUG_CHANNELS

    if page.name in PLUG_CHANNELS.values():
        at_end = (counts <= page.low_counts) | (counts >= page.high_counts)
        value_si[at_end] = float("nan")
    return value_si


def in_order(stream: Stream) -> NDArray[np.bool_]:
    """Which samples are newer than all before them, shape (n,).

    A line that repeats or swaps frames brings others, and so does a stand that began
    again: its time starts anew, and what it reads then is no part of the run.
    """
    import numpy as np

    times_s = stream.device_s
    before_s = np.maximum.accumulate(np.concatenate(([-np.inf], times_s)))[:-1]
    return times_s > before_s


def holds_of(run: Run, series: Mapping[str, Series]) -> list[Hold]:
    """What the plan was walked for, as far as was sampled.

    Rests, dwells each with the settling before it, warm-ups, soaks, glides, and bursts
    each with the punch before it. Nothing of what is in doubt because of a trip.
    """
    first_s = max(float(s.t_s[0]) for s in series.values())
    last_s = min(float(s.t_s[-1]) for s in series.values())
    cut = cut_of(run)
    if cut is not None:
        last_s = min(last_s, cut.sound_until_s)
    plan = plan_of(run)
    if plan is not None and plan.by_hand:
        return _loads(run, series, first_s, last_s)
    holds: list[Hold] = []
    before: Stretch | None = None
    for stretch in stretches_of(run):
        hold = _hold(stretch, before, first_s, last_s)
        if hold is not None:
            holds.append(hold)
        before = stretch
    return holds


def _loads(
    run: Run, series: Mapping[str, Series], first_s: float, last_s: float
) -> list[Hold]:
    """What a person had switched on, as the current shows it, while it was watched."""
    from daq.analysis.by_hand import loads_of

    walked = run.holds()
    if "current" not in series or not walked:
        return []
    begun_s = max(first_s, walked[0].start_s)
    return loads_of(series["current"], begun_s, min(last_s, walked[-1].end_s))


def _hold(
    stretch: Stretch, before: Stretch | None, first_s: float, last_s: float
) -> Hold | None:
    """One stretch for the analysis; None where it has no use for it."""
    from daq.analysis.series import Hold

    part = stretch.hold
    kind = KINDS.get(part.kind)
    start_s, from_frac = part.start_s, stretch.from_frac
    if before is not None and before.hold.kind == LEAD_INS.get(part.kind):
        start_s, from_frac = before.hold.start_s, before.from_frac
    start_s, end_s = max(start_s, first_s), min(part.end_s - END_GUARD_S, last_s)
    if kind is None or end_s <= start_s:
        return None
    moves = kind in ("glide", "burst", "hold")
    if kind == "glide":
        from_frac = stretch.throttle_at(start_s)
    return Hold(
        kind=kind,
        leg=LEGS.get(part.leg, "rest"),
        step=part.step,
        throttle_frac=stretch.throttle_at(end_s),
        start_s=start_s,
        end_s=end_s,
        from_frac=from_frac if moves else None,
    )
