"""The whole bench test: parts put together and moved through time.

Reads no clock and knows no wire: a pulse width goes in, counts come out. The
properties that tell the truth (``state``, ``integrals``, ``true_counts_per_unit``)
are a side door for tests and demonstrations; nothing that measures may use them.
"""

import math
from dataclasses import dataclass, replace

from daq.errors import InputFault
from daq.stand.plant.bus import Bus
from daq.stand.plant.condition import Condition
from daq.stand.plant.esc import Esc
from daq.stand.plant.heat import Warmth
from daq.stand.plant.leads import Leads
from daq.stand.plant.load_cell import LoadCell
from daq.stand.plant.motor import Motor
from daq.stand.plant.mount import Mount
from daq.stand.plant.noise import Stream
from daq.stand.plant.pack import Pack
from daq.stand.plant.propeller import Propeller
from daq.stand.plant.rotor import Rotor
from daq.stand.plant.sensors import (
    FastFrame,
    SpeedSensor,
    fast_sensor,
    pulse_counts,
    sensor_specs,
    true_gain,
)
from daq.stand.plant.truth import Truth

STEP_S = 1e-3
"""Long enough to be cheap, a thirtieth of the rotor's time constant: the tests
hold it against an adaptive solver."""

WARM_STEPS = 20
"""Temperatures move once in so many sub-steps: they take seconds to change."""


@dataclass(frozen=True, slots=True)
class PlantState:
    """Truth at one instant.

    Attributes:
        time_s: plant time.
        thrust_n: thrust of the propeller.
        felt_n: force in the load cell, mount and placed load included.
        torque_nm: torque that the propeller takes.
        speed_rad_s: speed of the shaft.
        shaft_power_w: torque times speed.
        duty_frac: duty of the bridge.
        motor_a: motor current.
        no_load_a: the part of it that the motor's own friction and iron take.
        bus_v: voltage at the ESC's input.
        bus_a: current from the pack.
        open_circuit_v: voltage of the pack if it were rested.
        slow_v: the part of the sag that recovers slowly.
        charge_frac: state of charge.
        winding_k: temperature of the winding.
        esc_k: temperature of the ESC.
    """

    time_s: float
    thrust_n: float
    felt_n: float
    torque_nm: float
    speed_rad_s: float
    shaft_power_w: float
    duty_frac: float
    motor_a: float
    no_load_a: float
    bus_v: float
    bus_a: float
    open_circuit_v: float
    slow_v: float
    charge_frac: float
    winding_k: float
    esc_k: float


@dataclass(frozen=True, slots=True)
class Integrals:
    """Time integrals since the start: a mean is a difference quotient of two.

    Attributes:
        time_s: plant time.
        thrust_n_s: of the propeller's thrust.
        turned_rad: of the speed.
        bus_charge_c: of the bus current.
        bus_v_s: of the bus voltage.
        bus_energy_j: of bus voltage times bus current.
        shaft_energy_j: of propeller torque times speed.
    """

    time_s: float
    thrust_n_s: float
    turned_rad: float
    bus_charge_c: float
    bus_v_s: float
    bus_energy_j: float
    shaft_energy_j: float


