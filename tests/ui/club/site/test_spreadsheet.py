"""The file for spreadsheets: pandas reads it, and no cell of it is a formula."""

import csv
import io

import pandas as pd
import pytest

from daq import units
from tests.club.invented import invented
from tests.ui.club.site.hostile import hostile
from ui.club.site.listing import listed
from ui.club.site.spreadsheet import as_csv


def test_pandas_reads_the_figures_of_every_run() -> None:
    shared = invented(25)
    rows, _ = listed(shared)
    table = pd.read_csv(io.BytesIO(as_csv(rows)), dtype={"id": str})
    assert list(table["id"]) == [row.id for row in rows]
    assert set(table["nature"]) == {"invented"}
    for row, thrust_gf in zip(rows, table["full_thrust_gf"], strict=True):
        full = row.shared.entry.full
        assert full is not None
        assert thrust_gf == pytest.approx(units.n_to_gf(full.thrust_n.value), rel=1e-5)
    assert (table["full_thrust_low_gf"] <= table["full_thrust_gf"]).all()


def test_no_cell_of_hostile_runs_is_a_formula() -> None:
    rows, _ = listed(hostile())
    text = as_csv(rows).decode()
    lines = list(csv.reader(io.StringIO(text)))
    assert len({len(line) for line in lines}) == 1
    assert len(lines) == len(rows) + 1
    for line in lines[1:]:
        for cell in line:
            assert not cell.lstrip().startswith(("=", "+", "@"))
            assert not cell.startswith(("\t", "\r", "\n"))
            if cell.startswith("-"):
                float(cell)
