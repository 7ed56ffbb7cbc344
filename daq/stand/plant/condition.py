"""What may be wrong with the article and its supply, as switches.

All of it at once, so that several faults can be in it together. Says what is so,
never since when or why: that is for whoever sets it.
"""

from dataclasses import dataclass


@dataclass(slots=True)
class Condition:
    """As healthy as it was built, unless changed.

    Attributes:
        plug_in: the arming plug.
        propeller_on: the propeller is on the shaft.
        rotor_free: nothing blocks the rotor.
        grip_frac: how much of the motor's constant is at work, for torque and
            back-EMF alike; 1 in step, near 0 or below it out of step.
        loop_factor: on the resistance around motor and bridge.
        heating_factor: on the heat that goes into the winding.
        winding_rise_k: how much hotter the winding is, once.
        cells: in series; None: as built.
        pack_resistance_factor: on the pack's resistances.
        charge_frac: what the pack has left at most; None: as built.
        plug_ohm: resistance that the plug has gained.
        esc_arms: the ESC takes pulses at all.
        esc_heeds_zero: the ESC takes a pulse of zero throttle as such.
    """

    plug_in: bool = True
    propeller_on: bool = True
    rotor_free: bool = True
    grip_frac: float = 1.0
    loop_factor: float = 1.0
    heating_factor: float = 1.0
    winding_rise_k: float = 0.0
    cells: int | None = None
    pack_resistance_factor: float = 1.0
    charge_frac: float | None = None
    plug_ohm: float = 0.0
    esc_arms: bool = True
    esc_heeds_zero: bool = True
