"""The file that a round robin leaves: how a club's stands agree.

A small JSON object that members pass on, and so everything in it is checked. Stands
are in it by their keys (``entry.key_of``): who has a run of a stand can find it, and
nobody else learns its number.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, Field, ValidationError

from daq.errors import InputFault, WorldFault
from daq.typed_toml import Table, told
from ui.club.entry import Date, Key, Number, Short

FORMAT: Final = 1
#: Most bytes that an agreement may have.
MOST_BYTES: Final = 1_000_000
MOST_STANDS: Final = 500
#: More degrees of freedom than this are as good as any number.
MANY_DOF: Final = 1e9


def _on_one_line(text: str) -> str:
    """Names and sentences are shown in terminals, a stranger's too."""
    if not text.isprintable():
        raise ValueError("it must be plain text on one line")
    return text


Name = Annotated[Short, AfterValidator(_on_one_line)]
Sentence = Annotated[str, Field(max_length=1200), AfterValidator(_on_one_line)]
Dof = Annotated[float, Field(ge=1, le=MANY_DOF)]
#: A logarithm: nobody's stand is off by more than a factor of seven.
Log = Annotated[float, Field(ge=-2, le=2)]
LogU = Annotated[float, Field(ge=0, le=2)]
Quantity = Literal["specific thrust", "thrust"]


class SpreadTold(Table):
    """A standard deviation of logarithms, and how well it is known."""

    sd: LogU
    dof: Dof


class BiasTold(Table):
    """What a stand reads too much, by the logarithm; as in ``agreed.StandBias``."""

    log: Log
    u: LogU
    dof: Dof


class AgreedTold(Table):
    """How the stands agree in one quantity; as in ``agreed.Agreed``."""

    within: SpreadTold | None = None
    between: SpreadTold | None = None
    consensus_u: LogU
    biases: Annotated[dict[Key, BiasTold], Field(max_length=MOST_STANDS)]


class StandTold(Table):
    """One stand that took part.

    Attributes:
        scale: key of the stand with its calibrations, as in ``Entry.scale``.
        stand: key of the stand, as in ``Entry.stand``.
        name: what it is called here, without its number.
        runs: how many it made.
    """

    scale: Key
    stand: Key
    name: Name
    runs: Annotated[int, Field(ge=1, le=1000)]


class RangeTold(Table):
    """Where the stands were held against each other, SI."""

    low: Number
    high: Number


class AgreementTold(Table):
    """What a round robin leaves for comparisons across stands.

    Attributes:
        format: version of this layout.
        round: its name, as in the article's ``travels``.
        article: what travelled, in words.
        utc_from: when its first run began.
        utc_to: when its last one did.
        simulated: nothing turned: not measured but simulated.
        closed: whether the stand that began it ended it too.
        changed: whether the article was seen to have changed on its way.
        stands: in the order in which they were first visited.
        ranges: where, by quantity.
        quantities: how they agree, by quantity.
        sentences: what the round said.
    """

    format: Literal[1]
    round: Name
    article: Name
    utc_from: Date
    utc_to: Date
    simulated: bool
    closed: bool
    changed: bool
    stands: Annotated[tuple[StandTold, ...], Field(min_length=2, max_length=500)]
    ranges: dict[Quantity, RangeTold]
    quantities: Annotated[dict[Quantity, AgreedTold], Field(min_length=1)]
    sentences: Annotated[tuple[Sentence, ...], Field(max_length=600)] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON; what is not known is ``null``."""
        return self.model_dump(mode="json")


def write_agreement(told: AgreementTold, path: Path) -> None:
    """Write the file.

    Raises:
        WorldFault: it cannot be written.
    """
    text = json.dumps(told.to_dict(), indent=2, ensure_ascii=False, allow_nan=False)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text + "\n", encoding="utf-8", newline="\n")
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The agreement {path} cannot be written: {why}.") from None


def read_agreement(path: Path) -> AgreementTold:
    """Read and check the file.

    Raises:
        InputFault: it cannot be read, or is something else; says where.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise InputFault(f"{path}: there is no such file.") from None
    except OSError as fault:
        raise InputFault(f"{path} cannot be read: {fault.strerror}.") from None
    return checked(content, str(path))


def checked(content: bytes, where: str) -> AgreementTold:
    """An agreement out of JSON that somebody sent.

    Raises:
        InputFault: it is none; says where and what is wrong.
    """
    if len(content) > MOST_BYTES:
        raise InputFault(f"{where} is larger than an agreement can be.")
    try:
        return AgreementTold.model_validate_json(content)
    except ValidationError as fault:
        raise InputFault(told(fault, AgreementTold, where)) from None


def kept_dof(dof: float) -> float:
    """Degrees of freedom as a file has them."""
    return min(MANY_DOF, dof) if math.isfinite(dof) else MANY_DOF
