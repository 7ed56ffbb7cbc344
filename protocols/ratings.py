"""From an article on the shelf to the ratings that its limits rest on.

Apart from ``protocols.limits`` because articles are pydantic models and the
keeper, which needs limits, must not import pydantic. It must never fill in a
current rating that the article does not give.
"""

from dataclasses import replace

from daq.analysis.copper import lead_ohm
from daq.records.shelf import Article, Plug
from protocols.rated import Ratings


def ratings_of(article: Article, *, load_cell_range_n: float | None = None) -> Ratings:
    """What the parts of an article can bear, SI.

    Args:
        article: as read from its file.
        load_cell_range_n: rated load of the load cell; a property of the stand.
    """
    motor, esc, plug = article.motor, article.esc, article.plug
    ratings = Ratings(
        motor_max_current_a=motor.max_current_a,
        motor_short_current_a=motor.short_current_a,
        motor_short_s=motor.short_s,
        esc_continuous_a=esc.continuous_a,
        esc_burst_a=esc.burst_a,
        esc_burst_s=esc.burst_s,
        plug_current_a=plug.rated_a if plug else None,
        plug_short_a=plug.short_a if plug else None,
        plug_short_s=plug.short_s if plug else None,
        plug_contact_ohm=plug.contact_ohm if plug else None,
        plug_lead_ohm=(sense_lead_ohm(plug) if plug else 0.0) or None,
        plug_max_k=plug.max_temperature_k if plug else None,
        propeller_max_speed_rad_s=article.propeller.max_speed_rad_s,
        no_load_speed_rad_s=article.source_v / motor.torque_constant_v_s,
        speed_per_volt_rad_s=1 / motor.torque_constant_v_s,
        load_cell_range_n=load_cell_range_n,
        winding_max_k=motor.max_winding_k,
        esc_max_k=esc.max_temperature_k,
    )
    return _with_source(ratings, article)


def _with_source(ratings: Ratings, article: Article) -> Ratings:
    """The same with what feeds it."""
    pack, supply = article.pack, article.supply
    if pack is not None:
        return replace(
            ratings,
            pack_max_current_a=pack.max_current_a,
            pack_cells=pack.cells,
            pack_min_cell_v=pack.min_cell_v,
            pack_max_cell_v=pack.max_cell_v,
            pack_capacity_c=pack.capacity_c,
        )
    if supply is not None:
        return replace(
            ratings,
            supply_v=supply.voltage_v,
            supply_current_a=supply.current_limit_a,
        )
    return ratings


def sense_lead_ohm(plug: Plug) -> float:
    """Of the lead between the sense wires of one pole, by its gauge; 0 for none."""
    if plug.sense_lead_awg is None or plug.sense_lead_mm is None:
        return 0.0
    return lead_ohm(plug.sense_lead_awg, plug.sense_lead_mm * 1e-3)
