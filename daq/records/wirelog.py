"""The wire log: every byte and every decision, written as it happens.

A magic, then records. Each record is a kind, a length, a host time and a
CRC-32 over all of that and the data, so that a file is good up to its last
whole record and damage in the middle costs the records it touches. Writing
goes straight to the file, unbuffered; syncing to the disk is somebody else's
thread, since a sync can stall. Reading never raises on damage: it counts.

Record: ``<kind:1s><length:u32><time_ns:u64><crc:u32><data>``, little endian.
"""

import json
import os
import re
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from daq.errors import RecordFault

NAME = "wire.log"
MAGIC = b"GWLOG\x00\x01\n"  # the last number is the format's version
_VERSION_AT = 6
_HEAD = struct.Struct("<cIQI")
_CHECKED = struct.Struct("<cIQ")
MAX_DATA = 1 << 20
INTRODUCTION = "introduction"  # in the end record: who the stand is, once more


class Kind(Enum):
    """What a record holds."""

    HEADER = b"H"  # JSON: what this run is
    BYTES_IN = b"I"  # bytes from the stand
    BYTES_OUT = b"O"  # bytes to the stand
    ORDER = b"Q"  # JSON: what the client asked
    LOST = b"L"  # text: the port went away
    TICK = b"T"  # empty: time alone brought about what follows
    NOTE = b"N"  # JSON: a decision
    END = b"E"  # JSON: the log is complete


_KINDS = {kind.value: kind for kind in Kind}
_BEGINS = re.compile(b"[" + b"".join(_KINDS) + b"]")


@dataclass(frozen=True, slots=True)
class Record:
    """One record.

    Attributes:
        kind: what it holds.
        time_ns: host monotonic time.
        data: its content.
    """

    kind: Kind
    time_ns: int
    data: bytes

    def json(self) -> dict[str, object]:
        """The content of a header, order, note or end record.

        Raises:
            RecordFault: it is not the JSON object that it should be.
        """
        try:
            content = json.loads(self.data)
        except ValueError:
            content = None
        if not isinstance(content, dict):
            raise RecordFault(
                f"a {self.kind.name.lower()} record that is no JSON object"
            )
        return content


def packed_size(record: Record) -> int:
    """How many bytes a record takes."""
    return _HEAD.size + len(record.data)


def pack(record: Record) -> bytes:
    """One record as bytes.

    Raises:
        ValueError: more data than a record holds.
    """
    if len(record.data) > MAX_DATA:
        raise ValueError(f"a record of {len(record.data)} bytes")
    checked = _CHECKED.pack(record.kind.value, len(record.data), record.time_ns)
    crc = zlib.crc32(record.data, zlib.crc32(checked))
    return checked + crc.to_bytes(4, "little") + record.data


def to_json(content: Mapping[str, object]) -> bytes:
    """JSON for a record, on one line; text that is no Unicode is escaped.

    Raises:
        ValueError: a NaN or an infinity, which JSON does not have.
    """
    return json.dumps(
        content, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    ).encode("utf-8", "backslashreplace")


try:
    import fcntl
except ImportError:  # a system without such locks: nobody is known to write
    _EXCLUSIVE = _SHARED = 0
else:
    _EXCLUSIVE = fcntl.LOCK_EX | fcntl.LOCK_NB
    _SHARED = fcntl.LOCK_SH | fcntl.LOCK_NB


def _lock(descriptor: int, kind: int) -> bool:
    """Lock a file until it is closed; whether nobody else has it locked."""
    try:
        if kind:
            fcntl.flock(descriptor, kind)
    except BlockingIOError:
        return False
    except OSError:
        pass  # a disk that knows no locks
    return True


def is_being_written(path: Path) -> bool:
    """Whether a keeper, running or frozen, still has a log open for writing.

    Raises:
        OSError: it cannot be opened.
    """
    with path.open("rb") as file:
        return not _lock(file.fileno(), _SHARED)


