"""Bundles out: complete, without what is personal, the same for the same runs."""

import csv
import getpass
import io
import json
import platform
import sqlite3
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daq.calibration.text import from_dict, named, to_dict
from daq.errors import InputFault, RecordFault, WorldFault
from daq.link.columns.description import read_description
from daq.records.folder import hash_of_bytes
from daq.records.shelf import load_article
from daq.records.wirelog import MAGIC, NAME, Kind, Reader, to_json
from daq.records.wirelog import Record as LogRecord
from daq.records.wirelog import pack as record_bytes
from protocols.recipe import expand, load_recipe
from tests.bundles import (
    SAMPLES,
    Files,
    descriptor_of,
    files_of,
    packed,
    run_of,
    together,
)
from tests.lined import DESCRIPTION, spin_on_lines
from ui.adopt import adopt
from ui.articles import example_article
from ui.club import layout
from ui.club.packing import Wishes, pack_runs
from ui.club.tables import harmless
from ui.club.unnamed import Secrets, unnamed_log

HOME = "/" + "home"  # where systems keep what is a person's
SAMPLE = SAMPLES / "short-staircase-a"


@pytest.fixture(scope="module")
def files() -> Files:
    """A bundle with its wire log, once for all."""
    return packed()


def test_every_file_of_it_is_one_that_a_bundle_has(files: Files) -> None:
    assert all(layout.most_bytes(path) for path in files)
    assert {path.rpartition("/")[2] for path in files} >= {
        "wire.log",
        "entry.json",
        "article.toml",
        "plateaus.csv",
        "findings.json",
        "report.html",
        "picture.png",
        "README.txt",
    }


def test_the_descriptor_lists_every_other_file_once(files: Files) -> None:
    listed = [each["path"] for each in descriptor_of(files)["resources"]]
    assert sorted(listed) == sorted(set(files) - {layout.DESCRIPTOR})


def test_nothing_in_it_names_port_folder_user_or_computer(files: Files) -> None:
    header = next(Reader((SAMPLE / NAME).read_bytes()).records()).json()
    secrets = {str(header["port"]), str(SAMPLES), str(Path.home())}
    # Short ones stand in any picture, and root is also what a cube has.
    secrets |= {name for name in (getpass.getuser(), platform.node()) if len(name) > 5}
    for path, data in files.items():
        for secret in secrets:
            assert secret.encode() not in data, (path, secret)


def test_the_wire_log_is_the_same_but_for_that(files: Files) -> None:
    """Bytes of the wire with their times, and every decision."""
    own = list(Reader((SAMPLE / NAME).read_bytes()).records())
    out = list(Reader(files[f"{run_of(files)}/wire.log"]).records())
    assert [(r.kind, r.time_ns) for r in out] == [(r.kind, r.time_ns) for r in own]
    same = [a.data == b.data for a, b in zip(own, out, strict=True)]
    assert same.count(False) == 1  # the header
    assert own[0].kind is Kind.HEADER
    assert not same[0]


def test_damage_is_neither_forgotten_nor_passed_on() -> None:
    data = bytearray((SAMPLE / NAME).read_bytes())
    middle = len(data) // 2
    data[middle : middle + 600] = f"{HOME}/anna/secret ".encode() * 33 + b"123456"
    out = unnamed_log(bytes(data), Secrets())
    before, after = Reader(bytes(data)), Reader(out)
    assert len(list(before.records())) == len(list(after.records()))
    assert before.damage == after.damage
    assert b"anna" not in out


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("could not open /dev/ttyUSB0: gone", "could not open ...: gone"),
        ("COM7 went away", "... went away"),
        ("see C:\\Users\\anna\\run", "see ..."),
        (f"in {HOME}/anna/runs/x", "in ..."),
        ("socket://10.0.0.7:5000 closed", "... closed"),
        ("on bench-pc by anna today", "on ... by ... today"),
        ("annabel stays, 5/8 and g/W too", "annabel stays, 5/8 and g/W too"),
        ("anna", "anna"),
    ],
)
def test_what_is_personal_is_taken_out_of_a_sentence(text: str, left: str) -> None:
    assert Secrets(("anna", "bench-pc")).words(text) == left


