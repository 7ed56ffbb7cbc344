"""``gramwatt firmware``: everything for a board that becomes a stand, in a folder."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict

if TYPE_CHECKING:
    from collections.abc import Mapping

    from daq.firmware.constants import Constants, Scale

DEFAULT_BAUD = 500_000
# Full scales, in SI, that a stand for very small multirotors may have: beyond them a
# value of the file was probably meant in another unit. Common practice, no source.
PLAUSIBLE = {"current": (5.0, 200.0), "voltage": (5.0, 60.0), "thrust": (1.0, 400.0)}
BAUDS = (115_200, 250_000, 500_000, 1_000_000)
CAUTIONS = (
    "Propeller off, arming plug out, pack unplugged: while a board is written to, its "
    "pins do as they like.",
    "This firmware has not yet run on a real chip. Follow README.md, section 8, in its "
    "order, with the propeller off until its last line.",
)


class Done(TypedDict, total=False):
    """What was done, as ``--json`` prints it."""

    files: dict[str, str]
    channels: list[dict[str, object]]
    doubts: list[str]
    images: list[dict[str, object]]
    commands: list[dict[str, str]]
    cautions: list[str]


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "firmware",
        help="the firmware of a stand to build, its pages and constants, in a folder",
        description=(
            "Put into FOLDER what makes a stand of an ATmega328P board: the sketch for "
            "the Arduino IDE, the page for builders with the wiring, and a constants "
            "file to fill in. Nothing is written to any board."
        ),
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path)
    parser.add_argument(
        "--constants",
        type=Path,
        metavar="FILE",
        help="filled in: also what puts them into the board's EEPROM",
    )
    parser.add_argument(
        "--hex",
        action="store_true",
        help="also compile with avr-gcc, and say what to type for avrdude",
    )
    parser.add_argument(
        "--baud",
        type=int,
        choices=BAUDS,
        help="of the line, with --hex (default: 500000)",
    )
    parser.add_argument(
        "--replace",
        action="store_true",
        help="replace files that differ; the old ones are kept as NAME.old",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Lay it out; nothing is written when something in it is wrong.

    Raises:
        GramwattError: constants that cannot be, files that may not be replaced, no
            compiler.
    """
    from daq.errors import InputFault
    from daq.firmware import kit
    from daq.firmware.constants import read_constants

    if args.baud is not None and not args.hex:
        raise InputFault(
            f"--baud {args.baud} goes with --hex; the sketch for the Arduino IDE "
            f"always speaks {DEFAULT_BAUD} baud."
        )

    # All that can be wrong with what was typed, before anything is written.
    constants = None if args.constants is None else read_constants(args.constants)
    laid = kit.lay_out(args.folder, replace=args.replace)
    done = Done(
        files={str(one.path): one.done for one in laid}, cautions=list(CAUTIONS)
    )
    if constants is not None:
        for path in kit.put_constants(args.folder, constants):
            done["files"][str(path)] = "written"
        done["channels"] = _channels(constants)
        done["doubts"] = _doubts(constants)
    if args.hex:
        done["images"] = _compiled(args.folder, args.baud or DEFAULT_BAUD)
        has_constants = (args.folder / kit.KEPT_IMAGE).exists()
        done["commands"] = [
            {"for": what, "type": command}
            for what, command in kit.to_type(args.folder, constants=has_constants)
        ]
    if args.json:
        import json

        print(json.dumps(done))
    else:
        _print(done, args.folder)
    return 0


def _channels(constants: Constants) -> list[dict[str, object]]:
    from daq.firmware.constants import scales

    return [
        {
            "name": scale.channel,
            "counts_per_unit": scale.counts_per_unit,
            "zero_counts": scale.zero_counts,
            **_reach(scale),
            "standard_uncertainty_percent": None
            if scale.u_rel is None
            else 100 * scale.u_rel,
        }
        for scale in scales(constants)
    ]


def _reach(scale: Scale) -> dict[str, float]:
    """How far a channel of the file's parts can read, and its step, in SI."""
    from daq.firmware.constants import CELL_TOP_COUNTS, COUNTS_A_STEP, TOP_COUNTS

    if scale.channel == "thrust":
        return {"reads_to": CELL_TOP_COUNTS / abs(scale.counts_per_unit)}
    if scale.channel in PLAUSIBLE:
        return {
            "reads_to": (TOP_COUNTS - scale.zero_counts) / scale.counts_per_unit,
            "step": COUNTS_A_STEP / scale.counts_per_unit,
        }
    return {}


