"""Fuzz the firmware's core: ``python -m tests.firmware.fuzz --seconds 60``."""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from daq.errors import GramwattError
from daq.machine_clock import MachineClock
from tests.firmware.fuzz.building import fuzzer
from tests.firmware.fuzz.fuzzing import Outcome, fuzz, lines_reached, prepare


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.firmware.fuzz")
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--runs", type=int, help="so many scripts instead")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--folder", type=Path, help="keeps corpus and findings (default: a new one)"
    )
    parser.add_argument("--script", type=Path, help="run this one finding again")
    return parser


def main() -> int:
    """Build, run, say what came of it; 1 where something was found."""
    args = _parser().parse_args()
    folder = args.folder or Path(tempfile.mkdtemp(prefix="fuzz-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        program = fuzzer(folder)
    except GramwattError as fault:
        print(fault)
        return 1
    if args.script is not None:
        return subprocess.run([str(program), str(args.script)], check=False).returncode
    corpus = folder / "corpus"
    prepare(corpus)
    limits = [f"-max_total_time={args.seconds}", f"-seed={args.seed}"]
    if args.runs is not None:
        limits[0] = f"-runs={args.runs}"
    clock = MachineClock()
    begin_s = clock.now_s()
    outcome = fuzz(program, corpus, limits)
    took_s = clock.now_s() - begin_s
    _tell(outcome, took_s)
    shares = lines_reached(folder, corpus)
    for name, share in sorted((shares or {}).items()):
        print(f"  {name:<12}{share:6.1f} % of its lines")
    print(f"Corpus and findings: {folder}")
    return 1 if outcome.finding else 0


def _tell(outcome: Outcome, took_s: float) -> None:
    print(
        f"{outcome.inputs} scripts in {took_s:.0f} s ({outcome.a_second} a second), "
        f"{outcome.edges} edges, {outcome.features} features, "
        f"{outcome.corpus} scripts kept"
    )
    if outcome.finding is None:
        print("Nothing was found.")
    else:
        print(f"FOUND: {outcome.finding.said}")
        print(f"  python -m tests.firmware.fuzz --script {outcome.finding.script}")


if __name__ == "__main__":
    sys.exit(main())
