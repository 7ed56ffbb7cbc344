"""The ways in which the firmware runs here."""

from collections.abc import Callable, Iterator

import pytest

from tests import built
from tests.firmware.pins import Bench

CHIP_LAG_US = 4_000
IMAGES: dict[str, Callable[[], list[str]]] = {
    "chip": built.emulated_chip,
    "Arduino image": built.emulated_sketch,
}


@pytest.fixture(params=["host build", *IMAGES])
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A firmware, on this computer or in an emulated chip."""
    image = IMAGES.get(request.param)
    made = Bench(image(), CHIP_LAG_US) if image else Bench([str(built.host())])
    yield made
    made.close()


@pytest.fixture(params=list(IMAGES))
def chip(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """An image for the chip, emulated."""
    made = Bench(IMAGES[request.param](), CHIP_LAG_US)
    yield made
    made.close()
