"""``python -m tests.campaign.bundles``: every hostile bundle, and what becomes of it.

Each is checked as `gramwatt bundle check` does. Refused with the right words, or taken
with what was in it defused; nothing may appear beside the folder that the check was
given, and no check may take more time or memory than is stated. Exit status 0 when all
of that held, else 1.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from daq.clock import Clock
from daq.errors import GramwattError
from daq.machine_clock import MachineClock
from tests.campaign.hostile_bundles.all_of_them import every
from tests.campaign.hostile_bundles.case import EITHER, TAKEN, Hostile
from ui.club import child
from ui.club.checked import Checked
from ui.club.inspecting import Bounds, Inspector
from ui.club.words import evidence_words

#: A bundle of these is done within this, or given up: no good one here takes as long.
PATIENCE: Final = Bounds(patience_s=20.0, per_mb_s=1.0)
MOST_S: Final = 45.0
MOST_MB: Final = child.MOST_MEMORY / 1e6


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one.

    Attributes:
        hostile: which.
        said: the refusal, or what was said of what was taken.
        refused: whether it was refused.
        took_s: how long that took.
        peak_mb: the most memory that the child had meanwhile; NaN where nobody says.
        broken: what should not have been; "" where all is well.
    """

    hostile: Hostile
    said: str
    refused: bool
    took_s: float
    peak_mb: float
    broken: str


def tried(hostile: Hostile, inspector: Inspector, home: Path, clock: Clock) -> Outcome:
    """Check one.

    Args:
        hostile: which.
        inspector: that checks it.
        home: an empty folder; nothing else than what is put there may be there after.
        clock: to see how long it takes.
    """
    path, scratch = home / "in" / "bundle.zip", home / "scratch" / "of it"
    path.parent.mkdir()
    scratch.mkdir(parents=True)
    path.write_bytes(hostile.make())
    before = _everything(home, scratch)
    begun_s = clock.now_s()
    found: Checked | None = None
    with _peak(inspector) as peak:
        try:
            found = inspector.inspect(path, scratch)
            said = _told(found)
        except GramwattError as fault:
            said = str(fault)
    took_s = clock.now_s() - begun_s
    broken = _judged(hostile, found, said)
    strange = sorted(_everything(home, scratch) - before)
    if strange:
        broken = f"wrote {strange[0]}"
    if took_s > MOST_S or peak[0] > MOST_MB:
        broken = f"took {took_s:.0f} s and {peak[0]:.0f} MB"
    return Outcome(hostile, said, found is None, took_s, peak[0], broken)


def _told(found: Checked) -> str:
    """All that is said of what was taken."""
    said = [found.title, found.by, *found.notes]
    for run in found.runs:
        said += [evidence_words(run), *run.differences]
    return " ".join(said)


def _judged(hostile: Hostile, found: Checked | None, said: str) -> str:
    """What should have become of it and did not; "" where it did."""
    if hostile.words in (TAKEN, EITHER) and found is not None:
        if hostile.told not in said:
            return f"nothing said of {hostile.told!r}"
        hidden = [c for c in said if not c.isprintable()]
        return f"says {hidden[0]!r}" if hidden else ""
    if found is not None:
        return "taken"
    if "Traceback" in said or "\n" in said or not said.endswith("."):
        return "no sentence"
    return (
        ""
        if hostile.words in said and hostile.words != TAKEN
        else f"not {hostile.words!r}"
    )


def _everything(home: Path, but: Path) -> set[str]:
    """What is there, but for the folder that the check was given."""
    return {
        str(path.relative_to(home))
        for path in home.rglob("*")
        if but != path and but not in path.parents
    }


@contextmanager
def _peak(inspector: Inspector) -> Iterator[list[float]]:
    """The most memory that the child has had since, in MB, where the system says."""
    found = [float("nan")]
    running = inspector._child
    if running is not None:
        _write(Path(f"/proc/{running._process.pid}/clear_refs"), "5")
    yield found
    running = inspector._child or running
    if running is not None:
        status = Path(f"/proc/{running._process.pid}/status")
        for line in _lines(status):
            if line.startswith("VmHWM:"):
                found[0] = int(line.split()[1]) / 1e3


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text)
    except OSError:
        pass  # a system that does not say


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text().splitlines()
    except OSError:
        return []


def all_tried(hostiles: Sequence[Hostile]) -> Iterator[Outcome]:
    """Check some, one after another."""
    clock = MachineClock()
    with Inspector(PATIENCE) as inspector:
        for hostile in hostiles:
            with TemporaryDirectory(prefix="hostile-") as home:
                yield tried(hostile, inspector, Path(home), clock)


def main(arguments: Sequence[str] | None = None) -> int:
    """Try them and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", metavar="WORDS", default="", help="in their names")
    asked = parser.parse_args(arguments)
    chosen = [hostile for hostile in every() if asked.only in hostile.name]
    broken = refused = 0
    slowest = largest = 0.0
    for outcome in all_tried(chosen):
        mark = "refused" if outcome.refused else "defused"
        print(
            f"{'BROKEN' if outcome.broken else mark:8} {outcome.took_s:6.2f} s "
            f"{outcome.peak_mb:6.0f} MB  {outcome.hostile.name}"
        )
        said = "".join(c if c.isprintable() else "?" for c in outcome.said)
        print(f"{'':27}{said[:150]}")
        if outcome.broken:
            print(f"{'':27}BROKEN: {outcome.broken}")
        broken += bool(outcome.broken)
        refused += outcome.refused
        slowest = max(slowest, outcome.took_s)
        largest = max(largest, outcome.peak_mb)
    print(
        f"{len(chosen)} hostile bundles: {refused} refused, {len(chosen) - refused} "
        f"defused, {broken} broken; slowest {slowest:.1f} s, largest {largest:.0f} MB"
    )
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
