"""A served stand for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.served import Bench, served


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One after the other, on one worker: each waits in real time."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.xdist_group("real time"))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with served(tmp_path) as made:
        yield made
