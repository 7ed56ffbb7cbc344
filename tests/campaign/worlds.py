"""Random worlds: what a stand and its article may truly be, drawn by a number.

Ranges are what is usual for motors of 1103 to 1507 size, propellers of 31 to 89 mm
and stands good and poor (common practice, no source, but where a line says so). The
analysis must never see any of it.
"""

import math
from dataclasses import dataclass

import numpy as np

from daq.stand.plant.truth import Truth
from daq.typed_toml import check_typed

Tables = dict[str, dict[str, object]]

KEY = 4_2026  # keys the numbers; another one is another family of worlds
PLUG_KEY = 7_2026  # the plug's draws, which came later and move no others
NOISE_KEY = 8_2026  # those of what happens within a millisecond, likewise
DENSITY_KG_M3 = 1.2  # for sizes only
SIZES_MM = tuple((d, h) for d in range(11, 16) for h in range(3, 8))
"""Stator diameter and height: a 1404 has 14 mm and 4 mm."""
SMALLEST_MM3, LARGEST_MM3 = 11.0**2 * 3.0, 15.0**2 * 7.0
LIKE_MM3 = 14.0**2 * 4.0  # the 1404 that the shipped truth has, and scales start at
CELLS_N = (1.961, 4.903, 9.807, 19.61, 49.03)  # load cells of 200 g to 5 kg
OCV_CHARGE = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]
OCV_V = [3.00, 3.45, 3.60, 3.69, 3.74, 3.78, 3.83, 3.89, 3.96, 4.03, 4.10, 4.19]


@dataclass(frozen=True, slots=True)
class World:
    """One world.

    Attributes:
        seed: it was drawn by.
        motor_size: stator diameter and height in mm, as such motors are named.
        poorness: of the stand; 0 good, 1 poor.
        truth: all of it, with a scatter to draw specimens and mountings from.
        thrust_arm_m: arm of the thrust axis as its owner measured it.
        mass_arm_m: arm of the mass point as its owner measured it.
        diameter_m: of the propeller, as its owner measured it.
    """

    seed: int
    motor_size: str
    poorness: float
    truth: Truth
    thrust_arm_m: float
    mass_arm_m: float
    diameter_m: float


class _Lot:
    """Numbers of one world."""

    def __init__(self, seed: int, key: int = KEY) -> None:
        sequence = np.random.SeedSequence(seed, spawn_key=(key,))
        self._random = np.random.Generator(np.random.PCG64(sequence))
        self.poorness = 0.0
        self.poorness = self.between(0.0, 1.0)

    def between(self, low: float, high: float) -> float:
        return float(self._random.uniform(low, high))

    def about(self, middle: float, rel: float) -> float:
        """Log-normal about a middle, never further than two and a half."""
        z = float(np.clip(self._random.standard_normal(), -2.5, 2.5))
        return middle * math.exp(rel * z)

    def error(self, size: float) -> float:
        """Normal about nothing, never further than two and a half."""
        return size * float(np.clip(self._random.standard_normal(), -2.5, 2.5))

    def poor(self, good: float, poor: float) -> float:
        """A size that grows with the poorness of the stand, by ratios."""
        return self.about(good * (poor / good) ** self.poorness, 0.3)

    def sign(self) -> float:
        return 1.0 if self._random.random() < 0.5 else -1.0

    def one_of(self, *choices: float) -> float:
        return float(choices[int(self._random.integers(len(choices)))])


@dataclass(frozen=True, slots=True)
class _Sized:
    """What the other tables are sized by; estimates at full throttle."""

    cells: int
    thrust_n: float
    current_a: float
    rotor_kg: float
    bus_v: float


