"""Two runs in two mountings: what that changes is found, and kept half."""

from dataclasses import replace
from pathlib import Path

import pytest

from daq.calibration.text import to_text
from daq.errors import InputFault
from daq.stand.plant.truth import shipped_truth
from daq.stand.plant.truth_effects import ArmTruth
from tests.runs import write_run
from tests.spins import plan, spin, task
from tests.ui.test_calibrations import thrust, voltage
from ui.calibrations import kept_calibrations
from ui.cli.main import main
from ui.mounted import runs_apart
from ui.results import Results, analyse_folder

WALK = plan((0.3, 0.5, 0.7, 0.9))


def walked(parent: Path, leak_n_nm: float, *, opposite: bool, seed: int) -> Path:
    """A run on a stand whose arm takes up some of the motor's torque."""
    arm = ArmTruth(
        thrust_arm_m=0.1,
        mass_arm_m=0.1,
        cell_arm_m=0.1,
        torque_leak_n_nm=leak_n_nm,
        opposite_rotation=opposite,
    )
    truth = shipped_truth().model_copy(update={"arm": arm})
    run = spin(task(walked=WALK), seed=seed, truth=truth)
    run.run()
    return write_run(run, parent)


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    parent = tmp_path_factory.mktemp("mounted")
    return (
        walked(parent, 2.0, opposite=False, seed=1),
        walked(parent, 2.0, opposite=True, seed=1),
    )


@pytest.fixture(scope="module")
def runs(folders: tuple[Path, Path]) -> tuple[Results, Results]:
    made = thrust()
    first, second = (analyse_folder(folder, [made]) for folder in folders)
    return first, second


def test_what_torque_leaks_into_thrust_shows_in_the_opposite_rotation(
    runs: tuple[Results, Results],
) -> None:
    made, bias = runs_apart(*runs, "opposite rotation")
    # Q/T = C_P D / (2 pi C_T), some 7.3 mm for this propeller: with 2 N a newton
    # metre the cell feels 1.5 % more one way, and as much less the other.
    assert bias.difference_rel == pytest.approx(-0.029, abs=0.003)
    assert bias.u_rel < 0.002
    assert bias.component_rel == pytest.approx(0.0145, abs=0.0015)
    assert made.id == thrust().id
    assert bias.compared == tuple(r.run.folder.name for r in runs)


def test_the_same_mounting_twice_shows_nothing(
    folders: tuple[Path, Path], tmp_path: Path
) -> None:
    made = thrust()
    again = walked(tmp_path, 2.0, opposite=False, seed=1)
    first = analyse_folder(folders[0], [made])
    _, bias = runs_apart(first, analyse_folder(again, [made]), "nothing")
    assert abs(bias.difference_rel) < 3.0 * bias.u_rel + 1e-3


def test_runs_that_say_nothing_of_a_mounting_are_refused(
    folders: tuple[Path, Path], runs: tuple[Results, Results]
) -> None:
    nominal = analyse_folder(folders[0])
    with pytest.raises(InputFault, match="has none"):
        runs_apart(nominal, runs[1], "x")
    other = analyse_folder(folders[0], [thrust(pieces=4), voltage()])
    with pytest.raises(InputFault, match="read both by one"):
        runs_apart(other, runs[1], "x")
    empty = replace(runs[0], analysis=None)
    with pytest.raises(InputFault, match="no plateau"):
        runs_apart(empty, runs[1], "x")


def test_the_command_keeps_it_with_the_calibration(
    folders: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path))
    file = tmp_path / "thrust.json"
    file.write_text(to_text(thrust()))
    both = [str(folder) for folder in folders]
    given = ["--changed", "opposite rotation", "--calibration", str(file)]
    assert main(["calibrate", "--compare", *both, *given]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "opposite rotation: the second gives 2.8 % less" in said
    (made,) = kept_calibrations()
    assert made.biases[0].what == "opposite rotation"
    again = analyse_folder(folders[0], [made])
    assert again.analysis is not None
    thrust_n = again.analysis.plateaus.channels["thrust"].measured
    share = thrust_n.sources["thrust mounting"].factor[:, 0] / thrust_n.value
    assert share == pytest.approx(made.biases[0].component_rel)
