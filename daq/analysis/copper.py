"""What a length of copper lead should have, beside what was measured.

Solid annealed copper: resistance by IEC 60028 (1925), diameter of a gauge by ASTM B258.
Stranded and tinned lead runs a few per cent higher (common practice, no source).
"""

import math
from typing import Final

RESISTIVITY_OHM_M: Final = 1e-6 / 58.0
"""At 20 degrees Celsius: 1/58 ohm mm2/m exactly (IEC 60028)."""
PER_K: Final = 0.00393
"""Rise with temperature, of the value at 20 degrees Celsius (IEC 60028)."""
REFERENCE_K: Final = 293.15
_THINNEST_M: Final = 0.005 * 0.0254  # gauge 36 is 0.005 inch
_STEPS: Final = 39  # to gauge 0000, which is 0.46 inch: 92 times as thick


def gauge_diameter_m(awg: float) -> float:
    """Diameter of a gauge: 0.005 in times 92^((36 - n)/39) (ASTM B258)."""
    return float(_THINNEST_M * 92.0 ** ((36.0 - awg) / _STEPS))


def lead_ohm(awg: float, length_m: float, temperature_k: float = REFERENCE_K) -> float:
    """Resistance of a solid copper lead of one gauge.

    Args:
        awg: American wire gauge.
        length_m: there; twice as much for there and back.
        temperature_k: of the copper.
    """
    area_m2 = math.pi * gauge_diameter_m(awg) ** 2 / 4.0
    factor = 1.0 + PER_K * (temperature_k - REFERENCE_K)
    return RESISTIVITY_OHM_M * length_m / area_m2 * factor
