"""What every test run shares: profiles, an empty shelf, and who works on what."""

import gc
import os
import tempfile
from pathlib import Path
from typing import Final

import pytest
from hypothesis import HealthCheck, settings
from typing_extensions import override
from xdist.remote import Producer  # type: ignore[import-untyped]
from xdist.scheduler import LoadScopeScheduling  # type: ignore[import-untyped]

settings.register_profile("desk", max_examples=50, deadline=None)
settings.register_profile(
    "ci",
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "desk"))

# No test finds the calibrations of who runs it, nor leaves any behind.
os.environ["GRAMWATT_DATA"] = str(Path(tempfile.gettempdir()) / "gramwatt-no-shelf")

# Modules (or folders of them) that one worker takes together: they share runs that are
# made once a session, or wait in real time one after the other.
TOGETHER: Final = {
    "real time": ("tests/endtoend/", "tests/firmware/test_whole_chain.py"),
    "shared runs": (
        "tests/ui/report/",
        "tests/ui/cli/test_ending.py",
        "tests/ui/test_cut.py",
        "tests/ui/test_extent.py",
        "tests/ui/test_series.py",
    ),
}


class Sharing(LoadScopeScheduling):  # type: ignore[misc]
    """A module goes to one worker as a whole, so that what it shares is made once.

    The marks of ``loadgroup`` would say it in the modules themselves, but pytest 9.2
    no longer reads the attribute that they are written to, and they do nothing.
    """

    @override
    def _split_scope(self, nodeid: str) -> str:
        module = nodeid.partition("::")[0]
        for name, places in TOGETHER.items():
            if module.startswith(places):
                return name
        return module


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> Sharing:
    """By modules, whatever ``--dist`` says."""
    return Sharing(config, log)


def pytest_collection_finish() -> None:
    """Thousands of collected tests stay until the end: not looked through for garbage.

    Nor is there a look for every 700 objects: figures and logs are made of many more.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)
