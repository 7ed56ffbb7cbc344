"""One part of an article swapped for another and back, in virtual time.

Two plugs, two packs, a capacitor on and off: each put on twice, taking turns
(A, B, B, A), on the rough stand with its plug and pack put together anew each time.
``python -m tests.swaps FOLDER`` writes the runs and the page of each comparison.
"""

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.records.shelf import load_article
from daq.stand.plant.drawn import drawn, without_capacitor
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.limits import Limit
from protocols.recipe import expand, load_recipe
from protocols.task import Task
from tests.runs import write_run
from tests.spins import LIMITS, NONCE, spin
from ui.articles import example_article

SEED = 7
TURNS = "ABBA"
# A burst of seconds above what the example's plug is rated for: as with --timed.
ROOM = tuple(
    Limit("current", -3.0, 16.0, 3, 0.1, "plug 16 A for seconds")
    if limit.channel == "current"
    else limit
    for limit in LIMITS
)


@dataclass(frozen=True)
class Swap:
    """What is swapped.

    Attributes:
        protocol: what is spun.
        parts: the part of each article, by letter; None: it is not fitted.
        key: of that part in an article.
        change: the truth of an article, by letter.
    """

    protocol: str
    parts: Mapping[str, dict[str, Any] | None]
    key: str
    change: Callable[[Truth, str], Truth]


def _plug(truth: Truth, letter: str) -> Truth:
    """The second plug has a third of the first one's contacts."""
    cold_ohm = truth.leads.plug_resistance_ohm / (1.0 if letter == "A" else 3.0)
    leads = truth.leads.model_copy(update={"plug_resistance_ohm": cold_ohm})
    return truth.model_copy(update={"leads": leads})


def _pack(truth: Truth, letter: str) -> Truth:
    """The second pack is a tired one."""
    factor = 1.0 if letter == "A" else 1.3
    figures = {
        "resistance_ohm": factor * truth.pack.resistance_ohm,
        "slow_resistance_ohm": factor * truth.pack.slow_resistance_ohm,
    }
    return truth.model_copy(update={"pack": truth.pack.model_copy(update=figures)})


def _capacitor(truth: Truth, letter: str) -> Truth:
    return truth if letter == "A" else without_capacitor(truth)


_PACK = {"cells": 3, "capacity_mah": 450, "c_rate": 75}
SWAPS: Mapping[str, Swap] = {
    "plug": Swap(
        "plug-steps",
        {
            "A": {"name": "small two-pole plug", "rated_a": 12},
            "B": {"name": "larger two-pole plug", "rated_a": 30},
        },
        "plug",
        _plug,
    ),
    "pack": Swap(
        "pack-pulses",
        {"A": {"name": "new pack", **_PACK}, "B": {"name": "tired pack", **_PACK}},
        "pack",
        _pack,
    ),
    "capacitor": Swap(
        "supply-noise",
        {
            "A": {"name": "220 uF, 25 V", "capacitance_uf": 220, "rated_v": 25},
            "B": None,
        },
        "capacitor",
        _capacitor,
    ),
}
SWAPS_OF_NOTHING: Mapping[str, Swap] = {
    "same capacitor": Swap(
        "supply-noise",
        {
            "A": {"name": "220 uF, 25 V", "capacitance_uf": 220, "rated_v": 25},
            "B": {"name": "another 220 uF", "capacitance_uf": 220, "rated_v": 25},
        },
        "capacitor",
        lambda truth, _letter: truth,
    )
}
NAMES: Mapping[str, Mapping[str, str]] = {
    "plug": {"A": "small plug", "B": "larger plug"},
    "pack": {"A": "new pack", "B": "tired pack"},
    "capacitor": {"A": "with capacitor", "B": "without capacitor"},
    "same capacitor": {"A": "one capacitor", "B": "its like"},
}


def article(what: str, letter: str) -> dict[str, Any]:
    """The example article with one of the two parts."""
    swap = {**SWAPS, **SWAPS_OF_NOTHING}[what]
    found = load_article(example_article()).to_dict()
    found |= {"name": f"Indoor quad, {NAMES[what][letter]}"}
    found.pop(swap.key, None)
    part = swap.parts[letter]
    return found if part is None else found | {swap.key: part}


def swapped(folder: Path, what: str, turns: str = TURNS) -> list[Path]:
    """The runs of a swap, in the order of the day."""
    swap = {**SWAPS, **SWAPS_OF_NOTHING}[what]
    walked = expand(load_recipe(swap.protocol))
    folders = []
    for turn, letter in enumerate(turns):
        truth = swap.change(shipped_truth("rough"), letter)
        truth = drawn(truth, None, turn, SEED, mating=turn)
        run = spin(Task(walked, ROOM, NONCE), seed=SEED, truth=truth)
        run.run()
        begun = {"utc": f"2026-05-09T15:{turn:02d}:00+00:00"}
        made = article(what, letter)
        folders.append(write_run(run, folder, article=made, more=begun))
    return folders


def main(folder: Path) -> None:
    """Write runs and pages of every swap."""
    from ui.cli.main import main as command

    for what in SWAPS:
        runs = swapped(folder / what, what)
        page = folder / f"{what}.html"
        command(["compare", *map(str, runs), "--out", str(page)])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
