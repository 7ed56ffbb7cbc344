"""The club's site as visitors have it: a real Chromium, from a disk and from a host."""

import functools
import http.server
import json
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any
from urllib.parse import unquote
from urllib.request import urlopen

import numpy as np
import pytest
from scipy.special import stdtrit
from typing_extensions import override

from daq import units
from daq.analysis.rounding import figure
from tests.club.invented import bundles_of, invented, refused
from tests.ui.club.site.browser import DESKTOP, PHONE, Browser, started
from tests.ui.club.site.hostile import NAMES, hostile
from tests.ui.club.site.test_build import CLUB, Agreement
from ui.club.evidence import THRUST_BY, thrust_by
from ui.club.site import words
from ui.club.site.build import build_site
from ui.club.site.listing import Listed, listed
from ui.club.site.shared import Shared

pytestmark = pytest.mark.slow

VECTORS = Path(__file__).parents[3] / "club" / "across_vectors.json"
FILLED = "return document.getElementById('above')?.hidden === false"
DRAWN = "return document.body.dataset.ready !== undefined"
GF = units.n_to_gf(1.0)
ALL = "[...document.querySelectorAll"
RUNS = 60


@dataclass(frozen=True)
class Site:
    """A site, on a disk and on a host of this machine."""

    folder: Path
    shared: list[Shared]
    host: str

    @property
    def rows(self) -> list[Listed]:
        """Its runs as they are listed."""
        return listed(self.shared)[0]

    def at(self, page: str, *, hosted: bool = False) -> str:
        """The address of a page."""
        base = self.host if hosted else self.folder.as_uri()
        return f"{base}/{page}"

    def together(self, rows: Sequence[Listed]) -> str:
        """The page of curves and verdicts, for some runs."""
        return self.at("compare.html#runs=" + ",".join(row.id for row in rows))


class Quiet(http.server.SimpleHTTPRequestHandler):
    """Serves files and says nothing."""

    timeout = 1  # of a connection that the browser opened and never used

    @override
    def log_message(self, format: str, *args: Any) -> None:
        """Nothing."""


@pytest.fixture(scope="module")
def host(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str]]:
    """A folder, and where a host of this machine serves it."""
    folder = tmp_path_factory.mktemp("club")
    handler = functools.partial(Quiet, directory=str(folder))
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = False  # waited for at the end
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        yield folder, f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def made(host: tuple[Path, str], name: str, shared: list[Shared]) -> Site:
    """A site of some runs."""
    folder, address = host
    bundles_of(shared, folder / f"{name}-bundles")
    scales = sorted({one.entry.scale for one in shared})[:4]
    build_site(
        shared,
        refused() if shared else [],
        Agreement(scales) if scales else None,
        CLUB,
        folder / name,
        folder / f"{name}-bundles",
    )
    return Site(folder / name, shared, f"{address}/{name}")


@pytest.fixture(scope="module")
def site(host: tuple[Path, str]) -> Site:
    """Sixty invented runs, one with a report."""
    shared = invented(RUNS)
    report = host[0] / "report.html"
    report.write_text('<!DOCTYPE html><html lang="en"><title>report</title>')
    return made(host, "site", [replace(shared[0], report=report), *shared[1:]])


@pytest.fixture(scope="module")
def hostile_site(host: tuple[Path, str]) -> Site:
    """Runs by somebody who wants a page to run something."""
    return made(host, "hostile", hostile())


@pytest.fixture(scope="module")
def one_browser() -> Iterator[Browser]:
    """One for all: it takes a second to start."""
    with started() as browser:
        yield browser


@pytest.fixture
def browser(one_browser: Browser) -> Iterator[Browser]:
    """It, on a desktop in light; afterwards it has not complained nor gone far."""
    one_browser.set_screen(DESKTOP)
    one_browser.complaints(), one_browser.asked_for()
    yield one_browser
    assert one_browser.complaints() == []
    for address in one_browser.asked_for():
        assert address.startswith(("file:///", "http://127.0.0.1:", "data:")), address
    one_browser.driver.get("about:blank")


# ------------------------------------------------------------------ the table


def shown(browser: Browser) -> list[str]:
    """Ids of the rows that are shown, in their order."""
    found: list[str] = browser.run(
        "return [...document.querySelectorAll('#rows input')].map(e => e.dataset.id)"
    )
    return found


