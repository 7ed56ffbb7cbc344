"""``python -m tests.campaign.writes``: every write failed in turn, then all from there.

A whole run is kept again and again on a disk that fails at its first operation, then
at its second, and so on until the run completes; once as a single failure, once as a
disk that stays broken. Each time the motor has to be stopped, the log has to hold all
that was written before, and the folder has to be a run that can be read and sealed.
Exit status 0 when all of that held, else 1.
"""

import argparse
import itertools
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from daq.errors import RecordFault
from daq.records import folder as folders
from daq.records.read import read_run
from daq.records.wirelog import NAME, Reader, Record
from protocols.outcome import Ended
from tests.disks import ERRORS, Disk
from tests.kept import Kept, KeptSpin, keep_on, stands_still
from ui.results import _seal_as_it_stands

# The way to the stand, one servo frame, and what a moment is good to.
STOPPED_WITHIN_S = 0.002 + 0.003 + 0.002


@dataclass(frozen=True, slots=True)
class Case:
    """One failure.

    Attributes:
        fails_at: number of the operation.
        number: the error.
        for_good: all later ones fail too.
    """

    fails_at: int
    number: int
    for_good: bool


@dataclass(slots=True)
class Verdict:
    """What became of it.

    Attributes:
        case: the failure.
        what: the operation that failed.
        ended: how the run ended, "refused" where it never began.
        to_zero_s: from the failure to a pulse at zero, 0 where none was up.
        broken: laws that did not hold.
    """

    case: Case
    what: str = ""
    ended: str = ""
    to_zero_s: float = 0.0
    broken: list[str] = field(default_factory=list)


@cache
def baseline() -> tuple[list[tuple[str, str]], list[Record]]:
    """Operations and records of the run when nothing fails."""
    with tempfile.TemporaryDirectory() as parent:
        disk = Disk(Path(parent))
        kept = keep_on(disk)
        records = list(Reader.open(kept.folder / NAME).records())
        done = [
            (what, Path(path).name if what != "sync" else "sync")
            for what, path in disk.done
        ]
    return done, records


