"""The real window in a real X server, on a served stand: keys, kills, hangs, ends."""

import csv
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from daq.link import messages as m
from daq.records.read import read_run
from daq.stand.faults.article import ThrownPropeller
from tests.served import PROTOCOL, ROOT, Bench, served

TOOLS = [tool for tool in ("Xvfb", "xdotool") if shutil.which(tool) is None]
if TOOLS and os.environ.get("GRAMWATT_FIRMWARE_TESTS") != "required":
    pytest.skip(f"needs {' and '.join(TOOLS)}", allow_module_level=True)

# Tests run two at a time: each worker has displays of its own, for two X servers that
# begin at one moment would take one.
WORKER = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
DISPLAY_FIRST = 90 + 10 * WORKER
SHOWN_S = 20.0


@pytest.fixture(scope="module")
def display() -> Iterator[str]:
    """An X server of our own."""
    for number in range(DISPLAY_FIRST, DISPLAY_FIRST + 10):
        name = f":{number}"
        socket = Path(f"/tmp/.X11-unix/X{number}")
        if socket.exists():
            continue  # another's, and its keys are not ours
        server = subprocess.Popen(
            [
                "Xvfb",
                name,
                "-screen",
                "0",
                "1600x1000x24",
                "-nolisten",
                "tcp",
                "-noreset",
            ],
            stderr=subprocess.DEVNULL,
            # A terminal that a test closes hangs up its session: not the server's.
            start_new_session=True,
        )
        end_s = time.monotonic() + 5
        while server.poll() is None and time.monotonic() < end_s:
            if socket.exists():
                yield name
                server.terminate()
                server.wait()
                return
            time.sleep(0.02)
        server.kill()
        server.wait()
    raise AssertionError("no X server could be started")


class Shown:
    """The window's process, and the hands before it."""

    def __init__(self, display: str, folder: Path, platform: str = "xcb") -> None:
        self.display = display
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.endtoend.window_driver"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=folder,
            env=os.environ
            | {
                "PYTHONPATH": str(ROOT),
                "DISPLAY": display,
                "QT_QPA_PLATFORM": platform,
                "GRAMWATT_CONFIG": str(folder / "config"),
            },
            start_new_session=True,
        )

    def do(self, name: str, *arguments: object) -> Any:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps([name, *arguments]) + "\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        if not line:
            _, said = self.process.communicate(timeout=5)
            raise AssertionError(f"the window is gone: {said}")
        return json.loads(line)

    def see(self) -> dict[str, Any]:
        seen: dict[str, Any] = self.do("see")
        return seen

    def until(self, **wanted: object) -> dict[str, Any]:
        end_s = time.monotonic() + SHOWN_S
        seen = self.see()
        while any(seen[name] != value for name, value in wanted.items()):
            assert time.monotonic() < end_s, f"{wanted} did not come: {seen}"
            time.sleep(0.03)
            seen = self.see()
        return seen

    def click(self, name: str) -> None:
        """Click a button as soon as it can be clicked."""
        end_s = time.monotonic() + SHOWN_S
        while not self.do(name):
            assert time.monotonic() < end_s, f"{name} cannot be clicked"
            time.sleep(0.03)

    def told(self, words: str) -> None:
        """Wait until something is said in the window."""
        end_s = time.monotonic() + SHOWN_S
        while words not in " ".join(self.see()["texts"]):
            assert time.monotonic() < end_s, f"{words!r} was not said"
            time.sleep(0.03)

    def key(self, name: str) -> None:
        """Press a key as a keyboard would, wherever the focus is."""
        self.front()
        self.press(name)

    def front(self) -> None:
        """Give the window the keyboard, as a window manager would."""
        env = os.environ | {"DISPLAY": self.display}
        window = str(self.do("window_id"))
        subprocess.run(
            ["xdotool", "windowfocus", "--sync", window], env=env, check=True
        )

    def press(self, *names: str) -> None:
        """Press keys one after the other, without looking where the focus is."""
        env = os.environ | {"DISPLAY": self.display}
        subprocess.run(["xdotool", "key", *names], env=env, check=True)

    def hold(self, how: str, name: str) -> None:
        """Push a key down, or let it go."""
        env = os.environ | {"DISPLAY": self.display}
        subprocess.run(["xdotool", how, name], env=env, check=True)

    def type(self, text: str) -> None:
        """Type a text as a keyboard would."""
        env = os.environ | {"DISPLAY": self.display}
        command = ["xdotool", "type", "--delay", "2", text]
        subprocess.run(command, env=env, check=True)

    def go_to(self, name: str) -> None:
        """Go to a control by its name as soon as it can be gone to."""
        self.front()
        end_s = time.monotonic() + SHOWN_S
        while not self.do("focus", name):
            assert time.monotonic() < end_s, f"{name} cannot be gone to"
            time.sleep(0.03)

    def end(self) -> None:
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.communicate()


@pytest.fixture
def shown(display: str, tmp_path: Path) -> Iterator[Shown]:
    made = Shown(display, tmp_path)
    yield made
    made.end()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with served(tmp_path) as made:
        yield made


