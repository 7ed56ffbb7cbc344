"""Which calibration a channel gets, and what becomes of a run's figures with it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.calibration.making import calibrate
from daq.calibration.meter import meter_from, metered
from daq.calibration.standards import masses_of
from daq.calibration.suspects import Sensor
from daq.calibration.text import named, to_dict, to_text
from daq.calibration.value import Calibration, Subject
from daq.errors import InputFault
from daq.records.kept import add_check, keep
from daq.records.read import Run, read_run
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.daq.calibration.invented import SENSOR, Cell, club_masses, reading, session
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.calibrations import calibrated, latest, read_calibration, with_calibrations
from ui.ordered import order_for
from ui.report.method import sentences_on_method
from ui.results import analyse_folder, derive
from ui.series import series_of

STAND = 0x7E51
BEFORE = "2026-05-08T09:00:00+00:00"
GAINS = Plant(shipped_truth(), 1).true_counts_per_unit


def thrust(
    stand_id: int = STAND,
    made_utc: str = BEFORE,
    specimen: str = "",
    pieces: int = 5,
    *,
    simulated: bool = True,
) -> Calibration:
    """A calibration of the shipped simulated stand, seed 1."""
    known = masses_of(club_masses())
    cell = Cell(counts_per_n=GAINS["thrust"])
    force_n = list(known.value_si)[:pieces]
    readings = session(cell, force_n, np.random.default_rng(3))
    subject = Subject("thrust", "N", stand_id, specimen, simulated=simulated)
    return calibrate(readings, known, SENSOR, subject, made_utc)


def voltage() -> Calibration:
    volts = [8.0, 9.5, 11.0, 12.5]
    known = metered(meter_from("0.5% + 2 x 0.01"), volts, "V")
    zero = shipped_truth().voltage_sensor.zero_error_counts
    readings = [
        reading("zero", 0, "", -1, zero, 0.0),
        *(
            reading("load", 0, "", i, GAINS["voltage"] * v + zero, 5.0 + i)
            for i, v in enumerate(volts)
        ),
    ]
    sensor = Sensor("voltage", "V", 1000.0, -32767, 32767)
    return calibrate(
        readings, known, sensor, Subject("voltage", "V", STAND, simulated=True), BEFORE
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run of the shipped simulated stand, seed 1."""
    walk = spin(task(walked=plan((0.3, 0.6, 0.95))))
    walk.run()
    return write_run(walk, tmp_path_factory.mktemp("runs"))


@pytest.fixture
def run(folder: Path) -> Run:
    return read_run(folder)


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "data"))
    return tmp_path / "data" / "calibrations"


# ------------------------------------------------------------ into the analysis


def test_a_calibration_brings_thrust_nearer_and_narrows_it(folder: Path) -> None:
    nominal = analyse_folder(folder)
    better = analyse_folder(folder, [thrust()])
    assert nominal.analysis is not None
    assert better.analysis is not None
    a = nominal.analysis.plateaus.channels["thrust"].measured
    b = better.analysis.plateaus.channels["thrust"].measured
    declared = shipped_truth().load_cell.counts_per_n
    ratio = declared / GAINS["thrust"]
    assert b.value / a.value == pytest.approx(ratio, rel=1e-3)
    scale = series_of(better.run)[0]["thrust"].errors
    of_scale = [b.sources[name] for name in scale.factors("thrust", [0.0])]
    narrowed = np.sqrt(np.sum([source.variance() for source in of_scale], axis=0))
    by_itself = np.sqrt(a.sources["thrust gain"].variance())
    assert (narrowed / b.value).max() < 0.3 * (by_itself / a.value).min()
    assert {"thrust gain", "local gravity", "thrust hysteresis"} <= set(b.sources)
    assert better.analysis.evidence.nominal.isdisjoint({"thrust"})
    assert "current" in better.analysis.evidence.nominal


