from pathlib import Path
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from daq.errors import InputFault
from daq.typed_toml import MAX_FILE_BYTES, Table, check_typed, read_typed


class Inner(Table):
    depth_m: Annotated[float, Field(gt=0)]
    label: str = ""


class Outer(Table):
    count: int
    inner: Inner | None = None


def refused(path: Path) -> str:
    with pytest.raises(InputFault) as caught:
        read_typed(path, Outer)
    return str(caught.value)


def test_a_sound_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("count = 2\n[inner]\ndepth_m = 1\n")
    assert read_typed(path, Outer) == Outer(count=2, inner=Inner(depth_m=1.0))


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbfcount = 2\n")
    assert read_typed(path, Outer).count == 2


def test_a_table_where_a_value_belongs_is_named(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("count = 2\ninner = 3\n")
    assert refused(path) == f"{path}: inner is 3; it must be a table of its own."


def test_a_misspelt_key_comes_before_the_key_it_leaves_missing(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("cuont = 2\n")
    assert refused(path) == (
        f"{path}: cuont is not a known key; count was probably meant."
        " (1 more to mend after that.)"
    )


def test_text_that_is_not_utf8_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"count = 2\n# \xff\n")
    assert refused(path) == f"{path}: line 2 is not UTF-8 text."


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    assert refused(tmp_path).startswith(f"{tmp_path} cannot be read: ")


def test_a_file_too_large_to_be_settings_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"#" * (MAX_FILE_BYTES + 1))
    assert "larger than" in refused(path)


def test_tables_nested_without_end_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("count = " + "[" * 100_000)
    assert "not valid TOML" in refused(path)


def test_line_breaks_and_terminal_codes_never_reach_the_sentence(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.toml"
    path.write_text('count = 2\n"one\\ntwo\\u001b[2J" = 3\n')
    assert "one?two?[2J is not a known key" in refused(path)
    path.write_text('count = "one\\ntwo"\n')
    assert 'count is "one?two"; it must be a whole number' in refused(path)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["count", "inner", "depth_m", "x"]), inner, max_size=3
            )
        ),
    ).filter(lambda data: isinstance(data, dict))
)
def test_any_values_at_all_are_taken_or_refused_in_one_sentence(
    data: dict[str, object],
) -> None:
    try:
        said = check_typed(data, Outer, "x.toml").model_dump_json()
    except InputFault as fault:
        said = str(fault)
    assert said.startswith(("{", "x.toml: "))
    assert "\n" not in said
