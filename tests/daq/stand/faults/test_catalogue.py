"""Faults out of files, and out of a random draw."""

from dataclasses import asdict, fields
from pathlib import Path

import numpy as np
import pytest

from daq.errors import InputFault
from daq.stand.faults.article import ThrownPropeller, WrongPack
from daq.stand.faults.board import Reset
from daq.stand.faults.catalogue import KINDS, draw, read_faults
from daq.stand.faults.fault import NEVER, Fault, Moment, names_of, range_of
from daq.stand.faults.sensors import CHANNELS, SIZES_SI, OffsetSensor, SensorFault
from daq.stand.faults.wire import LostBytes


def written(folder: Path, text: str) -> Path:
    path = folder / "faults.toml"
    path.write_text(text, "utf-8")
    return path


def as_toml(fault: Fault) -> str:
    lines = ["[[fault]]", f'kind = "{fault.kind}"']
    for name, value in asdict(fault).items():
        if value == NEVER:
            continue
        shown = str(value).lower() if isinstance(value, bool) else repr(value)
        lines.append(f"{name} = {shown}")
    return "\n".join(lines) + "\n"


# --- Files --------------------------------------------------------------------------


def test_a_file_gives_its_faults_in_its_order(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        """
        title = "a bad day"
        [[fault]]
        kind = "thrown-propeller"
        start_s = 12.0
        [[fault]]
        kind = "reset"
        start_s = 3
        cause = "watchdog"
        [[fault]]
        kind = "lost-bytes"
        start_s = 1.5
        end_s = 2.5
        direction = "to-host"
        rate_frac = 0.02
        """,
    )
    assert read_faults(path) == (
        ThrownPropeller(12.0),
        Reset(3.0, cause="watchdog"),
        LostBytes(1.5, 2.5, "to-host", rate_frac=0.02),
    )


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_can_be_read_with_nothing_said_and_with_all_said(
    tmp_path: Path, kind: str
) -> None:
    bare = written(tmp_path, f'[[fault]]\nkind = "{kind}"\n')
    assert read_faults(bare) == (KINDS[kind](),)
    for seed in range(5):
        fault = draw(np.random.default_rng(seed), [kind])
        assert read_faults(written(tmp_path, as_toml(fault))) == (fault,)


RESET = '[[fault]]\nkind = "reset"\n'


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", r": fault is missing"),
        ("[fault]\nkind = 'hang'\n", r"each fault is a table that begins with \[\[fa"),
        ("fault = [1]\n", r"each fault is a table that begins with \[\[fault\]\]"),
        ("[[faults]]\nkind = 'hang'\n", r": faults is not a known key; fault was"),
        (
            "[[fault]]\nstart_s = 1\n",
            r": fault 1: kind is missing; known are cable-out",
        ),
        ("[[fault]]\nkind = 'rest'\n", r': fault 1: kind is "rest"; reset was prob'),
        ("[[fault]]\nkind = 7\n", r': fault 1: kind is "7"; known are cable-out'),
        (RESET + "[[fault]]\nkind = 'hung'\n", r": fault 2: kind is .*; hang was"),
        (RESET + "start = 1\n", r": fault 1: start is not a known .*; start_s was"),
        (RESET + "start_s = -1\n", r": fault 1: start_s is -1; .* at least 0"),
        (RESET + "start_s = nan\n", r": fault 1: start_s is nan; .* finite number"),
        (RESET + "start_s = '1'\n", r': fault 1: start_s is "1"; .* a number'),
        (RESET + "end_s = 3\n", r": fault 1: end_s is not a known key"),
        (RESET + "dark_s = 61\n", r": fault 1: dark_s is 61; .* at most 60"),
        (RESET + "cause = 'rain'\n", r": fault 1: cause is .*; .* 'power-on', 'reset"),
        (
            "[[fault]]\nkind = 'hang'\nstart_s = 5\nend_s = 3\n",
            r": fault 1: hang: end_s is 3\.0; .* no less than start_s, 5",
        ),
        ("[[fault]]\nkind = 'hang'\nend_s = inf\n", r": fault 1: end_s is inf; .* fin"),
        (
            "[[fault]]\nkind = 'wrong-pack'\ncells = 3.5\n",
            r": fault 1: cells is 3\.5; .* whole number",
        ),
        (
            "[[fault]]\nkind = 'lost-bytes'\nonce = 1\n",
            r": fault 1: once is 1; it must be true or false",
        ),
        (
            "[[fault]]\nkind = 'silent-sensor'\nchannel = 'trust'\n",
            r": fault 1: channel is \"trust\"; .* 'thrust', 'current'",
        ),
        ("[[fault]\n", r"faults\.toml is not valid TOML"),
    ],
)
def test_a_wrong_file_is_refused_by_file_fault_and_key(
    tmp_path: Path, text: str, sentence: str
) -> None:
    with pytest.raises(InputFault, match=sentence) as it:
        read_faults(written(tmp_path, text))
    assert "faults.toml" in str(it.value)
    assert str(it.value).endswith((".", ".)"))
    assert str(it.value).isprintable()