def draw_world(seed: int) -> World:
    """The world of that number; the same number gives the same world."""
    lot = _Lot(seed)
    size_mm = SIZES_MM[int(lot.between(0, len(SIZES_MM)))]
    tables, sized = _article(lot, size_mm)
    tables |= _supply(lot, sized) | _sensors(lot, sized) | _surroundings(lot)
    rated_n = next(n for n in CELLS_N if n > 3.0 * sized.thrust_n)
    tables |= _cell(lot, rated_n) | _shaking(lot, sized)
    arm = _arm(lot)
    tables["arm"] = {**arm}
    tables |= _plug(seed) | _within(seed, tables["esc"])
    # A steel rule on a small stand: half a millimetre (common practice, no source).
    ruler_m = 0.0003 + 0.0007 * lot.poorness
    named = f"{size_mm[0]:02}{size_mm[1]:02}"
    data: dict[str, object] = {"title": f"simulated: world {seed}, a {named} motor"}
    return World(
        seed=seed,
        motor_size=named,
        poorness=lot.poorness,
        truth=check_typed(data | tables, Truth, f"world {seed}"),
        thrust_arm_m=arm["thrust_arm_m"] + lot.error(ruler_m),
        mass_arm_m=arm["mass_arm_m"] + lot.error(ruler_m),
        diameter_m=float(str(tables["propeller"]["diameter_m"]))
        + lot.error(0.5 * ruler_m),
    )


def _plug(seed: int) -> Tables:
    """The plug by its two contacts, and what measures them."""
    lot = _Lot(seed, PLUG_KEY)
    return {
        "plug": {
            "plus_share_frac": lot.between(0.4, 0.6),
            "capacity_j_k": lot.between(0.4, 3.0),
            "resistance_k_w": lot.between(15.0, 50.0),
        },
        "plug_sense": {
            "counts_per_v": 100_000.0,
            "gain_u": lot.poor(0.0005, 0.004),
            "zero_error_counts": lot.error(5.0),
            "minus_zero_error_counts": lot.error(5.0),
            "noise_counts_rms": lot.poor(0.5, 4.0),
            "plus_lead_ohm": lot.between(0.0, 0.0005),
            "minus_lead_ohm": lot.between(0.0, 0.0005),
            "common_mode_rel": lot.error(lot.poor(1e-6, 4e-5)),
        },
    }


def _within(seed: int, esc: dict[str, object]) -> Tables:
    """Leads, commutation and converter; the bus's capacitance is shared out."""
    lot = _Lot(seed, NOISE_KEY)
    whole_f = float(str(esc["bus_capacitance_f"]))
    own_f = whole_f * lot.between(0.05, 0.25)
    esc["bus_capacitance_f"] = own_f
    return {
        "bus_capacitor": {
            "capacitance_f": whole_f - own_f,
            "esr_ohm": lot.about(0.035, 0.4),
        },
        "fast": {
            "wiring_h": lot.between(0.1e-6, 0.6e-6),
            "esc_esr_ohm": lot.between(0.002, 0.008),
            "motor_h": lot.between(8e-6, 30e-6),
            "pole_pairs": int(lot.one_of(6, 7)),
            "commutation_dip_frac": lot.between(0.1, 0.6),
            "voltage_filter_s": lot.between(3e-6, 12e-6),
            "current_filter_s": lot.between(5e-6, 30e-6),
            "voltage_step_v": lot.one_of(0.01, 0.02, 0.04),
            "current_step_a": lot.one_of(0.05, 0.1, 0.2),
            "noise_steps_rms": lot.between(0.1, 0.5),
        },
    }


