"""What happens on the bus within a millisecond, as a truth file says it.

Like the other tables it must never hold anything that changes while the plant runs.
"""

from typing import Annotated

from pydantic import Field

from daq.stand.plant.truth_parts import Fraction, NotNegative, Positive
from daq.typed_toml import Table

FilterTime = Annotated[float, Field(ge=1e-7, le=1e-3)]


class BusCapacitorTruth(Table):
    """The capacitor that somebody put on the bus, beside the ESC's own.

    Its capacitance comes on top of ``esc.bus_capacitance_f``. Its own inductance is
    left out.
    """

    capacitance_f: Positive
    esr_ohm: Annotated[float, Field(ge=1e-4, le=10.0)]


class FastTruth(Table):
    """Inductances, commutation, and the converter that takes fast captures.

    ``wiring_h`` is that of pack, plug and leads, there and back. ``esc_esr_ohm`` is
    of the ESC's own capacitors. ``motor_h`` is the motor's between two terminals.
    ``commutation_dip_frac`` is how much of the motor's current the bus loses while one
    phase gives its current up to the next. ``chopping_hz`` is used where the truth has
    no ``[chopping]``. The converter has a filter of its own in front, takes whole
    steps, and a conversion every ``shortest_us`` at most.
    """

    wiring_h: Annotated[float, Field(ge=1e-9, le=1e-4)]
    esc_esr_ohm: Annotated[float, Field(ge=1e-4, le=10.0)]
    motor_h: Annotated[float, Field(ge=1e-7, le=1e-2)]
    pole_pairs: Annotated[int, Field(ge=1, le=30)]
    commutation_dip_frac: Fraction = 0.0
    chopping_hz: Annotated[float, Field(ge=1e3, le=1e6)] | None = None
    voltage_filter_s: FilterTime
    current_filter_s: FilterTime
    voltage_step_v: Positive
    current_step_a: Positive
    noise_steps_rms: NotNegative = 0.0
    shortest_us: Annotated[int, Field(ge=2, le=1000)] = 10
