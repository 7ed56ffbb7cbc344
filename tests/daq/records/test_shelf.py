import json
import math
import tomllib
from pathlib import Path

import pytest

from daq.errors import InputFault
from daq.records.shelf import Article, Motor, load_article
from tests.protocols.articles import article
from ui.articles import example_article

REFERENCE = Path(__file__).parents[2] / "reference"
SHIPPED = example_article()


def written(folder: Path, old: str = "", new: str = "") -> Path:
    """The shipped article as a person's own file, one line changed."""
    text = SHIPPED.read_text(encoding="utf-8")
    assert old in text
    path = folder / "quad.toml"
    path.write_text(text.replace(old, new, 1) if old else text, encoding="utf-8")
    return path


def test_the_shipped_article_is_marked_as_simulated() -> None:
    article = load_article(SHIPPED)
    assert article.simulated
    assert "1404 size, 4600 Kv" in article.motor.name
    assert article.pack is not None
    assert (article.pack.cells, article.pack.capacity_mah) == (3, 450)


def test_an_article_is_real_unless_it_says_otherwise(tmp_path: Path) -> None:
    assert not load_article(written(tmp_path, "simulated = true\n")).simulated


def test_lengths_and_weights_come_out_in_si() -> None:
    article = load_article(SHIPPED)
    assert article.propeller.diameter_m == pytest.approx(0.0762)
    assert article.propeller.diameter_u_m == pytest.approx(0.00015)
    assert article.aircraft is not None
    # 1 gf = 9.80665e-3 N: CGPM 1901.
    assert article.aircraft.all_up_n == pytest.approx(180 * 9.80665e-3)


def test_air_comes_out_in_si() -> None:
    air = load_article(SHIPPED).air
    assert air is not None
    assert air.temperature_k == pytest.approx(294.15)
    assert air.pressure_pa == pytest.approx(100_800)
    assert air.humidity_frac == pytest.approx(0.45)


def test_a_pack_counts_its_charge_and_current_as_the_standard_does() -> None:
    # IEC 61960-3: It is rated capacity over one hour; 450 mAh gives I2 = 0.45 A,
    # the example in tests/reference/connectors_batteries.toml.
    practice = tomllib.loads((REFERENCE / "connectors_batteries.toml").read_text())
    assert (
        "450 mAh cell: I1 0.09 A, I2 0.45 A"
        in (practice["dc_resistance_iec_61960_3"]["example"])
    )
    pack = load_article(SHIPPED).pack
    assert pack is not None
    assert pack.capacity_c == pytest.approx(0.45 * 3600)
    assert pack.max_current_a == pytest.approx(75 * 0.45)
    assert pack.full_v == pytest.approx(12.6)
    assert pack.floor_v == pytest.approx(9.9)
    assert pack.resistance_ohm == pytest.approx(0.085)


def test_kv_turns_into_the_published_no_load_speed() -> None:
    # 5700 rpm/V at 11.1 V turns 63270 rpm: tests/reference/rotor_motor.toml,
    # dc_motor_model.published_no_load.
    model = tomllib.loads((REFERENCE / "rotor_motor.toml").read_text())
    row = model["dc_motor_model"]["published_no_load"]
    motor = Motor(name="any", kv_rpm_v=row["K_v_rpm_per_V"], poles=12)
    speed_rad_s = row["v_V"] / motor.torque_constant_v_s
    assert speed_rad_s * 30 / math.pi == pytest.approx(row["rpm"])


def test_pole_pairs_are_half_the_magnets() -> None:
    assert load_article(SHIPPED).motor.pole_pairs == 6