def _doubts(constants: Constants) -> list[str]:
    """What in the file can be, but is hardly meant."""
    from daq.firmware.constants import scales
    from protocols.limits import brief, to_trade

    doubts = []
    for scale in scales(constants):
        reach = _reach(scale).get("reads_to")
        low, high = PLAUSIBLE.get(scale.channel, (0.0, 0.0))
        if reach is not None and not low <= reach <= high:
            shown, unit = to_trade(scale.channel, reach)
            doubts.append(
                f"Look at [{scale.channel}] again: by it the stand reads "
                f"{scale.channel} up to {brief(shown)} {unit}. Is a value in another "
                "unit than its name says? A limit would act at the wrong place."
            )
    capacity_g, reach_n = constants.thrust.capacity_g, _reach(scales(constants)[7])
    reach_gf, _ = to_trade("thrust", reach_n["reads_to"])
    if capacity_g is not None and reach_gf < capacity_g:
        doubts.append(
            f"Look at [thrust] again: the converter ends at {brief(reach_gf)} gf, "
            f"before the cell's {brief(capacity_g)} g. Is sensitivity_mv_per_v right?"
        )
    return doubts


def _compiled(folder: Path, baud: int) -> list[dict[str, object]]:
    """Images and what they take.

    Raises:
        WorldFault: there is no compiler; everything else is there already.
    """
    from daq.errors import WorldFault
    from daq.firmware import build, kit

    try:
        images = kit.put_images(folder, baud)
    except WorldFault as fault:
        raise WorldFault(
            f"{str(fault).rstrip()}. The sketch in {folder / build.SKETCH} is there "
            "all the same, and the Arduino IDE compiles it."
        ) from None
    return [
        {
            "file": str(path),
            "flash_bytes": size.flash_bytes,
            "flash_of_bytes": build.FLASH_BYTES,
            "ram_bytes": size.ram_bytes,
            "ram_of_bytes": build.RAM_BYTES,
        }
        for path, size in images
    ]


def _print(done: Done, folder: Path) -> None:
    from ui.cli.text import labelled

    for path, what in done["files"].items():
        if what != "same":
            note = {
                "kept": "yours, left as it was",
                "replaced": "replaced; what was there is now beside it, as .old",
            }
            print(f"{path}  {note.get(what, what)}")
    if all(what == "same" for what in done["files"].values()):
        print(f"{folder} holds all of it already, as this version has it.")
    for channel in done.get("channels", []):
        u = channel["standard_uncertainty_percent"]
        known = f"standard uncertainty {u:.2g} %" if u else "nobody knows how good"
        reads = _range(channel)
        print(
            f"  {channel['name']:<13}{channel['counts_per_unit']:<11.8g} counts "
            f"a unit, {channel['zero_counts']} at zero, {known}{reads}"
        )
    for doubt in done.get("doubts", []):
        print(labelled("WARNING", doubt))
    for image in done.get("images", []):
        print(
            f"{image['file']}: flash {image['flash_bytes']} bytes of "
            f"{image['flash_of_bytes']}, RAM {image['ram_bytes']} of "
            f"{image['ram_of_bytes']} without the stack"
        )
    _print_what_to_type(done)
    print()
    for caution in done["cautions"]:
        print(caution)


def _range(channel: Mapping[str, object]) -> str:
    """How far it reads, where that follows from the file."""
    from protocols.limits import brief, to_trade

    name, reach, step = (
        str(channel["name"]),
        channel.get("reads_to"),
        channel.get("step"),
    )
    if not isinstance(reach, float):
        return ""
    shown, unit = to_trade(name, reach)
    steps = (
        f" in steps of {brief(1e3 * step)} m{unit}" if isinstance(step, float) else ""
    )
    return f"; reads to {brief(shown)} {unit}{steps}"


def _print_what_to_type(done: Done) -> None:
    if "commands" not in done:
        return
    print("\nTo put it on a board ('gramwatt ports' lists PORT; nothing was run):")
    for step in done["commands"]:
        print(f"  {step['for']}:\n    {step['type']}")
