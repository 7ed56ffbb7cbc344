"""A text file a person wrote: read whole, or refused with one sentence."""

from pathlib import Path

from daq.errors import InputFault

MAX_BYTES = 1_000_000


def read_text(path: Path) -> str:
    """The file's text; what it says is checked elsewhere.

    Raises:
        InputFault: there is none, it cannot be read, is too large, or is no text.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
        if len(data) > MAX_BYTES:
            raise InputFault(f"{path} is larger than {MAX_BYTES} bytes.")
        return data.decode("utf-8-sig")
    except FileNotFoundError:
        raise InputFault(f"{path}: there is no such file.") from None
    except UnicodeDecodeError:
        raise InputFault(f"{path} is no text in UTF-8.") from None
    except OSError as fault:
        raise InputFault(f"{path} cannot be read: {fault.strerror}.") from None
