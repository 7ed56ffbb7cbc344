"""What the image takes of the chip: at most 60 % of its time and 75 % of its RAM.

Counted in the chip's own cycles, so it does not depend on this computer.
"""

from daq.firmware import build
from tests import built
from tests.firmware.checks import SPIN, spun
from tests.firmware.pins import Bench

BUSY_SHARE = 0.60
RAM_SHARE = 0.75


def test_it_leaves_room_in_memory_and_time(chip: Bench) -> None:
    spun(chip)
    chip.ask_board("use")
    chip.hold(SPIN, 500)
    ((_, share, stack),) = chip.ask_board("use")
    assert float(share) <= BUSY_SHARE
    size = build.size_of(built.chip())
    assert size.ram_bytes + int(stack) <= RAM_SHARE * build.RAM_BYTES
    assert size.flash_bytes <= build.FLASH_BYTES - 2048  # a boot loader's
