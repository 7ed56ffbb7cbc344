"""What wanders slowly: air, the load cell's warmth, the converter's reference.

Moved a span of sub-steps at a time, because all of it takes seconds. Never touches
what the motor does but through the air.
"""

import math
from dataclasses import dataclass

from daq.stand.plant.cell_errors import Drift
from daq.stand.plant.heat import Warmth
from daq.stand.plant.load_cell import LoadCell
from daq.stand.plant.noise import Stream, standard_normals
from daq.stand.plant.propeller import Propeller
from daq.stand.plant.rotor import Rotor
from daq.stand.plant.sensors import FastSensor
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_effects import CellWarmingTruth, GustsTruth, ReferenceTruth
from daq.units import c_to_k

LEAST_FACTOR = 0.2


class Gusts:
    """An inflow that wanders as an Ornstein-Uhlenbeck process.

    Its rms is a share s of the induced velocity, so that it grows with the root of
    thrust; v_i/(n D) = sqrt(2 C_T/pi). Thrust and power fall in a line with the
    advance ratio V/(n D). Sources: momentum theory (J. G. Leishman, Principles of
    Helicopter Aerodynamics, 2000, ch. 2); the exact step of the process, D. T.
    Gillespie, Phys. Rev. E 54 (1996) 2084 (from memory); propeller curves against
    advance ratio are close to straight near standstill (common practice). That
    recirculating air in a room does so at all: common practice, no source.
    """

    __slots__ = ("_draw", "_kept", "_propeller", "_stirred", "_truth", "inflow")

    def __init__(
        self, truth: GustsTruth, seed: int, span_s: float, propeller: Propeller
    ) -> None:
        self._truth, self._propeller = truth, propeller
        self._draw = standard_normals(seed, Stream.GUSTS)
        self._kept = math.exp(-span_s / truth.time_s)
        self._stirred = math.sqrt(-math.expm1(-2.0 * span_s / truth.time_s))
        self.inflow = self._draw()

    def take(self, speed_rad_s: float) -> None:
        """One span at a speed of the shaft."""
        self.inflow = self._kept * self.inflow + self._stirred * self._draw()
        truth = self._truth
        ct, _ = self._propeller.coefficients(speed_rad_s)
        advance = truth.share_frac * self.inflow * math.sqrt(2.0 * ct / math.pi)
        self._propeller.blow(
            max(LEAST_FACTOR, 1.0 - advance / truth.zero_thrust_advance),
            max(LEAST_FACTOR, 1.0 - advance / truth.zero_power_advance),
        )


class CellWarming:
    """The load cell goes after what blows on it and what is hot beside it.

    rise' = (a T + b dT_winding + c dT_esc - rise)/time, stepped exactly. Source: one
    lump of heat, Newton's law of cooling; that wash and a motor's heat reach the
    cell: common practice, no source.
    """

    __slots__ = ("_air_k", "_drift", "_follow", "_truth", "_warmth", "rise_k")

    def __init__(
        self,
        truth: CellWarmingTruth,
        span_s: float,
        air_k: float,
        warmth: Warmth,
        drift: Drift | None,
    ) -> None:
        self._truth, self._air_k = truth, air_k
        self._warmth, self._drift = warmth, drift
        self._follow = -math.expm1(-span_s / truth.time_s)
        self.rise_k = 0.0

    def take(self, thrust_n: float) -> None:
        """One span at a thrust."""
        truth, warmth, air_k = self._truth, self._warmth, self._air_k
        end_k = truth.thrust_k_n * thrust_n
        end_k += truth.winding_share_frac * (warmth.winding.temperature_k - air_k)
        end_k += truth.esc_share_frac * (warmth.esc.temperature_k - air_k)
        self.rise_k += self._follow * (end_k - self.rise_k)
        if self._drift is not None:
            self._drift.rise_k = self.rise_k


class Reference:
    """The voltage that a converter compares with: it warms up, and it walks.

    All channels of the converter follow it together; the load cell's, which feeds its
    bridge from the same reference, only as far as the truth says. Source: data sheets
    of references state warm-up drift and long-term stability over the root of time
    (common practice, no source).
    """

    __slots__ = ("_draw", "_kept", "_left", "_step", "_truth", "_walked", "rel")

    def __init__(self, truth: ReferenceTruth, seed: int, span_s: float) -> None:
        self._truth = truth
        self._draw = standard_normals(seed, Stream.REFERENCE_WALK)
        self._kept = math.exp(-span_s / truth.warm_up_s)
        self._step = truth.walk_rel_sqrt_s * math.sqrt(span_s)
        self._left, self._walked, self.rel = 1.0, 0.0, 0.0

    def take(self) -> None:
        """One span; ``rel`` is how much more every channel reads since the start."""
        self._left *= self._kept
        self._walked += self._step * self._draw()
        self.rel = self._truth.warm_up_rel * (1.0 - self._left) + self._walked


@dataclass(frozen=True, slots=True)
class Parts:
    """What the wandering is done to.

    Attributes:
        propeller: it has gusts around it.
        rotor: it says how fast that turns.
        warmth: winding and ESC, that warm the cell.
        drift: of the load cell, that follows its warmth.
        cell: the load cell, for its reference.
        sensors: of the bus, for theirs.
    """

    propeller: Propeller
    rotor: Rotor
    warmth: Warmth
    drift: Drift | None
    cell: LoadCell
    sensors: tuple[FastSensor, ...]


class Wander:
    """All of it that a truth has.

    Attributes:
        any: whether there is any.
        warming: of the load cell.
    """

    __slots__ = ("_gains", "_gusts", "_parts", "_reference", "_share", "any", "warming")

    def __init__(self, truth: Truth, seed: int, span_s: float, parts: Parts) -> None:
        self._parts = parts
        self._gains = [sensor.counts_per_unit for sensor in parts.sensors]
        self._gusts: Gusts | None = None
        self._reference: Reference | None = None
        self.warming: CellWarming | None = None
        self._share = 0.0
        if truth.gusts is not None:
            self._gusts = Gusts(truth.gusts, seed, span_s, parts.propeller)
            self._gusts.take(0.0)
        if truth.cell_warming is not None:
            air_k = c_to_k(truth.air.celsius)
            self.warming = CellWarming(
                truth.cell_warming, span_s, air_k, parts.warmth, parts.drift
            )
        if truth.reference is not None:
            self._reference = Reference(truth.reference, seed, span_s)
            self._share = truth.reference.cell_share_frac
        self.any = any(
            part is not None for part in (self._gusts, self._reference, self.warming)
        )

    def take(self) -> None:
        """One span."""
        parts = self._parts
        if self._gusts is not None:
            self._gusts.take(parts.rotor.speed_rad_s)
        if self.warming is not None:
            self.warming.take(parts.propeller.thrust_n)
        if self._reference is not None:
            self._reference.take()
            rel = self._reference.rel
            for sensor, gain in zip(parts.sensors, self._gains, strict=True):
                sensor.counts_per_unit = gain * (1.0 + rel)
            parts.cell.reference_rel = self._share * rel
