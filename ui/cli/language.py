"""How the stand on a port speaks, for every command that opens one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

    from daq.link.columns.description import Description


def add_language_options(parser: argparse.ArgumentParser) -> None:
    """How the stand on a port speaks, for any command that opens one."""
    parser.add_argument(
        "--baud",
        type=int,
        help="symbols a second (default: 500000, or as the description says)",
    )
    parser.add_argument(
        "--lines",
        type=Path,
        metavar="FILE",
        help="the stand prints lines of text, as this description (TOML) says",
    )


def described(lines: Path | None) -> tuple[str, Description | None]:
    """Text and content of a description; ("", None) where there is none.

    Raises:
        InputFault: it cannot be read, or what is wrong in it.
    """
    from daq.link.columns.description import read_description
    from daq.text_file import read_text

    if lines is None:
        return "", None
    text = read_text(lines)
    return text, read_description(text, str(lines))


def check_baud(asked: int | None) -> None:
    """None is as usual.

    Raises:
        InputFault: what was asked for is no speed.
    """
    from daq.errors import InputFault

    if asked is not None and asked <= 0:
        raise InputFault(f"--baud is {asked}; it must be above zero.")


def baud_of(asked: int | None, description: Description | None) -> int:
    """The speed of a port: as asked, as described, or the usual one.

    Raises:
        InputFault: what was asked for is no speed.
    """
    from daq.link.ports import DEFAULT_BAUD

    check_baud(asked)
    if asked is not None:
        return asked
    return description.baud if description is not None else DEFAULT_BAUD
