"""The window's speed: redraws over an hour, the library, the overlay, and stops.

Drawn without a screen. A stop is timed from its cause to the pulse at zero: a person's
key in the window, and the guard's, on a stand whose own limits sleep, while the window
is idle, redraws without a pause, or is held for half a second again and again.
"""

import os
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.bench.asleep import Asleep
from tests.served import Bench, served

HOUR_S = 3600
RATE_HZ = 500


def measure(quick: bool) -> Iterator[tuple[str, str]]:
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    yield from redraws(20 if quick else 100)
    yield from stops(2 if quick else 6)


# --------------------------------------------------------------- redraws


def redraws(number: int) -> Iterator[tuple[str, str]]:
    import resource

    import numpy as np

    from ui.desktop.app import made_application, open_window
    from ui.desktop.bench import PLOTTED, WINDOWS_S
    from ui.desktop.model.memory import Memory
    from ui.desktop.model.tape import Tape

    app = made_application()
    with tempfile.TemporaryDirectory() as folder:
        window = open_window(Memory(Path(folder)))
        window._timer.stop()
        window.resize(1280, 800)
        window.show()
        heard = window.desk._nothing
        heard.tapes = {name: Tape() for name, _ in PLOTTED}
        begin_s = window.desk.now_s - HOUR_S
        noise = np.random.default_rng(1).normal(size=HOUR_S * RATE_HZ).tolist()

        def feed() -> float:
            begun_s = time.perf_counter()
            for tape in heard.tapes.values():
                for n, value in enumerate(noise):
                    tape.add(begin_s + n / RATE_HZ, value)
            return time.perf_counter() - begun_s

        took_s = feed()
        readings = len(noise) * len(heard.tapes)
        yield "a reading onto its tape", f"{1e6 * took_s / readings:.2f} us"
        before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        for words in ("30 s", "1 h"):
            for plot in window.bench._plots.values():
                plot.look_back(WINDOWS_S[words])
            times_ms = []
            for _ in range(number):
                begun_s = time.perf_counter()
                window.bench.draw()
                app.processEvents()
                window.bench.repaint()
                times_ms.append(1e3 * (time.perf_counter() - begun_s))
            times_ms.sort()
            worst = times_ms[int(0.95 * len(times_ms))]
            figures = f"{statistics.median(times_ms):.1f} ms median, {worst:.1f} ms p95"
            yield f"redraw of four plots, an hour kept, {words} shown", figures
        for tape in heard.tapes.values():
            for n, value in enumerate(noise):
                tape.add(begin_s + HOUR_S + n / RATE_HZ, value)
        grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb
        yield "memory for another hour", f"{grown_kb / 1024:.1f} MB more"
        window.close()


# --------------------------------------------------------------- stops


WAYS: dict[str, tuple[object, ...]] = {
    "idle": ("see",),
    "redrawing without a pause": ("saturate",),
    "held for 500 ms again and again": ("block", 0.5, 0.05),
}


def stops(times: int) -> Iterator[tuple[str, str]]:
    for way, (act, *arguments) in WAYS.items():
        for who in ("guard", "person"):
            took_ms = sorted(one_stop(who, str(act), arguments) for _ in range(times))
            median, worst = statistics.median(took_ms), took_ms[-1]
            what = (
                "over-limit to zero pulse" if who == "guard" else "STOP to zero pulse"
            )
            yield (
                f"{what}, window {way}",
                f"{median:.0f} ms median, {worst:.0f} ms worst",
            )


def one_stop(who: str, act: str, arguments: list[object]) -> float:
    """One spin, one stop; how long the pulse took to zero, in ms."""
    from tests.endtoend.test_window import Shown, spinning

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stand = Asleep(Plant(shipped_truth(), 1))
        with served(folder, stand) as bench:
            shown = Shown("", folder, platform="offscreen")
            try:
                spinning(shown, bench)
                shown.do(act, *arguments)
                time.sleep(0.6)
                begun_s = time.monotonic()
                if who == "guard":
                    bench.server.between_ticks(_exceed)
                else:
                    shown.do("press_stop")
                return _until_zero(bench, begun_s)
            finally:
                shown.end()


def _exceed(stand: Asleep) -> None:
    stand.asleep = stand.over = True


def _until_zero(bench: Bench, begun_s: float) -> float:
    while bench.spinning:
        if time.monotonic() - begun_s > 5:
            return float("inf")
        time.sleep(0.0005)
    return 1e3 * (time.monotonic() - begun_s)
