from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputFault
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import SHIPPED_TRUTHS, Truth, load_truth, shipped_truth
from daq.stand.plant.truth_parts import AirTruth, PropellerTruth
from tests.daq.stand.plant.builder import changed


@pytest.mark.parametrize("path", sorted(SHIPPED_TRUTHS.glob("*.toml")), ids=str)
def test_every_shipped_truth_loads_spins_and_says_it_is_simulated(path: Path) -> None:
    truth = load_truth(path)
    assert truth.title.startswith("simulated")
    plant = Plant(truth, 1)
    plant.advance(0.5, 1.5e-3)
    assert plant.state.thrust_n > 0.1


def test_the_indoor_quad_is_what_its_title_says() -> None:
    plant = Plant(shipped_truth(), 1)
    plant.advance(1.5, 2.0e-3)
    state = plant.state
    assert 2.5 <= state.thrust_n <= 3.1
    assert 10.0 <= state.bus_a <= 13.0


def test_an_unknown_shipped_name_lists_the_known_ones() -> None:
    with pytest.raises(InputFault, match="choose from indoor_quad"):
        shipped_truth("outdoor")


def written(folder: Path, old: str, new: str) -> Path:
    """The shipped file with one piece of text replaced."""
    text = (SHIPPED_TRUTHS / "indoor_quad.toml").read_text("utf-8")
    assert text.count(old) >= 1
    path = folder / "mine.toml"
    path.write_text(text.replace(old, new, 1), "utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("cells = 3\n", "", r"pack\.cells is missing"),
        ("cells = 3\n", "cells = 0\n", r"pack\.cells is 0.* at least 1"),
        ("cells = 3\n", "cells = 3.5\n", r"pack\.cells is 3\.5.* whole number"),
        ("cells = 3\n", "cels = 3\n", r"pack\.cels is not a known key.*cells"),
        ("kv_rpm_v = 4600.0", 'kv_rpm_v = "fast"', r"motor\.kv_rpm_v .* a number"),
        ("kv_rpm_v = 4600.0", "kv_rpm_v = true", r"motor\.kv_rpm_v .* a number"),
        ("kv_rpm_v = 4600.0", "kv_rpm_v = nan", r"motor\.kv_rpm_v .* finite"),
        ("kv_rpm_v = 4600.0", "kv_rpm_v = -1", r"motor\.kv_rpm_v is -1.* above 0"),
        ("[motor]", "[moter]", r"moter is not a known key.*motor"),
        ("0.45", "1.45", r"air\.relative_humidity_frac is 1\.45.* at most 1"),
        (
            "pressure_pa = 100800.0\n",
            "",
            r"\[air\] give density_kg_m3, or all of temperature_c",
        ),
        (
            "pressure_pa = 100800.0\n",
            "pressure_pa = 100800.0\ndensity_kg_m3 = 1.2\n",
            r"\[air\] give density_kg_m3 or temperature_c.* not both",
        ),
        (
            "gain_u = 0.02\n",
            "gain_u = 0.02\ngain_error = 0.01\n",
            r"\[load_cell\] give either gain_error or gain_u",
        ),
        (
            "gain_u = 0.02\n",
            "gain_error = 0.01\n",
            r"\[load_cell\] with gain_error give gain_tolerance_rel too",
        ),
        (
            "pulse_high_s = 2.0e-3",
            "pulse_high_s = 1.0e-3",
            r"\[esc\] pulse_high_s must be above pulse_low_s",
        ),
        (
            "[0.0, 0.05,",
            "[0.0,",
            r"\[pack\] ocv_charge_frac and ocv_cell_v need the same number",
        ),
        ("[0.0, 0.05,", "[0.01, 0.05,", r"\[pack\] .* must increase from 0 to 1"),
        ("[3.00, 3.45,", "[3.50, 3.45,", r"\[pack\] ocv_cell_v .* not fall"),
        ("ct = [0.137, ", "ct = [", r"\[propeller\] ct has 7 values for 8"),
        ("ct = [0.137", "ct = [0.0", r"\[propeller\] ct must be above 0"),
        ("[3000, 8000,", "[8000, 3000,", r"\[propeller\] speed_rpm must increase"),
        (
            "ct = [0.137",
            "ct = [0.223",
            r"\[propeller\] .* figure of merit of 1\.05, and nothing can be above 1",
        ),
        (
            "noise_counts_rms = 9.0",
            "noise_counts_rms = 9.0\nlow_counts = 5\nhigh_counts = 5",
            r"\[current_sensor\] high_counts must be above low_counts",
        ),
    ],
)
def test_a_wrong_truth_is_refused_by_file_and_key(
    tmp_path: Path, old: str, new: str, sentence: str
) -> None:
    with pytest.raises(InputFault, match=rf"mine\.toml.*{sentence}"):
        load_truth(written(tmp_path, old, new))


def test_what_is_no_toml_or_is_not_there_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"mine\.toml .*not valid TOML.*line"):
        load_truth(written(tmp_path, "[motor]", "[motor"))
    with pytest.raises(InputFault, match=r"absent\.toml"):
        load_truth(tmp_path / "absent.toml")


