"""What can be wrong with the zip file itself."""

import io
import random
import struct
import tarfile
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator
from functools import partial

from tests.bundles import (
    run_of,
    together,
)
from tests.campaign.hostile_bundles.case import SCRIPT, TURNED, Hostile, raw, tables


def with_member(name: str, data: bytes = b"harm", **given: object) -> bytes:
    """A bundle with one file more, under any name and with any attributes."""
    info = zipfile.ZipInfo("placeholder", (1980, 1, 1, 0, 0, 0))
    info.create_system = 3
    for key, value in given.items():
        setattr(info, key, value)
    info.filename = name
    file = io.BytesIO(together(tables()))
    with zipfile.ZipFile(file, "a") as bundle, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a name that is there already
        bundle.writestr(info, data)
    return file.getvalue()


def patched(data: bytes, change: Callable[[bytearray, int, int], None]) -> bytes:
    """A zip file with its last member's local head and list entry changed.

    Args:
        data: the zip file.
        change: gets all bytes, where the local head is, and where the list entry is.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as bundle:
        last = bundle.infolist()[-1]
    changed = bytearray(data)
    change(changed, last.header_offset, data.rindex(b"PK\x01\x02"))
    return bytes(changed)


def flagged(bits: int) -> bytes:
    """With flags that say something about how the last file is packed."""

    def change(data: bytearray, local: int, listed: int) -> None:
        struct.pack_into("<H", data, local + 6, bits)
        struct.pack_into("<H", data, listed + 8, bits)

    return patched(together(tables()), change)


def by_method(method: int) -> bytes:
    """With another way of packing stated for the last file."""

    def change(data: bytearray, local: int, listed: int) -> None:
        struct.pack_into("<H", data, local + 8, method)
        struct.pack_into("<H", data, listed + 10, method)

    return patched(together(tables()), change)


def local_only(at: int, value: bytes) -> bytes:
    """The last file's local head says something else than the list."""

    def change(data: bytearray, local: int, listed: int) -> None:
        del listed
        data[local + at : local + at + len(value)] = value

    return patched(together(tables()), change)


def sized(packed_size: int | None, size: int) -> bytes:
    """Another size stated for the last file, in both places."""

    def change(data: bytearray, local: int, listed: int) -> None:
        for at in (local + 18, listed + 20):
            if packed_size is not None:
                struct.pack_into("<I", data, at, packed_size)
            struct.pack_into("<I", data, at + 4, size)

    return patched(together(tables()), change)


def at_end(offset: int, form: str, value: int) -> bytes:
    """Another number in the end of the zip file."""
    data = bytearray(together(tables()))
    struct.pack_into(form, data, len(data) - 22 + offset, value)
    return bytes(data)


def overlapping() -> bytes:
    """Two entries in the list for one piece of the file."""
    data = together(tables())
    start = data.index(b"PK\x01\x02")
    with zipfile.ZipFile(io.BytesIO(data)) as bundle:
        first = bundle.infolist()[0].filename
    size = 46 + len(first)
    entry = bytearray(data[start : start + size])
    entry[46:] = b"datapackage.jsox"[: len(first)]
    again = data[:start] + bytes(entry) + data[start:-22]
    count = struct.unpack_from("<H", data, len(data) - 14)[0] + 1
    length = struct.unpack_from("<I", data, len(data) - 10)[0] + size
    end = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, count, count, length, start, 0)
    return again + end


def same_bytes_twice() -> bytes:
    """Names that may be there, both pointing to the same bytes: a bomb's way."""
    files = tables()
    at = run_of(files)
    data = together(files | {f"{at}/glides.csv": b"a,b\n1,2\n"})
    start = data.index(b"PK\x01\x02")
    twin = bytearray(data)
    name = f"{at}/glides.csv".encode()
    place = data.index(name, start)
    other = data.index(f"{at}/plateaus.csv".encode(), start) - 46
    offset = struct.unpack_from("<I", data, other + 42)[0]
    struct.pack_into("<I", twin, place - 46 + 42, offset)
    return bytes(twin)


