"""A wire log cut at every byte and damaged at every byte: what comes out was written.

The short log holds every kind of record, with arrivals cut as a serial line cuts
them, anywhere in a frame. What should come out of it is worked out here from the
bytes alone, without the code that reads a run. The long log is a whole spin, cut and
damaged at its notes and at places drawn with a seed.
"""

import itertools
import json
import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from cobs import cobs

from daq.errors import RecordFault
from daq.link.framing import crc16, frame
from daq.records.folder import DESCRIPTOR
from daq.records.read import Run, read_run
from daq.records.wirelog import MAGIC, NAME, Follower, Kind, Reader, Record, pack
from tests.runs import write_run
from tests.spins import plan, spin, task
from tests.virtual import VirtualSpin
from ui.cli.main import main
from ui.results import Results, analyse_folder

CUT_TO = 23  # bytes a read from a slow line
SAMPLES = 0x04
PATTERNS = (*(1 << bit for bit in range(8)), 0xFF)
Row = tuple[int, int, tuple[int, ...]]  # stream, device microseconds, counts


@dataclass(frozen=True)
class Log:
    """A run's log, and where its records begin and end.

    Attributes:
        folder: the sealed run.
        data: the file.
        records: what was written.
        starts: first byte of each.
        ends: first byte after each.
    """

    folder: Path
    data: bytes
    records: list[Record]
    starts: list[int]
    ends: list[int]

    @classmethod
    def of(cls, folder: Path) -> "Log":
        data = (folder / NAME).read_bytes()
        records = list(Reader(data).records())
        ends = list(itertools.accumulate((len(pack(r)) for r in records), initial=8))
        assert ends[-1] == len(data)
        return cls(folder, data, records, ends[:-1], ends[1:])

    def whole_before(self, cut: int) -> int:
        """How many records end before that byte."""
        return sum(end <= cut for end in self.ends)

    def touched(self, at: int) -> int:
        """Which record that byte belongs to."""
        return next(i for i, end in enumerate(self.ends) if at < end)


def frames_in(records: list[Record | None]) -> Iterator[bytes]:
    """Checked payloads of what arrived, by the standard's own decoder.

    ``None`` stands for a record that is lost: no frame reaches across it.
    """
    stretches = [b""]
    for record in records:
        if record is None:
            stretches.append(b"")
        elif record.kind is Kind.BYTES_IN:
            stretches[-1] += record.data
    for stretch in stretches:
        for part in stretch.split(b"\0")[:-1]:
            try:
                checked = cobs.decode(part)
            except cobs.DecodeError:
                continue
            if len(checked) > 4 and crc16(checked[:-2]) == int.from_bytes(checked[-2:]):
                yield checked[:-2]


def samples_in(records: list[Record | None]) -> list[bytes]:
    """Sample payloads in order, sequence numbers and all."""
    return [payload for payload in frames_in(records) if payload[0] == SAMPLES]


def rows_of(run: Run) -> dict[int, list[Row]]:
    """Every row that was read, by stream."""
    return {
        stream.index: [
            (stream.index, round(time_s * 1e6), tuple(counts))
            for time_s, counts in zip(
                stream.device_s.tolist(), stream.counts.tolist(), strict=True
            )
        ]
        for stream in run.streams
    }


def expected_rows(run: Run, payloads: list[bytes]) -> dict[int, list[Row]]:
    """The same out of payloads, by the widths that the stand told."""
    rows: dict[int, list[Row]] = {stream.index: [] for stream in run.streams}
    for payload in payloads:
        index = payload[3]
        time_us = int.from_bytes(payload[4:8], "little")
        counts, place = [], 8
        for page in run.streams[index].channels:
            raw = payload[place : place + page.width]
            counts.append(int.from_bytes(raw, "little", signed=True))
            place += page.width
        rows[index].append((index, time_us, tuple(counts)))
    return rows


