"""The whole site: same input, same bytes; links lead somewhere; text stays text."""

import html
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from typing_extensions import override

from daq.errors import InputFault, WorldFault
from tests.club.invented import bundles_of, invented, refused
from tests.ui.club.site.hostile import NAMES, hostile
from ui.club.site import pages_plain
from ui.club.site.build import PLOTLY, Built, build_site
from ui.club.site.listing import listed
from ui.club.site.shared import Refused, Shared

CLUB = "Tern Lane Model Flyers"


class Agreement:
    """What a round robin found, as the site takes it."""

    def __init__(self, scales: Sequence[str], consensus_u: float = 0.008) -> None:
        self._scales = scales
        self._consensus_u = consensus_u

    def to_dict(self) -> dict[str, Any]:
        """As ``daq.analysis.across`` writes it."""
        biases = {
            scale: {"log": 0.01 * place - 0.02, "u": 0.004, "dof": 8.0}
            for place, scale in enumerate(self._scales)
        }
        return {
            "specific thrust": {
                "within": {"sd": 0.006, "dof": 12.0},
                "between": {"sd": 0.018, "dof": 1.0},
                "consensus_u": self._consensus_u,
                "biases": biases,
            },
            "thrust": {
                "within": None,
                "between": None,
                "consensus_u": 0.0,
                "biases": {},
            },
        }


def built(
    folder: Path,
    shared: Sequence[Shared],
    refusals: Sequence[Refused] = (),
    agreement: Agreement | None = None,
) -> Built:
    """A site of some runs, in ``folder / "site"``."""
    bundles_of(shared, folder / "bundles")
    return build_site(
        shared, refusals, agreement, CLUB, folder / "site", folder / "bundles"
    )


def content(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, but the library, which is large."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != Path(PLOTLY).name
    }


