"""What the arming plug drops under load, pole by pole, as one run shows it.

The drop across each pole, read differentially, against the current: a straight line
with errors both ways, whose slope is the resistance and whose intercept tells whether
there is an offset that the rests did not show. Random parts weigh the points; gains,
zeros and what the amplifier makes of the bus voltage follow as causes that points
share. Where the stand has no amplifiers but reads the voltage on both sides, both poles
are read together by the difference. One run is one mating: what the plug has when it is
put together again is not in here. Nothing here judges a rating.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

import numpy as np

from daq.analysis import dividers
from daq.analysis.measured import Measured, Source, combine, derived, plus
from daq.analysis.plateaus import DEFAULT_SETTLE_S, ChannelMeans, Plateaus, average
from daq.analysis.scaled import points_of
from daq.analysis.series import PLUG_CHANNELS, Array, Hold, Index, Series
from daq.analysis.unseen import ASLEEP, ROOT_3
from daq.analysis.york import line, sensitivities

CHANNELS: Final = PLUG_CHANNELS
#: Levels of current that a line needs, and how far apart they have to lie, as a share
#: of the highest.
FEWEST_LEVELS: Final = 3
SPREAD_SHARE: Final = 0.3
#: Levels below this share of the highest current say little of one resistance.
WARM_SHARE: Final = 0.3
#: A soak is at least so long; its end and its begin are compared over so much each.
SHORTEST_SOAK_S: Final = 10.0
COMPARED_S: Final = 3.0
#: An amplifier reads this much of the voltage that both its wires have, as a
#: rectangular bound: 80 dB, which matched resistors of 0.01 % give; monitor chips state
#: 120 dB (common practice, no source). A constant part is in the null.
COMMON_MODE_REL: Final = 1e-4
COMMON_MODE: Final = "bus voltage seen by the amplifier"
#: A point is never taken to be known better than this.
SMALLEST_U: Final = 1e-7
#: A reading at rest beyond this is no offset of an amplifier: a wire is off.
LARGEST_OFFSET_V: Final = 0.02
#: Both poles as one, where two dividers read them.
BOTH: Final = "both"


class Trouble(Enum):
    """Why a pole has no resistance."""

    FEW_LEVELS = auto()
    CLIPPED = auto()
    SWAPPED = auto()
    WIRE_OFF = auto()
    TOO_SMALL = auto()


@dataclass(frozen=True, slots=True)
class FittedPlug:
    """What the article says of its plug.

    Attributes:
        name: In words.
        rated_a: For as long as one likes; None if it is not known.
        lead_ohm: What of the lead lies between a pole's sense wires; 0 for nothing.
        contact_ohm: What a contact has at most, by its data sheet; None likewise.
    """

    name: str
    rated_a: float | None = None
    lead_ohm: float = 0.0
    contact_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Pole:
    """One pole of the plug.

    Attributes:
        name: plus or minus; both where two dividers read them.
        ohm: Resistance between the sense wires, one value; None where there is trouble.
        offset_v: Drop that the line has at no current, one value; None likewise.
        rest_v: What was read with the motor off.
        trouble: Why it has no resistance; None where it has one.
        most_ohm: What it has at most, where it is too small to be told from none.
        clipped: Whether it read at the end of its range at some level, which is left
            out.
    """

    name: str
    ohm: Measured | None
    offset_v: Measured | None
    rest_v: float
    trouble: Trouble | None = None
    most_ohm: float | None = None
    clipped: bool = False


@dataclass(frozen=True, slots=True)
class Soaked:
    """A long hold at one throttle, its end against its beginning.

    Attributes:
        share: By which share the resistance of both poles grew.
        lasted_s: Between the middles of the two stretches compared.
        amp: Mean current.
    """

    share: Measured
    lasted_s: float
    amp: float


@dataclass(frozen=True, slots=True)
class PlugDrop:
    """The plug under load.

    Attributes:
        poles: As far as they were measured.
        whole_ohm: Both poles; None unless both have a resistance.
        drop_v: Across both at the highest level that was held, read there; None
            likewise.
        at_a: The current there.
        lost_w: Drop times current there; None likewise.
        top: Index of that plateau.
        points: Plateaus that were used.
        warmed: By which share both poles had more resistance on the later leg than on
            the earlier, at the same levels; None without two legs.
        soaked: What a long hold did to them; None without one.
        each_ohm: Drop over current of both poles at every plateau of the run, NaN where
            there is none; None unless both are measured.
    """

    poles: tuple[Pole, ...]
    whole_ohm: Measured | None
    drop_v: Measured | None
    at_a: Measured
    lost_w: Measured | None
    top: int
    points: tuple[int, ...]
    warmed: Measured | None = None
    soaked: Soaked | None = None
    each_ohm: Measured | None = None

    @property
    def by_dividers(self) -> bool:
        """Whether two dividers read it and no amplifiers."""
        return any(pole.name == BOTH for pole in self.poles)

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that read it."""
        if self.by_dividers:
            return dividers.CHANNELS
        return tuple(CHANNELS[pole.name] for pole in self.poles)

    @property
    def highest_a(self) -> float:
        """Largest current that was held."""
        return float(self.at_a.value[0])