def keeper_of(shown: Shown) -> int:
    """Process number of the keeper that one of the window's threads started."""
    found = []
    for children in Path(f"/proc/{shown.process.pid}/task").glob("*/children"):
        for number in (int(n) for n in children.read_text().split()):
            line = Path(f"/proc/{number}/cmdline").read_bytes()
            found += [number] if b"protocols.keeper" in line else []
    (keeper,) = found
    return keeper


def spinning(
    shown: Shown,
    bench: Bench,
    dwell_s: float = 20.0,
    started: Callable[[], None] | None = None,
) -> None:
    """From the start to a motor that turns, on a stand that asks for everything."""
    protocol = bench.folder / "one-level.toml"
    protocol.write_text(PROTOCOL.format(dwell_s=dwell_s))
    shown.do("connect", bench.server.name, 500_000)
    shown.until(stand=True, busy="")
    shown.do("room", 2)
    shown.do("protocol", str(protocol))
    shown.click("begin")
    shown.told("The guards act. Now the checklist")
    shown.do("check")
    shown.click("unlock")
    if started is None:
        shown.click("go")
    else:
        started()
    try:
        bench.wait_until_spinning()
    except AssertionError as never:
        seen = json.dumps(shown.see())
        raise AssertionError(f"it never span; the window shows {seen}") from never
    shown.until(keys_stop=True, state="Spinning")


@pytest.mark.parametrize(
    "where", ["focus_field", pytest.param("open_dialog", marks=pytest.mark.slow)]
)
def test_space_stops_wherever_the_focus_is(
    shown: Shown, bench: Bench, where: str
) -> None:
    spinning(shown, bench)
    shown.do(where)
    before = shown.see()["line"]
    shown.key("space" if where == "focus_field" else "Escape")
    assert bench.device_time_to_zero_s() < 0.5
    seen = shown.until(over=True)
    assert seen["took_s"] < 0.5
    assert seen["line"] == before  # nothing was typed
    assert seen["dialog"] == (where == "open_dialog")  # and nothing was closed
    assert read_run(bench.run_folder()).sealed
    assert bench.outcome()["ended"] == "stopped"
    assert bench.device.state is m.State.TRIPPED


@pytest.mark.slow
def test_a_killed_window_stops_the_motor_and_the_run_is_sealed(
    shown: Shown, bench: Bench
) -> None:
    spinning(shown, bench)
    os.kill(shown.process.pid, signal.SIGKILL)
    assert bench.device_time_to_zero_s() < 0.5
    bench.wait_until(lambda: read_run(bench.run_folder()).sealed)
    assert bench.outcome()["ended"] == "stopped"


@pytest.mark.slow
def test_a_window_that_hangs_stops_the_motor(shown: Shown, bench: Bench) -> None:
    spinning(shown, bench)
    shown.do("hang", 3.0)
    assert bench.device_time_to_zero_s() < 1.5  # 700 ms without a beat
    seen = shown.until(over=True)
    assert seen["over"]
    shown.told("beat")
    assert read_run(bench.run_folder()).sealed


@pytest.mark.slow
def test_a_killed_keeper_is_told_and_the_lease_stops_the_motor(
    shown: Shown, bench: Bench
) -> None:
    spinning(shown, bench)
    os.kill(keeper_of(shown), signal.SIGKILL)
    assert bench.device_time_to_zero_s() < 0.5
    seen = shown.until(over=True)
    assert "CUT THE POWER" in seen["danger"]
    assert "The keeper is gone without a word" in " ".join(seen["texts"])


@pytest.mark.slow
def test_a_whole_spin_ends_in_findings(shown: Shown, bench: Bench) -> None:
    spinning(shown, bench, dwell_s=1.0)
    seen = shown.until(over=True)
    assert seen["danger"] == ""
    shown.told("Findings")
    assert any(text.startswith("Thrust at 40 %") for text in shown.see()["texts"])
    shown.do("close")
    assert shown.process.wait(10) == 0


@pytest.mark.slow
def test_the_first_three_minutes_need_no_hardware_and_three_keys(
    shown: Shown, tmp_path: Path
) -> None:
    """Nobody goes anywhere: what comes next has the focus."""
    shown.front()
    shown.until(has_focus="Start a simulated stand")
    shown.press("Return")
    shown.until(stand=True, busy="", has_focus="Prove the guards")
    shown.press("Return")
    shown.until(stage="READY", has_focus="Spin the simulation")
    shown.press("Return")
    shown.until(stage="RUNNING")
    shown.press("Escape")
    seen = shown.until(over=True)
    assert seen["took_s"] < 0.5
    shown.press("space", "space", "Return")  # a hand that goes on presses nothing
    shown.until(has_focus="How the spin ended")
    assert Path(tmp_path, seen["folder"]).is_dir()
    shown.press("Tab")
    shown.until(has_focus="Next spin")
    shown.press("Return")
    shown.until(has_focus="Prove the guards")
    shown.press("Return")  # the stand is latched from the stop
    shown.until(stage="LATCHED")
    shown.until(has_focus="The cause is found and removed: acknowledge")
    shown.press("Return")
    shown.until(stage="READY", has_focus="Spin the simulation")
    shown.do("close")
    assert shown.process.wait(10) == 0


