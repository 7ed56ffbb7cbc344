"""Breaking a firmware on purpose, to see whether a check finds it out.

A check that a broken firmware passes guards nobody.
"""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from daq.firmware import build
from tests import built
from tests.contract.host import Silence
from tests.firmware.pins import Bench

Change = tuple[str, str, str]


@dataclass(frozen=True)
class Sabotage:
    """One way to break a firmware.

    Attributes:
        name: what is wrong with it.
        check: what has to notice.
        changes: file, what stands there, what stands there instead.
        on_chip: whether it is the board that is broken.
    """

    name: str
    check: Callable[[Bench], None]
    changes: tuple[Change, ...]
    on_chip: bool = False


def spoiled(sabotage: Sabotage, folder: Path) -> Path:
    """A copy of the sources with that in it."""
    root = folder / "firmware"
    for part in ("core", "boards"):
        shutil.copytree(build.HERE / part, root / part)
    for name, before, after in sabotage.changes:
        source = (root / name).read_text("utf-8")
        assert source.count(before) == 1, f"{name} has changed: look at {sabotage.name}"
        (root / name).write_text(source.replace(before, after), "utf-8")
    return root


def broken(sabotage: Sabotage, folder: Path) -> list[str]:
    """The command that runs it."""
    root = spoiled(sabotage, folder)
    if sabotage.on_chip:
        return build.emulated(built.emulator(), build.chip(folder, root=root))
    return [str(build.host(folder, root=root))]


def found_out(sabotage: Sabotage, folder: Path) -> None:
    """Its check fails on it; skipped where it cannot be built."""
    built.chip() if sabotage.on_chip else built.host()
    bench = Bench(broken(sabotage, folder), 4_000 if sabotage.on_chip else 0)
    try:
        with pytest.raises((AssertionError, Silence)):
            sabotage.check(bench)
    finally:
        bench.close()
