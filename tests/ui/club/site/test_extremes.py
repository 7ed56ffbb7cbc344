"""Whatever an entry may hold, a site is built of it: no run spoils a club's page."""

import json
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.club.invented import invented
from ui.club.entry import (
    LEAST,
    Curves,
    CurveTold,
    Entry,
    FullTold,
    HoverTold,
    Interval,
)
from ui.club.site.columns import table_data
from ui.club.site.frame import filled_in, frame_of
from ui.club.site.listing import listed
from ui.club.site.pages_plain import stands_page
from ui.club.site.run_page import run_data, run_page
from ui.club.site.scripts import as_script
from ui.club.site.shared import Shared
from ui.club.site.spreadsheet import as_csv

PLAIN = invented(1)[0]
any_number = st.floats(-1e12, 1e12)
above_zero = st.floats(LEAST, 1e12)
not_negative = st.floats(0, 1e12)


@st.composite
def intervals(draw: st.DrawFn, numbers: Any = any_number) -> Interval:
    low, value, high = sorted(draw(st.tuples(numbers, numbers, numbers)))
    return Interval(value=value, low=low, high=high)


@st.composite
def curves(draw: st.DrawFn) -> CurveTold:
    count = draw(st.integers(2, 6))
    # A curve's points lie apart: on steps from the least to a thousandth of the most.
    step = draw(st.sampled_from((2 * LEAST, 1e-3, 1.0, 1e6)))
    places = st.integers(-1000, 1000)
    x = draw(st.lists(places, min_size=count, max_size=count, unique=True))
    several = st.tuples(*[not_negative] * count)
    return CurveTold(
        x=tuple(step * place for place in sorted(x)),
        y=draw(st.tuples(*[above_zero] * count)),
        half=draw(several),
        own_u_rel=draw(several),
        scale_u_rel=draw(several),
    )


@st.composite
def entries(draw: st.DrawFn) -> Entry:
    optional = st.none() | intervals()
    full = FullTold(
        throttle_frac=draw(st.floats(1e-300, 1)),
        thrust_n=draw(intervals()),
        current_a=draw(optional),
        voltage_v=draw(optional),
        power_w=draw(optional),
        specific_n_w=draw(optional),
    )
    hover = HoverTold(
        motors=draw(st.integers(1, 12)),
        all_up_g=draw(above_zero),
        throttle_frac=draw(intervals()),
        specific_n_w=draw(intervals()),
    )
    told = Curves(specific_thrust=draw(curves()), thrust_by_throttle=draw(curves()))
    article = PLAIN.entry.article.model_copy(
        update={
            "diameter_mm": draw(above_zero),
            "kv_rpm_v": draw(above_zero),
            "name": draw(st.text(max_size=8)),
        }
    )
    update = {"full": full, "hover": hover, "curves": told, "article": article}
    return PLAIN.entry.model_copy(update=update)


@settings(max_examples=25)
@given(entries())
def test_a_site_is_made_of_any_entry(entry: Entry) -> None:
    checked = Entry.model_validate_json(json.dumps(entry.to_dict()))
    rows, _ = listed([Shared(checked, "b.zip", "0" * 64)])
    assert as_script("runs", table_data(rows))
    assert as_script("run", run_data(rows[0]))
    assert as_csv(rows).count(b"\n") == 2
    page = filled_in(
        "run.html.j2", frame_of("Club", 0, agreed=False), run_page(rows[0])
    )
    assert not re.search(rb"\b(nan|inf)\b", page.lower())


@pytest.mark.parametrize("u", [0.0, 1e-300, 0.004, 3.0])
def test_stands_are_told_of_any_bias(u: float) -> None:
    bias = {"log": 0.0, "u": u, "dof": 1.0}
    found = {"within": None, "between": None, "consensus_u": u, "biases": {"s": bias}}
    page = stands_page([], {"thrust": found})
    assert page.parts[0].biases[0].stand == "a stand without a run here (s)"
