"""One fuzzing run: what it did, what it reached, what it found."""

import json
import os
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.firmware.fuzz.building import counter
from tests.firmware.fuzz.scripts import seeds

LONGEST = 600  # bytes of a script
ONE_INPUT_S = 20
STATUS = re.compile(r"cov: (\d+) ft: (\d+) corp: (\d+)")
FAULT = re.compile(r"LAW BROKEN.*|.*runtime error: .*|==\d+==\s?ERROR: .*")
STAT = re.compile(r"stat::(\w+):\s+(\d+)")
WRITTEN = re.compile(r"Test unit written to (\S+)")


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that went wrong.

    Attributes:
        said: the broken law, or the sanitizer's sentence.
        script: the input, to be run again with ``--script``.
    """

    said: str
    script: Path | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run came to.

    Attributes:
        inputs: scripts that were run.
        a_second: of them, on the average.
        edges: of the control flow, reached.
        features: edges and how often, as libFuzzer counts them.
        corpus: scripts that each reach something of their own.
        finding: the first; a run ends with it.
    """

    inputs: int
    a_second: int
    edges: int
    features: int
    corpus: int
    finding: Finding | None


def prepare(corpus: Path) -> None:
    """Put the scripts that it begins with into a folder."""
    corpus.mkdir(parents=True, exist_ok=True)
    for name, script in seeds().items():
        (corpus / name).write_bytes(script)


def fuzz(program: Path, corpus: Path, limits: Sequence[str]) -> Outcome:
    """Run it.

    Args:
        program: the fuzzer.
        corpus: scripts to begin with; what reaches something new is added.
        limits: libFuzzer's options that say when it ends.
    """
    findings = corpus.parent / "findings"
    findings.mkdir(exist_ok=True)
    command = [str(program), str(corpus), f"-artifact_prefix={findings}/"]
    command += [f"-max_len={LONGEST}", f"-timeout={ONE_INPUT_S}", *limits]
    command += ["-print_final_stats=1", "-detect_leaks=0", "-reload=0"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    status = STATUS.findall(done.stderr)
    edges, features, size = map(int, status[-1]) if status else (0, 0, 0)
    stats = {name: int(value) for name, value in STAT.findall(done.stderr)}
    finding = None
    if done.returncode != 0:
        fault, written = FAULT.search(done.stderr), WRITTEN.search(done.stderr)
        said = fault.group(0).strip() if fault else done.stderr[-500:]
        finding = Finding(said, Path(written.group(1)) if written else None)
    return Outcome(
        stats.get("number_of_executed_units", 0),
        stats.get("average_exec_per_sec", 0),
        edges,
        features,
        size,
        finding,
    )


def lines_reached(folder: Path, corpus: Path) -> dict[str, float] | None:
    """Share of lines of each file of the core that a corpus runs through.

    Returns:
        Percent by file name; None where llvm's tools for it are not there.
    """
    merge, show = (
        shutil.which(name) or shutil.which(f"{name}-14")
        for name in ("llvm-profdata", "llvm-cov")
    )
    if merge is None or show is None:
        return None
    program, raw, merged = counter(folder), folder / "raw", folder / "merged"
    subprocess.run(
        [str(program), str(corpus), "-runs=0"],
        env={**os.environ, "LLVM_PROFILE_FILE": str(raw)},
        capture_output=True,
        check=True,
    )
    subprocess.run([merge, "merge", str(raw), "-o", str(merged)], check=True)
    export = [
        show,
        "export",
        "--summary-only",
        f"-instr-profile={merged}",
        str(program),
    ]
    done = subprocess.run(export, capture_output=True, text=True, check=True)
    return {
        Path(file["filename"]).name: file["summary"]["lines"]["percent"]
        for file in json.loads(done.stdout)["data"][0]["files"]
        if "/core/" in file["filename"] and file["summary"]["lines"]["covered"]
    }
