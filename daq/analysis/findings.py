"""A finding: a sentence with a figure, its interval and what it rests on.

Report, desktop and command line show the same findings, so the words are made
here once, in the trade's units. The functions in ``performance`` and
``quality`` write them. Nothing here computes a figure.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from daq.analysis.bridge import Powertrain
from daq.analysis.budget import Part, budget_of, narrower
from daq.analysis.bursts import Bursts
from daq.analysis.captures import Capture
from daq.analysis.curves import Curve
from daq.analysis.emptied import Emptied
from daq.analysis.gentle import Drawn
from daq.analysis.glides import Glides
from daq.analysis.hover import Flight
from daq.analysis.legs import SAME_THROTTLE, UpDown
from daq.analysis.measured import COVERAGE, Measured
from daq.analysis.motor import MotorMeans
from daq.analysis.noise import Noise
from daq.analysis.pack import FittedPack, PackFit
from daq.analysis.plateaus import Plateaus
from daq.analysis.plug import FittedPlug, PlugDrop
from daq.analysis.power import PowerMeans
from daq.analysis.propeller import Disc, Propeller
from daq.analysis.restated import OneVoltage
from daq.analysis.rounding import figure, in_passing, with_interval
from daq.analysis.steps import PackSteps
from daq.analysis.zeros import ZEROED


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a run says.

    Attributes:
        id: Short name that stays the same between versions.
        sentence: Plain English, with figure and interval.
        value: The figure in ``unit``; None if the finding has none.
        unit: Unit at the surface: gf, A, V, W, g/W, rpm, %, or empty.
        low: Low limit of the interval; None for a count.
        high: High limit of the interval; None for a count.
        coverage: Share of such intervals that hold the truth.
        rests_on: What it was made of.
        cautions: What must be known before it is used.
        budget: Which cause contributes how much to the interval, the largest first;
            empty where the figure has none of its own.
    """

    id: str
    sentence: str
    value: float | None
    unit: str
    low: float | None
    high: float | None
    coverage: float
    rests_on: tuple[str, ...]
    cautions: tuple[str, ...]
    budget: tuple[Part, ...] = ()

    @property
    def narrower(self) -> str:
        """What would narrow the interval most, a sentence or empty."""
        return narrower(self.budget)

    def to_dict(self) -> dict[str, object]:
        """The finding for JSON."""
        return {
            "id": self.id,
            "sentence": self.sentence,
            "value": self.value,
            "unit": self.unit,
            "low": self.low,
            "high": self.high,
            "coverage": self.coverage,
            "rests_on": list(self.rests_on),
            "cautions": list(self.cautions),
            "budget": [part.to_dict() for part in self.budget],
            "narrower": self.narrower,
        }


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything that findings are made of.

    Attributes:
        plateaus: The averaged run.
        power: Electrical power, if voltage and current were recorded.
        specific: Specific thrust in N/W, if thrust and power are there.
        disc: Propeller disc and air, if the diameter is known.
        propeller: Coefficients, if the diameter is known.
        curves: The curves.
        exponent: The power law of thrust against power, for its exponent.
        legs: Differences between the legs.
        nominal: Channels whose constants are nominal.
        notes: Cautions that go with every finding.
        glides: What was read while throttle glided, if it did.
        bursts: What was read in bursts, if there were any.
        propeller_off: Whether the motor was bare.
        on_supply: Whether a bench supply fed it, which neither sags nor runs empty
            like a pack.
        flight: What it does on its aircraft, if that is known.
        one_voltage: The run on one bus voltage, where a pack fed it.
        train: What the motor needs for a thrust, if it had a propeller.
        motor: The motor at full throttle, if its resistance was measured apart.
        of_scale: Names of the sources that belong to the stand's scales: another run
            by the same scales has the same errors.
        plug: What the arming plug drops, where the stand reads that.
        fitted_plug: What the article says of its plug.
        pack: The pack, where one fed it and the run shows what it does.
        fitted_pack: What the article says of its pack.
        steps: What the pack's voltage lost at steps of current, if there were any.
        captures: Fast captures that came.
        missed: Fast captures that did not come, and why, in sentences.
        noise: What the captures say of the supply; None without any.
        emptied: A thrust that was held, and what the pack gave meanwhile.
        by_hand: Whether loads were switched by hand and no motor turned.
        full_a: What the aircraft takes at full throttle, as the article says; None
            where it does not.
    """

    plateaus: Plateaus
    power: PowerMeans | None
    specific: Measured | None
    disc: Disc | None
    propeller: Propeller | None
    curves: tuple[Curve, ...]
    exponent: Curve | None
    legs: tuple[UpDown, ...]
    nominal: frozenset[str]
    notes: tuple[str, ...]
    glides: Glides | None = None
    bursts: Bursts | None = None
    propeller_off: bool = False
    on_supply: bool = False
    flight: Flight | None = None
    one_voltage: OneVoltage | None = None
    train: Powertrain | None = None
    motor: MotorMeans | None = None
    of_scale: frozenset[str] = frozenset()
    plug: PlugDrop | None = None
    fitted_plug: FittedPlug | None = None
    pack: PackFit | None = None
    fitted_pack: FittedPack | None = None
    steps: PackSteps | None = None
    captures: tuple[Capture, ...] = ()
    missed: tuple[str, ...] = ()
    noise: Noise | None = None
    emptied: Emptied | None = None
    by_hand: bool = False
    full_a: float | None = None

    def cautions(
        self, channels: Iterable[str], more: Iterable[str] = ()
    ) -> tuple[str, ...]:
        """Cautions for a finding that rests on some channels."""
        names = list(channels)
        found = list(more)
        nominal = [name for name in names if name in self.nominal]
        if nominal:
            scale = "scale factor" if len(nominal) == 1 else "scale factors"
            verb = "is" if len(nominal) == 1 else "are"
            found.append(
                f"the {scale} of {in_words(nominal)} {verb} nominal, not calibrated"
            )
        found.extend(self._zero_cautions(names))
        return tuple(dict.fromkeys([*found, *self.notes]))

    def grounds(
        self, points: Sequence[int], channels: Iterable[str]
    ) -> tuple[str, ...]:
        """What a figure from some plateaus and channels rests on."""
        grounds = [f"plateau {p + 1}: {self.plateaus.label(p)}" for p in points]
        for name in channels:
            means = self.plateaus.channels.get(name)
            if means is None:
                continue
            grounds.append(f"channel {name}")
            if name in ZEROED and means.rests.value.size:
                grounds.append(
                    f"zero of {name} from {count_rests(means.rests.value.size)}"
                )
        return tuple(grounds)

    def zero_stood_in(self, channel: str) -> str:
        """What stood in where no rest gave a zero of a channel."""
        if channel in self.nominal:
            return "the stand's nominal zero"
        return "the calibration's zero"

    def one_level(self) -> bool:
        """Whether all plateaus were at one throttle: nothing to pick from."""
        throttle = self.plateaus.throttle_frac
        return bool(throttle.size and np.ptp(throttle) < SAME_THROTTLE)

    def _zero_cautions(self, channels: Iterable[str]) -> list[str]:
        """One caution for all channels that had one rest, one for those without."""
        once: list[str] = []
        never: dict[str, list[str]] = {}
        for name in channels:
            means = self.plateaus.channels.get(name)
            if means is None or name not in ZEROED or means.rests.drift_known:
                continue
            if means.rests.value.size:
                once.append(name)
            else:
                never.setdefault(self.zero_stood_in(name), []).append(name)
        found: list[str] = []
        if once:
            found.append(
                f"{_zeros_of(once, 'was', 'were')} read in one rest only, so drift is "
                "unknown and a bound stands in for it"
            )
        found.extend(
            f"no rest gave a zero of {in_words(names)}; {stood_in} was used with a "
            "wide bound"
            for stood_in, names in never.items()
        )
        return found

    def curve(self, name: str) -> Curve | None:
        """A curve by name."""
        return next((curve for curve in self.curves if curve.name == name), None)


@dataclass(frozen=True, slots=True)
class Reading:
    """One value with its interval and its budget, in the unit that is printed.

    Attributes:
        value: The value.
        low: Low limit.
        high: High limit.
        unit: Unit at the surface.
        budget: Which cause contributes how much.
        draws: How often the interval was drawn; 0 where it lies about the value.
    """

    value: float
    low: float
    high: float
    unit: str
    budget: tuple[Part, ...] = ()
    draws: int = 0

    @property
    def finite(self) -> bool:
        """Whether there is a value and an interval to print."""
        return all(map(math.isfinite, (self.value, self.low, self.high)))

    @property
    def half_width(self) -> float:
        """Half of the interval."""
        return (self.high - self.low) / 2


def reading(
    measured: Measured | None,
    index: int,
    unit: str,
    convert: Callable[[float], float] = float,
) -> Reading | None:
    """One value of a result at the surface; None where there is none."""
    if measured is None:
        return None
    one = measured.take([index])
    low, high = one.interval(COVERAGE)
    found = Reading(
        convert(float(one.value[0])),
        convert(float(low[0])),
        convert(float(high[0])),
        unit,
        budget_of(one, 0, convert),
        one.draws if isinstance(one, Drawn) else 0,
    )
    return found if found.finite else None


Pick: TypeAlias = tuple[Measured | None, str, Callable[[float], float]]
"""A figure, its unit, and what makes that of SI; its first value is told."""


def readings_of(picks: Iterable[Pick]) -> list[Reading] | None:
    """All of some figures at the surface; None where one of them is missing."""
    found = [reading(figure, 0, unit, convert) for figure, unit, convert in picks]
    there = [one for one in found if one is not None]
    return there if len(there) == len(found) else None


def finding_of(
    evidence: Evidence,
    name: str,
    sentence: str,
    found: Reading,
    points: tuple[int, ...],
    channels: tuple[str, ...],
    cautions: tuple[str, ...],
) -> Finding:
    """A finding with what it rests on and its cautions."""
    rests_on = [*evidence.grounds(points, channels), *_drawn_words(found)]
    flagged = [
        f"{evidence.plateaus.label(point)}: {flag}"
        for point in points
        for flag in evidence.plateaus.flags(point)
        if flag.partition(":")[0] in channels
    ]
    return Finding(
        id=name,
        sentence=sentence,
        value=found.value,
        unit=found.unit,
        low=found.low,
        high=found.high,
        coverage=COVERAGE,
        rests_on=tuple(rests_on),
        cautions=evidence.cautions(channels, (*cautions, *flagged)),
        budget=found.budget,
    )


def _drawn_words(found: Reading) -> tuple[str, ...]:
    """That an interval was drawn and leans, if it was."""
    if not found.draws:
        return ()
    up, down = (
        figure(abs(x - found.value), found.half_width) for x in (found.high, found.low)
    )
    unit = f" {found.unit}" if found.unit else ""
    return (
        f"a lopsided interval, drawn {found.draws} times (JCGM 101) where plus and "
        f"minus are not alike: {up}{unit} up, {down}{unit} down",
    )


def remark_of(
    name: str,
    sentence: str,
    value: float | None,
    unit: str,
    rests_on: Sequence[str],
    cautions: Sequence[str],
) -> Finding:
    """A finding without an interval."""
    return Finding(
        id=name,
        sentence=sentence,
        value=value,
        unit=unit,
        low=None,
        high=None,
        coverage=COVERAGE,
        rests_on=tuple(rests_on),
        cautions=tuple(cautions),
    )


def channels_of(names: Iterable[str]) -> tuple[str, ...]:
    """Channels as what a finding rests on."""
    return tuple(f"channel {name}" for name in names)


def percent(share: float) -> float:
    """A share as a person says it."""
    return 100 * share


def text_of(found: Reading) -> str:
    """A figure with its interval."""
    return with_interval(found.value, found.low, found.high, found.unit, COVERAGE)


def bare_text(found: Reading) -> str:
    """A figure beside the point: rounded by its interval, which stays unsaid."""
    return f"{in_passing(found.value, found.half_width)} {found.unit}"


def in_words(names: Sequence[str]) -> str:
    """A list as a person says it."""
    if len(names) <= 1:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def count_rests(count: int) -> str:
    """A number of rests in words."""
    return "1 rest" if count == 1 else f"{count} rests"


def _zeros_of(names: Sequence[str], one: str, several: str) -> str:
    if len(names) == 1:
        return f"the zero of {names[0]} {one}"
    return f"the zeros of {in_words(names)} {several}"
