"""Runs of articles that are mounted again and again, in virtual time.

Each mounting reads thrust a little differently, as re-mounting does on a real stand
(common practice, no source: a per cent or two); another article is another propeller.
"""

from pathlib import Path
from typing import Any

import numpy as np

from daq.records.shelf import load_article
from daq.stand.plant.truth import Truth, shipped_truth
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.articles import example_article

LEVELS = (0.2, 0.35, 0.5, 0.65, 0.8, 1.0)


def article(name: str) -> dict[str, Any]:
    """The example article under another name."""
    return load_article(example_article()).to_dict() | {"name": name}


def mounted(
    folder: Path,
    name: str,
    number: int,
    *,
    better: float = 1.0,
    scatter: float = 0.01,
) -> Path:
    """One run of an article, mounted once.

    Args:
        folder: where the run goes.
        name: of the article.
        number: of the mounting, in the order of the day, below 60; it draws what
            re-mounting does, and the noise.
        better: thrust of its propeller against the shipped one's, at equal torque.
        scatter: standard deviation of what re-mounting does to thrust.
    """
    drawn = float(np.random.default_rng(number).standard_normal())
    truth = _with_thrust(shipped_truth(), better * (1 + scatter * drawn))
    walked = spin(task(walked=plan(LEVELS)), seed=1000 + number, truth=truth)
    walked.run()
    begun = {"utc": f"2026-05-09T14:{number:02d}:00+00:00"}
    return write_run(walked, folder, article=article(name), more=begun)


def taking_turns(folder: Path) -> list[Path]:
    """Motor A, B, B, A; B's propeller gives a quarter more at equal torque."""
    return [
        mounted(folder, "motor A", 0),
        mounted(folder, "motor B", 1, better=1.25),
        mounted(folder, "motor B", 2, better=1.25),
        mounted(folder, "motor A", 3),
    ]


def _with_thrust(truth: Truth, factor: float) -> Truth:
    propeller = truth.propeller
    ct = tuple(factor * value for value in propeller.ct)
    # One stand: its gains are what they are, whatever seed draws the noise.
    cell = truth.load_cell.model_copy(
        update={"gain_u": None, "gain_error": 0.012, "gain_tolerance_rel": 0.02}
    )
    return truth.model_copy(
        update={
            "propeller": propeller.model_copy(update={"ct": ct}),
            "load_cell": cell,
        }
    )
