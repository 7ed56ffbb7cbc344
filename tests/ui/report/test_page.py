"""The page of a whole run: what stands on it, and that it needs nothing else."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from daq.analysis.rounding import figure
from daq.errors import WorldFault
from daq.link.messages import Ability
from tests.test_structure import imported_by
from tests.ui.report.built import again, with_header
from tests.ui.report.reading import Read, read
from tests.ui.test_calibrations import thrust, voltage
from ui.cautions import CAUTION
from ui.report.figures import headlines
from ui.report.page import render, write_report
from ui.report.setup import zero_lines
from ui.results import Results, analyse_folder

LARGEST_BYTES = 300_000
MINUS = "\N{MINUS SIGN}"
SIMULATED = "Simulated: no hardware, no motor, nothing was measured."
EVIL = "<script>alert(1)</script>\"'><img src=https://example.org/x onerror=a>"


# ------------------------------------------------------------ a page by itself


def test_every_element_is_closed_and_every_name_is_used_once(page: Read) -> None:
    names = [str(a["id"]) for _, a in page.tags if "id" in a]
    assert sorted(set(names)) == sorted(names)
    pointed = [ref[1:] for ref in page.references() if ref.startswith("#")]
    pointed += [
        name
        for _, attributes in page.tags
        for name in str(attributes.get("aria-labelledby") or "").split()
    ]
    assert len(pointed) > 20
    assert set(pointed) <= set(names)


def test_the_page_loads_and_runs_nothing(text: str, page: Read) -> None:
    assert [ref for ref in page.references() if not ref.startswith("#")] == []
    assert "://" not in text
    tags = {tag for tag, _ in page.tags}
    assert not tags & {"script", "link", "img", "iframe", "object", "embed", "base"}
    assert not [a for _, a in page.tags if any(name.startswith("on") for name in a)]


def test_the_page_forbids_itself_to_load_anything(page: Read) -> None:
    policy = [
        str(a.get("content"))
        for tag, a in page.tags
        if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    ]
    assert policy == ["default-src 'none'; style-src 'unsafe-inline'"]


def test_the_page_is_of_a_size_to_be_mailed(text: str) -> None:
    assert 50_000 < len(text.encode()) < LARGEST_BYTES


def test_the_same_run_gives_the_same_bytes(results: Results, text: str) -> None:
    assert render(results) == text


def test_a_run_moved_elsewhere_gives_the_same_bytes(
    results: Results, text: str, tmp_path: Path
) -> None:
    moved = tmp_path / results.run.folder.name
    shutil.copytree(results.run.folder, moved)
    run = replace(results.run, folder=moved)
    assert render(replace(results, run=run, folder=moved / "derived")) == text


def test_the_machine_has_no_say_in_the_look(results: Results, text: str) -> None:
    import matplotlib as mpl

    with mpl.rc_context(
        {"axes.facecolor": "red", "font.size": 30, "lines.marker": "o"}
    ):
        assert render(results) == text


def test_heavy_packages_wait_until_a_page_is_drawn() -> None:
    heavy = {"matplotlib", "jinja2", "scipy", "pandas", "pydantic"}
    assert not imported_by("import ui.report.page") & heavy


def test_the_page_is_written_to_its_file(
    results: Results, text: str, tmp_path: Path
) -> None:
    path = tmp_path / "report.html"
    write_report(results, path)
    assert path.read_bytes() == text.encode()


def test_a_page_that_cannot_be_written_is_one_sentence(
    results: Results, tmp_path: Path
) -> None:
    path = tmp_path / "not there" / "report.html"
    with pytest.raises(WorldFault, match="cannot be written: No such file"):
        write_report(results, path)


# ------------------------------------------------------------ what stands on it


def test_title_protocol_date_and_run_head_the_page(
    page: Read, results: Results
) -> None:
    assert page.within("h1") == ["Indoor quad, motor A"]
    head = page.within("header")
    for words in (
        "Four levels up and down",
        "2026-05-09 14:02 UTC",
        "00007e51, simulated",
        results.run.folder.name,
    ):
        assert words in head


def test_a_simulated_run_says_so_at_the_top_and_in_every_chart(page: Read) -> None:
    assert page.text().count(SIMULATED) == 1
    banner = [a for _, a in page.tags if a.get("class") == "simulated"]
    assert len(banner) == 1
    charts = [a for tag, a in page.tags if tag == "svg" and a.get("role") == "img"]
    assert page.within("svg").count("simulated") == len(charts) == 8
    assert all("Simulated." in words for words in page.within("desc"))
    assert "(simulated)" in page.within("title")[0]


def test_a_run_of_a_real_stand_does_not_say_simulated(results: Results) -> None:
    claimed = with_header(results, simulated=False)
    assert claimed.run.stand is not None
    identity = claimed.run.stand.identity
    # A simulated stand may say so itself, in its abilities.
    kept = Ability(0)
    for ability in identity.abilities:
        kept |= Ability(0) if ability.name == "SIMULATED" else ability
    stand = replace(claimed.run.stand, identity=replace(identity, abilities=kept))
    real = read(render(again(replace(claimed.run, stand=stand))))
    assert not [a for _, a in real.tags if a.get("class") == "simulated"]
    assert SIMULATED not in real.text()
    assert "simulated" not in real.within("svg")


def test_end_cause_data_and_record_are_four_facts(page: Read) -> None:
    text = page.text()
    for words in (
        "How it ended Completed",
        "Why The plan was walked to its end.",
        "Are the data good Whole",
        "The record Sealed and intact",
    ):
        assert words in text


def test_every_finding_stands_with_its_grounds_and_cautions(
    page: Read, results: Results
) -> None:
    assert results.analysis is not None
    assert len(results.analysis.findings) > 10
    sentences, text = page.within("li"), page.text()
    for finding in results.analysis.findings:
        assert finding.sentence in sentences
        assert all(ground in text for ground in finding.rests_on)
        assert set(finding.cautions) - {SIMULATED} <= set(sentences)
    assert SIMULATED not in sentences, "the head says it of everything"
    folded = [tag for tag, _ in page.tags if tag == "details"]
    assert len(folded) >= len(results.analysis.findings)


def test_limits_stand_against_what_the_guard_read_whatever_the_calibration(
    page: Read, folder: Path
) -> None:
    calibrated = read(render(analyse_folder(folder, [thrust(), voltage()])))
    assert "by the calibration thrust-" in calibrated.text()
    nominal = [words for words in page.within("p") if "while armed" in words]
    assert len(nominal) == 4
    assert [w for w in calibrated.within("p") if "while armed" in w] == nominal


def test_large_figures_are_those_of_the_findings(page: Read, results: Results) -> None:
    assert results.analysis is not None
    by_id = {finding.id: finding for finding in results.analysis.findings}
    text = page.text()
    for name, label in (
        ("max-thrust", "Highest thrust"),
        ("hover-endurance", "Hover, predicted"),
        ("specific-thrust-best", "Best thrust per watt"),
    ):
        found = by_id[name]
        assert found.value is not None
        assert found.low is not None
        assert found.high is not None
        half = (found.high - found.low) / 2
        low, value, high = (
            figure(x, half) for x in (found.low, found.value, found.high)
        )
        unit = found.unit
        assert f"{label} {value} {unit} 95 % interval {low} to {high} {unit}" in text


def test_the_table_holds_the_plateaus_as_analysed(text: str, results: Results) -> None:
    assert results.analysis is not None
    rows = results.analysis.rows()
    table = text[text.index('<table class="plateaus">') :]
    shown = re.findall(r"<tr>(.*?)</tr>", table[: table.index("</table>")], re.DOTALL)[
        1:
    ]
    assert len(shown) == len(rows) == 8
    columns = ("thrust_gf", "current_a", "voltage_v", "power_w", "speed_rpm")
    for row, line in zip(rows, shown, strict=True):
        cells = re.findall(r"<td>([\d.]+)<small>&plusmn; ([\d.]+)</small>", line)
        assert len(cells) == 6
        for key, (value, half) in zip(
            (*columns, "specific_thrust_gf_w"), cells, strict=True
        ):
            place = len(half.partition(".")[2])
            name, _, unit = key.partition("_")
            if key == "specific_thrust_gf_w":
                name, unit = "specific_thrust", "gf_w"
            exact, u = row[key], row[f"{name}_u_{unit}"]
            assert isinstance(exact, float)
            assert isinstance(u, float)
            # Two digits: the value is off by half of the last of them at most.
            step = 10.0 ** (-place if place else max(len(half) - 2, 0))
            assert abs(float(value) - exact) <= 0.5001 * step
            # 95 % is 1.96 standard uncertainties or more (GUM table G.2).
            assert float(half) + step / 2 >= 1.9599 * u


def test_limits_article_stand_link_and_hash_are_on_the_page(
    page: Read, results: Results
) -> None:
    text = page.text()
    for words in (
        "Plug 12 A, tight",
        "Acts after 3 samples in a row outside",
        "motor A, 1404 size, 4600 Kv",
        "Diameter, measured 76.2 mm",
        "Tern Lane Model Flyers",
        "lease, limits, stop loop, pulse readback",
        f"Frames understood {results.run.health.frames}",
        "Frames damaged on the wire 0",
        "thrust force point 43800 /N",
        "Zero before arming, for the guard thrust 119 gf",
        "Zero in the rest from 0.0 s thrust 119",
        "Highest current, held 14 A",
        "Recorded by gramwatt 0",
        CAUTION,
    ):
        assert words in text, words
    sealed = results.run.descriptor["resources"]
    assert isinstance(sealed, list)
    assert sealed[0]["hash"] in text


def test_only_thrust_and_current_are_said_to_be_zeroed(results: Results) -> None:
    lines = dict(zero_lines(results.run, results.analysis))
    zeroed = lines["Zero before arming, for the guard"]
    assert [part.split()[0] for part in zeroed.split(", ")] == ["thrust", "current"]
    read_at_rest = lines["Read at rest before arming"]
    assert {"voltage", "speed"} <= {p.split()[0] for p in read_at_rest.split(", ")}


def test_the_only_level_is_not_told_as_the_highest_or_best(results: Results) -> None:
    assert results.analysis is not None
    told = headlines(results.analysis.findings, one_level=True)
    assert [one.label for one in told] == [
        "Thrust",
        "Thrust per watt",
        "Sag from rest",
        "Pack under load",
    ]


def test_a_minus_of_a_limit_is_a_minus_sign(page: Read) -> None:
    seen = page.text()
    assert f"{MINUS}3 to 12 A" in seen
    assert "-3 to 12 A" not in seen


def test_a_table_wider_than_a_phone_says_that_it_scrolls(page: Read) -> None:
    tables = [a for tag, a in page.tags if a.get("class") == "scroll"]
    said = [words for words in page.within("p") if "scrolls sideways" in words]
    assert len(said) == len(tables) == 2
    narrow = page.style[page.style.index("@media (max-width: 38rem)") :]
    assert ".sideways { display: block; }" in narrow[: narrow.index("@media print")]
    assert ".sideways { display: none; }" in narrow[narrow.index("@media print") :]


def test_how_the_figures_were_made_is_told(page: Read) -> None:
    text = page.text()
    assert "The first 0.60 s after the throttle reached its level are cut off" in text
    assert "95 times in 100" in text
    assert "No check mass and no meter was used" in text
    # By hand for 21 degC, 1008 hPa, 45 % (2487 Pa saturated, handbook): dry air and
    # vapour as ideal gases give 1.1888 kg/m3; over Z = 0.9996 that is 1.1893.
    assert "Air density was taken as 1.189" in text


def test_every_heading_of_figures_has_its_unit(text: str) -> None:
    table = text[text.index('<table class="plateaus">') :]
    head = table[: table.index("</thead>")]
    units = re.findall(r"<small>([^<]*)</small>", head)
    assert units == ["%", "gf", "A", "V", "W", "rpm", "g/W"]


# ------------------------------------------------------------ names of strangers


@pytest.fixture(scope="module")
def hostile(results: Results) -> str:
    header = results.run.header
    article, task = header["article"], header["task"]
    assert isinstance(article, dict)
    assert isinstance(task, dict)
    parts = {
        name: part | {"name": (name + EVIL).ljust(80, "W")[:80]}
        for name, part in article.items()
        if isinstance(part, dict) and "name" in part
    }
    limits = [limit | {"source": EVIL} for limit in task["limits"]]
    changed = with_header(
        results,
        article=article | parts | {"name": EVIL.ljust(80, "W"), "note": EVIL},
        utc=EVIL,
        versions={EVIL: EVIL},
        task=task
        | {"limits": limits, "plan": task["plan"] | {"title": EVIL, "protocol": EVIL}},
    )
    outcome = dict(changed.run.outcome or {}) | {"cause": EVIL, "advice": EVIL}
    return render(replace(changed, run=replace(changed.run, outcome=outcome)))


def test_names_of_strangers_are_text_and_nothing_else(hostile: str, page: Read) -> None:
    seen = read(hostile)
    assert [tag for tag, _ in seen.tags if tag in ("script", "img")] == []
    assert not [a for _, a in seen.tags if any(name.startswith("on") for name in a)]
    assert seen.text().count(EVIL) >= 8
    assert seen.within("h1") == [EVIL.ljust(80, "W")]
    assert {tag for tag, _ in seen.tags} == {tag for tag, _ in page.tags}
    assert [ref for ref in seen.references() if not ref.startswith("#")] == []


def test_a_name_without_a_space_may_break_anywhere(page: Read) -> None:
    body = re.search(r"\nbody \{([^}]*)\}", page.style)
    assert body is not None
    assert "overflow-wrap: anywhere" in body[1]
