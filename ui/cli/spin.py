"""``gramwatt spin``: run a plan on a stand, under protection, and record it.

Starts a keeper, asks the checklist, says go, and shows the run. Ctrl-C stops
the motor, seals the record and says so. Deciding anything about the motor is
the keeper's business; this program only asks and beats.
"""

from __future__ import annotations

import argparse
import signal
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.plan import add_timed_option
from ui.cli.simulate import add_stand_options

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

    from daq.clock import Clock
    from daq.records.shelf import Article
    from protocols.limits import Limit
    from protocols.plan import Plan
    from protocols.task import Task
    from ui.client import KeeperClient
    from ui.simulation import SimulatedStand

DRAW_PERIOD_S = 0.1
KEEPER_SILENT_S = 1.5
STOPS_TO_KILL = 2  # asked this often, a silent keeper is ended
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
    parser.add_argument(
        "--faults",
        type=Path,
        metavar="FILE",
        help="what goes wrong with the simulated stand, and when, TOML",
    )
    parser.add_argument("--baud", type=int, default=500_000, help="default: 500000")
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
    from ui.cli.plan import chosen_article, example_article
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
    spin = prepare(args.protocol, article, load_cell_g, args.timed)
    if args.port:
        return spin.on(args.port, args.baud, args.out, as_json=args.json)
    with SimulatedStand(
        truth=args.truth,
        faults=args.faults,
        seed=args.seed,
        plug_in=False,
        bare=spin.plan.propeller_off,
    ) as stand:
        return spin.on(stand.port, args.baud, args.out, own=stand, as_json=args.json)


def prepare(
    protocol: str, article: Article, load_cell_g: float, timed: Collection[str] = ()
) -> Spin:
    """Everything that can be refused before a port is opened.

    Args:
        protocol: its name or file.
        article: what is tested.
        load_cell_g: rated load of the load cell.
        timed: parts that may go to their short-time rating.

    Raises:
        InputFault: protocol, article, load cell or timed parts are wrong.
    """
    import secrets

    from protocols.caps import capped, ruled
    from protocols.recipe import expand, load_recipe
    from protocols.task import Task
    from ui.cli.plan import limits_for, rules_for

    plan = expand(load_recipe(protocol))
    limits = capped(plan, limits_for(article, load_cell_g, timed))
    nonce = secrets.randbelow(0xFFFF) + 1
    task = Task(plan, limits, nonce, ruled(plan, rules_for(article, timed)))
    return Spin(article, task, tuple(timed))