def as_from_a_line(run: VirtualSpin) -> None:
    """Cut what arrived into reads of a few bytes, whatever frame they are in."""
    cut: list[Record] = []
    for record in run.records:
        if record.kind is not Kind.BYTES_IN:
            cut.append(record)
            continue
        for place in range(0, len(record.data), CUT_TO):
            piece = record.data[place : place + CUT_TO]
            cut.append(Record(Kind.BYTES_IN, record.time_ns, piece))
    run.records = cut


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """Identified, heard for a moment, and the cable pulled."""
    run = spin()
    run._input(Kind.TICK, b"")
    while run.elapsed_s < 0.05:
        run.step(10)
    run._input(Kind.LOST, b"The port is gone.")
    as_from_a_line(run)
    log = Log.of(write_run(run, tmp_path_factory.mktemp("short")))
    assert {record.kind for record in log.records} == set(Kind)
    assert 3_500 < len(log.data) < 6_000
    assert any(len(samples_in([r])) for r in log.records)
    return log


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Log:
    """A whole spin of two levels."""
    run = spin(task(walked=plan((0.35, 0.6))))
    run.run()
    as_from_a_line(run)
    return Log.of(write_run(run, tmp_path_factory.mktemp("long")))


class Copy:
    """A copy of a run whose log can be replaced."""

    def __init__(self, log: Log, parent: Path, *, sealed: bool = True) -> None:
        self.folder = Path(shutil.copytree(log.folder, parent / "copy"))
        if not sealed:
            path = self.folder / DESCRIPTOR
            content = json.loads(path.read_text())
            content["gramwatt"]["sealed"] = False
            del content["resources"][0]["hash"]
            path.write_text(json.dumps(content))

    def hold(self, data: bytes) -> None:
        """In place: far quicker than a file made anew each time."""
        with (self.folder / NAME).open("r+b", buffering=0) as file:
            assert file.write(data) == len(data)
            if file.seek(0, 2) != len(data):
                file.truncate(len(data))

    def read(self, data: bytes) -> Run:
        self.hold(data)
        return read_run(self.folder)

    def analyse(self, data: bytes) -> Results:
        self.hold(data)
        return analyse_folder(self.folder)


def introduction_of(run: Run) -> bytes:
    """All that is known of who the stand is."""
    return run.stand.introduction() if run.stand else b""


def spoilt(log: Log, at: int, pattern: int) -> bytes:
    broken = bytearray(log.data)
    broken[at] ^= pattern
    return bytes(broken)


# ------------------------------------------------------- reader and follower


def test_cut_at_every_byte_the_records_before_are_read_and_the_rest_counted(
    short: Log,
) -> None:
    for cut in range(len(MAGIC), len(short.data) + 1):
        reader = Reader(short.data[:cut])
        whole = short.whole_before(cut)
        assert list(reader.records()) == short.records[:whole]
        left = cut - ([len(MAGIC), *short.ends][whole])
        assert reader.damage.bytes == left
        assert reader.damage.places == (left > 0)
        assert reader.damage.cut_short is (left > 0)


def assert_only_that_record_is_lost(log: Log, at: int, pattern: int) -> None:
    touched = log.touched(at)
    reader = Reader(spoilt(log, at, pattern))
    others = log.records[:touched] + log.records[touched + 1 :]
    assert list(reader.records()) == others
    assert reader.damage.bytes == log.ends[touched] - log.starts[touched]
    assert reader.damage.places == 1


def test_damaged_at_every_byte_one_record_is_lost_and_counted(short: Log) -> None:
    for at in range(len(MAGIC), len(short.data)):
        assert_only_that_record_is_lost(short, at, PATTERNS[at % len(PATTERNS)])


def test_in_every_bit_of_a_record_of_each_kind(short: Log, tmp_path: Path) -> None:
    one_each = {record.kind: record for record in short.records[1:-1]}
    few = MAGIC + b"".join(map(pack, one_each.values()))
    (tmp_path / NAME).write_bytes(few)
    log = Log.of(tmp_path)
    assert {record.kind for record in log.records} == {*Kind} - {Kind.HEADER, Kind.END}
    for at, pattern in itertools.product(range(len(MAGIC), len(few)), PATTERNS):
        assert_only_that_record_is_lost(log, at, pattern)


