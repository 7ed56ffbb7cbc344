"""Data files: a value comes out as it went in, and no text gets out of its quotes."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.ui.club.site.hostile import NAMES
from ui.club.site.scripts import as_script

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.from_regex(r"[a-z][a-z0-9_]{0,6}", fullmatch=True), inner)
    ),
    max_leaves=12,
)


def read(script: bytes) -> object:
    """What a page is handed, by any reader of JSON: the name, then the value."""
    text = script.decode("ascii")
    assert text.startswith('gramwatt.take("x",')
    assert text.endswith(");\n")
    return json.loads(text[len('gramwatt.take("x",') : -3])


@given(values)
def test_a_value_comes_out_as_it_went_in(value: object) -> None:
    assert read(as_script("x", value)) == value


@given(st.text())
def test_no_text_holds_what_ends_a_script_or_a_line(text: str) -> None:
    script = as_script("x", [text])
    assert not set(b"<>&") & set(script)
    assert script.isascii()
    assert script.count(b"\n") == 1


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names_stay_text(name: str) -> None:
    assert read(as_script("x", {"name": name})) == {"name": name}


@pytest.mark.parametrize("key", ["__proto__", "Name", "1", "a-b", ""])
def test_a_key_that_is_not_ours_is_refused(key: str) -> None:
    with pytest.raises(ValueError, match="no key of ours"):
        as_script("x", [{"rows": {key: 1}}])


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_json_has_no_word_for_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        as_script("x", [value])
