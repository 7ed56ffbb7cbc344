"""A zip file from a stranger, looked at before anything in it is unpacked.

It must be laid out as gramwatt lays one out: every file named in ``layout``, once,
stored or deflated, one after another from the first byte to the last, no larger and no
more shrunk than anything a bench makes. Whatever is not so is refused with a sentence;
nothing is written but by ``extract``, and that only below the folder given.
"""

from __future__ import annotations

import hashlib
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

from daq.errors import InputFault
from ui.club import layout
from ui.club.plainly import plainly

CHUNK: Final = 1 << 16
_LOCAL: Final = struct.Struct("<4sHHHHHIIIHH")
_LOCAL_MAGIC: Final = b"PK\x03\x04"
_CENTRAL: Final = struct.Struct("<4sHHHHHHIIIHHHHHII")
#: The longest list of files: their names are short, and nothing else is in it.
LONGEST_LIST: Final = layout.MOST_FILES * (_CENTRAL.size + 250)
_END: Final = struct.Struct("<4sHHHHIIH")
_END_MAGIC: Final = b"PK\x05\x06"
#: What to do about a bundle that went through another program's hands.
REZIPPED: Final = (
    "Was it unpacked and zipped again, as some browsers and mail programs do by "
    "themselves? Ask its owner for the file as `gramwatt bundle pack` made it"
)
#: Flags that change nothing about how a file is read: none, and names in UTF-8.
_FLAGS: Final = (0, 0x800)
_KINDS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
#: What the library raises at files that are no zip files, or only nearly.
_BROKEN: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    NotImplementedError,
    RuntimeError,
    ValueError,
    EOFError,
    OverflowError,
    KeyError,
    IndexError,
)


@dataclass(frozen=True, slots=True)
class Member:
    """One file of the bundle.

    Attributes:
        path: inside the bundle.
        size: bytes when unpacked, as stated.
    """

    path: str
    size: int


class Archive:
    """A bundle's file, open and found to be laid out as it should be.

    Attributes:
        members: its files by path.
    """

    def __init__(self, file: IO[bytes], size: int) -> None:
        """Look at it.

        Args:
            file: open for reading, and seekable.
            size: its bytes.

        Raises:
            InputFault: it is no zip file, or not one that is unpacked here.
        """
        if size > layout.MOST_PACKED:
            raise InputFault(
                f"it has {size} bytes, and a bundle has at most {layout.MOST_PACKED}"
            )
        self._file = file
        count, list_at = _check_end(file, size)
        try:
            self._zip = zipfile.ZipFile(file)
        except _BROKEN:
            raise InputFault("it is no zip file, or a damaged one") from None
        infos = self._zip.infolist()
        if len(infos) != count or self._zip.start_dir != list_at:
            # A second end, of large zip files: some programs go by it, some do not.
            raise InputFault("its list of files is not where it says")
        _check_names(infos)
        for info in infos:
            _check_member(info)
        _check_total(infos)
        _check_places(file, infos, list_at)
        self._infos = {info.filename: info for info in infos}
        self.members = {
            path: Member(path, info.file_size) for path, info in self._infos.items()
        }

    def read(self, path: str) -> bytes:
        """A file of it, whole.

        Raises:
            InputFault: there is none, or it is damaged.
        """
        if path not in self._infos:
            raise InputFault(f"{path} is missing")
        return b"".join(self._chunks(path))

    def hash_of(self, path: str, to: Path | None = None) -> str:
        """SHA-256 of a file of it, as a Data Package writes it.

        Args:
            path: inside the bundle.
            to: where it is unpacked to meanwhile; None: nowhere.

        Raises:
            InputFault: it is damaged.
            OSError: it cannot be written.
        """
        digest = hashlib.sha256()
        if to is None:
            for chunk in self._chunks(path):
                digest.update(chunk)
        else:
            to.parent.mkdir(parents=True, exist_ok=True)
            with to.open("xb") as out:
                for chunk in self._chunks(path):
                    digest.update(chunk)
                    out.write(chunk)
        return "sha256:" + digest.hexdigest()

    def _chunks(self, path: str) -> Iterator[bytes]:
        info, read, crc = self._infos[path], 0, 0
        try:
            for chunk in self._unpacked(info):
                read += len(chunk)
                crc = zlib.crc32(chunk, crc)
                yield chunk
        except _BROKEN:
            raise InputFault(f"{path} in it is damaged") from None
        if (read, crc) != (info.file_size, info.CRC):
            raise InputFault(
                f"{path} in it is damaged, or of another size than it says"
            )

    def _unpacked(self, info: zipfile.ZipInfo) -> Iterator[bytes]:
        """What a file's bytes unpack to, no more than one byte above what it says.

        The library stops at the stated size; another program would go on, and see
        what was never looked at here.

        Raises:
            zlib.error: they are not one packed stream from the first to the last.
        """
        packed = self._packed(info)
        if info.compress_type == zipfile.ZIP_STORED:
            yield from packed
            return
        stream, room = zlib.decompressobj(-zlib.MAX_WBITS), info.file_size + 1
        for piece in packed:
            tail = piece
            while room:
                chunk = stream.decompress(tail, min(CHUNK, room))
                room -= len(chunk)
                yield chunk
                tail = stream.unconsumed_tail
                if not tail and len(chunk) < CHUNK:
                    break
            if stream.unused_data or not room:
                break
        if not stream.eof or stream.unused_data or any(packed):
            raise zlib.error

    def _packed(self, info: zipfile.ZipInfo) -> Iterator[bytes]:
        """A file's bytes as they lie in the zip file."""
        self._file.seek(info.header_offset + _LOCAL.size + len(info.filename))
        left = info.compress_size
        while left:
            piece = self._file.read(min(left, CHUNK))
            if not piece:
                raise EOFError
            left -= len(piece)
            yield piece