def asked(browser: Browser, selector: str, value: str) -> None:
    """Type or choose something, and wait until the table has heard of it."""
    browser.run(
        "const e = document.querySelector(arguments[0]); e.value = arguments[1];"
        "document.body.dataset.old = document.getElementById('count').textContent;"
        "e.dispatchEvent(new Event('input', {bubbles: true}))",
        selector,
        value,
    )
    browser.run("return new Promise(done => setTimeout(done, 200))")


@pytest.mark.parametrize("hosted", [False, True])
def test_the_table_is_filled_newest_first(
    browser: Browser, site: Site, hosted: bool
) -> None:
    browser.open(site.at("index.html", hosted=hosted), FILLED)
    assert shown(browser) == [row.id for row in site.rows[:50]]
    assert browser.texts("#count")[0].startswith("60 runs")
    assert (
        browser.run(
            "return document.querySelector('[aria-sort=descending]').innerText"
        )[:4]
        == "Date"
    )
    browser.click("#next")
    assert shown(browser) == [row.id for row in site.rows[50:]]


def test_each_row_says_what_it_rests_on_and_that_it_is_invented(
    browser: Browser, site: Site
) -> None:
    browser.open(site.at("index.html"), FILLED)
    rows = browser.texts("#rows tr")
    for row, text in zip(site.rows, rows, strict=False):
        evidence = row.shared.entry.evidence
        plain = text.replace("\N{NO-BREAK SPACE}", " ")
        assert "Invented" in plain
        assert THRUST_BY[thrust_by(evidence)] in plain.lower()
        assert words.RECORD[evidence.record] in plain


FILTERS: dict[str, tuple[str, str, Any]] = {
    "size": ("#size", "3", lambda e: words.size_class_in(e.article.diameter_mm) == 3),
    "cells": ("#cells", "2", lambda e: e.article.cells == 2),
    "supply": ("#cells", "0", lambda e: e.article.cells is None),
    "words": ("#search", "1404 4600", lambda e: e.article.kv_rpm_v == 4600),
    "sender": ("#search", "greta", lambda e: e.evidence.stand.startswith("0000a1b7")),
    "propeller": (
        "#propeller",
        "3.0 inch",
        lambda e: "3.0 inch" in e.article.propeller,
    ),
    "motor": ("#motor", "MOTOR C", lambda e: "motor C" in e.article.motor),
    "from": ("#from", "60", lambda e: GF * e.full.thrust_n.value >= 60),
    "to": ("#to", "60,5", lambda e: GF * e.full.thrust_n.value <= 60.5),
    "masses": ("#evidence", "0", lambda e: thrust_by(e.evidence) == "masses"),
    "any masses": (
        "#evidence",
        "2",
        lambda e: thrust_by(e.evidence) != "nominal",
    ),
    "raw": ("#evidence", "raw", lambda e: e.evidence.record == "re-read"),
    "ratings": ("#ratings", "2", lambda e: words.ratings_of(e.full)[0] == 2),
    "nature": ("#nature", "2", lambda e: e.evidence.invented),
}


@pytest.mark.parametrize("name", FILTERS)
def test_a_filter_leaves_the_runs_that_fit(
    browser: Browser, site: Site, name: str
) -> None:
    selector, value, fits = FILTERS[name]
    browser.open(site.at("index.html#rows=100"), FILLED)
    asked(browser, selector, value)
    wanted = [row.id for row in site.rows if fits(row.shared.entry)]
    assert wanted
    assert shown(browser) == wanted


def test_filters_together_leave_nothing_and_say_so(
    browser: Browser, site: Site
) -> None:
    browser.open(site.at("index.html"), FILLED)
    asked(browser, "#search", "no such thing")
    assert browser.texts("#none")[0].startswith("No run fits all of this.")
    assert browser.run("return document.getElementById('runs').hidden")
    browser.click("#clear-none")
    assert len(shown(browser)) == 50


