"""What is going to be spun, whole, before a port is opened.

An article's ratings become limits and rules, a protocol becomes a plan, and both a
task; with the facts of the moment it is what a keeper is started with. Whatever is
wrong is refused here, in a sentence. Command line and desktop both order this way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from daq.records.shelf import Article
    from protocols.limits import Limit
    from protocols.plan import Plan
    from protocols.rated import Ratings
    from protocols.rules import Rules
    from protocols.task import Task


def limits_for(
    article: Article,
    load_cell_g: float | None,
    timed: Collection[str] = (),
    *,
    by_hand: bool = False,
) -> tuple[Limit, ...]:
    """The limits of an article on a stand that measures all it can.

    Args:
        article: what is tested.
        load_cell_g: rated load of the stand's load cell; without it there is no
            limit on thrust.
        timed: parts that count with their rating for seconds.
        by_hand: a load is switched by hand: motor and speed controller carry none of
            it, and nothing presses on the load cell.

    Raises:
        InputFault: the article gives no current rating, the load is not above zero,
            or a timed part has no rating for seconds.
    """
    from protocols.limits import derive

    if by_hand:
        loaded = replace(
            _ratings(article, None),
            motor_max_current_a=None,
            motor_short_current_a=None,
            esc_continuous_a=None,
            esc_burst_a=None,
        )
        return derive(loaded, ("current", "voltage"), timed)
    channels = ["current", "voltage", "speed"]
    if load_cell_g is not None:
        channels.append("thrust")
    return derive(_ratings(article, load_cell_g), channels, timed)


def rules_for(article: Article, timed: Collection[str] = ()) -> Rules:
    """What the guard counts and knows besides limits.

    Raises:
        InputFault: a timed part has no rating for seconds.
    """
    from protocols.rules import derive_rules

    return derive_rules(_ratings(article, None), timed)


def _ratings(article: Article, load_cell_g: float | None) -> Ratings:
    from daq import units
    from daq.errors import InputFault
    from protocols.ratings import ratings_of

    if load_cell_g is None:
        return ratings_of(article)
    if not (math.isfinite(load_cell_g) and load_cell_g > 0):
        raise InputFault(
            f"The load cell's rated load is {load_cell_g:g} g; it must be above zero."
        )
    return ratings_of(article, load_cell_range_n=units.gf_to_n(load_cell_g))


@dataclass(frozen=True, slots=True)
class Order:
    """One spin to do.

    Attributes:
        article: what is tested.
        task: plan, limits and rules.
        timed: parts that may go to their short-time rating.
        specimen: which simulated stand, where this program starts one; "" for any
            other.
    """

    article: Article
    task: Task
    timed: tuple[str, ...] = ()
    specimen: str = ""

    @property
    def plan(self) -> Plan:
        """What will be walked."""
        return self.task.plan

    def charge_caution(self, rest_v: float) -> str:
        """That the pack is not charged enough for the plan; "" where it seems to be.

        Args:
            rest_v: what it has at rest, now.
        """
        from protocols.limits import brief
        from protocols.preview import preview

        pack = self.article.pack
        if self.plan.by_hand:
            return ""
        seen = preview(self.plan, self.article, self.task.limits, self.task.rules)
        low = [near for near in seen.approaches if near.channel == "voltage"]
        if pack is None or not low:
            return ""
        sag_v = self.article.source_v - low[0].value
        left_v, floor_v = rest_v - sag_v, low[0].bound
        if left_v >= floor_v or rest_v < floor_v:  # fine, or refused as it is
            return ""
        return (
            f"The pack has {brief(rest_v)} V at rest, {brief(rest_v / pack.cells)} V a "
            f"cell, and the plan is expected to take {brief(sag_v)} V of it: below its "
            f"floor of {brief(floor_v)} V, so it will probably trip. Charge it first."
        )

    def start(self, port: str, baud: int, out: Path, *, own: bool) -> dict[str, object]:
        """What a keeper is started with.

        Args:
            port: what to open.
            baud: symbols a second.
            out: folder for the run's folder.
            own: on a simulated stand that this program started itself.
        """
        from importlib.metadata import version

        from daq.machine_clock import utc_now
        from daq.records.folder import folder_name
        from ui.calibrations import for_header

        utc = utc_now().isoformat(timespec="seconds")
        name = folder_name(utc, self.plan.protocol, f"{self.task.nonce:04x}")
        return {
            "port": port,
            "baud": baud,
            "out": str(out),
            "name": name,
            "task": self.task.to_dict(),
            "header": {
                "utc": utc,
                "simulated": own,
                "article": self.article.to_dict(),
                "versions": {"gramwatt": version("gramwatt")},
                **for_header(own=own, specimen=self.specimen if own else ""),
            },
        }


def order_for(
    protocol: str,
    article: Article,
    load_cell_g: float,
    timed: Collection[str] = (),
    lines: str = "",
) -> Order:
    """Everything that can be refused before a port is opened.

    Args:
        protocol: its name or file.
        article: what is tested.
        load_cell_g: rated load of the load cell.
        timed: parts that may go to their short-time rating.
        lines: description of a stand that prints lines; "" for any other.

    Raises:
        InputFault: protocol, article, load cell or timed parts are wrong, or the plan
            is more than such a stand may be asked for.
    """
    import secrets

    from protocols.caps import capped, ruled
    from protocols.recipe import expand, load_recipe
    from protocols.task import Task

    plan = expand(load_recipe(protocol), article)
    held = limits_for(article, load_cell_g, timed, by_hand=plan.by_hand)
    limits = capped(plan, held)
    nonce = secrets.randbelow(0xFFFF) + 1
    rules = ruled(plan, rules_for(article, timed))
    return Order(article, Task(plan, limits, nonce, rules, lines), tuple(timed))
