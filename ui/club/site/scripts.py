"""Data as files of script, since a page from a disk may read no other kind.

A file hands one JSON value over and does nothing else. It is ASCII without ``<``, ``>``
and ``&``, so that no text in it can end a script, begin a comment or a line. Keys are
always ours: a key of a stranger could be ``__proto__``, which script takes otherwise
than JSON does.
"""

from __future__ import annotations

import json
import re
from typing import Final

_ESCAPED: Final = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"}
_OUR_KEY: Final = re.compile(r"[a-z][a-z0-9_]*")


def as_script(name: str, value: object) -> bytes:
    """A value under a name, as a file of script.

    Args:
        name: what the pages ask for it by; ours.
        value: plain values for JSON, finite numbers only.

    Raises:
        ValueError: a key is not one of ours, or a number is not finite.
    """
    _look_at_keys(value)
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for sign, escape in _ESCAPED.items():
        text = text.replace(sign, escape)
    return f"gramwatt.take({json.dumps(name)},{text});\n".encode("ascii")


def _look_at_keys(value: object) -> None:
    if isinstance(value, dict):
        for key, inner in value.items():
            if not (isinstance(key, str) and _OUR_KEY.fullmatch(key)):
                raise ValueError(f"{key!r} is no key of ours.")
            _look_at_keys(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            if isinstance(inner, dict | list | tuple):
                _look_at_keys(inner)
