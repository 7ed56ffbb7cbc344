"""Bad input: one clear sentence, the right exit status, no traceback."""

import os
import pty
import shutil
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from daq.link.ports import open_port
from daq.records.wirelog import NAME
from tests.runs import write_run
from tests.served import PROTOCOL, Bench
from tests.spins import spin
from ui.articles import example_article
from ui.cli.main import main

pytestmark = [pytest.mark.endtoend, pytest.mark.timeout(60)]

ARTICLE = Path(str(example_article()))


def said_by(bench: Bench, *arguments: str, status: int = 1) -> str:
    """What a command prints; it must end with that status and one sentence."""
    got, said = bench.end_of(bench.start(*arguments))
    assert got == status, said
    assert "Traceback" not in said
    return said


def spin_on(bench: Bench, port: str, *more: str, article: Path = ARTICLE) -> str:
    protocol = bench.folder / "one-level.toml"
    if not protocol.exists():
        protocol.write_text(PROTOCOL.format(dwell_s=1.0))
    options = ("--port", port, "--article", str(article), "--load-cell-g", "1000")
    return said_by(bench, "spin", str(protocol), *options, *more)


def test_a_port_that_is_not_there(bench: Bench) -> None:
    said = spin_on(bench, "/dev/no-such-port")
    assert "There is no port /dev/no-such-port" in said


def test_a_port_that_is_busy(bench: Bench) -> None:
    held = open_port(bench.server.name)
    try:
        assert "Another program has" in spin_on(bench, bench.server.name)
    finally:
        held.close()


def test_nothing_listens_on_a_tcp_port(bench: Bench) -> None:
    assert "Nothing listens at" in spin_on(bench, "socket://127.0.0.1:9")


@pytest.mark.slow
def test_a_port_where_nothing_answers(bench: Bench) -> None:
    master, slave = pty.openpty()
    try:
        assert "Nothing answered on" in spin_on(bench, os.ttyname(slave))
    finally:
        os.close(master)
        os.close(slave)


@pytest.mark.slow
def test_a_port_where_another_program_chatters(bench: Bench) -> None:
    master, slave = pty.openpty()
    ended = threading.Event()

    def chatter() -> None:
        while not ended.wait(0.02):
            os.write(master, b"temp=23.4;ok\r\n")

    thread = threading.Thread(target=chatter)
    thread.start()
    try:
        assert "is no gramwatt stand" in spin_on(bench, os.ttyname(slave))
    finally:
        ended.set()
        thread.join()
        os.close(master)
        os.close(slave)


def test_another_link_version(bench: Bench) -> None:
    bench.device.link_version = 9
    said = spin_on(bench, bench.server.name)
    assert "speaks link version 9" in said


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("dwell_s = 1.0", "dwell_s = -2.0", "dwell_s"),
        ("levels_percent = [40]", "levels_percent = [140]", "levels_percent"),
        ("settle_s", "setle_s", "settle_s"),
        ("format = 1", "format = ", "one-level.toml"),
    ],
    ids=["negative dwell", "throttle of 140 %", "misspelt key", "broken TOML"],
)
def test_a_protocol_that_is_wrong(bench: Bench, old: str, new: str, words: str) -> None:
    text = PROTOCOL.format(dwell_s=1.0)
    assert old in text
    (bench.folder / "one-level.toml").write_text(text.replace(old, new))
    said = spin_on(bench, bench.server.name)
    assert "one-level.toml" in said
    assert words in said


def test_a_protocol_that_nobody_knows_lists_those_there_are(bench: Bench) -> None:
    assert "short-staircase" in said_by(bench, "plan", "starcase")


def test_an_article_without_ratings(bench: Bench) -> None:
    text = ARTICLE.read_text()
    for key in ("max_current_a", "continuous_a", "burst_a", "c_rate", "rated_a"):
        text = "\n".join(x for x in text.splitlines() if not x.startswith(key))
    article = bench.folder / "bare.toml"
    article.write_text(text)
    said = spin_on(bench, bench.server.name, article=article)
    assert "no current rating" in said
    assert "plug.rated_a" in said


def test_a_real_spin_without_an_article(bench: Bench) -> None:
    said = said_by(bench, "spin", "staircase", "--port", bench.server.name)
    assert "--article" in said


def test_a_folder_that_takes_no_run(bench: Bench) -> None:
    (bench.folder / "file").write_text("x")
    said = spin_on(bench, bench.server.name, "--out", str(bench.folder / "file"))
    assert "cannot be made" in said
    assert "--out" in said


def test_wrong_usage_is_status_2(bench: Bench) -> None:
    said_by(bench, "spin", status=2)
    said_by(bench, "levitate", status=2)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    run = spin()
    run.run()
    return write_run(run, tmp_path_factory.mktemp("good"))


READING = ("findings", "report", "rebuild")


@pytest.mark.parametrize(
    ("damage", "words", "started"),
    [
        ("missing", "There is no run folder", "findings"),
        ("no descriptor", "not a run folder", "report"),
        ("empty log", "is empty", "rebuild"),
        ("no log", "cannot be read", "findings"),
        ("other file", "is not a wire log", "report"),
        ("no records", "holds no whole record", "rebuild"),
    ],
)
def test_a_run_that_cannot_be_read(
    bench: Bench,
    good: Path,
    damage: str,
    words: str,
    started: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """By every command that reads runs; one of them is started as a user does."""
    folder = bench.folder / "run"
    shutil.copytree(good, folder)
    log = folder / NAME
    damages: dict[str, Callable[[], object]] = {
        "missing": lambda: shutil.rmtree(folder),
        "no descriptor": (folder / "datapackage.json").unlink,
        "empty log": lambda: log.write_bytes(b""),
        "no log": log.unlink,
        "other file": lambda: log.write_bytes(b"\x89PNG\r\n\x1a\n" * 100),
        "no records": lambda: log.write_bytes(log.read_bytes()[:8]),
    }
    damages[damage]()
    assert words in said_by(bench, started, str(folder))
    for command in (name for name in READING if name != started):
        assert main([command, str(folder)]) == 1
        said = capsys.readouterr()
        assert words in " ".join((said.out + said.err).split())


def test_a_truncated_and_damaged_run_is_analysed_as_far_as_it_goes(
    bench: Bench, good: Path
) -> None:
    folder = bench.folder / "run"
    shutil.copytree(good, folder)
    data = bytearray((folder / NAME).read_bytes())
    data[len(data) // 3] ^= 0x55
    (folder / NAME).write_bytes(data[: int(len(data) * 0.8)])
    assert "stops before its end" in said_by(bench, "findings", str(folder), status=4)
    said = said_by(bench, "rebuild", str(folder), status=4)
    assert "changed after it was sealed" in said
    assert "cannot be read and were left out" in said
    assert (folder / "derived" / "nominal" / "report.html").stat().st_size > 10_000
