"""What lies where in a bundle: for who packs one and for who checks one.

A bundle is a zip file that is a Data Package (v2). What is not named here does not
belong into one. Nothing here reads or writes.
"""

from __future__ import annotations

import re
from typing import Final

FORMAT: Final = 1
#: What a bundle calls itself in its descriptor.
KIND: Final = "gramwatt bundle"

DESCRIPTOR: Final = "datapackage.json"
SIGNATURE: Final = "signature.json"
README: Final = "README.txt"
TABLE: Final = "runs.csv"
PICTURE: Final = "picture.png"
RUNS: Final = "runs"

LOG: Final = "wire.log"
ENTRY: Final = "entry.json"
ARTICLE: Final = "article.toml"
REPORT: Final = "report.html"

MB: Final = 1_000_000
#: Files at the top, and the most bytes that each may have.
AT_TOP: Final[dict[str, int]] = {
    DESCRIPTOR: 4 * MB,
    SIGNATURE: 4_000,
    README: 100_000,
    TABLE: 4 * MB,
    PICTURE: 4 * MB,
}
#: Files of a run: a pattern of the whole name, and the most bytes.
OF_A_RUN: Final[tuple[tuple[re.Pattern[str], int], ...]] = (
    (re.compile(r"wire\.log"), 400 * MB),
    (re.compile(r"datapackage\.json"), 4 * MB),
    (re.compile(r"entry\.json"), 200_000),
    (re.compile(r"article\.toml"), 100_000),
    (re.compile(r"(curves|findings)\.json"), 8 * MB),
    (re.compile(r"(plateaus|glides|bursts)\.csv"), 8 * MB),
    (re.compile(r"calibration-[a-z0-9-]{1,40}\.json"), 1 * MB),
    (re.compile(r"samples-[0-9]{1,3}\.parquet"), 400 * MB),
    (re.compile(r"report\.html"), 20 * MB),
)
#: A run's name, which is the name of its folder too.
RUN_NAME: Final = re.compile(r"[a-z0-9][a-z0-9._-]{0,79}")

#: A bundle has no more than this, packed and unpacked, in files and in runs.
MOST_PACKED: Final = 400 * MB
MOST_UNPACKED: Final = 1_200 * MB
MOST_FILES: Final = 3_000
MOST_RUNS: Final = 200
#: What is larger than this when unpacked may not have shrunk by more than that factor.
#: Smaller ones may: a plan that spins and rests for an hour says the same again and
#: again.
RATIO_FROM: Final = 5 * MB
MOST_RATIO: Final = 60.0

MEDIA: Final[dict[str, str]] = {
    "log": "application/octet-stream",
    "json": "application/json",
    "csv": "text/csv",
    "toml": "application/toml",
    "txt": "text/plain",
    "html": "text/html",
    "png": "image/png",
    "parquet": "application/vnd.apache.parquet",
}


def most_bytes(path: str) -> int | None:
    """The most bytes that a file of a bundle may have; None for what is no part of one.

    Args:
        path: inside the bundle, with slashes.
    """
    parts = path.split("/")
    if len(parts) == 1:
        return AT_TOP.get(path)
    if len(parts) != 3 or parts[0] != RUNS or not is_run_name(parts[1]):
        return None
    return next((most for known, most in OF_A_RUN if known.fullmatch(parts[2])), None)


def is_run_name(name: str) -> bool:
    """Whether it can be a run's name: plain letters, no path, on no system special."""
    return (
        RUN_NAME.fullmatch(name) is not None
        and not name.endswith(".")
        and name.partition(".")[0] not in _DEVICES
    )


def media_type(path: str) -> str:
    """What kind of file it is, as a descriptor says it."""
    return MEDIA[path.rpartition(".")[2]]


def resource_name(path: str) -> str:
    """A name for a file in a descriptor: small letters, digits, no slash."""
    stem = path.removeprefix(f"{RUNS}/").replace("/", "-").replace(".", "-")
    return re.sub(r"[^a-z0-9-]", "-", stem.lower())


# Names that are devices on one system, whatever follows the first point.
_DEVICES: Final = frozenset(
    {
        *("con", "prn", "aux", "nul"),
        *(f"{port}{number}" for port in ("com", "lpt") for number in range(10)),
    }
)
