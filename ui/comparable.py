"""A run as comparisons take it: whose it is, where it was made, by which scales.

Nothing here reads a run, compares or prints.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from daq.errors import InputFault

if TYPE_CHECKING:
    from daq.analysis.compare import Mounting
    from daq.records.shelf import Article
    from ui.results import Results

# What of an article may differ without making another article of it.
NOT_THE_ARTICLE: Final = ("note", "air", "format", "travels")
# What a comparison is read from.
MEASURED_BY: Final = ("thrust", "current", "voltage")
SIMULATED: Final = "simulated: no hardware, no motor, nothing was measured"


def begun(results: Results) -> tuple[str, str]:
    """When a run began, and its name: the order in which runs were made."""
    return str(results.run.header.get("utc", "")), results.run.folder.name


def mounting_of(name: str, results: Results) -> Mounting:
    """A run for the analysis.

    Raises:
        InputFault: it has nothing to compare.
    """
    from daq.analysis.compare import Mounting

    if results.analysis is None:
        raise InputFault(f"{results.run.folder.name} has nothing to compare.")
    return Mounting(
        name=results.run.folder.name,
        article=name,
        scale=scale_of(results),
        analysis=results.analysis,
        bench=stand_of(results),
    )


def calibrated_words(results: Results) -> str:
    """The stand, and when its calibrations were made."""
    from ui.calibrations import calibrated

    stand = stand_of(results)
    uses = calibrated(results.run).uses.values()
    days = sorted({use.calibration.made_utc[:10] for use in uses})
    return f"{stand}, calibrated {' and '.join(days)}" if days else f"{stand}, nominal"


def scale_of(results: Results) -> str:
    """What stood for the scale factors: the stand, and its calibrations."""
    from ui.calibrations import calibrated

    stand, name = stand_of(results), calibrated(results.run).name
    return f"{stand}, {name}" if name else stand


def stand_of(results: Results) -> str:
    """The stand, by the number that it gives or by what it prints."""
    run = results.run
    if run.described is not None:
        return f"stand {run.described.name}"
    if run.stand is None:
        return "no stand"
    return f"stand {run.stand.identity.stand_id:08x}"


def article_of(results: Results) -> Article:
    """What was tested.

    Raises:
        InputFault: the record does not say.
    """
    if results.article is None:
        raise InputFault(
            f"{results.run.folder.name} does not say what was tested, so it cannot be "
            "compared."
        )
    return results.article
