"""An article as the analysis takes it: aircraft, ratings, motor, pack, plug."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.analysis.aircraft import Aircraft, Rating
    from daq.analysis.motor import Winding
    from daq.analysis.pack import FittedPack
    from daq.analysis.plug import FittedPlug
    from daq.records.shelf import Article


def aircraft_of(article: Article | None, gravity_m_s2: float) -> Aircraft | None:
    """What the article is meant to fly on; None where it does not say.

    Args:
        article: what was tested.
        gravity_m_s2: that thrust is counted by: the same on both sides cancels.
    """
    from daq.analysis.aircraft import Aircraft
    from daq.units import STANDARD_GRAVITY_M_S2

    if article is None or article.aircraft is None:
        return None
    flown, pack = article.aircraft, article.pack
    return Aircraft(
        motors=flown.motors,
        all_up_n=None
        if flown.all_up_n is None
        else flown.all_up_n * gravity_m_s2 / STANDARD_GRAVITY_M_S2,
        all_up_g=flown.all_up_g,
        electronics_a=flown.electronics_a or 0.0,
        capacity_c=None if pack is None else pack.capacity_c,
        cells=None if pack is None else pack.cells,
        ratings=ratings_of(article),
        full_a=flown.full_current_a,
    )


def winding_of(article: Article | None) -> Winding | None:
    """What was measured of the motor apart; None where its resistance was not."""
    from daq.analysis.motor import Winding

    if article is None or article.motor.resistance_ohm is None:
        return None
    motor, ohm = article.motor, article.motor.resistance_ohm
    return Winding(ohm, motor.no_load_current_a, motor.kv_rpm_v)


def plug_of(article: Article | None) -> FittedPlug | None:
    """What the article says of its plug; None where it has none."""
    from daq.analysis.plug import FittedPlug
    from protocols.ratings import sense_lead_ohm

    plug = None if article is None else article.plug
    if plug is None:
        return None
    return FittedPlug(
        name=plug.name,
        rated_a=plug.rated_a,
        lead_ohm=sense_lead_ohm(plug),
        contact_ohm=plug.contact_ohm,
    )


def pack_of(article: Article | None) -> FittedPack | None:
    """What the article says of its pack; None where it has none."""
    from daq.analysis.pack import FittedPack

    pack = None if article is None else article.pack
    if pack is None:
        return None
    return FittedPack(
        pack.name, pack.cells, pack.floor_v, pack.max_current_a, pack.capacity_c
    )


def ratings_of(article: Article) -> tuple[Rating, ...]:
    """What the parts are rated for as long as one likes, as far as is written down."""
    from daq.analysis.aircraft import Rating

    pack, plug = article.pack, article.plug
    found = (
        ("plug", None if plug is None else plug.rated_a, False),
        ("pack", None if pack is None else pack.max_current_a, False),
        ("speed controller", article.esc.continuous_a, True),
        ("motor", article.motor.max_current_a, True),
    )
    return tuple(
        Rating(part, current_a, each)
        for part, current_a, each in found
        if current_a is not None
    )
