"""Run folders for tests of the library: small, made by what makes real ones."""

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

from daq.records import folder as folders
from daq.records.wirelog import NAME, Kind, WireLog, to_json
from ui.results import derive

SAMPLE = Path(__file__).parents[3] / "sample_runs" / "short-staircase-a"
COMPLETED = {
    "ended": "completed",
    "cause": "The plan was walked to its end.",
    "data": "whole",
    "stop_confirmed": True,
}
TRIPPED = {
    "ended": "tripped",
    "cause": "Current rose above 12 A.",
    "data": "partial",
    "stop_confirmed": True,
}


def make_run(
    parent: Path,
    name: str,
    *,
    utc: str = "2026-05-09T14:02:00+00:00",
    article: object = "Indoor quad, motor A",
    protocol: object = "short-staircase",
    outcome: Mapping[str, object] | None = COMPLETED,
    simulated: bool = True,
    stand_id: int | None = None,
    more: Mapping[str, object] | None = None,
) -> Path:
    """A run's folder with a header, perhaps a stand's name, and nothing measured.

    Args:
        outcome: how it ended; None leaves it unsealed.
        more: for the header.
    """
    header: dict[str, object] = {
        "format": 1,
        "utc": utc,
        "simulated": simulated,
        "article": {"name": article},
        "task": {"plan": {"protocol": protocol}},
        **(more or {}),
    }
    folder = folders.create(parent, name, header)
    log = WireLog(folder / NAME)
    log.append(Kind.HEADER, 0, to_json(header))
    if stand_id is not None:
        note = {"note": "identified", "stand_id": stand_id, "board": "a board"}
        log.append(Kind.NOTE, 1, to_json(note))
    log.close()
    if outcome is not None:
        folders.seal(folder, outcome, simulated=simulated)
    return folder


def finding(name: str, value: float, half: float, unit: str) -> dict[str, object]:
    """A finding as it is kept."""
    return {
        "id": name,
        "sentence": f"{name} was {value} {unit}.",
        "value": value,
        "low": value - half,
        "high": value + half,
        "unit": unit,
        "coverage": 0.95,
        "rests_on": [],
        "cautions": ["the scale factor of thrust is nominal, not calibrated"],
    }


def add_findings(run: Path, *rows: object, analysis: str = "nominal") -> Path:
    """Findings in a run's folder."""
    derived = run / "derived" / analysis
    derived.mkdir(parents=True, exist_ok=True)
    path = derived / "findings.json"
    path.write_text(json.dumps(list(rows)), encoding="utf-8")
    return path


def sampled(parent: Path, name: str = "sample", *, made: bool = True) -> Path:
    """The sample run, with everything that is derived from it or without."""
    folder = parent / name
    folder.mkdir(parents=True)
    for part in (folders.DESCRIPTOR, NAME):
        shutil.copy(SAMPLE / part, folder / part)
    if made:
        derive(folder)
    return folder
