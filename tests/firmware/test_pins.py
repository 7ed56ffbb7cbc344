"""The firmware, by what its servo pin does."""

from collections.abc import Callable, Iterator

import pytest

from tests import built
from tests.firmware.checks import CHECKS, clock_may_pass_zero
from tests.firmware.pins import Bench


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_on_the_pin(bench: Bench, check: Callable[[Bench], None]) -> None:
    check(bench)


@pytest.fixture
def host_build() -> Iterator[Bench]:
    made = Bench([str(built.host())])
    yield made
    made.close()


def test_the_clock_may_pass_zero(host_build: Bench) -> None:
    clock_may_pass_zero(host_build)
