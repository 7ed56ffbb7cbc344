"""A run as if the bus voltage had not sagged.

A plateau at throttle d on V volt is one at d V / V0 on V0 (see ``bridge``). So no
plateau's thrust, power or speed is changed here, only where on the axis of throttle it
stands, and how far that moved the curve is told.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.bridge import RESTATED, off_by_duty
from daq.analysis.curves import THROTTLE_MODELS, Curve, draw
from daq.analysis.legs import level_pairs
from daq.analysis.levels import Relation
from daq.analysis.measured import Measured, combine
from daq.analysis.plateaus import Plateaus
from daq.analysis.series import Array


@dataclass(frozen=True, slots=True)
class OneVoltage:
    """A run on one bus voltage.

    Attributes:
        bus_v: The voltage: what it was at the highest throttle.
        throttle: Throttle of each plateau on that voltage, shape (n,).
        curves: Thrust, current, power and speed against it.
        moved: By how much thrust at the lowest and at the highest common throttle
            differs from what was measured there, relative.
        legs: Thrust on the later leg over that on the earlier, less one, on one
            voltage, over all levels met on both; None without two legs.
    """

    bus_v: float
    throttle: Measured
    curves: tuple[Curve, ...]
    moved: tuple[float, float]
    legs: Measured | None


def at_one_voltage(plateaus: Plateaus, power: Measured | None) -> OneVoltage | None:
    """Restate a run for the voltage that it had at its highest throttle.

    Returns:
        None without thrust or voltage, or where no curve can be drawn.
    """
    thrust, volts = plateaus.measured("thrust"), plateaus.measured("voltage")
    if thrust is None or volts is None:
        return None
    good = np.flatnonzero(np.isfinite(volts.value) & np.isfinite(thrust.value))
    if not good.size:
        return None
    top = int(good[np.argmax(plateaus.throttle_frac[good])])
    throttle = _throttle_on(plateaus.throttle_frac, volts, top)
    wanted = (
        ("thrust", "thrust_n", thrust),
        ("power", "power_w", _shared(power)),
        ("speed", "speed_rad_s", plateaus.measured("speed")),
        ("current", "current_a", _current_on(volts, power, top)),
    )
    drawn = [
        draw(
            Relation(
                f"{name} against throttle on one voltage",
                "throttle_frac",
                unit,
                throttle,
                y,
                THROTTLE_MODELS,
            ),
            plateaus.throttle_frac,
        )
        for name, unit, y in wanted
        if y is not None
    ]
    curves = tuple(curve for curve in drawn if curve is not None)
    if not curves or not curves[0].name.startswith("thrust"):
        return None
    return OneVoltage(
        bus_v=float(volts.value[top]),
        throttle=throttle,
        curves=curves,
        moved=_moved(plateaus, thrust, curves[0]),
        legs=_legs(plateaus, thrust, volts, curves[0]),
    )


def _shared(power: Measured | None) -> Measured | None:
    """Power with its errors as those of the throttle are: shared between the points.

    Where voltage comes too seldom to be multiplied reading by reading, what is random
    in it is in both.
    """
    return None if power is None else power.mapped(np.eye(power.value.size))


def _throttle_on(throttle: Array, volts: Measured, top: int) -> Measured:
    """Throttle times voltage over that at the top, its scale factor cancelled."""
    bus_v = float(volts.value[top])
    value = throttle * volts.value / bus_v
    at_top = np.zeros((value.size, value.size))
    at_top[:, top] = 1.0
    moved = np.array([off_by_duty(frac) for frac in value - throttle])
    found = combine(
        value,
        [
            (throttle / bus_v, volts.mapped(np.eye(value.size))),
            (-value / bus_v, volts.mapped(at_top)),
        ],
    )
    return found.with_source(RESTATED, moved[:, np.newaxis])


def _current_on(volts: Measured, power: Measured | None, top: int) -> Measured | None:
    """The current that draws the same power on that voltage."""
    if power is None:
        return None
    bus_v = float(volts.value[top])
    at_top = np.zeros((power.value.size, power.value.size))
    at_top[:, top] = 1.0
    ones = np.full(power.value.size, 1.0 / bus_v)
    value = power.value / bus_v
    return combine(
        value,
        [
            (ones, power.mapped(np.eye(value.size))),
            (-value / bus_v, volts.mapped(at_top)),
        ],
    )


def _moved(plateaus: Plateaus, thrust: Measured, curve: Curve) -> tuple[float, float]:
    inside = [
        place
        for place in range(len(plateaus))
        if curve.covers(float(plateaus.throttle_frac[place]))
        and np.isfinite(thrust.value[place])
        and thrust.value[place] > 0
    ]
    if not inside:
        return 0.0, 0.0
    at = plateaus.throttle_frac[inside]
    share = curve.fit.predict(at) / thrust.value[inside] - 1.0
    order = np.argsort(at)
    return float(share[order[0]]), float(share[order[-1]])


def _legs(
    plateaus: Plateaus, thrust: Measured, volts: Measured, curve: Curve
) -> Measured | None:
    """What the legs differ by once both stand on one voltage.

    With k the slope of the curve in logarithms, ln T - k ln V is what sag leaves.
    """
    pairs = [
        (one, other)
        for one, other in level_pairs(plateaus)
        if np.isfinite(thrust.value[[one, other]]).all()
        and (thrust.value[[one, other]] > 0).all()
        and np.isfinite(volts.value[[one, other]]).all()
    ]
    if not pairs:
        return None
    rises = _log_slopes(curve, plateaus.throttle_frac[[one for one, _ in pairs]])
    by_thrust = np.zeros((1, thrust.value.size))
    by_volt = np.zeros((1, thrust.value.size))
    value = 0.0
    for (one, other), rise in zip(pairs, rises, strict=True):
        for place, sign in ((other, 1.0), (one, -1.0)):
            by_thrust[0, place] += sign / thrust.value[place] / len(pairs)
            by_volt[0, place] -= sign * rise / volts.value[place] / len(pairs)
        value += math.log(thrust.value[other] / thrust.value[one]) / len(pairs)
        value -= rise * math.log(volts.value[other] / volts.value[one]) / len(pairs)
    used = np.array(sorted({place for pair in pairs for place in pair}))
    unit = np.ones(1)
    return combine(
        np.array([math.expm1(value)]),
        [
            (unit, thrust.where(used).mapped(by_thrust)),
            (unit, volts.where(used).mapped(by_volt)),
        ],
    )


def _log_slopes(curve: Curve, throttle: Array) -> Sequence[float]:
    at = np.clip(throttle, curve.x.min(), curve.x.max())
    return [float(k) for k in curve.fit.slope(at) * at / curve.fit.predict(at)]
