"""Every way a run can be cut: the motor stops, the record is kept, it is said."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from daq.link import messages as m
from daq.link.framing import frame
from daq.records.read import read_run
from tests.served import PROTOCOL, ROOT, YES, Bench
from ui.articles import example_article

pytestmark = [pytest.mark.endtoend, pytest.mark.timeout(90)]

STOP_FRAME = frame(m.encode(m.Stop(m.StopReason.PERSON), 0))
LEASE_S = 0.2
SERVO_S = 0.003
TICK_S = 0.001
# The test's own look at the pulse comes this much later at most on a busy machine.
LOOK_S = 0.1


def test_a_whole_spin_with_the_checklist_ends_well(bench: Bench) -> None:
    status, said = bench.end_of(bench.spin())
    assert status == 0, said
    assert "completed" in said
    assert "9/9" in said
    assert "Findings" in said
    run = read_run(bench.run_folder())
    assert run.sealed
    assert run.intact
    assert run.header["simulated"] is False  # so the checklist was asked
    assert run.simulated  # but the stand's own word labels its data
    assert bench.device.state is m.State.LOCKED


def test_ctrl_c_stops_seals_and_says_so(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    os.killpg(client.pid, signal.SIGINT)  # as a terminal does: to the whole group
    assert bench.device_time_to_zero_s() < 0.3
    status, said = bench.end_of(client)
    assert status == 1
    assert "stopped" in said
    assert "ctrl-C" in said
    assert "NOT CONFIRMED" not in said
    assert read_run(bench.run_folder()).sealed
    assert bench.outcome()["ended"] == "stopped"


@pytest.mark.slow
def test_a_killed_keeper_leaves_the_motor_stopped_and_the_record_readable(
    bench: Bench,
) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    os.kill(bench.keeper_of(client), signal.SIGKILL)
    assert bench.device_time_to_zero_s() < LEASE_S + SERVO_S + TICK_S + LOOK_S
    status, said = bench.end_of(client)
    assert status == 1
    assert "The keeper is gone without a word" in said
    assert "CUT THE POWER" in said
    run = read_run(bench.run_folder())
    assert run.streams[0].device_s.size > 1000
    assert run.sealed  # as it stands, by the analysis that followed
    assert run.outcome is None
    assert bench.device.state is m.State.TRIPPED


@pytest.mark.slow
def test_a_frozen_keeper_is_stopped_by_the_lease(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    keeper = bench.keeper_of(client)
    os.kill(keeper, signal.SIGSTOP)
    assert bench.device_time_to_zero_s() < LEASE_S + SERVO_S + TICK_S + LOOK_S
    time.sleep(2.0)
    os.kill(keeper, signal.SIGCONT)
    status, said = bench.end_of(client)
    assert status == 3
    assert "The keeper is silent" in said
    assert bench.outcome()["check"] == "lease"


@pytest.mark.slow
def test_a_killed_client_stops_the_motor_and_the_record_is_sealed(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    client.kill()
    assert bench.device_time_to_zero_s() < 0.2
    bench.wait_until(lambda: read_run(bench.run_folder()).sealed)
    outcome = bench.outcome()
    assert outcome["ended"] == "stopped"
    assert "is gone" in str(outcome["cause"])
    assert outcome["stop_confirmed"] is True


@pytest.mark.slow
def test_a_frozen_client_counts_as_gone(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    os.kill(client.pid, signal.SIGSTOP)
    assert bench.device_time_to_zero_s() < 0.7 + 0.2 + LOOK_S
    bench.wait_until(lambda: read_run(bench.run_folder()).sealed)
    assert bench.outcome()["check"] == "beat"
    os.kill(client.pid, signal.SIGCONT)
    status, _ = bench.end_of(client)
    assert status == 3


@pytest.mark.slow
def test_a_terminated_keeper_stops_and_seals(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    os.kill(bench.keeper_of(client), signal.SIGTERM)
    assert bench.device_time_to_zero_s() < 0.2
    status, _ = bench.end_of(client)
    assert status == 1
    assert read_run(bench.run_folder()).sealed
    assert "terminate" in str(bench.outcome()["cause"])


@pytest.mark.slow
def test_a_stand_that_restarts_while_spinning(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    bench.server.between_ticks(lambda d: d.reset(m.Cause.BROWN_OUT))
    status, said = bench.end_of(client)
    assert status == 3
    assert "restarted while running" in said
    assert not bench.spinning


@pytest.mark.slow
def test_a_cable_that_is_pulled_out(bench: Bench) -> None:
    client = bench.spin(dwell_s=20)
    bench.wait_until_spinning()
    bench.server.end()
    status, said = bench.end_of(client)
    assert status == 1
    assert "is gone" in said
    assert "200 ms" in said
    assert "NOT CONFIRMED" in said
    assert read_run(bench.run_folder()).sealed


@pytest.mark.slow
def test_a_full_disk_stops_the_motor(bench: Bench) -> None:
    client = bench.spin(dwell_s=20, file_max=330_000)
    bench.wait_until_spinning()
    bench.wait_until(lambda: not bench.spinning, 20.0)
    status, said = bench.end_of(client)
    assert status == 1
    assert "could not be written" in said
    assert "Traceback" not in said
    run = read_run(bench.run_folder())
    assert run.streams[0].device_s.size > 500


def test_a_person_who_says_no_arms_nothing(bench: Bench) -> None:
    client = bench.spin(answers="yes\nno\n")
    status, said = bench.end_of(client)
    assert status == 1
    assert 'You did not say yes to "Everyone in the room wears eye protection."' in said
    assert bench.device.state is m.State.LOCKED
    run = read_run(bench.run_folder())
    assert run.sealed
    assert not list(run.notes("armed"))


def test_nobody_there_to_answer_arms_nothing(bench: Bench) -> None:
    status, said = bench.end_of(bench.spin(answers=""))
    assert status == 1
    assert "has to be answered by a person at a terminal" in said
    assert bench.device.state is m.State.LOCKED


@pytest.mark.slow
@pytest.mark.parametrize(
    ("command", "after_s"),
    [(["spin", "staircase", "--simulated"], 1.2), (["demo"], 5.0)],
    ids=["spin, while zeroing", "demo, while spinning"],
)
def test_ctrl_c_on_its_own_simulation_is_a_confirmed_stop(
    bench: Bench, command: list[str], after_s: float
) -> None:
    client = bench.start(*command)
    bench.wait_until(lambda: bool(list(bench.folder.glob("runs/*/wire.log"))))
    time.sleep(after_s)
    os.killpg(client.pid, signal.SIGINT)
    status, said = bench.end_of(client)
    assert status == 1
    assert "stopped A person stopped it with ctrl-C." in said
    for bad in ("NOT CONFIRMED", "Traceback", "Fatal", "is gone"):
        assert bad not in said
    assert read_run(bench.run_folder()).sealed


@pytest.mark.slow
def test_json_stays_json_though_the_checklist_is_asked(bench: Bench) -> None:
    client = bench.spin(more=("--json",))
    out, _ = client.communicate(timeout=40)
    assert json.loads(out)["outcome"]["ended"] == "completed"


@pytest.mark.slow
def test_yes_through_a_pipe_is_no_person(bench: Bench) -> None:
    protocol = bench.folder / "one-level.toml"
    protocol.write_text(PROTOCOL.format(dwell_s=1.0))
    article = example_article()
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "ui.cli.main",
            *("spin", str(protocol), "--port", bench.server.name),
            *("--article", str(article), "--load-cell-g", "1000"),
        ],
        input=YES,
        capture_output=True,
        text=True,
        cwd=bench.folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert done.returncode == 1
    assert "person at a terminal" in " ".join(done.stdout.split())
    assert bench.device.state is m.State.LOCKED


@pytest.mark.slow
def test_ctrl_c_at_the_latch_question_ends_it(bench: Bench) -> None:
    bench.server.between_ticks(lambda d: d.receive(STOP_FRAME))
    client = bench.spin(answers="\n")  # neither yes nor no: it asks again
    time.sleep(3.5)
    os.killpg(client.pid, signal.SIGINT)
    status, said = bench.end_of(client)
    assert status == 1
    assert "latched from an earlier trip" in said
    assert "ended the checklist with ctrl-C" in said
    assert bench.device.state is m.State.TRIPPED
