"""Runs that were cut, of several kinds, each made once when first asked for."""

import pytest

from tests.ui.cut_runs import CutRuns


@pytest.fixture(scope="session")
def cut_runs(tmp_path_factory: pytest.TempPathFactory) -> CutRuns:
    """Runs of a short plan, by what cut them."""
    return CutRuns(tmp_path_factory.mktemp("cut"))