@dataclass(slots=True)
class Spin:
    """One spin to do.

    Attributes:
        article: what is tested.
        task: plan, limits and rules.
        timed: parts that may go to their short-time rating.
        folder: the run's folder, once there is one.
        outcome: how it ended, once it has.
    """

    article: Article
    task: Task
    timed: tuple[str, ...] = ()
    folder: Path | None = None
    outcome: Mapping[str, object] | None = None

    @property
    def plan(self) -> Plan:
        """What will be walked."""
        return self.task.plan

    @property
    def limits(self) -> tuple[Limit, ...]:
        """What must not be exceeded."""
        return self.task.limits

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
        from ui.client import KeeperClient

        if not as_json:
            self._introduce(port)
        client = KeeperClient(self._start_order(port, baud, out, own=own is not None))
        self.folder = client.folder
        show = _Show(self, client, MachineClock(), own=own, quiet=as_json)
        self.outcome = show.until_the_end()
        return self._report_end(as_json=as_json)

    def _introduce(self, port: str) -> None:
        """What is about to be done, before a port is opened."""
        from protocols.preview import preview
        from ui.cli.text import labelled

        plan = self.plan
        seen = preview(plan, self.article, self.limits, self.task.rules)
        print(labelled("port", port))
        print(labelled("article", self.article.name))
        print(
            labelled(
                "plan",
                f"{plan.title}: {plan.duration_s:.0f} s, up to "
                f"{100 * plan.max_throttle_frac:.0f} % throttle; estimated "
                f"{seen.peak_current_a:.1f} A at most, {seen.takes()}",
            )
        )
        for limit in self.limits:
            print(labelled("limit", f"{limit.channel}: {limit.source}"))
        for burst in self.task.rules.bursts:
            print(labelled("timed", f"{burst.part}: {burst.source}"))
        for warning in seen.warnings:
            print(labelled("warning", warning))

    def _start_order(
        self, port: str, baud: int, out: Path, *, own: bool
    ) -> dict[str, object]:
        from importlib.metadata import version

        from daq.machine_clock import utc_now
        from daq.records.folder import folder_name

        utc = utc_now().isoformat(timespec="seconds")
        name = folder_name(utc, self.plan.protocol, f"{self.task.nonce:04x}")
        return {
            "port": port,
            "baud": baud,
            "out": str(out),
            "name": name,
            "task": self.task.to_dict(),
            "header": {
                "utc": utc,
                "simulated": own,
                "article": self.article.to_dict(),
                "versions": {"gramwatt": version("gramwatt")},
            },
        }

    def _report_end(self, *, as_json: bool) -> int:
        from daq.errors import GramwattError
        from ui.cli.ending import FAILED, exit_status, tell_end, tell_findings

        outcome = self.outcome or {}
        if self.folder is None:
            return exit_status(outcome)
        measured = outcome.get("data") != "none"
        status = exit_status(outcome)
        if as_json:
            self._print_json(outcome, measured=measured)
            return status
        tell_end(outcome, self.folder)
        if measured:
            # The run ended as it ended, whatever can be made of it.
            try:
                tell_findings(self.folder)
            except GramwattError as fault:
                print(f"gramwatt: {fault}", file=sys.stderr)
                return status or FAILED
            except KeyboardInterrupt:
                print(
                    f"\nThe record is whole; 'gramwatt rebuild {self.folder}' makes "
                    "the findings and the page.",
                    file=sys.stderr,
                )
                return status or FAILED
        return status

    def _print_json(self, outcome: Mapping[str, object], *, measured: bool) -> None:
        import json

        from ui.results import derive

        said: dict[str, object] = {"run": str(self.folder), "outcome": dict(outcome)}
        if measured and self.folder is not None:
            results = derive(self.folder)
            said |= {"findings": results.findings(), "report": str(results.report)}
        print(json.dumps(said))


