"""Bundles that came: looked into one after the other, by a child, and what was found.

Nothing of a bundle is read in this process but what the child said, and nothing of it
goes anywhere before a person asks. While a spin goes on none is looked into.
"""

import tempfile
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Final, TypeAlias

from daq.errors import GramwattError, InputFault
from daq.records.folder import DERIVED
from ui.club import layout
from ui.club.checked import Checked
from ui.club.inspecting import Inspector
from ui.club.taking import Taken, take_runs
from ui.desktop.model.packs import ENDING, size_words
from ui.desktop.model.rows import stamp_of
from ui.desktop.model.words import one_line
from ui.report.words import counted

MOST_OPEN: Final = 20
SHORT_S: Final = 0.05
Scratch: TypeAlias = tempfile.TemporaryDirectory[str]


class Stage(Enum):
    """How far a bundle is."""

    WAITING = "waiting"
    LOOKING = "being looked into"
    OPENED = "opened"
    REFUSED = "refused"
    FAILED = "not looked into"


@dataclass(slots=True)
class Bundle:
    """One that came.

    Attributes:
        path: its file.
        stage: how far it is.
        why: why it is refused or was not looked into, a sentence; "" for nothing.
        checked: what was found; None where nothing was.
        taken: folders of its runs that were put among the person's, by their names.
        left: why a run was not put there, a sentence each.
        scratch: where its runs lie meanwhile; None where none do.
        stamp: time and size of the file that was looked into; None before.
    """

    path: Path
    stage: Stage = Stage.WAITING
    why: str = ""
    checked: Checked | None = None
    taken: dict[str, Path] = field(default_factory=dict)
    left: tuple[str, ...] = ()
    scratch: Scratch | None = None
    stamp: tuple[int, int] | None = None

    def is_still(self, path: Path) -> bool:
        """Whether what is said of it is said of that file as it is now."""
        if self.stage in (Stage.WAITING, Stage.LOOKING):
            return True
        return self.stage is not Stage.FAILED and self.stamp == stamp_of(path)

    @property
    def name(self) -> str:
        """Its file's name."""
        return one_line(self.path.name)

    @property
    def size(self) -> str:
        """Its file's size; "" where nobody knows."""
        try:
            return size_words(self.path.stat().st_size)
        except OSError:
            return ""

    @property
    def differing(self) -> int:
        """In how many runs the sender's figures are not what the logs give."""
        runs = self.checked.runs if self.checked is not None else ()
        return sum(bool(run.differences) for run in runs)

    @property
    def words(self) -> str:
        """How it stands, in a few words."""
        if self.stage is not Stage.OPENED or self.checked is None:
            return self.stage.value
        runs = counted(len(self.checked.runs), "run")
        return "figures differ" if self.differing else runs

    def take(self, names: Sequence[str], out: Path) -> Taken:
        """Put runs of it among a person's; reads and writes, so not for the window.

        Raises:
            GramwattError: they cannot be put there.
        """
        if self.checked is None or self.scratch is None:
            raise InputFault(f"{self.name} is not open any more: open it again.")
        return take_runs(self.checked, Path(self.scratch.name), out, names)

    def page_of(self, name: str) -> Path | None:
        """The page of a run that was derived here; None where there is none."""
        if self.scratch is None:
            return None
        run = Path(self.scratch.name) / layout.RUNS / name
        return next(run.glob(f"{DERIVED}/*/{layout.REPORT}"), None)

    def keep(self, taken: Taken) -> None:
        """Remember what was put where."""
        self.taken |= {folder.name: folder for folder in taken.runs}
        self.left = taken.left

    def forget(self) -> None:
        """Let go of what lies about of it."""
        scratch, self.scratch = self.scratch, None
        if scratch is not None:
            scratch.cleanup()


