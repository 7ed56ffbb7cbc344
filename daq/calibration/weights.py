"""What check masses and coins are good for, by published figures.

A weight of a class lies within its maximum permissible error; without a certificate
that is all that is known of it, a bound. A coin lies within what its mint strikes to.
Figures only; what a set of them is worth together is computed in ``standards``.
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from daq.errors import InputFault

CLASSES: Final = ("E2", "F1", "F2", "M1", "M2", "M3")

# OIML R 111-1:2004, table 1: maximum permissible errors in milligram, by nominal
# mass in gram, in the order of ``CLASSES``.
_MPE_MG: Final = MappingProxyType(
    {
        1: (0.03, 0.10, 0.3, 1.0, 3.0, 10.0),
        2: (0.04, 0.12, 0.4, 1.2, 4.0, 12.0),
        5: (0.05, 0.16, 0.5, 1.6, 5.0, 16.0),
        10: (0.06, 0.20, 0.6, 2.0, 6.0, 20.0),
        20: (0.08, 0.25, 0.8, 2.5, 8.0, 25.0),
        50: (0.10, 0.30, 1.0, 3.0, 10.0, 30.0),
        100: (0.16, 0.50, 1.6, 5.0, 16.0, 50.0),
        200: (0.30, 1.0, 3.0, 10.0, 30.0, 100.0),
        500: (0.80, 2.5, 8.0, 25.0, 80.0, 250.0),
        1000: (1.6, 5.0, 16.0, 50.0, 160.0, 500.0),
    }
)

# Where a mint publishes no tolerance: as wide as the widest that is known of one that
# does (common practice, no source).
UNPUBLISHED_TOLERANCE_REL: Final = 0.04
# Density of weights by R 111's convention, and of what coins are struck from, kg/m^3
# (copper-nickel 8900, plated steel 7800, zinc 7100; from memory).
WEIGHT_DENSITY: Final = 8000.0
COIN_DENSITY: Final = 8000.0


@dataclass(frozen=True, slots=True)
class Coin:
    """A coin as its mint specifies it.

    Attributes:
        name: currency and coin.
        mass_g: nominal.
        tolerance_g: plus or minus; None where the mint publishes none.
        source: where the figures are from.
    """

    name: str
    mass_g: float
    tolerance_g: float | None
    source: str

    @property
    def bound_g(self) -> float:
        """Half-width of what one new coin may weigh."""
        if self.tolerance_g is not None:
            return self.tolerance_g
        return UNPUBLISHED_TOLERANCE_REL * self.mass_g


_US: Final = "US Mint coin specifications"
_EU: Final = "Council Regulation (EU) 729/2014, Annex I"
_UK: Final = "Royal Mint specifications"

COINS: Final = tuple(
    Coin(*row)
    for row in (
        ("USD 1 cent", 2.500, 0.10, _US),
        ("USD 5 cents", 5.000, 0.194, _US),
        ("USD 10 cents", 2.268, 0.091, _US),
        ("USD 25 cents", 5.670, 0.227, _US),
        ("USD 50 cents", 11.340, None, _US),
        ("USD 1 dollar", 8.1, None, _US),
        ("EUR 1 cent", 2.30, None, _EU),
        ("EUR 2 cent", 3.06, None, _EU),
        ("EUR 5 cent", 3.92, None, _EU),
        ("EUR 10 cent", 4.10, None, _EU),
        ("EUR 20 cent", 5.74, None, _EU),
        ("EUR 50 cent", 7.80, None, _EU),
        ("EUR 1 euro", 7.50, None, _EU),
        ("EUR 2 euro", 8.50, None, _EU),
        ("GBP 1 penny", 3.56, None, _UK),
        ("GBP 2 pence", 7.12, None, _UK),
        ("GBP 5 pence", 3.25, None, _UK),
        ("GBP 10 pence", 6.50, None, _UK),
        ("GBP 20 pence", 5.00, None, _UK),
        ("GBP 50 pence", 8.00, None, _UK),
        ("GBP 1 pound", 8.75, None, _UK),
        ("GBP 2 pounds", 12.00, None, _UK),
    )
)


def permissible_error_g(nominal_g: float, oiml_class: str) -> float:
    """Maximum permissible error of a weight, OIML R 111-1:2004 table 1.

    Raises:
        InputFault: there is no such class, or no weight of that nominal mass.
    """
    if oiml_class not in CLASSES:
        raise InputFault(
            f'"{oiml_class}" is no class of weights; there are {", ".join(CLASSES)}.'
        )
    row = _MPE_MG.get(int(nominal_g)) if nominal_g == int(nominal_g) else None
    if row is None:
        known = ", ".join(str(known_g) for known_g in _MPE_MG)
        raise InputFault(
            f"OIML R 111 has no {nominal_g:g} g weight (it has {known} g): give "
            "several that make it up, or what a balance says with u_g."
        )
    return row[CLASSES.index(oiml_class)] * 1e-3


def coin(name: str) -> Coin:
    """A coin by currency and name, such as ``EUR 2 euro``.

    Raises:
        InputFault: it is not known here.
    """
    for known in COINS:
        if known.name.casefold() == " ".join(name.split()).casefold():
            return known
    currency = name.strip()[:3].upper()
    near = [known.name for known in COINS if known.name.startswith(currency)]
    told = ", ".join(near or [known.name for known in COINS])
    raise InputFault(
        f'"{name[:40]}" is no coin that is known here; there are {told}. Or weigh them '
        "and give mass_g and u_g."
    )
