"""One run, from readings to findings: the way in to the analysis.

``analyse`` puts the parts together and ``Analysis.to_dict`` lays the results
out as plain tables. Channels that are missing are skipped; a run that was cut
short is analysed as far as it goes. Nothing here opens a file.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from daq.analysis import (
    apart,
    bare,
    flight,
    inside,
    lasting,
    moving,
    noised,
    packed,
    performance,
    plug_doubts,
    plugged,
    quality,
    restating,
    stepped,
)
from daq.analysis.air import Air, assumed_air
from daq.analysis.aircraft import Aircraft
from daq.analysis.bridge import read_powertrain
from daq.analysis.bursts import read_bursts
from daq.analysis.captures import Capture
from daq.analysis.curves import Curve, draw_bare_curves, draw_curves, draw_exponent
from daq.analysis.emptied import HeldGoal, read_emptied
from daq.analysis.findings import Evidence, Finding
from daq.analysis.glides import read_glides
from daq.analysis.hover import fly
from daq.analysis.legs import up_down
from daq.analysis.measured import Measured
from daq.analysis.motor import Winding, read_motor
from daq.analysis.noise import read_noise
from daq.analysis.pack import FittedPack, read_pack
from daq.analysis.plateaus import DEFAULT_SETTLE_S, Plateaus, average
from daq.analysis.plug import FittedPlug, read_plug
from daq.analysis.power import electrical_power, specific_thrust
from daq.analysis.propeller import Disc, examine
from daq.analysis.restated import at_one_voltage
from daq.analysis.series import Hold, Series, check_run
from daq.analysis.steps import read_steps
from daq.analysis.unseen import NOTHING_UNSEEN, Unseen
from daq.analysis.zeros import REST_SETTLE_S
from daq.errors import InputFault
from daq.units import n_to_gf, rad_s_to_rpm

#: The order in which findings are told.
FINDINGS: tuple[Callable[[Evidence], Finding | None], ...] = (
    quality.no_dwell,
    # Who let captures be taken, or emptied a pack, came for these.
    noised.ripple,
    noised.dip,
    noised.overshoot,
    noised.lines,
    noised.aliases,
    lasting.endurance_in_air,
    lasting.usable_charge,
    lasting.usable_energy,
    lasting.endurance_measured,
    lasting.resistance_at_the_end,
    moving.glided,
    moving.glide_ways,
    moving.burst_current,
    moving.burst_voltage,
    moving.burst_rise,
    performance.maximum_thrust,
    performance.specific_thrust_at_maximum,
    performance.best_specific_thrust,
    performance.thrust_exponent,
    performance.thrust_coefficient,
    performance.total_efficiency,
    performance.momentum_bound,
    inside.speed_constant,
    inside.shaft_power,
    inside.figure_of_merit,
    inside.power_coefficient,
    restating.thrust_in_standard_air,
    performance.sag,
    packed.resistance,
    packed.to_the_floor,
    stepped.resistance,
    stepped.cells,
    flight.hover_throttle,
    flight.hover_specific_thrust,
    flight.hover_current,
    flight.endurance,
    flight.thrust_to_weight,
    flight.full_throttle_current,
    flight.no_hover,
    plug_doubts.trouble,
    plugged.resistance,
    plugged.contacts,
    plugged.dropped,
    plugged.warmed,
    plugged.soaked,
    plugged.in_flight,
    plugged.costs,
    apart.legs_apart,
    restating.legs_on_one_voltage,
    restating.moved_by_voltage,
    quality.zero_of_thrust,
    quality.unsettled,
    quality.lost_readings,
    quality.missed_captures,
    quality.unused,
)
#: The same for a bare motor: it has no thrust, and nothing that rests on thrust.
BARE_FINDINGS: tuple[Callable[[Evidence], Finding | None], ...] = (
    quality.no_dwell,
    bare.propeller_seen,
    bare.no_load_current,
    bare.no_load_power,
    quality.unsettled,
    quality.lost_readings,
    quality.unused,
)

#: The same for loads that were switched by hand: no motor, plug and pack only.
HAND_FINDINGS: tuple[Callable[[Evidence], Finding | None], ...] = (
    quality.no_dwell,
    packed.resistance,
    packed.to_the_floor,
    plug_doubts.trouble,
    plugged.resistance,
    plugged.contacts,
    plugged.dropped,
    plugged.warmed,
    plugged.soaked,
    plugged.in_flight,
    quality.unsettled,
    quality.lost_readings,
    quality.unused,
)

#: Columns of the plateaus table: channel, key in SI.
_CHANNEL_COLUMNS = (
    ("thrust", "thrust", "n"),
    ("current", "current", "a"),
    ("current-high", "current_high", "a"),
    ("voltage", "voltage", "v"),
    ("voltage-low", "voltage_low", "v"),
    ("speed", "speed", "rad_s"),
    ("plug-plus", "plug_plus", "v"),
    ("plug-minus", "plug_minus", "v"),
)

#: Channels that say something of a load that was switched by hand.
OF_A_LOAD = (
    "current",
    "current-high",
    "voltage",
    "voltage-low",
    "pack-voltage",
    "plug-plus",
    "plug-minus",
)

Row = dict[str, float | int | str | None]


@dataclass(frozen=True, slots=True)
class Analysis:
    """What a run says.

    Attributes:
        plateaus: The averaged run.
        curves: The curves that could be drawn.
        findings: The findings, in the order in which they are told.
        evidence: Everything the findings were made of.
    """

    plateaus: Plateaus
    curves: tuple[Curve, ...]
    findings: tuple[Finding, ...]
    evidence: Evidence

    def rows(self) -> list[Row]:
        """The plateaus as a table: one row each, the same keys in every row.

        SI with the unit as suffix; ``_u_`` marks combined standard
        uncertainties. Thrust, speed and specific thrust are repeated in the
        trade's units. None where there is no value.
        """
        return [self._row(index) for index in range(len(self.plateaus))]

    def to_dict(self) -> dict[str, object]:
        """Plateaus, curves and findings for JSON."""
        glides, bursts = self.evidence.glides, self.evidence.bursts
        return {
            "plateaus": self.rows(),
            "glides": glides.rows() if glides else [],
            "bursts": bursts.rows() if bursts else [],
            "curves": [curve.to_dict() for curve in self.curves],
            "one_voltage": self._one_voltage(),
            "findings": [finding.to_dict() for finding in self.findings],
        }

    def _one_voltage(self) -> dict[str, object] | None:
        """The run on one bus voltage, for JSON."""
        found = self.evidence.one_voltage
        if found is None:
            return None
        return {
            "bus_v": found.bus_v,
            "curves": [curve.to_dict() for curve in found.curves],
        }

    def _row(self, index: int) -> Row:
        plateaus = self.plateaus
        row: Row = {
            "plateau": index + 1,
            "leg": plateaus.leg[index],
            "step": int(plateaus.step[index]),
            "throttle_frac": float(plateaus.throttle_frac[index]),
            "start_s": float(plateaus.start_s[index]),
            "end_s": float(plateaus.end_s[index]),
        }
        for channel, key, unit in _CHANNEL_COLUMNS:
            _put(row, key, unit, plateaus.measured(channel), index)
        evidence = self.evidence
        power = None if evidence.power is None else evidence.power.measured
        _put(row, "power", "w", power, index)
        _put(row, "specific_thrust", "n_w", evidence.specific, index)
        thrust, speed = plateaus.measured("thrust"), plateaus.measured("speed")
        _put(row, "thrust", "gf", thrust, index, n_to_gf)
        _put(row, "speed", "rpm", speed, index, rad_s_to_rpm)
        _put(row, "specific_thrust", "gf_w", evidence.specific, index, n_to_gf)
        propeller = evidence.propeller
        if propeller is not None:
            _put(row, "ideal_power", "w", propeller.ideal_power_w, index)
            _put(row, "total_efficiency", "frac", propeller.total_efficiency, index)
            _put(row, "thrust_coefficient", "", propeller.thrust_coefficient, index)
        means = plateaus.channels.values()
        row["glitches"] = sum(int(m.glitches[index]) for m in means)
        row["lost"] = sum(int(m.lost[index]) for m in means)
        row["flags"] = "; ".join(plateaus.flags(index))
        return row


def analyse(
    series: Mapping[str, Series],
    holds: Sequence[Hold],
    *,
    diameter_m: float | None = None,
    diameter_u_m: float = 0.0,
    air: Air | None = None,
    settle_s: float = DEFAULT_SETTLE_S,
    rest_settle_s: float = REST_SETTLE_S,
    nominal: Collection[str] = (),
    notes: Sequence[str] = (),
    propeller_off: bool = False,
    on_supply: bool = False,
    aircraft: Aircraft | None = None,
    winding: Winding | None = None,
    unseen: Unseen = NOTHING_UNSEEN,
    fitted_plug: FittedPlug | None = None,
    fitted_pack: FittedPack | None = None,
    captures: Sequence[Capture] = (),
    missed: Sequence[str] = (),
    held: HeldGoal | None = None,
    by_hand: bool = False,
) -> Analysis:
    """Analyse one run.

    Args:
        series: Channels by name, on the device's time axis; any of thrust,
            current, current-high, voltage, voltage-low, speed, plug-plus,
            plug-minus. Others are averaged too but nothing is made of them.
        holds: Stretches of the run, on the same axis.
        diameter_m: Measured tip diameter of the propeller; None if not known.
        diameter_u_m: Its standard uncertainty.
        air: Density of the air; None takes standard air with a wide
            uncertainty and says so.
        settle_s: Time cut off the front of each dwell.
        rest_settle_s: Time cut off each rest that follows a dwell.
        nominal: Channels whose scale factor is nominal, not calibrated: said
            with every finding that rests on them.
        notes: Sentences that go with every finding.
        propeller_off: Whether the motor was bare: then nothing is said of thrust.
        on_supply: Whether a bench supply fed it: then nothing is said of sag, nor of
            an aircraft.
        aircraft: What the article is meant to fly on, if that is known.
        winding: What was measured of the motor apart, if anything was.
        unseen: What neither calibration nor readings show, on a real stand.
        fitted_plug: What the article says of its plug.
        fitted_pack: What the article says of its pack.
        captures: Fast captures that came.
        missed: Fast captures that did not come, and why, in sentences.
        held: What thrust was to be held, and how that ended, if any was.
        by_hand: Whether loads were switched by hand and no motor turned: then nothing
            is said of one.

    Returns:
        Plateaus, curves and findings; tables are empty, and a finding says so,
        when nothing was held long enough.

    Raises:
        InputFault: No readings, holds that overlap or lie outside the readings,
            or a number that cannot be what it says.
    """
    if by_hand:
        series = {name: one for name, one in series.items() if name in OF_A_LOAD}
    check_run(series, holds)
    for key, number in (("settle_s", settle_s), ("rest_settle_s", rest_settle_s)):
        if not (math.isfinite(number) and number >= 0):
            raise InputFault(f"{key} is {number}; it must be zero or more seconds")
    plateaus = average(
        series, holds, settle_s=settle_s, rest_settle_s=rest_settle_s, unseen=unseen
    )
    power = electrical_power(series, plateaus)
    thrust = None if propeller_off else plateaus.measured("thrust")
    specific = None
    if thrust is not None and power is not None:
        specific = specific_thrust(thrust, power.measured)
    disc = None
    if diameter_m is not None and not propeller_off:
        disc = Disc(diameter_m, diameter_u_m, assumed_air() if air is None else air)
    watt = None if power is None else power.measured
    propeller = None if disc is None else examine(plateaus, watt, disc)
    train = None if propeller_off else read_powertrain(plateaus, watt)
    pack = None if on_supply or propeller_off else read_pack(series, plateaus)
    evidence = Evidence(
        plateaus=plateaus,
        power=power,
        specific=specific,
        disc=disc,
        propeller=propeller,
        curves=()
        if by_hand
        else draw_bare_curves(plateaus, watt)
        if propeller_off
        else draw_curves(plateaus, watt, specific),
        exponent=None if propeller_off or by_hand else draw_exponent(plateaus, watt),
        legs=up_down(plateaus, _both_legs(plateaus, watt)),
        nominal=frozenset(nominal),
        notes=tuple(notes),
        glides=read_glides(series, holds, plateaus, unseen),
        bursts=read_bursts(series, holds, plateaus),
        propeller_off=propeller_off,
        on_supply=on_supply,
        train=train,
        one_voltage=None if propeller_off else at_one_voltage(plateaus, watt),
        motor=None
        if winding is None or by_hand
        else read_motor(
            plateaus,
            watt,
            None if propeller is None else propeller.ideal_power_w,
            disc,
            winding,
        ),
        of_scale=_of_scale(series, unseen),
        flight=None
        if aircraft is None or pack is None or train is None
        else fly(pack, train, aircraft),
        pack=pack,
        fitted_pack=fitted_pack,
        steps=None if on_supply or propeller_off else read_steps(series, holds),
        by_hand=by_hand,
        full_a=None if aircraft is None else aircraft.full_a,
        plug=read_plug(series, holds, plateaus),
        fitted_plug=fitted_plug,
        captures=tuple(captures),
        missed=tuple(missed),
        noise=read_noise(captures, series),
        emptied=None
        if on_supply or propeller_off
        else read_emptied(series, holds, held, aircraft, unseen),
    )
    told = BARE_FINDINGS if propeller_off else FINDINGS
    told = HAND_FINDINGS if by_hand else told
    written = (write(evidence) for write in told)
    return Analysis(
        plateaus=plateaus,
        curves=evidence.curves,
        findings=tuple(finding for finding in written if finding is not None),
        evidence=evidence,
    )


def _of_scale(series: Mapping[str, Series], unseen: Unseen) -> frozenset[str]:
    """Names of the sources that belong to the stand and not to the run."""
    found = set(unseen.names)
    for channel in series.values():
        found.update(channel.errors.factors(channel.name, [0.0]))
    return frozenset(found)


def _both_legs(plateaus: Plateaus, power: Measured | None) -> dict[str, Measured]:
    compared = {
        name: plateaus.channels[name].measured
        for name in ("thrust", "current", "voltage", "speed")
        if name in plateaus.channels
    }
    if power is not None:
        compared["power"] = power
    return compared


def _put(
    row: Row,
    key: str,
    unit: str,
    measured: Measured | None,
    index: int,
    convert: Callable[[float], float] = float,
) -> None:
    """Add a value and its uncertainty to a row, if the run has the quantity."""
    if measured is None:
        return
    suffix = f"_{unit}" if unit else ""
    value = float(measured.value[index])
    u = math.sqrt(float(measured.variance()[index]))
    row[f"{key}{suffix}"] = convert(value) if math.isfinite(value) else None
    row[f"{key}_u{suffix}"] = convert(u) if math.isfinite(u) else None