def test_a_damaged_magic_costs_no_record_but_another_version_is_not_guessed_at(
    short: Log, tmp_path: Path
) -> None:
    path = tmp_path / NAME
    for at, pattern in itertools.product(range(len(MAGIC)), PATTERNS):
        path.write_bytes(spoilt(short, at, pattern))
        if at == MAGIC.index(1):
            with pytest.raises(RecordFault, match="another version"):
                Reader.open(path)
            continue
        reader = Reader.open(path)
        assert list(reader.records()) == short.records
        assert (reader.damage.bytes, reader.damage.places) == (len(MAGIC), 1)


def test_a_follower_takes_only_what_is_whole_and_stops_before_damage(
    short: Log, tmp_path: Path
) -> None:
    path = tmp_path / NAME
    grows = Follower(path)
    seen: list[Record] = []
    for cut in range(len(MAGIC), len(short.data) + 1, 11):
        path.write_bytes(short.data[:cut])
        seen += grows.fresh()
        assert seen == short.records[: short.whole_before(cut)]
    for at in range(len(MAGIC), len(short.data), 13):
        path.write_bytes(spoilt(short, at, 0x10))
        follower = Follower(path)
        assert follower.fresh() == short.records[: short.touched(at)]
        assert follower.fresh() == []


# ----------------------------------------------------------------- whole runs


@pytest.mark.slow
def test_cut_at_every_byte_every_row_before_it_is_read_and_no_other(
    short: Log, tmp_path: Path
) -> None:
    copy = Copy(short, tmp_path, sealed=False)
    whole = read_run(short.folder)
    assert whole.whole
    assert rows_of(whole) == expected_rows(whole, samples_in([*short.records]))
    expected = [
        samples_in([*short.records[:number]]) for number in range(len(short.records))
    ]
    for cut in reversed(range(len(short.data))):
        number = short.whole_before(cut)
        if number == 0:
            with pytest.raises(
                RecordFault, match=r"is empty|first record|no whole record"
            ):
                copy.read(short.data[:cut])
            continue
        run = copy.read(short.data[:cut])
        before = short.records[:number]
        assert [d.note for d in run.decisions] == [
            r.json() for r in before if r.kind is Kind.NOTE
        ]
        # Nothing is lost that came before its pages: they come first.
        assert run.stand is not None or not expected[number]
        assert rows_of(run) == expected_rows(run, expected[number])
        assert (run.damage.bytes > 0) is (cut not in short.ends)
        # Only the end record may be missing without a loss: its words are noted.
        assert not run.whole or number == len(short.records) - 1


@pytest.mark.slow
def test_damaged_at_every_byte_only_the_rows_in_that_record_are_lost(
    short: Log, tmp_path: Path
) -> None:
    copy = Copy(short, tmp_path)
    whole = read_run(short.folder)
    said = introduction_of(whole)
    written = len([*frames_in([*short.records])])
    for touched, start in enumerate(short.starts):
        left: list[Record | None] = [*short.records]
        left[touched] = None
        rows = expected_rows(whole, samples_in(left))
        gone = written - len([*frames_in(left)])
        for at in range(start, short.ends[touched]):
            run = copy.read(spoilt(short, at, PATTERNS[at % len(PATTERNS)]))
            assert rows_of(run) == rows
            assert introduction_of(run) == said
            assert (run.header, run.outcome) == (whole.header, whole.outcome)
            assert run.intact is False
            assert not run.whole
            assert run.damage.places == 1
            # The first frame follows none, and the last is followed by none.
            assert run.health.lost + run.drops >= gone - 1


def test_an_unsealed_log_that_is_damaged_says_so_too(
    short: Log, tmp_path: Path
) -> None:
    copy = Copy(short, tmp_path, sealed=False)
    for at in range(len(MAGIC), len(short.data), 29):
        run = copy.read(spoilt(short, at, 0x40))
        assert run.intact is None
        assert not run.whole
        assert run.damage.places == 1