def test_the_extreme_of_a_channel_is_read_by_its_calibration(run: Run) -> None:
    series, nominal = series_of(with_calibrations(run, [voltage()]))
    assert series["voltage-low"].scale is not None
    assert {"voltage", "voltage-low"}.isdisjoint(nominal)
    off_v = series_of(run)[0]["voltage"].value_si - series["voltage"].value_si
    gain = GAINS["voltage"] / 1000.0
    wanted = series["voltage"].value_si * (gain - 1.0) - 0.006
    assert off_v == pytest.approx(wanted, abs=2e-3)


def test_findings_say_by_what_and_no_more_that_it_is_nominal(folder: Path) -> None:
    made = thrust()
    results = analyse_folder(folder, [made])
    said = " ".join(results.warnings())
    assert made.id in said
    assert "Nominal, not calibrated: current, voltage." in said
    top = json.dumps(next(f for f in results.findings() if f["unit"] == "gf"))
    assert "scale factors of voltage and current are nominal" in top


def test_turns_are_counted_and_need_no_calibration(run: Run) -> None:
    assert "speed" in series_of(run)[1]
    assert "speed" not in series_of(with_calibrations(run, [thrust()]))[1]


def test_the_page_names_them_and_says_what_is_left_nominal(folder: Path) -> None:
    results = analyse_folder(folder, [thrust()])
    said = " ".join(sentences_on_method(results.run, results.analysis))
    assert f"Thrust is by the calibration {thrust().id}, up to 470 gf" in said
    assert "constants: current, current-high, voltage, voltage-low." in said
    assert "No check mass" not in said
    nominal = analyse_folder(folder)
    plain = " ".join(sentences_on_method(nominal.run, nominal.analysis))
    assert "No check mass and no meter" in plain


def test_what_was_read_beyond_its_range_is_told_and_widened(folder: Path) -> None:
    small = thrust(pieces=3)  # up to 170 g; the run goes beyond
    assert small.high_si < 1.7
    results = analyse_folder(folder, [small])
    told = [words for words in results.warnings() if "extrapolated" in words]
    assert results.analysis is not None
    measured = results.analysis.plateaus.channels["thrust"].measured
    assert float(np.nanmax(measured.value)) > small.high_si
    assert len(told) == 1
    assert "thrust beyond range" in measured.sources


def test_each_set_of_calibrations_has_a_folder_of_its_own(folder: Path) -> None:
    made = thrust()
    nominal, better = derive(folder), derive(folder, [made])
    assert nominal.folder.name == "nominal"
    assert better.folder.name == f"calibrated-{made.id.rsplit('-', 1)[-1]}"
    kept = better.folder / "calibration-thrust.json"
    assert read_calibration(kept) == replace(made, points=read_calibration(kept).points)
    descriptor = json.loads((better.folder / "datapackage.json").read_text())
    assert descriptor["gramwatt"]["analysis"] == better.folder.name
    assert (nominal.folder / "findings.json").exists()


# ------------------------------------------------------------ which one


def test_a_run_is_read_by_the_newest_of_its_stand_that_it_came_with(run: Run) -> None:
    older = thrust(made_utc="2026-01-01T00:00:00+00:00")
    other = thrust(stand_id=7)
    header = {**run.header, "calibrations": [to_dict(m) for m in (other, older)]}
    assert calibrated(replace(run, header=header)).uses["thrust"].calibration.id == (
        older.id
    )
    header["calibrations"] = [to_dict(m) for m in (older, thrust(), other)]
    found = calibrated(replace(run, header=header))
    assert found.uses["thrust"].calibration.id == thrust().id
    assert calibrated(run).uses == {}


def test_one_that_a_person_gives_goes_first(run: Run) -> None:
    header = {**run.header, "calibrations": [to_dict(thrust())]}
    given = named(replace(thrust(), note="another"))
    found = calibrated(with_calibrations(replace(run, header=header), [given]))
    assert found.uses["thrust"].calibration.note == "another"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([thrust(stand_id=7)], "is of stand 00000007, and this is stand 00007e51"),
        ([thrust(simulated=False)], "is of a real stand, and this is a simulated one"),
        ([thrust(), thrust(made_utc=BEFORE[:-6])], "give one"),
        (
            [
                named(
                    replace(
                        thrust(), subject=Subject("torque", "N", STAND, simulated=True)
                    )
                )
            ],
            "no channel torque",
        ),
    ],
)
def test_what_is_not_of_the_run_is_refused(
    run: Run, given: list[Calibration], words: str
) -> None:
    with pytest.raises(InputFault, match=words):
        with_calibrations(run, given)


