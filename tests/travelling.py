"""Runs of one article that travels between simulated stands, in virtual time.

Each stand's load cell and current sensor are off by what it is given; mounting again
moves thrust a little. Nothing is calibrated: a stand's claim is its tolerance.
"""

from pathlib import Path
from typing import Any

import numpy as np

from daq.records.shelf import load_article
from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.control import Control
from tests.mountings import LEVELS
from tests.runs import write_run
from tests.spins import plan, task
from tests.virtual import VirtualSpin
from ui.articles import example_article

ROUND = "Tern Lane, autumn round"
#: What each stand's thrust and current read too much, by the stand's number.
STANDS = {0x51: (0.00, 0.00), 0x52: (0.03, 0.00), 0x53: (-0.02, -0.02)}
SCATTER = 0.006


def article(travels: str | None = ROUND, **changes: Any) -> dict[str, Any]:
    """The example article, on its way."""
    whole = load_article(example_article()).to_dict() | {"name": "traveller"}
    if travels is not None:
        whole |= {"travels": travels}
    return whole | changes


def spun_at(
    folder: Path,
    stand: int,
    number: int,
    *,
    better: float = 1.0,
    told: dict[str, Any] | None = None,
    thrust_rel: float | None = None,
) -> Path:
    """One run of the article at a stand, mounted once.

    Args:
        folder: where the run goes.
        stand: its number, one of ``STANDS``.
        number: of the run in the round, below 60; it draws what mounting does.
        better: thrust of the propeller against the shipped one's, at equal torque.
        told: the article as the member wrote it down.
        thrust_rel: what the stand's thrust reads too much, if not as in ``STANDS``.
    """
    drawn = float(np.random.default_rng(number).standard_normal())
    truth = _truth(stand, better * (1 + SCATTER * drawn), thrust_rel)
    device = Device(Plant(truth, 1000 + number), stand_id=stand)
    spun = VirtualSpin(Control(task(walked=plan(LEVELS)), "test port"), device)
    spun.run()
    begun = {"utc": f"2026-10-09T14:{number:02d}:00+00:00"}
    return write_run(spun, folder, article=told or article(), more=begun)


def a_round(folder: Path, mountings: int = 2) -> list[Path]:
    """Each stand in its turn, and the first one again."""
    order = [stand for stand in (*STANDS, 0x51) for _ in range(mountings)]
    return [spun_at(folder, stand, number) for number, stand in enumerate(order)]


def _truth(stand: int, better: float, thrust_rel: float | None) -> Truth:
    truth = shipped_truth()
    of_thrust, of_current = STANDS[stand]
    if thrust_rel is not None:
        of_thrust = thrust_rel
    ct = tuple(better * value for value in truth.propeller.ct)
    cell = {"gain_u": None, "gain_error": of_thrust, "gain_tolerance_rel": 0.04}
    amps = {"gain_u": None, "gain_error": of_current, "gain_tolerance_rel": 0.04}
    return truth.model_copy(
        update={
            "propeller": truth.propeller.model_copy(update={"ct": ct}),
            "load_cell": truth.load_cell.model_copy(update=cell),
            "current_sensor": truth.current_sensor.model_copy(update=amps),
        }
    )
