"""What the image takes of the chip: at most 60 % of its time and 75 % of its RAM.

Counted in the chip's own cycles, so it does not depend on this computer.
"""

from functools import partial

from daq.firmware import build
from tests import built
from tests.firmware.checks import SPIN, spun
from tests.firmware.pins import Bench

BUSY_SHARE = 0.60
RAM_SHARE = 0.75


def test_it_leaves_room_in_memory_and_time(chip: Bench) -> None:
    spun(chip)
    leaves_room(chip, BUSY_SHARE)
    size = build.size_of(built.chip())
    assert size.flash_bytes <= build.FLASH_BYTES - 2048  # a boot loader's


def leaves_room(chip: Bench, busy_share: float) -> None:
    """Spinning on, it is no busier than that and leaves the stack its RAM."""
    load = chip.load(partial(chip.hold, SPIN, 500))
    assert load.busy_share <= busy_share
    size = build.size_of(built.chip())
    assert size.ram_bytes + load.stack_bytes <= RAM_SHARE * build.RAM_BYTES