def test_columns_sort_both_ways_by_their_buttons(browser: Browser, site: Site) -> None:
    browser.open(site.at("index.html#rows=100"), FILLED)
    thrusts = {
        row.id: full.thrust_n.value
        for row in site.rows
        if (full := row.shared.entry.full) is not None
    }
    browser.click("[data-sort=full]")
    found = [thrusts[name] for name in shown(browser)]
    assert found == sorted(found, reverse=True)
    browser.click("[data-sort=full]")
    found = [thrusts[name] for name in shown(browser)]
    assert found == sorted(found)
    assert browser.texts("[aria-sort=ascending]")[0].startswith("Full throttle")
    browser.click("[data-sort=evidence]")
    ranks = {r.id: words.evidence_rank(r.shared.entry.evidence) for r in site.rows}
    ranked = [ranks[name] for name in shown(browser)]
    assert ranked == sorted(ranked)


def read_off(row: Listed, thrust_gf: float) -> tuple[float, float] | None:
    """Specific thrust and half of its interval (g/W), by the whole curve."""
    curve = row.shared.entry.curves.specific_thrust
    assert curve is not None
    x_n = units.gf_to_n(thrust_gf)
    if not curve.x[0] <= x_n <= curve.x[-1]:
        return None
    value, half = (
        GF * float(np.interp(x_n, curve.x, y)) for y in (curve.y, curve.half)
    )
    return value, half


def specific(browser: Browser) -> list[tuple[str, str]]:
    """Figure and interval of each row, or no figure and why."""
    found = browser.run(
        "return [...document.querySelectorAll('#rows tr')].map(row => {"
        "const cell = row.querySelectorAll('td.number')[0];"
        "return [cell.querySelector('.value')?.textContent || '',"
        " cell.querySelector('small').textContent]})"
    )
    return [(value, told.replace("\N{NO-BREAK SPACE}", " ")) for value, told in found]


@pytest.mark.parametrize(
    ("weight_g", "motors"), [("60", "4"), ("240,5", "4"), ("90", "1")]
)
def test_a_typed_weight_changes_figures_and_order(
    browser: Browser, site: Site, weight_g: str, motors: str
) -> None:
    browser.open(site.at("index.html#rows=100&sort=specific&down=1"), FILLED)
    asked(browser, "#motors", motors)
    asked(browser, "#weight", weight_g)
    thrust_gf = float(weight_g.replace(",", ".")) / int(motors)
    by_id = {row.id: read_off(row, thrust_gf) for row in site.rows}
    found = dict(zip(shown(browser), specific(browser), strict=True))
    assert len(found) == RUNS
    order = []
    for name, (value, told) in found.items():
        wanted = by_id[name]
        if wanted is None:
            assert value == ""
            assert told.startswith("outside what was measured")
            continue
        low, high = (float(one) for one in told.split(" to "))
        # A tenth of half its interval: less than the last of two digits.
        assert float(value) == pytest.approx(wanted[0], abs=0.1 * wanted[1])
        assert (high - low) / 2 == pytest.approx(wanted[1], rel=0.12)
        order.append(wanted)
    assert 0 < len(order) < RUNS
    # Those without a figure come last, and the others go down.
    values = [bool(value) for value, _ in found.values()]
    assert values == sorted(values, reverse=True)
    for (one, half), (other, _) in pairwise(order):
        assert one >= other - 0.1 * half


def test_at_one_thrust_as_at_hover_of_that_thrust(browser: Browser, site: Site) -> None:
    browser.open(site.at("index.html"), FILLED)
    asked(browser, "#weight", "100")
    at_hover = specific(browser)
    asked(browser, "#thrust", "25")
    assert browser.run("return document.getElementById('at-thrust').checked")
    assert specific(browser) == at_hover
    assert browser.texts("[data-sort=specific]")[0].startswith("g/W at 25")


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("#weight", "heavy", "The all-up weight must be a number above zero."),
        ("#weight", "-5", "The all-up weight must be a number above zero."),
        ("#motors", "2.5", "The number of motors must be a whole one, 12 at most."),
        ("#from", "0", "The least thrust must be a number above zero."),
        ("#thrust", "1e9", "The thrust must be a number above zero."),
    ],
)
def test_what_is_no_number_is_told_in_a_sentence(
    browser: Browser, site: Site, field: str, text: str, sentence: str
) -> None:
    browser.open(site.at("index.html"), FILLED)
    asked(browser, field, text)
    assert browser.texts("#fault") == [sentence]
    asked(browser, field, "")
    assert browser.texts("#fault") == [""]


