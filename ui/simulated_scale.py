"""A simulated stand with somebody at it who sets down masses and reads a meter.

Served on a port by a thread of this program, faster than real time, with the motor's
plug out. The masses, the place and the meter are wrong by what their figures allow,
drawn from the seed and told to nobody: what calibrates it sees its port and no more.
"""

from __future__ import annotations

import math
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from daq.calibration.reference import Reference
from daq.clock import Clock
from daq.stand.endpoint import open_endpoint
from daq.stand.plant.condition import Condition
from daq.stand.serve import Server, build
from ui.calibration_steps import POLES

if TYPE_CHECKING:
    from daq.calibration.meter import Meter
    from daq.stand.faults.stand import FaultyStand
    from daq.stand.plant.truth_plug import Pole
    from ui.calibration_known import Known

PACE: Final = 4.0
ANSWER_S: Final = 5.0
SHIPPED: Final = "indoor_quad"
#: Packs that somebody plugs in for voltages: cells, and what they have left.
PACKS: Final = ((1, 0.9), (2, 0.5), (2, 1.0), (3, 0.2), (3, 0.7), (3, 1.0))
#: Currents that a supply and a known load let flow.
CURRENTS_A: Final = (1.0, 3.0, 5.0, 7.5, 10.0, 12.5)
ROOT_3: Final = math.sqrt(3.0)


class PacedClock:
    """A clock that runs faster than another.

    Attributes:
        pace: how many of its seconds pass in one of the other's.
    """

    def __init__(self, clock: Clock, pace: float) -> None:
        self._clock = clock
        self.pace = pace
        self._begun_s = clock.now_s()

    def now_s(self) -> float:
        """Its time in seconds."""
        return (self._clock.now_s() - self._begun_s) * self.pace

    def sleep(self, seconds: float) -> None:
        """Wait that long on it."""
        self._clock.sleep(seconds / self.pace)


def specimen_of(truth: Path | None, seed: int) -> str:
    """What tells one simulated stand from another."""
    return f"{SHIPPED if truth is None else truth.stem}, seed {seed}"