def test_halves_of_two_frames_are_never_read_as_one(tmp_path: Path) -> None:
    first, second = frames_that_glue()
    run = spin()
    run._input(Kind.TICK, b"")
    while run.elapsed_s < 0.1:
        run.step(10)
    at = run.host_ns
    between = Record(Kind.BYTES_IN, at, first[HALF:] + second[:HALF])
    run.records += [
        Record(Kind.BYTES_IN, at, first[:HALF]),
        between,
        Record(Kind.BYTES_IN, at, second[HALF:]),
    ]
    log = Log.of(write_run(run, tmp_path))
    whole = rows_of(read_run(log.folder))
    place = log.starts[log.records.index(between)] + 20
    (log.folder / NAME).write_bytes(spoilt(log, place, 1))
    damaged = rows_of(read_run(log.folder))
    assert damaged[1] == whole[1][:-2]


HALF = 9  # of a frame of the load cell's stream: its head, not its count


def frames_that_glue() -> tuple[bytes, bytes]:
    """Two good frames whose halves make a third: 1 in 65,536 pairs does."""
    rng = random.Random(5)
    frames = [
        frame(bytes([SAMPLES, 1, 1, 1, *(rng.randrange(1, 256) for _ in range(8))]))
        for _ in range(600)
    ]
    for first, second in itertools.permutations(frames, 2):
        glued = first[:HALF] + second[HALF:]
        if any(True for _ in frames_in([Record(Kind.BYTES_IN, 0, glued)])):
            return first, second
    raise AssertionError("no two of them do")


# ------------------------------------------------- holds, results and commands


def places_to_try(log: Log) -> list[int]:
    """A byte in each note of the walk and of its end, and some drawn with a seed."""
    rng = random.Random(11)
    marks = ("segment", "walked", "stop", "armed", "outcome", "identified")
    places = [
        rng.randrange(start, end)
        for record, start, end in zip(log.records, log.starts, log.ends, strict=True)
        if record.kind is Kind.NOTE and record.json()["note"] in marks
    ]
    return [*places, *(rng.randrange(8, len(log.data)) for _ in range(6))]


def assert_no_plateau_was_made_up(found: Results, whole: Results) -> None:
    """Each plateau is one of the whole run's, or an early part of it."""
    assert whole.analysis is not None
    known = {
        (r["leg"], r["step"], r["throttle_frac"]): r for r in whole.analysis.rows()
    }
    for row in found.analysis.rows() if found.analysis else []:
        true = known[row["leg"], row["step"], row["throttle_frac"]]
        assert float(str(row["start_s"])) >= float(str(true["start_s"])) - 0.05
        assert float(str(row["end_s"])) <= float(str(true["end_s"])) + 1e-6
        for name in ("thrust_n", "current_a"):
            assert row[name] == pytest.approx(true[name], rel=0.05)


def assert_rows_were_written(found: Run, whole: Run) -> None:
    written = rows_of(whole)
    for index, rows in rows_of(found).items():
        assert set(rows) <= set(written[index])
        assert rows == sorted(rows, key=lambda row: row[1])


@pytest.mark.slow
def test_results_of_a_damaged_spin_hold_nothing_that_was_not_measured(
    long: Log, tmp_path: Path
) -> None:
    copy = Copy(long, tmp_path)
    whole = analyse_folder(long.folder)
    assert whole.analysis is not None
    assert len(whole.analysis.rows()) == 2
    for at in places_to_try(long):
        found = copy.analyse(spoilt(long, at, 0x24))
        assert_rows_were_written(found.run, whole.run)
        assert_no_plateau_was_made_up(found, whole)
        assert any("cannot be read" in text for text in found.warnings())
        assert any("changed after" in text for text in found.warnings())


def test_results_of_a_cut_spin_are_those_of_what_was_before(
    long: Log, tmp_path: Path
) -> None:
    copy = Copy(long, tmp_path, sealed=False)
    whole = analyse_folder(long.folder)
    for cut in places_to_try(long):
        found = copy.analyse(long.data[:cut])
        assert_rows_were_written(found.run, whole.run)
        assert_no_plateau_was_made_up(found, whole)
        assert not found.run.whole or found.run.outcome == whole.run.outcome
        if not found.run.whole:
            assert any("stops before" in w or "cannot" in w for w in found.warnings())