def test_a_kind_from_a_stranger_brings_no_terminal_codes(tmp_path: Path) -> None:
    path = written(tmp_path, '[[fault]]\nkind = "\\u001b[31m\\nred"\n')
    with pytest.raises(InputFault) as it:
        read_faults(path)
    assert str(it.value).isprintable()


def test_a_file_that_is_not_there_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.toml: there is no such file"):
        read_faults(tmp_path / "absent.toml")


# --- Draws --------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_draws_are_of_their_kind_inside_the_window_and_the_figures_bounds(
    kind: str,
) -> None:
    rng = np.random.default_rng(1)
    ended = 0
    for _ in range(200):
        fault = draw(rng, [kind], (2.0, 6.0))
        assert type(fault) is KINDS[kind]
        assert 2.0 <= fault.start_s <= 6.0
        ended += fault.end_s < NEVER
        if not isinstance(fault, Moment):
            assert fault.end_s == NEVER or fault.end_s - fault.start_s <= 4.0 + 1e-9
        for item in fields(fault):
            allowed, value = range_of(item), getattr(fault, item.name)
            if allowed and not item.name.endswith("_si"):
                assert allowed.drawn[0] <= value <= allowed.drawn[1] + 0.5
                assert value != allowed.passed_over
            assert not names_of(item) or value in names_of(item)
    assert ended == 200 if issubclass(KINDS[kind], Moment) else 60 < ended < 140


def test_a_draw_chooses_among_the_kinds_and_the_channels_it_is_given() -> None:
    rng = np.random.default_rng(2)
    kinds = {"silent-sensor", "frozen-sensor", "hang"}
    drawn = [draw(rng, sorted(kinds), channels=("thrust", "speed")) for _ in range(300)]
    assert {fault.kind for fault in drawn} == kinds
    assert {f.channel for f in drawn if isinstance(f, SensorFault)} == {
        "thrust",
        "speed",
    }
    everything = {draw(rng).kind for _ in range(1000)}
    assert everything == set(KINDS)


def test_sensor_errors_are_drawn_in_a_size_that_suits_their_channel() -> None:
    rng = np.random.default_rng(3)
    for channel in CHANNELS:
        offsets = []
        for _ in range(200):
            fault = draw(rng, ["offset-sensor"], channels=[channel])
            assert isinstance(fault, OffsetSensor)
            offsets.append(fault.offset_si / SIZES_SI[channel])
        assert min(offsets) < -0.5
        assert max(offsets) > 0.5
        assert min(map(abs, offsets)) >= 0.1
        assert max(map(abs, offsets)) <= 1.0


def test_the_pack_that_the_demo_has_is_never_drawn_as_a_wrong_one() -> None:
    rng = np.random.default_rng(4)
    cells = set()
    for _ in range(200):
        fault = draw(rng, ["wrong-pack"])
        assert isinstance(fault, WrongPack)
        cells.add(fault.cells)
    assert cells == {2, 4, 5, 6}


def test_the_same_state_of_chance_draws_the_same_fault() -> None:
    one = [draw(np.random.default_rng(5)) for _ in range(3)]
    assert one[0] == one[1] == one[2]
    rng = np.random.default_rng(5)
    assert draw(rng) == one[0]
    assert draw(rng) != one[0]


def test_a_kind_that_is_none_is_refused() -> None:
    with pytest.raises(InputFault, match="there is no fault rain; known are cable-out"):
        draw(np.random.default_rng(1), ["rain"])
