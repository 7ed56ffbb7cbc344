"""From an article on the shelf to the ratings that its limits rest on.

Apart from ``protocols.limits`` because articles are pydantic models and the
keeper, which needs limits, must not import pydantic. It must never fill in a
current rating that the article does not give.
"""

from dataclasses import replace

from daq.records.shelf import Article
from protocols.limits import Ratings


def ratings_of(article: Article, *, load_cell_range_n: float | None = None) -> Ratings:
    """What the parts of an article can bear, SI.

    Args:
        article: as read from its file.
        load_cell_range_n: rated load of the load cell; a property of the stand.
    """
    motor, pack = article.motor, article.pack
    ratings = Ratings(
        motor_max_current_a=motor.max_current_a,
        motor_short_current_a=motor.short_current_a,
        motor_short_s=motor.short_s,
        esc_continuous_a=article.esc.continuous_a,
        esc_burst_a=article.esc.burst_a,
        plug_current_a=article.plug.rated_a if article.plug else None,
        propeller_max_speed_rad_s=article.propeller.max_speed_rad_s,
        no_load_speed_rad_s=article.source_v / motor.torque_constant_v_s,
        load_cell_range_n=load_cell_range_n,
    )
    if pack is None:
        return ratings
    return replace(
        ratings,
        pack_max_current_a=pack.max_current_a,
        pack_cells=pack.cells,
        pack_min_cell_v=pack.min_cell_v,
        pack_max_cell_v=pack.max_cell_v,
    )