def repacked(data: bytes, packed_bytes: bytes, *, stored: bool = False) -> bytes:
    """A bundle whose last file is packed by hand, whatever it says to unpack to.

    Args:
        data: what the zip file says of it: size and check are of this.
        packed_bytes: what lies there.
        stored: whether it is said to be stored as it is.
    """
    name = f"{run_of(tables())}/report.html".encode()
    base = together({p: d for p, d in tables().items() if p != name.decode()})
    start, count = base.index(b"PK\x01\x02"), len(tables())
    sizes = (zlib.crc32(data), len(packed_bytes), len(data), len(name), 0)
    how = (20, 0, 0 if stored else 8, 0, 0x21)
    head = struct.pack("<4sHHHHHIIIHH", b"PK\x03\x04", *how, *sizes) + name
    entry = (
        struct.pack("<4sH", b"PK\x01\x02", 0x314)
        + struct.pack("<HHHHHIIIHH", *how, *sizes)
        + struct.pack("<HHHII", 0, 0, 0, 0o100644 << 16, start)
        + name
    )
    listed = base[start:-22] + entry
    before = base[:start] + head + packed_bytes
    ending = (0, 0, count, count, len(listed), len(before), 0)
    return before + listed + struct.pack("<4sHHHHIIH", b"PK\x05\x06", *ending)


def deflated(data: bytes) -> bytes:
    """As a zip file packs it."""
    stream = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS)
    return stream.compress(data) + stream.flush()


def two_lists() -> bytes:
    """Two lists of files: one by the end of the zip file, one by that of large ones.

    The first names one file and takes the whole second one for its comment; it lies in
    a file that the second one names. Which is seen depends on the program.
    """
    head = struct.pack("<4sHHHHHH", b"PK\x01\x02", 0x314, 20, 0, 0, 0, 0x21)
    sizes = (0, 0, 0, len("README.txt"), 0)
    bare = repacked(b"", bytes(46 + len("README.txt")), stored=True)
    start = struct.unpack_from("<I", bare, len(bare) - 6)[0]
    second = bare[start:-22]
    comment = len(second) + 56 + 20
    first = (
        head
        + struct.pack("<IIIHHH", *sizes, comment)
        + struct.pack("<HHII", 0, 0, 0, 0)
        + b"README.txt"
    )
    whole = repacked(first, first, stored=True)
    count = len(tables())
    large = struct.pack(
        "<4sQHHLLQQQQ",
        *(b"PK\x06\x06", 44, 45, 45, 0, 0, count, count, len(second), start),
    )
    locator = struct.pack("<4sLQL", b"PK\x06\x07", 0, start + len(second), 1)
    ending = (0, 0, 1, 1, len(first) + comment, start - len(first), 0)
    end = struct.pack("<4sHHHHIIH", b"PK\x05\x06", *ending)
    return whole[:-22] + large + locator + end


def by_hand(top: str = "") -> bytes:
    """A bundle that was unpacked and zipped again, with nothing changed in it."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as bundle:
        if top:
            bundle.writestr(zipfile.ZipInfo(f"{top}/"), b"")
        for name, data in tables().items():
            bundle.writestr(f"{top}/{name}" if top else name, data)
    zipped = bytearray(file.getvalue())
    if not top:  # as a program says it that writes sizes behind each file
        listed = zipped.index(b"PK\x01\x02")
        struct.pack_into("<H", zipped, listed + 8, 8)
    return bytes(zipped)


def with_gap() -> bytes:
    """Bytes between two files."""
    data = together(tables())
    start = data.index(b"PK\x01\x02")
    moved = data[:start] + b"#!/bin/sh\n" + data[start:-22]
    end = bytearray(data[-22:])
    struct.pack_into("<I", end, 16, start + 10)
    return moved + bytes(end)


def prefixed() -> bytes:
    """Something that runs, and a bundle behind it."""
    front = b"#!/bin/sh\ntouch ran\nexit\n"
    return front + together(tables())


def prefixed_and_moved() -> bytes:
    """The same with every place in it set right."""
    front = b"#!/bin/sh\ntouch ran\nexit\n"
    file = io.BytesIO()
    file.write(front)
    with zipfile.ZipFile(file, "a") as bundle:
        for name, data in tables().items():
            bundle.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data)
    return file.getvalue()


def bomb(name: str, size: int) -> bytes:
    """A file of nothing, packed small."""
    files = raw()
    return together(files | {f"{run_of(files)}/{name}": bytes(size)})


def bomb_of_many() -> bytes:
    """Many files, each within what a file may have and may have shrunk by.

    All of them are one piece that is packed once and put there again and again, as
    whoever makes bombs does it.
    """
    rng = random.Random(1)
    size = 20_000_000
    piece = b"".join(rng.randbytes(25_000) * 40 for _ in range(20))
    packer = zlib.compressobj(6, zlib.DEFLATED, -15)
    packed_piece = packer.compress(piece) + packer.flush()
    heads, entries = [], []
    at = 0
    for sample in range(70):
        name = f"runs/a/samples-{sample}.parquet".encode()
        same = (20, 0, 8, 0, 33, zlib.crc32(piece), len(packed_piece), size, len(name))
        head = struct.pack("<4s5H3I2H", b"PK\x03\x04", *same, 0) + name
        entries.append(
            struct.pack("<4s6H3I5H2I", b"PK\x01\x02", 20, *same, 0, 0, 0, 0, 0, at)
            + name
        )
        heads.append(head + packed_piece)
        at += len(head) + len(packed_piece)
    listed = b"".join(entries)
    end = (b"PK\x05\x06", 0, 0, len(entries), len(entries), len(listed), at, 0)
    return b"".join(heads) + listed + struct.pack("<4s4H2IH", *end)


def slim_bomb() -> bytes:
    """A bomb of lines that are alike, and shrink by less than nothing does."""
    line = random.Random(2).randbytes(1200) * 23
    files = raw()
    return together(files | {f"{run_of(files)}/wire.log": (line + bytes(30_000)) * 700})


def too_many() -> bytes:
    """More files than a bundle has."""
    files = tables()
    for run in range(40):
        for sample in range(100):
            files[f"runs/r{run}/samples-{sample}.parquet"] = b""
    return together(files)


def tar_file() -> bytes:
    """Another kind of archive under a zip file's name."""
    file = io.BytesIO()
    with tarfile.open(fileobj=file, mode="w:gz") as archive:
        for name, data in tables().items():
            info = tarfile.TarInfo(name)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
    return file.getvalue()