def _article(lot: _Lot, size_mm: tuple[int, int]) -> tuple[Tables, _Sized]:
    """Motor, propeller and what warms."""
    volume = size_mm[0] ** 2 * size_mm[1]
    like = volume / LIKE_MM3
    place = math.log(volume / SMALLEST_MM3) / math.log(LARGEST_MM3 / SMALLEST_MM3)
    diameter_m = 0.031 + 0.058 * min(1.0, max(0.0, place + lot.error(0.10)))
    cells = round(lot.between(0.51, 2.2) + 2.2 * (diameter_m - 0.031) / 0.058)
    # n D at full throttle: 30 to 55 m/s, more for larger ones; 25,000 to 85,000 rpm.
    tip_m_s = lot.between(30.0, 42.0) + 12.0 * (diameter_m - 0.031) / 0.058
    rev_s = min(66e3 / 60.0, tip_m_s / diameter_m)
    bus_v = 3.8 * cells
    kv = lot.about(rev_s * 60.0 / (0.81 * bus_v), 0.08)
    kv = min(20e3, max(2e3, kv))
    kt = 60.0 / (2.0 * math.pi * kv)
    propeller = _propeller(lot, diameter_m, rev_s)
    ct, cp = (float(str(propeller[key][-1])) for key in ("ct", "cp"))  # type: ignore[index]
    thrust_n = ct * DENSITY_KG_M3 * rev_s**2 * diameter_m**4
    torque_nm = cp * DENSITY_KG_M3 * rev_s**2 * diameter_m**5 / (2.0 * math.pi)
    # K_t/sqrt(R) and friction grow with the iron there is.
    constant = lot.about(4.4e-3 * like**0.8, 0.10)
    no_load_a = lot.about(8.0e-4 * like**1.5, 0.2) / kt
    mass_kg = 0.009 * like**0.9
    motor: dict[str, object] = {
        "kv_rpm_v": kv,
        "resistance_ohm": (kt / constant) ** 2,
        "no_load_current_a": no_load_a,
        "no_load_growth_a_s_rad": no_load_a * lot.between(0.4e-4, 1.6e-4),
        "inertia_kg_m2": lot.about(2.6e-7 * like * (size_mm[0] / 14.0) ** 2, 0.1),
    }
    winding: dict[str, object] = {
        "capacity_j_k": lot.about(4.0 * like**0.9, 0.15),
        "resistance_k_w": lot.about(2.5 * like**-0.6, 0.2),
        "resistance_follows": True,
        "magnet_rel_k": -lot.about(0.0011, 0.1),
    }
    esc_heat: dict[str, object] = {
        "capacity_j_k": lot.about(2.5, 0.3),
        "resistance_k_w": lot.about(12.0, 0.3),
    }
    sized = _Sized(cells, thrust_n, torque_nm / kt + no_load_a, 0.4 * mass_kg, bus_v)
    tables = {
        "motor": motor,
        "propeller": propeller,
        "winding_heat": winding,
        "esc_heat": esc_heat,
    }
    return tables, sized


def _propeller(lot: _Lot, diameter_m: float, rev_s: float) -> dict[str, object]:
    """Coefficients that rise with speed as the Reynolds number does, and blades.

    Level and rise: published static runs of propellers of 57 to 133 mm have C_T of
    0.08 to 0.17 and figures of merit of 0.35 to 0.6, rising with speed (UIUC database,
    volume 2; the rows in tests/reference).
    """
    blades = int(lot.one_of(2, 3, 4))
    ct = lot.between(0.085, 0.130) + 0.022 * (blades - 2)
    merit = lot.between(0.42, 0.60)
    cp = math.sqrt(2.0 / math.pi) * ct**1.5 / merit
    ct_rise, cp_rise = lot.between(0.04, 0.20), lot.between(0.0, 0.12)
    places = [0.08, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.1]
    return {
        "diameter_m": diameter_m,
        "inertia_kg_m2": lot.about(
            4.4e-7 * (diameter_m / 0.0762) ** 5 * blades / 3.0, 0.15
        ),
        "speed_rpm": [place * rev_s * 60.0 for place in places],
        "ct": [ct * (1.0 - ct_rise * (1.1 - place) ** 2) for place in places],
        "cp": [cp * (1.0 - cp_rise * (1.1 - place) ** 2) for place in places],
        "blades": blades,
        "flex_ct_s2_m2": lot.between(-2.5e-5, 0.2e-5),
        "flex_cp_s2_m2": lot.between(-1.5e-5, 1.0e-5),
    }


