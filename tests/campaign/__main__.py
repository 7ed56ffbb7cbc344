"""``python -m tests.campaign``: seeded fault scripts in virtual time, and a table.

Exit status 0 when every law held and every cause was named rightly, else 1.
"""

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from daq.stand.faults.catalogue import KINDS
from tests.campaign.pooled import pooled
from tests.campaign.script import Verdict, run_script


def table(verdicts: Sequence[Verdict]) -> str:
    """One row a kind, scripts with that fault alone; and one for combinations."""
    rows: dict[str, list[Verdict]] = defaultdict(list)
    for verdict in verdicts:
        alone = len(verdict.kinds) == 1
        rows[verdict.kinds[0] if alone else "several together"].append(verdict)
    lines = [
        "fault                  scripts  walked  proof  cut  ms to zero: worst"
        "  after stop  misnamed  broken",
    ]
    kinds = [kind for kind in (*KINDS, "several together") if rows[kind]]
    lines += [_row(kind, rows[kind]) for kind in kinds]
    lines.append(_row("all", verdicts))
    return "\n".join(lines)


def _row(kind: str, verdicts: Sequence[Verdict]) -> str:
    completed = sum(v.ended == "completed" for v in verdicts)
    proof = sum(_before_the_walk(v) for v in verdicts)
    cut = len(verdicts) - completed - proof
    worst = _worst(v.to_zero_s for v in verdicts if v.ended != "completed")
    stop = _worst(v.stop_to_zero_s for v in verdicts)
    misnamed = sum(v.misnamed for v in verdicts)
    broken = sum(bool(v.broken) for v in verdicts)
    return (
        f"{kind:<22}{len(verdicts):8}{completed:8}{proof:7}{cut:5}"
        f"{worst:>19}{stop:>12}{misnamed:10}{broken:8}"
    )


def _before_the_walk(verdict: Verdict) -> bool:
    """Ended by the proof, or before anything turned for the plan."""
    early = ("proof: ", "refused", "not a stand", "not ready", "nobody", "stop")
    return verdict.ended != "completed" and verdict.check.startswith(early)


def _worst(values: Iterable[float]) -> str:
    known = [1e3 * value for value in values if math.isfinite(value)]
    return f"{max(known):.0f}" if known else "-"


def _from_row(row: dict[str, Any]) -> Verdict:
    return Verdict(**row)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign")
    parser.add_argument("--scripts", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument(
        "--out", type=Path, help="verdicts, a JSON line each; goes on from it if there"
    )
    parser.add_argument("--seed", type=int, help="only this one, in full")
    options = parser.parse_args()
    if options.seed is not None:
        print(json.dumps(asdict(run_script(options.seed)), indent=2))
        return 0
    seeds = range(options.first, options.first + options.scripts)
    verdicts = pooled(run_script, seeds, options.jobs, options.out, _from_row)
    print(table(verdicts))
    bad = [v for v in verdicts if v.broken or v.misnamed]
    for verdict in bad[:40]:
        print(f"\nseed {verdict.seed}: {'; '.join(verdict.faults)}")
        print(f"  in {verdict.phase}; {verdict.ended}: {verdict.check}")
        for law in verdict.broken:
            print(f"  BROKEN: {law}")
    wrong = sum(v.wrong_samples for v in verdicts)
    damaged = sum(v.damaged for v in verdicts)
    print(f"\n{wrong} wrong samples among {damaged} damaged frames")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
