"""Curves of several runs: the figures of the analysis, and what they do not say."""

import csv
import dataclasses
import io
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.ui.desktop.run_folders import add_findings, finding, make_run
from tests.ui.desktop.run_folders import sampled as sample_in
from ui.desktop.model.overlay import MOST, Overlay, overlay, short_labels, table
from ui.desktop.model.rows import Row, read_row
from ui.desktop.model.styles import Slots
from ui.desktop.model.traces import (
    FAMILIES,
    Family,
    Trace,
    Traces,
    read_trace,
    uncertainty_of,
)
from ui.results import analyse_folder

BY_KEY = {family.key: family for family in FAMILIES}
# 1 N in grams-force: 1000 g over standard gravity, 9.80665 m/s^2 (3rd CGPM, 1901).
GF_PER_N = 1000 / 9.80665


@pytest.fixture(scope="module")
def sampled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_in(tmp_path_factory.mktemp("runs"))


@pytest.fixture(scope="module")
def trace(sampled: Path) -> Trace:
    return read_trace(read_row(sampled))


@pytest.fixture
def copy(sampled: Path, tmp_path: Path) -> Path:
    made = tmp_path / "copy"
    shutil.copytree(sampled, made, ignore=shutil.ignore_patterns("*.parquet"))
    return made


def one(*traces: Trace, family: str = "thrust") -> Overlay:
    return overlay(traces, BY_KEY[family], Slots())


def other(trace: Trace, name: str, **changes: object) -> Trace:
    """The same curves under another name, and otherwise as asked."""
    of_row = {f.name for f in dataclasses.fields(Row)}
    row = dataclasses.replace(
        trace.row,
        folder=Path("/runs") / name,
        **{k: v for k, v in changes.items() if k in of_row},  # type: ignore[arg-type]
    )
    rest = {k: v for k, v in changes.items() if k not in of_row}
    return dataclasses.replace(trace, row=row, **rest)  # type: ignore[arg-type]


# ------------------------------------------------------------------ figures


@pytest.mark.parametrize(
    ("family", "x_scale", "y_scale"),
    [
        ("thrust", 100, GF_PER_N),
        ("current", 100, 1),
        ("power", 100, 1),
        ("thrust-power", 1, GF_PER_N),
        ("specific", GF_PER_N, GF_PER_N),
    ],
)
def test_curves_bands_and_plateaus_are_those_of_the_analysis(
    sampled: Path, trace: Trace, family: str, x_scale: float, y_scale: float
) -> None:
    analysis = analyse_folder(sampled).analysis
    assert analysis is not None
    line = one(trace, family=family).lines[0]
    curve = analysis.evidence.curve(BY_KEY[family].curve)
    assert curve is not None
    known = np.clip(line.x / x_scale, curve.x.min(), curve.x.max())  # no rounding out
    y, low, high = curve.band(known)
    assert line.y == pytest.approx(y * y_scale, rel=1e-9)
    assert line.low == pytest.approx(low * y_scale, rel=1e-9)
    assert line.high == pytest.approx(high * y_scale, rel=1e-9)
    rows = analysis.rows()
    for drawn, column, scale in (
        (line.points_x, BY_KEY[family].x_column, x_scale),
        (line.points_y, BY_KEY[family].y_column, y_scale),
    ):
        wanted = [float(str(row[column])) * scale for row in rows]
        assert drawn == pytest.approx(wanted, rel=1e-9)
    assert line.rising.tolist() == [True] * 6 + [False] * 6
    # JCGM 100:2008, 6.2.1 and 6.3.3: U = k u, with k = 2.
    u_name = uncertainty_of(BY_KEY[family].y_column)
    expanded = [2 * float(str(row[u_name])) * y_scale for row in rows]
    assert line.points_y_u == pytest.approx(expanded, rel=1e-9)
    assert (line.points_y_u > 0).all()


