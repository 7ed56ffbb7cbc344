"""The house: who may import whom, and what stays fast to start."""

import re
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest

from tests.conftest import TOGETHER

ROOT = Path(__file__).parents[1]
HEAVY = ("numpy", "pandas", "scipy", "matplotlib", "pyarrow", "pydantic", "PySide6")


def imported_by(code: str) -> set[str]:
    """Top-level packages loaded after running some code in a fresh interpreter."""
    tail = "import sys; print('|'.join({m.partition('.')[0] for m in sys.modules}))"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{tail}"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return set(done.stdout.splitlines()[-1].split("|"))


def test_imports_point_one_way() -> None:
    done = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stdout


def test_help_imports_nothing_heavy() -> None:
    code = (
        "from ui.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass"
    )
    assert not imported_by(code) & set(HEAVY)


def test_the_keeper_imports_nothing_heavy() -> None:
    assert not imported_by("import protocols.keeper") & set(HEAVY)


def test_every_package_and_its_data_are_listed_for_the_wheel() -> None:
    listed = set(
        re.findall(r'^    "((?:daq|protocols|ui)[\w.]*)",$', _pyproject(), re.MULTILINE)
    )
    found = {
        ".".join(init.parent.relative_to(ROOT).parts)
        for top in ("daq", "protocols", "ui")
        for init in (ROOT / top).rglob("__init__.py")
    }
    assert listed == found


@pytest.mark.parametrize(
    ("package", "name"),
    [
        ("daq.link", "README.md"),
        ("daq.stand.truths", "indoor_quad.toml"),
        ("protocols.catalogue", "staircase.toml"),
        ("ui.articles", "indoor-quad-a.toml"),
    ],
)
def test_data_are_found_through_their_package(package: str, name: str) -> None:
    assert resources.files(package).joinpath(name).is_file()


def _pyproject() -> str:
    return (ROOT / "pyproject.toml").read_text(encoding="utf-8")


def test_what_shares_runs_goes_to_one_worker() -> None:
    for place in (place for places in TOGETHER.values() for place in places):
        assert (ROOT / place).exists(), place
    readers = [
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "tests").rglob("test_*.py")
        if "cut_runs: CutRuns" in path.read_text(encoding="utf-8")
        and path != Path(__file__)
    ]
    assert readers
    for module in readers:
        assert module.startswith(TOGETHER["shared runs"]), module