def test_a_stop_that_is_lost_to_damage_ends_no_dwell_late(tmp_path: Path) -> None:
    """The motor runs out after a stop; that is no part of the dwell before it."""
    run = spin(task(walked=plan((0.6,), dwell_s=3.0)))
    run.at_walk(4.0, lambda r: r.order(order="stop"))
    run.run()
    log = Log.of(write_run(run, tmp_path))
    (stopped,) = (
        i
        for i, r in enumerate(log.records)
        if r.kind is Kind.NOTE and r.json()["note"] == "stop"
    )
    stop_s = log.records[stopped].json()["device_s"]
    (log.folder / NAME).write_bytes(spoilt(log, log.starts[stopped] + 30, 2))
    last = read_run(log.folder).holds()[-1]
    assert last.kind == "dwell"
    assert float(str(stop_s)) - 0.05 < last.end_s <= float(str(stop_s))


def test_the_exit_status_admits_what_is_lost(
    long: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    copy = Copy(long, tmp_path)
    middle = len(long.data) // 2
    folder = str(copy.folder)
    assert [main([command, folder]) for command in ("findings", "rebuild")] == [0, 0]
    copy.hold(spoilt(long, middle, 1))
    assert [main([command, folder]) for command in ("findings", "rebuild")] == [4, 4]
    copy.hold(long.data[:middle])
    assert [main([command, folder]) for command in ("findings", "report")] == [4, 4]
    copy.hold(b"")
    for command in ("findings", "rebuild", "report"):
        assert main([command, folder]) == 1


def test_blocks_that_were_never_written_are_holes_and_nothing_else(
    long: Log, tmp_path: Path
) -> None:
    """After a loss of power a file can hold zeros where its data should be."""
    copy = Copy(long, tmp_path, sealed=False)
    whole = rows_of(read_run(long.folder))
    for start in range(512, len(long.data) - 4096, len(long.data) // 9):
        broken = bytearray(long.data)
        broken[start : start + 4096] = bytes(4096)
        run = copy.read(bytes(broken))
        assert run.damage.places == 1
        assert 4096 <= run.damage.bytes < 4096 + 3000
        assert not run.whole
        for index, rows in rows_of(run).items():
            assert set(rows) <= set(whole[index])
            # Fewer are gone than the block had room for.
            assert len(whole[index]) - len(rows) < 4096 / 12
    torn = copy.read(long.data[: len(long.data) // 2] + bytes(4096))
    assert torn.damage.cut_short
    assert torn.outcome is None


def first_arrival(log: Log) -> int:
    """The record in which the stand begins to say who it is."""
    return next(i for i, r in enumerate(log.records) if r.kind is Kind.BYTES_IN)


def test_one_damaged_place_costs_neither_header_nor_stand(
    long: Log, tmp_path: Path
) -> None:
    copy = Copy(long, tmp_path)
    whole = read_run(long.folder)
    pages = first_arrival(long)
    for record in (0, *range(pages, pages + 30, 5)):
        run = copy.read(spoilt(long, long.starts[record] + 18, 8))
        assert run.header == whole.header
        assert introduction_of(run) == introduction_of(whole)
        assert run.streams[0].device_s.size > whole.streams[0].device_s.size - 3
        assert not run.whole


def test_two_damaged_places_can_cost_the_stand_which_is_said(
    long: Log, tmp_path: Path
) -> None:
    copy = Copy(long, tmp_path)
    pages = first_arrival(long) + 2
    broken = bytearray(spoilt(long, long.starts[pages] + 18, 8))
    broken[long.starts[-1] + 18] ^= 8
    found = copy.analyse(bytes(broken))
    assert found.run.stand is None
    assert found.run.health.unsorted > 1000
    assert "does not say who the stand is" in found.sentences()[0]
    assert found.run.damage.places == 2