def cut(share: float) -> bytes:
    """A bundle that was cut off."""
    data = together(tables())
    return data[: int(share * len(data))]


def damaged() -> bytes:
    """One byte in the middle of a packed file is another."""
    data = bytearray(together(tables()))
    data[len(data) // 2] ^= 0x55
    return bytes(data)


def zip_level() -> Iterator[Hostile]:
    """What can be wrong with the zip file itself."""
    no_part = "which is no part of a bundle"
    for name, path in (
        ("up and out", "../evil.txt"),
        ("far up and out", "../" * 12 + "etc/cron.d/evil"),
        ("out of a run", "runs/../../evil.txt"),
        ("through a point", "runs/./x/entry.json"),
        ("absolute", "/etc/evil"),
        ("absolute and doubled", "//evil/share"),
        ("a drive", "C:/evil.txt"),
        ("a drive's own folder", "C:evil.txt"),
        ("backslashes", "runs\\..\\..\\evil.txt"),
        ("a share", "\\\\host\\share\\evil"),
        ("a zero byte", "runs/x/entry.json\x00.html"),
        ("a shell script", "run.sh"),
        ("a Python file", "runs/a/sitecustomize.py"),
        ("something for a start", "autorun.inf"),
        ("an executable", "runs/a/report.exe"),
        ("a launcher", "gramwatt.desktop"),
        ("a shortcut", "runs/a/wire.log.lnk"),
        ("a hidden file", ".bashrc"),
        ("a page at the top", "index.html"),
        ("a device's name", "runs/con/entry.json"),
        ("a device's name with an ending", "runs/nul.txt/entry.json"),
        ("a name that ends in a point", "runs/a./entry.json"),
        ("a name that ends in a space", "runs/a /entry.json"),
        ("capital letters", "runs/A/entry.json"),
        ("too deep", "runs/a/b/entry.json"),
        ("a letter that only looks alike", "d\u0430tapackage.json"),
        ("a name turned around", f"{TURNED}.json"),
        ("no name", ""),
        ("a very long name", "runs/" + "a" * 5000 + "/entry.json"),
        ("a name that a terminal obeys", "\x1b]0;gone\x07.json"),
        ("another zip file in it", "runs/a/more.zip"),
    ):
        yield Hostile(f"path: {name}", partial(with_member, path), no_part)
    link = 0o120777 << 16
    yield Hostile(
        "a link for a file",
        lambda: with_member("runs/a/entry.json", b"/etc/passwd", external_attr=link),
        "link or a folder",
    )
    yield Hostile(
        "a folder for a file",
        lambda: with_member("runs/a/entry.json", external_attr=0o040755 << 16),
        "link or a folder",
    )
    yield Hostile(
        "a device for a file",
        lambda: with_member("runs/a/entry.json", external_attr=0o020666 << 16),
        "link or a folder",
    )
    yield Hostile(
        "a pipe for a file",
        lambda: with_member("runs/a/entry.json", external_attr=0o010666 << 16),
        "link or a folder",
    )
    yield Hostile("the same name twice", lambda: with_member("README.txt"), "twice")
    yield Hostile(
        "the descriptor twice", lambda: with_member("datapackage.json"), "twice"
    )
    yield Hostile("encrypted", lambda: flagged(0x1), "encrypted")
    yield Hostile("sizes behind the file", lambda: flagged(0x8), "does not pack")
    yield Hostile("names hidden", lambda: flagged(0x2000), "does not pack")
    for method in (1, 9, 12, 14, 93, 99):
        yield Hostile(
            f"packing method {method}", partial(by_method, method), "does not pack"
        )
    yield Hostile(
        "local name differs", lambda: local_only(30, b"x"), "not what the list says"
    )
    yield Hostile(
        "local check differs", lambda: local_only(14, b"xxxx"), "not what the list"
    )
    yield Hostile(
        "local size differs", lambda: local_only(22, b"\x01"), "not what the list says"
    )
    yield Hostile("local head gone", lambda: local_only(0, b"XX"), "not what the list")
    yield Hostile("stated larger than it is", lambda: sized(None, 80_000), "damaged")
    yield Hostile(
        "stated as four gigabytes", lambda: sized(None, 2**32 - 2), "may have"
    )
    yield Hostile("stated smaller than it is", lambda: sized(None, 10), "damaged")
    text = tables()["README.txt"]
    for name, packed_bytes, stored in (
        ("goes on behind its size", deflated(text + bytes(50_000_000)), False),
        ("goes on behind its end", deflated(text) + b"#!/bin/sh\n", False),
        ("stops before its end", deflated(text)[:-3], False),
        ("stored, and goes on behind its size", text + b"more", True),
    ):
        yield Hostile(
            f"a file that {name}",
            partial(repacked, text, packed_bytes, stored=stored),
            "damaged",
        )
    yield Hostile("two lists of files", two_lists, "not where it says")
    for name, top in (
        ("", ""),
        (" with a folder", "bundle"),
        (" by a Mac", "__MACOSX"),
    ):
        yield Hostile(
            f"zipped again{name}",
            partial(by_hand, top),
            "unpacked and zipped again",
        )
    yield Hostile("overlapping files", overlapping, "no part of a bundle")
    yield Hostile("one piece under two names", same_bytes_twice, "overlap")
    yield Hostile("bytes between files and list", with_gap, "between its files")
    yield Hostile("a script before it", prefixed, "not where it says")
    yield Hostile("a script before it, places set right", prefixed_and_moved, "overlap")
    yield Hostile(
        "something behind it", lambda: together(tables()) + b"more", "does not end"
    )
    yield Hostile("a comment", lambda: at_end(20, "<H", 4), "with a comment")
    yield Hostile("in parts", lambda: at_end(4, "<H", 1), "in parts")
    yield Hostile("a count that lies", lambda: at_end(10, "<H", 60_000), "in parts")
    yield Hostile("a list elsewhere", lambda: at_end(16, "<I", 5), "not where it says")
    yield Hostile("cut in the middle", lambda: cut(0.5), "does not end")
    yield Hostile("cut by one byte", lambda: together(tables())[:-1], "does not end")
    yield Hostile("damaged", damaged, "damaged")
    yield Hostile("empty", lambda: b"", "does not end")
    yield Hostile("no bytes of a zip file", lambda: bytes(5000), "does not end")
    yield Hostile("noise", lambda: random.Random(3).randbytes(90_000), "does not end")
    yield Hostile("a tar file", tar_file, "does not end")
    yield Hostile("a packed stream", lambda: zlib.compress(b"x" * 99), "does not end")
    yield Hostile(
        "a web page", lambda: b"<!doctype html>" + SCRIPT.encode(), "does not end"
    )
    yield Hostile("an empty zip file", lambda: together({}), "datapackage.json is miss")
    yield Hostile(
        "bomb: a log of nothing",
        lambda: bomb("wire.log", 60_000_000),
        "times its size",
    )
    yield Hostile(
        "bomb: a table of nothing", lambda: bomb("glides.csv", 7_000_000), "times its"
    )
    yield Hostile(
        "bomb: a page of nothing", lambda: bomb("report.html", 19_000_000), "times its"
    )
    yield Hostile(
        "bomb: a file too large", lambda: bomb("glides.csv", 9_000_000), "may have"
    )
    yield Hostile("bomb: many files", bomb_of_many, "it unpacks to")
    yield Hostile("bomb: a slim one", slim_bomb, "times its size")
    yield Hostile("more files than there are", too_many, "and a bundle at most")
