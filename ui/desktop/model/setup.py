"""What is going to be spun, as it is put together: article, protocol, limits.

Keeps what was chosen, and what follows from it or why nothing does. The shelf of
articles is a list of files used before; one that is gone is told, not lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from daq.errors import GramwattError, InputFault
from daq.records.shelf import Article, load_article
from protocols.dry_run import Row
from protocols.plan import Plan
from protocols.preview import Preview, preview
from protocols.rated import PARTS, parts_of
from protocols.ratings import ratings_of
from protocols.recipe import Recipe, catalogue_names, load_recipe
from ui.articles import example_article
from ui.desktop.model.memory import Memory
from ui.ordered import Order, order_for

EXAMPLE: Final = "Indoor quad, motor A (an example)"
DEFAULT_PROTOCOL: Final = "short-staircase"
LOAD_CELL_G: Final = 1000.0


@dataclass(frozen=True, slots=True)
class Named:
    """Something to choose.

    Attributes:
        key: what chooses it.
        title: what a person reads.
        why: what it is for, or why it cannot be chosen.
    """

    key: str
    title: str
    why: str = ""


@dataclass(slots=True)
class Setup:
    """What a person has put together so far.

    Attributes:
        memory: what was used before.
        article: file of the article; "" for the example.
        protocol: its name, or its file.
        load_cell_g: rated load of the stand's load cell.
        timed: parts that may go to their rating for seconds.
        lines: description of a stand that prints lines; "" for any other.
        fault: why it cannot be spun, a sentence; "" where it can.
        order: what will be ordered; None while something is wrong.
        seen: what the plan will take; None while something is wrong.
    """

    memory: Memory
    article: str = ""
    protocol: str = DEFAULT_PROTOCOL
    load_cell_g: float = LOAD_CELL_G
    timed: set[str] = field(default_factory=set)
    lines: str = ""
    fault: str = ""
    order: Order | None = None
    seen: Preview | None = None

    def recall(self) -> None:
        """Begin with what was used last."""
        self.article = self.memory.text("article")
        self.protocol = self.memory.text("protocol", DEFAULT_PROTOCOL)
        if self.article and not Path(self.article).is_file():
            self.article = ""
        grams = self.memory.whole("load_cell_g", round(LOAD_CELL_G))
        self.load_cell_g = float(grams) if grams > 0 else LOAD_CELL_G

    def remember(self) -> None:
        """Keep it for the next start."""
        self.memory.set("article", self.article)
        self.memory.set("protocol", self.protocol)
        self.memory.set("load_cell_g", round(self.load_cell_g))
        if self.article:
            self.memory.push("articles", self.article)

    # ------------------------------------------------------------------ to choose from

    def articles(self) -> list[Named]:
        """The shelf: the example first, then what was used before."""
        found = [Named("", EXAMPLE)]
        for path in self.memory.texts("articles"):
            try:
                found.append(Named(path, load_article(Path(path)).name, path))
            except GramwattError as fault:
                found.append(Named(path, Path(path).name, str(fault)))
        return found

    def protocols(self) -> list[Named]:
        """The catalogue, then files that were used before."""
        found = []
        for name in catalogue_names():
            recipe = load_recipe(name)
            found.append(Named(name, recipe.title, recipe.why))
        for path in self.memory.texts("protocols"):
            try:
                recipe = load_recipe(path)
                found.append(Named(path, recipe.title, recipe.why))
            except GramwattError as fault:
                found.append(Named(path, Path(path).name, str(fault)))
        return found

    @property
    def loaded_article(self) -> Article:
        """The article.

        Raises:
            InputFault: its file is missing or wrong.
        """
        return load_article(Path(self.article) if self.article else example_article())

    @property
    def recipe(self) -> Recipe | None:
        """The protocol; None where it cannot be read."""
        try:
            return load_recipe(self.protocol)
        except GramwattError:
            return None

    def timed_parts(self) -> list[str]:
        """Parts of this article that have a rating for seconds."""
        found = []
        for part in PARTS:
            try:
                parts_of(ratings_of(self.loaded_article), (part,))
            except GramwattError:
                continue
            found.append(part)
        return found

    # ------------------------------------------------------------------ what follows

    def work_out(self) -> None:
        """Find out what follows, or why nothing does."""
        self.order, self.seen, self.fault = None, None, ""
        try:
            order = order_for(
                self.protocol,
                self.loaded_article,
                self.load_cell_g,
                sorted(self.timed & set(self.timed_parts())),
                self.lines,
            )
            task = order.task
            if order.plan.by_hand:
                raise InputFault(
                    f"{self.protocol} is walked in a terminal, which says when to "
                    f"switch: gramwatt spin {self.protocol} --port PORT --article FILE."
                )
            self.seen = preview(order.plan, order.article, task.limits, task.rules)
            self.order = order
        except GramwattError as fault:
            self.fault = str(fault)


def outline(
    plan: Plan, rows: Sequence[Row] = ()
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Throttle over time as a line: seconds, and percent, shape (n,) each.

    Args:
        plan: the plan.
        rows: what is expected of each segment, for how far a hold will go.
    """
    times, percents, at_s, share = [0.0], [0.0], 0.0, 1.0
    for number, segment in enumerate(plan.segments):
        start, end = share * segment.start_frac, share * segment.end_frac
        share = 1.0
        if segment.goal is not None and rows:
            start = end = rows[number].end_frac
            share = end / segment.end_frac  # the way down begins where it ends
        times += [at_s, at_s + segment.duration_s]
        percents += [100 * start, 100 * end]
        at_s += segment.duration_s
    return np.array(times), np.array(percents)


def dwells(plan: Plan) -> list[tuple[float, float]]:
    """When levels are read: start and end, in seconds from the plan's start.

    A hold is none: it is read all along, and nobody knows when it ends.
    """
    found, at_s = [], 0.0
    for segment in plan.segments:
        if segment.is_data and segment.goal is None:
            found.append((at_s, at_s + segment.duration_s))
        at_s += segment.duration_s
    return found
