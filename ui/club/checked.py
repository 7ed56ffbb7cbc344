"""What the check of a bundle found: said by one process, and read by another.

Whoever checks is a child that looked at a stranger's file; so what it says is checked
in turn: bounded lists, bounded texts. Plain values only.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, ValidationError, field_validator

from daq.errors import InputFault
from daq.typed_toml import Table, told
from ui.club import layout
from ui.club.entry import Entry, Sentence, Short

Hash = Annotated[str, Field(pattern=r"^sha256:[0-9a-f]{64}$")]
Sentences = Annotated[tuple[Sentence, ...], Field(max_length=60)]


class RunChecked(Table):
    """One run of a bundle.

    Attributes:
        entry: as re-derived from its wire log; where there is none, as it was sent.
        differences: what the sender's figures and the re-derived ones differ in.
        rederived: whether there was a wire log to derive anything from.
        log_hash: of the wire log; None where there is none.
    """

    entry: Entry
    differences: Sentences = ()
    rederived: bool
    log_hash: Hash | None = None


class Checked(Table):
    """A bundle that may be used.

    Attributes:
        format: version of this layout.
        sha256: of the bundle's file.
        title: as its sender titled it.
        by: as its sender wants to be known; "" for nothing said.
        licence: "" for none stated.
        made_by: the version of gramwatt that packed it.
        signed_by: the key of a good signature; None where it is unsigned.
        runs: its runs.
        notes: what else has to be known, sentences.
    """

    format: Literal[1]
    sha256: Hash
    title: Short
    by: Short
    licence: Short
    made_by: Short
    signed_by: Short | None = None
    runs: Annotated[tuple[RunChecked, ...], Field(min_length=1, max_length=200)]
    notes: Sentences = ()

    @field_validator("runs")
    @classmethod
    def _are_named_as_files_are(
        cls, runs: tuple[RunChecked, ...]
    ) -> tuple[RunChecked, ...]:
        """Folders are named after them by whoever reads this."""
        names = [run.entry.run for run in runs]
        if not all(map(layout.is_run_name, names)) or len(set(names)) != len(names):
            raise ValueError("has a run whose name cannot be a file's, or one twice")
        return runs


def read_checked(text: str | bytes) -> Checked:
    """What a check said.

    Raises:
        InputFault: it is nothing that a check says.
    """
    try:
        return Checked.model_validate_json(text)
    except ValidationError as fault:
        raise InputFault(told(fault, Checked, "what the check said")) from None
