"""What the Club room has done elsewhere: runs packed, a club's site built.

``python -m ui.desktop.model.clubs``: a line of JSON says what, lines of JSON say how
far it is and what came of it. Runs in a process of its own (``errands``), since it
takes a core and seconds.
"""

from __future__ import annotations

import base64
import json
import os
import sys
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from daq.errors import GramwattError, InputFault, WorldFault
from daq.fresh_file import refuse_taken

PACK: Final = "pack"
SITE: Final = "site"
KINDER: Final = 10  # so much less of the processor than the window and the keeper

Progress = Callable[[int, int], None]


# ------------------------------------------------------------------ packing


@dataclass(frozen=True, slots=True)
class Packing:
    """How somebody wants runs packed.

    Attributes:
        folders: the runs.
        out: the bundle's file.
        by: the name that they want to be known by; "" for none.
        licence: its short name; "" for none stated.
        tables_only: the wire logs stay here.
        keep_notes: the notes on articles go along.
        sign: with the person's own key.
    """

    folders: tuple[Path, ...]
    out: Path
    by: str = ""
    licence: str = ""
    tables_only: bool = False
    keep_notes: bool = False
    sign: bool = False

    def asked(self) -> dict[str, object]:
        """The same as plain values."""
        return {
            "do": PACK,
            "folders": [str(folder) for folder in self.folders],
            "out": str(self.out),
            "by": self.by,
            "licence": self.licence,
            "tables_only": self.tables_only,
            "keep_notes": self.keep_notes,
            "sign": self.sign,
        }


@dataclass(frozen=True, slots=True)
class PackedTold:
    """What was packed.

    Attributes:
        path: the bundle.
        size: its bytes.
        runs: what each run rests on, by its name.
        picture: for a chat, a PNG file's bytes.
        digits: of the key that signed it; "" where it is not signed.
    """

    path: Path
    size: int
    runs: Mapping[str, str]
    picture: bytes
    digits: str

    @staticmethod
    def read(answer: Mapping[str, Any]) -> PackedTold:
        """Out of what the process said."""
        return PackedTold(
            Path(answer["path"]),
            answer["size"],
            answer["runs"],
            base64.b64decode(answer["picture"]),
            answer["digits"],
        )


def half_made(out: Path) -> Path:
    """Where a bundle lies while it is not whole."""
    return out.with_name(f".{out.name}.new")


def packed(asked: Mapping[str, Any]) -> dict[str, object]:
    """Pack some runs: the file is there whole, or not at all.

    Raises:
        GramwattError: a run cannot be packed, or the file not be written.
    """
    from ui.club import layout
    from ui.club.packing import Wishes, pack_runs
    from ui.club.signing import fingerprint, own_key, public_text

    out = Path(asked["out"])
    fresh = half_made(out)
    refuse_taken(out)
    key = own_key(make=True) if asked["sign"] else None
    wishes = Wishes(
        by=asked["by"],
        licence=asked["licence"],
        tables_only=asked["tables_only"],
        keep_notes=asked["keep_notes"],
        key=key,
    )
    try:
        fresh.unlink(missing_ok=True)
        made = pack_runs([Path(name) for name in asked["folders"]], fresh, wishes)
        with zipfile.ZipFile(fresh) as bundle:
            picture = bundle.read(layout.PICTURE)
        refuse_taken(out)
        fresh.rename(out)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{out} cannot be written: {why}.") from None
    finally:
        fresh.unlink(missing_ok=True)
    return {
        "path": str(out),
        "size": made.size,
        "runs": {entry.run: entry.evidence.words for entry in made.entries},
        "picture": base64.b64encode(picture).decode(),
        "digits": fingerprint(public_text(key)) if key is not None else "",
    }


# ------------------------------------------------------------------ the site


@dataclass(frozen=True, slots=True)
class SiteBuilt:
    """What a site was built of.

    Attributes:
        page: where to begin reading it.
        bundles: how many files were looked into.
        runs: how many runs are in it.
        refused: bundles that were not taken in, each with the reason.
        rounds: round robins among the runs, and those that say nothing, a sentence
            each.
    """

    page: Path
    bundles: int
    runs: int
    refused: Sequence[tuple[str, str]]
    rounds: Sequence[str] = ()

    def asked(self) -> dict[str, object]:
        """The same as plain values."""
        return {
            "page": str(self.page),
            "bundles": self.bundles,
            "runs": self.runs,
            "refused": [list(pair) for pair in self.refused],
            "rounds": list(self.rounds),
        }

    @staticmethod
    def read(answer: Mapping[str, Any]) -> SiteBuilt:
        """Out of what the process said."""
        return SiteBuilt(
            Path(answer["page"]),
            answer["bundles"],
            answer["runs"],
            tuple((name, why) for name, why in answer["refused"]),
            tuple(answer["rounds"]),
        )


def built_site(folder: Path, name: str, out: Path, progress: Progress) -> SiteBuilt:
    """Look through a club's bundles and build its site of them.

    Args:
        folder: with the bundles.
        name: what the club is called.
        out: the folder that gets the site.
        progress: is told how many bundles are done, and of how many.

    Raises:
        InputFault: there is no such folder, or no bundle in it.
        WorldFault: it cannot be read, or the site cannot be written.
    """
    from ui.club.building import build_club
    from ui.club.looking import bundles_in

    bundles = len(bundles_in(folder))
    if not bundles:
        raise InputFault(
            f"There is no bundle in {folder}: put the files there that the members "
            "packed (their names end in .zip)."
        )
    club = build_club(folder, out, name, progress=progress)
    return SiteBuilt(
        club.index,
        bundles,
        club.built.runs,
        tuple((one.bundle, one.why) for one in club.refused),
        club.rounds.words(),
    )


# ------------------------------------------------------------------ the process


def _tell(told: Mapping[str, object]) -> None:
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


def _progress(done: int, of: int) -> None:
    _tell({"progress": [done, of]})


def _done(asked: Mapping[str, Any]) -> dict[str, object]:
    if asked["do"] == PACK:
        return packed(asked)
    folder, out = Path(asked["folder"]), Path(asked["out"])
    return built_site(folder, asked["name"], out, _progress).asked()


def main() -> int:
    """Do what a line asks for."""
    if hasattr(os, "nice"):
        os.nice(KINDER)
    try:
        _tell({"answer": _done(json.loads(sys.stdin.readline()))})
    except GramwattError as fault:
        _tell({"refused": str(fault)})
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