def _supply(lot: _Lot, sized: _Sized) -> Tables:
    """Pack, leads and ESC."""
    sag_v = lot.between(0.02, 0.08) * sized.bus_v
    resistance_ohm = sag_v / sized.current_a
    shift_v = lot.error(0.01)
    return {
        "pack": {
            "cells": sized.cells,
            "charge_frac": lot.between(0.9, 1.0),
            "ocv_charge_frac": OCV_CHARGE,
            "ocv_cell_v": [volt + shift_v for volt in OCV_V],
            "capacity_c": 4.0 * sized.current_a / lot.between(15.0, 45.0) * 3600.0,
            "resistance_ohm": resistance_ohm,
            "slow_resistance_ohm": resistance_ohm * lot.between(0.3, 0.7),
            "slow_time_s": lot.between(5.0, 30.0),
        },
        "leads": {
            "resistance_ohm": lot.between(0.004, 0.02),
            "plug_resistance_ohm": lot.between(0.001, 0.008),
        },
        "esc": {
            "on_resistance_ohm": lot.between(0.004, 0.02),
            "idle_current_a": lot.between(0.02, 0.05),
            "electronics_draw_a": lot.between(0.02, 0.06),
            "pulse_low_s": 1.0e-3 + lot.between(0.0, 4e-5),
            "pulse_high_s": 2.0e-3 - lot.between(0.0, 4e-5),
            "start_throttle_frac": lot.between(0.01, 0.04),
            "slew_frac_s": lot.between(10.0, 40.0),
            "bus_capacitance_f": lot.about(100e-6, 0.6),
            "dropout_v": 2.2 if sized.cells == 1 else 4.0,
            "duty_bow_frac": lot.error(0.03),
        },
        "chopping": {
            "frequency_hz": lot.one_of(24e3, 48e3, 96e3),
            "edge_s": lot.between(20e-9, 90e-9),
        },
    }


def _sensors(lot: _Lot, sized: _Sized) -> Tables:
    """Current, voltage, speed, sometimes temperatures, and their reference."""
    highest_a = 10.0 * sized.current_a  # starting takes several times as much
    counts_per_a = next(
        n for n in (4e3, 2e3, 1e3, 5e2, 2e2, 1e2) if n * highest_a < 32e3
    )
    tables: Tables = {
        "current_sensor": {
            "counts_per_a": counts_per_a,
            "gain_u": lot.poor(0.003, 0.02),
            "zero_error_counts": lot.error(0.02 * counts_per_a),
            "noise_counts_rms": lot.poor(0.003, 0.012) * counts_per_a,
            "filter_s": lot.poor(0.0005, 0.01),
        },
        "voltage_sensor": {
            "counts_per_v": 1000.0,
            "gain_u": lot.poor(0.001, 0.01),
            "zero_error_counts": lot.error(8.0),
            "noise_counts_rms": lot.poor(1.0, 6.0),
            "filter_s": lot.poor(0.0003, 0.005),
            "tap_resistance_ohm": lot.poor(0.0002, 0.004),
        },
        "speed_sensor": {
            "resolution_rpm": lot.one_of(10.0, 20.0, 60.0),
            "high_rpm": 200_000,
            "gain_tolerance_rel": 5e-5,
        },
        "reference": {
            "warm_up_rel": lot.error(lot.poor(1e-4, 1.5e-3)),
            "warm_up_s": lot.between(30.0, 180.0),
            "walk_rel_sqrt_s": lot.poor(2e-6, 2e-5),
            "cell_share_frac": lot.one_of(0.0, 0.0, 0.1),
        },
    }
    if lot.between(0.0, 1.0) < 0.5:
        for part in ("winding", "esc"):
            tables[f"{part}_sensor"] = {
                "counts_per_k": 50.0,
                "gain_u": 0.002,
                "zero_error_counts": lot.error(15.0),
                "noise_counts_rms": 4.0,
                "low_counts": 11658,
                "high_counts": 23658,
            }
    return tables


def _surroundings(lot: _Lot) -> Tables:
    """Air, gusts, and how far one mounting and specimen is from the next."""
    return {
        "air": {
            "temperature_c": lot.between(10.0, 32.0),
            "pressure_pa": lot.between(90e3, 103.5e3),
            "relative_humidity_frac": lot.between(0.2, 0.8),
        },
        "gusts": {
            "share_frac": lot.poor(0.008, 0.04),
            "time_s": lot.between(0.8, 6.0),
            "zero_thrust_advance": lot.between(0.6, 1.0),
            "zero_power_advance": lot.between(1.0, 1.8),
        },
        "scatter": {
            "specimen_blade_rel": lot.between(0.01, 0.05),
            "specimen_drag_rel": lot.between(0.005, 0.02),
            "specimen_diameter_rel": lot.between(0.0005, 0.003),
            "specimen_kv_rel": lot.between(0.005, 0.03),
            "specimen_resistance_rel": lot.between(0.01, 0.04),
            "specimen_no_load_rel": lot.between(0.03, 0.15),
            "mounting_air_rel": lot.poor(0.003, 0.02),
            "mounting_arm_rel": lot.poor(0.002, 0.015),
            "mounting_angle_rad": lot.poor(0.005, 0.03),
            "mounting_wash_rel": lot.between(0.05, 0.19),
            "mounting_zero_n": lot.between(0.0, 0.05),
        },
    }