def test_bars_on_markers_are_told_and_those_that_nobody_knows_are_not(
    trace: Trace,
) -> None:
    assert "Bars on markers are 2 standard uncertainties" in " ".join(
        one(trace).remarks
    )
    points = trace.points["thrust"]
    bare = dataclasses.replace(points, y_u=np.full(points.y.size, math.nan))
    shown = one(other(trace, "b", points={"thrust": bare}, curves={}))
    assert "Bars on markers" not in " ".join(shown.remarks)
    assert math.isfinite(shown.y_range[1])


def test_findings_cautions_and_the_stand_come_with_it(
    sampled: Path, trace: Trace
) -> None:
    results = analyse_folder(sampled)
    assert list(trace.findings) == results.sentences()
    assert "Simulated: no hardware, no motor, nothing was measured." in trace.cautions
    assert len(set(trace.cautions)) == len(trace.cautions)
    assert results.run.stand is not None
    stand_id = results.run.stand.identity.stand_id
    assert trace.stand == f"{stand_id:08x} on simulated"
    assert trace.nominal
    assert not trace.stale
    assert not trace.faults


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.key)
def test_axes_hold_every_plateau_and_curve(trace: Trace, family: Family) -> None:
    shown = one(trace, other(trace, "b"), family=family.key)
    for line in shown.lines:
        for values, (low, high) in (
            (np.append(line.points_x, line.x), shown.x_range),
            (np.append(line.points_y, line.y), shown.y_range),
        ):
            assert low <= values.min()
            assert values.max() <= high
    assert shown.y_range[0] <= 0


def test_a_band_without_end_does_not_squash_what_was_measured(trace: Trace) -> None:
    curve = trace.curves["thrust"]
    wide = dataclasses.replace(curve, low=curve.low - 1e6, high=curve.high + 1e6)
    shown = one(other(trace, "b", curves={"thrust": wide}))
    assert shown.y_range[1] - shown.y_range[0] < 3 * trace.points["thrust"].y.max() * (
        GF_PER_N
    )


def test_an_empty_plot_has_axes(trace: Trace) -> None:
    shown = one()
    assert shown.lines == ()
    assert shown.remarks == ()
    assert shown.y_range[0] < shown.y_range[1]


# ------------------------------------------------------------------ what is not said


def said(*traces: Trace, family: str = "thrust") -> str:
    return " ".join(one(*traces, family=family).remarks)


def test_what_is_simulated_says_so(trace: Trace) -> None:
    assert one(trace).simulated
    assert "It is simulated" in said(trace)
    assert "All of them are simulated" in said(trace, other(trace, "b"))
    real = other(trace, "real", simulated=False)
    beside = one(trace, real)
    assert beside.simulated
    assert any("Simulated beside real: " in words for words in beside.remarks)
    assert not one(real).simulated
    assert "imulated" not in said(real)


def test_other_stands_are_told(trace: Trace) -> None:
    same, else_ = other(trace, "b"), other(trace, "c", stand="00000002 on a board")
    assert "different stands" not in said(trace, same)
    assert "From 2 different stands" in said(trace, same, else_)
    unknown = other(trace, "d", stand="")
    assert "Nobody knows on which stand" in said(trace, unknown)


def test_nominal_and_foreign_figures_are_told(trace: Trace) -> None:
    assert "nominal, not calibrated" in said(trace)
    calibrated = other(trace, "b", nominal=False)
    assert "Nominal scale factors beside calibrated" in said(trace, calibrated)
    assert "ominal" not in said(calibrated)
    foreign = other(trace, "c", elsewhere=True, stand="")
    assert "Recorded elsewhere: " in said(trace, foreign)


def test_bands_are_said_to_prove_no_difference(trace: Trace) -> None:
    assert "cannot be read off bands" not in said(trace)
    assert "cannot be read off bands" in said(trace, other(trace, "b"))


