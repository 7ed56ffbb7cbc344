"""A whole run as the keeper keeps it, in virtual time, on a disk that may fail.

The real keeper's every line but its threads: folder, log, loop, sync and seal. Its
port leads to a simulated stand in the same virtual time.
"""

import math
from dataclasses import dataclass
from pathlib import Path

from typing_extensions import override

from daq.clock import JumpingClock
from daq.errors import GramwattError
from daq.link.standing import MAY_DRIVE
from daq.records import folder as folders
from daq.records.wirelog import Kind, Record
from daq.stand.device import ZERO_PULSE_S, Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols import keeper as keepers
from protocols.control import Control
from protocols.keeper import SYNC_PERIOD_S, Keeper
from protocols.phases import OVER, Outputs, Phase
from protocols.plan import Plan, Segment
from protocols.task import Task
from tests.disks import Disk, on
from tests.spins import LIMITS, NONCE
from tests.virtual import DELAY_S, START_NS, VirtualSpin

STEP_TICKS = 10  # arrivals come in bursts, as from an adapter
QUICK = Plan(
    "quick",
    "Up and down again",
    (
        Segment("rest", "rest", -1, 0.0, 0.0, 0.1),
        Segment("ramp", "up", 0, 0.0, 0.3, 0.2),
        Segment("dwell", "up", 0, 0.3, 0.3, 0.4),
        Segment("ramp", "rest", -1, 0.3, 0.0, 0.2),
        Segment("rest", "rest", -1, 0.0, 0.0, 0.1),
    ),
)
NAME = "run"


class _Line:
    """The keeper's port: what it writes is on its way to the stand."""

    name = "line"
    descriptor: int | None = None

    def __init__(self, spin: "KeptSpin") -> None:
        self._spin = spin

    def read(self) -> bytes:
        return b""

    def write(self, data: bytes) -> None:
        arrive_ns = self._spin.host_ns + round(DELAY_S * 1e9)
        self._spin.to_stand.append((arrive_ns, data))

    def close(self) -> None:
        """Nothing to let go of."""


class _Once:
    """In place of the keeper's event: its sync thread goes round once."""

    def __init__(self) -> None:
        self.left = 1

    def wait(self, _: float) -> bool:
        self.left -= 1
        return self.left < 0

    def is_set(self) -> bool:
        return False


class _TestedKeeper(Keeper):
    """A keeper whose decisions the bench around it hears of."""

    spin: "KeptSpin"

    @override
    def _disk_failed(self, fault: OSError | ValueError) -> None:
        self.spin.was_over = self.control.phase in OVER
        super()._disk_failed(fault)

    @override
    def _did(self, kind: Kind, time_ns: int, data: bytes, outputs: Outputs) -> None:
        super()._did(kind, time_ns, data, outputs)
        self.spin.heard(outputs)


class KeptSpin(VirtualSpin):
    """A virtual spin that goes through a keeper.

    Attributes:
        keeper: the keeper.
        failed_s: when the disk failed first; NaN while it did not.
        driven_s: when the pulse was last above zero.
        was_over: the spin was ending anyway when the disk failed.
    """

    keeper: _TestedKeeper
    disk: Disk
    failed_s: float
    driven_s: float
    sync_due_ns: int
    was_over: bool

    def begin(self, keeper: _TestedKeeper, disk: Disk) -> None:
        self.keeper, self.disk = keeper, disk
        self.failed_s, self.driven_s = math.nan, -math.inf
        self.sync_due_ns = START_NS
        self.was_over = False
        keeper.spin = self

    @override
    def step(self, ticks: int = STEP_TICKS) -> None:
        moves = self.device.pulse_s > ZERO_PULSE_S
        super().step(1 if moves and self.disk.failed else ticks)
        if math.isnan(self.failed_s) and self.disk.failed:
            self.failed_s = self.elapsed_s
        if self.device.pulse_s > ZERO_PULSE_S:
            self.driven_s = self.elapsed_s
        if self.host_ns >= self.sync_due_ns and not self.keeper.disk_fault:
            self.sync_due_ns = self.host_ns + round(SYNC_PERIOD_S * 1e9)
            event, self.keeper._over = self.keeper._over, _Once()  # type: ignore[assignment]
            self.keeper.sync_log()
            self.keeper._over = event

    @override
    def _input(self, kind: Kind, data: bytes) -> None:
        self.keeper._take(Record(kind, self.host_ns, data))
        while not self.keeper._arrivals.empty():
            own = self.keeper._arrivals.get()
            self.keeper._take(Record(own.kind, self.host_ns, own.data))

    def heard(self, outputs: Outputs) -> None:
        """What a person at the bench does about the keeper's decisions."""
        for note in outputs.notes:
            if note["note"] == "wanted":
                self._wanted(note["what"])


@dataclass
class Kept:
    """What became of a run.

    Attributes:
        folder: where it was to be.
        refused: why it never began, or "".
        told: the keeper's last line to its client.
        spin: the spin, where it began.
    """

    folder: Path
    refused: str
    told: dict[str, object]
    spin: KeptSpin | None


def keep_on(disk: Disk, seed: int = 1) -> Kept:
    """One whole run into the disk's folder."""
    task = Task(QUICK, LIMITS, NONCE)
    header: dict[str, object] = {
        "format": 1,
        "utc": "2026-05-09T14:02:00+00:00",
        "port": "line",
        "monotonic_ns": START_NS,
        "simulated": True,
        "task": task.to_dict(),
        "versions": {"gramwatt": "0"},
    }
    kept = Kept(disk.folder / NAME, "", {}, None)
    with on(disk):
        try:
            folder = folders.create(disk.folder, NAME, header)
            log = keepers._open_log(folder, header)
        except GramwattError as fault:
            kept.refused = str(fault)
            return kept
        control = Control(task, "line")
        device = Device(Plant(shipped_truth(), seed))
        spin = kept.spin = KeptSpin(control, device, keep_records=False)
        keeper = _TestedKeeper(control, _Line(spin), log, JumpingClock())
        spin.begin(keeper, disk)
        spin.run(until_s=60.0)
        for _ in range(50):  # the stand goes on alone
            spin.host_runs = False
            spin.step()
        kept.told = keepers._close(keeper, log, folder)
    return kept


def stands_still(spin: KeptSpin) -> bool:
    """Whether nothing drives the motor at the end."""
    at_zero = spin.device.pulse_s == ZERO_PULSE_S
    return (
        at_zero
        and spin.device.state not in MAY_DRIVE
        and spin.control.phase is Phase.ENDED
    )
