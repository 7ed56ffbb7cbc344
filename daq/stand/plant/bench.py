"""The whole bench test: parts put together and moved through time.

Reads no clock and knows no wire: a pulse width goes in, counts come out. The
properties that tell the truth (``state``, ``integrals``, ``true_counts_per_unit``)
are a side door for tests and demonstrations; nothing that measures may use them.
"""

import math
from dataclasses import replace

from daq.errors import InputFault
from daq.stand.plant.arm import Arm, Vibration
from daq.stand.plant.bus import Bus
from daq.stand.plant.cell_errors import CellErrors
from daq.stand.plant.cells import taps_of
from daq.stand.plant.chopped import ChoppedBus
from daq.stand.plant.condition import Condition
from daq.stand.plant.conversions import Conversions, Converter
from daq.stand.plant.esc import Esc
from daq.stand.plant.fast import Held, Moments
from daq.stand.plant.heat import Warmth
from daq.stand.plant.load_cell import LoadCell
from daq.stand.plant.motor import Motor
from daq.stand.plant.mount import Mount
from daq.stand.plant.noise import Stream, standard_normals
from daq.stand.plant.pack import Pack
from daq.stand.plant.plug import Plug, plug_of
from daq.stand.plant.propeller import propeller
from daq.stand.plant.rotor import Rotor
from daq.stand.plant.sensors import (
    FastFrame,
    SpeedSensor,
    Wired,
    bus_sensor,
    pulse_counts,
    sensor_specs,
    true_gain,
)
from daq.stand.plant.told import Integrals, PlantState
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_effects import neutral_arm
from daq.stand.plant.wander import Parts, Wander

__all__ = ["STEP_S", "WARM_STEPS", "Integrals", "Plant", "PlantState"]

STEP_S = 1e-3
"""Long enough to be cheap, a thirtieth of the rotor's time constant: the tests
hold it against an adaptive solver."""

WARM_STEPS = 20
"""Temperatures move once in so many sub-steps: they take seconds to change."""


