"""Findings about a pack that was emptied: how long it lasted, and what came out of it.

Each function writes one finding, or None where the run has not what it takes. Only
picks, converts and words; every figure was computed in ``emptied``. What a run that
ended early says is a lower bound, and must never be called an endurance.
"""

from bisect import bisect_left
from typing import Final

from daq.analysis.aloft import InAir
from daq.analysis.emptied import Emptied
from daq.analysis.findings import (
    Evidence,
    Finding,
    bare_text,
    channels_of,
    finding_of,
    reading,
    remark_of,
    text_of,
)
from daq.analysis.flight import LEADS, ONE_AIR
from daq.analysis.packed import WITH_LEADS
from daq.units import coulomb_to_mah, milli, n_to_gf

SECONDS_A_MINUTE: Final = 60.0
JOULE_A_WH: Final = 3600.0
CHANNELS: Final = ("current",)
ALL: Final = ("thrust", "current", "voltage")
#: Charge left by the voltage of a rested cell, lithium polymer, volt and percent
#: (common practice, no source; good to some percent at the ends, worse between).
BY_VOLTAGE: Final = (
    (3.27, 0.0),
    (3.61, 5.0),
    (3.69, 10.0),
    (3.73, 20.0),
    (3.77, 30.0),
    (3.80, 40.0),
    (3.84, 50.0),
    (3.87, 60.0),
    (3.95, 70.0),
    (4.02, 80.0),
    (4.11, 90.0),
    (4.20, 100.0),
)
#: From here on a pack counts as full.
FULL_PERCENT: Final = 90.0
WHY: Final = {
    "floor": "",
    "spent": (
        "the highest throttle gave the thrust no longer before the floor was reached: "
        "the pack is counted as empty there"
    ),
    "faded": "the thrust could not be kept up though the voltage had hardly fallen",
    "not reached": "the highest throttle never gave the thrust",
    "longest": "the plan's longest time was over",
    "": "the run was cut short",
}
ONE_MOTOR: Final = (
    "one motor on the stand draws a share of what the aircraft does: this time is not "
    "the aircraft's, and a pack under so little load sags less and gives a little more"
)
NOTHING_LEFT: Final = (
    "down to the floor with nothing kept back: land before, as one does to keep a pack "
    "alive, and it is less by that share"
)
BOUND: Final = "a lower bound: the pack was not empty"
NO_TEMPERATURE: Final = "how warm the pack was is not measured by this stand"


def endurance_measured(evidence: Evidence) -> Finding | None:
    """How long the pack kept one motor at its thrust."""
    found = evidence.emptied
    if found is None:
        return None
    thrust = reading(found.thrust_n, 0, "gf", n_to_gf)
    amps = reading(found.current_a, 0, "A")
    end = reading(found.end_v, 0, "V")
    if thrust is None or amps is None or end is None:
        return None
    minutes = found.goal.lasted_s / SECONDS_A_MINUTE
    held = (
        f"{text_of(thrust)} (asked: {n_to_gf(found.goal.thrust_n):.1f} gf) at "
        f"{bare_text(amps)}"
    )
    if found.goal.emptied:
        sentence = (
            f"The pack kept one motor at {held} for {minutes:.2f} min, down to "
            f"{end.value:.2f} V under load."
        )
    else:
        sentence = (
            f"The pack kept one motor at {held} for {minutes:.2f} min and was not "
            f"empty then: {WHY[found.goal.end]}, at {end.value:.2f} V under load."
        )
    return remark_of(
        "endurance-measured",
        sentence,
        minutes,
        "min",
        (*channels_of(ALL), _approach(found)),
        evidence.cautions(ALL, (*_cautions(found), ONE_MOTOR)),
    )


def usable_charge(evidence: Evidence) -> Finding | None:
    """Charge that came out of the pack until its floor."""
    found = evidence.emptied
    charge = (
        None if found is None else reading(found.charge_c, 0, "mAh", coulomb_to_mah)
    )
    if found is None or charge is None:
        return None
    return finding_of(
        evidence,
        "usable-charge",
        f"{_gave(evidence, found)} {text_of(charge)}"
        f"{_of_rated(evidence, charge.value)}.",
        charge,
        (),
        CHANNELS,
        (*_cautions(found), *_at_start(evidence, found)),
    )


def usable_energy(evidence: Evidence) -> Finding | None:
    """Energy that arrived at the bus until the floor."""
    found = evidence.emptied
    energy = None if found is None else reading(found.energy_j, 0, "Wh", _wh)
    if found is None or energy is None:
        return None
    mean_v = float(found.energy_j.value[0] / found.charge_c.value[0])
    more = evidence.power.cautions if evidence.power is not None else ()
    return finding_of(
        evidence,
        "usable-energy",
        f"{_gave(evidence, found)} {text_of(energy)} where the stand reads the "
        f"voltage, at {mean_v:.2f} V on average.",
        energy,
        (),
        ("voltage", "current"),
        (*_cautions(found), *_at_start(evidence, found), *more),
    )


def resistance_at_the_end(evidence: Evidence) -> Finding | None:
    """Resistance of the emptied pack, by what its voltage came back by."""
    found = evidence.emptied
    back = None if found is None else found.back
    if found is None or back is None:
        return None
    ohm = reading(found.end_ohm, 0, "milliohm", milli)
    if ohm is None:
        return None
    slowly = ""
    if back.slow_v > 0:
        share = 100 * back.slow_v / (back.slow_v + back.quick_v)
        slowly = f", {share:.0f} % of it slowly, in about {back.slow_s:.0f} s"
    return finding_of(
        evidence,
        "pack-resistance-at-end",
        f"Let off, the pack came back by "
        f"{milli(back.quick_v + back.slow_v):.0f} mV: {text_of(ohm)} with leads and "
        f"plug{slowly}.",
        ohm,
        (),
        ("voltage", "current"),
        (
            WITH_LEADS,
            "as empty as it was then: a pack has most when it is empty or cold",
            f"seen for {back.lasted_s:.0f} s: what recovers over minutes is not in it",
        ),
    )