def test_a_density_may_be_given_directly() -> None:
    assert AirTruth(density_kg_m3=1.1).density() == 1.1


def test_a_gain_error_comes_with_its_own_declared_tolerance() -> None:
    truth = changed(
        {
            "current_sensor.gain_u": None,
            "current_sensor.gain_error": 0.03,
            "current_sensor.gain_tolerance_rel": 0.015,
        }
    )
    assert truth.current_sensor.tolerance_rel == 0.015


@given(
    st.lists(
        st.tuples(st.floats(0.01, 0.4), st.floats(0.01, 0.4)), min_size=2, max_size=6
    )
)
def test_no_accepted_propeller_beats_the_ideal_between_its_points(
    pairs: list[tuple[float, float]],
) -> None:
    # Figure of merit never above 1: actuator-disc theory, Leishman (2000) ch. 2.
    possible = [
        (ct, cp) for ct, cp in pairs if PropellerTruth.figure_of_merit(ct, cp) <= 1.0
    ]
    if len(possible) < 2:
        return
    cts, cps = zip(*possible, strict=True)
    truth = PropellerTruth(
        diameter_m=0.1,
        inertia_kg_m2=1e-6,
        ct=cts,
        cp=cps,
        speed_rpm=tuple(1000.0 * (k + 1) for k in range(len(possible))),
    )
    for (ct0, cp0), (ct1, cp1) in pairwise(possible):
        for part in (0.2, 0.5, 0.8):
            ct, cp = ct0 + part * (ct1 - ct0), cp0 + part * (cp1 - cp0)
            assert truth.figure_of_merit(ct, cp) <= 1.0 + 1e-12


ARTICLE = ("pack", "leads", "air", "mount", "speed_sensor", "winding_sensor")


def test_the_rough_stand_has_the_same_article_and_every_effect() -> None:
    plain, rough = shipped_truth(), shipped_truth("rough")
    for name in ARTICLE:
        assert getattr(rough, name) == getattr(plain, name)
    assert rough.motor == plain.motor
    assert rough.propeller.ct == plain.propeller.ct
    # The rough stand has an amplifier a pole: what would stand in for them is left out.
    instead = {"pack_voltage_sensor", "plug_sensor"}
    lacks = {n for n in Truth.model_fields if getattr(rough, n) is None}
    assert lacks == instead


def test_without_its_effects_the_rough_stand_is_the_plain_one_to_the_count() -> None:
    rough = shipped_truth("rough")
    bare = rough.model_copy(
        update=dict.fromkeys(EFFECTS)
        | {
            name: getattr(shipped_truth(), name)
            for name in (
                "esc",
                "propeller",
                "current_sensor",
                "voltage_sensor",
                "winding_heat",
            )
        }
    )
    one, other = Plant(bare, 9), Plant(shipped_truth(), 9)
    for _ in range(600):
        for plant in (one, other):
            plant.advance(2e-3, 1.8e-3)
        assert one.fast_frame() == other.fast_frame()
        assert one.take_conversion() == other.take_conversion()
    assert one.integrals == other.integrals


EFFECTS = (
    "arm",
    "vibration",
    "cell_creep",
    "cell_hysteresis",
    "cell_curve",
    "cell_drift",
    "cell_warming",
    "reference",
    "gusts",
    "chopping",
    "plug",
    "plug_sense",
    "scatter",
)


def test_a_shipped_truth_may_be_named_without_its_folder(tmp_path: Path) -> None:
    assert load_truth(Path("rough")) == shipped_truth("rough")
    with pytest.raises(InputFault, match="no such file"):
        load_truth(tmp_path / "rough")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"propeller.blades": None},
            r"with \[vibration\] give propeller\.blades too",
        ),
        (
            {"cell_hysteresis.thresholds_frac": [0.2, 0.1]},
            r"\[cell_hysteresis\] thresholds_frac must increase",
        ),
        ({"esc.duty_bow_frac": 0.3}, r"esc\.duty_bow_frac is 0\.3.* below 0\.25"),
        ({"arm.thrust_arm_m": 0.0}, r"arm\.thrust_arm_m is 0.* above 0"),
        ({"arm.misaligned_rad": 0.1}, r"arm\.misaligned_rad is not a known key"),
        ({"chopping.frequency_hz": 10.0}, r"chopping\.frequency_hz .* at least 1000"),
        ({"winding_heat.magnet_rel_k": 0.001}, r"magnet_rel_k is 0\.001.* at most 0"),
    ],
)
def test_an_effect_out_of_all_reason_is_refused_by_its_key(
    changes: dict[str, object], sentence: str
) -> None:
    with pytest.raises(InputFault, match=sentence):
        changed(changes, "rough")


def test_a_cell_that_follows_its_warmth_must_be_warmed_by_something() -> None:
    with pytest.raises(InputFault, match=r"need \[cell_warming\]"):
        changed({"cell_drift.zero_n_k": 0.001})
