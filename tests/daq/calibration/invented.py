"""Invented cells and meters, with a truth that the calibration does not share."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.calibration.making import calibrate
from daq.calibration.readings import Kind, Leg, Reading
from daq.calibration.reference import Reference
from daq.calibration.standards import Standards, masses_of
from daq.calibration.suspects import Sensor
from daq.calibration.value import Calibration, Subject

UTC = "2026-05-09T09:30:00+00:00"
SENSOR = Sensor("thrust", "N", 43_800.0, -(2**23) + 1, 2**23 - 1)
SUBJECT = Subject("thrust", "N", 0x7E51)


def club_masses(**changed: object) -> Standards:
    """The club's box of masses."""
    content: dict[str, object] = {
        "format": 1,
        "name": "Tern Lane check masses",
        "simulated": True,
        "mass": [
            {"name": f"{name}", "mass_g": mass_g, "oiml_class": "M1"}
            for name, mass_g in (
                ("20 g", 20.0),
                ("50 g", 50.0),
                ("100 g", 100.0),
                ("100 g dot", 100.0),
                ("200 g", 200.0),
            )
        ],
        "gravity": {"latitude_deg": 52.0, "height_m": 40.0},
        "lever": {"mass_arm_mm": 100.0, "thrust_arm_mm": 100.0, "u_mm": 0.3},
        "temperature_c": 21.0,
    }
    content.update(changed)
    return Standards.model_validate(content)


@dataclass(frozen=True)
class Cell:
    """A load cell as it is.

    Attributes:
        counts_per_n: gain at zero.
        square: counts more at full load, as a share, by the square.
        cube: likewise, by the cube.
        hysteresis: half the way between up and down in the middle, share.
        creep: what a held load gains, share of the load.
        seating: scatter of the gain from one seating to the next, share.
        wander_counts: scatter of the zero from one reading to the next.
        noise_counts: scatter of a reading.
        full_n: load at which the shares hold.
        zero_counts: reading with nothing on.
    """

    counts_per_n: float = 43_500.0
    square: float = 0.0
    cube: float = 0.0
    hysteresis: float = 0.0
    creep: float = 0.0
    seating: float = 0.0
    wander_counts: float = 0.0
    noise_counts: float = 8.0
    full_n: float = 5.0
    zero_counts: float = 51_234.0

    def counts(self, force_n: float, leg: str = "", held_s: float = 0.0) -> float:
        """What it reads of a force, zero and noise aside."""
        share = force_n / self.full_n
        side = {"up": -1.0, "down": 1.0}.get(leg, 0.0)
        bent = self.square * share**2 + self.cube * (share**3 - share)
        loop = side * self.hysteresis * 4.0 * share * (1.0 - share)
        crept = self.creep * share * (1.0 - math.exp(-held_s / 30.0))
        whole = self.counts_per_n * self.full_n
        return self.counts_per_n * force_n + whole * (bent + loop + crept)


def reading(
    kind: Kind, series: int, leg: Leg, level: int, counts: float, at_s: float
) -> Reading:
    """A settled reading."""
    return Reading(
        kind, series, leg, level, counts, 3.0, 30.0,
        round(counts) - 90, round(counts) + 90, 100, at_s,
    )  # fmt: skip


def session(
    cell: Cell,
    force_n: Sequence[float],
    rng: np.random.Generator,
    *,
    series: int = 3,
    down: bool = True,
    hold_s: float = 30.0,
) -> list[Reading]:
    """A whole session: zero, up, held, down, zero, so many times."""
    found: list[Reading] = []
    at_s = 0.0
    top = len(force_n) - 1
    zero = cell.zero_counts

    def take(
        kind: Kind, number: int, leg: Leg, level: int, held_s: float = 0.0
    ) -> None:
        nonlocal at_s, zero
        at_s += 5.0 + held_s
        zero += cell.wander_counts * rng.standard_normal()
        force = 0.0 if level < 0 else force_n[level] * seat
        shown = cell.counts(force, leg, held_s) + zero
        shown += cell.noise_counts * rng.standard_normal()
        found.append(reading(kind, number, leg, level, shown, at_s))

    for number in range(series):
        seat = 1.0 + cell.seating * rng.standard_normal()
        take("zero", number, "", -1)
        for level in range(len(force_n)):
            take("load", number, "up", level)
        if number == 0 and hold_s:
            take("held", number, "up", top, hold_s)
        if down:
            for level in reversed(range(len(force_n) - 1)):
                take("load", number, "down", level)
        take("zero", number, "", -1)
    return found


def made(
    cell: Cell | None = None,
    reference: Reference | None = None,
    seed: int = 1,
    **how: object,
) -> Calibration:
    """A calibration with masses that are what they say."""
    known = reference or masses_of(club_masses())
    readings = session(
        cell or Cell(),
        list(known.value_si),
        np.random.default_rng(seed),
        **how,  # type: ignore[arg-type]
    )
    return calibrate(readings, known, SENSOR, SUBJECT, UTC)
