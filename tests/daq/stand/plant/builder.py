"""Truths for tests: the shipped one with some of its keys changed."""

import tomllib
from collections.abc import Mapping

from daq.stand.plant.truth import SHIPPED_TRUTHS, Truth
from daq.typed_toml import check_typed


def shipped_tables(name: str = "indoor_quad") -> dict[str, dict[str, object]]:
    """A shipped truth file as plain tables."""
    return tomllib.loads((SHIPPED_TRUTHS / f"{name}.toml").read_text("utf-8"))


def changed(changes: Mapping[str, object], name: str = "indoor_quad") -> Truth:
    """A shipped truth with ``table.key`` set to a value, or dropped for None."""
    tables = shipped_tables(name)
    for dotted, value in changes.items():
        table, key = dotted.split(".")
        if value is None:
            tables[table].pop(key, None)
        else:
            tables.setdefault(table, {})[key] = value
    return check_typed(tables, Truth, "a test's truth")


QUIET: dict[str, object] = {
    "load_cell.gain_u": None,
    "load_cell.gain_error": 0.0,
    "load_cell.gain_tolerance_rel": 0.01,
    "load_cell.zero_counts": 0.0,
    "load_cell.zero_drift_counts_s": 0.0,
    "load_cell.noise_counts_rms": 0.0,
    "current_sensor.gain_u": 0.0,
    "current_sensor.zero_error_counts": 0.0,
    "current_sensor.noise_counts_rms": 0.0,
    "voltage_sensor.gain_u": 0.0,
    "voltage_sensor.zero_error_counts": 0.0,
    "voltage_sensor.noise_counts_rms": 0.0,
}
"""Sensors without error or noise."""


def bench_supply(volt_v: float) -> dict[str, object]:
    """A source of constant voltage and next to no resistance, an ESC that loses
    nothing, full pulse at once: what is left is the motor and its propeller."""
    return {
        "pack.cells": 1,
        "pack.ocv_charge_frac": [0.0, 1.0],
        "pack.ocv_cell_v": [volt_v, volt_v],
        "pack.capacity_c": 1e9,
        "pack.resistance_ohm": 1e-9,
        "pack.slow_resistance_ohm": 0.0,
        "leads.resistance_ohm": 0.0,
        "leads.plug_resistance_ohm": 0.0,
        "esc.on_resistance_ohm": 0.0,
        "esc.idle_current_a": 0.0,
        "esc.electronics_draw_a": 0.0,
        "esc.start_throttle_frac": 0.0,
        "esc.slew_frac_s": None,
        "esc.dropout_v": 0.1,
    }