def test_a_run_without_such_a_curve_is_named(trace: Trace) -> None:
    points = {k: v for k, v in trace.points.items() if k == "current"}
    bare = other(trace, "b", article="Bare motor", points=points, curves={})
    shown = one(trace, bare)
    assert [line.folder for line in shown.lines] == [trace.row.folder]
    assert "There is no thrust against throttle in: Bare motor." in shown.remarks
    line = one(trace, bare, family="current").lines[1]
    assert "no curve" in line.words


def test_more_than_fit_are_said_to_be_left_out(trace: Trace) -> None:
    many = [other(trace, str(number)) for number in range(MOST + 3)]
    shown = one(*many)
    assert len(shown.lines) == MOST
    assert f"Only {MOST} runs are drawn; 3 more are ticked." in shown.remarks


def test_styles_stay_when_the_family_changes(trace: Trace) -> None:
    slots = Slots()
    traces = [trace, other(trace, "b"), other(trace, "c")]
    before = overlay(traces, BY_KEY["thrust"], slots).lines
    after = overlay(traces[1:], BY_KEY["power"], slots).lines
    assert [line.style for line in after] == [line.style for line in before[1:]]


# ------------------------------------------------------------------ labels


@given(
    st.lists(
        st.tuples(st.sampled_from(["", "A", "B"]), st.sampled_from(["", "1", "2"])),
        max_size=9,
    )
)
def test_no_two_labels_are_alike(found: list[tuple[str, str]]) -> None:
    rows = [
        Row(Path(f"/{n % 2}/2026-{article}-{n // 2}"), article=article, date=date)
        for n, (article, date) in enumerate(found)
    ]
    labels = short_labels(rows)
    assert all(labels)
    assert len(
        {label for label, row in zip(labels, rows, strict=True) if row.article}
    ) == (sum(bool(row.article) for row in rows))


def test_a_label_is_no_longer_than_it_has_to_be() -> None:
    a = Row(Path("/r/x-1111"), article="Quad A", date="Monday")
    b = Row(Path("/r/x-2222"), article="Quad B", date="Monday")
    again = Row(Path("/r/x-3333"), article="Quad A", date="Tuesday")
    same = Row(Path("/r/x-4444"), article="Quad A", date="Tuesday")
    assert short_labels([a]) == ["Quad A, Monday"]
    assert short_labels([a, b]) == ["Quad A", "Quad B"]
    assert short_labels([a, b, again]) == [
        "Quad A, Monday",
        "Quad B",
        "Quad A, Tuesday",
    ]
    assert short_labels([again, same]) == [
        "Quad A, Tuesday, 3333",
        "Quad A, Tuesday, 4444",
    ]


# ------------------------------------------------------------------ damaged files


def test_a_run_without_derived_files_asks_to_be_worked_out(tmp_path: Path) -> None:
    trace = read_trace(read_row(make_run(tmp_path, "a")))
    assert trace.needs_making
    assert one(trace).lines == ()


def test_what_was_made_of_another_record_is_stale(copy: Path) -> None:
    path = copy / "derived" / "nominal" / "datapackage.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["gramwatt"]["wire_log_hash"] = "sha256:0"
    path.write_text(json.dumps(content), encoding="utf-8")
    trace = read_trace(read_row(copy))
    assert trace.stale
    assert trace.needs_making
    assert "another record" in said(trace)


def changed(band: dict[str, list[object]], how: str) -> None:
    if how == "short":
        band["y"] = band["y"][:-1]
    elif how == "turned":
        band["x"] = band["x"][::-1]
    elif how == "outside":
        band["low"] = band["high"]
        band["y"] = band["x"]
    elif how == "no number":
        band["y"][3] = "1"
    elif how == "beyond":
        band["y"][3] = 10**400
    elif how == "nan":
        band["y"][3] = float("nan")
    else:
        del band["high"]