class WireLog:
    """A wire log being written, and locked meanwhile.

    Every write goes to the file at once. Any ``OSError`` (a full disk, a
    folder taken away) is the caller's to act on: stop the motor first.
    """

    def __init__(self, path: Path) -> None:
        """Create the file; it must not exist.

        Raises:
            OSError: it cannot be created or written.
        """
        self.path = path
        self._file = path.open("xb", buffering=0)
        _lock(self._file.fileno(), _EXCLUSIVE)
        try:
            self._write(MAGIC)
        except OSError:
            self.close()
            raise

    def append(self, kind: Kind, time_ns: int, data: bytes = b"") -> None:
        """Write one record.

        Raises:
            OSError: it was not written whole.
        """
        self._write(pack(Record(kind, time_ns, data)))

    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            written = self._file.write(view)
            if not written:
                raise OSError("nothing was written")
            view = view[written:]

    def sync(self) -> None:
        """Have the system put on the disk what was written so far.

        Raises:
            OSError: it could not.
        """
        os.fsync(self._file.fileno())

    def close(self) -> None:
        """Close the file; never raises."""
        try:
            self._file.close()
        except OSError:
            pass  # what was written before stays written


@dataclass(slots=True)
class Damage:
    """What reading had to leave out.

    Attributes:
        bytes: bytes that belong to no whole record.
        places: how many separate stretches of them.
        cut_short: the last of them reaches the end of the file.
    """

    bytes: int = 0
    places: int = 0
    cut_short: bool = False


class Reader:
    """Reads a wire log, whole or growing, and counts what is damaged.

    Attributes:
        data: the file.
        damage: complete once ``records`` is exhausted.
    """

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.damage = Damage()
        if data[: len(MAGIC)] != MAGIC:
            self.damage = Damage(min(len(data), len(MAGIC)), 1, len(data) < len(MAGIC))

    @classmethod
    def open(cls, path: Path) -> "Reader":
        """Read a file whole.

        A magic that is damaged is damage like any other where a whole record
        follows; only its version must be as it is here.

        Raises:
            RecordFault: it cannot be read, or it is no wire log.
        """
        try:
            data = path.read_bytes()
        except OSError as fault:
            why = fault.strerror or str(fault)
            raise RecordFault(f"{path} cannot be read: {why}.") from None
        if not data:
            raise RecordFault(f"{path} is empty: nothing was recorded.")
        begins = data[:_VERSION_AT] == MAGIC[:_VERSION_AT]
        version = data[_VERSION_AT : _VERSION_AT + 1]
        if begins and version not in (b"", MAGIC[_VERSION_AT : _VERSION_AT + 1]):
            raise RecordFault(
                f"{path} is a wire log of another version than this gramwatt reads."
            )
        if len(data) < len(MAGIC) and MAGIC.startswith(data):
            raise RecordFault(f"{path} stops before its first record.")
        if data[: len(MAGIC)] != MAGIC and record_at(data, len(MAGIC)) is None:
            raise RecordFault(f"{path} is not a wire log.")
        return cls(data)

    def records(self) -> Iterator[Record]:
        """Every whole record, in order; damage is skipped and counted."""
        for _, record in self.placed():
            yield record

    def placed(self) -> Iterator[tuple[int, Record]]:
        """The same with where each begins."""
        position = len(MAGIC)
        end = len(self.data)
        while position < end:
            record = record_at(self.data, position)
            if record is not None:
                yield position, record
                position += packed_size(record)
                continue
            resumed = self._next_good(position + 1)
            self.damage.bytes += resumed - position
            self.damage.places += 1
            self.damage.cut_short = resumed == end
            position = resumed

    def _next_good(self, position: int) -> int:
        """Where the next whole record begins; the end where there is none."""
        for found in _BEGINS.finditer(self.data, position):
            if record_at(self.data, found.start()) is not None:
                return found.start()
        return len(self.data)


def record_at(data: bytes, position: int) -> Record | None:
    """The whole, undamaged record that begins there, if one does."""
    if position + _HEAD.size > len(data):
        return None
    code, length, time_ns, crc = _HEAD.unpack_from(data, position)
    kind = _KINDS.get(code)
    start = position + _HEAD.size
    if kind is None or length > MAX_DATA or start + length > len(data):
        return None
    content = data[start : start + length]
    head_crc = zlib.crc32(data[position : position + _CHECKED.size])
    if zlib.crc32(content, head_crc) != crc:
        return None
    return Record(kind, time_ns, content)


class Follower:
    """Reads a wire log while it grows, as a client of the keeper does."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._position = len(MAGIC)

    def fresh(self) -> list[Record]:
        """Records that became whole since last asked.

        Raises:
            OSError: the file cannot be read any more.
        """
        with self._path.open("rb") as file:
            file.seek(self._position)
            data = file.read()
        found: list[Record] = []
        position = 0
        while (record := record_at(data, position)) is not None:
            found.append(record)
            position += packed_size(record)
        self._position += position
        return found
