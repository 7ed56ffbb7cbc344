"""What a person chooses to pack: which runs, what goes along with them, and where to.

Says in words what leaves this computer and what does not. Packs nothing.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from ui.desktop.model.rows import OPEN, Row
from ui.report.words import counted

ENDING: Final = ".zip"
MOST_NAME: Final = 80
SECONDS_A_RUN: Final = 3  # about what packing takes
NOT_SEALED: Final = (
    "Not sealed: its keeper was cut off, or still records. The Curves room seals it "
    "when its findings are worked out."
)
GOES: Final = (
    "when each run began, how it ended, and what proof of the guards was done",
    "the article as its file describes it",
    "the stand's number, and the calibrations: with the names that you gave to masses "
    "and meters, and with how far north your place lies",
    "plateaus, curves, findings and the page of each run; a table and a picture of all",
)
GOES_RAW: Final = (
    "the wire log and the readings: whoever gets it can derive every figure again"
)
STAYS: Final = (
    "port names and folders",
    "the names of this computer and of its user",
    "tags and notes of the Curves room",
)
STAYS_RAW: Final = (
    "wire logs and readings: nobody can check the figures, they are your word"
)
NOTES_GO: Final = "the notes on articles, as you wrote them"
NOTES_STAY: Final = "the notes on articles"
#: Licences by short name, in words of one line.
LICENCE_WORDS: Final = {
    "": "no licence stated",
    "CC0-1.0": "CC0: anybody may do anything with it",
    "CC-BY-4.0": "CC BY: anybody, who names you",
    "CC-BY-SA-4.0": "CC BY-SA: the same, and passes it on under the same terms",
    "ODbL-1.0": "ODbL: the same, for databases",
}


def may_pack(row: Row) -> bool:
    """Whether a run can be packed, as far as its folder tells."""
    return row.readable and row.ended != OPEN


def why_not(row: Row) -> str:
    """Why a run cannot be packed, a sentence; "" where it can."""
    if may_pack(row):
        return ""
    return NOT_SEALED if row.ended == OPEN else row.meaning


def goes_and_stays(
    *, tables_only: bool, keep_notes: bool
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What goes along with the runs, and what stays here."""
    goes = (*GOES, *(() if tables_only else (GOES_RAW,)))
    stays = (*STAYS, *((STAYS_RAW,) if tables_only else ()))
    if keep_notes:
        return (*goes, NOTES_GO), stays
    return goes, (*stays, NOTES_STAY)


def file_for(rows: Sequence[Row], folder: Path) -> Path:
    """A name for a bundle of some runs, in a folder, that nothing there has."""
    if not rows:
        return folder / f"bundle{ENDING}"
    oldest = min(rows, key=lambda row: row.name)
    more = f"-and-{len(rows) - 1}-more" if len(rows) > 1 else ""
    stem = f"{oldest.folder.name}{more}"
    names = (f"{stem}{tail}{ENDING}" for tail in ("", *(f"-{n}" for n in _rest())))
    return next(folder / name for name in names if not (folder / name).exists())


def _rest() -> Iterable[int]:
    return range(2, 10_000)


def typed_file(text: str, folder: Path) -> Path:
    """The file that a person typed; its name ends as a bundle's does."""
    path = Path(text.strip()).expanduser()
    path = path if path.is_absolute() else folder / path
    return path if path.suffix.lower() == ENDING else path.with_name(path.name + ENDING)


def lacking(rows: Sequence[Row], by: str, file: str) -> str:
    """What has to be done before packing can begin, a sentence; "" for nothing."""
    if not rows:
        return "Tick the runs that are to be packed: space, in the table."
    if len(by) > MOST_NAME or not by.isprintable():
        return f"A name to be known by has at most {MOST_NAME} plain characters."
    return "" if file.strip() else "Say where the bundle is to be written."


def chosen_words(rows: Sequence[Row]) -> str:
    """Which runs are chosen, in a line."""
    if not rows:
        return "No run is chosen."
    simulated = sum(row.simulated for row in rows)
    words = f"{counted(len(rows), 'run')} chosen"
    if simulated == len(rows):
        return f"{words}, simulated: the bundle says so everywhere."
    if simulated:
        return f"{words}, {simulated} of them simulated: the bundle says which."
    return f"{words}."


def busy_words(runs: int) -> str:
    """What is going on, and how long it takes."""
    return f"Packing {counted(runs, 'run')}: some {SECONDS_A_RUN * runs} s."


def size_words(size: int) -> str:
    """A file's size."""
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.0f} kB"