def test_what_was_typed_and_chosen_is_in_the_address(
    browser: Browser, site: Site
) -> None:
    browser.open(site.at("index.html"), FILLED)
    asked(browser, "#search", "motor c")
    asked(browser, "#weight", "77")
    browser.click("[data-sort=full]")
    browser.click("#rows input")
    before = (shown(browser), specific(browser), browser.texts("#chosen"))
    address = browser.driver.current_url
    browser.open(address, FILLED)
    assert (shown(browser), specific(browser), browser.texts("#chosen")) == before
    browser.click("#compare")
    browser.wait(DRAWN)
    browser.click("#back")
    browser.wait(FILLED)
    assert (shown(browser), specific(browser), browser.texts("#chosen")) == before


# ------------------------------------------------------------------ curves


def test_figures_are_rounded_as_the_program_rounds(
    browser: Browser, site: Site
) -> None:
    browser.open(site.at("compare.html"), DRAWN)
    random = np.random.default_rng(5)
    values = random.normal(0, 1, 400) * 10 ** random.uniform(-6, 7, 400)
    sizes = np.abs(values) * 10 ** random.uniform(-6, 1, 400)
    pairs = [[float(v), float(u)] for v, u in zip(values, sizes, strict=True)]
    pairs += [[0.0, 0.0], [1.5, 0.0996], [250.0, 9.99], [-0.04, 3.0], [12345.0, 950.0]]
    found = browser.run("return arguments[0].map(p => gramwatt.figure(...p))", pairs)
    assert found == [figure(value, u) for value, u in pairs]


def test_two_chosen_runs_are_laid_over_each_other_with_bands(
    browser: Browser, site: Site
) -> None:
    browser.open(site.at("index.html"), FILLED)
    assert not any("plotly" in address for address in browser.asked_for())
    browser.click("#rows tr:nth-child(1) input")
    browser.click("#rows tr:nth-child(3) input")
    assert browser.texts("#chosen") == ["2 runs chosen."]
    browser.click("#compare")
    browser.wait(DRAWN)
    assert sum("plotly" in address for address in browser.asked_for()) == 1
    for place, family in enumerate(browser.texts("#families label")):
        browser.click(f"#families label:nth-child({place + 1}) input")
        browser.wait(
            "return document.getElementById('caption').textContent"
            f".startsWith({family!r})"
            " && document.querySelectorAll('#chart .trace:has(.point)').length === 2"
        )
        look = browser.run(
            "const all = s => [...document.querySelectorAll(s)];"
            "return {bands: all('#chart .js-fill').filter("
            "  e => e.getBBox().width > 10 && e.getBBox().height > 1).length,"
            " dashes: all('#chart .trace:has(.point) .js-line').map("
            "  e => getComputedStyle(e).strokeDasharray),"
            " marks: all('#chart .points:has(path)').map("
            "  e => e.querySelector('path').getAttribute('d'))}"
        )
        assert look["bands"] == 2
        assert len(set(look["dashes"])) == 2
        assert len(set(look["marks"])) == 2
    cells = browser.run(f"return {ALL}('#values td')].map(e => e.textContent)")
    assert 8 <= len(cells) <= 18
    assert len(cells) % 2 == 0
    assert any("\N{PLUS-MINUS SIGN}" in text for text in cells)


def test_no_more_are_chosen_than_can_be_told_apart(
    browser: Browser, site: Site
) -> None:
    browser.open(site.at("index.html"), FILLED)
    for place in range(8):
        browser.click(f"#rows tr:nth-child({place + 1}) input")
    assert browser.texts("#chosen") == ["8 runs chosen, as many as go."]
    assert (
        browser.run("return document.querySelectorAll('#rows input:enabled').length")
        == 8
    )
    browser.click("#rows tr:nth-child(2) input")
    assert (
        browser.run("return document.querySelectorAll('#rows input:enabled').length")
        == 50
    )


def test_a_run_that_is_not_there_is_told(browser: Browser, site: Site) -> None:
    browser.open(site.together(site.rows[:1]) + "," + "0" * 16, DRAWN)
    assert browser.texts("#fault") == [f"The run {'0' * 16} is not on this site."]
    assert len(browser.texts("#legend li")) == 1
    # The browser's own words on the file that is not there.
    (complaint,) = browser.complaints()
    assert "ERR_FILE_NOT_FOUND" in complaint


