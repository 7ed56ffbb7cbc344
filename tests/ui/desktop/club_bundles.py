"""Bundles for tests of the Club room: real ones changed, and what a check would say."""

import hashlib
import json
import threading
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from typing_extensions import override

from daq.errors import WorldFault
from daq.records.folder import hash_of_bytes
from ui.club import layout
from ui.club.checked import Checked, RunChecked
from ui.club.entry import Entry
from ui.club.inspecting import Inspector
from ui.club.packing import zipped

LOG: Final = b"the bytes of a wire log"
PATIENCE_S: Final = 20.0
ARTICLE: Final[dict[str, object]] = {
    "key": "0" * 16,
    "name": "Indoor quad, motor A",
    "motor": "motor A, 1404 size",
    "kv_rpm_v": 4600.0,
    "propeller": "3-inch, three blades",
    "diameter_mm": 76.2,
    "blades": 3,
    "esc": "a controller",
    "source": "3 cells, 450 mAh",
    "cells": 3,
    "mount": "tractor",
}


def tampered(bundle: Path, to: Path) -> Path:
    """The same with a tenth more thrust in what the sender says, all hashes right."""
    with zipfile.ZipFile(bundle) as file:
        files = {name: file.read(name) for name in file.namelist()}
    files.pop(layout.SIGNATURE, None)
    path = next(name for name in files if name.endswith(layout.ENTRY))
    entry = json.loads(files[path])
    for finding in entry["findings"]:
        if finding["id"] == "max-thrust":
            for key in ("value", "low", "high"):
                finding[key] *= 1.1
    files[path] = json.dumps(entry).encode()
    descriptor = json.loads(files[layout.DESCRIPTOR])
    for resource in descriptor["resources"]:
        if resource["path"] == path:
            resource["hash"] = f"sha256:{hashlib.sha256(files[path]).hexdigest()}"
            resource["bytes"] = len(files[path])
    files[layout.DESCRIPTOR] = json.dumps(descriptor).encode()
    to.write_bytes(zipped(files))
    return to


class Fake(Inspector):
    """An inspector that says what a test told it to, and waits where it is told to.

    Attributes:
        says: what is said of a bundle, by its file's name.
        held: names of bundles at which it waits until it is closed.
        asked: names of bundles that it was asked for.
    """

    def __init__(self, **says: Checked | Exception) -> None:
        super().__init__()
        self.says = {f"{name}.zip": said for name, said in says.items()}
        self.held: set[str] = set()
        self.asked: list[str] = []
        self._closed = threading.Event()

    @override
    def inspect(self, bundle: Path, scratch: Path) -> Checked:
        self.asked.append(bundle.name)
        if bundle.name in self.held:
            self._closed.wait(PATIENCE_S)
            self._closed.clear()
            raise WorldFault(f"{bundle.name} is refused: its child was ended.")
        said = self.says[bundle.name]
        if isinstance(said, Exception):
            raise said
        for run in said.runs:
            if run.log_hash is not None:
                _put(scratch / layout.RUNS / run.entry.run)
        return said

    @override
    def close(self) -> None:
        self._closed.set()


def _put(folder: Path) -> None:
    """A run as a check leaves it."""
    (folder / "derived" / "nominal").mkdir(parents=True)
    (folder / layout.LOG).write_bytes(LOG)
    (folder / layout.DESCRIPTOR).write_text("{}")
    (folder / "derived" / "nominal" / "findings.json").write_text("[]")
    (folder / "derived" / "nominal" / layout.REPORT).write_text("<p>a page</p>")


def checked(*runs: RunChecked, **changed: object) -> Checked:
    """What a check found in a bundle of these runs."""
    told = {
        "format": 1,
        "sha256": f"sha256:{'0' * 64}",
        "title": "Two motors of the Tern Lane Model Flyers",
        "by": "Wren",
        "licence": "",
        "made_by": "0.1.0",
        "runs": runs or (run(),),
        **changed,
    }
    return Checked.model_validate(told)


def run(
    name: str = "2026-05-09t1402-staircase-7f3a",
    *,
    raw: bool = True,
    differences: Sequence[str] = (),
    article: str = "Indoor quad, motor A",
    **evidence: object,
) -> RunChecked:
    """One run of it; what its figures rest on may be said."""
    told = {
        "simulated": False,
        "stand": "00c0ffee",
        "guards_itself": True,
        "scales": [scale()],
        "proof": "real pulses",
        "proof_words": "guards seen to cut a real pulse",
        "ended": "completed",
        "data": "whole",
        "air_noted": True,
        "record": "re-read" if raw else "tables only",
        "words": "thrust by weights of class M2",
        **evidence,
    }
    entry = Entry.model_validate_json(
        json.dumps(
            {
                "format": 1,
                "run": name,
                "utc": "2026-05-09T14:02:00+00:00",
                "protocol": "staircase",
                "article": ARTICLE | {"name": article},
                "stand": "0" * 16,
                "scale": "0" * 16,
                "curves": {},
                "findings": [
                    {"id": f"f{n}", "sentence": f"Finding {n} was 1 gf."}
                    for n in range(5)
                ],
                "evidence": told,
            }
        )
    )
    return RunChecked(
        entry=entry,
        differences=tuple(differences),
        rederived=raw,
        log_hash=hash_of_bytes(LOG) if raw else None,
    )


def scale(
    by: str = "masses", words: str = "weights of class M2", u_rel: float = 0.0036
) -> dict[str, object]:
    """What thrust was held against."""
    made = {} if by == "nominal" else {"made_utc": "2026-05-01", "u_rel": u_rel}
    return {"channel": "thrust", "by": by, "words": words, **made}
