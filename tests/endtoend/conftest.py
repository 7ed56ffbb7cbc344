"""A served stand for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.served import Bench, served


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with served(tmp_path) as made:
        yield made
