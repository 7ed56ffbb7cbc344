"""What an article truly does: settled on the bench, in hover, at full throttle.

Asked of the plant itself, without what blows about and without what shakes. Nothing
that measures may see it.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from daq.stand.plant.bench import Plant
from daq.stand.plant.drawn import one_of
from daq.stand.plant.truth import Truth

Array = NDArray[np.float64]

ZERO_S, SPAN_S = 1.0e-3, 1.0e-3
#: Heat settles so much faster where only the settled state is wanted.
HASTE: Final = 50.0
SETTLE_S, MEAN_S = 0.12, 0.10
ROUNDS: Final = 10
#: Abscissas and weights for a mean over a flight (Gauss and Legendre, five points).
NODES, WEIGHTS = np.polynomial.legendre.leggauss(5)
#: How long full throttle is come to, and how long it is held before it is looked at.
RISE_S, FULL_S = 0.8, 0.4
LEVELS: Final = (0.12, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


@dataclass(frozen=True, slots=True)
class Steady:
    """Means of one motor while its throttle was held."""

    throttle_frac: float
    thrust_n: float
    current_a: float
    voltage_v: float
    power_w: float


@dataclass(frozen=True, slots=True)
class Flown:
    """An aircraft in hover, the mean over a flight."""

    throttle_frac: float
    total_a: float
    endurance_s: float


def still(truth: Truth) -> Truth:
    """The same without gusts and without what shakes it."""
    return truth.model_copy(update={"gusts": None, "vibration": None})


def _held(plant: Plant, throttle_frac: float) -> Steady:
    pulse_s = ZERO_S + SPAN_S * throttle_frac
    plant.advance(SETTLE_S, pulse_s)
    a = plant.integrals
    plant.advance(MEAN_S, pulse_s)
    b = plant.integrals
    span_s = b.time_s - a.time_s
    return Steady(
        throttle_frac,
        (b.thrust_n_s - a.thrust_n_s) / span_s,
        (b.bus_charge_c - a.bus_charge_c) / span_s,
        (b.bus_v_s - a.bus_v_s) / span_s,
        (b.bus_energy_j - a.bus_energy_j) / span_s,
    )


def hovering(
    truth: Truth,
    motors: int,
    electronics_a: float,
    each_n: float,
    left_frac: float,
) -> Flown | None:
    """Hover from full to what is left; None where it is not lifted.

    The slow part of the pack and the heat are settled: a flight takes minutes.
    """
    low, high = left_frac, 1.0
    charges = low + (high - low) * (NODES + 1.0) / 2.0
    flown = still(one_of(truth, motors, electronics_a))
    throttles, amps = [], []
    for charge in charges:
        steady = _lift(_at_charge(flown, float(charge)), each_n)
        if steady is None:
            return None
        throttles.append(steady.throttle_frac)
        # The share of electronics is in each motor's current already.
        amps.append(motors * steady.current_a)
    # Seconds a coulomb, over the charge that is flown.
    per_a = WEIGHTS / np.array(amps)
    charge_c = truth.pack.capacity_c * (high - low)
    endurance_s = charge_c * float(per_a.sum()) / 2.0
    return Flown(
        float((per_a * throttles).sum() / per_a.sum()),
        charge_c / endurance_s,
        endurance_s,
    )


def _at_charge(truth: Truth, charge_frac: float) -> Truth:
    pack = truth.pack
    update: dict[str, object] = {
        "pack": pack.model_copy(
            update={
                "charge_frac": charge_frac,
                "capacity_c": 1e3 * pack.capacity_c,
                "resistance_ohm": pack.resistance_ohm + pack.slow_resistance_ohm,
                "slow_resistance_ohm": 0.0,
            }
        )
    }
    for name in ("winding_heat", "esc_heat"):
        heat = getattr(truth, name)
        if heat is not None:
            faster = {"capacity_j_k": heat.capacity_j_k / HASTE}
            update[name] = heat.model_copy(update=faster)
    return truth.model_copy(update=update)


def _lift(truth: Truth, each_n: float) -> Steady | None:
    """One motor at a thrust, throttle found by trying."""
    plant = Plant(truth, 1)
    throttle = 0.4
    steady = None
    for _ in range(ROUNDS):
        steady = _held(plant, throttle)
        if steady.thrust_n <= 0.0:
            return None
        throttle *= (each_n / steady.thrust_n) ** 0.62
        if throttle > 1.0:
            return None
    if steady is None or not math.isclose(steady.thrust_n, each_n, rel_tol=3e-3):
        return None
    return steady


def punched_out(truth: Truth, motors: int, electronics_a: float) -> Steady:
    """One motor of the aircraft at full throttle, on the pack as it is at the start.

    Come to over most of a second, since a small pack may brown out under a thumb, and
    without what a pack loses in that time.
    """
    flown = still(one_of(truth, motors, electronics_a))
    rested = {"capacity_c": 1e3 * flown.pack.capacity_c, "slow_resistance_ohm": 0.0}
    flown = flown.model_copy(update={"pack": flown.pack.model_copy(update=rested)})
    plant = Plant(flown, 1)
    plant.advance(0.2, ZERO_S)
    for step in range(1, 41):
        plant.advance(RISE_S / 40.0, ZERO_S + SPAN_S * step / 40.0)
    plant.advance(FULL_S, ZERO_S + SPAN_S)
    return _held(plant, 1.0)


@dataclass(frozen=True, slots=True)
class OwnCurves:
    """What a specimen does by itself, on a rested pack.

    Attributes:
        thrust_n: at the levels, rising.
        power_w: likewise.
        applied_v: throttle times bus voltage, likewise.
    """

    thrust_n: Array
    power_w: Array
    applied_v: Array

    def specific_at(self, thrust_n: Array) -> Array:
        """Thrust over power at matched thrust."""
        return thrust_n / np.exp(_through(self.thrust_n, self.power_w, thrust_n))

    def thrust_at(self, applied_v: Array) -> Array:
        """Thrust at matched voltage of the bridge."""
        return np.exp(_through(self.applied_v, self.thrust_n, applied_v))


def _through(x: Array, y: Array, at: Array) -> Array:
    """Logarithm of y at x, through the points in logarithms, without a kink."""
    from scipy.interpolate import CubicSpline

    spline = CubicSpline(np.log(x), np.log(y))
    return np.asarray(spline(np.log(at)), dtype=np.float64)


def own_curves(truth: Truth) -> OwnCurves:
    """Settled levels of a specimen."""
    plant = Plant(still(truth), 1)
    held = [_held(plant, level) for level in LEVELS]
    return OwnCurves(
        np.array([one.thrust_n for one in held]),
        np.array([one.power_w for one in held]),
        np.array([one.throttle_frac * one.voltage_v for one in held]),
    )