def endurance_in_air(evidence: Evidence) -> Finding | None:
    """How long the aircraft hovers on this pack, as it was measured."""
    found = evidence.emptied
    air = None if found is None else found.in_air
    if found is None or air is None:
        return None
    minutes = reading(air.endurance_s, 0, "min", _minutes)
    amps = reading(air.total_a, 0, "A")
    charge = reading(air.charge_c, 0, "mAh", coulomb_to_mah)
    if minutes is None or amps is None or charge is None:
        return None
    sentence = (
        f"{_aircraft(air)} on this pack{_begun(evidence, found)} for "
        f"{text_of(minutes)}, to the same "
        f"{found.goal.floor_v:.2f} V under load: it draws {bare_text(amps)} on average "
        f"and gets {bare_text(charge)} out{_predicted(evidence, air)}."
    )
    return finding_of(
        evidence,
        "endurance-in-air",
        sentence,
        minutes,
        (),
        ALL,
        (
            "the pack's voltage against charge was measured with one motor; what the "
            "current of all of them drops more is taken off by its resistance as it "
            "was at the end",
            f"extrapolated: the stand drew {air.beyond_a:.3g} A at most, and this "
            f"rests on {amps.value:.3g} A",
            "no wind, no climb, no manoeuvre: flown any other way it is less",
            NOTHING_LEFT,
            *_at_start(evidence, found),
            LEADS,
            ONE_AIR,
        ),
    )


def _gave(evidence: Evidence, found: Emptied) -> str:
    begun = _begun(evidence, found)
    if found.goal.emptied:
        return f"Down to its floor the pack{begun} gave"
    return f"Until then the pack{begun} had given at least"


def _begun(evidence: Evidence, found: Emptied) -> str:
    """What has to be said with every figure of a pack that was not full."""
    fitted = evidence.fitted_pack
    if fitted is None:
        return ""
    percent = _left_percent(float(found.rest_v.value[0]) / fitted.cells)
    if percent >= FULL_PERCENT:
        return ""
    return f", begun about {percent:.0f} % charged,"


def _of_rated(evidence: Evidence, charge_mah: float) -> str:
    fitted = evidence.fitted_pack
    if fitted is None or fitted.capacity_c is None:
        return ""
    rated_mah = coulomb_to_mah(fitted.capacity_c)
    return f", {100 * charge_mah / rated_mah:.0f} % of the {rated_mah:.0f} mAh printed"


def _aircraft(air: InAir) -> str:
    motors = "its motor" if air.motors == 1 else f"all {air.motors} motors"
    return f"With {motors} the aircraft would hover"


def _predicted(evidence: Evidence, air: InAir) -> str:
    """What a prediction says, where there is one to be held against."""
    flight = evidence.flight
    hover = None if flight is None else flight.hover
    predicted = None if hover is None else hover.endurance_s
    if predicted is not None:
        said = _minutes(float(predicted.value[0]))
        return f" (predicted from levels and the printed charge: {said:.1f} min)"
    fitted = evidence.fitted_pack
    if fitted is None or fitted.capacity_c is None:
        return ""
    said = _minutes(0.8 * fitted.capacity_c / float(air.total_a.value[0]))
    return f" (by four fifths of the printed charge it would be {said:.1f} min)"


def _approach(found: Emptied) -> str:
    reached_s = found.goal.reached_s
    if reached_s is None:
        return "mean over the whole hold: the thrust asked for was never reached"
    return f"mean of thrust and current from {reached_s:.0f} s into the hold on"


def _cautions(found: Emptied) -> tuple[str, ...]:
    why = WHY[found.goal.end]
    if found.goal.emptied:
        return (why,) if why else ()
    return (BOUND, why)


def _at_start(evidence: Evidence, found: Emptied) -> tuple[str, ...]:
    """What the pack began as."""
    volt = float(found.rest_v.value[0])
    rested = f"seen at rest for {found.rested_s:.0f} s before"
    fitted = evidence.fitted_pack
    if fitted is None:
        return (f"the pack began at {volt:.2f} V, {rested}", NO_TEMPERATURE)
    cell_v = volt / fitted.cells
    return (
        f"the pack began at {cell_v:.2f} V a cell, {rested}: about "
        f"{_left_percent(cell_v):.0f} % charged, by voltage only, which tells it to "
        "some percent",
        NO_TEMPERATURE,
    )


def _left_percent(cell_v: float) -> float:
    """Charge left by the voltage of a rested cell."""
    volts = [volt for volt, _ in BY_VOLTAGE]
    place = bisect_left(volts, cell_v)
    if place == 0:
        return BY_VOLTAGE[0][1]
    if place == len(volts):
        return BY_VOLTAGE[-1][1]
    (low_v, low), (high_v, high) = BY_VOLTAGE[place - 1 : place + 1]
    return low + (high - low) * (cell_v - low_v) / (high_v - low_v)


def _minutes(seconds: float) -> float:
    return seconds / SECONDS_A_MINUTE


def _wh(joule: float) -> float:
    return joule / JOULE_A_WH
