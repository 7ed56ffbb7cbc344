"""A fast capture as the analysis takes it: one channel, many samples close together.

A value only. It says what came and what did not; nothing is drawn in between.
"""

from dataclasses import dataclass

from daq.analysis.series import Array


@dataclass(frozen=True, slots=True)
class Capture:
    """Samples of one channel around a trigger.

    Attributes:
        channel: Name of the channel.
        label: What of the plan it was of, such as punch, chop or level.
        segment: Index of that part of the plan; -1 at rest.
        t_s: Seconds from the trigger, evenly spaced, shape (n,).
        value_si: In the channel's SI unit, shape (n,); NaN where there is no sample.
        period_s: From one sample to the next.
        step_si: What two neighbouring values that can be told differ by.
        at_top: Samples at the upper end of what the channel can tell.
        lost: Samples that the line lost.
        device_s: Device time of the trigger.
    """

    channel: str
    label: str
    segment: int
    t_s: Array
    value_si: Array
    period_s: float
    step_si: float
    at_top: int
    lost: int
    device_s: float
