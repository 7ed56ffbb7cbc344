"""``python -m tests.club.many FOLDER``: a folder of bundles with many invented runs.

To see how a club of ten thousand runs is checked, built and used. Every run says that
it is invented.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from tests.club.invented import invented
from ui.club import layout
from ui.club.packing import Wishes, _descriptor, _json_bytes, zipped
from ui.club.tables import csv_bytes, run_row
from ui.club.texts import readme_text

RUNS_A_BUNDLE = 10


def many(folder: Path, runs: int) -> None:
    """Write bundles of ten runs each, tables only."""
    folder.mkdir(parents=True, exist_ok=True)
    entries = [
        shared.entry.model_copy(update={"run": shared.entry.run.lower()})
        for shared in invented(runs)
    ]
    wishes = Wishes(by="an invented sender", licence="CC0-1.0", tables_only=True)
    for first in range(0, runs, RUNS_A_BUNDLE):
        told = entries[first : first + RUNS_A_BUNDLE]
        files = {
            f"{layout.RUNS}/{entry.run}/{layout.ENTRY}": _json_bytes(entry.to_dict())
            for entry in told
        }
        rows = [run_row(entry) for entry in told]
        files[layout.TABLE] = csv_bytes(rows, list(rows[0]))
        files[layout.README] = readme_text(told, wishes.by, wishes.licence).encode()
        files[layout.DESCRIPTOR] = _descriptor(files, told, wishes)
        (folder / f"invented-{first:05}.zip").write_bytes(zipped(files))


def main(arguments: Sequence[str] | None = None) -> int:
    """Write them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--runs", type=int, default=10_000)
    asked = parser.parse_args(arguments)
    many(asked.folder, asked.runs)
    return 0


if __name__ == "__main__":
    sys.exit(main())
