"""``gramwatt spin``: run a plan on a stand, under protection, and record it.

Starts a keeper, asks the checklist, says go, and shows the run. Ctrl-C stops
the motor, seals the record and says so. Deciding anything about the motor is
the keeper's business; this program only asks and beats.
"""

from __future__ import annotations

import argparse
import sys
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.language import add_language_options, baud_of, described
from ui.cli.plan import add_timed_option
from ui.cli.simulate import add_mounting_options, add_stand_options

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from ui.ordered import Order
    from ui.simulation import SimulatedStand

# The simulated load cell is a 1 kg one.
SIMULATED_LOAD_CELL_G = 1000.0


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "spin",
        help="run a plan on a stand, under protection, and record it",
        description=(
            "Identify the stand, prove its guards with the arming plug out, ask the "
            "checklist, take its zero, send the limits, prove the lease with the motor "
            "running, walk the plan, stop, seal the record and print the findings. "
            "Ctrl-C stops the motor at any time."
        ),
    )
    parser.add_argument(
        "protocol",
        metavar="PROTOCOL",
        help="a name from the catalogue, or the path of a .toml file",
    )
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--port", metavar="PORT", help="device path or pyserial URL")
    where.add_argument(
        "--simulated", action="store_true", help="on a simulated stand, started for it"
    )
    add_stand_options(parser)
    add_mounting_options(parser)
    parser.add_argument(
        "--faults",
        type=Path,
        metavar="FILE",
        help="what goes wrong with the simulated stand, and when, TOML",
    )
    add_language_options(parser)
    parser.add_argument(
        "--article", metavar="FILE", type=Path, help="what is tested (TOML)"
    )
    parser.add_argument(
        "--load-cell-g",
        metavar="GRAMS",
        type=float,
        help="rated load of the stand's load cell",
    )
    add_timed_option(parser)
    add_out_option(parser)
    parser.add_argument("--json", action="store_true", help="print JSON at the end")
    parser.set_defaults(run=run)
    return parser


def add_out_option(parser: argparse.ArgumentParser) -> None:
    """Where runs go, for any command that makes one."""
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        default=Path("runs"),
        help="folder for the run's folder (default: runs)",
    )


def run(args: argparse.Namespace) -> int:
    """Spin; 0 completed, 1 stopped or failed, 3 tripped.

    Raises:
        GramwattError: protocol, article, limits, port, folder or checklist.
    """
    from daq.errors import InputFault
    from ui.articles import example_article
    from ui.cli.plan import chosen_article
    from ui.ordered import order_for
    from ui.simulated_scale import specimen_of
    from ui.simulation import SimulatedStand

    if args.port and args.article is None:
        raise InputFault(
            "A spin on a port needs --article FILE: limits come from its ratings. "
            f"An example to copy: {example_article()}."
        )
    if args.port and args.load_cell_g is None:
        raise InputFault(
            "A spin on a port needs --load-cell-g GRAMS, the rated load of the stand's "
            "load cell, for its thrust limit."
        )
    load_cell_g = args.load_cell_g
    if load_cell_g is None:
        load_cell_g = SIMULATED_LOAD_CELL_G
    article = chosen_article(args.article)
    lines, description = described(args.lines)
    baud = baud_of(args.baud, description)
    order = order_for(args.protocol, article, load_cell_g, args.timed, lines)
    if args.simulated:
        order = replace(order, specimen=specimen_of(args.truth, args.seed))
    spin = Spin(order)
    if args.port:
        return spin.on(args.port, baud, args.out, as_json=args.json)
    stand = SimulatedStand(
        truth=args.truth,
        faults=args.faults,
        seed=args.seed,
        plug_in=False,
        bare=order.plan.propeller_off,
        lines=args.lines,
        specimen=args.specimen,
        mounting=args.mounting,
        mating=args.mating,
        capacitor=not args.no_capacitor,
    )
    with closing(stand):
        return spin.on(stand.port, baud, args.out, own=stand, as_json=args.json)


