"""Both ways in which the firmware runs here."""

from collections.abc import Iterator

import pytest

from tests import built
from tests.firmware.pins import Bench


@pytest.fixture(params=["host build", "chip"])
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A firmware, on this computer or in an emulated chip."""
    chip = request.param == "chip"
    command = built.emulated_chip() if chip else [str(built.host())]
    made = Bench(command, 4_000 if chip else 0)
    yield made
    made.close()


@pytest.fixture
def chip() -> Iterator[Bench]:
    """The image for the chip, emulated."""
    made = Bench(built.emulated_chip(), 4_000)
    yield made
    made.close()
