"""What can be wrong with a wire log, and with what is said of it."""

import json
import random
import struct
from collections.abc import Callable, Iterator
from functools import partial

from tests.bundles import (
    packed,
    run_of,
    set_right,
    together,
    with_entry,
    with_header,
    with_log,
)
from tests.campaign.hostile_bundles.case import (
    EITHER,
    FORMULA,
    SCRIPT,
    TAKEN,
    Hostile,
    Json,
    raw,
)


def log(change: Callable[[bytes], bytes]) -> bytes:
    """A bundle with another wire log, sealed as it is."""
    files = raw()
    return together(with_log(files, change(files[f"{run_of(files)}/wire.log"])))


def header(change: Callable[[Json], None]) -> bytes:
    """A bundle whose wire log has another header."""
    return together(with_header(raw(), change))


def run_descriptor(change: Callable[[Json], None]) -> bytes:
    """A bundle whose run is described otherwise."""
    files = raw()
    path = f"{run_of(files)}/datapackage.json"
    content = json.loads(files[path])
    change(content)
    return together(set_right(files | {path: json.dumps(content).encode()}))


def derived(name: str, change: Callable[[bytes], bytes]) -> bytes:
    """A bundle with another derived file."""
    files = raw()
    path = f"{run_of(files)}/{name}"
    return together(set_right(files | {path: change(files[path])}))


def derived_more(name: str, data: bytes) -> bytes:
    """A bundle with one derived file more."""
    files = raw()
    return together(set_right(files | {f"{run_of(files)}/{name}": data}))


def _other_table() -> bytes:
    files = raw()
    better = files["runs.csv"].replace(b"nominal", b"weights of class E2")
    return together(set_right(files | {"runs.csv": better}))