@dataclass(slots=True)
class Spin:
    """One spin to do.

    Attributes:
        order: what is spun.
        folder: the run's folder, once there is one.
        outcome: how it ended, once it has.
        how_far: how far it came, in sentences, where it was cut.
        clears: what has to be so before its trip is acknowledged, a clause.
        alarmed: every danger that was told while it went on.
        tried: a part of the proof was begun, so that its page has something to tell.
    """

    order: Order
    folder: Path | None = None
    outcome: Mapping[str, object] | None = None
    how_far: tuple[str, ...] = ()
    clears: str = ""
    alarmed: Collection[str] = ()
    tried: bool = False

    def on(
        self,
        port: str,
        baud: int,
        out: Path,
        *,
        own: SimulatedStand | None = None,
        as_json: bool,
    ) -> int:
        """Do it on a port and return the exit status.

        Args:
            port: what to open.
            baud: symbols a second.
            out: folder for the run's folder.
            own: the simulated stand that this program started on that port; only
                then is the checklist waived, and plug and loop are moved for it.
            as_json: print JSON at the end and nothing before.

        Raises:
            GramwattError: port or folder cannot be opened, or the checklist.
        """
        from daq.machine_clock import MachineClock
        from ui.cli.show import Show
        from ui.client import KeeperClient

        if not as_json:
            self._introduce(port, own=own is not None)
        client = KeeperClient(self.order.start(port, baud, out, own=own is not None))
        self.folder = client.folder
        show = Show(self.order, client, MachineClock(), own=own, quiet=as_json)
        self.outcome = show.until_the_end()
        self.how_far, self.alarmed = show.how_far, show.alarmed
        self.tried = show.tried
        self.clears = show.clears(str(self.outcome.get("check")))
        return self._report_end(as_json=as_json)

    def _introduce(self, port: str, *, own: bool) -> None:
        """What is about to be done, before a port is opened."""
        from protocols.preview import preview
        from ui.cautions import UNPROTECTED, lacks_of
        from ui.cli.text import labelled

        article, task = self.order.article, self.order.task
        plan = task.plan
        seen = preview(plan, article, task.limits, task.rules)
        print(labelled("port", port))
        print(labelled("article", article.name))
        asks = (
            f"up to {100 * plan.max_throttle_frac:.0f} % throttle; estimated "
            f"{seen.peak_current_a:.1f} A at most, {seen.takes()}"
        )
        if plan.by_hand:
            asks = "nothing is armed; a load is switched by hand"
        print(labelled("plan", f"{plan.title}: {seen.time_words()}, {asks}"))
        for limit in task.limits:
            print(labelled("limit", f"{limit.channel}: {limit.source}"))
        for burst in task.rules.bursts:
            print(labelled("timed", f"{burst.part}: {burst.source}"))
        for warning in seen.warnings:
            print(labelled("warning", warning))
        self._tell_scales(own=own)
        if task.stand is not None:
            print(labelled("UNPROTECTED", UNPROTECTED))
            for words in lacks_of(task.stand):
                print(labelled("", words))

    def _tell_scales(self, *, own: bool) -> None:
        """By what counts will become units, as far as it is known before."""
        from ui.calibrations import that_may_serve
        from ui.cli.text import labelled

        specimen = self.order.specimen if own else ""
        kept = that_may_serve(own=own, specimen=specimen)
        for made in kept:
            stand = "" if own else f", on stand {made.subject.stand_id:08x}"
            words = f"{made.subject.channel} by {made.id}{stand}"
            print(labelled("scale", words))
        if not kept:
            words = "by the stand's own constants; 'gramwatt calibrate' betters that"
            print(labelled("scale", words))

    def _report_end(self, *, as_json: bool) -> int:
        from ui.cli.ending import alarm, exit_status, tell_end, tell_last
        from ui.dangers import danger_in

        outcome = self.outcome or {}
        status = exit_status(outcome)
        if self.folder is None:
            return status
        worth_it = self.tried or outcome.get("data") != "none"
        unprotected = self.order.task.stand is not None
        danger = danger_in(outcome, unprotected=unprotected)
        if danger and danger not in self.alarmed:
            alarm(danger)
        if as_json:
            self._print_json(outcome, worth_it=worth_it)
            return status
        tell_end(
            outcome,
            self.folder,
            self.how_far,
            self.clears,
            unprotected=unprotected,
        )
        if worth_it:
            status = self._tell_findings(self.folder, status)
        tell_last(outcome, unprotected=unprotected)
        return status

    def _tell_findings(self, folder: Path, status: int) -> int:
        """What can be made of it; the run ended as it ended, whatever that is."""
        from daq.errors import GramwattError
        from ui.cli.ending import FAILED, tell_findings

        try:
            tell_findings(folder, self.how_far)
        except GramwattError as fault:
            print(f"gramwatt: {fault}", file=sys.stderr)
            return status or FAILED
        except KeyboardInterrupt:
            print(
                f"\nThe record is whole; 'gramwatt rebuild {folder}' makes the "
                "findings and the page.",
                file=sys.stderr,
            )
            return status or FAILED
        return status

    def _print_json(self, outcome: Mapping[str, object], *, worth_it: bool) -> None:
        import json

        from ui.results import derive

        said: dict[str, object] = {"run": str(self.folder), "outcome": dict(outcome)}
        if worth_it and self.folder is not None:
            results = derive(self.folder)
            said |= {"findings": results.findings(), "report": str(results.report)}
        print(json.dumps(said))