def test_words_that_a_record_is_read_by_stay() -> None:
    note = {"note": "looked on", "why": "the looked on word"}
    kept = Secrets(("looked",)).value(note)
    assert kept == {"note": "looked on", "why": "the ... on word"}


def test_a_note_on_an_article_stays_here_unless_asked_for() -> None:
    header = {"article": {"name": "A", "note": "Anna's"}, "port": "/dev/x"}
    assert Secrets().header(header) == {"article": {"name": "A"}}
    kept = Secrets(keep_notes=True).header(header)
    assert kept == {"article": {"name": "A", "note": "Anna's"}}


def test_the_same_files_give_the_same_bytes(files: Files) -> None:
    backwards = dict(reversed(files.items()))
    assert together(files) == together(backwards)
    with zipfile.ZipFile(io.BytesIO(together(files))) as bundle:
        assert {info.date_time[0] for info in bundle.infolist()} == {1980}
        assert bundle.namelist()[0] == layout.DESCRIPTOR


@pytest.mark.slow
def test_the_same_runs_give_the_same_bytes(tmp_path: Path) -> None:
    runs = [SAMPLES / "a-1", SAMPLES / "c-1"]
    one, other = tmp_path / "one.zip", tmp_path / "other.zip"
    pack_runs(runs, one, Wishes())
    pack_runs(runs[::-1], other, Wishes())
    assert one.read_bytes() == other.read_bytes()


def test_a_bundle_of_tables_has_no_log_and_says_so(tmp_path: Path) -> None:
    files = packed(tables_only=True)
    assert not [p for p in files if p.endswith((".log", ".parquet"))]
    assert descriptor_of(files)["gramwatt"]["wire_logs"] is False
    entry = json.loads(files[f"{run_of(files)}/entry.json"])
    assert entry["evidence"]["record"] == "tables only"
    assert "as the sender gives them" in entry["evidence"]["words"]


def test_a_simulated_run_says_so_wherever_it_appears(files: Files) -> None:
    assert b"SIMULATED" in files["README.txt"]
    assert descriptor_of(files)["gramwatt"]["simulated"] is True
    row = next(csv.DictReader(io.StringIO(files["runs.csv"].decode())))
    assert row["simulated"] == "True"
    assert row["rests_on"].startswith("simulated")


@pytest.mark.slow
def test_validator_pandas_and_sqlite_open_it_without_gramwatt(
    files: Files, tmp_path: Path
) -> None:
    """Data Package standard, by frictionless; the tables by pandas and SQLite."""
    import pandas as pd
    from frictionless import Package

    with zipfile.ZipFile(io.BytesIO(together(files))) as bundle:
        bundle.extractall(tmp_path)
    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note"])
    run = tmp_path / run_of(files)
    plateaus = pd.read_csv(run / "plateaus.csv")
    assert plateaus["thrust_gf"].max() > 100
    samples = pd.read_parquet(run / "samples-0.parquet")
    assert len(samples) > 1000
    database = sqlite3.connect(":memory:")
    plateaus.to_sql("plateaus", database)
    pd.read_csv(tmp_path / "runs.csv").to_sql("runs", database)
    (best,) = database.execute("select max(thrust_gf) from plateaus").fetchone()
    (told,) = database.execute("select full_thrust_gf from runs").fetchone()
    database.close()
    assert told == pytest.approx(best, rel=1e-5)


def test_an_article_goes_out_as_the_file_that_it_came_from(
    files: Files, tmp_path: Path
) -> None:
    path = tmp_path / "article.toml"
    path.write_bytes(files[f"{run_of(files)}/article.toml"])
    header = next(Reader((SAMPLE / NAME).read_bytes()).records()).json()
    own = header["article"]
    assert isinstance(own, dict)
    assert load_article(path).to_dict() | {"note": own["note"]} == own


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "-", "@SUM(A1)", "\t=1", "\tplain", "\r=1", "\n=1", "  =1"],
)
def test_a_cell_that_a_spreadsheet_would_run_is_quoted(text: str) -> None:
    """OWASP, CSV Injection: such cells begin with an apostrophe."""
    cell = harmless(text)
    assert isinstance(cell, str)
    assert cell.startswith("'")
    assert cell.isprintable() or "\t" in cell