def cases(every: int = 1, first: int = 0) -> Iterator[Case]:
    """Each operation, the errors in turn; with ``every``, one in so many log writes."""
    done, _ = baseline()
    errors = itertools.cycle(ERRORS)
    thinned = {("write", NAME): every, ("sync", "sync"): max(1, every // 15)}
    seen: Counter[tuple[str, str]] = Counter()
    for number, operation in enumerate(done):
        seen[operation] += 1
        step = thinned.get(operation, 1)
        if seen[operation] % step == first % step:
            for for_good in (False, True):
                yield Case(number, next(errors), for_good)


def judge(case: Case) -> Verdict:
    """Keep one run with that failure."""
    verdict = Verdict(case)
    with tempfile.TemporaryDirectory() as parent:
        disk = Disk(Path(parent), case.fails_at, case.number, case.for_good)
        kept = keep_on(disk)
        what, path = disk.done[case.fails_at]
        verdict.what = f"{what} {Path(path).name}" if what != "sync" else "sync"
        if kept.spin is None:
            _judge_refusal(kept, disk, verdict)
        else:
            _judge_spin(kept.spin, verdict)
            _judge_end(kept, verdict)
            _judge_log(kept, disk, verdict)
            _judge_folder(kept, verdict)
    return verdict


def _judge_refusal(kept: Kept, disk: Disk, verdict: Verdict) -> None:
    verdict.ended = "refused"
    if disk.why not in kept.refused:
        verdict.broken.append(f"refused without its reason: {kept.refused}")
    made = kept.folder.exists()
    if made and not (kept.folder / folders.DESCRIPTOR).exists():
        if not disk.for_good:
            verdict.broken.append("a folder that is no run was left behind")
    elif made:
        _readable_or_said(kept, verdict)


def _judge_spin(spin: KeptSpin, verdict: Verdict) -> None:
    outcome = spin.control.outcome
    if outcome is None or not stands_still(spin):
        verdict.broken.append("it did not end at rest")
        return
    verdict.ended = str(outcome.ended)
    if spin.failed_s == spin.failed_s:  # it failed while the spin went on
        verdict.to_zero_s = max(0.0, spin.driven_s - spin.failed_s)
        if verdict.to_zero_s > STOPPED_WITHIN_S:
            late_ms = 1e3 * verdict.to_zero_s
            verdict.broken.append(f"{late_ms:.0f} ms to a pulse at zero")
        if outcome.check != "record" and not spin.was_over:
            verdict.broken.append(f"ended by {outcome.check}, not for its record")
        if not outcome.stop_confirmed:
            verdict.broken.append("the stop was not confirmed")
    elif outcome.ended is not Ended.COMPLETED:
        verdict.broken.append(f"{outcome.ended} before anything failed")


def _judge_end(kept: Kept, verdict: Verdict) -> None:
    sealed = folders.is_sealed(folders.read_descriptor(kept.folder))
    if kept.told.get("sealed") is not sealed:
        verdict.broken.append("the client was told otherwise than it is sealed")
    if sealed:
        verdict.broken.append("sealed, though something failed")
    if (kept.folder / f"{folders.DESCRIPTOR}.new").exists() and (
        not verdict.case.for_good
    ):
        verdict.broken.append("half a descriptor was left behind")


def _judge_log(kept: Kept, disk: Disk, verdict: Verdict) -> None:
    """All records written before the failure, and nothing after them."""
    _, records = baseline()
    log = str(kept.folder / NAME)
    wrote = [
        n for n, (what, path) in enumerate(disk.done) if (what, path) == ("write", log)
    ]
    whole = sum(n < verdict.case.fails_at for n in wrote) - 1  # the first is the magic
    reader = Reader.open(kept.folder / NAME)
    read = list(reader.records())
    if read != records[:whole]:
        verdict.broken.append(f"{len(read)} records of {whole} that were written")
    if reader.damage.places > 1 or (
        reader.damage.bytes and not reader.damage.cut_short
    ):
        verdict.broken.append(f"the log is damaged: {reader.damage}")


def _judge_folder(kept: Kept, verdict: Verdict) -> None:
    """It can be read, and sealed once the disk works again."""
    run = read_run(kept.folder)
    _seal_as_it_stands(kept.folder)
    again = read_run(kept.folder)
    if not (again.sealed and again.intact):
        verdict.broken.append("it cannot be sealed afterwards")
    if again.decisions != run.decisions:
        verdict.broken.append("sealing changed it")


def _readable_or_said(kept: Kept, verdict: Verdict) -> None:
    try:
        read_run(kept.folder)
    except RecordFault as fault:
        if str(kept.folder) not in str(fault):
            verdict.broken.append(f"not said where: {fault}")


def table(verdicts: Sequence[Verdict]) -> str:
    """One row an operation and mode."""
    lines = [f"{'operation that failed':<34}{'mode':<12}{'cases':>6}{'refused':>9}"]
    lines[0] += f"{'failed':>8}{'completed':>11}{'ms to zero: worst':>19}{'broken':>8}"
    kinds = dict.fromkeys((v.what, v.case.for_good) for v in verdicts)
    for what, for_good in kinds:
        mine = [v for v in verdicts if (v.what, v.case.for_good) == (what, for_good)]
        ends = Counter(v.ended for v in mine)
        worst_ms = 1e3 * max(v.to_zero_s for v in mine)
        mode = "from then on" if for_good else "once"
        lines.append(
            f"{what:<33} {mode:<13}{len(mine):>5}{ends['refused']:>9}"
            f"{ends['failed']:>8}{ends['completed']:>11}{worst_ms:>19.0f}"
            f"{sum(bool(v.broken) for v in mine):>8}"
        )
    return "\n".join(lines)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.writes")
    parser.add_argument("--every", type=int, default=1, help="of the log's writes")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.jobs) as pool:
        verdicts = list(pool.map(judge, cases(options.every), chunksize=16))
    print(table(verdicts))
    bad = [verdict for verdict in verdicts if verdict.broken]
    for verdict in bad[:40]:
        why = os.strerror(verdict.case.number)
        print(f"\n{verdict.case} ({verdict.what}: {why}): {verdict.ended}")
        for law in verdict.broken:
            print(f"  BROKEN: {law}")
    print(f"\n{len(verdicts)} failures, {len(bad)} with a broken law")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
