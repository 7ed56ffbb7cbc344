"""Short spins for tests: a plan, limits and a virtual spin ready to run."""

from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.control import Control
from protocols.limits import Limit
from protocols.plan import Plan, Segment
from protocols.task import Task
from tests.virtual import VirtualSpin

LIMITS = (
    Limit("current", -3.0, 12.0, 3, 0.1, "plug 12 A"),
    Limit("voltage", 9.9, 12.9, 10, 0.1, "3 cells"),
    Limit("thrust", -1.0, 9.8, 2, 0.5, "load cell"),
)
NONCE = 0x5A17


def plan(levels: tuple[float, ...] = (0.3, 0.6), dwell_s: float = 0.8) -> Plan:
    """Up a few levels and down to rest, with rests of two seconds."""
    segments = [Segment("rest", "rest", -1, 0.0, 0.0, 2.0)]
    before = 0.0
    for step, level in enumerate(levels):
        segments += [
            Segment("ramp", "up", step, before, level, max(0.01, abs(level - before))),
            Segment("settle", "up", step, level, level, 0.6),
            Segment("dwell", "up", step, level, level, dwell_s),
        ]
        before = level
    segments += [
        Segment("ramp", "rest", -1, before, 0.0, before),
        Segment("rest", "rest", -1, 0.0, 0.0, 2.0),
    ]
    return Plan("test", "A short plan", tuple(segments))


def task(limits: tuple[Limit, ...] = LIMITS, walked: Plan | None = None) -> Task:
    """A task for the shipped simulated stand."""
    return Task(walked or plan(), limits, NONCE)


def spin(
    wanted: Task | None = None,
    *,
    seed: int = 1,
    start_us: int = 0,
    truth: Truth | None = None,
) -> VirtualSpin:
    """A virtual spin of the shipped simulated stand, or of another truth."""
    device = Device(Plant(truth or shipped_truth(), seed), start_us=start_us)
    return VirtualSpin(Control(wanted or task(), "test port"), device)