def scattered(data: bytes) -> bytes:
    """A log with a byte in a thousand changed."""
    changed = bytearray(data)
    rng = random.Random(5)
    for _ in range(len(data) // 1000):
        changed[rng.randrange(8, len(data))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def article(**given: object) -> Callable[[Json], None]:
    """Sets something of a header's article."""
    return lambda head: head["article"].update(given)


def raw_level() -> Iterator[Hostile]:
    """What can be wrong with a wire log, and with what is said of it."""
    yield Hostile("a log of noise", lambda: log(_noise), "is not a wire log")
    yield Hostile("an empty log", lambda: log(lambda _: b""), "empty")
    yield Hostile(
        "a log of nothing", lambda: log(lambda d: d[:8] + bytes(9000)), "whole"
    )
    yield Hostile(
        "a log of another version",
        lambda: log(lambda d: d[:6] + b"\x07" + d[7:]),
        "another version",
    )
    yield Hostile(
        "a log cut in half",
        lambda: log(lambda d: d[: len(d) // 2]),
        TAKEN,
        "some of it lost",
    )
    yield Hostile(
        "a log damaged all over", lambda: log(scattered), TAKEN, "some of it lost"
    )
    yield Hostile(
        "a log with a script behind",
        lambda: log(lambda d: d + SCRIPT.encode()),
        TAKEN,
        "some of it lost",
    )
    yield Hostile(
        "a header with an endless name",
        lambda: header(article(name="x" * 5000)),
        "at most",
    )
    yield Hostile(
        "a header that is no article",
        lambda: header(lambda h: h.update(article=[1, 2])),
        "article",
    )
    yield Hostile(
        "a header with a huge figure",
        lambda: header(lambda h: h["article"]["propeller"].update(diameter_mm=1e300)),
        "at most",
    )
    yield Hostile("a header without a task", partial(header, _without_task), EITHER)
    yield Hostile(
        "a header with a task of noise",
        lambda: header(lambda h: h.update(task={"plan": {"segments": "no"}})),
        EITHER,
    )
    yield Hostile(
        "a header with a date of noise",
        lambda: header(lambda h: h.update(utc=SCRIPT)),
        "utc",
    )
    yield Hostile(
        "scripts in a header",
        lambda: header(_with_scripts),
        TAKEN,
    )
    yield Hostile(
        "texts that a terminal obeys in a header",
        lambda: header(article(name="\x1b[2J\x1b]0;x\x07")),
        "plain text on one line",
    )
    yield Hostile(
        "a calibration that was edited",
        _edited,
        TAKEN,
        "what it was calibrated by",
    )
    yield Hostile(
        "a descriptor that points out",
        lambda: run_descriptor(
            lambda c: c["resources"][0].update(path="../../wire.log")
        ),
        "points to something else",
    )
    yield Hostile(
        "a descriptor that points to a host",
        lambda: run_descriptor(
            lambda c: c["resources"].append({"name": "x", "path": "http://x.invalid/"})
        ),
        "points to something else",
    )
    yield Hostile(
        "a descriptor of another run",
        lambda: run_descriptor(lambda c: c.update(name="another")),
        "another run",
    )
    yield Hostile(
        "a run that was never sealed",
        lambda: run_descriptor(lambda c: c["gramwatt"].update(sealed=False)),
        "never sealed",
    )
    yield Hostile(
        "a log that was changed after the seal",
        lambda: run_descriptor(
            lambda c: c["resources"][0].update(hash="sha256:" + "0" * 64)
        ),
        "changed after the seal",
    )
    yield Hostile(
        "a better thrust than the log gives",
        lambda: together(with_entry(raw(), lambda e: _findings(e, 1.2))),
        TAKEN,
        "the sender says",
    )
    yield Hostile(
        "weights where there were none",
        lambda: together(with_entry(raw(), _calibrated)),
        TAKEN,
        "what it was calibrated by",
    )
    yield Hostile(
        "real where it was simulated",
        lambda: together(
            with_entry(raw(), lambda e: e["evidence"].update(simulated=False))
        ),
        TAKEN,
        "whether it is simulated",
    )
    yield Hostile(
        "other findings",
        lambda: derived(
            "findings.json", lambda d: d.replace(b'"value": 2', b'"value": 3')
        ),
        TAKEN,
        "findings.json differs",
    )
    yield Hostile(
        "findings of noise",
        lambda: derived("findings.json", _noise),
        TAKEN,
        "findings.json is not",
    )
    yield Hostile(
        "formulas in a table",
        lambda: derived(
            "plateaus.csv",
            lambda d: d.replace(b"up", FORMULA.replace('"', "").encode()),
        ),
        TAKEN,
        "plateaus.csv differs",
    )
    yield Hostile(
        "a page with a script",
        lambda: derived("report.html", lambda _: SCRIPT.encode()),
        TAKEN,
    )
    yield Hostile(
        "a figure of a thousand digits",
        lambda: derived(
            "findings.json",
            lambda d: d.replace(b'"value": 2', b'"value": ' + b"9" * 1000, 1),
        ),
        TAKEN,
        "without bounds",
    )
    yield Hostile(
        "a table that nothing gives",
        lambda: derived_more("bursts.csv", b"thrust_gf\n9000\n"),
        TAKEN,
        "nothing here gives one",
    )
    yield Hostile("another table at the top", _other_table, TAKEN, "in runs.csv says")
    yield Hostile(
        "readings of noise", lambda: derived("samples-0.parquet", _noise), TAKEN
    )
    yield Hostile("a log that takes for ever", endless_log, "was not done after")


def _without_task(head: Json) -> None:
    del head["task"]


def _with_scripts(head: Json) -> None:
    head["article"]["name"] = SCRIPT
    head["versions"] = {SCRIPT: SCRIPT}


def _edited() -> bytes:
    files = packed("a-1")

    def change(head: Json) -> None:
        head["calibrations"][0]["coefficients"][0] *= 1.3

    return together(with_header(files, change))


def _noise(data: bytes) -> bytes:
    return random.Random(6).randbytes(min(len(data), 50_000))


def _findings(content: Json, factor: float) -> None:
    for finding in content["findings"]:
        for key in ("value", "low", "high"):
            if key in finding:
                finding[key] *= factor


def _calibrated(content: Json) -> None:
    for scale in content["evidence"]["scales"]:
        scale.update(by="masses", words="weights of class E2", made_utc="2026-05-01")


def endless_log() -> bytes:
    """A log of which nearly every byte looks like the head of a long record."""
    files = raw()
    whole_log = files[f"{run_of(files)}/wire.log"]
    rng = random.Random(7)
    heads = b"".join(
        b"I" + struct.pack("<I", 900_000 + rng.randrange(99_000)) + rng.randbytes(3)
        for _ in range(500_000)
    )
    return together(with_log(files, whole_log + heads))