def test_what_a_file_leaves_out_is_unknown_and_not_guessed(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    path.write_text(
        'format = 1\nname = "bare"\n'
        '[motor]\nname = "m"\nkv_rpm_v = 4600\npoles = 12\n'
        '[propeller]\nname = "p"\nblades = 2\ndiameter_mm = 76\ndiameter_u_mm = 0.2\n'
        "[esc]\n[pack]\ncells = 3\ncapacity_mah = 450\n"
        '[plug]\nname = "x"\n[mount]\nkind = "pusher"\n'
    )
    article = load_article(path)
    assert article.air is None
    assert article.aircraft is None
    assert article.pack is not None
    assert article.pack.max_current_a is None
    assert article.pack.resistance_ohm is None
    assert article.propeller.max_speed_rad_s is None
    assert article.motor.resistance_ohm is None


def test_an_article_survives_its_trip_into_a_record() -> None:
    article = load_article(SHIPPED)
    data = json.loads(json.dumps(article.to_dict(), allow_nan=False))
    assert Article.from_dict(data, "wire.log") == article


def test_a_damaged_article_in_a_record_names_the_record() -> None:
    data = load_article(SHIPPED).to_dict()
    data["pack"]["cells"] = "three"
    with pytest.raises(InputFault, match=r'^wire\.log: pack\.cells is "three"'):
        Article.from_dict(data, "wire.log")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("kv_rpm_v = 4600", "", "motor.kv_rpm_v is missing"),
        (
            "diameter_mm = 76.2",
            "",
            "propeller.diameter_mm is missing: measure it from tip to tip, since the "
            "printed size can be 8 % off",
        ),
        ("kv_rpm_v", "kv", "motor.kv is not a known key; kv_rpm_v was probably meant"),
        ("kv_rpm_v", "colour", "motor.colour is not a known key; known are name, kv"),
        ("kv_rpm_v = 4600", "kv_rpm_v = 4.6", "motor.kv_rpm_v is 4.6; .* at least 100"),
        ("poles = 12", "poles = 9", "motor.poles is 9; it must be even"),
        ("poles = 12", "poles = 12.0", "motor.poles is 12.0; .* whole number"),
        ("= 76.2 ", "= 3 ", "propeller.diameter_mm is 3; it must be at least 15"),
        ("= 76.2 ", '= "76" ', 'propeller.diameter_mm is "76"; it must be a number'),
        ("= 76.2 ", "= true ", "propeller.diameter_mm is true; it must be a number"),
        ("= 76.2 ", "= inf ", "propeller.diameter_mm is inf; .* finite"),
        ("diameter_u_mm = 0.15", "diameter_u_mm = 0", "diameter_u_mm .* above 0"),
        ("burst_a = 25", "burst_a = 15", r"\[esc\] has a burst_a below"),
        ("max_current_a = 14", "short_current_a = 9", r"\[motor\] gives short_current"),
        (
            "max_current_a = 14",
            "max_current_a = 14\nshort_current_a = 9\nshort_s = 10",
            "short_current_a below its max_current_a",
        ),
        ("cells = 3", "cells = 0", "pack.cells is 0; it must be at least 1"),
        ("min_cell_v = 3.3 ", "min_cell_v = 33 ", "pack.min_cell_v is 33; .* most 3.9"),
        ('"tractor"', '"sideways"', "mount.kind .* 'tractor' or 'pusher'"),
        ("[plug]", "[plugg]", "plugg is not a known key; plug was probably meant"),
        ("pressure_hpa = 1008", "pressure_hpa = 100800", "air.pressure_hpa .* 1100"),
        ("format = 1", "format = 2\nnovelty = 1", "format is 2; it must be 1"),
        ("motors = 4", "", "aircraft.motors is missing"),
        ("rated_a = 12", "rated_a = 12\nshort_a = 18", r"\[plug\] gives short_a and"),
        ("rated_a = 12", "rated_a = 12\nshort_s = 4", r"\[plug\] gives short_a and"),
        (
            "rated_a = 12",
            "short_a = 18\nshort_s = 4",
            r"\[plug\] has a short_a without the rated_a",
        ),
        (
            "rated_a = 12",
            "rated_a = 12\nshort_a = 12\nshort_s = 4",
            r"\[plug\] has a short_a that is not above its rated_a",
        ),
        ("burst_a = 25", "burst_s = 10", r"\[esc\] gives a burst_s without"),
        ("burst_a = 25", "max_temperature_c = 20", "esc.max_temperature_c .* least 40"),
        ("max_current_a = 14", "max_winding_c = 400", "max_winding_c .* at most 250"),
        ("[plug]", "[supply]\nvoltage_v = 12\ncurrent_limit_a = 9\n[plug]", "and a"),
    ],
)
def test_a_fault_in_a_file_names_file_and_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = written(tmp_path, old, new)
    with pytest.raises(InputFault, match=says) as caught:
        load_article(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)


def test_short_time_ratings_and_temperatures_are_read() -> None:
    read = article(
        plug__short_a=18.0,
        plug__short_s=4.0,
        esc__burst_s=10.0,
        esc__max_temperature_c=100.0,
        motor__max_winding_c=120.0,
    )
    assert read.plug is not None
    assert (read.plug.short_a, read.plug.short_s, read.esc.burst_s) == (18.0, 4.0, 10.0)
    # ITS-90: 0 degC is 273.15 K.
    assert read.esc.max_temperature_k == pytest.approx(373.15)
    assert read.motor.max_winding_k == pytest.approx(393.15)


SUPPLY = {"voltage_v": 12.0, "current_limit_a": 9.0}


def test_a_bench_supply_takes_the_place_of_a_pack() -> None:
    read = article("pack", supply=SUPPLY)
    assert read.pack is None
    assert (read.source_v, read.source.resistance_ohm) == (12.0, None)
    assert read.source.name == "bench supply"
    assert Article.from_dict(read.to_dict(), "wire.log") == read


def test_a_pack_is_the_source_at_its_full_voltage() -> None:
    read = article()
    assert read.source is read.pack
    assert read.source_v == pytest.approx(12.6)


def test_a_source_is_needed_and_only_one() -> None:
    with pytest.raises(InputFault, match=r"it needs a \[pack\] or a \[supply\]"):
        article("pack")
    with pytest.raises(InputFault, match=r"there is a \[pack\] and a \[supply\]"):
        article(supply=SUPPLY)
