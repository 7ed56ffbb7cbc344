"""Which faults are at work, tick by tick, and when that changes next.

Times become whole ticks here, so that nothing depends on the last bit of a
second. Knows when, never what.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from daq.stand.device import TICK_S
from daq.stand.faults.article import Course
from daq.stand.faults.fault import Fault
from daq.stand.faults.sensors import Reader

FAR = 2**62
"""A tick that never comes."""


def ticks(time_s: float) -> int:
    """The first whole tick that is not before a time."""
    if math.isinf(time_s):
        return FAR
    return math.ceil(round(time_s / TICK_S, 6))


@dataclass(slots=True)
class Entry:
    """One fault on the timeline.

    Attributes:
        fault: what.
        course: how far it has come, and its random numbers.
        begin: first tick.
        end: first tick after it.
        readers: what it does to the counts of channels, by name.
    """

    fault: Fault
    course: Course
    begin: int
    end: int
    readers: dict[str, Reader] = field(default_factory=dict)


class Timeline:
    """Faults by when they begin and end.

    Attributes:
        active: at work now, in the order they were given.
        next: the tick when that changes.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._entries: list[Entry] = []
        self._begun: set[int] = set()
        self.active: list[Entry] = []
        self.next = FAR

    def add(self, fault: Fault, now: int) -> None:
        """Put one more on; one whose start has passed starts now."""
        sequence = np.random.SeedSequence(self._seed, spawn_key=(2, len(self._entries)))
        course = Course(np.random.Generator(np.random.PCG64(sequence)))
        begin = max(now, ticks(fault.start_s))
        entry = Entry(fault, course, begin, max(begin + 1, ticks(fault.end_s)))
        self._entries.append(entry)
        self.next = min(self.next, begin)

    def turn(self, now: int) -> list[Entry]:
        """Move to a tick; returns what begins."""
        begins = []
        active = []
        times = [FAR]
        for number, entry in enumerate(self._entries):
            if entry.begin > now:
                times.append(entry.begin)
            elif now < entry.end:
                active.append(entry)
                times.append(entry.end)
            if entry.begin <= now and number not in self._begun:
                self._begun.add(number)
                begins.append(entry)
        self.active = active
        self.next = min(times)
        return begins
