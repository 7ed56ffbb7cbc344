"""The fuzzer, built with clang: libFuzzer, and sanitizers that end it at a fault."""

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

from daq.errors import WorldFault
from daq.firmware.build import HERE
from tests.firmware.fuzz.scripts import definitions

OWN = Path(__file__).parent
DEBIAN = "apt install clang libclang-rt-14-dev"
SANITIZERS = (
    "-fsanitize=fuzzer,address,undefined,float-cast-overflow",
    "-fno-sanitize-recover=all",
)
COUNTED = ("-fsanitize=fuzzer", "-fprofile-instr-generate", "-fcoverage-mapping")


def clang() -> str:
    """Where it is.

    Raises:
        WorldFault: it is not installed.
    """
    found = shutil.which("clang") or shutil.which("clang-14")
    if found is None:
        raise WorldFault(f"clang is not installed; on Debian: {DEBIAN}")
    return found


def _compiled(made: Path, root: Path, options: Sequence[str]) -> Path:
    core = root / "core"
    sources = [OWN / "laws.c", OWN / "peek.c"]
    sources += [file for file in sorted(core.glob("*.c")) if file.name != "stand.c"]
    command = [clang(), *options, "-std=gnu11", "-O1", "-g", "-Wall", "-Wextra"]
    command += ["-Werror", "-Wno-unused-function", "-DGW_BYTES_A_POLL=255"]
    command += [*definitions(), f"-I{core}", f"-I{root / 'boards'}"]
    command += [*(str(source) for source in sources), "-o", str(made), "-lm"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if "libclang_rt" in done.stderr:
        raise WorldFault(f"libFuzzer is not installed; on Debian: {DEBIAN}")
    if done.returncode != 0:
        raise WorldFault(f"clang failed:\n{done.stderr}")
    return made


def fuzzer(folder: Path, *, root: Path = HERE) -> Path:
    """The fuzzer.

    Args:
        folder: where to put it.
        root: of the firmware's sources.

    Raises:
        WorldFault: there is no clang, or it does not compile.
    """
    return _compiled(folder / "fuzz-core", root, SANITIZERS)


def counter(folder: Path) -> Path:
    """The same without sanitizers, counting which lines it reaches.

    Raises:
        WorldFault: there is no clang, or it does not compile.
    """
    return _compiled(folder / "fuzz-counted", HERE, COUNTED)
