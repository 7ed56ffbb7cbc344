"""Truths made of a truth: another specimen, another mounting, another way round.

Pure: the same arguments give the same truth. Nothing here is drawn from what the
plant itself draws by its seed.
"""

import math
from enum import IntEnum
from typing import Any

import numpy as np

from daq.errors import InputFault
from daq.stand.plant.noise import Stream
from daq.stand.plant.sensors import true_gain
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_effects import ScatterTruth, neutral_arm
from daq.typed_toml import check_typed

FARTHEST = 3.0
"""No draw is further from its middle than so many standard deviations."""


class _Kind(IntEnum):
    """Keys the numbers; a number must never be re-used."""

    SPECIMEN = 1000
    MOUNTING = 1001
    MATING = 1002


def drawn(
    truth: Truth,
    specimen: int | None,
    mounting: int | None,
    seed: int,
    mating: int | None = None,
) -> Truth:
    """The truth of one specimen as it was mounted once.

    A specimen is the same in every mounting, and a mounting does the same to every
    specimen. The result has no scatter left, so it cannot be drawn from again.

    Args:
        truth: the base, with a table of scatter.
        specimen: number of the motor and propeller; None: they are the base's.
        mounting: number of the mounting; None: as the base is mounted.
        seed: of the whole family; not negative.
        mating: number of times the plug was put together; None: as the base says.

    Raises:
        InputFault: the base says nothing of scatter, has no plug to mate, or a number
            is negative.
    """
    scatter = truth.scatter
    if scatter is None:
        raise InputFault(
            "this truth has no [scatter], so there is nothing to draw a specimen or a "
            "mounting from: add one"
        )
    tables = truth.model_dump(exclude_none=True)
    del tables["scatter"]
    if specimen is not None:
        _specimen(tables, scatter, _normals(seed, _Kind.SPECIMEN, specimen, 6))
    if mounting is not None:
        _mounting(tables, scatter, _normals(seed, _Kind.MOUNTING, mounting, 5))
    if mating is not None:
        _mating(tables, scatter, _normals(seed, _Kind.MATING, mating, 2))
    return check_typed(tables, Truth, "a drawn truth")


def _normals(seed: int, kind: _Kind, number: int, size: int) -> list[float]:
    if seed < 0 or number < 0:
        raise InputFault(
            f"seed {seed} and number {number}: give whole numbers of 0 or more"
        )
    sequence = np.random.SeedSequence(seed, spawn_key=(int(kind), number))
    normals = np.random.Generator(np.random.PCG64(sequence)).standard_normal(size)
    return [float(z) for z in np.clip(normals, -FARTHEST, FARTHEST)]


def _scale(table: dict[str, Any], key: str, factor: float) -> None:
    value = table[key]
    if isinstance(value, tuple):
        table[key] = tuple(each * factor for each in value)
    else:
        table[key] = value * factor


def _specimen(tables: dict[str, Any], scatter: ScatterTruth, z: list[float]) -> None:
    propeller, motor = tables["propeller"], tables["motor"]
    blade = 1.0 + scatter.specimen_blade_rel * z[0]
    _scale(propeller, "ct", blade)
    _scale(propeller, "cp", blade * (1.0 + scatter.specimen_drag_rel * z[1]))
    _scale(propeller, "diameter_m", 1.0 + scatter.specimen_diameter_rel * z[2])
    _scale(motor, "kv_rpm_v", 1.0 + scatter.specimen_kv_rel * z[3])
    _scale(motor, "resistance_ohm", 1.0 + scatter.specimen_resistance_rel * z[4])
    no_load = 1.0 + scatter.specimen_no_load_rel * z[5]
    _scale(motor, "no_load_current_a", no_load)
    _scale(motor, "no_load_growth_a_s_rad", no_load)


def _mounting(tables: dict[str, Any], scatter: ScatterTruth, z: list[float]) -> None:
    air = 1.0 + scatter.mounting_air_rel * z[0]
    _scale(tables["propeller"], "ct", air)
    _scale(tables["propeller"], "cp", air)
    arm = tables.setdefault("arm", neutral_arm().model_dump())
    _scale(arm, "thrust_arm_m", 1.0 + scatter.mounting_arm_rel * z[1])
    arm["misalignment_rad"] = abs(
        arm["misalignment_rad"] + scatter.mounting_angle_rad * z[2]
    )
    wash = 1.0 + scatter.mounting_wash_rel * z[3]
    for key in ("wash_drag_frac", "wash_drag_per_n", "wash_drag_reversed_frac"):
        _scale(arm, key, wash)
    cell = tables["load_cell"]
    cell["zero_counts"] += cell["counts_per_n"] * scatter.mounting_zero_n * z[4]