def read_plug(
    series: Mapping[str, Series], holds: Sequence[Hold], plateaus: Plateaus
) -> PlugDrop | None:
    """Both poles, as far as the stand reads them.

    Args:
        series: Channels by name.
        holds: Stretches of the run.
        plateaus: The averaged run.

    Returns:
        None without current or a channel of the plug, or where nothing was held.
    """
    amps = plateaus.measured("current")
    names = [pole for pole, name in CHANNELS.items() if name in plateaus.channels]
    apart = not names and dividers.is_read(series)
    if amps is None or not (names or apart) or not len(plateaus):
        return None
    used = np.flatnonzero(np.isfinite(amps.value))
    if not used.size:
        return None
    means = {pole: plateaus.channels[CHANNELS[pole]] for pole in names}
    if apart:
        means[BOTH] = dividers.average_difference(series, holds, plateaus)
    every = {pole: _across(plateaus, pole, one) for pole, one in means.items()}
    amp = amps.take(used)
    volts = {pole: one.take(used) for pole, one in every.items()}
    above = _above_rest(amp)
    poles = tuple(
        _pole(plateaus, pole, one, used, volts[pole], above)
        for pole, one in means.items()
    )
    top = int(np.argmax(amp.value))
    at_a = amp.take([top])
    ohms = [pole.ohm for pole in poles if pole.ohm is not None]
    whole = drop = lost = both = None
    if apart or len(names) == len(CHANNELS):
        both = _together(every)
    if both is not None and len(ohms) == len(poles):
        whole = ohms[0] if apart else plus(*ohms)
        drop = both.take(used[[top]])
        lost = derived(np.multiply, drop, at_a)
    return PlugDrop(
        poles=poles,
        whole_ohm=whole,
        drop_v=drop,
        at_a=at_a,
        lost_w=lost,
        top=int(used[top]),
        points=tuple(int(index) for index in used),
        warmed=None
        if whole is None or both is None
        else _warmed(plateaus, used, both.take(used), above),
        soaked=None if whole is None or apart else _soaked(series, holds),
        each_ohm=None
        if whole is None or both is None
        else _each(both, _above_rest(amps)),
    )


def _together(volts: Mapping[str, Measured]) -> Measured:
    """Across both poles."""
    first, *others = volts.values()
    return plus(first, *others) if others else first


def _warmed(
    plateaus: Plateaus, used: Index, both: Measured, amp: Measured
) -> Measured | None:
    """Resistance of the later leg over that of the earlier, less one."""
    each = _each(both, amp)
    strong = amp.value > WARM_SHARE * float(amp.value.max())
    legs = np.array(plateaus.leg)[used]
    steps = plateaus.step[used]
    names = list(dict.fromkeys(legs))
    if len(names) != 2:
        return None
    levels = [set(steps[(legs == name) & strong].tolist()) for name in names]
    common = np.isin(steps, list(levels[0] & levels[1])) & strong
    groups = [np.flatnonzero(common & (legs == name)) for name in names]
    if not groups[0].size or not groups[1].size:
        return None
    return _grown(each, groups)


def _soaked(series: Mapping[str, Series], holds: Sequence[Hold]) -> Soaked | None:
    """The end of the last soak against its beginning; None where none was long."""
    soaks = [hold for hold in holds if hold.kind == "soak"]
    soaks = [hold for hold in soaks if hold.end_s - hold.start_s >= SHORTEST_SOAK_S]
    if not soaks:
        return None
    soak, long_s = soaks[-1], DEFAULT_SETTLE_S + COMPARED_S
    ends = (soak.start_s, soak.end_s - long_s)
    parts = [
        Hold("dwell", "up", step, soak.throttle_frac, start_s, start_s + long_s)
        for step, start_s in enumerate(ends)
    ]
    rests = [hold for hold in holds if hold.kind == "rest"]
    names = ("current", *CHANNELS.values())
    wanted = {name: series[name] for name in (*names, "speed") if name in series}
    ends_read = average(wanted, [*rests, *parts])
    measured = [ends_read.measured(name) for name in names]
    amp, plus_v, minus_v = measured
    if amp is None or plus_v is None or minus_v is None or len(ends_read) != len(ends):
        return None
    if not np.isfinite(amp.value + plus_v.value + minus_v.value).all():
        return None
    each = _each(plus(plus_v, minus_v), _above_rest(amp))
    share = _grown(each, [np.array([0]), np.array([1])])
    return Soaked(share, ends[1] - ends[0], float(amp.value.mean()))


