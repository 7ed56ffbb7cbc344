"""The stands that the contract suite is run against."""

import os
from collections.abc import Callable, Iterator

import pytest

from tests import built
from tests.contract import stranger
from tests.contract.host import Host
from tests.contract.subjects import (
    DirectDevice,
    DirectStranger,
    Firmware,
    OnPort,
    ServedDevice,
    SideDoors,
    Subject,
)

# A frame takes half a millisecond on the line, and may wait for others.
CHIP_LAG_US = 4_000

VIRTUAL: dict[str, Callable[[], Subject]] = {
    "device": DirectDevice,
    "stranger": DirectStranger,
    "host build": lambda: Firmware([str(built.host())]),
    "chip": lambda: Firmware(built.emulated_chip(), lag_us=CHIP_LAG_US),
}
REAL_STAND = "GRAMWATT_STAND"


def real_stand() -> Subject:
    """The stand that the person running the tests has put on a port."""
    name = os.environ.get(REAL_STAND)
    if name is None:
        pytest.skip(f"no real stand; name its port in {REAL_STAND}, propeller off")
    return OnPort(name)


EVERYWHERE: dict[str, Callable[[], Subject]] = {
    **VIRTUAL,
    "terminal": lambda: ServedDevice(tcp=False),
    "tcp": lambda: ServedDevice(tcp=True),
}


def _host(subject: Subject) -> Iterator[Host]:
    host = Host(subject)
    try:
        yield host
    finally:
        host.send(stranger.STOP, b"\x03")
        subject.close()


# The emulated chip runs what the host build runs, forty times slower: everything of it
# is for CI; at the desk the suite below and its pins are held to it.
AT_THE_DESK = [
    pytest.param(name, marks=pytest.mark.slow) if name == "chip" else name
    for name in VIRTUAL
]


@pytest.fixture(params=AT_THE_DESK)
def host(request: pytest.FixtureRequest) -> Iterator[Host]:
    """A host of a stand in virtual time."""
    yield from _host(VIRTUAL[request.param]())


@pytest.fixture(
    params=[*EVERYWHERE, pytest.param("real stand", marks=pytest.mark.hardware)]
)
def any_host(request: pytest.FixtureRequest) -> Iterator[Host]:
    """A host of any stand there is, in virtual or in real time."""
    made = EVERYWHERE.get(request.param, real_stand)
    yield from _host(made())


@pytest.fixture
def any_doors(any_host: Host) -> SideDoors:
    """Side doors of the stand under test."""
    if any_host.doors is None:
        pytest.skip("this stand has no side doors")
    return any_host.doors


@pytest.fixture
def doors(host: Host) -> SideDoors:
    """Side doors of the virtual stand under test."""
    if host.doors is None:
        pytest.skip("this stand has no side doors")
    return host.doors
