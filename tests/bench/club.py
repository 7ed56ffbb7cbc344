"""The club's site at ten thousand runs: built, built again, and used in a browser.

The runs are invented, and every page says so. Building is from runs that were checked
before: what a check of a bundle takes is no part of it. The browser is a real one,
without a screen; the disk is warm.
"""

import tempfile
import time
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Final

from tests.club.invented import bundles_of, invented, refused
from tests.ui.club.site.browser import DESKTOP, Browser, started
from ui.club.site.build import build_site
from ui.club.site.shared import Shared

RUNS: Final = 10_000
FILLED: Final = "return document.getElementById('above').hidden === false"
#: Until deferred scripts have run, the table's too, since the page was asked for.
LOADED: Final = (
    "return performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
)
#: What a visitor does, until the next picture is drawn.
TIMED: Final = (
    "const done = arguments[arguments.length - 1]; const begin = performance.now();"
    "{what};"
    "const look = () => requestAnimationFrame(() => setTimeout("
    "() => done(performance.now() - begin)));"
    "setTimeout(look, {after});"
)


def measure(quick: bool) -> Iterable[tuple[str, str]]:
    """Figures, each with what it is."""
    runs = 1000 if quick else RUNS
    shared = invented(runs, stands=40)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bundles_of(shared, folder / "bundles")
        yield from _building(folder, shared)
        with started() as browser:
            yield from _used(folder, browser, runs)


def _building(folder: Path, shared: list[Shared]) -> Iterable[tuple[str, str]]:
    runs = len(shared)
    first = _built(folder, shared)
    yield f"site of {runs} invented runs, built", f"{first:7.2f} s"
    again = _built(folder, shared)
    yield "the same again, nothing changed", f"{again:7.2f} s"
    yield "again over first", f"{again / first:7.2f}"
    changed = [replace(shared[0], licence="CC0"), *shared[1:]]
    yield "the same with one run changed", f"{_built(folder, changed):7.2f} s"
    size = sum(p.stat().st_size for p in (folder / "site" / "data").glob("*.js"))
    yield "data of the table, a run", f"{size / runs:7.0f} bytes"


def _built(folder: Path, shared: list[Shared]) -> float:
    begin = time.perf_counter()
    build_site(
        shared, refused(), None, "Invented club", folder / "site", folder / "bundles"
    )
    return time.perf_counter() - begin


def _used(folder: Path, browser: Browser, runs: int) -> Iterable[tuple[str, str]]:
    browser.set_screen(DESKTOP)
    page = (folder / "site" / "index.html").as_uri()
    took = []
    for _ in range(5):
        browser.open(page, FILLED)
        took.append(float(browser.run(LOADED)))
    yield f"table of {runs} runs filled and sorted, worst of 5", f"{max(took):7.0f} ms"
    for what, script, after in (
        ("sorted by g/W", "document.querySelector('[data-sort=specific]').click()", 0),
        (
            "sorted by article",
            "document.querySelector('[data-sort=article]').click()",
            0,
        ),
        ("another all-up weight, with 120 ms of waiting", _typed("weight", "80"), 125),
        ("searched for, with 120 ms of waiting", _typed("search", "motor c"), 125),
    ):
        timed = TIMED.replace("{what}", script).replace("{after}", str(after))
        yield what, f"{float(browser.driver.execute_async_script(timed)):7.0f} ms"


def _typed(field: str, text: str) -> str:
    return (
        f"const field = document.getElementById('{field}'); field.value = '{text}';"
        "field.dispatchEvent(new Event('input', {bubbles: true}))"
    )
