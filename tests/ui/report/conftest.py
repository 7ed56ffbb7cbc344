"""One virtual spin for all tests of the page, written as the keeper would."""

from pathlib import Path

import pytest

from tests.runs import write_run
from tests.ui.report.built import demo_spin
from tests.ui.report.reading import Read, read
from tests.virtual import VirtualSpin
from ui.cli.plan import chosen_article
from ui.report.page import render
from ui.results import Results, analyse_folder


@pytest.fixture(scope="session")
def walked() -> VirtualSpin:
    """The spin, walked to its end."""
    virtual = demo_spin()
    virtual.run()
    return virtual


@pytest.fixture(scope="session")
def folder(walked: VirtualSpin, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its run folder."""
    article = chosen_article(None).to_dict()
    return write_run(walked, tmp_path_factory.mktemp("runs"), article=article)


@pytest.fixture(scope="session")
def results(folder: Path) -> Results:
    """The run and what it says."""
    return analyse_folder(folder)


@pytest.fixture(scope="session")
def text(results: Results) -> str:
    """Its page."""
    return render(results)


@pytest.fixture(scope="session")
def page(text: str) -> Read:
    """Its page, read back."""
    return read(text)
