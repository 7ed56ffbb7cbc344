"""The club's site written: pages, data, scripts, bundles and reports, as they changed.

Takes runs that were checked; trusts no text in them, and reads no bundle but to copy
it. The same input gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Protocol

from daq.errors import InputFault, WorldFault
from ui.club.site.frame import Frame, filled_in, frame_of
from ui.club.site.listing import Listed, Repeated, listed
from ui.club.site.outputs import Output, Written, digest, write_all

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from ui.club.site.shared import Refused, Shared

PLOTLY: Final = "own/plotly.min.js"


class Agrees(Protocol):
    """How the stands of a club agree, as a round robin found it."""

    def to_dict(self) -> dict[str, Any]:
        """By quantity: within, between, consensus_u and biases by scale."""


@dataclass(frozen=True, slots=True)
class Built:
    """What was built.

    Attributes:
        runs: how many are listed.
        refused: how many bundles were refused.
        repeated: runs that came once more.
        files: what was done to the files.
    """

    runs: int
    refused: int
    repeated: int
    files: Written


def build_site(
    shared: Sequence[Shared],
    refused: Sequence[Refused],
    agreement: Agrees | None,
    club_name: str,
    out: Path,
    bundles: Path,
) -> Built:
    """Write the site, only as far as it changed.

    Args:
        shared: the runs that were taken in.
        refused: the bundles that were not.
        agreement: how the stands agree; None where nobody knows.
        club_name: what the club is called.
        out: the folder of the site; new, empty, or a site of ours.
        bundles: the folder that the bundles lie in.

    Raises:
        InputFault: the folder holds other files, or a bundle's name is no file name.
        WorldFault: a bundle or report cannot be read, or the site cannot be written.
    """
    rows, repeated = listed(shared)
    frame = frame_of(club_name, len(refused), agreed=agreement is not None)
    agreed = {} if agreement is None else agreement.to_dict()
    refusals = sorted(refused, key=lambda one: (one.bundle, one.why))
    made = _Site(frame, rows, refusals, repeated, agreed)
    try:
        outputs = [*made.outputs(), *_copies(rows, bundles)]
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{fault.filename} cannot be read: {why}.") from None
    return Built(len(rows), len(refused), len(repeated), write_all(out, outputs))


@dataclass(frozen=True, slots=True)
class _Site:
    """Everything that the site is made of."""

    frame: Frame
    rows: list[Listed]
    refused: list[Refused]
    repeated: list[Repeated]
    agreed: Mapping[str, Any]

    def outputs(self) -> Iterator[Output]:
        """Every file but the copies."""
        code = _code_digest()
        about = digest(code, json.dumps(asdict(self.frame)))
        several = [_row_digest(row) for row in self.rows]
        whole = digest(about, *several)
        yield from _own_files()
        yield from self._pages(whole, about)
        yield Output("data/runs.js", whole, self._table)
        yield Output("runs.csv", whole, self._csv)
        for row, made_of in zip(self.rows, several, strict=True):
            page, data = digest(about, made_of), digest(code, made_of)
            yield Output(f"runs/{row.id}.html", page, partial(self._run, row))
            yield Output(f"data/runs/{row.id}.js", data, partial(_data, row))

    def _pages(self, whole: str, about: str) -> Iterator[Output]:
        from ui.club.site import pages_plain as plain

        refusals = digest(
            about, *(repr(one) for one in (*self.refused, *self.repeated))
        )
        agreed = digest(whole, json.dumps(self.agreed, sort_keys=True))
        counts = (len(self.refused), len(self.repeated))
        pages: list[tuple[str, str, Any]] = [
            ("index", whole, partial(plain.index_page, self.rows, *counts)),
            ("compare", about, dict),
            ("read", about, plain.read_page),
            (
                "refused",
                refusals,
                partial(plain.refused_page, self.refused, self.repeated),
            ),
        ]
        if self.agreed:
            stands = partial(plain.stands_page, self.rows, self.agreed)
            pages.append(("stands", agreed, stands))
        for name, made_of, page in pages:
            make = partial(self._filled, f"{name}.html.j2", page)
            yield Output(f"{name}.html", made_of, make)
        club = partial(_script, "club", plain.club_data(self.agreed))
        yield Output("data/club.js", agreed, club)

    def _filled(self, template: str, page: Any) -> bytes:
        return filled_in(template, self.frame, page())

    def _run(self, row: Listed) -> bytes:
        from ui.club.site.run_page import run_page

        return filled_in("run.html.j2", self.frame, run_page(row))

    def _table(self) -> bytes:
        from ui.club.site.columns import table_data

        return _script("runs", table_data(self.rows))

    def _csv(self) -> bytes:
        from ui.club.site.spreadsheet import as_csv

        return as_csv(self.rows)


def _script(name: str, value: Any) -> bytes:
    from ui.club.site.scripts import as_script

    return as_script(name, value)


def _data(row: Listed) -> bytes:
    from ui.club.site.run_page import run_data

    return _script(f"run {row.id}", run_data(row))


def _row_digest(row: Listed) -> str:
    shared = row.shared
    rest = [
        shared.bundle,
        shared.bundle_sha256,
        shared.signed_by,
        shared.licence,
        shared.by,
        shared.checked,
        shared.report is not None,
        [asdict(one) for one in row.siblings],
        row.more_siblings,
    ]
    return digest(row.id, shared.entry.model_dump_json(), json.dumps(rest))


# ------------------------------------------------------------- files as they are


def _code_digest() -> str:
    """Of everything that turns a run into a page."""
    parts: list[bytes] = []
    for package in ("ui.club.site", "ui.club.site.pages"):
        for file in sorted(_files(package), key=lambda one: one.name):
            parts += [file.name.encode(), file.read_bytes()]
    return digest(*parts)


def _files(package: str) -> list[Traversable]:
    return [
        file
        for file in resources.files(package).iterdir()
        if file.is_file() and not file.name.endswith(".pyc")
    ]


def _own_files() -> Iterator[Output]:
    """Style and scripts as they are shipped, and the library that draws."""
    for file in _files("ui.club.site.own"):
        if file.name != "__init__.py":
            content = file.read_bytes()
            yield Output(f"own/{file.name}", digest(content), partial(bytes, content))
    style = resources.files("ui.report").joinpath("report.css").read_bytes()
    yield Output("own/report.css", digest(style), partial(bytes, style))
    yield _plotly()


def _plotly() -> Output:
    from importlib.metadata import version

    # Its data alone: importing it would cost seconds.
    found = resources.files("plotly").joinpath("package_data", "plotly.min.js")
    return Output(PLOTLY, digest(version("plotly")), found.read_bytes)


def _copies(rows: Sequence[Listed], bundles: Path) -> Iterator[Output]:
    """Bundles once each, and reports."""
    met: set[str] = set()
    for row in rows:
        shared = row.shared
        if shared.bundle not in met:
            met.add(shared.bundle)
            yield _bundle(shared, bundles)
        if shared.report is not None:
            stat = shared.report.stat()
            made_of = digest(
                str(shared.report), str(stat.st_size), str(stat.st_mtime_ns)
            )
            yield Output(f"reports/{row.id}.html", made_of, shared.report)


def _bundle(shared: Shared, bundles: Path) -> Output:
    name = shared.bundle
    parts = name.split("/")
    if {"", ".", ".."} & set(parts) or any(sign in name for sign in "\\:\0"):
        raise InputFault(f"{name!r} is no name of a file: no bundle is copied from it.")
    sha256 = shared.bundle_sha256
    return Output(f"bundles/{name}", digest(sha256), bundles / name, sha256)