@pytest.mark.parametrize("cell", [-1.5, 4, None, "plain", "", "1.5 inch", "a=b", "#1"])
def test_other_cells_stay_as_they_are(cell: str | float | None) -> None:
    assert harmless(cell) == cell


@pytest.mark.slow
def test_calibrations_of_other_stands_stay_here(tmp_path: Path) -> None:
    """A record comes with all that may serve, of every stand on the shelf."""
    source = SAMPLES / "a-1"
    own, *records = Reader((source / NAME).read_bytes()).records()
    head: dict[str, Any] = dict(own.json())
    first = from_dict(head["calibrations"][0], "x")
    elsewhere = replace(first.subject, stand_id=0xBEEF)
    other = named(replace(first, subject=elsewhere, note="Anna's kitchen"))
    head["calibrations"].append(to_dict(other))
    head["checked"] = {other.id: ["2026-05-01"], first.id: []}
    data = MAGIC + b"".join(
        map(record_bytes, [LogRecord(own.kind, own.time_ns, to_json(head)), *records])
    )
    run = tmp_path / "run"
    run.mkdir()
    (run / NAME).write_bytes(data)
    content = json.loads((source / "datapackage.json").read_text())
    content["resources"][0] |= {"hash": hash_of_bytes(data), "bytes": len(data)}
    content["gramwatt"]["header"] = head
    (run / "datapackage.json").write_text(json.dumps(content))
    path = tmp_path / "x.zip"
    (entry,) = pack_runs([run], path, Wishes()).entries
    assert "thrust by weights of class M1" in entry.evidence.words
    for name, each in files_of(path.read_bytes()).items():
        assert b"kitchen" not in each, name
        assert other.id.encode() not in each, name


# ------------------------------------------------------------------ lines and logs


