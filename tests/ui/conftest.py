"""Runs that were cut, of several kinds, each made once when first asked for."""

import pytest

from tests.ui.cut_runs import CutRuns


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One worker makes them, for all who read them."""
    for item in items:
        if "cut_runs" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.xdist_group("cut runs"))


@pytest.fixture(scope="session")
def cut_runs(tmp_path_factory: pytest.TempPathFactory) -> CutRuns:
    """Runs of a short plan, by what cut them."""
    return CutRuns(tmp_path_factory.mktemp("cut"))
