"""``gramwatt calibrate``: a channel held against masses or a meter; never arms."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ui.cli.findings import add_calibration_option
from ui.cli.language import add_language_options, baud_of, described
from ui.cli.simulate import add_stand_options

if TYPE_CHECKING:
    from daq.calibration.meter import Meter
    from daq.calibration.reference import Reference
    from daq.calibration.value import Bias, Calibration

FEWEST_POINTS: Final = 3
MOST_POINTS: Final = 40
USUAL_METER: Final = "0.5% + 2 x 0.01"
NOT_PASSED: Final = 1


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "calibrate",
        help="calibrate thrust with masses, current or voltages with a meter",
        usage=(
            "gramwatt calibrate PORT CHANNEL [options]\n"
            "       gramwatt calibrate --simulated CHANNEL [options]\n"
            "       gramwatt calibrate --list | --show ID | --example-standards\n"
            "       gramwatt calibrate --compare FIRST SECOND --changed WORDS"
        ),
        description=(
            "Walk through a calibration step by step: what to set down or to set, when "
            "it is steady, up and down and set down anew. What comes out is kept, and "
            "used by the next spin on that stand. Nothing turns meanwhile. CHANNEL is "
            "thrust, current or voltage; pack-voltage, plug-plus or plug-minus where "
            "the stand reads them, the latter two against a meter in millivolt where "
            "their sense wires sit, or across a known resistor (--load-ohm)."
        ),
    )
    parser.add_argument(
        "target", nargs="*", metavar="PORT CHANNEL", help="which port, which channel"
    )
    parser.add_argument(
        "--simulated",
        action="store_true",
        help="on a simulated stand, with somebody who sets down its masses",
    )
    add_stand_options(parser)
    add_language_options(parser)
    _add_standards(parser)
    parser.add_argument(
        "--check",
        action="store_true",
        help="only zero, one known value and zero, against the kept calibration",
    )
    parser.add_argument(
        "--resume",
        metavar="FILE",
        type=Path,
        help="go on from what an abandoned calibration had read",
    )
    parser.add_argument(
        "--temperature-c",
        type=float,
        metavar="T",
        help="of the room, where the standards file does not say",
    )
    parser.add_argument("--note", default="", help="anything worth remembering")
    parser.add_argument(
        "--out", metavar="FILE", type=Path, help="write the calibration there as well"
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--list", action="store_true", help="calibrations that are kept")
    what.add_argument("--show", metavar="ID", help="all that one of them says")
    what.add_argument(
        "--example-standards",
        action="store_true",
        help="print a standards file to copy",
    )
    what.add_argument(
        "--compare",
        nargs=2,
        metavar=("FIRST", "SECOND"),
        help="two calibrations, or two runs, in two mountings: what that changes",
    )
    add_calibration_option(parser)
    parser.add_argument(
        "--changed",
        metavar="WORDS",
        help='what was changed between them, such as "stand moved"',
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run, usage_fault=parser.error)
    return parser


def _add_standards(parser: argparse.ArgumentParser) -> None:
    """What the channel is held against."""
    parser.add_argument(
        "--standards", metavar="FILE", type=Path, help="masses or coins (TOML)"
    )
    parser.add_argument(
        "--series", type=int, default=3, help="how often masses are set down (3)"
    )
    parser.add_argument(
        "--hold-s",
        type=float,
        default=30.0,
        metavar="S",
        help="how long the most is left on for creep; 0: not at all (30)",
    )
    parser.add_argument(
        "--mass", metavar="NAME", help="for --check: which of the masses is set down"
    )
    parser.add_argument(
        "--meter",
        metavar="ACCURACY",
        help=(
            'as its maker states it, such as "0.5%% + 2 x 0.01"; one digit in '
            "millivolt for the plug"
        ),
    )
    parser.add_argument(
        "--meter-name",
        metavar="NAME",
        default="",
        help="which meter it is: channels held against one meter share its scale",
    )
    parser.add_argument(
        "--load-ohm",
        type=float,
        metavar="R",
        help=(
            "for current: the meter reads volts across this known load; for the plug: "
            "its sense wires sit across it, and the meter reads ampere"
        ),
    )
    parser.add_argument(
        "--load-u-ohm", type=float, metavar="U", help="standard uncertainty of it"
    )
    parser.add_argument(
        "--points", type=int, default=6, help="how many values are set (6)"
    )


def run(args: argparse.Namespace) -> int:
    """Calibrate, check, list, show or compare.

    Raises:
        GramwattError: an option, port, stand or reading is wrong, a sentence.
    """
    if args.example_standards:
        from daq.calibration.example import EXAMPLE

        print(EXAMPLE, end="")
        return 0
    if args.list:
        return _list(as_json=args.json)
    if args.show:
        return _tell(find(args.show), as_json=args.json)
    if args.compare:
        return _compare(args)
    return _walk(args)


# ------------------------------------------------------------------ the walk


def _walk(args: argparse.Namespace) -> int:
    from daq.errors import InputFault
    from ui.calibration_known import Known
    from ui.calibration_steps import UNITS
    from ui.cli.calibrate_walk import Walk

    wanted = 1 if args.simulated else 2
    if len(args.target) != wanted or args.target[-1] not in UNITS:
        some = ", ".join(UNITS)
        args.usage_fault(
            f"name a port and a channel, one of {some}"
            if not args.simulated
            else f"with --simulated name a channel, one of {some}, and no port"
        )
    for ok, words in (
        (
            not (args.simulated and args.lines),
            "--lines is for a port: the simulated stand here speaks in frames.",
        ),
        (1 <= args.series <= 20, f"--series is {args.series}; it must be 1 to 20."),
        (
            0.0 <= args.hold_s <= 3600.0,
            f"--hold-s is {args.hold_s:g}; it must be 0 to 3600.",
        ),
        (
            FEWEST_POINTS <= args.points <= MOST_POINTS,
            f"--points is {args.points}; it must be {FEWEST_POINTS} to {MOST_POINTS}.",
        ),
    ):
        if not ok:
            raise InputFault(words)
    warm = args.temperature_c
    if warm is not None and not -20.0 <= warm <= 60.0:
        raise InputFault(f"--temperature-c is {warm:g}; it must be -20 to 60.")
    channel = args.target[-1]
    by = masses(args) if channel == "thrust" else meter_of(args, channel)
    _, description = described(args.lines)
    walk = Walk(args, Known(channel, by), description)
    if args.simulated:
        return walk.on_simulated()
    return walk.on_port(args.target[0], baud_of(args.baud, description))


def masses(args: argparse.Namespace) -> Reference:
    """What thrust is held against.

    Raises:
        InputFault: no file was named, or what is wrong in it.
    """
    from daq.calibration.standards import masses_of
    from daq.errors import InputFault
    from ui.calibration_known import standards_in

    if args.standards is None and not args.simulated:
        raise InputFault(
            "Thrust is calibrated with masses: name their file with --standards FILE. "
            "'gramwatt calibrate --example-standards' prints one to copy."
        )
    standards = standards_in(args.standards)
    if args.check:  # a mass is set down by itself
        standards = standards.model_copy(update={"order": "one at a time"})
    return masses_of(standards)


def meter_of(args: argparse.Namespace, channel: str) -> Meter:
    """What current or voltage is held against.

    Raises:
        InputFault: nothing was said of the meter, or what cannot be.
    """
    from dataclasses import replace

    from daq.calibration.meter import meter_from
    from daq.errors import InputFault
    from ui.calibration_steps import POLES

    accuracy = args.meter
    if accuracy is None and args.simulated:
        accuracy = USUAL_METER
    if accuracy is None:
        in_mv = ", the digit in millivolt" if channel in POLES else ""
        raise InputFault(
            f"{channel.capitalize()} is calibrated with a meter: say how good it is, "
            f'as its maker does{in_mv}, with --meter "{USUAL_METER}".'
        )
    meter = replace(meter_from(accuracy), name=args.meter_name)
    if args.load_ohm is None:
        return meter
    if channel != "current" and channel not in POLES:
        raise InputFault(
            "--load-ohm is for current and for the plug: it turns volts into ampere."
        )
    u_ohm = args.load_u_ohm or 0.0
    return replace(meter, resistance_ohm=args.load_ohm, resistance_u_ohm=u_ohm)


# ------------------------------------------------------------------ what is kept


def find(name: str) -> Calibration:
    """A kept calibration by its identity, or one in a file.

    Raises:
        InputFault: there is none, or it cannot be read.
    """
    from daq.errors import InputFault
    from ui.calibrations import kept_calibrations, read_calibration

    path = Path(name)
    if path.suffix == ".json" or path.exists():
        return read_calibration(path)
    kept = kept_calibrations()
    found = [made for made in kept if made.id == name]
    if not found:
        known = ", ".join(made.id for made in kept) or "none"
        raise InputFault(f"No calibration {name} is kept; there are: {known}.")
    return found[0]


def _list(*, as_json: bool) -> int:
    from daq.calibration.trials import percent
    from daq.machine_clock import utc_now
    from daq.records.kept import folder
    from ui.calibration_words import shown
    from ui.calibrations import kept_calibrations, passed_checks
    from ui.cli.text import wrapped

    kept = kept_calibrations()
    if as_json:
        rows = [
            {
                "id": made.id,
                "channel": made.subject.channel,
                "stand": f"{made.subject.stand_id:08x}",
                "specimen": made.subject.specimen,
                "simulated": made.subject.simulated,
                "made_utc": made.made_utc,
                "range_si": [made.low_si, made.high_si],
                "u_rel": made.u_rel,
                "checks_passed_utc": passed_checks(made.id),
            }
            for made in kept
        ]
        print(json.dumps(rows))
        return 0
    if not kept:
        print(wrapped(f"No calibration is kept in {folder()}."))
        return 0
    now = utc_now()
    for made in kept:
        from daq.calibration.use import moment

        subject = made.subject
        days = (now - moment(made.made_utc, made.id)).total_seconds() / 86_400.0
        stand = subject.specimen or f"stand {subject.stand_id:08x}"
        simulated = "SIMULATED, " if subject.simulated else ""
        print(
            f"{made.id:<30} {simulated}{stand}, {days:.0f} days old, up to "
            f"{shown(subject.channel, made.largest_si)}, {percent(made.u_rel)}"
        )
    return 0


def _tell(made: Calibration, *, as_json: bool) -> int:
    from daq.calibration.text import to_dict
    from ui.calibration_words import told
    from ui.cli.text import labelled

    if as_json:
        print(json.dumps(to_dict(made)))
        return 0
    for label, words in told(made):
        print(labelled(label, words, width=14))
    return 0


def _compare(args: argparse.Namespace) -> int:
    """Two mountings; the second is kept again with what that changed."""
    from dataclasses import replace

    from daq.calibration.text import named, to_text
    from daq.calibration.trials import percent
    from daq.errors import InputFault
    from daq.records.kept import keep
    from ui.cli.text import labelled

    if not args.changed:
        raise InputFault(
            'Say what was changed between the two with --changed, such as "stand '
            'moved", "mount reversed" or "opposite rotation".'
        )
    second, bias = _apart(args)
    made = named(replace(second, biases=(*second.biases, bias)))
    path = keep(made.id, to_text(made))
    if args.json:
        said = {
            "id": made.id,
            "file": str(path),
            "changed": bias.what,
            "difference_rel": bias.difference_rel,
            "u_rel": bias.u_rel,
            "component_rel": bias.component_rel,
        }
        print(json.dumps(said))
        return 0
    more = "more" if bias.difference_rel >= 0.0 else "less"
    print(
        labelled(
            "difference",
            f"{args.changed}: the second gives {percent(abs(bias.difference_rel))} "
            f"{more}, known to {percent(bias.u_rel)} (standard uncertainty).",
            width=14,
        )
    )
    print(labelled("adds", f"{percent(bias.component_rel)} to thrust", width=14))
    print(labelled("kept", f"{made.id} in {path}", width=14))
    return 0


def _apart(args: argparse.Namespace) -> tuple[Calibration, Bias]:
    """The calibration that a difference belongs to, and the difference."""
    from daq.calibration.check import mounted
    from daq.records.wirelog import NAME
    from ui.cli.findings import given_calibrations
    from ui.mounted import runs_apart
    from ui.results import analyse_folder

    folders = [Path(name) for name in args.compare]
    if all((folder / NAME).is_file() for folder in folders):
        given = given_calibrations(args)
        first, second = (analyse_folder(folder, given) for folder in folders)
        return runs_apart(first, second, args.changed)
    before, after = (find(name) for name in args.compare)
    return after, mounted(before, after, args.changed)