class Links(HTMLParser):
    """What a page links to, and which elements and attributes it has."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.links: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page.decode())

    @override
    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.links += [v for name, v in attrs if name in ("href", "src") and v]


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    shared = invented(20)
    scales = sorted({one.entry.scale for one in shared})[:3]
    built(tmp_path / "a", shared, refused(), Agreement(scales))
    built(tmp_path / "b", shared[::-1], refused()[::-1], Agreement(scales))
    assert content(tmp_path / "a" / "site") == content(tmp_path / "b" / "site")


def test_an_unchanged_site_is_left_as_it_is(tmp_path: Path) -> None:
    shared = invented(12)
    first = built(tmp_path, shared)
    again = built(tmp_path, shared)
    assert first.files.left == 0
    assert (again.files.written, again.files.removed) == (0, 0)
    assert again.files.left == first.files.written


def test_a_run_that_is_gone_takes_its_files_along(tmp_path: Path) -> None:
    shared = invented(6)
    built(tmp_path, shared)
    done = built(tmp_path, shared[:-1])
    assert done.files.removed == 3  # its page, its data and its bundle
    gone = listed(shared[-1:])[0][0].id
    assert not list((tmp_path / "site").rglob(f"{gone}.*"))
    assert not (tmp_path / "site" / "bundles" / shared[-1].bundle).exists()


def test_only_what_a_change_touches_is_written(tmp_path: Path) -> None:
    shared = invented(10, articles=10)
    built(tmp_path, shared)
    changed = [replace(shared[0], licence="CC0"), *shared[1:]]
    done = built(tmp_path, changed)
    name = listed(shared[:1])[0][0].id
    assert done.files.written == 2  # its page, and the table for spreadsheets
    page = (tmp_path / "site" / "runs" / f"{name}.html").read_text(encoding="utf-8")
    assert "CC0" in page


@pytest.mark.parametrize("kind", ["many", "one", "none", "hostile"])
def test_every_link_leads_to_a_file_of_the_site(tmp_path: Path, kind: str) -> None:
    shared = {
        "many": invented(15),
        "one": invented(1),
        "none": [],
        "hostile": hostile(),
    }[kind]
    scales = sorted({one.entry.scale for one in shared})
    if shared:
        report = tmp_path / "report.html"
        report.write_text("<!DOCTYPE html><title>report</title>")
        shared = [replace(shared[0], report=report), *shared[1:]]
    built(tmp_path, shared, refused(), Agreement(scales) if scales else None)
    site = tmp_path / "site"
    for path in site.rglob("*.html"):
        for link in Links(path.read_bytes()).links:
            name = unquote(link.partition("#")[0])
            assert "://" not in link
            assert not name or (path.parent / name).resolve().is_file(), link
    downloads = (
        {path.name for path in (site / "bundles").glob("*")} if shared else set()
    )
    assert downloads == {one.bundle for one in shared}


def test_bundle_and_report_are_copied_as_they_are(tmp_path: Path) -> None:
    report = tmp_path / "page.html"
    report.write_bytes(b"<!DOCTYPE html>\r\n<title>report</title>")
    (one,) = invented(1)
    built(tmp_path, [replace(one, report=report)])
    site = tmp_path / "site"
    name = listed([one])[0][0].id
    source = tmp_path / "bundles" / one.bundle
    assert (site / "bundles" / one.bundle).read_bytes() == source.read_bytes()
    assert (site / "reports" / f"{name}.html").read_bytes() == report.read_bytes()


def test_names_stay_text_on_every_page(tmp_path: Path) -> None:
    refusals = [Refused(f"{name}.zip", name) for name in NAMES]
    shared = hostile()
    plain = invented(len(NAMES), seed=3, articles=len(NAMES))
    built(tmp_path / "hostile", shared, refusals)
    built(tmp_path / "plain", plain, [Refused("a.zip", "no")] * len(NAMES))

    def tags(page: Path) -> list[tuple[str, list[str]]]:
        found = Links(page.read_bytes()).tags
        return [(tag, sorted(attributes)) for tag, attributes in found]

    for name in ("index", "refused", "read", "compare"):
        pages = [
            tmp_path / kind / "site" / f"{name}.html" for kind in ("hostile", "plain")
        ]
        assert tags(pages[0]) == tags(pages[1])
    for one in listed(shared)[0]:
        page = tmp_path / "hostile" / "site" / "runs" / f"{one.id}.html"
        found = tags(page)
        assert not any(name.startswith("on") for _, names in found for name in names)
        assert {tag for tag, _ in found} <= OURS
        assert one.shared.by.split()[0] in html.unescape(page.read_text("utf-8"))
    for path in (tmp_path / "hostile" / "site").rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "<script>" not in text
        assert "<img" not in text
        assert "javascript:" not in re.sub(r"&[a-z#0-9]+;[^<]*", "", text)


OURS = {
    *("html", "head", "meta", "title", "link", "body", "header", "nav", "main"),
    *("footer", "section", "div", "span", "small", "strong", "a", "p", "h1", "h2"),
    *("h3", "ul", "ol", "li", "dl", "dt", "dd", "figure", "figcaption"),
    *("svg", "circle", "path", "polygon", "polyline", "text"),
}


def test_a_policy_forbids_all_but_our_own_files(tmp_path: Path) -> None:
    built(tmp_path, invented(3), refused())
    for path in (tmp_path / "site").rglob("*.html"):
        found = Links(path.read_bytes()).tags
        (policy,) = [
            attributes["content"] or ""
            for tag, attributes in found
            if tag == "meta" and "http-equiv" in attributes
        ]
        parts = dict(part.split(" ", 1) for part in policy.split("; "))
        assert parts["default-src"] == "'none'"
        assert parts["script-src"] == "'self'"
        assert parts["base-uri"] == "'none'"
        inline = "'unsafe-inline'" in parts["style-src"]
        assert inline == (path.name == "compare.html")  # which draws with plotly
        for tag, attributes in found:
            assert tag != "style"
            assert "style" not in attributes
            assert tag != "script" or attributes.get("src")


@pytest.mark.parametrize(
    "name", ["../b.zip", "/b.zip", "a/../b.zip", "", ".", "a\\b.zip", "c:b.zip", "a//b"]
)
def test_a_bundle_is_never_copied_from_elsewhere(tmp_path: Path, name: str) -> None:
    (one,) = invented(1)
    bundles = tmp_path / "bundles"
    bundles.mkdir()
    with pytest.raises(InputFault, match="no name of a file"):
        build_site(
            [replace(one, bundle=name)], [], None, CLUB, tmp_path / "site", bundles
        )


def test_a_bundle_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(WorldFault, match="cannot be written"):
        build_site(invented(1), [], None, CLUB, tmp_path / "site", tmp_path)


def test_a_report_that_is_gone_is_told(tmp_path: Path) -> None:
    (one,) = invented(1)
    with pytest.raises(WorldFault, match=r"none\.html cannot be read"):
        built(tmp_path, [replace(one, report=tmp_path / "none.html")])


def test_every_row_says_that_it_is_invented(tmp_path: Path) -> None:
    shared = invented(5)
    built(tmp_path, shared)
    site = tmp_path / "site"
    script = (site / "data" / "runs.js").read_text("ascii")
    data = json.loads(script[script.index(",") + 1 : -3])
    assert data["nature"] == [2] * len(shared)
    assert "Every run here is invented" in (site / "index.html").read_text("utf-8")
    for path in (site / "runs").glob("*.html"):
        text = path.read_text("utf-8")
        assert "Invented: made up" in text
        drawings = re.findall(r'<svg class="curve".*?</svg>', text)
        assert drawings
        assert all(">invented</text>" in drawing for drawing in drawings)


def test_biases_are_told_with_their_intervals(tmp_path: Path) -> None:
    shared = invented(12)
    first = shared[0].entry
    built(tmp_path, shared, (), Agreement([first.scale], consensus_u=0.0))
    text = (tmp_path / "site" / "stands.html").read_text("utf-8")
    assert first.evidence.stand in text
    assert "Every stand here is invented: nothing was measured." in text
    assert '<span class="nature">Invented</span>' in text
    # log -0.02, u 0.004, eight degrees of freedom: t is 2.306 (GUM, table G.2).
    assert "\N{MINUS SIGN}1.98" in text
    assert "\N{MINUS SIGN}2.88 to \N{MINUS SIGN}1.07" in text
    assert "1 degree of freedom" in html.unescape(text)


def test_what_the_consensus_is_uncertain_by_is_in_each_stands_interval(
    tmp_path: Path,
) -> None:
    shared = invented(12)
    scale = shared[0].entry.scale
    found = {
        "within": {"sd": 0.006, "dof": 1e9},
        "between": {"sd": 0.018, "dof": 1e9},
        "consensus_u": 0.004,
        "biases": {scale: {"log": 0.02, "u": 0.003, "dof": 1e9}},
    }
    rows, _ = listed(shared)
    (part,) = pages_plain.stands_page(rows, {"thrust": found}).parts
    (bias,) = part.biases
    # 3, 4 and 5; the normal distribution's 1.96 (GUM, table G.1): exp(0.02 -+ 0.0098).
    assert (bias.value, bias.interval) == ("+2.0 %", "1.0 to 3.0 %")
