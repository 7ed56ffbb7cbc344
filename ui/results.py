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
    from daq.calibration.use import Use
    from daq.calibration.value import Calibration
    from daq.records.read import Run
    from daq.records.shelf import Article

# Standard uncertainties of what an article's file says about the air: a room
# thermometer, a barometer or a weather report, a cheap hygrometer, each taken as
# good to about twice these (common practice, no source).
TEMPERATURE_U_K = 1.0
PRESSURE_U_PA = 200.0
HUMIDITY_U_FRAC = 0.05
UNKNOWN_HUMIDITY_FRAC = 0.5
UNKNOWN_HUMIDITY_U_FRAC = 0.29  # anything from 0 to 1, evenly: 1 over root 12

INTERRUPTED: Final[dict[str, object]] = {
    "ended": "interrupted",
    "cause": "The record stops before its end.",
}
ANALYSIS = "nominal"  # by the stand's own constants, no calibration
_SCALED = frozenset(("thrust", "current", "voltage"))


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
        if self.analysis is None:
            return _notes(self.run)
        said = list(self.analysis.evidence.notes)
        nominal = self.analysis.evidence.nominal
        uses = self.uses()
        if nominal and not uses:
            said.append("The stand's own constants were used: nominal, not calibrated.")
        elif nominal & _SCALED:
            names = ", ".join(sorted(nominal & _SCALED))
            said.append(f"Nominal, not calibrated: {names}.")
        said += [
            f"{name} by the calibration {use.calibration.id}."
            for name, use in uses.items()
        ]
        return said

    def uses(self) -> Mapping[str, Use]:
        """What each channel is calibrated by, where it is."""
        from ui.calibrations import calibrated

        return calibrated(self.run).uses

    @property
    def analysis_name(self) -> str:
        """What the folder of everything derived is called."""
        return self.folder.name

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


def analyse_folder(folder: Path, given: Sequence[Calibration] = ()) -> Results:
    """Read and analyse a run, writing nothing.

    Args:
        folder: the run's.
        given: calibrations to read it by, instead of those it came with.

    Raises:
        RecordFault: it is no run folder, or its log cannot be read.
        InputFault: a calibration is not of this run's stand.
    """
    from daq.records.folder import DERIVED
    from daq.records.read import read_run
    from ui.calibrations import calibrated, with_calibrations

    run = with_calibrations(read_run(folder), given)
    article = _article_of(run)
    derived = folder / DERIVED / (calibrated(run).name or ANALYSIS)
    return Results(run, article, _analysis_of(run, article), derived)


def derive(folder: Path, given: Sequence[Calibration] = ()) -> Results:
    """Read, analyse and write everything derived, replacing what was there.

    An unsealed run (its keeper was killed) is sealed as it stands.

    Args:
        folder: the run's.
        given: calibrations to read it by, instead of those it came with; what is
            derived by others stays.

    Raises:
        RecordFault: it is no run folder, or its log cannot be read.
        InputFault: a calibration is not of this run's stand.
        WorldFault: the derived files cannot be written.
    """
    try:
        _seal_as_it_stands(folder)
        results = analyse_folder(folder, given)
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


