"""What the plant tells of itself: the truth that measurements are held against.

A side door for tests and demonstrations; nothing that measures may use it.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlantState:
    """Truth at one instant.

    Attributes:
        time_s: plant time.
        thrust_n: thrust of the propeller.
        felt_n: force in the load cell, mount, arm and placed load included, but
            not what shakes it.
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
        bus_power_w: mean of voltage times current over a cycle of the bridge, which
            is not the product of ``bus_v`` and ``bus_a`` where it switches.
        density_kg_m3: density of the air.
        ct: thrust coefficient as the air is now.
        cp: power coefficient as the air is now.
        still_ct: thrust coefficient at this speed in still air.
        still_cp: power coefficient at this speed in still air.
        kt_v_s: the motor's constant, as warm as its magnets are.
        winding_ohm: resistance of the winding, as warm as it is.
        cell_rise_k: how much warmer the load cell is than at the start.
        plug_ohm: resistance of both contacts of the plug.
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
    bus_power_w: float
    density_kg_m3: float
    ct: float
    cp: float
    still_ct: float
    still_cp: float
    kt_v_s: float
    winding_ohm: float
    cell_rise_k: float
    plug_ohm: float


@dataclass(frozen=True, slots=True)
class Integrals:
    """Time integrals since the start: a mean is a difference quotient of two.

    Attributes:
        time_s: plant time.
        thrust_n_s: of the propeller's thrust.
        turned_rad: of the speed.
        bus_charge_c: of the bus current.
        bus_v_s: of the bus voltage.
        bus_energy_j: of bus voltage times bus current, ripple and all.
        shaft_energy_j: of propeller torque times speed.
    """

    time_s: float
    thrust_n_s: float
    turned_rad: float
    bus_charge_c: float
    bus_v_s: float
    bus_energy_j: float
    shaft_energy_j: float