class Plant:
    """One stand with one article on it.

    Attributes:
        plug_in: the arming plug as a person has put it; out means that the pack
            feeds nothing.
        placed_load_n: what else presses on the load cell, such as a check mass.
        sensor_specs: the channels as the stand declares them, but the slow ones.
        slow_specs: its temperature channels, in the order of ``slow_frame``.
        true_counts_per_unit: what the gains of thrust, current and voltage are.
    """

    def __init__(
        self,
        truth: Truth,
        seed: int,
        *,
        step_s: float = STEP_S,
        plug_in: bool = True,
    ) -> None:
        """Build it at rest.

        Args:
            truth: what it is.
            seed: for drawn gains and all noise; the same seed gives the same counts.
            step_s: length of a sub-step.
            plug_in: whether the arming plug is in at the start.

        Raises:
            InputFault: the seed is negative.
        """
        if seed < 0:
            raise InputFault(f"the seed is {seed}: give a whole number of 0 or more")
        self._step_s = step_s
        self._steps = 0
        self._owed_s = 0.0
        self._pulse_s = 0.0
        self.plug_in = plug_in
        self._condition = Condition()
        self._charge_gone = 0.0
        self.placed_load_n = 0.0

        self._leads = leads = Leads(truth.leads)
        self._motor = motor = Motor(truth.motor)
        self._pack = Pack(truth.pack, step_s)
        self._esc = Esc(truth.esc, step_s)
        source_ohm = self._pack.resistance_ohm + leads.resistance_ohm
        self._bus = Bus(self._esc, motor, source_ohm, step_s)
        self._propeller = Propeller(truth.propeller, truth.air.density())
        self._rotor = Rotor(motor, self._propeller, step_s)
        self._mount = Mount(truth.mount, step_s)

        cell, amps, volts = truth.load_cell, truth.current_sensor, truth.voltage_sensor
        gains = {
            "thrust": true_gain(cell, seed, Stream.LOAD_CELL_GAIN),
            "current": true_gain(amps, seed, Stream.CURRENT_GAIN),
            "voltage": true_gain(volts, seed, Stream.VOLTAGE_GAIN),
        }
        self._cell = LoadCell(cell, gains["thrust"], seed, step_s)
        self._current = fast_sensor(amps, gains["current"], seed, Stream.CURRENT_NOISE)
        self._voltage = fast_sensor(volts, gains["voltage"], seed, Stream.VOLTAGE_NOISE)
        self._speed = SpeedSensor(truth.speed_sensor)
        self.true_counts_per_unit = gains
        self.sensor_specs = sensor_specs(truth)
        self._sums = (0.0,) * 6
        self._squares = 0.0
        self._warmed = (0.0, 0.0)
        self._steps_to_warm = WARM_STEPS
        span_s = WARM_STEPS * step_s
        self._warmth = Warmth(truth, seed, motor, self._esc, span_s)
        self.slow_specs = self._warmth.specs
        self._set_loop()
        if plug_in:
            self._bus.feed(self._pack.emf_v, 0.0, 0.0)
            self._bus.average(0.0)
        self._current.sample(self._bus.bus_a)
        self._voltage.sample(self._bus.volt_v)

    def _set_loop(self) -> None:
        """The resistance around motor and bridge, as it is now."""
        loop_ohm = self._warmth.winding_ohm + self._esc.resistance_ohm
        self._bus.loop_ohm = loop_ohm * self._condition.loop_factor

    def _warm(self) -> None:
        """Put the losses of the last sub-steps into winding and ESC."""
        turned, volts = self._sums[1], self._sums[3]
        self._warmth.take(
            self._squares / WARM_STEPS,
            (turned - self._warmed[0]) / WARM_STEPS,
            (volts - self._warmed[1]) / WARM_STEPS,
            self._condition.heating_factor,
        )
        self._squares = 0.0
        self._warmed = (turned, volts)
        if self._warmth.follows:
            self._set_loop()

    def suffer(self, condition: Condition) -> None:
        """Be in that condition from now on; the healthy one mends everything.

        A pack that was emptied gets back what was taken; heat does not go away.
        """
        was, now = self._condition, replace(condition)
        if now == was:
            return
        self._condition = now
        if (now.propeller_on, now.rotor_free) != (was.propeller_on, was.rotor_free):
            self._propeller.be(fitted=now.propeller_on)
            self._propeller.turn_at(self._rotor.speed_rad_s)
            self._rotor.hold(blocked=not now.rotor_free)
        self._esc.arms, self._esc.heeds_zero = now.esc_arms, now.esc_heeds_zero
        self._change_pack(was, now)
        rise_k = max(0.0, now.winding_rise_k - was.winding_rise_k)
        self._warmth.winding.temperature_k += rise_k
        bus = self._bus
        bus.source_ohm = self._pack.resistance_ohm + self._leads.resistance_ohm
        bus.source_ohm += now.plug_ohm
        bus.kt_v_s = self._motor.kt_nm_a * now.grip_frac
        self._set_loop()

    def _change_pack(self, was: Condition, now: Condition) -> None:
        """Another pack, or the same with another charge."""
        pack = self._pack
        kind = (now.cells, now.pack_resistance_factor)
        if kind != (was.cells, was.pack_resistance_factor):
            pack.become(*kind)
        if now.charge_frac != was.charge_frac:
            full = pack.charge_frac + self._charge_gone
            left = full if now.charge_frac is None else min(full, now.charge_frac)
            pack.take_charge(pack.charge_frac - left)
            self._charge_gone = full - left

    def advance(self, duration_s: float, pulse_s: float) -> None:
        """Move through time in whole sub-steps; what is left over is owed.

        Args:
            duration_s: how long; it need not be whole sub-steps.
            pulse_s: pulse width that the ESC is given meanwhile; 0: no pulse.

        Raises:
            ValueError: the duration is not a number of zero or more.
        """
        if not 0.0 <= duration_s < math.inf:
            raise ValueError(f"a plant cannot advance by {duration_s} s")
        self._pulse_s = pulse_s
        self._esc.command(pulse_s)
        owed_s = self._owed_s + duration_s
        steps = int(owed_s / self._step_s + 1e-6)
        self._owed_s = owed_s - steps * self._step_s
        self._steps += steps
        while steps >= self._steps_to_warm:
            self._walk(self._steps_to_warm)
            steps -= self._steps_to_warm
            self._steps_to_warm = WARM_STEPS
            self._warm()
        self._steps_to_warm -= steps
        self._walk(steps)

    def _walk(self, steps: int) -> None:
        """The sub-steps. One loop on local names, because it is the hot one."""
        pack, esc, bus, rotor = self._pack, self._esc, self._bus, self._rotor
        propeller = self._propeller
        press, feel = self._mount.advance, self._cell.feel
        sample_current, sample_voltage = self._current.sample, self._voltage.sample
        condition, placed_n = self._condition, self.placed_load_n
        plug_in, grip = self.plug_in and condition.plug_in, condition.grip_frac
        thrusts, speeds, charges, volts, energies, works = self._sums
        squares = self._squares
        speed, thrust = rotor.speed_rad_s, propeller.thrust_n
        felt = self._mount.force_n
        power = propeller.torque_nm * speed
        for _ in range(steps):
            duty = esc.advance(bus.volt_v)
            old_speed, old_thrust, old_felt, old_power = speed, thrust, felt, power
            if plug_in:
                bus.feed(pack.emf_v, duty, speed)
                speed = rotor.advance(grip * bus.motor_a, grip * bus.slope_a_s)
                bus.average(speed - old_speed)
            else:
                bus.drain(duty, speed)
                speed = rotor.advance(grip * bus.motor_a, 0.0)
            current, volt, winding_a = bus.bus_a, bus.volt_v, bus.motor_a
            squares += winding_a * winding_a
            pack.advance(current)
            thrust = propeller.thrust_n
            power = propeller.torque_nm * speed
            mean_thrust = 0.5 * (old_thrust + thrust)
            felt = press(mean_thrust + placed_n)
            feel(0.5 * (old_felt + felt))
            sample_current(current)
            sample_voltage(volt)
            thrusts += mean_thrust
            speeds += 0.5 * (old_speed + speed)
            charges += current
            volts += volt
            energies += volt * current
            works += 0.5 * (old_power + power)
        self._sums = (thrusts, speeds, charges, volts, energies, works)
        self._squares = squares

    def fast_frame(self) -> FastFrame:
        """Counts of the fast channels over all sub-steps since last asked."""
        current_mean, current_high, _ = self._current.collect()
        voltage_mean, _, voltage_low = self._voltage.collect()
        return FastFrame(
            current_mean,
            current_high,
            voltage_mean,
            voltage_low,
            self._speed.counts(self._rotor.speed_rad_s),
            pulse_counts(self._pulse_s),
        )

    def newest(self, name: str) -> int:
        """Count of ``current`` or ``voltage`` over the newest sub-step alone."""
        sensor = self._current if name == "current" else self._voltage
        return round(sensor.newest_counts)

    def slow_frame(self) -> tuple[int, ...]:
        """Counts of the temperature channels now."""
        return self._warmth.frame()

    def take_conversion(self) -> int | None:
        """The newest load-cell conversion if one ended since last asked."""
        return self._cell.take()

    @property
    def time_s(self) -> float:
        """Plant time: whole sub-steps only."""
        return self._steps * self._step_s

    @property
    def bus_v(self) -> float:
        """Voltage at the ESC's input, mean of the last sub-step."""
        return self._bus.volt_v

    @property
    def driven(self) -> bool:
        """Whether the ESC drives the motor now."""
        return self._esc.duty_frac > 0.0

    @property
    def free_speed_rad_s(self) -> float:
        """What the motor would turn on this pack without load or loss."""
        return self._pack.emf_v / self._motor.kt_nm_a

    @property
    def state(self) -> PlantState:
        """The truth now."""
        pack, bus, propeller = self._pack, self._bus, self._propeller
        speed = self._rotor.speed_rad_s
        if self.plug_in and self._condition.plug_in:
            now = bus.at_once(pack.emf_v, self._esc.duty_frac, speed)
        else:
            now = bus.motor_a, 0.0, bus.volt_v
        return PlantState(
            time_s=self.time_s,
            thrust_n=propeller.thrust_n,
            felt_n=self._mount.force_n,
            torque_nm=propeller.torque_nm,
            speed_rad_s=speed,
            shaft_power_w=propeller.torque_nm * speed,
            duty_frac=self._esc.duty_frac,
            motor_a=now[0],
            no_load_a=self._motor.no_load_current_a(speed),
            bus_a=now[1],
            bus_v=now[2],
            open_circuit_v=pack.open_circuit_v,
            slow_v=pack.slow_v,
            charge_frac=pack.charge_frac,
            winding_k=self._warmth.winding.temperature_k,
            esc_k=self._warmth.esc.temperature_k,
        )

    @property
    def integrals(self) -> Integrals:
        """The truth since the start, accumulated by the midpoint rule."""
        step_s = self._step_s
        return Integrals(self.time_s, *(total * step_s for total in self._sums))