class SimulatedScale:
    """Serves a simulated stand, with hands; ``close`` it, or the port stays.

    Attributes:
        port: what to open.
        clock: whose time the stand and whoever talks to it go by.
        specimen: which simulated stand it is.
    """

    def __init__(
        self,
        clock: Clock,
        *,
        truth: Path | None = None,
        seed: int = 1,
        pace: float = PACE,
    ) -> None:
        """Start it.

        Args:
            clock: the machine's.
            truth: the plant's figures; None: those of the demo.
            seed: of its noise and of what is drawn.
            pace: how many of its seconds pass in one of the clock's.

        Raises:
            InputFault: the truth is missing or wrong.
        """
        stand = build(truth, seed, plug_in=False)
        if stand.bench.plug is not None:
            stand.bench.plug.pack_on = False
        self.clock = PacedClock(clock, pace)
        self._server = Server(stand, open_endpoint(), self.clock)
        self.port = self._server.name
        self.specimen = specimen_of(truth, seed)
        self._draw = np.random.default_rng([seed, 0x5CA1E])
        self._gravity_rel = float(self._draw.standard_normal())
        self._meter_rel = float(self._draw.uniform(-1.0, 1.0))
        self._shunt_rel = float(np.random.default_rng(seed).standard_normal())
        self._pieces: tuple[float, ...] = ()
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def _do(
        self, *, load_n: float | None = None, looped_a: float | None = None
    ) -> None:
        def act(stand: FaultyStand) -> None:
            if load_n is not None:
                stand.bench.placed_load_n = load_n
            if looped_a is not None:
                stand.bench.looped_a = looped_a

        self._server.between_ticks(act)

    def do(self, known: Known, level: int) -> float | None:
        """What a step wants of hands; what the meter reads, where there is one."""
        by = known.by
        if isinstance(by, Reference):
            self.place(by, level)
            return None
        if known.channel in POLES:
            return self.set_drop(known, level, by)
        if known.channel == "current":
            return self.set_current(level, by)
        return self.set_voltage(level, by, in_front=known.channel == "pack-voltage")

    def place(self, reference: Reference, level: int) -> None:
        """Set down what a level is made of; -1 takes everything off."""
        if level < 0:
            self._do(load_n=0.0)
            return
        if not self._pieces:
            self._pieces = tuple(
                piece.value + piece.u * float(self._draw.uniform(-ROOT_3, ROOT_3))
                for piece in reference.pieces
            )
        facts = reference.facts or {}
        made_of = reference.levels[level].made_of
        mass_g = sum(s * g for s, g in zip(made_of, self._pieces, strict=True))
        gravity = _number(facts, "gravity_m_s2")
        gravity += self._gravity_rel * _number(facts, "gravity_u_m_s2")
        force_n = 1e-3 * mass_g * gravity * (1.0 - _number(facts, "buoyancy"))
        against = facts.get("pushes") == "against thrust"
        self._do(load_n=-force_n if against else force_n)

    def set_current(self, level: int, meter: Meter) -> float:
        """Let a current flow through the sensor alone; what the meter reads."""
        true_a = 0.0 if level < 0 else CURRENTS_A[level % len(CURRENTS_A)]
        self._do(looped_a=true_a)
        return self._read(true_a, meter)

    def set_drop(self, known: Known, level: int, meter: Meter) -> float:
        """Let a current flow through the plug alone; what the meter reads.

        Millivolt across one pole; or ampere, where the sense wires sit across a known
        resistor, which is wrong by what is known of it.
        """
        true_a = 0.0 if level < 0 else CURRENTS_A[level % len(CURRENTS_A)]
        pole: Pole = "plus" if POLES[known.channel] == "plus" else "minus"
        shunt_ohm = meter.resistance_ohm
        if shunt_ohm is not None:
            shunt_ohm += self._shunt_rel * meter.resistance_u_ohm

        def act(stand: FaultyStand) -> None:
            plug = stand.bench.plug
            if plug is not None:
                plug.looped_a, plug.shunt_ohm = true_a, shunt_ohm

        self._server.between_ticks(act)
        plug = self._server.device.bench.plug
        if plug is None or shunt_ohm is not None:
            return self._read(true_a, replace(meter, resistance_ohm=None))
        self.clock.sleep(2.0)  # until it is as warm as that makes it
        true_mv = self._server.ask(lambda: 1e3 * true_a * plug.between_ohm(pole))
        return self._read(true_mv, meter)

    def set_voltage(self, level: int, meter: Meter, *, in_front: bool = False) -> float:
        """Put another pack on, the motor at rest; what the meter reads.

        Args:
            level: which pack; -1 for none.
            meter: how good it is.
            in_front: whether it is read in front of the plug.
        """
        cells, charge = PACKS[level % len(PACKS)]

        def act(stand: FaultyStand) -> float:
            stand.plug_in = level >= 0
            if in_front and stand.bench.plug is not None:
                stand.bench.plug.pack_on = level >= 0
            now = Condition(cells=cells, charge_frac=charge)
            stand.bench.suffer(replace(now) if level >= 0 else Condition())
            return 0.0

        self._server.between_ticks(act)
        self.clock.sleep(2.0)  # until it has settled, as somebody reads a meter
        true_v = self._server.ask(lambda: self._server.device.bench.bus_v)
        return self._read(true_v, meter) if level >= 0 else 0.0

    def _read(self, true: float, meter: Meter) -> float:
        """What a meter shows that is wrong by less than its maker states."""
        shown = true * (1.0 + 0.01 * meter.percent * self._meter_rel)
        if meter.resistance_ohm is not None:
            shown *= meter.resistance_ohm
        if not meter.step:
            return round(shown, 4)
        digits = round(self._draw.uniform(-1.0, 1.0) * max(0, meter.digits - 1))
        return round((round(shown / meter.step) + digits) * meter.step, 9)

    def close(self) -> None:
        """End it; the port vanishes."""
        self._server.end()
        self._thread.join(ANSWER_S)


def _number(facts: object, key: str) -> float:
    value = facts.get(key) if isinstance(facts, dict) else None
    return float(value) if isinstance(value, int | float) else 0.0
