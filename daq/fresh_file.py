"""A file written for somebody: whole or not at all, and over nothing that is there."""

from pathlib import Path

from daq.errors import InputFault, WorldFault

TAKEN = "{name} is there already: choose another name, or remove it first."


def refuse_taken(path: Path | None) -> None:
    """Before there is anything to write: whether it could be, as far as one can know.

    Raises:
        InputFault: there is such a file already.
    """
    if path is not None and path.exists():
        raise InputFault(TAKEN.format(name=path))


def write_fresh(path: Path, data: bytes) -> None:
    """Write it.

    Raises:
        WorldFault: there is such a file already, or it cannot be written.
    """
    made = False
    try:
        with path.open("xb") as file:
            made = True
            file.write(data)
    except FileExistsError:
        raise WorldFault(TAKEN.format(name=path)) from None
    except OSError as fault:
        if made:
            path.unlink(missing_ok=True)
        why = fault.strerror or str(fault)
        raise WorldFault(f"{path} cannot be written: {why}.") from None
