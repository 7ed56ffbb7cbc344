"""``python -m tests.mutation [AREA ...]``: is every small change noticed?

Copies the project, changes one thing at a time and runs the tests of that area; a
change that fails none of them survives. Prints a score an area and every survivor.
``--sample N`` takes N changes of each file, by a seed. Exit status 1 below 90 %.
"""

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from tests.mutation.mutants import Mutant, mutants_of

ROOT = Path(__file__).parents[2]
LEFT_OUT = ("*.egg-info", ".*", "__pycache__", "build", "sample_runs", "runs")
DUE_SHARE = 0.9
PATIENCE_S = 300
SPIN = ("tests/protocols/test_proof.py", "tests/protocols/test_control.py")
GUARD = ("tests/protocols/guard",)


@dataclass(frozen=True, slots=True)
class Area:
    """What is changed, and who has to notice.

    Attributes:
        files: changed one at a time.
        tests: run for each change.
    """

    files: tuple[str, ...]
    tests: tuple[str, ...]


def _guard_files() -> tuple[str, ...]:
    found = sorted((ROOT / "protocols" / "guard").glob("*.py"))
    return tuple(str(p.relative_to(ROOT)) for p in found if p.stem != "__init__")


AREAS = {
    "guard": Area(_guard_files(), GUARD),
    "limits": Area(
        ("protocols/limits.py", "protocols/rules.py"),
        ("tests/protocols/test_limits.py", "tests/protocols/test_rules.py"),
    ),
    "interlock": Area(
        ("protocols/interlock.py",), ("tests/protocols/test_interlock.py",)
    ),
    "proof": Area(
        (
            "protocols/proof/exercises.py",
            "protocols/proof/trial.py",
            "protocols/proof/running.py",
            "protocols/proof/proof.py",
            "protocols/readiness.py",
            "protocols/supply.py",
        ),
        (
            "tests/protocols/test_supply.py",
            "tests/protocols/test_proof_parts.py",
            "tests/protocols/test_proof_driver.py",
            "tests/protocols/test_proof_start.py",
            "tests/protocols/test_proof_exercises.py",
            "tests/protocols/test_running_proof.py",
            *SPIN,
        ),
    ),
    "lines": Area(
        (
            "daq/link/columns/stand_in.py",
            "protocols/unprotected.py",
            "protocols/last_word.py",
        ),
        (
            "tests/daq/link/columns/test_stand_in.py",
            "tests/protocols/test_unprotected.py",
            "tests/daq/link/columns/test_session.py",
            "tests/protocols/test_strange_sketches.py",
            "tests/protocols/test_last_word.py",
        ),
    ),
    "runner": Area(
        ("protocols/runner.py", "protocols/retreat.py"),
        (
            "tests/protocols/test_runner.py",
            "tests/protocols/test_retreat.py",
            "tests/protocols/test_control.py",
        ),
    ),
}


def survives(work: Path, file: str, mutant: Mutant, tests: Sequence[str]) -> bool:
    """Whether no test notices a change."""
    target = work / file
    before = target.read_text("utf-8")
    target.write_text(mutant.source, "utf-8")
    command = [sys.executable, "-B", "-m", "pytest", "-x", "-q", "-n", "0"]
    command += ["-p", "no:cacheprovider", "-m", "not slow"]
    try:
        done = subprocess.run(
            [*command, *(t for t in tests if (work / t).exists())],
            cwd=work,
            env={"PYTHONPATH": str(work), "PATH": ""},
            capture_output=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False  # it never came to an end: noticed
    finally:
        target.write_text(before, "utf-8")
    return done.returncode == 0


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation")
    parser.add_argument("areas", nargs="*", choices=[*AREAS, []], default=[])
    parser.add_argument("--sample", type=int, help="so many changes of each file")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    noticed_all = True
    with tempfile.TemporaryDirectory() as scratch:
        works: SimpleQueue[Path] = SimpleQueue()
        for number in range(options.jobs):
            copied = Path(scratch) / str(number)
            shutil.copytree(ROOT, copied, ignore=shutil.ignore_patterns(*LEFT_OUT))
            works.put(copied)
        for name in options.areas or AREAS:
            noticed_all &= _one(name, AREAS[name], works, options)
    return 0 if noticed_all else 1


def _one(
    name: str, area: Area, works: "SimpleQueue[Path]", options: argparse.Namespace
) -> bool:
    """One area; whether enough was noticed."""
    chance = random.Random(options.seed)
    cases = []
    for file in area.files:
        found = list(mutants_of((ROOT / file).read_text("utf-8")))
        if options.sample and len(found) > options.sample:
            found = chance.sample(found, options.sample)
        cases += [(file, mutant) for mutant in found]

    def check(case: tuple[str, Mutant]) -> bool:
        work = works.get()
        try:
            return survives(work, *case, area.tests)
        finally:
            works.put(work)

    left = []
    with ThreadPoolExecutor(options.jobs) as pool:
        for case, lives in zip(cases, pool.map(check, cases), strict=True):
            if lives:
                left.append(case)
                file, mutant = case
                print(f"  {file}:{mutant.line} {mutant.change}", flush=True)
    share = 1 - len(left) / len(cases)
    noticed = len(cases) - len(left)
    print(f"{name}: {noticed} of {len(cases)} noticed, {100 * share:.1f} %", flush=True)
    return share >= DUE_SHARE


if __name__ == "__main__":
    sys.exit(main())
