"""A run's folder to everything derived from it: the glue, and nothing else.

Puts records, calibration and analysis together, and writes what follows under
``derived/``. Nothing here measures, decides or draws; it can be done again at
any time from the wire log alone, and changes nothing else in the folder.
"""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import RecordFault, WorldFault

if TYPE_CHECKING:
    from daq.analysis.air import Air
    from daq.analysis.run import Analysis
    from daq.analysis.series import Hold, HoldKind, HoldLeg, Series
    from daq.records.read import Run
    from daq.records.shelf import Article
    from ui.stretches import Stretch

# Standard uncertainties of what an article's file says about the air: a room
# thermometer, a barometer or a weather report, a cheap hygrometer, each taken as
# good to about twice these (common practice, no source).
TEMPERATURE_U_K = 1.0
PRESSURE_U_PA = 200.0
HUMIDITY_U_FRAC = 0.05
UNKNOWN_HUMIDITY_FRAC = 0.5
UNKNOWN_HUMIDITY_U_FRAC = 0.29  # anything from 0 to 1, evenly: 1 over root 12

# The end of a hold is known on the stand's clock to a few milliseconds only: what a
# command overtakes on its way must not reach into the plateau before it.
END_GUARD_S = 0.02
# What the analysis knows, by what the record calls it.
KINDS: Final[Mapping[str, HoldKind]] = {
    "rest": "rest",
    "dwell": "dwell",
    "warm": "warm",
    "glide": "glide",
    "burst": "burst",
}
LEGS: Final[Mapping[str, HoldLeg]] = {
    "up": "up",
    "down": "down",
    "first": "first",
    "second": "second",
}
# What leads straight into another stretch and belongs to it: a dwell is cut from
# where settling began, a burst is timed from where the throttle began to move.
LEAD_INS: Final[Mapping[str, str]] = {"dwell": "settle", "burst": "punch"}
INTERRUPTED: Final[dict[str, object]] = {
    "ended": "interrupted",
    "cause": "The record stops before its end.",
}
ANALYSIS = "nominal"  # by the stand's own constants, no calibration


@dataclass(frozen=True, slots=True)
class Results:
    """A run and what it says.

    Attributes:
        run: the run as read back.
        article: what was tested; None where the record does not say.
        analysis: plateaus, curves and findings; None where nothing was sampled.
        folder: where the derived files are.
    """

    run: Run
    article: Article | None
    analysis: Analysis | None
    folder: Path

    @property
    def report(self) -> Path:
        """The page."""
        return self.folder / "report.html"

    @property
    def outcome(self) -> dict[str, object]:
        """How it ended, also where the record does not say."""
        return dict(self.run.outcome or INTERRUPTED)

    def warnings(self) -> list[str]:
        """What has to be known before anything here is believed."""
        said = _notes(self.run)
        if self.analysis is not None and self.analysis.evidence.nominal:
            said.append("The stand's own constants were used: nominal, not calibrated.")
        return said

    def findings(self) -> list[dict[str, object]]:
        """The findings, for JSON."""
        return [f.to_dict() for f in self.analysis.findings] if self.analysis else []

    def sentences(self) -> list[str]:
        """The findings in words."""
        if self.run.stand is None and self.run.health.unsorted:
            return [
                "The record does not say who the stand is, so its samples cannot be "
                "read."
            ]
        if self.analysis is None:
            return ["The stand never sent a sample, so there is nothing to find."]
        return [finding.sentence for finding in self.analysis.findings]


def analyse_folder(folder: Path) -> Results:
    """Read and analyse a run, writing nothing.

    Raises:
        RecordFault: it is no run folder, or its log cannot be read.
    """
    from daq.records.folder import DERIVED
    from daq.records.read import read_run

    run = read_run(folder)
    article = _article_of(run)
    derived = folder / DERIVED / ANALYSIS
    return Results(run, article, _analysis_of(run, article), derived)


def derive(folder: Path) -> Results:
    """Read, analyse and write everything derived, replacing what was there.

    An unsealed run (its keeper was killed) is sealed as it stands.

    Raises:
        RecordFault: it is no run folder, or its log cannot be read.
        WorldFault: the derived files cannot be written.
    """
    from daq.records.read import read_run

    try:
        _seal_as_it_stands(read_run(folder))
        results = analyse_folder(folder)
        fresh = results.folder.with_name(results.folder.name + ".new")
        shutil.rmtree(fresh, ignore_errors=True)
        fresh.mkdir(parents=True)
        _write_all(results, fresh)
        shutil.rmtree(results.folder, ignore_errors=True)
        fresh.rename(results.folder)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(
            f"What is derived from {folder} cannot be written: {why}."
        ) from None
    return results


