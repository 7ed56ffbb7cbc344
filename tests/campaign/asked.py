"""What is asked of one world, what is claimed, and what is true.

One value of each quantity a world, so that what is counted is independent. Truth comes
from the ledger of the spin or from the plant by itself, claims from the analysis.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass
from typing import Final

import numpy as np

from daq.analysis.curves import EXPONENT_MODELS, Curve, draw
from daq.analysis.levels import Relation
from daq.analysis.measured import Measured
from daq.analysis.run import Analysis
from daq.analysis.series import Array
from daq.stand.plant.truth import Truth
from daq.units import n_to_gf
from tests.campaign.day import Spun
from tests.campaign.flown_truth import hovering, punched_out
from tests.campaign.ledger import Window
from tests.campaign.owner import Owner

#: In the order of the table.
QUANTITIES: Final = (
    "thrust at the top",
    "current at the top",
    "voltage at the top",
    "power at the top",
    "specific thrust at the top",
    "thrust at the bottom",
    "specific thrust at the bottom",
    "C_T at the top",
    "total efficiency at the top",
    "exponent of thrust",
    "resistance of the pack",
    "resistance of the plug",
    "hover throttle",
    "hover current",
    "endurance",
    "full-throttle thrust",
    "thrust to weight",
    "full-throttle current",
    "Kv",
    "shaft power",
    "C_P",
    "figure of merit",
)


@dataclass(frozen=True, slots=True)
class Answer:
    """One claim and its truth.

    Attributes:
        quantity: which.
        value: claimed.
        low: end of its 95 % interval.
        high: other end.
        truth: what is so.
    """

    quantity: str
    value: float
    low: float
    high: float
    truth: float

    @property
    def holds(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low <= self.truth <= self.high


def answers(
    owner: Owner, specimen: Truth, spun: Spun, *, flight: bool = True
) -> list[Answer]:
    """Everything that one run says, beside what is so.

    Args:
        owner: whose world it is.
        specimen: what was on the stand, as it is by itself.
        spun: its run.
        flight: whether the aircraft is asked about, which has to be flown for that.
    """
    found = [*_levels(owner, spun), *_exponent(spun), *_pack(owner, spun)]
    found += _plug(owner, spun)
    found += _motor(owner, spun)
    if flight:
        found += _flight(owner, specimen, spun.analysis)
    return found


def _answer(quantity: str, claim: Measured | None, at: int, truth: float) -> Answer:
    if claim is None:
        return Answer(quantity, math.nan, math.nan, math.nan, truth)
    one = claim.take([at])
    low, high = one.interval()
    return Answer(quantity, float(one.value[0]), float(low[0]), float(high[0]), truth)


def _levels(owner: Owner, spun: Spun) -> Iterator[Answer]:
    analysis = spun.analysis
    plateaus, evidence = analysis.plateaus, analysis.evidence
    thrust = plateaus.measured("thrust")
    assert thrust is not None
    power = None if evidence.power is None else evidence.power.measured
    # As the finding picks it: the plateau whose thrust was read highest.
    top, low = int(np.argmax(thrust.value)), int(np.argmin(plateaus.throttle_frac))
    true = spun.means.over(float(plateaus.start_s[top]), float(plateaus.end_s[top]))
    under = spun.means.over(float(plateaus.start_s[low]), float(plateaus.end_s[low]))
    yield _answer("thrust at the top", thrust, top, true.thrust_n)
    amps, volts = plateaus.measured("current"), plateaus.measured("voltage")
    yield _answer("current at the top", amps, top, true.current_a)
    yield _answer("voltage at the top", volts, top, true.voltage_v)
    yield _answer("power at the top", power, top, true.power_w)
    for name, at, window in (("top", top, true), ("bottom", low, under)):
        per_w = window.thrust_n / window.power_w
        yield _answer(f"specific thrust at the {name}", evidence.specific, at, per_w)
    yield _answer("thrust at the bottom", thrust, low, under.thrust_n)
    propeller = evidence.propeller
    if propeller is not None:
        density = spun.means.density_kg_m3
        coefficient, efficiency = _propeller(owner, true, density)
        claim = propeller.thrust_coefficient
        yield _answer("C_T at the top", claim, top, coefficient)
        claim = propeller.total_efficiency
        yield _answer("total efficiency at the top", claim, top, efficiency)


def _propeller(owner: Owner, true: Window, density: float) -> tuple[float, float]:
    """C_T by the propeller convention, and ideal over electrical power."""
    diameter = owner.world.truth.propeller.diameter_m
    rev_s = true.speed_rad_s / (2.0 * math.pi)
    area = math.pi * diameter**2 / 4.0
    ideal_w = math.sqrt(true.thrust_n**3 / (2.0 * density * area))
    coefficient = true.thrust_n / (density * rev_s**2 * diameter**4)
    return coefficient, ideal_w / true.power_w


def _exponent(spun: Spun) -> Iterator[Answer]:
    """What the same fit gives through what was true: no world is one power law."""
    evidence, plateaus = spun.analysis.evidence, spun.analysis.plateaus
    thrust = plateaus.measured("thrust")
    curve, power = evidence.exponent, evidence.power
    if curve is None or power is None or thrust is None:
        return
    true = [
        spun.means.over(float(a), float(b))
        for a, b in zip(plateaus.start_s, plateaus.end_s, strict=True)
    ]
    newton = Measured(np.array([one.thrust_n for one in true]), thrust.sources)
    watt = Measured(np.array([one.power_w for one in true]), power.measured.sources)
    through = draw_exponent_of(plateaus.throttle_frac, watt, newton)
    if through is not None:
        low, high = curve.fit.interval(1)
        exponents = float(curve.coefficients[1]), float(through.coefficients[1])
        yield Answer("exponent of thrust", exponents[0], low, high, exponents[1])


def draw_exponent_of(
    throttle_frac: Array, power: Measured, thrust: Measured
) -> Curve | None:
    """The curve that the exponent is read off, through any values."""
    relation = Relation(
        "thrust against power",
        "power_w",
        "thrust_n",
        power,
        thrust,
        EXPONENT_MODELS,
        positive=True,
    )
    return draw(relation, throttle_frac)


def _pack(owner: Owner, spun: Spun) -> Iterator[Answer]:
    """What acts at once, up to where the stand reads voltage."""
    flight = spun.analysis.evidence.flight
    if flight is None:
        return
    truth = owner.world.truth
    ohm = truth.pack.resistance_ohm + truth.leads.resistance_ohm
    ohm += truth.leads.plug_resistance_ohm - truth.voltage_sensor.tap_resistance_ohm
    yield _answer("resistance of the pack", flight.pack.quick_ohm, 0, ohm)


def _plug(owner: Owner, spun: Spun) -> Iterator[Answer]:
    """Both poles between their sense wires: the slope of what was truly dropped."""
    plug, sense = spun.analysis.evidence.plug, owner.world.truth.plug_sense
    if plug is None or sense is None:
        return
    plateaus = spun.analysis.plateaus
    lead_ohm = sense.plus_lead_ohm + sense.minus_lead_ohm
    true = [
        spun.means.over(float(plateaus.start_s[at]), float(plateaus.end_s[at]))
        for at in plug.points
    ]
    amp = np.array([one.current_a for one in true])
    volt = np.array([(one.plug_ohm + lead_ohm) * one.current_a for one in true])
    slope, _ = np.polyfit(amp, volt, 1)
    yield _answer("resistance of the plug", plug.whole_ohm, 0, float(slope))


def _motor(owner: Owner, spun: Spun) -> Iterator[Answer]:
    """The motor by itself, over the plateaus at full throttle."""
    motor, plateaus = spun.analysis.evidence.motor, spun.analysis.plateaus
    if motor is None:
        return
    at = list(motor.points)
    true = _mean(
        spun.means.over(float(a), float(b))
        for a, b in zip(plateaus.start_s[at], plateaus.end_s[at], strict=True)
    )
    kv = 60.0 / (2.0 * math.pi * true.kt_v_s)
    yield _answer("Kv", motor.kv_rpm_v, 0, kv)
    yield _answer("shaft power", motor.shaft_w, 0, true.shaft_w)
    diameter, density = owner.world.truth.propeller.diameter_m, spun.means.density_kg_m3
    rev_s = true.speed_rad_s / (2.0 * math.pi)
    coefficient = true.shaft_w / (density * rev_s**3 * diameter**5)
    yield _answer("C_P", motor.power_coefficient, 0, coefficient)
    _, efficiency = _propeller(owner, true, density)
    merit = efficiency * true.power_w / true.shaft_w
    yield _answer("figure of merit", motor.figure_of_merit, 0, merit)


def _mean(windows: Iterable[Window]) -> Window:
    """The truth over several stretches, each with an equal share."""
    return Window(*np.mean([astuple(window) for window in windows], axis=0).tolist())


def _flight(owner: Owner, specimen: Truth, analysis: Analysis) -> Iterator[Answer]:
    flight = analysis.evidence.flight
    if flight is None:
        return
    motors, weight_n = owner.motors, owner.all_up_kg * owner.gravity_m_s2
    if flight.hover is not None:
        each_n = weight_n / motors
        true = hovering(specimen, motors, owner.electronics_a, each_n, owner.left_frac)
        if true is not None:
            hover = flight.hover
            yield _answer("hover throttle", hover.throttle_frac, 0, true.throttle_frac)
            yield _answer("hover current", hover.total_a, 0, true.total_a)
            yield _answer("endurance", hover.endurance_s, 0, true.endurance_s)
    if flight.full is not None:
        full = flight.full
        steady = punched_out(specimen, motors, owner.electronics_a)
        thrust_n = motors * steady.thrust_n
        yield _answer("full-throttle thrust", full.thrust_n, 0, thrust_n)
        yield _answer("thrust to weight", full.to_weight, 0, thrust_n / weight_n)
        total_a = motors * steady.current_a
        yield _answer("full-throttle current", full.total_a, 0, total_a)


def relative(answer: Answer) -> tuple[float, float]:
    """Error and half-width as shares of the truth."""
    half = (answer.high - answer.low) / 2.0
    return answer.value / answer.truth - 1.0, half / abs(answer.truth)


def told(answer: Answer) -> str:
    """One answer in a line, for whoever looks into a world."""
    error, half = relative(answer)
    mark = " " if answer.holds else "*"
    grams = (
        f" ({n_to_gf(answer.truth):.1f} gf)" if "thrust at" in answer.quantity else ""
    )
    return (
        f"{mark} {answer.quantity:<32}{answer.value:12.5g} true {answer.truth:10.5g}"
        f"{100 * error:8.2f} % within {100 * half:6.2f} %{grams}"
    )