@pytest.mark.parametrize(
    "how", ["short", "turned", "outside", "no number", "beyond", "nan", "missing"]
)
def test_a_damaged_curve_is_left_out_and_said(copy: Path, how: str) -> None:
    path = copy / "derived" / "nominal" / "curves.json"
    curves = json.loads(path.read_text(encoding="utf-8"))
    changed(curves[0]["band"], how)
    path.write_text(json.dumps(curves), encoding="utf-8")
    trace = read_trace(read_row(copy))
    assert "thrust" not in trace.curves
    assert "current" in trace.curves
    assert trace.faults == (
        "Thrust against throttle: its curve in curves.json is damaged.",
    )
    line = one(trace).lines[0]
    assert line.points_x.size == 12


@pytest.mark.parametrize("name", ["curves.json", "plateaus.csv", "findings.json"])
@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"{}", b"a,b\n1,2\n"])
def test_a_damaged_file_never_keeps_the_others_from_being_drawn(
    copy: Path, name: str, content: bytes
) -> None:
    (copy / "derived" / "nominal" / name).write_bytes(content)
    trace = read_trace(read_row(copy))
    shown = one(trace)
    line = shown.lines[0]
    assert (line.x.size > 0) == (name != "curves.json")
    assert (line.points_x.size > 0) == (name != "plateaus.csv")


def test_a_bare_motor_has_no_thrust_to_draw(copy: Path) -> None:
    path = copy / "datapackage.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    content["gramwatt"]["header"]["task"]["plan"]["propeller_off"] = True
    path.write_text(json.dumps(content), encoding="utf-8")
    trace = read_trace(read_row(copy))
    assert set(trace.points) == {"current", "power"}


def test_means_of_a_glide_are_not_called_plateaus(tmp_path: Path) -> None:
    run = make_run(tmp_path, "a", stand_id=7)
    derived = add_findings(run, finding("sag", 1.0, 0.1, "V")).parent
    (derived / "glides.csv").write_text(
        "glide,leg,throttle_frac,thrust_n,thrust_u_n\n1,up,0.1,0.5,0.01\n1,down,0.1,0.4,\n"
    )
    trace = read_trace(read_row(run))
    assert trace.stand == "00000007 on a board"
    line = one(trace).lines[0]
    assert line.points_y == pytest.approx([0.5 * GF_PER_N, 0.4 * GF_PER_N])
    assert "2 means of a moving throttle" in line.words
    assert "Read while the throttle moved" in said(trace)


def test_a_trace_is_read_once_until_its_files_change(
    copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    traces, row = Traces(), read_row(copy)
    first = traces.get(row)
    assert traces.get(row) is first
    add_findings(copy, finding("sag", 1.0, 0.1, "V"))
    assert traces.get(read_row(copy)).findings == ("sag was 1.0 V.",)


# ------------------------------------------------------------------ a table


def test_the_table_holds_what_is_drawn_with_units_in_its_head(trace: Trace) -> None:
    rows = table([trace], BY_KEY["specific"])
    plateaus = [row for row in rows if row["what"] == "plateau"]
    curve = [row for row in rows if row["what"] == "curve"]
    line = one(trace, family="specific").lines[0]
    assert [row["specific thrust, g/W"] for row in plateaus] == pytest.approx(
        line.points_y.tolist(), rel=1e-8
    )
    assert [row["low limit, g/W"] for row in curve] == pytest.approx(
        line.low.tolist(), rel=1e-8
    )
    assert {row["simulated"] for row in rows} == {"yes"}
    assert {row["scale factors"] for row in rows} == {"nominal"}
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]))
    writer.writerows(rows)  # every row has the same columns


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)"])
def test_no_spreadsheet_takes_a_name_for_a_formula(trace: Trace, name: str) -> None:
    rows = table([other(trace, "b", article=name)], BY_KEY["thrust"])
    assert {row["article"] for row in rows} == {f"'{name}"}


def test_what_a_run_was_is_in_its_words(trace: Trace) -> None:
    tripped = other(trace, "b", ended="tripped")
    assert one(tripped).lines[0].words == "simulated, tripped, 12 plateaus"
    assert one(trace).lines[0].words == "simulated, 12 plateaus"