def _seal_as_it_stands(run: Run) -> None:
    from daq.records.folder import seal

    if not run.sealed:
        seal(run.folder, run.outcome or INTERRUPTED, simulated=run.simulated)


# ------------------------------------------------------------------ reading


def _article_of(run: Run) -> Article | None:
    from daq.records.shelf import Article

    data = run.header.get("article")
    if not isinstance(data, dict):
        return None
    return Article.from_dict(data, f"the record in {run.folder}")


def _analysis_of(run: Run, article: Article | None) -> Analysis | None:
    from daq.analysis.plateaus import DEFAULT_SETTLE_S
    from daq.analysis.run import analyse

    series, nominal = series_of(run)
    if not series:
        return None
    settles_s = [h.end_s - h.start_s for h in run.holds() if h.kind == "settle"]
    propeller = article.propeller if article else None
    return analyse(
        series,
        holds_of(run, series),
        diameter_m=propeller.diameter_m if propeller else None,
        diameter_u_m=propeller.diameter_u_m if propeller else 0.0,
        air=_air_of(article),
        settle_s=max([DEFAULT_SETTLE_S, *settles_s]),
        nominal=nominal,
        notes=_notes(run),
        propeller_off=_propeller_off(run),
        on_supply=article is not None and article.supply is not None,
    )


def _propeller_off(run: Run) -> bool:
    from ui.stretches import plan_of

    plan = plan_of(run)
    return plan is not None and plan.propeller_off


def series_of(run: Run) -> tuple[dict[str, Series], set[str]]:
    """Channels in SI by the stand's own constants, and which of them are nominal."""
    from daq.analysis.series import CHANNEL_UNITS, Series
    from daq.calibration.nominal import nominal

    series: dict[str, Series] = {}
    for stream in run.streams:
        if not stream.device_s.size:
            continue
        for column, page in enumerate(stream.channels):
            if page.name not in CHANNEL_UNITS:
                continue
            scale = nominal(page)
            series[page.name] = Series(
                name=page.name,
                quantity=page.quantity.name.lower(),
                t_s=stream.device_s,
                value_si=scale.to_si(stream.counts[:, column]),
                gain_u_rel=scale.gain_u_rel,
                resolution_si=scale.resolution_si,
            )
    return series, set(series)


def holds_of(run: Run, series: Mapping[str, Series]) -> list[Hold]:
    """What the plan was walked for, as far as was sampled.

    Rests, dwells each with the settling before it, warm-ups, glides, and bursts each
    with the punch before it.
    """
    from ui.stretches import stretches_of

    first_s = max(float(s.t_s[0]) for s in series.values())
    last_s = min(float(s.t_s[-1]) for s in series.values())
    holds: list[Hold] = []
    before: Stretch | None = None
    for stretch in stretches_of(run):
        hold = _hold(stretch, before, first_s, last_s)
        if hold is not None:
            holds.append(hold)
        before = stretch
    return holds


def _hold(
    stretch: Stretch, before: Stretch | None, first_s: float, last_s: float
) -> Hold | None:
    """One stretch for the analysis; None where it has no use for it."""
    from daq.analysis.series import Hold

    part = stretch.hold
    kind = KINDS.get(part.kind)
    start_s, from_frac = part.start_s, stretch.from_frac
    if before is not None and before.hold.kind == LEAD_INS.get(part.kind):
        start_s, from_frac = before.hold.start_s, before.from_frac
    start_s, end_s = max(start_s, first_s), min(part.end_s - END_GUARD_S, last_s)
    if kind is None or end_s <= start_s:
        return None
    moves = kind in ("glide", "burst")
    if kind == "glide":
        from_frac = stretch.throttle_at(start_s)
    return Hold(
        kind=kind,
        leg=LEGS.get(part.leg, "rest"),
        step=part.step,
        throttle_frac=stretch.throttle_at(end_s),
        start_s=start_s,
        end_s=end_s,
        from_frac=from_frac if moves else None,
    )