class Plant:
    """One stand with one article on it.

    Attributes:
        plug_in: the arming plug as a person has put it; out means that the pack
            feeds nothing.
        placed_load_n: what else presses on the load cell, such as a check mass.
        looped_a: what else flows through the current sensor, from a loop of its own
            such as a supply and a known load.
        sensor_specs: the channels as the stand declares them, but the slow ones.
        slow_specs: temperatures, plug and cells, in the order of ``slow_frame``.
        true_counts_per_unit: what the gains of thrust, current and voltage are at the
            start; that of thrust for a force in the cell.
        truth: what it was built from.
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
        self.placed_load_n = self.looped_a = 0.0
        self._bank_ohm = math.inf

        self.truth = truth
        self._motor = motor = Motor(truth.motor)
        self._pack = Pack(truth.pack, step_s)
        self._esc = Esc(truth.esc, step_s)
        if truth.bus_capacitor is not None:
            self._esc.capacitance_f += truth.bus_capacitor.capacitance_f
        span_s = WARM_STEPS * step_s
        self._plug = plug_of(truth, seed, span_s)
        self._bus = self._bus_of(truth, step_s)
        self._density_kg_m3 = truth.air.density()
        self._propeller = propeller(truth.propeller, self._density_kg_m3)
        self._rotor = Rotor(motor, self._propeller, step_s)
        self._mount = Mount(truth.mount, step_s)
        self._press: Mount | Arm = self._mount
        vibration = self._hang(truth, step_s)

        cell, amps, volts = truth.load_cell, truth.current_sensor, truth.voltage_sensor
        gains = {
            "thrust": true_gain(cell, seed, Stream.LOAD_CELL_GAIN),
            "current": true_gain(amps, seed, Stream.CURRENT_GAIN),
            "voltage": true_gain(volts, seed, Stream.VOLTAGE_GAIN),
        }
        errors = CellErrors(truth, seed, vibration)
        self._cell = LoadCell(cell, gains["thrust"], seed, step_s, errors)
        self._speed = SpeedSensor(truth.speed_sensor)
        self.true_counts_per_unit = gains
        self.sensor_specs = sensor_specs(truth)
        self._sums = (0.0,) * 6
        self._squares = 0.0
        self._warmed = (0.0, 0.0, 0.0)
        self._steps_to_warm = WARM_STEPS
        self._warmth = Warmth(truth, seed, motor, self._esc, span_s)
        self.slow_specs = self._warmth.specs
        if self._plug is not None:
            self.slow_specs += self._plug.specs
        self._taps = taps_of(truth, self._pack, seed)
        if self._taps is not None:
            self.slow_specs += self._taps.specs
        self._set_loop()
        if plug_in:
            self._bus.feed(self._pack.emf_v, 0.0, 0.0)
            self._bus.average(0.0)
        self._wire(truth, seed)
        parts = Parts(
            self._propeller,
            self._rotor,
            self._warmth,
            errors.drift,
            self._cell,
            (self._current, self._voltage),
        )
        self._wander = Wander(truth, seed, span_s, parts)
        self._conversions = Conversions(
            truth,
            seed,
            step_s,
            {"current": self._current, "voltage": self._voltage},
        )

    def _bus_of(self, truth: Truth, step_s: float) -> Bus:
        source_ohm = self._source_ohm
        esc, motor = self._esc, self._motor
        if truth.chopping is None:
            return Bus(esc, motor, source_ohm, step_s)
        return ChoppedBus(esc, motor, source_ohm, step_s, truth.chopping)

    @property
    def _source_ohm(self) -> float:
        """Between the pack's inside and the bus, as it is now."""
        leads_ohm = self.truth.leads.resistance_ohm
        return self._pack.resistance_ohm + leads_ohm + self._plug_ohm

    @property
    def bank_ohm(self) -> float:
        """A resistor across the bus that somebody switched on; infinite: none."""
        return self._bank_ohm

    @bank_ohm.setter
    def bank_ohm(self, ohm: float) -> None:
        self._bank_ohm = ohm
        self._bus.source_ohm = self._fed_ohm

    @property
    def _bank_share(self) -> float:
        """How much of the pack's voltage a bank alone would leave at the bus."""
        if math.isinf(self._bank_ohm):
            return 1.0
        return self._bank_ohm / (self._bank_ohm + self._source_ohm)

    @property
    def _fed_ohm(self) -> float:
        """What feeds the ESC: the source with the bank across it (Thevenin)."""
        return self._bank_share * self._source_ohm

    @property
    def _plug_ohm(self) -> float:
        """Of both contacts of the plug, as they are now."""
        if self._plug is None:
            cold_ohm = self.truth.leads.plug_resistance_ohm
            return cold_ohm + self._condition.plug_ohm
        return self._plug.resistance_ohm

    def _hang(self, truth: Truth, step_s: float) -> Vibration | None:
        """Put the arm between propeller and cell, and what shakes it."""
        shaken, blades = truth.vibration, truth.propeller.blades
        if truth.arm is None and shaken is None:
            return None
        arm = truth.arm or neutral_arm()
        around = (self._propeller, self._rotor)
        self._press = press = Arm(arm, self._mount, *around, step_s)
        if shaken is None or blades is None:
            return None
        return Vibration(shaken, blades, truth.mount, press, self._propeller)

    def _wire(self, truth: Truth, seed: int) -> None:
        """Hang the sensors on the bus; each has taken one sample of it at rest."""
        bus, step_s, gains = self._bus, self._step_s, self.true_counts_per_unit
        amps, volts = truth.current_sensor, truth.voltage_sensor
        tap_ohm = volts.tap_resistance_ohm
        rested_v = bus.volt_v + tap_ohm * bus.bus_a
        self._current = bus_sensor(
            amps,
            gains["current"],
            standard_normals(seed, Stream.CURRENT_NOISE),
            Wired(bus, step_s, amps.filter_s, 0.0, bus.bus_a),
        )
        self._voltage = bus_sensor(
            volts,
            gains["voltage"],
            standard_normals(seed, Stream.VOLTAGE_NOISE),
            Wired(bus, step_s, volts.filter_s, tap_ohm, rested_v),
        )
        self._current.sample(bus.bus_a)
        self._voltage.sample(bus.volt_v)

    def _set_loop(self) -> None:
        """Resistance around motor and bridge, and the motor's constant, as now."""
        loop_ohm = self._warmth.winding_ohm + self._esc.resistance_ohm
        self._bus.loop_ohm = loop_ohm * self._condition.loop_factor
        kt = self._motor.kt_nm_a * self._condition.grip_frac
        self._bus.kt_v_s = kt * self._warmth.magnet_frac

    def _warm(self) -> None:
        """Put the losses of the last sub-steps into winding and ESC; let wander."""
        turned, volts, switched = self._sums[1], self._sums[3], self._bus.switched_w
        self._warmth.take(
            self._squares / WARM_STEPS,
            (turned - self._warmed[0]) / WARM_STEPS,
            (volts - self._warmed[1]) / WARM_STEPS,
            self._condition.heating_factor,
            (switched - self._warmed[2]) / WARM_STEPS,
        )
        self._squares = 0.0
        if self._plug is not None:
            self._plug.warm(self._sums[2], WARM_STEPS)
            self._bus.source_ohm = self._fed_ohm
        self._warmed = (turned, volts, switched)
        if self._warmth.follows:
            self._set_loop()
        if self._wander.any:
            self._wander.take()

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
        if self._plug is not None:
            self._plug.gained_ohm = now.plug_ohm
        rise_k = max(0.0, now.winding_rise_k - was.winding_rise_k)
        self._warmth.winding.temperature_k += rise_k
        self._bus.source_ohm = self._fed_ohm
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
        press, feel = self._press.advance, self._cell.feel
        sample_current, sample_voltage = self._current.sample, self._voltage.sample
        condition, placed_n = self._condition, self._press.place(self.placed_load_n)
        looped_a, bank_share, bank_s = self.looped_a, self._bank_share, 0.0
        if bank_share < 1.0:
            bank_s = 1.0 / self._bank_ohm
        plug_in = self.plug_in and condition.plug_in
        grip = condition.grip_frac * self._warmth.magnet_frac
        thrusts, speeds, charges, volts, energies, works = self._sums
        squares = self._squares
        speed, thrust = rotor.speed_rad_s, propeller.thrust_n
        felt = self._mount.force_n
        power = propeller.torque_nm * speed
        for _ in range(steps):
            duty = esc.advance(bus.volt_v)
            old_speed, old_thrust, old_felt, old_power = speed, thrust, felt, power
            if plug_in:
                bus.feed(bank_share * pack.emf_v, duty, speed)
                speed = rotor.advance(grip * bus.motor_a, grip * bus.slope_a_s)
                bus.average(speed - old_speed)
            else:
                bus.drain(duty, speed)
                speed = rotor.advance(grip * bus.motor_a, 0.0)
            current, volt, winding_a = bus.bus_a, bus.volt_v, bus.motor_a
            current += bank_s * volt
            squares += winding_a * winding_a
            pack.advance(current)
            thrust = propeller.thrust_n
            power = propeller.torque_nm * speed
            mean_thrust = 0.5 * (old_thrust + thrust)
            felt = press(mean_thrust + placed_n)
            feel(0.5 * (old_felt + felt))
            sample_current(current + looped_a)
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

    @property
    def plug(self) -> Plug | None:
        """Its arming plug; None where its contacts are not modelled."""
        return self._plug

    def converter(self, name: str) -> Converter:
        """What takes ``current`` or ``voltage`` quickly."""
        return self._conversions.converter(name)

    def conversions(self, name: str, first_us: int, period_us: int) -> list[int]:
        """Counts of ``current`` or ``voltage`` at moments of the newest sub-step.

        Args:
            name: of the channel.
            first_us: the first moment, in microseconds from the sub-step's start, above
                0; what lies beyond its end is not taken.
            period_us: from one to the next, within what ``converter`` says.
        """
        held = self._held if self._conversions.within else None
        looped_a = self.looped_a if name == "current" else 0.0
        return self._conversions.take(name, held, (first_us, period_us), looped_a)

    @property
    def _held(self) -> Held:
        """The newest sub-step, for who looks into it."""
        bus, esc, pack = self._bus, self._esc, self._pack
        speed, duty = self._rotor.speed_rad_s, bus.duty_frac
        fed = self.plug_in and self._condition.plug_in
        end_a = end_duty = start_a = 0.0
        if fed:
            end_duty = esc.duty_frac
            end_a = bus.at_once(pack.emf_v, end_duty, speed)[0]
            start_a = max(0.0, 2.0 * bus.motor_a - end_a)
        start_duty = min(1.0, max(0.0, 2.0 * duty - end_duty))
        return Held(
            number=self._steps,
            fed=fed,
            emf_v=pack.emf_v,
            source_ohm=bus.source_ohm,
            duty_frac=(start_duty, end_duty),
            motor_a=(start_a, end_a),
            rest_a=bus.bus_a - duty * bus.motor_a,
            speed_rad_s=speed,
            bus_v=bus.volt_v,
        )

    @property
    def moments(self) -> Moments | None:
        """The truth within the newest sub-step; None where the truth has no [fast]."""
        return self._conversions.moments(self._held)

    def slow_frame(self) -> tuple[int, ...]:
        """Counts of the temperatures now, of plug and cells since last asked."""
        frame = self._warmth.frame()
        if self._plug is not None:
            plugged = self.plug_in and self._condition.plug_in
            open_v = None if plugged else self._pack.emf_v
            sums = self._sums[2], self._sums[3]
            frame += self._plug.frame(self._steps, *sums, open_v)
        if self._taps is not None:
            frame += self._taps.frame(self._steps, self._sums[2])
        return frame

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
        speed, warmth = self._rotor.speed_rad_s, self._warmth
        still_ct, still_cp = propeller.coefficients(speed)
        wind_ct, wind_cp = propeller.wind
        warming = self._wander.warming
        if self.plug_in and self._condition.plug_in:
            emf_v = self._bank_share * pack.emf_v
            now = bus.at_once(emf_v, self._esc.duty_frac, speed)
        else:
            now = bus.motor_a, 0.0, bus.volt_v, 0.0
        return PlantState(
            time_s=self.time_s,
            thrust_n=propeller.thrust_n,
            felt_n=self._mount.force_n,
            torque_nm=propeller.torque_nm,
            speed_rad_s=speed,
            shaft_power_w=propeller.torque_nm * speed,
            duty_frac=self._esc.duty_frac,
            motor_a=now[0],
            no_load_a=self._motor.no_load_current_a(speed) / warmth.magnet_frac,
            bus_a=now[1] + now[2] / self._bank_ohm,
            bus_v=now[2],
            open_circuit_v=pack.open_circuit_v,
            slow_v=pack.slow_v,
            charge_frac=pack.charge_frac,
            winding_k=warmth.winding.temperature_k,
            esc_k=warmth.esc.temperature_k,
            bus_power_w=now[3] + now[2] * now[2] / self._bank_ohm,
            density_kg_m3=self._density_kg_m3,
            ct=still_ct * wind_ct,
            cp=still_cp * wind_cp,
            still_ct=still_ct,
            still_cp=still_cp,
            kt_v_s=self._motor.kt_nm_a * warmth.magnet_frac,
            winding_ohm=warmth.winding_ohm,
            cell_rise_k=0.0 if warming is None else warming.rise_k,
            plug_ohm=self._plug_ohm,
        )

    @property
    def integrals(self) -> Integrals:
        """The truth since the start, accumulated by the midpoint rule."""
        step_s = self._step_s
        thrusts, speeds, charges, volts, energies, works = self._sums
        energies -= self._bus.rippled_w
        sums = (thrusts, speeds, charges, volts, energies, works)
        return Integrals(self.time_s, *(total * step_s for total in sums))