@pytest.mark.slow
def test_held_by_a_key_the_motor_turns_until_it_is_let_go(
    shown: Shown, bench: Bench
) -> None:
    shown.do("hold_to_spin")
    try:
        spinning(shown, bench, started=lambda: held(shown))
        shown.until(stage="RUNNING")
        bench.wait_until_spinning()
        time.sleep(1.0)  # some forty repeats
        assert bench.spinning
    finally:
        shown.hold("keyup", "space")
    assert bench.device_time_to_zero_s() < 0.5
    shown.until(over=True)
    outcome = bench.outcome()
    assert outcome["ended"] == "stopped"
    assert outcome["cause"] == "The button was let go."


def held(shown: Shown) -> None:
    shown.go_to("2  Let the motor turn")
    shown.hold("keydown", "space")


@pytest.mark.slow
def test_two_runs_are_laid_over_each_other_and_leave_as_picture_and_table(
    shown: Shown, tmp_path: Path
) -> None:
    """By keyboard: two runs worked out, kept in one plot, saved in both ways."""
    sample = ROOT / "sample_runs" / "short-staircase-a"
    for name in ("first", "second"):
        shutil.copytree(sample, tmp_path / "runs" / name)
    shown.key("alt+4")
    shown.told("2 runs")
    shown.go_to("Runs: up and down choose one, space keeps it drawn")
    shown.press("space")
    shown.until(ticked=1, curves_busy=False)
    shown.press("Down")
    shown.press("space")
    shown.until(ticked=2, curves_busy=False)
    shown.go_to("Work out 2 runs")
    shown.press("Return")
    shown.until(drawn=2, curves_busy=False)
    shown.told("whether two runs differ cannot be read off bands")
    for name, where in (
        ("Save the plot as a picture", tmp_path / "two.svg"),
        ("Save what is drawn as a table", tmp_path / "two.csv"),
    ):
        shown.go_to(name)
        shown.key("Return")
        shown.until(asks=True)
        shown.key("ctrl+a")  # the name that is proposed
        shown.type(str(where))
        shown.press("Return")
        shown.told(f"Written: {where}")
    picture = (tmp_path / "two.svg").read_text("utf-8")
    assert "simulated" in picture
    assert picture.count("12 plateaus") == 2
    with (tmp_path / "two.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for run in ("first", "second"):
        (made,) = (tmp_path / "runs" / run / "derived").iterdir()
        with (made / "plateaus.csv").open(encoding="utf-8", newline="") as file:
            wanted = [float(row["thrust_gf"]) for row in csv.DictReader(file)]
        drawn = [row for row in rows if row["run"] == run]
        told = [float(r["thrust, gf"]) for r in drawn if r["what"] == "plateau"]
        assert told == pytest.approx(wanted, rel=1e-6)
        assert {row["simulated"] for row in drawn} == {"yes"}


@pytest.mark.slow
def test_a_run_folder_deleted_under_the_window(shown: Shown, bench: Bench) -> None:
    spinning(shown, bench)
    shutil.rmtree(bench.run_folder())
    time.sleep(1.0)
    assert bench.spinning  # nobody's folder stops a motor that is guarded
    shown.do("press_stop")
    assert bench.device_time_to_zero_s() < 0.5
    seen = shown.until(over=True)
    assert seen["stage"] == "ENDED"
    shown.told("There is no run folder")
    assert shown.see()["state"] in ("Tripped", "No stand")


@pytest.mark.slow
def test_a_port_that_is_pulled_out_while_spinning(shown: Shown, bench: Bench) -> None:
    spinning(shown, bench)
    bench.server.end()
    seen = shown.until(over=True)
    assert "CUT THE POWER" in seen["danger"]
    shown.told("link lost")
    assert read_run(bench.run_folder()).sealed


@pytest.mark.slow
def test_a_trip_says_what_acted_and_what_clears_it(shown: Shown, bench: Bench) -> None:
    spinning(shown, bench)
    time.sleep(2.0)  # the guard has to know the motor first
    bench.server.between_ticks(lambda d: d.add(ThrownPropeller(start_s=d.elapsed_s)))
    seen = shown.until(over=True)
    assert seen["danger"] == ""
    shown.told("Tripped: thrown")
    shown.told("as if the propeller had come off")
    shown.told("Clears when")
    assert bench.outcome()["check"] == "thrown"


@pytest.mark.slow
def test_a_full_disk_is_told_in_the_window(shown: Shown, bench: Bench) -> None:
    spinning(shown, bench)
    keeper = keeper_of(shown)
    log = bench.run_folder() / "wire.log"
    # From now on no file of the keeper's may grow: as on a full disk.
    size = log.stat().st_size
    resource.prlimit(keeper, resource.RLIMIT_FSIZE, (size, size))
    seen = shown.until(over=True)
    assert not bench.spinning
    assert seen["danger"] == ""
    shown.told("record")