def _air_of(article: Article | None) -> Air | None:
    from daq.analysis.air import measured_air

    air = article.air if article else None
    if air is None:
        return None
    known = air.humidity_frac is not None
    return measured_air(
        air.temperature_k,
        air.pressure_pa,
        UNKNOWN_HUMIDITY_FRAC if air.humidity_frac is None else air.humidity_frac,
        temperature_u_k=TEMPERATURE_U_K,
        pressure_u_pa=PRESSURE_U_PA,
        humidity_u_frac=HUMIDITY_U_FRAC if known else UNKNOWN_HUMIDITY_U_FRAC,
    )


def _notes(run: Run) -> list[str]:
    """What has to be said with every finding of this run."""
    notes = []
    if run.simulated:
        notes.append("Simulated: no hardware, no motor, nothing was measured.")
    if run.intact is False:
        notes.append("The wire log was changed after it was sealed.")
    if run.damage.places:
        notes.append(f"{run.damage.bytes} bytes of the wire log cannot be read.")
    if run.outcome is None:
        notes.append("The record stops before its end.")
    return notes


# ------------------------------------------------------------------ writing


def _write_all(results: Results, folder: Path) -> None:
    from ui.report.page import write_report

    run, analysis = results.run, results.analysis
    resources = _write_samples(run, folder)
    if analysis is not None:
        rows = analysis.rows()
        if rows:
            _write_csv(rows, folder / "plateaus.csv")
            resources.append(_resource("plateaus", "plateaus.csv", "text/csv"))
        resources += _write_moving(analysis, folder)
        tables = analysis.to_dict()
        for name in ("curves", "findings"):
            path = folder / f"{name}.json"
            text = json.dumps(tables[name], indent=2, ensure_ascii=False)
            path.write_text(text + "\n", encoding="utf-8")
            resources.append(_resource(name, path.name, "application/json"))
    write_report(results, folder / "report.html")
    resources.append(_resource("report", "report.html", "text/html"))
    _write_descriptor(results, folder, resources)


def _write_moving(analysis: Analysis, folder: Path) -> list[dict[str, object]]:
    """Tables of what was read while throttle moved, where it was."""
    evidence = analysis.evidence
    resources = []
    for name, read in (("glides", evidence.glides), ("bursts", evidence.bursts)):
        if read is not None and (rows := read.rows()):
            _write_csv(rows, folder / f"{name}.csv")
            resources.append(_resource(name, f"{name}.csv", "text/csv"))
    return resources


def _write_samples(run: Run, folder: Path) -> list[dict[str, object]]:
    import pandas as pd

    resources = []
    for stream in run.streams:
        table = pd.DataFrame(
            stream.counts, columns=[f"{page.name}_counts" for page in stream.channels]
        )
        table.insert(0, "device_s", stream.device_s)
        name = f"samples-{stream.index}"
        table.to_parquet(folder / f"{name}.parquet", compression="zstd", index=False)
        mediatype = "application/vnd.apache.parquet"
        resources.append(_resource(name, f"{name}.parquet", mediatype))
    return resources


def _resource(name: str, path: str, mediatype: str) -> dict[str, object]:
    return {"name": name, "path": path, "mediatype": mediatype}


def _write_csv(rows: Sequence[Mapping[str, object]], path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def _write_descriptor(
    results: Results, folder: Path, resources: Sequence[dict[str, object]]
) -> None:
    from daq.records.folder import PROFILE, hash_of, write_descriptor
    from daq.records.wirelog import NAME

    run = results.run
    whole = []
    for resource in resources:
        path = folder / str(resource["path"])
        # Sizes are left out: one validator refuses them for Parquet.
        whole.append(resource | {"hash": hash_of(path)})
    if not whole:
        raise RecordFault(f"Nothing can be derived from {run.folder}.")
    content = {
        "$schema": PROFILE,
        "name": f"{run.folder.name.lower()}-{ANALYSIS}",
        "title": f"Derived from gramwatt run {run.folder.name}",
        "gramwatt": {
            "simulated": run.simulated,
            "analysis": ANALYSIS,
            "version": version("gramwatt"),
            "wire_log_hash": hash_of(run.folder / NAME),
        },
        "resources": whole,
    }
    write_descriptor(folder, content)