def test_nothing_chosen_says_where_to_choose(browser: Browser, site: Site) -> None:
    browser.open(site.at("compare.html"), DRAWN)
    assert browser.texts("#nothing")[0].startswith("No run is chosen.")
    assert browser.run("return document.getElementById('all').hidden")


# ------------------------------------------------------------------ verdicts


def test_verdicts_are_those_of_the_program(browser: Browser, site: Site) -> None:
    if not VECTORS.exists():
        pytest.skip("the cases of daq.analysis.across are not there")
    told = json.loads(VECTORS.read_text("utf-8"))
    browser.open(site.at("compare.html"), DRAWN)
    constants = browser.run("return gramwatt.across.CONSTANTS")
    close(constants, told["constants"], "constants")
    answers = browser.run(
        "return arguments[0].map(one => { const agreed = one.agreement?.[one.what];"
        "return gramwatt.across.holdAcross(one.what, one.first, one.second, agreed ?"
        "  {...agreed, biases: new Map(Object.entries(agreed.biases))} : null) })",
        told["cases"],
    )
    assert len(answers) == len(told["cases"]) >= 50
    for number, (case, answer) in enumerate(zip(told["cases"], answers, strict=True)):
        answer.pop("what", None)
        close(answer, case["expected"], f"case {number}")


def close(found: Any, wanted: Any, where: str) -> None:
    """Equal, numbers to a billionth of themselves."""
    if isinstance(wanted, dict):
        assert found.keys() == wanted.keys(), where
        for key, value in wanted.items():
            close(found[key], value, f"{where}, {key}")
    elif isinstance(wanted, list):
        assert len(found) == len(wanted), where
        for one, other in zip(found, wanted, strict=True):
            close(one, other, where)
    elif isinstance(wanted, float):
        assert found == pytest.approx(wanted, rel=1e-9, abs=1e-15), where
    else:
        assert found == wanted, where


def test_students_factor_is_scipys(browser: Browser, site: Site) -> None:
    browser.open(site.at("compare.html"), DRAWN)
    dofs = [1.0, 1.5, 2.0, 3.7, 8.0, 29.4, 60.0, 79.9, 80.1, 250.0, 1e4, 9e5]
    found = browser.run("return arguments[0].map(gramwatt.across.tFactor)", dofs)
    assert found == pytest.approx(list(stdtrit(np.array(dofs), 0.975)), rel=1e-10)
    # GUM, JCGM 100:2008, table G.2, to its digits.
    table = {1: 12.71, 2: 4.30, 5: 2.57, 10: 2.23, 50: 2.01}
    found = browser.run("return arguments[0].map(gramwatt.across.tFactor)", [*table])
    assert [round(one, 2) for one in found] == list(table.values())


def test_articles_are_held_against_each_other_in_words(
    browser: Browser, site: Site
) -> None:
    keys = sorted({row.shared.entry.article.key for row in site.rows})[:2]
    rows = [row for row in site.rows if row.shared.entry.article.key in keys][:8]
    browser.open(site.together(rows), DRAWN)
    verdicts = browser.texts("#verdicts .verdict-line, #verdicts .empty")
    assert len(verdicts) == 2
    names = {row.shared.entry.article.name for row in rows}
    for text in verdicts:
        assert all(name in text for name in names) or text.startswith("Not compared")
    assert "A specimen is not a model" in browser.texts("main")[0]
    browser.click("#verdicts summary")
    assert "Mounting again" in browser.texts("#verdicts details")[0]


def test_simulated_beside_measured_is_said_before_the_verdict_which_has_no_mark(
    browser: Browser, host: tuple[Path, str]
) -> None:
    shared = invented(24)
    key = shared[0].entry.article.key
    mixed = [_measured(one) if one.entry.article.key == key else one for one in shared]
    site = made(host, "mixed", mixed)
    families: dict[str, list[Listed]] = {}
    for row in site.rows:
        families.setdefault(row.shared.entry.article.key, []).append(row)
    real = families.pop(key)
    other = next(iter(families.values()))
    browser.open(site.together([real[0], other[0]]), DRAWN)
    assert (
        browser.texts("#caption .nature, .pair h3 .nature") == ["Partly invented"] * 2
    )
    order = browser.run(
        f"return {ALL}('.pair .simulated, .pair .part')].map(e => e.className)"
    )
    assert order[0] == "simulated"
    assert browser.texts(".pair .verdict-line .mark") == []
    assert browser.run("return document.getElementById('said').hidden")
    browser.open(site.together([other[0]]), DRAWN)
    assert browser.texts("#caption .nature") == ["Invented"]


