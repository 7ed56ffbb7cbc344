"""The firmware, built once a test run; tests skip where a tool for it is missing."""

import atexit
import os
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from daq.errors import WorldFault
from daq.firmware import build
from tests.firmware.fuzz import building

REQUIRED = "GRAMWATT_FIRMWARE_TESTS"  # "required": nothing may be skipped, as in CI


@cache
def folder() -> Path:
    """Where everything is built; gone when the tests are over."""
    made = Path(tempfile.mkdtemp(prefix="firmware-"))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


@cache
def _made(make: Callable[[Path], Path]) -> Path | str:
    try:
        return make(folder())
    except WorldFault as fault:
        if "not installed" in str(fault):
            return str(fault)
        raise


def _or_skip(make: Callable[[Path], Path]) -> Path:
    made = _made(make)
    if isinstance(made, Path):
        return made
    if os.environ.get(REQUIRED) == "required":
        pytest.fail(made)
    pytest.skip(made)


def host() -> Path:
    """The core on this computer."""
    return _or_skip(build.host)


def chip() -> Path:
    """The image for the chip."""
    return _or_skip(build.chip)


def emulator() -> Path:
    """The bench around an emulated chip."""
    return _or_skip(build.emulator)


def fuzzer() -> Path:
    """The fuzzer around the core."""
    return _or_skip(building.fuzzer)


def emulated_chip() -> list[str]:
    """The command that runs the image for the chip in the emulator."""
    return build.emulated(emulator(), chip())


def emulated_sketch() -> list[str]:
    """The command that runs the image as the Arduino IDE makes it."""
    return build.emulated(emulator(), _or_skip(build.arduino))