class _Show:
    """The loop in front of the person: beats, draws, asks, stops."""

    def __init__(
        self,
        spin: Spin,
        client: KeeperClient,
        clock: Clock,
        *,
        own: SimulatedStand | None,
        quiet: bool,
    ) -> None:
        from ui.cli.progress import Progress
        from ui.live import LiveRun

        self._spin = spin
        self._client = client
        self._clock = clock
        self._own = own
        self._quiet = quiet
        self._live = LiveRun(spin.plan)
        self._progress = Progress(spin.limits)
        self._stops = 0
        self._heard_s = clock.now_s()
        self._warned = False
        self._acknowledged: list[str] = []

    def until_the_end(self) -> Mapping[str, object]:
        """Show the run and give its outcome; {} when the keeper left none."""
        before = signal.signal(signal.SIGINT, self._stop_asked)
        try:
            while self._client.running:
                self._moment()
                self._clock.sleep(DRAW_PERIOD_S)
            self._follow()
        finally:
            # Whatever went wrong here, the motor is asked to stop.
            if self._client.running:
                self._client.order("stop", why="The program before the person failed.")
            ending = self._client.finish()
            signal.signal(signal.SIGINT, before)
        self._progress.clear()
        outcome = self._live.outcome or ending.get("outcome")
        return outcome if isinstance(outcome, dict) else {}

    def _moment(self) -> None:
        self._client.beat()
        if self._follow():
            self._heard_s = self._clock.now_s()
            self._warned = False
        elif self._clock.now_s() - self._heard_s > KEEPER_SILENT_S and not self._warned:
            self._warned = True
            self._progress.say(
                "The keeper is silent. The stand stops by itself when its lease ends; "
                "if the motor turns, cut the power."
            )
        if self._warned and self._stops >= STOPS_TO_KILL:
            self._client.kill()
        if not self._quiet:
            self._progress.draw(self._live)

    def _follow(self) -> bool:
        """Take what the keeper recorded; whether there was anything."""
        records = self._client.fresh()
        for record in records:
            self._live.take(record)
        for note in self._live.taken_notes():
            self._noted(note)
        return bool(records)

    def _noted(self, note: Mapping[str, object]) -> None:
        kind = note.get("note")
        if kind == "wanted":
            self._wanted(str(note.get("what")))
        elif kind == "ready":
            self._go()
        elif kind == "latched":
            self._acknowledge()
        elif kind == "segment" and not self._quiet:
            self._progress.segment(note, self._live)
        elif not self._quiet:
            from ui.cli.ending import note_in_words

            words = note_in_words(note)
            if words:
                self._progress.say(words)

    def _wanted(self, what: str) -> None:
        """The stand wants a hand: our own simulation gets it, a person is asked."""
        from ui.cautions import HANDS
        from ui.cli import checklist

        if self._own is not None:
            self._lend_a_hand(self._own, what)
            return
        if what == "plug in" and not self._ask_person():
            return  # no supply before the checklist
        checklist.tell_hand(HANDS[what])

    def _lend_a_hand(self, stand: SimulatedStand, what: str) -> None:
        from daq.errors import WorldFault

        try:
            if what.startswith("plug"):
                stand.plug(inserted=what == "plug in")
            else:
                stand.stop_loop(closed=what == "loop closed")
        except WorldFault:
            pass  # the stand is gone, which the keeper tells

    def _go(self) -> None:
        """Ask the checklist, unless the stand is our own simulation."""
        from ui.cautions import START
        from ui.cli import checklist

        if self._own is not None:
            self._client.order("go", checklist="waived: own simulation")
        elif self._ask_person() and self._asking(lambda: checklist.confirm(START)):
            self._client.order("go", checklist=self._acknowledged)

    def _ask_person(self) -> bool:
        """The checklist, once; a person who does not finish it ends the run."""
        from ui.cautions import checklist_for
        from ui.cli import checklist

        if self._acknowledged:
            return True
        items = checklist_for(self._spin.task, self._spin.timed)
        done: list[str] = []
        if self._asking(lambda: done.extend(checklist.ask(items))):
            self._acknowledged = done
        return bool(self._acknowledged)

    def _acknowledge(self) -> None:
        """A latch from before: only a person may clear it."""
        from ui.cli import checklist

        sentence = (
            "The stand is latched from an earlier trip or stop; the cause is found and "
            "removed."
        )
        if self._asking(lambda: checklist.confirm(sentence)):
            self._client.order("acknowledge")

    def _asking(self, ask: Callable[[], None]) -> bool:
        """Whether a person answered; whoever does not, or ctrl-C, ends the run."""
        from daq.errors import GramwattError

        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            ask()
        except (GramwattError, KeyboardInterrupt) as fault:
            if isinstance(fault, KeyboardInterrupt):
                print(file=sys.stderr)
            why = str(fault) or "A person ended the checklist with ctrl-C."
            self._client.order("stop", why=why)
            return False
        else:
            return True
        finally:
            signal.signal(signal.SIGINT, self._stop_asked)
            self._heard_s = self._clock.now_s()

    def _stop_asked(self, _number: int, _frame: object) -> None:
        self._stops += 1
        self._client.order("stop", why="A person stopped it with ctrl-C.")
        if not self._quiet:
            self._progress.say("Stopping.")
