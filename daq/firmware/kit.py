"""What a builder gets in a folder: sketch, pages, constants, images, what to type.

It must never replace what a person may have changed without being told to, and then it
keeps the old file.
"""

import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from daq.errors import InputFault, WorldFault
from daq.firmware import build
from daq.firmware.constants import TEMPLATE, Constants, intel_hex, kept

LINK_PAGE = build.HERE.parent / "link" / "README.md"
CONSTANTS, IMAGE = "constants.toml", "stand-atmega328p.hex"
KEPT_IMAGE, WRITER_IMAGE = "constants.eep", "constants.hex"
OLD = ".old"


@dataclass(frozen=True, slots=True)
class Laid:
    """One file of the folder.

    Attributes:
        path: where it is.
        done: ``new``, ``same``, ``replaced`` (the old one kept beside it), or ``kept``
            (a person's, left as it was).
    """

    path: Path
    done: str


def _pages() -> Iterator[tuple[str, bytes]]:
    """The page for builders and what it points to, with the pointers right."""
    page = (build.HERE / "README.md").read_text("utf-8")
    page = page.replace("(../link/README.md)", "(link.md)")
    for name in ("DEVELOPERS.md", "README.md"):  # of the project: not in the folder
        page = page.replace(f"](../../{name})", "]")
    yield "README.md", page.encode()
    yield "link.md", LINK_PAGE.read_bytes()
    yield "wiring.svg", (build.HERE / "wiring.svg").read_bytes()


def lay_out(folder: Path, *, replace: bool = False) -> list[Laid]:
    """Put sketch, pages and an empty constants file into a folder.

    Args:
        folder: where; made when it is not there.
        replace: whether files that differ from these are replaced. The old ones are
            kept beside them. A constants file that is there always stays.

    Raises:
        InputFault: files are there that differ, and may not be replaced.
        WorldFault: it cannot be written.
    """
    wanted = {folder / name: content for name, content in _pages()}
    wanted |= {
        folder / build.SKETCH / source.name: source.read_bytes()
        for source in build.sketch_sources()
    }
    differ = [
        path
        for path, content in wanted.items()
        if path.exists() and path.read_bytes() != content
    ]
    if differ and not replace:
        names = ", ".join(str(path.relative_to(folder)) for path in differ[:3])
        more = f" and {len(differ) - 3} more" if len(differ) > 3 else ""
        raise InputFault(
            f"{folder} holds {names}{more}, not as this version has them. Take another "
            f"folder, or add --replace: the old ones are then kept as NAME{OLD}."
        )
    try:
        laid = [_put(path, content) for path, content in wanted.items()]
        own = folder / CONSTANTS
        if own.exists() and own.read_bytes() != TEMPLATE.read_bytes():
            return [*laid, Laid(own, "kept")]
        return [*laid, _put(own, TEMPLATE.read_bytes())]
    except OSError as fault:
        raise WorldFault(f"{folder} cannot be written: {fault.strerror}.") from None


def _put(path: Path, content: bytes) -> Laid:
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        return Laid(path, "new")
    if path.read_bytes() == content:
        return Laid(path, "same")
    # Out of the sketch's way: the IDE compiles every .c in its folder.
    path.replace(_free(path))
    path.write_bytes(content)
    return Laid(path, "replaced")


def _free(path: Path) -> Path:
    """A name for the old file that no older one has."""
    old, number = path.with_name(path.name + OLD), 1
    while old.exists():
        number += 1
        old = path.with_name(f"{path.name}{OLD}{number}")
    return old


def put_constants(folder: Path, constants: Constants) -> list[Path]:
    """Write a stand's constants: for a programmer, and as a sketch that writes them.

    Raises:
        WorldFault: it cannot be written.
    """
    blocks = kept(constants)
    made = folder / KEPT_IMAGE
    try:
        made.write_text(intel_hex(blocks), "ascii")
        return [made, build.constants_sketch(folder, blocks)]
    except OSError as fault:
        raise WorldFault(f"{made} cannot be written: {fault.strerror}.") from None


def put_images(folder: Path, baud: int) -> list[tuple[Path, build.Size]]:
    """Compile: the stand, and the writer of constants where its sketch is there.

    Raises:
        WorldFault: the compiler is not there, or it does not compile.
    """
    images = [build.chip(folder, baud=baud, strict=False)]
    sketch = folder / build.CONSTANTS_SKETCH
    if sketch.exists():
        images.append(build.constants_writer(folder, sketch))
    return [(build.as_hex(image), build.size_of(image)) for image in images]


def to_type(folder: Path, *, constants: bool) -> list[tuple[str, str]]:
    """The commands that put it all on a board: what for, and what to type.

    Args:
        folder: as it was laid out.
        constants: whether there are constants to be written.
    """

    def avrdude(how: str, memory: str, name: str) -> str:
        file = shlex.quote(f"{memory}:w:{folder / name}:i")
        return f"avrdude -p m328p {how} -U {file}"

    boot_loader, programmer = "-c arduino -P PORT -b 115200", "-c PROGRAMMER"
    steps = []
    if constants:
        what = "constants, by the boot loader (wait until the LED stays on)"
        steps.append((what, avrdude(boot_loader, "flash", WRITER_IMAGE)))
    steps.append(("firmware, by the boot loader", avrdude(boot_loader, "flash", IMAGE)))
    steps.append(("or with a programmer", avrdude(programmer, "flash", IMAGE)))
    if constants:
        what = "and its constants, after the firmware"
        steps.append((what, avrdude(programmer, "eeprom", KEPT_IMAGE)))
    return steps