def _measured(one: Shared) -> Shared:
    """The same, as if it had been measured."""
    evidence = one.entry.evidence.model_copy(
        update={"invented": False, "simulated": False}
    )
    return replace(one, entry=one.entry.model_copy(update={"evidence": evidence}))


def test_verdicts_rest_on_all_runs_or_on_the_chosen_alone(
    browser: Browser, site: Site
) -> None:
    families: dict[str, list[Listed]] = {}
    for row in site.rows:
        families.setdefault(row.shared.entry.article.key, []).append(row)
    one, other = sorted(families.values(), key=len)[-2:]
    browser.open(site.together([one[0], other[0]]), DRAWN)
    more = len(one) + len(other) - 2
    assert f"{more} runs more than chosen" in browser.texts("#verdicts")[0]
    counts = {f"{len(one)} and {len(other)}", f"{len(other)} and {len(one)}"}
    found = browser.run(f"return {ALL}('#verdicts details')].map(e => e.textContent)")
    assert all(any(f"({count})" in text for count in counts) for text in found)
    browser.click("[name=basis][value=chosen]")
    browser.wait(
        "return !document.getElementById('verdicts').innerText.includes('more)')"
    )
    found = browser.run(f"return {ALL}('#verdicts details')].map(e => e.textContent)")
    assert all("2 runs (1 and 1)" in text for text in found)
    assert "verdicts=chosen" in browser.driver.current_url


def test_one_article_alone_has_nothing_to_be_held_against(
    browser: Browser, site: Site
) -> None:
    browser.open(site.together(site.rows[:1]), DRAWN)
    assert "nothing to hold it against" in browser.texts("#verdicts")[0]
    before = len(browser.texts("#legend li"))
    browser.click("#verdicts button")
    browser.wait(f"return document.querySelectorAll('#legend li').length > {before}")


# ------------------------------------------------------------------ evidence


@pytest.mark.parametrize("hosted", [False, True])
def test_a_figure_is_one_click_from_its_evidence_and_raw_data(
    browser: Browser, site: Site, hosted: bool
) -> None:
    browser.open(site.at("index.html", hosted=hosted), FILLED)
    browser.click("#rows th a")
    browser.wait("return document.body.className === 'run'")
    row = site.rows[0]
    page = browser.texts("main")[0]
    for text in (
        row.shared.entry.evidence.words,
        row.shared.checked[0],
        row.shared.bundle_sha256,
        words.RECORD[row.shared.entry.evidence.record].capitalize(),
    ):
        assert text in page
    link: str = browser.run("return document.querySelector('.gets a').href")
    source = site.folder.parent / "site-bundles" / row.shared.bundle
    if hosted:
        with urlopen(link) as answer:
            assert answer.read() == source.read_bytes()
    else:
        assert (
            Path(unquote(link.removeprefix("file://"))).read_bytes()
            == source.read_bytes()
        )


def test_the_remade_report_is_a_click_away(browser: Browser, site: Site) -> None:
    (row,) = [row for row in site.rows if row.shared.report]
    browser.open(site.at(f"runs/{row.id}.html"))
    browser.click(".gets li:nth-child(2) a")
    browser.wait("return document.title === 'report'")


# ------------------------------------------------------------------ keyboard


def focused(browser: Browser) -> dict[str, Any]:
    """What has the focus, and whether that can be seen."""
    found: dict[str, Any] = browser.run(
        "const e = document.activeElement; const s = getComputedStyle(e);"
        "const seen = e.closest('.hit') || e;"
        "return {id: e.id, tag: e.tagName, text: (e.innerText || '').trim(),"
        " sort: e.dataset.sort || '', run: e.dataset.id || '',"
        " seen: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2}"
    )
    return found


def tab_to(browser: Browser, wanted: Any) -> dict[str, Any]:
    """Tab on until something has the focus; all on the way can be seen to have it."""
    from selenium.webdriver.common.keys import Keys

    for _ in range(80):
        browser.press(Keys.TAB)
        found = focused(browser)
        assert found["seen"], found
        if wanted(found):
            return found
    raise AssertionError("no tab leads there")