@pytest.fixture(scope="module")
def adopted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run made of a log, whose owner wrote into log and description."""
    home = tmp_path_factory.mktemp("adopted")
    pulse = '[[channel]]\nname = "pulse"\ncolumn = "us"\nunit = "us"\ndecimals = 0\n\n'
    text = DESCRIPTION.replace('"amps"]', '"amps", "us"]').replace(
        "[commands]", f"{pulse}[commands]"
    )
    spin = spin_on_lines(text, walked=expand(load_recipe("low-staircase")))
    spin.run(90.0)
    printed = b"".join(r.data for r in spin.records if r.kind is Kind.BYTES_IN)
    log = home / "log-of-anna.csv"
    log.write_bytes(printed + b"here stood Anna, in /home/anna\n")
    lines = f"# Anna's, on /dev/ttyUSB7\n{text}"
    facts = {
        "utc": "2026-05-09T14:02:00+00:00",
        "article": load_article(example_article()).to_dict(),
        "versions": {"gramwatt": "0"},
    }
    return adopt(log, lines, read_description(lines, "x"), facts, home)


@pytest.mark.slow
def test_what_is_written_beside_a_description_stays_here(
    adopted: Path, tmp_path: Path
) -> None:
    """Names that its words are made of too: a user may be called as a separator is."""
    path = tmp_path / "x.zip"
    names = ("comma", "thrust", "bench")
    pack_runs([adopted], path, Wishes(tables_only=True, names=names))
    for name, data in files_of(path.read_bytes()).items():
        for secret in (b"Anna", b"anna", b"ttyUSB7"):
            assert secret not in data, name
    header = json.loads((adopted / "datapackage.json").read_text())["gramwatt"]
    out = Secrets(names).header(header["header"])
    task = out["task"]
    assert isinstance(task, dict)
    before = read_description(header["header"]["task"]["lines"], "x")
    assert read_description(task["lines"], "x") == before


@pytest.mark.slow
def test_a_page_of_tables_quotes_no_line_of_a_log(
    adopted: Path, tmp_path: Path
) -> None:
    path = tmp_path / "x.zip"
    pack_runs([adopted], path, Wishes(tables_only=True))
    files = files_of(path.read_bytes())
    page = files[f"{run_of(files)}/report.html"].decode()
    assert "not used" in page
    assert "here stood" not in page


# ------------------------------------------------------------------ what is refused


@pytest.mark.slow
def test_what_nobody_would_take_is_not_packed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "x.zip"
    monkeypatch.setattr(layout, "MOST_PACKED", 10_000)
    with pytest.raises(InputFault, match=r"would refuse it: it has .* bytes"):
        pack_runs([SAMPLE], path, Wishes(tables_only=True))
    monkeypatch.setattr(layout, "MOST_UNPACKED", 10_000)
    with pytest.raises(InputFault, match="pack fewer at once"):
        pack_runs([SAMPLE], path, Wishes(tables_only=True))
    assert not path.exists()


def test_what_is_there_already_is_not_written_over(tmp_path: Path) -> None:
    there = tmp_path / "there.zip"
    there.write_text("mine")
    with pytest.raises(InputFault, match="is there already"):
        pack_runs([SAMPLE], there, Wishes())
    assert there.read_text() == "mine"


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        (Wishes(licence="MINE"), "not a licence that is known"),
        (Wishes(by="a\nb"), "80 plain characters"),
    ],
)
def test_a_wish_that_makes_no_sense(wishes: Wishes, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=words):
        pack_runs([SAMPLE], tmp_path / "x.zip", wishes)


def test_no_run_and_no_run_folder(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="no run to pack"):
        pack_runs([], tmp_path / "x.zip", Wishes())
    with pytest.raises(RecordFault, match="There is no run folder"):
        pack_runs([tmp_path / "none"], tmp_path / "x.zip", Wishes())
    (tmp_path / "file").write_text("")
    with pytest.raises(WorldFault, match="cannot be made"):
        pack_runs([SAMPLE], tmp_path / "file" / "x.zip", Wishes())


def test_a_folder_that_is_not_there_yet_is_made(tmp_path: Path) -> None:
    path = tmp_path / "club" / "bundles" / "x.zip"
    assert pack_runs([SAMPLE], path, Wishes(tables_only=True)).path == path
    assert path.is_file()


def copied(to: Path) -> Path:
    to.mkdir()
    for name in (NAME, "datapackage.json"):
        (to / name).write_bytes((SAMPLE / name).read_bytes())
    return to


def test_a_run_that_was_changed_after_its_seal_is_not_packed(tmp_path: Path) -> None:
    run = copied(tmp_path / "run")
    more = record_bytes(LogRecord(Kind.TICK, 0, b""))
    (run / NAME).write_bytes((run / NAME).read_bytes() + more)
    with pytest.raises(InputFault, match="changed after it was sealed"):
        pack_runs([run], tmp_path / "x.zip", Wishes())


def test_a_run_that_was_never_sealed_is_not_packed(tmp_path: Path) -> None:
    run = copied(tmp_path / "run")
    content = json.loads((run / "datapackage.json").read_text())
    content["gramwatt"]["sealed"] = False
    (run / "datapackage.json").write_text(json.dumps(content))
    with pytest.raises(InputFault, match="is not sealed"):
        pack_runs([run], tmp_path / "x.zip", Wishes())


def test_a_run_that_cannot_be_told_of_is_named_by_its_own_folder(
    tmp_path: Path,
) -> None:
    run = copied(tmp_path / "run")
    first, *others = Reader((SAMPLE / NAME).read_bytes()).records()
    header = first.json() | {"article": {"name": "half of one"}}
    records = [LogRecord(first.kind, first.time_ns, to_json(header)), *others]
    data = MAGIC + b"".join(map(record_bytes, records))
    (run / NAME).write_bytes(data)
    content = json.loads((run / "datapackage.json").read_text())
    content["resources"][0] |= {"hash": hash_of_bytes(data), "bytes": len(data)}
    (run / "datapackage.json").write_text(json.dumps(content))
    with pytest.raises(InputFault, match=str(run)):
        pack_runs([run], tmp_path / "x.zip", Wishes())


@pytest.mark.slow
def test_a_run_that_is_named_twice(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="named already"):
        pack_runs([SAMPLE, SAMPLE], tmp_path / "x.zip", Wishes())