def _cell(lot: _Lot, rated_n: float) -> Tables:
    """The load cell, from one that meets OIML R 60 class C3 to one from a drawer."""
    # 1 mV/V on 5 V and half of 5 V at gain 128 over 2^23 counts: HX711 data sheet.
    counts_rated = 1e-3 * 5.0 / (0.5 * 5.0 / 128.0) * 2**23
    return {
        "load_cell": {
            "counts_per_n": counts_rated / rated_n * lot.between(0.8, 1.2),
            "gain_u": lot.poor(0.005, 0.04),
            "zero_counts": lot.error(1e5),
            "zero_drift_counts_s": lot.error(0.5),
            "noise_counts_rms": lot.poor(25.0, 120.0),
            "samples_s": 80.0,
        },
        "cell_creep": {
            "share_frac": lot.sign() * lot.poor(1e-4, 1e-3),
            "time_s": lot.between(30.0, 400.0),
        },
        "cell_hysteresis": {
            "rated_n": rated_n,
            "width_frac": lot.poor(1e-4, 1.2e-3),
            "thresholds_frac": [0.02, 0.06, 0.18],
        },
        "cell_curve": {
            "rated_n": rated_n,
            "bow_frac": lot.sign() * lot.poor(1e-4, 1e-3),
            "wave_frac": lot.error(lot.poor(2e-5, 2e-4)),
        },
        "cell_drift": {
            "walk_n_sqrt_s": lot.poor(3e-6, 3e-5) * rated_n,
            "gain_walk_rel_sqrt_s": lot.poor(1e-6, 1e-5),
            "zero_n_k": lot.sign() * lot.poor(2e-5, 2e-4) * rated_n,
            "gain_rel_k": lot.error(lot.poor(2e-5, 2e-4)),
        },
        "cell_warming": {
            "time_s": lot.between(15.0, 120.0),
            "thrust_k_n": lot.error(lot.poor(0.3, 2.0)) / rated_n,
            "winding_share_frac": lot.poor(0.005, 0.05),
            "esc_share_frac": lot.poor(0.003, 0.04),
        },
    }


def _shaking(lot: _Lot, sized: _Sized) -> Tables:
    """Mount, imbalance and blades."""
    return {
        "mount": {
            "resonance_hz": lot.about(70.0, 0.4),
            "damping_ratio": lot.between(0.03, 0.2),
        },
        "vibration": {
            # Two to ten micrometres of eccentricity.
            "imbalance_kg_m": lot.poor(2e-6, 1e-5) * sized.rotor_kg,
            "axial_frac": lot.between(0.05, 0.3),
            "blade_pass_frac": lot.poor(0.003, 0.02),
        },
    }


def _arm(lot: _Lot) -> dict[str, float]:
    """Every other stand a lever, the rest with the cell in line."""
    cell_m = lot.between(0.05, 0.12)
    lever = lot.sign() > 0.0
    thrust_m = cell_m * lot.between(0.8, 1.6) if lever else cell_m
    away = lot.one_of(0.8, 1.0, 1.0, 1.25) if lever else 1.0
    wash = lot.poor(0.002, 0.025)
    return {
        "thrust_arm_m": thrust_m,
        "mass_arm_m": thrust_m * away,
        "cell_arm_m": cell_m,
        "misalignment_rad": lot.poor(0.008, 0.05),
        "wash_drag_frac": wash,
        "wash_drag_per_n": wash * lot.between(0.0, 0.1),
        "wash_drag_reversed_frac": wash * lot.between(0.1, 0.4),
        "torque_leak_n_nm": lot.sign() * lot.poor(0.1, 1.0),
    }
