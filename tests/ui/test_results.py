"""A run's folder to everything derived: complete, valid, repeatable, read-only."""

import json
import shutil
import tomllib
import warnings
from pathlib import Path

import pandas as pd
import pytest

from daq.errors import WorldFault
from daq.records.folder import hash_of
from daq.records.read import read_run
from daq.records.wirelog import NAME
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.articles import example_article
from ui.results import analyse_folder, derive


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    run = spin(task(walked=plan((0.3, 0.5, 0.7, 0.9))))
    run.run()
    article = tomllib.loads(example_article().read_text("utf-8"))
    return write_run(run, tmp_path_factory.mktemp("good"), article=article)


@pytest.fixture
def copy(good: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(good, tmp_path / "run"))


def test_what_is_derived_is_a_valid_package_that_names_every_file(copy: Path) -> None:
    results = derive(copy)
    content = json.loads((results.folder / "datapackage.json").read_text())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from frictionless import Package

        checked = {k: v for k, v in content.items() if k != "$schema"}
        assert not list(Package.metadata_validate(checked))
    named = {resource["path"] for resource in content["resources"]}
    there = {path.name for path in results.folder.iterdir()} - {"datapackage.json"}
    assert named == there
    for resource in content["resources"]:
        assert resource["hash"] == hash_of(results.folder / resource["path"])
    assert content["gramwatt"]["wire_log_hash"] == hash_of(copy / NAME)
    assert content["gramwatt"]["simulated"] is True


def test_tables_open_without_gramwatt_and_hold_the_raw_counts(copy: Path) -> None:
    results = derive(copy)
    fast = pd.read_parquet(results.folder / "samples-0.parquet")
    stream = read_run(copy).streams[0]
    assert list(fast.columns) == [
        "device_s",
        *(f"{page.name}_counts" for page in stream.channels),
    ]
    assert (fast["current_counts"].to_numpy() == stream.counts[:, 0]).all()
    plateaus = pd.read_csv(results.folder / "plateaus.csv")
    assert list(plateaus["throttle_frac"]) == [0.3, 0.5, 0.7, 0.9]
    assert (plateaus["thrust_gf"].diff().dropna() > 0).all()


def test_deriving_again_gives_the_same_bytes_and_leaves_the_log_alone(
    copy: Path,
) -> None:
    before = hash_of(copy / NAME)
    first = {p.name: p.read_bytes() for p in derive(copy).folder.iterdir()}
    again = {p.name: p.read_bytes() for p in derive(copy).folder.iterdir()}
    assert first == again
    assert hash_of(copy / NAME) == before
    assert {p.name for p in copy.iterdir()} == {NAME, "datapackage.json", "derived"}


def test_every_finding_of_a_simulated_run_says_so(good: Path) -> None:
    for finding in analyse_folder(good).findings():
        assert any("Simulated" in str(c) for c in finding["cautions"])  # type: ignore[attr-defined]


def test_analysing_writes_nothing(copy: Path) -> None:
    before = sorted(copy.rglob("*"))
    analyse_folder(copy)
    assert sorted(copy.rglob("*")) == before


def test_an_unsealed_run_is_sealed_as_it_stands(tmp_path: Path) -> None:
    run = spin()
    run.run(until_s=6.5)
    folder = write_run(run, tmp_path, seal=False)
    derive(folder)
    read = read_run(folder)
    assert read.sealed
    assert read.intact
    facts = read.descriptor["gramwatt"]
    assert facts["outcome"]["ended"] == "interrupted"  # type: ignore[index]


def test_a_run_that_never_heard_a_stand_still_has_its_page(tmp_path: Path) -> None:
    run = spin()
    run.cable = False
    run.run()
    results = derive(write_run(run, tmp_path))
    assert results.analysis is None
    assert results.findings() == []
    assert "never sent a sample" in results.sentences()[0]
    assert "Nothing answered" in results.report.read_text("utf-8")


def test_a_place_that_takes_nothing_is_said(copy: Path) -> None:
    (copy / "derived").write_text("in the way")
    with pytest.raises(WorldFault, match="cannot be written"):
        derive(copy)


def test_a_weight_is_taken_by_the_gravity_that_thrust_is_counted_by() -> None:
    from daq.records.shelf import load_article
    from ui.aircraft import aircraft_of
    from ui.articles import example_article

    article = load_article(example_article())
    there = aircraft_of(article, 9.8124)
    standard = aircraft_of(article, 9.80665)
    assert there is not None
    assert standard is not None
    assert there.all_up_n == pytest.approx(0.180 * 9.8124)
    assert standard.all_up_n == pytest.approx(0.180 * 9.80665)
    assert there.all_up_g == 180.0