class Opening:
    """Bundles that came, in the order in which they did.

    Attributes:
        bundles: they.
        told: what is to be said of those that were not taken up; "" for nothing.
    """

    def __init__(self, inspector: Callable[[], Inspector] = Inspector) -> None:
        """Begin with none."""
        self.bundles: list[Bundle] = []
        self.told = ""
        self._inspector = inspector()
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="opening")
        self._job: Future[Checked] | None = None
        self._now: Bundle | None = None
        self._scratch: Scratch | None = None
        self._ended = ""  # why what is under way is ended: "spin" or "left"

    @property
    def busy(self) -> bool:
        """Whether any is still to be looked into."""
        return self._job is not None or self._next() is not None

    @property
    def words(self) -> str:
        """How far it is, in a line; "" where nothing is to be done."""
        open_ones = [b for b in self.bundles if b.stage is Stage.WAITING]
        if self._now is None:
            return ""
        more = f", {len(open_ones)} more to come" if open_ones else ""
        return f"Looking into {self._now.name}{more}: some 3 s for each of its runs."

    @property
    def progress(self) -> tuple[int, int]:
        """How many are done, and of how many."""
        done = [
            b for b in self.bundles if b.stage not in (Stage.WAITING, Stage.LOOKING)
        ]
        return len(done), len(self.bundles)

    def _next(self) -> Bundle | None:
        return next((b for b in self.bundles if b.stage is Stage.WAITING), None)

    def ask(self, paths: Iterable[Path]) -> list[Bundle]:
        """Look into these; gives those that were taken up, or are there already."""
        self.told = ""
        found = []
        for path in paths:
            there = next((b for b in self.bundles if b.path == path), None)
            if there is not None and there.is_still(path):
                found.append(there)
                continue
            if there is not None:
                self.put_away(there)
            why = self._why_not(path)
            if why:
                self.told = f"{self.told} {why}".strip()
                continue
            found.append(Bundle(path))
            self.bundles.append(found[-1])
        return found

    def _why_not(self, path: Path) -> str:
        name = one_line(path.name)
        if path.is_dir():
            return (
                f"{name} is a folder: open the files in it, or build the club's site "
                "of all of them."
            )
        if path.suffix.lower() != ENDING:
            return f"{name} is no bundle: the name of one ends in {ENDING}."
        if len(self.bundles) >= MOST_OPEN:
            return f"{name} was left out: no more than {MOST_OPEN} are open at once."
        return ""

    # ------------------------------------------------------------------ time

    def step(self, *, may_work: bool) -> bool:
        """Go on as far as it may; whether anything changed."""
        if self._job is not None:
            return self._look(may_work=may_work)
        bundle = self._next()
        if bundle is None or not may_work:
            return False
        self._begin(bundle)
        return True

    def _begin(self, bundle: Bundle) -> None:
        bundle.stage, self._now, self._ended = Stage.LOOKING, bundle, ""
        try:
            scratch = Scratch(prefix="gramwatt-", ignore_cleanup_errors=True)
        except OSError as fault:
            self._now = None
            bundle.stage = Stage.FAILED
            bundle.why = f"There is no room to look into it: {fault.strerror}."
            return
        self._scratch, bundle.stamp = scratch, stamp_of(bundle.path)
        inspector, path, place = self._inspector, bundle.path, Path(scratch.name)
        self._job = self._pool.submit(lambda: inspector.inspect(path, place))

    def _look(self, *, may_work: bool) -> bool:
        job, bundle = self._job, self._now
        if job is None or bundle is None:
            return False
        if not may_work:
            self._ended = self._ended or "spin"
        if not job.done():
            if self._ended:
                self._inspector.close()  # again, should its child have come meanwhile
            return False
        self._job, self._now = None, None
        scratch, self._scratch = self._scratch, None
        try:
            self._take(bundle, job, scratch)
        finally:
            if bundle.scratch is None and scratch is not None:
                scratch.cleanup()
        return True

    def _take(
        self, bundle: Bundle, job: Future[Checked], scratch: Scratch | None
    ) -> None:
        """What came of one."""
        fault = job.exception()
        if fault is None:
            bundle.checked, bundle.scratch = job.result(), scratch
            bundle.stage = Stage.OPENED
        elif self._ended == "spin":
            bundle.stage = Stage.WAITING
        elif self._ended:
            bundle.stage, bundle.why = Stage.FAILED, "You gave it up."
        elif isinstance(fault, InputFault):
            bundle.stage, bundle.why = Stage.REFUSED, str(fault)
        elif isinstance(fault, GramwattError):
            bundle.stage, bundle.why = Stage.FAILED, str(fault)
        else:
            raise fault

    # ------------------------------------------------------------------ ends

    def give_up(self) -> None:
        """Look into no more of them."""
        for bundle in self.bundles:
            if bundle.stage is Stage.WAITING:
                bundle.stage, bundle.why = Stage.FAILED, "You gave it up."
        if self._job is not None:
            self._ended = "left"
            self._inspector.close()

    def put_away(self, bundle: Bundle) -> None:
        """Show one no more; its file stays where it is."""
        if bundle is not self._now and bundle in self.bundles:
            self.bundles.remove(bundle)
            bundle.forget()

    def close(self) -> None:
        """End all of it."""
        self.give_up()
        job, scratch = self._job, self._scratch
        while job is not None and not job.done():
            self._inspector.close()  # again, should its child have come meanwhile
            wait([job], SHORT_S)
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._inspector.close()
        self._job, self._scratch = None, None
        if scratch is not None:
            scratch.cleanup()
        for bundle in self.bundles:
            bundle.forget()