def _mating(tables: dict[str, Any], scatter: ScatterTruth, z: list[float]) -> None:
    plug = tables.get("plug")
    if plug is None:
        raise InputFault(
            "this truth has no [plug], so there is none to put together: add one"
        )
    cold_ohm = tables["leads"]["plug_resistance_ohm"]
    factors = (math.exp(scatter.mating_rel * normal) for normal in z)
    shares = (plug["plus_share_frac"], 1.0 - plug["plus_share_frac"])
    plus, minus = (
        f * cold_ohm * share for f, share in zip(factors, shares, strict=True)
    )
    tables["leads"]["plug_resistance_ohm"] = plus + minus
    plug["plus_share_frac"] = plus / (plus + minus) if plus else 0.0


def with_gains(truth: Truth, seed: int) -> Truth:
    """The same stand with the scale factors that a seed draws, said instead of drawn.

    So its noise can come from another seed and it is still the same stand.
    """
    sensors = (
        ("load_cell", Stream.LOAD_CELL_GAIN),
        ("current_sensor", Stream.CURRENT_GAIN),
        ("voltage_sensor", Stream.VOLTAGE_GAIN),
    )
    changed = {}
    for name, stream in sensors:
        sensor = getattr(truth, name)
        error = true_gain(sensor, seed, stream) / sensor.counts_per_unit - 1.0
        changed[name] = sensor.model_copy(
            update={
                "gain_u": None,
                "gain_error": error,
                "gain_tolerance_rel": sensor.tolerance_rel,
            }
        )
    return truth.model_copy(update=changed)


def without_capacitor(truth: Truth) -> Truth:
    """The same article with the capacitor on its bus taken off.

    Raises:
        InputFault: it has none that could be taken off.
    """
    if truth.bus_capacitor is None:
        raise InputFault(
            "this truth has no [bus_capacitor], so there is none to take off: add one"
        )
    return truth.model_copy(update={"bus_capacitor": None})


def reversed_mount(truth: Truth) -> Truth:
    """The same stand with the article turned round, so that it pulls the other way."""
    arm = truth.arm or neutral_arm()
    turned = arm.model_copy(update={"reversed_mount": not arm.reversed_mount})
    return truth.model_copy(update={"arm": turned})


def opposite_rotation(truth: Truth) -> Truth:
    """The same article in its mirror image: same thrust, torque the other way."""
    arm = truth.arm or neutral_arm()
    turned = arm.model_copy(update={"opposite_rotation": not arm.opposite_rotation})
    return truth.model_copy(update={"arm": turned})


def one_of(truth: Truth, motors: int, electronics_draw_a: float) -> Truth:
    """What one motor meets when several of it share a pack in the air.

    Of N motors that draw alike each sees N times the source's resistance and an Nth of
    its charge; the rest of the electronics is shared out evenly. Kirchhoff's laws.

    Args:
        truth: one motor on the pack.
        motors: how many there are; 1 or more.
        electronics_draw_a: what the aircraft draws beside its motors, all of it.

    Raises:
        InputFault: there is no motor, or the draw is negative.
    """
    if motors < 1 or not 0.0 <= electronics_draw_a < 1e3:
        raise InputFault(
            f"{motors} motors and {electronics_draw_a} A of electronics: give one "
            "motor at least and a draw of 0 A or more"
        )
    tables = truth.model_dump(exclude_none=True)
    pack, leads, esc = tables["pack"], tables["leads"], tables["esc"]
    for table, key in (
        (pack, "resistance_ohm"),
        (pack, "slow_resistance_ohm"),
        (leads, "resistance_ohm"),
        (leads, "plug_resistance_ohm"),
    ):
        _scale(table, key, float(motors))
    _scale(pack, "capacity_c", 1.0 / motors)
    if "plug" in tables:
        # N times the current through the same contacts, in terms of one motor's.
        _scale(tables["plug"], "resistance_k_w", float(motors))
        _scale(tables["plug"], "capacity_j_k", 1.0 / motors)
    if "fast" in tables:
        _scale(tables["fast"], "wiring_h", float(motors))
    esc["idle_current_a"] += electronics_draw_a / motors
    return check_typed(tables, Truth, "a shared pack's truth")