def _seal_as_it_stands(folder: Path) -> None:
    """Seal a run whose keeper is gone; one that is sealed is not read for that.

    Raises:
        RecordFault: it is no run folder, or its log cannot be read.
        WorldFault: its keeper is not gone.
        OSError: it could not be read or written.
    """
    from daq.records.folder import is_sealed, read_descriptor, seal
    from daq.records.read import read_run
    from daq.records.wirelog import NAME, is_being_written

    if folder.is_dir() and is_sealed(read_descriptor(folder)):
        return
    run = read_run(folder)
    if is_being_written(folder / NAME):
        raise WorldFault(
            f"The run in {folder} is still being recorded, or its keeper "
            "hangs: wait for its end, or end the keeper."
        )
    seal(folder, run.outcome or INTERRUPTED, simulated=run.simulated)


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
    from daq.analysis.unseen import USUAL
    from ui.aircraft import aircraft_of, pack_of, plug_of, winding_of
    from ui.calibrations import calibrated, out_of_range
    from ui.captured import taken_of
    from ui.series import holds_of, series_of
    from ui.stretches import held_goal

    series, nominal = series_of(run)
    if not series:
        return None
    found = calibrated(run)
    notes = [*_notes(run), *found.cautions(), *out_of_range(series, found)]
    settles_s = [h.end_s - h.start_s for h in run.holds() if h.kind == "settle"]
    propeller = article.propeller if article else None
    taken = taken_of(run, series)
    return analyse(
        series,
        holds_of(run, series),
        diameter_m=propeller.diameter_m if propeller else None,
        diameter_u_m=propeller.diameter_u_m if propeller else 0.0,
        air=_air_of(article),
        settle_s=max([DEFAULT_SETTLE_S, *settles_s]),
        nominal=nominal,
        notes=notes,
        propeller_off=_propeller_off(run),
        on_supply=article is not None and article.supply is not None,
        aircraft=aircraft_of(article, found.gravity_m_s2),
        winding=winding_of(article),
        unseen=USUAL,
        fitted_plug=plug_of(article),
        fitted_pack=pack_of(article),
        captures=taken.captures,
        missed=taken.missed,
        held=held_goal(run),
        by_hand=_by_hand(run),
    )


def _by_hand(run: Run) -> bool:
    from ui.stretches import plan_of

    plan = plan_of(run)
    return plan is not None and plan.by_hand


def _propeller_off(run: Run) -> bool:
    from ui.stretches import plan_of

    plan = plan_of(run)
    return plan is not None and plan.propeller_off


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
    if run.adopted is not None:
        notes.append("Recorded elsewhere: neither driven nor guarded by gramwatt.")
    notes += [*how_far(run), *left_out(run)]
    if run.intact is False:
        notes.append("The wire log was changed after it was sealed.")
    if run.damage.places:
        notes.append(f"{run.damage.bytes} bytes of the wire log cannot be read.")
    if run.outcome is None:
        notes.append("The record stops before its end.")
    return notes


def how_far(run: Run) -> list[str]:
    """How far a run came that did not come to its end, a sentence; else nothing."""
    from ui.extent import extent_of

    extent = extent_of(run)
    return [] if extent is None or extent.whole else [extent.words()]


def left_out(run: Run) -> list[str]:
    """What was read and is not used, and why, in sentences."""
    from ui.cut import cut_of
    from ui.series import in_order

    said = []
    cut = cut_of(run)
    if cut is not None and cut.sound_until_s < cut.at_s:
        doubt_s = cut.at_s - cut.sound_until_s
        said.append(
            f"What was read in the last {doubt_s:g} s before the trip is not used: "
            "what was wrong began before it was noticed."
        )
    astray = sum(int(s.device_s.size - in_order(s).sum()) for s in run.streams)
    if astray:
        said.append(
            f"{astray} samples came out of order, twice, or after the stand began "
            "again, and are not used."
        )
    return said


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
    resources += _write_calibrations(results, folder)
    write_report(results, folder / "report.html")
    resources.append(_resource("report", "report.html", "text/html"))
    _write_descriptor(results, folder, resources)


def _write_calibrations(results: Results, folder: Path) -> list[dict[str, object]]:
    """The calibrations it rests on, whole, so that what is derived says so itself."""
    from daq.calibration.text import to_text

    resources = []
    for name, use in results.uses().items():
        path = folder / f"calibration-{name}.json"
        path.write_text(to_text(use.calibration), encoding="utf-8")
        resources.append(_resource(path.stem, path.name, "application/json"))
    return resources


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
        "name": f"{run.folder.name.lower()}-{results.analysis_name}",
        "title": f"Derived from gramwatt run {run.folder.name}",
        "gramwatt": {
            "simulated": run.simulated,
            "analysis": results.analysis_name,
            "version": version("gramwatt"),
            "wire_log_hash": hash_of(run.folder / NAME),
        },
        "resources": whole,
    }
    write_descriptor(folder, content)
