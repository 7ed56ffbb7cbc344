"""Cases that any other making of ``hold_across`` can be held to, such as a page's.

``python -m tests.club.across_vectors`` writes ``across_vectors.json`` anew, always the
same; a test holds the file to the code. Each case is a call with its answer; ``null``
stands for infinite degrees of freedom in what goes in, and for what is not known in
what comes out.
"""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from daq.analysis.across import Across, hold_across
from daq.analysis.agreed import Agreed, Agreement, Spread, StandBias
from daq.analysis.between_stands import LEFT_OVER
from daq.analysis.compare import NARROWEST_SHARE, POINTS
from daq.analysis.quantities import QUANTITIES
from daq.analysis.series import Array
from daq.analysis.summaries import (
    BAROMETER_U_REL,
    DENSITY_U_REL,
    NOT_NOTED_U_REL,
    Summary,
)
from daq.errors import InputFault

VECTORS = Path(__file__).parent / "across_vectors.json"
CASES = 80
SEED = 20_261_126
#: What goes in is rounded, so that the file is short and means what it says.
PLACES = 6


def _rounded(value: float) -> float:
    return round(float(value), PLACES)


def _summary(rng: np.random.Generator, article: str, noted: bool) -> Summary:
    count = int(rng.integers(2, 8))
    low = float(rng.uniform(0.4, 1.2))
    high = float(rng.uniform(2.0, 4.0)) if rng.random() > 0.03 else low + 0.05
    x: Array = np.sort(rng.uniform(low, high, count)).round(PLACES)
    x[0], x[-1] = _rounded(low), _rounded(high)
    stand = f"stand {rng.integers(1, 4)}"
    calibration = f", calibration {rng.integers(1, 3)}"
    better = 0.06 * (article == "B") * rng.integers(-2, 3)
    log = 1.0 + better - 0.2 * x + 0.01 * rng.standard_normal()
    log = log + 0.004 * rng.standard_normal(count)
    own = 0.004 + 0.01 * rng.random() * (1 + rng.random(count))
    scale = 0.003 + 0.02 * rng.random() * (1 + 0.3 * rng.random(count))
    return Summary(
        article=article,
        stand=stand,
        scale=stand + calibration,
        x=x,
        log=np.round(log, PLACES),
        own_u=np.round(own, PLACES),
        scale_u=np.round(scale, PLACES),
        dof=_rounded(rng.uniform(3, 60)) if rng.random() < 0.7 else math.inf,
        density_kg_m3=_rounded(rng.uniform(1.08, 1.25)) if noted else None,
    )


def _spread(rng: np.random.Generator, most: float) -> Spread | None:
    if rng.random() < 0.15:
        return None
    return Spread(_rounded(rng.uniform(0.003, most)), float(rng.integers(1, 20)))


def _agreed(rng: np.random.Generator) -> Agreed:
    biases = {
        f"stand {stand}, calibration {calibration}": StandBias(
            _rounded(0.02 * rng.standard_normal()),
            _rounded(rng.uniform(0.002, 0.01)),
            float(rng.integers(2, 20)),
        )
        for stand in (1, 2, 3)
        for calibration in (1, 2)
        if rng.random() < 0.4
    }
    return Agreed(
        _spread(rng, 0.012), _spread(rng, 0.03), _rounded(rng.uniform(0, 0.01)), biases
    )


def _case(rng: np.random.Generator) -> dict[str, Any]:
    what = str(rng.choice(list(QUANTITIES)))
    noted = bool(rng.random() < 0.7)
    first = [_summary(rng, "A", noted) for _ in range(rng.integers(1, 5))]
    second = [_summary(rng, "B", noted) for _ in range(rng.integers(1, 5))]
    if noted and rng.random() < 0.2:
        # One run whose air nobody read: then nothing is restated.
        second.append(_summary(rng, "B", noted=False))
    agreement = Agreement({what: _agreed(rng)}) if rng.random() < 0.85 else None
    return {
        "what": what,
        "first": [_told(run) for run in first],
        "second": [_told(run) for run in second],
        "agreement": None if agreement is None else agreement.to_dict(),
        "expected": _expected(what, first, second, agreement),
    }


def _expected(
    what: str,
    first: list[Summary],
    second: list[Summary],
    agreement: Agreement | None,
) -> dict[str, Any]:
    try:
        return _answer(hold_across(what, first, second, agreement))
    except InputFault as fault:
        return {"refused": str(fault)}


def _told(run: Summary) -> dict[str, Any]:
    return {
        "article": run.article,
        "stand": run.stand,
        "scale": run.scale,
        "x": run.x.tolist(),
        "log": run.log.tolist(),
        "own_u": run.own_u.tolist(),
        "scale_u": run.scale_u.tolist(),
        "dof": _known(run.dof),
        "density_kg_m3": run.density_kg_m3,
    }


def _answer(found: Across) -> dict[str, Any]:
    value, low, high = found.ratio
    return {
        "x_from": found.x_from,
        "x_to": found.x_to,
        "log": found.log,
        "u": _known(found.u),
        "dof": _known(found.dof),
        "half": _known(found.half),
        "ratio": {"value": value, "low": _known(low), "high": _known(high)},
        "parts": {
            name: {"u": part.u, "dof": _known(part.dof)}
            for name, part in found.parts.items()
        },
        "runs": list(found.runs),
        "stands": found.stands,
        "moved": found.moved,
        "verdict": found.verdict,
        "missing": found.missing,
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def read_summary(told: dict[str, Any]) -> Summary:
    """A run as the file has it."""
    lists = {key: np.array(told[key]) for key in ("x", "log", "own_u", "scale_u")}
    dof = math.inf if told["dof"] is None else float(told["dof"])
    return Summary(**{**told, **lists, "dof": dof})


def vectors() -> dict[str, Any]:
    """The constants and the cases."""
    rng = np.random.default_rng(SEED)
    return {
        "format": 1,
        "constants": {
            "points": POINTS,
            "narrowest_share": NARROWEST_SHARE,
            "left_over": LEFT_OVER,
            "barometer_u_rel": BAROMETER_U_REL,
            "density_u_rel": DENSITY_U_REL,
            "not_noted_u_rel": NOT_NOTED_U_REL,
            "exponents": {
                what: {
                    "middle": quantity.told_in_air.middle,
                    "u": quantity.told_in_air.u,
                }
                for what, quantity in QUANTITIES.items()
            },
        },
        "cases": [_case(rng) for _ in range(CASES)],
    }


def main() -> None:
    """Write the file."""
    told = vectors()
    # A case a line, so that what changed is seen.
    cases = ",\n".join(json.dumps(case, allow_nan=False) for case in told["cases"])
    constants = json.dumps(told["constants"])
    text = (
        f'{{"format": {told["format"]},\n"constants": {constants},\n"cases": [\n'
        f"{cases}\n]}}\n"
    )
    VECTORS.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