def _each(both: Measured, amp: Measured) -> Measured:
    """Resistance of both poles at each point: drop over current."""
    with np.errstate(divide="ignore", invalid="ignore"):  # a current of nothing
        return derived(np.divide, both, amp)


def _grown(each: Measured, groups: Sequence[Index]) -> Measured:
    """By which share the mean of the second group lies above that of the first."""
    means = each.grouped(groups)
    first, later = (float(one) for one in means.value)
    weights = np.array([[-later / first**2, 1.0 / first]])
    share = means.mapped(weights)
    return Measured(np.array([later / first - 1.0]), share.sources)


def _above_rest(amp: Measured) -> Measured:
    """Current above that at rest, which drops nothing above the null."""
    sources = {name: one for name, one in amp.sources.items() if name != ASLEEP}
    return Measured(amp.value, sources)


def _across(plateaus: Plateaus, pole: str, means: ChannelMeans) -> Measured:
    """Drop of one pole, with what the amplifier makes of the bus voltage."""
    found = means.measured
    volts = plateaus.channels.get("voltage")
    if pole != "plus" or volts is None or not volts.rests.value.size:
        return found
    sagged_v = volts.raw - float(volts.rests.value.mean())
    factor = COMMON_MODE_REL * sagged_v / ROOT_3
    return found.with_source(COMMON_MODE, factor[:, np.newaxis])


def _pole(
    plateaus: Plateaus,
    pole: str,
    means: ChannelMeans,
    used: Index,
    volt: Measured,
    amp: Measured,
) -> Pole:
    rest_v = float(means.rests.value.mean()) if means.rests.value.size else math.nan
    # A window that lost some to the end of the range has its mean too low.
    whole = np.isfinite(volt.value) & (means.lost[used] == 0)
    clipped = not whole.all()

    def none(trouble: Trouble, most_ohm: float | None = None) -> Pole:
        return Pole(pole, None, None, rest_v, trouble, most_ohm, clipped)

    if not whole.any() and not math.isfinite(rest_v):
        return none(Trouble.WIRE_OFF)
    keep = np.flatnonzero(whole)
    volt, amp = volt.take(keep), amp.take(keep)
    levels = np.unique(plateaus.level[used][keep]).size
    spread = float(np.ptp(amp.value)) if keep.size else 0.0
    if levels < FEWEST_LEVELS or spread < SPREAD_SHARE * float(amp.value.max()):
        return none(Trouble.CLIPPED if clipped else Trouble.FEW_LEVELS)
    ohm, offset = _fitted(volt, amp)
    low, high = (float(one[0]) for one in ohm.interval())
    if low > 0.0:
        return Pole(pole, ohm, offset, rest_v, clipped=clipped)
    if pole != BOTH and abs(rest_v) > LARGEST_OFFSET_V:
        return none(Trouble.WIRE_OFF)
    if high < 0.0:
        return none(Trouble.SWAPPED)
    return none(Trouble.TOO_SMALL, max(high, 0.0))


def _fitted(volt: Measured, amp: Measured) -> tuple[Measured, Measured]:
    """Slope and intercept with their sources."""
    x, y = amp.value, volt.value
    u_x = np.maximum(amp.own_uncertainty(), SMALLEST_U)
    u_y = np.maximum(volt.own_uncertainty(), SMALLEST_U)
    found = line(x, y, u_x, u_y)
    moves = sensitivities(x, y, u_x, u_y)
    excess = np.sqrt(max(0.0, found.chi2 / found.dof - 1.0))

    def carried(value: float, by_x: Array, by_y: Array, own_u: float) -> Measured:
        one = np.ones(1)
        parts = [
            (one, points_of(volt, "the plug").mapped(by_y[np.newaxis, :])),
            (one, points_of(amp, "the plug").mapped(by_x[np.newaxis, :])),
        ]
        whole = combine(np.array([value]), parts)
        misfit = Source(np.array([[own_u * excess]]), np.array([float(found.dof)]))
        shape = "shape of drop against current"
        return Measured(whole.value, {**whole.sources, shape: misfit})

    ohm = carried(found.slope, moves.slope_x, moves.slope_y, found.slope_u)
    offset = carried(
        found.intercept, moves.intercept_x, moves.intercept_y, found.intercept_u
    )
    return ohm, offset