def _check_end(file: IO[bytes], size: int) -> tuple[int, int]:
    """The end of the zip file, before the library makes a list of what it names.

    Returns:
        How many files it holds, and where the list of them begins.

    Raises:
        InputFault: it has no end, something behind it, or too many files.
    """
    file.seek(max(0, size - _END.size))
    tail = file.read(_END.size)
    if len(tail) < _END.size or tail[:4] != _END_MAGIC:
        raise InputFault(
            "it does not end as a bundle does: it is no zip file, cut short, or has "
            "something behind its end"
        )
    _, disk, first, here, total, length, start, comment = _END.unpack(tail)
    if disk or first or comment or here != total:
        raise InputFault("it is a zip file in parts, or one with a comment")
    if total > layout.MOST_FILES:
        raise InputFault(
            f"it holds {total} files, and a bundle at most {layout.MOST_FILES}"
        )
    if start + length != size - _END.size or length > LONGEST_LIST:
        raise InputFault("its list of files is not where it says")
    return total, start


def _check_names(infos: list[zipfile.ZipInfo]) -> None:
    seen: set[str] = set()
    for info in infos:
        name = info.filename
        # The library cuts a name at a zero byte: what was written counts.
        written = getattr(info, "orig_filename", name)
        most = layout.most_bytes(name) if written == name else None
        if most is None:
            raise InputFault(
                f'it holds "{plainly(str(written), 80)}", which is no part of a bundle'
                + (f". {REZIPPED}" if _by_other_hands(name) else "")
            )
        if name.lower() in seen:
            raise InputFault(f"it holds {name} twice")
        seen.add(name.lower())
        if info.file_size > most:
            raise InputFault(
                f"{name} in it has {info.file_size} bytes, and may have {most}"
            )


def _by_other_hands(name: str) -> bool:
    """Whether a name is there since somebody zipped an unpacked bundle again."""
    parts = name.split("/")
    within = "/".join(parts[1:])
    return (
        parts[0] == "__MACOSX"
        or parts[-1] in ("", ".DS_Store", "Thumbs.db")
        or (len(parts) > 1 and layout.most_bytes(within) is not None)
    )


def _check_member(info: zipfile.ZipInfo) -> None:
    name = info.filename
    if info.flag_bits & 0x1:
        raise InputFault(f"{name} in it is encrypted")
    if (
        info.flag_bits not in _FLAGS
        or info.compress_type not in _KINDS
        or info.extra
        or info.comment
    ):
        raise InputFault(
            f"{name} in it is packed in a way that gramwatt does not pack. {REZIPPED}"
        )
    # Unix keeps the kind of a file in the upper half: links and folders have their own.
    kind = (info.external_attr >> 16) & 0o170000
    if kind not in (0, 0o100000) or info.is_dir():
        raise InputFault(f"{name} in it is a link or a folder, not a plain file")
    ratio = info.file_size / max(1, info.compress_size)
    if info.file_size > layout.RATIO_FROM and ratio > layout.MOST_RATIO:
        raise InputFault(
            f"{name} in it unpacks to {ratio:.0f} times its size, as nothing does that "
            "was measured"
        )


def _check_total(infos: list[zipfile.ZipInfo]) -> None:
    total = sum(info.file_size for info in infos)
    if total > layout.MOST_UNPACKED:
        raise InputFault(
            f"it unpacks to {total} bytes, and a bundle to at most "
            f"{layout.MOST_UNPACKED}"
        )


def _check_places(file: IO[bytes], infos: list[zipfile.ZipInfo], list_at: int) -> None:
    """That files lie one behind another, and are headed as they are listed.

    Files that share their bytes, bytes that belong to no file and heads that differ
    from the list let two programs see two different things in one zip file.

    Raises:
        InputFault: it is not so.
    """
    at = 0
    for info in sorted(infos, key=lambda info: info.header_offset):
        if info.header_offset != at:
            raise InputFault("its files overlap, or have something between them")
        file.seek(at)
        head = file.read(_LOCAL.size)
        if len(head) < _LOCAL.size:
            raise InputFault("it is cut short")
        magic, _, flags, kind, _, _, crc, packed, size, name_size, extra = (
            _LOCAL.unpack(head)
        )
        name = file.read(name_size)
        same = (
            magic == _LOCAL_MAGIC
            and name == info.filename.encode("ascii", "replace")
            and (flags, kind, crc, packed, size, extra)
            == (
                info.flag_bits,
                info.compress_type,
                info.CRC,
                info.compress_size,
                info.file_size,
                0,
            )
        )
        if not same:
            raise InputFault(f"{info.filename} in it is not what the list says")
        at += _LOCAL.size + name_size + packed
    if at != list_at:
        raise InputFault("it has something between its files and their list")
