"""Builds the firmware: for this computer, for the chip, and the emulator around it.

``python -m daq.firmware.build FOLDER`` builds what the compilers on this machine
allow, says what it built and how large it is, and what to install for the rest.
"""

import argparse
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from daq.errors import GramwattError, WorldFault

HERE = Path(__file__).parent
WARNINGS = ("-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror", "-std=c11")
SANITIZERS = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")
CLOCK_HZ = 16_000_000
BAUD = 500_000
FOR_THE_CHIP = (
    *("-O2", "-flto", "-g", "-mmcu=atmega328p", f"-DF_CPU={CLOCK_HZ}UL"),
    *("-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections", "-Wl,--relax"),
)
ARDUINO = Path("/usr/share/arduino/hardware/arduino/avr")
# As its platform.txt has them.
ARDUINO_FLAGS = (
    *("-c", "-g", "-Os", "-w", "-ffunction-sections", "-fdata-sections", "-flto"),
    *("-mmcu=atmega328p", f"-DF_CPU={CLOCK_HZ}L", "-DARDUINO=10807"),
    *("-DARDUINO_AVR_UNO", "-DARDUINO_ARCH_AVR"),
)
ARDUINO_CXX_FLAGS = (
    *("-std=gnu++11", "-fpermissive", "-fno-exceptions", "-fno-threadsafe-statics"),
    "-DDECIMAL_DIG=__DECIMAL_DIG__",  # the core is older than the compiler's headers
)
EMULATOR_HEADERS = Path("/usr/include/simavr")
SKETCH, CONSTANTS_SKETCH = "gramwatt_stand", "gramwatt_constants"
FLASH_BYTES = 32_768
RAM_BYTES = 2_048
RAM_AT = 0x80_0000  # where the linker puts data memory
DEBIAN = "apt install gcc gcc-avr avr-libc libsimavr-dev arduino-core-avr"


@dataclass(frozen=True, slots=True)
class Size:
    """What an image takes of the chip.

    Attributes:
        flash_bytes: program and constants.
        ram_bytes: everything but the stack.
    """

    flash_bytes: int
    ram_bytes: int


def _run(command: Sequence[str | Path]) -> str:
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise WorldFault(f"{command[0]} failed:\n{done.stderr}")
    return done.stdout


def tool(name: str) -> str:
    """Where a program is.

    Raises:
        WorldFault: it is not installed.
    """
    found = shutil.which(name)
    if found is None:
        raise WorldFault(f"{name} is not installed; on Debian: {DEBIAN}")
    return found


def _sources(root: Path, board: str) -> list[str | Path]:
    core = root / "core"
    return [f"-I{core}", *sorted(core.glob("*.c")), root / "boards" / board]


def host(folder: Path, *, root: Path = HERE) -> Path:
    """The core on this computer, with sanitizers.

    Args:
        folder: where to put it.
        root: of the sources.

    Raises:
        WorldFault: there is no compiler, or it does not compile.
    """
    made = folder / "stand-host"
    # Its line takes no time: what came is dealt with at once.
    options = [*WARNINGS, "-O1", "-g", *SANITIZERS, "-DGW_BYTES_A_POLL=255"]
    _run([tool("gcc"), *options, *_sources(root, "host.c"), "-o", made, "-lm"])
    return made


def chip(
    folder: Path, *, root: Path = HERE, baud: int = BAUD, strict: bool = True
) -> Path:
    """The image for an ATmega328P at 16 MHz.

    Args:
        folder: where to put it.
        root: of the sources.
        baud: of its line.
        strict: whether a warning is an error: not with a compiler that nobody tried.

    Raises:
        WorldFault: there is no cross compiler, or it does not compile.
    """
    made = folder / "stand-atmega328p.elf"
    warnings = [w for w in WARNINGS if strict or w != "-Werror"]
    options = [*warnings, "-Werror=misspelled-isr", *FOR_THE_CHIP]
    options.append(f"-DGW_BAUD={baud}UL")
    sources = _sources(root, "atmega328p.c")
    _run([tool("avr-gcc"), *options, *sources, "-o", made, "-lm"])
    return made


def sketch_sources(root: Path = HERE) -> list[Path]:
    """What the sketch of a stand is made of."""
    return [
        *sorted((root / "core").glob("*.[ch]")),
        root / "boards" / "atmega328p.c",
        root / "arduino" / f"{SKETCH}.ino",
    ]


def sketch(folder: Path, *, root: Path = HERE) -> Path:
    """A folder that the Arduino IDE opens: everything in one place, as it wants it.

    Args:
        folder: where to put it.
        root: of the sources.
    """
    made = folder / SKETCH
    made.mkdir(parents=True, exist_ok=True)
    for source in sketch_sources(root):
        shutil.copy(source, made)
    return made


def constants_sketch(folder: Path, blocks: Mapping[int, bytes]) -> Path:
    """A sketch that writes constants into a board's EEPROM.

    Args:
        folder: where to put it.
        blocks: what to write, by address.
    """
    made = folder / CONSTANTS_SKETCH
    made.mkdir(parents=True, exist_ok=True)
    for source in (HERE / "arduino").glob(f"{CONSTANTS_SKETCH}.*"):
        shutil.copy(source, made)
    own = b"".join(blocks.values())
    places, begin = [], 0
    for address, data in blocks.items():
        places.append(f"{{{address}, {begin}, {len(data)}}}")
        begin += len(data)
    text = (
        "/* Made by `gramwatt firmware`, for one stand. */\n"
        f"#define OWN_BYTES {', '.join(f'0x{byte:02X}' for byte in own)}\n"
        f"#define OWN_BLOCKS {', '.join(places)}\n"
    )
    (made / "own_constants.h").write_text(text, "ascii")
    return made


