"""The firmware, by what its servo pin does."""

from collections.abc import Callable

import pytest

from tests.firmware.checks import CHECKS
from tests.firmware.pins import Bench


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_on_the_pin(bench: Bench, check: Callable[[Bench], None]) -> None:
    check(bench)
