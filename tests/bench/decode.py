"""How much faster than the fastest line the wire is decoded, on one core."""

import struct
import time
from collections.abc import Callable

from daq.link.framing import Deframer
from daq.link.messages import Samples
from daq.link.session import Session
from daq.records.wirelog import Kind
from tests.spins import spin

LINE_BYTES_S = 2_000_000 / 10  # 2 Mbaud, 8 bits with start and stop
CHUNK = 512
REPEATS = 5


def wire() -> bytes:
    """What a stand sends in a short spin."""
    run = spin()
    run.run()
    return b"".join(r.data for r in run.records if r.kind is Kind.BYTES_IN)


def best_s(work: Callable[[], object]) -> float:
    """Shortest of a few times, in seconds."""
    times = []
    for _ in range(REPEATS):
        begin_s = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin_s)
    return min(times)


def measure(quick: bool) -> list[tuple[str, str]]:
    data = wire()
    chunks = [data[i : i + CHUNK] for i in range(0, len(data), CHUNK)]
    layouts = {0: struct.Struct("<3xBIhhhhih"), 1: struct.Struct("<3xBIi")}

    def frames() -> None:
        deframer = Deframer()
        for chunk in chunks:
            deframer.feed(chunk)

    def counts() -> None:
        deframer = Deframer()
        for chunk in chunks:
            for payload in deframer.feed(chunk):
                if payload[0] == Samples.TYPE:
                    layouts[payload[3]].unpack(payload)

    def session() -> None:
        heard = Session()
        heard.identify(0.0)
        for number, chunk in enumerate(chunks):
            heard.receive(chunk, number * 1e-2)

    def times_line(work: Callable[[], object]) -> str:
        return f"{len(data) / best_s(work) / LINE_BYTES_S:.0f} x a 2 Mbaud line"

    return [
        ("bytes to checked payloads", times_line(frames)),
        ("bytes to time and counts of each sample", times_line(counts)),
        ("the whole session: gaps, clocks, happenings", times_line(session)),
    ]
