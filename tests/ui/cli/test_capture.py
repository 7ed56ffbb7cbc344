"""``gramwatt capture`` as a person uses it, against a served simulated stand."""

import csv
import json
import math
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.analysis.waveform import waveform_of
from daq.link import messages as m
from daq.link.bursts import Blocks, Captured
from tests.contract.subjects import DeviceDoors, ServedDevice
from tests.daq.link.test_bursts import VOLTAGE, blocks
from ui.cli.capture_text import _labels, rate_text, time_text, trace, values_of
from ui.cli.main import main

pytestmark = pytest.mark.timeout(60)


def test_the_values_beside_a_picture_are_told_apart() -> None:
    first, second = waveform_of([12.628, 12.632]), waveform_of([0.0, 9.0])
    assert first is not None
    assert second is not None
    narrow = _labels(first)
    assert len(set(narrow.values())) == 3
    assert max(map(len, narrow.values())) <= 8
    wide = _labels(second)
    assert list(wide.values()) == ["0.5", "4.5", "8.5"]


@pytest.fixture
def stand() -> Iterator[ServedDevice]:
    made = ServedDevice(tcp=True)
    made.port.close()  # the command wants it for itself
    yield made
    made.close()


def name_of(stand: ServedDevice) -> str:
    return stand._served.server.name


def test_a_person_reads_what_came_and_what_it_cannot_show(
    stand: ServedDevice, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["capture", name_of(stand)]) == 0
    out = capsys.readouterr().out
    said = " ".join(out.split())
    assert "SIMULATED: this stand says that nothing turns" in said
    assert "voltage: 250 samples; one every 10 us (100 kHz), over 2.49 ms." in said
    assert "Mean 12." in said
    assert "rms about the mean" in said
    assert "nothing smaller than a step is seen" in said
    assert "cannot show anything faster than 50 kHz" in said
    assert "|" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_a_program_gets_every_sample_in_si(
    stand: ServedDevice, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "samples.csv"
    options = ["--channel", "current", "--samples", "120", "--csv", str(table)]
    assert main(["capture", name_of(stand), "--json", *options]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["simulated"] is True
    assert (said["channel"], said["unit"], said["lost"]) == ("current", "A", [])
    assert len(said["samples"]) == 120
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    assert len(rows) == 120
    assert {row["simulated"] for row in rows} == {"yes"}
    assert float(rows[1]["time_s"]) == pytest.approx(said["period_s"])
    assert float(rows[7]["current_a"]) == pytest.approx(said["samples"][7], abs=1e-5)
    assert main(["capture", name_of(stand), "--csv", str(table)]) == 1
    assert "is there already" in capsys.readouterr().err


def test_it_waits_for_a_crossing(
    stand: ServedDevice, capsys: pytest.CaptureFixture[str]
) -> None:
    assert isinstance(stand.doors, DeviceDoors)
    stand.doors.plug(inserted=False)
    threading.Event().wait(1.0)  # until the bus is empty
    doors = stand.doors
    hand = threading.Timer(1.5, lambda: doors.plug(inserted=True))
    hand.start()
    options = ["--rising", "6.0", "--samples", "100", "--before", "40", "--json"]
    assert main(["capture", name_of(stand), *options]) == 0
    hand.join()
    said = json.loads(capsys.readouterr().out)
    assert said["trigger_index"] == 40
    assert all(value < 6.1 for value in said["samples"][:40])
    assert said["samples"][40] > 5.9


def test_no_trigger_is_one_sentence_and_a_failure(
    stand: ServedDevice, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--falling", "2.0", "--patience", "0.2"]
    assert main(["capture", name_of(stand), *options]) == 1
    err = capsys.readouterr().err
    assert "No trigger within 0.2 s: voltage did not fall through 2." in err


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--samples", "0"], "--samples is 0"),
        (["--samples", "70000"], "--samples is 70000"),
        (["--patience", "6"], "--patience is 6 s"),
        (["--patience", "nan"], "--patience is nan s"),
        (["--before", "100"], "--before is 100 %"),
        (["--seconds", "-1"], "--seconds is -1"),
        (["--rising", "nan"], "--rising is nan"),
        (["--baud", "0"], "--baud is 0"),
    ],
)
def test_options_that_make_no_sense_are_said_before_any_port_is_opened(
    options: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["capture", "no-such-port", *options]) == 1
    assert says in capsys.readouterr().err


def captured(samples: bytes, trigger: int = 0) -> Captured:
    """A capture with these samples."""
    made = Blocks(7, VOLTAGE)
    for block in blocks(samples, trigger=trigger):
        made.take(block, 0.0)
    result = made.result()
    assert isinstance(result, Captured)
    return result


def test_the_picture_is_filled_where_the_samples_are() -> None:
    from daq.analysis.waveform import waveform_of

    sine = [round(127 + 100 * math.sin(n / 10)) for n in range(124)]
    took = captured(bytes(sine), trigger=62)
    values = values_of(took)
    figures = waveform_of(values)
    assert figures is not None
    lines = trace(took, values, figures).splitlines()
    rows = [line[10:].ljust(62) for line in lines[:-2]]
    # sin(n / 10) is at its tops at n = 15.7 and 78.5; a column is two samples.
    tops = [c for c in range(62) if rows[0][c] == "#"]
    assert sum(tops) / len(tops) == pytest.approx((7.35 + 38.75) / 2, abs=1.0)
    assert all(any(row[c] == "#" for row in rows) for c in range(62))
    assert lines[-2].index("^") == 10 + 31


def test_the_picture_says_where_nothing_is() -> None:
    from daq.analysis.waveform import waveform_of

    took = captured(bytes([100] * 62 + [m.NO_SAMPLE] * 62))
    values = values_of(took)
    figures = waveform_of(values)
    assert figures is not None
    lines = trace(took, values, figures).splitlines()
    bottom = lines[-3][10:]
    assert bottom.count("?") == 31
    assert bottom.rstrip().endswith("?")


def test_times_and_rates_have_their_usual_units() -> None:
    assert [time_text(t) for t in (26e-6, 6.63e-3, 0.25, -1e-3, 1.0)] == [
        "26 us",
        "6.63 ms",
        "250 ms",
        "-1 ms",
        "1 s",
    ]
    assert [rate_text(f) for f in (38_461.5, 500.0, 1000.0)] == [
        "38.5 kHz",
        "500 Hz",
        "1 kHz",
    ]