def test_the_whole_job_by_keyboard_alone(browser: Browser, site: Site) -> None:
    from selenium.webdriver.common.keys import Keys

    browser.open(site.at("index.html"), FILLED)
    first = tab_to(browser, lambda e: True)
    assert first["text"] == "Skip to the page"
    browser.press(Keys.ENTER)
    tab_to(browser, lambda e: e["id"] == "weight")
    browser.press_with(Keys.CONTROL, "a")
    browser.press("100")
    tab_to(browser, lambda e: e["id"] == "search")
    browser.press("motor")
    browser.wait("return location.hash.includes('search=motor')")
    assert browser.run("return document.getElementById('weight').value") == "100"
    tab_to(browser, lambda e: e["sort"] == "specific")
    browser.press(Keys.ENTER)
    assert focused(browser)["sort"] == "specific"  # still there after the sort
    assert "descending" in browser.run(
        "return document.activeElement.closest('th').getAttribute('aria-sort')"
    )
    chosen = []
    for _ in range(2):
        chosen.append(tab_to(browser, lambda e: e["run"])["run"])
        browser.press(Keys.SPACE)
    # The way from a chosen row to what is done with it is short.
    browser.press(Keys.TAB)
    assert focused(browser)["text"] == "Go to the chosen runs"
    browser.press(Keys.ENTER)
    assert focused(browser)["id"] == "compare"
    browser.press(Keys.ENTER)
    browser.wait(DRAWN)
    tab_to(browser, lambda e: e["tag"] == "INPUT")
    browser.press(Keys.ARROW_DOWN)
    caption = "return document.getElementById('caption').textContent"
    browser.wait(f"{caption}.startsWith('Thrust against throttle')")
    tab_to(browser, lambda e: e["text"] == "The same as figures")
    browser.press(Keys.ENTER)
    assert browser.run("return document.getElementById('values-all').open")
    browser.press_with(Keys.SHIFT, Keys.TAB)
    legend = browser.run(f"return {ALL}('#legend button')].map(e => e.dataset.id)")
    assert sorted(legend) == sorted(chosen)


def test_taking_a_run_out_leaves_the_focus_somewhere(
    browser: Browser, site: Site
) -> None:
    from selenium.webdriver.common.keys import Keys

    browser.open(site.together(site.rows[:2]), DRAWN)
    for left in (1, 0):
        tab_to(browser, lambda e: e["text"] == "Take out")
        browser.press(Keys.ENTER)
        browser.wait(f"return document.body.dataset.ready === '{left}'")
        assert focused(browser)["tag"] in ("BUTTON", "A")
        browser.press_with(Keys.SHIFT, Keys.TAB)


# ------------------------------------------------------------------ every page


def pages(site: Site) -> dict[str, tuple[str, str]]:
    """Every kind of page and state of it: its address, and when it is ready."""
    rows = site.rows
    some = ",".join(row.id for row in rows[:3])
    return {
        "table": (site.at("index.html"), FILLED),
        "table, chosen": (site.at(f"index.html#runs={some}&weight=abc"), FILLED),
        "table, none fits": (site.at("index.html#search=nothing-like-it"), FILLED),
        "curves": (site.together(rows[:3]), DRAWN),
        "curves, none": (site.at("compare.html"), DRAWN),
        "run": (site.at(f"runs/{rows[0].id}.html"), "return true"),
        "stands": (site.at("stands.html"), "return true"),
        "read": (site.at("read.html"), "return true"),
        "refused": (site.at("refused.html"), "return true"),
    }


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("size", [DESKTOP, PHONE])
def test_no_page_has_a_barrier(
    browser: Browser,
    site: Site,
    hostile_site: Site,
    size: tuple[int, int],
    dark: bool,
) -> None:
    browser.set_screen(size, dark=dark)
    for one in (site, hostile_site):
        for name, (address, ready) in pages(one).items():
            browser.open(address, ready)
            browser.run(
                "for (const e of document.querySelectorAll('details')) e.open = true"
            )
            assert browser.violations() == [], name
            assert browser.sideways() <= 0, name


