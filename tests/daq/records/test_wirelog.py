"""The wire log: good up to its last whole record, damage counted, nothing made up."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import RecordFault
from daq.records.wirelog import (
    MAGIC,
    Follower,
    Kind,
    Reader,
    Record,
    WireLog,
    is_being_written,
    pack,
    to_json,
)

RECORDS = st.lists(
    st.builds(
        Record,
        st.sampled_from(Kind),
        st.integers(0, 2**63),
        st.binary(max_size=40),
    ),
    max_size=8,
)
SHORT = [
    Record(Kind.HEADER, 1, b'{"a":1}'),
    Record(Kind.BYTES_IN, 2, b"\x01\x02\x00"),
    Record(Kind.TICK, 3, b""),
    Record(Kind.NOTE, 4, b'{"note":"x"}'),
    Record(Kind.END, 5, b"{}"),
]


def as_bytes(records: list[Record]) -> bytes:
    return MAGIC + b"".join(pack(r) for r in records)


@given(RECORDS)
def test_what_is_written_is_read_back(records: list[Record]) -> None:
    reader = Reader(as_bytes(records))
    assert list(reader.records()) == records
    assert reader.damage.bytes == 0


def test_cut_at_every_byte_every_whole_record_before_the_cut_is_read() -> None:
    data = as_bytes(SHORT)
    ends, position = [], len(MAGIC)
    for record in SHORT:
        position += len(pack(record))
        ends.append(position)
    for cut in range(len(MAGIC), len(data) + 1):
        reader = Reader(data[:cut])
        whole = sum(end <= cut for end in ends)
        assert list(reader.records()) == SHORT[:whole]
        left = cut - ([len(MAGIC), *ends][whole])
        assert reader.damage.bytes == left
        assert reader.damage.cut_short is (left > 0)


def test_damaged_at_every_byte_only_the_record_it_touches_is_lost() -> None:
    data = as_bytes(SHORT)
    starts, position = [], len(MAGIC)
    for record in SHORT:
        starts.append(position)
        position += len(pack(record))
    for at in range(len(MAGIC), len(data)):
        broken = bytearray(data)
        broken[at] ^= 0xFF
        reader = Reader(bytes(broken))
        touched = max(i for i, start in enumerate(starts) if start <= at)
        expected = SHORT[:touched] + SHORT[touched + 1 :]
        assert list(reader.records()) == expected
        assert reader.damage.bytes == len(pack(SHORT[touched]))
        assert reader.damage.places == 1


@given(st.binary(max_size=300))
def test_garbage_after_the_magic_is_counted_and_never_raises(garbage: bytes) -> None:
    reader = Reader(MAGIC + garbage)
    kept = sum(len(pack(r)) for r in reader.records())
    assert kept + reader.damage.bytes == len(garbage)


def test_the_file_holds_each_record_at_once(tmp_path: Path) -> None:
    path = tmp_path / "wire.log"
    log = WireLog(path)
    for count, record in enumerate(SHORT, start=1):
        log.append(record.kind, record.time_ns, record.data)
        assert path.read_bytes() == as_bytes(SHORT[:count])
    log.close()


def test_an_existing_log_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "wire.log"
    path.write_bytes(b"precious")
    with pytest.raises(FileExistsError):
        WireLog(path)
    assert path.read_bytes() == b"precious"


def test_a_log_is_locked_as_long_as_it_is_written(tmp_path: Path) -> None:
    pytest.importorskip("fcntl")
    path = tmp_path / "wire.log"
    log = WireLog(path)
    assert is_being_written(path)
    assert is_being_written(path)  # asking changes nothing
    log.append(Kind.TICK, 1)
    log.close()
    assert not is_being_written(path)


def test_a_follower_sees_records_once_and_only_when_whole(tmp_path: Path) -> None:
    path = tmp_path / "wire.log"
    data = as_bytes(SHORT)
    follower = Follower(path)
    path.write_bytes(MAGIC)
    seen: list[Record] = []
    for size in range(len(MAGIC), len(data) + 1):
        path.write_bytes(data[:size])
        seen += follower.fresh()
    assert seen == SHORT


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"PNG\x00\x00\x00\x00\x00", "is not a wire log"),
        (MAGIC[:-2] + b"\x07\n", "another version"),
    ],
)
def test_what_is_no_log_is_said_in_a_sentence(
    content: bytes, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "wire.log"
    path.write_bytes(content)
    with pytest.raises(RecordFault, match=words):
        Reader.open(path)


def test_a_missing_log_is_said_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordFault, match="cannot be read"):
        Reader.open(tmp_path / "wire.log")


def test_json_without_numbers_that_json_has_not() -> None:
    with pytest.raises(ValueError, match="JSON"):
        to_json({"x": float("nan")})
    with pytest.raises(RecordFault, match="no JSON object"):
        Record(Kind.NOTE, 0, b"[1]").json()