def test_weights_are_held_against_thrust_by_the_same_gravity(run: Run) -> None:
    assert calibrated(run).gravity_m_s2 == 9.80665
    found = calibrated(with_calibrations(run, [thrust()]))
    assert found.gravity_m_s2 == pytest.approx(9.8123, abs=1e-4)


def test_which_simulated_stand_it_was_is_asked_for(run: Run) -> None:
    made = thrust(specimen="rough, seed 5")
    found = calibrated(with_calibrations(run, [made]))
    assert "does not say whether it was on that one" in found.cautions()[0]
    on_it = replace(run, header={**run.header, "specimen": "rough, seed 5"})
    assert calibrated(with_calibrations(on_it, [made])).cautions() == []


def test_a_spoilt_one_in_the_record_is_told_and_not_used(run: Run) -> None:
    spoilt = to_dict(thrust())
    spoilt["zero_counts"] = 1.0
    found = calibrated(replace(run, header={**run.header, "calibrations": [spoilt]}))
    assert found.uses == {}
    assert "was changed after it was made" in found.cautions()[0]


def test_an_old_one_serves_with_a_caution(run: Run) -> None:
    old = thrust(made_utc="2025-01-01T00:00:00+00:00")
    found = calibrated(with_calibrations(run, [old]))
    assert "days old" in found.cautions()[0]


# ------------------------------------------------------------ the shelf


def start(specimen: str = "", *, own: bool = False) -> dict[str, object]:
    """The header of a spin that begins now."""
    from daq.records.shelf import load_article
    from ui.articles import example_article

    order = order_for("short-staircase", load_article(example_article()), 1000.0)
    said = replace(order, specimen=specimen).start("p", 1, Path("runs"), own=own)
    header = said["header"]
    assert isinstance(header, dict)
    return header


def test_what_is_kept_goes_into_the_next_runs_header(shelf: Path, run: Run) -> None:
    assert "calibrations" not in start()
    old, new = thrust(made_utc="2026-02-01T00:00:00+00:00"), thrust()
    for made in (new, old, voltage(), thrust(stand_id=7)):
        keep(made.id, to_text(made))
    add_check(new.id, {"utc": "2026-05-09T08:00:00+00:00", "passed": True})
    add_check(new.id, {"utc": "2026-05-09T08:30:00+00:00", "passed": False})
    header = start()
    found = calibrated(replace(run, header={**header, "utc": run.header["utc"]}))
    assert found.uses["thrust"].calibration.id == new.id
    assert found.uses["voltage"].calibration.subject.channel == "voltage"
    assert header["checked"] == {new.id: ["2026-05-09T08:00:00+00:00"]}
    assert len(json.dumps(header)) < 200_000


def test_a_simulated_stand_gets_those_of_the_same_specimen_only(shelf: Path) -> None:
    made = thrust(specimen="indoor_quad, seed 1")
    keep(made.id, to_text(made))
    assert "calibrations" not in start()
    assert "calibrations" not in start("indoor_quad, seed 2", own=True)
    assert "calibrations" in start("indoor_quad, seed 1", own=True)


def test_what_cannot_be_read_on_the_shelf_stops_nobody(shelf: Path) -> None:
    made = thrust()
    path = keep(made.id, to_text(made))
    assert keep(made.id, to_text(made)) == path
    (shelf / "rubbish.json").write_text("{")
    (shelf / "latin.json").write_bytes(b"\xff\xfe")
    header = start()
    entries = header["calibrations"]
    assert isinstance(entries, list)
    assert len(entries) == 1
    with pytest.raises(InputFault, match="no identity"):
        keep("../outside", "x")


def test_the_newest_of_a_channel_is_found() -> None:
    old, new = thrust(made_utc="2026-02-01T00:00:00+00:00"), thrust()
    assert latest([new, old], "thrust", STAND, "") is new
    assert latest([new, old], "thrust", 1, "") is None
