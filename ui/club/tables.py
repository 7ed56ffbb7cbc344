"""Tables that strangers open in a spreadsheet: a line a run, and nothing that runs.

A cell that begins as a formula does gets an apostrophe before it, as OWASP advises
(CSV Injection), since names come from strangers too. Nothing here reads a run.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Final

from daq.units import n_to_gf

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from ui.club.entry import Entry, Interval

Cell = str | float | int | bool | None
#: What a spreadsheet takes for the beginning of a formula.
FORMULA: Final = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
BLANKS: Final = ("\t", "\r", "\n")


def harmless(cell: Cell) -> Cell:
    """A cell that no spreadsheet runs, on one line: a formula's beginning is quoted.

    Also behind white space, which some take away before they look.
    """
    if not isinstance(cell, str):
        return cell
    one_line = " ".join(cell.replace("\0", "").splitlines())
    quoted = one_line.lstrip().startswith(FORMULA) or cell[:1] in BLANKS
    return f"'{one_line}" if quoted else one_line


def csv_bytes(rows: Iterable[Mapping[str, Cell]], names: Sequence[str]) -> bytes:
    """A CSV file of some rows, UTF-8, headed by their keys."""
    file = io.StringIO(newline="")
    writer = csv.DictWriter(file, fieldnames=names, lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({key: harmless(cell) for key, cell in row.items()})
    return file.getvalue().encode()


def run_row(entry: Entry) -> dict[str, Cell]:
    """A run in one line, in the trade's units, with what it rests on in words."""
    article, full, hover = entry.article, entry.full, entry.hover
    gf = n_to_gf(1.0)
    return {
        "run": entry.run,
        "utc": entry.utc,
        "simulated": entry.evidence.simulated,
        "invented": entry.evidence.invented,
        "article": article.name,
        "motor": article.motor,
        "kv_rpm_v": article.kv_rpm_v,
        "propeller": article.propeller,
        "diameter_mm": article.diameter_mm,
        "source": article.source,
        "cells": article.cells,
        "protocol": entry.protocol,
        "full_throttle_percent": None if full is None else 100 * full.throttle_frac,
        **_three("full_thrust", "gf", None if full is None else full.thrust_n, gf),
        **_three("full_current", "a", None if full is None else full.current_a),
        **_three("full_voltage", "v", None if full is None else full.voltage_v),
        **_three("full_power", "w", None if full is None else full.power_w),
        **_three(
            "full_specific", "gf_w", None if full is None else full.specific_n_w, gf
        ),
        "hover_all_up_g": None if hover is None else hover.all_up_g,
        "hover_motors": None if hover is None else hover.motors,
        **_three(
            "hover_specific", "gf_w", None if hover is None else hover.specific_n_w, gf
        ),
        "rests_on": entry.evidence.words,
    }


def _three(
    name: str, unit: str, told: Interval | None, scale: float = 1.0
) -> dict[str, Cell]:
    values = (None, None, None) if told is None else (told.value, told.low, told.high)
    keys = (f"{name}_{unit}", f"{name}_low_{unit}", f"{name}_high_{unit}")
    return {
        key: None if value is None else float(f"{scale * value:.6g}")
        for key, value in zip(keys, values, strict=True)
    }