@pytest.mark.parametrize("width", [320, 390, 620, 940, 1090, 1366, 1920])
def test_nothing_of_the_table_spills_over_at_any_width(
    browser: Browser, site: Site, hostile_site: Site, width: int
) -> None:
    browser.set_screen((width, 900))
    for one in (site, hostile_site):
        browser.open(one.at("index.html"), FILLED)
        assert browser.sideways() <= 0
        spilling = browser.run(
            f"return {ALL}('#runs th, #runs td')].filter("
            "e => e.clientWidth && e.scrollWidth > e.clientWidth + 1)"
            ".map(e => e.innerText)"
        )
        assert spilling == []
        boxes = browser.run(
            f"return {ALL}('#headings button')].map(e => e.getBoundingClientRect())"
        )
        for box, other in combinations(boxes, 2):
            beside = (
                box["right"] <= other["left"] + 1 or other["right"] <= box["left"] + 1
            )
            assert beside or box["bottom"] <= other["top"] + 1


def test_an_empty_club_and_one_of_a_single_run(
    browser: Browser, host: tuple[Path, str]
) -> None:
    empty = made(host, "empty", [])
    browser.open(empty.at("index.html"))
    assert browser.texts(".empty")[0].startswith("No run has been taken in yet.")
    assert browser.violations() == []
    one = made(host, "one", invented(1))
    browser.open(one.at("index.html"), FILLED)
    assert len(shown(browser)) == 1
    assert browser.texts(".lead") == ["1 run of 1 article on 1 stand."]
    assert browser.run("return document.getElementById('paging').hidden")
    browser.open(one.together(one.rows), DRAWN)
    assert "nothing to hold it against" in browser.texts("#verdicts")[0]


def test_hostile_names_stay_text(browser: Browser, hostile_site: Site) -> None:
    rows = hostile_site.rows
    browser.open(hostile_site.at("index.html"), FILLED)
    names = {row.shared.entry.article.name for row in rows}
    assert names == set(NAMES)
    found = browser.run(
        "return [...document.querySelectorAll('#rows th a')].map(e => e.textContent)"
    )
    assert {text.replace("\N{NO-BREAK SPACE}", " ") for text in found} == {
        name.replace("\N{NO-BREAK SPACE}", " ") for name in names
    }
    nothing_ran(browser)
    for begin in range(0, len(rows), 8):
        browser.open(hostile_site.together(rows[begin : begin + 8]), DRAWN)
        nothing_ran(browser)
        legend = browser.run(
            "return [...document.querySelectorAll('#legend a')].map(e => e.textContent)"
        )
        assert set(legend) <= names
    for row in rows:
        browser.open(hostile_site.at(f"runs/{row.id}.html"))
        nothing_ran(browser)
        assert (
            browser.run("return document.querySelector('h1').textContent").split()
            == row.shared.entry.article.name.split()
        )
        # Its download, whose name needs escaping in an address, is there.
        link = browser.run("return document.querySelector('.gets a').href")
        assert Path(unquote(link.removeprefix("file://"))).is_file()


def nothing_ran(browser: Browser) -> None:
    """No element was made of a name, and no script of a stranger ran."""
    assert (
        browser.run(
            "return document.querySelectorAll('img, b, sub, i, iframe, object, embed,"
            ' script:not([src]), [onerror], [onload], a[href^="javascript" i]\').length'
        )
        == 0
    )
    assert browser.run("return ({}).texts === undefined")


def test_curves_are_told_in_figures_where_the_library_is_missing(
    browser: Browser, host: tuple[Path, str]
) -> None:
    site = made(host, "without", invented(2))
    (site.folder / "own" / "plotly.min.js").unlink()
    browser.open(site.together(site.rows), DRAWN)
    assert "is not beside this page" in browser.texts("#fault")[0]
    assert browser.run("return document.getElementById('values-all').open")
    (complaint,) = browser.complaints()
    assert "ERR_FILE_NOT_FOUND" in complaint


def test_a_policy_keeps_script_in_a_page_from_running(
    browser: Browser, host: tuple[Path, str]
) -> None:
    site = made(host, "tampered", invented(1))
    page = site.folder / "index.html"
    text = page.read_text("utf-8").replace(
        "</body>",
        "<script>window.ran = true</script><img src=x onerror=ran=true></body>",
    )
    page.write_text(text, encoding="utf-8")
    browser.open(site.at("index.html"), FILLED)
    assert browser.run("return window.ran === undefined")
    assert any("Content Security Policy" in one for one in browser.complaints())
