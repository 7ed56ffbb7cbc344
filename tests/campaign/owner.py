"""What the owner of a world's stand has: masses, meters, a ruler, a thermometer.

Each with what it is said to be good for and with what it is really off by. The first
is all that calibration and analysis are told. Ranges are what people have (common
practice, no source, but where a line says so); none is taken from the analysis.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from daq.calibration.meter import Meter, meter_from
from daq.calibration.reference import Reference
from daq.calibration.standards import masses_of, standards_from
from daq.stand.plant.bench import Plant
from daq.stand.plant.motor import Motor
from daq.stand.plant.truth import Truth
from daq.units import n_to_gf
from tests.campaign.worlds import World

KEY: Final = 7_2026
WEIGHTS_G: Final = (2, 5, 10, 20, 50, 100, 200, 500)  # as R 111 has them
PIECES: Final = 5
COIN_G: Final = 8.5  # EUR 2 euro, Council Regulation (EU) 729/2014
STANDARD_GRAVITY: Final = 9.80665
#: Of meters as they are sold: a bench one, a usual one, a cheap one.
VOLTMETERS: Final = ("0.1% + 3 x 0.001", "0.5% + 2 x 0.01", "0.8% + 5 x 0.01")
AMMETERS: Final = ("0.5% + 3 x 0.01", "1.2% + 3 x 0.01", "2.0% + 5 x 0.01")


@dataclass(frozen=True, slots=True)
class Slip:
    """What its owner got wrong; nothing by default.

    Attributes:
        mass_rel: all masses are that much heavier than said.
        diameter_rel: the diameter is written down that much too large.
    """

    mass_rel: float = 0.0
    diameter_rel: float = 0.0


@dataclass(frozen=True, slots=True)
class Owner:
    """The owner of a world.

    Attributes:
        world: the world, its sensors' gains drawn once and for all.
        top: largest thrust (N) and current (A) that a first try showed.
        masses: the forces of the masses, as they are said to be.
        forces_n: what each level of them really presses with on the mass point.
        gravity_m_s2: where the stand is.
        voltmeter: as its maker states.
        ammeter: likewise.
        reads_rel: what each of the two reads too much, as a share.
        digits: by how many of the allowed digits, -1 to 1.
        article: the article's file, as its owner wrote it.
        motors: of the aircraft.
        all_up_kg: what the aircraft really weighs.
        electronics_a: what its electronics really draw.
        left_frac: charge that is really left when it is landed.
    """

    world: World
    top: tuple[float, float]
    masses: Reference
    forces_n: tuple[float, ...]
    gravity_m_s2: float
    voltmeter: Meter
    ammeter: Meter
    reads_rel: tuple[float, float]
    digits: tuple[float, float]
    article: dict[str, Any]
    motors: int
    all_up_kg: float
    electronics_a: float
    left_frac: float

    def in_truth(self, truth: Truth) -> "Owner":
        """The same person with the same things, at a stand that is another."""
        return replace(self, world=replace(self.world, truth=truth))

    def grounded(self) -> "Owner":
        """The same person, who asks about no aircraft: its hover takes a while."""
        article = {k: v for k, v in self.article.items() if k != "aircraft"}
        return replace(self, article=article)


def owner_of(world: World, slip: Slip | None = None) -> Owner:
    """Who it is; the same for the same world."""
    slip = slip or Slip()
    rng = np.random.default_rng([world.seed, KEY])
    world = replace(world, truth=_settled_gains(world.truth, rng))
    top = _first_try(world.truth)
    masses, forces_n, gravity = _masses(world, rng, top[0], slip.mass_rel)
    volts, amps = (
        meter_from(kinds[int(rng.integers(len(kinds)))])
        for kinds in (VOLTMETERS, AMMETERS)
    )
    motors = _motors(world.truth, top[1], rng)
    lift_n = motors * top[0] / float(rng.uniform(3.0, 6.0))
    all_up_kg = lift_n / gravity
    electronics_a = float(rng.uniform(0.1, 1.0))
    said = {
        "all_up_g": _on_a_scale(1e3 * all_up_kg, rng),
        "electronics_a": electronics_a * (1.0 + _bounded(rng, 0.2)),
        "motors": motors,
    }
    return Owner(
        world=world,
        top=top,
        masses=masses,
        forces_n=forces_n,
        gravity_m_s2=gravity,
        voltmeter=volts,
        ammeter=amps,
        reads_rel=(
            0.01 * volts.percent * _bounded(rng, 1.0),
            0.01 * amps.percent * _bounded(rng, 1.0),
        ),
        digits=(_bounded(rng, 1.0), _bounded(rng, 1.0)),
        article=_article(world, rng, said, slip.diameter_rel),
        motors=motors,
        all_up_kg=all_up_kg,
        electronics_a=electronics_a,
        left_frac=0.2 + _bounded(rng, 0.05),
    )


def _motors(truth: Truth, current_a: float, rng: np.random.Generator) -> int:
    """As many as such a pack is used for: it does not sag by more than a quarter."""
    pack = truth.pack
    rest_v = pack.cells * pack.ocv_cell_v[-1]
    ohm = pack.resistance_ohm + truth.leads.resistance_ohm
    most = 0.25 * rest_v / (ohm * current_a)
    wanted = int(rng.choice([3, 4, 4, 4, 6]))
    return max(1, min(wanted, math.floor(most)))


def _bounded(rng: np.random.Generator, half: float) -> float:
    return float(rng.uniform(-half, half))


def _no_load_a(truth: Truth) -> float:
    """What the motor takes on this pack without a propeller, its speed at its end."""
    pack, motor = truth.pack, Motor(truth.motor)
    volt = pack.cells * pack.ocv_cell_v[-1]
    return motor.no_load_current_a(volt / motor.kt_nm_a)


def _on_a_scale(mass_g: float, rng: np.random.Generator) -> float:
    """What a kitchen scale shows, in whole grams."""
    return float(round(mass_g * (1.0 + _bounded(rng, 0.003)) + _bounded(rng, 0.4)))


def _settled_gains(truth: Truth, rng: np.random.Generator) -> Truth:
    """One stand: its gains are what they are, whatever seed draws the noise."""
    update = {}
    for name in ("load_cell", "current_sensor", "voltage_sensor"):
        part = getattr(truth, name)
        u = part.gain_u or 0.0
        error = {"gain_error": u * float(np.clip(rng.standard_normal(), -2.5, 2.5))}
        known = {"gain_u": None, "gain_tolerance_rel": part.tolerance_rel}
        update[name] = part.model_copy(update=error | known)
    return truth.model_copy(update=update)


def _first_try(truth: Truth) -> tuple[float, float]:
    """Thrust and current of a short burst at full throttle, as anyone would look."""
    plant = Plant(truth, 1)
    plant.advance(0.3, 1.0e-3)
    plant.advance(0.6, 2.0e-3)
    return plant.state.thrust_n, plant.state.bus_a


# ------------------------------------------------------------------ masses


def _masses(
    world: World, rng: np.random.Generator, top_n: float, heavier_rel: float
) -> tuple[Reference, tuple[float, ...], float]:
    """A set that reaches the largest thrust, as said and as it is."""
    arm = world.truth.arm
    share = 1.0 if arm is None else arm.thrust_arm_m / arm.mass_arm_m
    piece_g = 1.05 * n_to_gf(top_n) * share / PIECES
    lever = {
        "mass_arm_mm": 1e3 * world.mass_arm_m,
        "thrust_arm_mm": 1e3 * world.thrust_arm_m,
        "u_mm": 0.3 + 0.7 * world.poorness,
    }
    data: dict[str, object] = {"format": 1, "name": "what is there", "lever": lever}
    told, true_g = _set(rng, piece_g)
    gravity, place = _gravity(rng)
    reference = masses_of(standards_from(data | told | place, f"world {world.seed}"))
    weights_g = np.array(true_g) * (1.0 + heavier_rel)
    made_of = np.array([level.made_of for level in reference.levels])
    # Buoyancy by air as it is, about a density of 8000 kg/m^3 (OIML R 111's).
    buoyancy = 1.0 - world.truth.air.density() / 8000.0
    forces_n = 1e-3 * made_of @ weights_g * gravity * buoyancy
    return reference, tuple(float(force) for force in forces_n), gravity


def _set(
    rng: np.random.Generator, piece_g: float
) -> tuple[dict[str, Any], list[float]]:
    """Weights of a class, things on a pocket balance, or coins."""
    kind = float(rng.random())
    if kind < 0.2 and piece_g < 12 * COIN_G:
        batch = max(1, math.ceil(piece_g / COIN_G))
        coins = {"coin": "EUR 2 euro", "count": PIECES * batch, "batch": batch}
        # A mint strikes to a few per cent; a roll is of one sheet.
        roll = _bounded(rng, 0.015)
        each = [
            COIN_G * sum(1.0 + roll + _bounded(rng, 0.015) for _ in range(batch))
            for _ in range(PIECES)
        ]
        return {"coins": [coins]}, each
    if kind < 0.45:
        scale = _bounded(rng, 0.004)
        true_g = [piece_g * float(rng.uniform(0.9, 1.3)) for _ in range(PIECES)]
        read_g = [g * (1.0 + scale) + _bounded(rng, 0.05) for g in true_g]
        said = [
            {
                "name": f"bolt {n + 1}",
                "mass_g": round(g, 1),
                "u_g": 0.06,
                "balance": "pocket balance",
                "balance_u_percent": 0.25,
            }
            for n, g in enumerate(read_g)
        ]
        return {"mass": said}, true_g
    nominal = next((g for g in WEIGHTS_G if g >= piece_g), WEIGHTS_G[-1])
    said = [
        {"name": f"weight {n + 1}", "mass_g": float(nominal), "oiml_class": "M2"}
        for n in range(PIECES)
    ]
    # OIML R 111-1:2004, table 1, class M2: about 1.6e-4 of what they weigh.
    allowed = max(1.6e-4, 6e-3 / nominal)
    return {"mass": said}, [nominal * (1.0 + _bounded(rng, allowed)) for _ in said]


def _gravity(rng: np.random.Generator) -> tuple[float, dict[str, Any]]:
    """Of the place, by the normal formula of WGS 84 and what the ground adds."""
    latitude, height = float(rng.uniform(0.0, 65.0)), float(rng.uniform(0.0, 900.0))
    square = math.sin(math.radians(latitude)) ** 2
    ground = 9.7803253359 * (1.0 + 0.00193185265241 * square)
    ground /= math.sqrt(1.0 - 0.00669437999014 * square)
    value = ground - 3.086e-6 * height + _bounded(rng, 3e-4)
    if rng.random() < 0.25:
        return value, {}
    place = {"latitude_deg": float(round(latitude)), "height_m": height}
    return value, {"gravity": place}


# ------------------------------------------------------------------ article


def _article(
    world: World, rng: np.random.Generator, aircraft: dict[str, Any], larger_rel: float
) -> dict[str, Any]:
    """The article's file: nothing in it is truer than somebody could know it."""
    truth = world.truth
    air = truth.air
    ruler_mm = 0.5 * (0.3 + 0.7 * world.poorness)
    holds = float(rng.uniform(0.92, 1.04))
    apart = np.random.default_rng([world.seed, KEY, 1])
    ohmmeter, unloaded = _bounded(apart, 0.06), _bounded(apart, 0.05)
    temperature = air.celsius + _bounded(rng, 1.5)
    pressure = (air.pressure_pa or 101325.0) / 100.0 + _bounded(rng, 3.0)
    humidity = 100.0 * (air.relative_humidity_frac or 0.5) + _bounded(rng, 8.0)
    return {
        "format": 1,
        "name": f"{world.motor_size} motor, simulated",
        "simulated": True,
        "motor": {
            "name": world.motor_size,
            "kv_rpm_v": round(truth.motor.kv_rpm_v, -2),
            "poles": 12,
            "resistance_ohm": truth.motor.resistance_ohm * (1.0 + ohmmeter),
            "no_load_current_a": _no_load_a(truth) * (1.0 + unloaded),
        },
        "propeller": {
            "name": "a propeller",
            "blades": truth.propeller.blades or 3,
            "diameter_mm": 1e3 * world.diameter_m * (1.0 + larger_rel),
            "diameter_u_mm": ruler_mm,
        },
        "esc": {},
        "pack": {
            "cells": truth.pack.cells,
            "capacity_mah": round(truth.pack.capacity_c / 3.6 / holds),
        },
        "mount": {"kind": "tractor"},
        "air": {
            "temperature_c": round(temperature, 1),
            "pressure_hpa": round(pressure, 0),
            "humidity_percent": round(min(99.0, max(5.0, humidity))),
        },
        "aircraft": aircraft,
    }