def constants_writer(folder: Path, sketch: Path) -> Path:
    """The image of such a sketch.

    Args:
        folder: where to put it.
        sketch: as ``constants_sketch`` made it.

    Raises:
        WorldFault: there is no cross compiler, or it does not compile.
    """
    made = folder / "constants.elf"
    source = sketch / f"{CONSTANTS_SKETCH}.c"
    warnings = [w for w in WARNINGS if w not in ("-Werror", "-std=c11")]
    options = [*warnings, "-std=gnu11", *FOR_THE_CHIP]
    _run([tool("avr-gcc"), *options, source, "-o", made])
    return made


def as_hex(image: Path) -> Path:
    """An image as avrdude wants it: Intel HEX, flash only.

    Raises:
        WorldFault: the tool is not installed.
    """
    made = image.with_suffix(".hex")
    _run([tool("avr-objcopy"), "-O", "ihex", "-R", ".eeprom", image, made])
    return made


def arduino(folder: Path, *, root: Path = HERE) -> Path:
    """The same image as the Arduino IDE makes it: its flags, its core linked in.

    Args:
        folder: where to put it.
        root: of the sources.

    Raises:
        WorldFault: compiler or core are not there, or it does not compile.
    """
    if not (ARDUINO / "cores").exists():
        raise WorldFault("arduino-core-avr is not installed; on Debian: " + DEBIAN)
    parts = folder / "arduino"
    parts.mkdir(parents=True, exist_ok=True)
    core = ARDUINO / "cores" / "arduino"
    opened = sketch(folder, root=root)
    shutil.copy(opened / "gramwatt_stand.ino", opened / "gramwatt_stand.cpp")
    common = [*ARDUINO_FLAGS, f"-I{core}", f"-I{ARDUINO / 'variants' / 'standard'}"]
    objects = []
    for source in sorted(
        (*core.glob("*.c"), *core.glob("*.cpp"), *opened.glob("*.c*"))
    ):
        made = parts / f"{source.parent.name}-{source.name}.o"
        cxx = source.suffix == ".cpp"
        flags = ARDUINO_CXX_FLAGS if cxx else ("-std=gnu11",)
        _run(
            [tool("avr-g++" if cxx else "avr-gcc"), *common, *flags, source, "-o", made]
        )
        objects.append(made)
    mine = [made for made in objects if made.name.startswith(opened.name)]
    archive = parts / "core.a"
    _run([tool("avr-gcc-ar"), "rcs", archive, *(o for o in objects if o not in mine)])
    image = folder / "stand-arduino.elf"
    link = ["-Os", "-g", "-flto", "-fuse-linker-plugin", "-Wl,--gc-sections"]
    _run(
        [tool("avr-gcc"), *link, "-mmcu=atmega328p", "-o", image, *mine, archive, "-lm"]
    )
    return image


def emulator(folder: Path) -> Path:
    """The bench around an emulated chip.

    Raises:
        WorldFault: the emulator's library is not there, or it does not compile.
    """
    made = folder / "bench"
    source = HERE / "emulator" / "bench.c"
    if not (EMULATOR_HEADERS / "sim_avr.h").exists():
        raise WorldFault(f"libsimavr is not installed; on Debian: {DEBIAN}")
    options = ["-std=gnu11", "-Wall", "-Wextra", "-O2", f"-I{EMULATOR_HEADERS}"]
    _run([tool("gcc"), *options, source, "-o", made, "-lsimavr", "-lm"])
    return made


def emulated(bench: Path, image: Path, baud: int = BAUD) -> list[str]:
    """The command that runs an image on the bench.

    Args:
        bench: as ``emulator`` built it.
        image: as ``chip`` built it.
        baud: of the line.

    Raises:
        WorldFault: a tool is not installed.
    """
    rows = (line.split() for line in _run([tool("avr-nm"), image]).splitlines())
    symbols = {row[2]: int(row[0], 16) for row in rows if len(row) == 3}
    stack_from = symbols["_end"] - RAM_AT
    hang_at = symbols["stand_poll"]
    return [str(bench), str(image), str(baud), f"{stack_from:x}", f"{hang_at:x}"]


def size_of(image: Path) -> Size:
    """What an image for the chip takes.

    Raises:
        WorldFault: the tool is not installed.
    """
    text = _run([tool("avr-size"), "-A", image])
    rows = {
        w[0]: int(w[1])
        for w in map(str.split, text.splitlines())
        if len(w) == 3 and w[1].isdigit()
    }
    data = rows.get(".data", 0)
    ram = data + rows.get(".bss", 0) + rows.get(".noinit", 0)
    return Size(rows.get(".text", 0) + data, ram)


def main() -> int:
    """Build everything that can be built here."""
    parser = argparse.ArgumentParser(prog="python -m daq.firmware.build")
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    status = 0
    for make in (host, chip, arduino, emulator):
        try:
            made = make(folder)
        except GramwattError as fault:
            print(f"{make.__name__}: {fault}")
            status = 1
            continue
        print(f"{make.__name__}: {made}")
        if make in (chip, arduino):
            size = size_of(made)
            print(
                f"  flash {size.flash_bytes} bytes of {FLASH_BYTES}, "
                f"RAM {size.ram_bytes} of {RAM_BYTES} without the stack"
            )
    return status


if __name__ == "__main__":
    sys.exit(main())
