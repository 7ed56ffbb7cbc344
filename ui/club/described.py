"""The descriptor of a bundle, as far as gramwatt reads it, checked key by key."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from daq.records.folder import PROFILE
from daq.typed_toml import Table
from ui.club import layout
from ui.club.checked import Hash
from ui.club.entry import Short

RunName = Annotated[str, Field(max_length=80)]


class _Open(BaseModel):
    """A table of a standard that others may add to: what is read is checked."""

    model_config = ConfigDict(
        extra="ignore", strict=True, frozen=True, allow_inf_nan=False
    )


class ResourceDescribed(_Open):
    """One file of the bundle."""

    path: Annotated[str, Field(max_length=200)]
    hash: Hash
    bytes: Annotated[int, Field(ge=0, le=layout.MOST_UNPACKED)] | None = None
    #: Where other programs would look for data or rules instead of in the file.
    data: None = None
    schema_: Annotated[None, Field(alias="schema")] = None
    dialect: None = None


class Contributor(_Open):
    """Whoever packed it, as they want to be named."""

    title: Short


class Licence(_Open):
    """A licence by its short name."""

    name: Short


class Facts(Table):
    """What gramwatt says of a bundle."""

    kind: Literal["gramwatt bundle"]
    format: Literal[1]
    version: Short
    simulated: bool
    wire_logs: bool
    runs: Annotated[tuple[RunName, ...], Field(min_length=1, max_length=200)]

    @field_validator("runs")
    @classmethod
    def _are_names(cls, runs: tuple[str, ...]) -> tuple[str, ...]:
        if not all(layout.is_run_name(run) for run in runs):
            raise ValueError("it has a run whose name cannot be a file's")
        return runs


class Described(_Open):
    """The whole descriptor."""

    schema_: Annotated[str, Field(alias="$schema")]
    title: Short = ""
    gramwatt: Facts
    resources: Annotated[
        tuple[ResourceDescribed, ...], Field(min_length=1, max_length=layout.MOST_FILES)
    ]
    contributors: Annotated[tuple[Contributor, ...], Field(max_length=4)] = ()
    licenses: Annotated[tuple[Licence, ...], Field(max_length=4)] = ()

    @model_validator(mode="after")
    def _is_a_data_package(self) -> Self:
        if self.schema_ != PROFILE:
            raise ValueError("is no Data Package of version 2")
        return self

    @property
    def by(self) -> str:
        """Who packed it; "" where that is not said."""
        return self.contributors[0].title if self.contributors else ""

    @property
    def licence(self) -> str:
        """Under what licence; "" where none is stated."""
        return self.licenses[0].name if self.licenses else ""
