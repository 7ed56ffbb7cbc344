"""The simulated stand in a process of its own, and the hands that reach it."""

from contextlib import closing
from pathlib import Path

import pytest

from daq.errors import GramwattError, WorldFault
from daq.link import messages as m
from daq.link.framing import Deframer
from daq.link.ports import Port, open_port
from ui.cli.plan import chosen_article
from ui.ordered import order_for
from ui.simulation import SimulatedStand

READS = 2000
IDLE, STAIRS = "idle-spin", "short-staircase"


def bus_v(port: Port) -> float:
    """The newest bus voltage after reading a while: third of the fast counts."""
    deframer = Deframer()
    volts: list[float] = []
    for _ in range(READS):
        for payload in deframer.feed(port.read()):
            message = m.decode_from_stand(payload)
            if isinstance(message, m.Samples) and message.stream == 0:
                count = int.from_bytes(message.raw[4:6], "little", signed=True)
                volts.append(count / 1000.0)
        if len(volts) > 300:
            return volts[-1]
    raise AssertionError("no samples came")


def test_the_plug_moves_when_it_is_told_and_the_supply_with_it() -> None:
    with closing(SimulatedStand(plug_in=False)) as stand:
        port = open_port(stand.port)
        try:
            assert bus_v(port) < 1.0
            stand.plug(inserted=True)
            assert bus_v(port) > 12.0
            stand.plug(inserted=False)
            assert bus_v(port) < 1.0
            stand.stop_loop(closed=False)
            stand.stop_loop(closed=True)
        finally:
            port.close()


def test_a_fault_from_a_file_acts_on_it(tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[fault]]\nkind = "wrong-pack"\ncells = 2\n', "utf-8")
    with closing(SimulatedStand(faults=faults, tcp=True)) as stand:
        port = open_port(stand.port)
        try:
            assert bus_v(port) == pytest.approx(8.38, abs=0.1)
        finally:
            port.close()


def test_an_idle_spin_is_prepared_for_a_motor_without_its_propeller() -> None:
    idle, stairs = (order_for(n, chosen_article(None), 1000.0) for n in (IDLE, STAIRS))
    assert idle.plan.propeller_off
    assert not idle.task.rules.propeller_on
    assert stairs.task.rules.propeller_on
    with closing(SimulatedStand(bare=True, plug_in=False)) as stand:
        assert stand.port  # its program takes the option


def test_a_bad_faults_file_is_told_as_the_stand_told_it(tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[fault]]\nkind = "hang"\nstart_s = -1\n', "utf-8")
    with pytest.raises(GramwattError, match=r"faults\.toml: fault 1: start_s is -1"):
        SimulatedStand(faults=faults)


def test_an_order_to_a_stand_that_is_gone_says_so() -> None:
    stand = SimulatedStand()
    stand.close()
    with pytest.raises(WorldFault, match="is gone"):
        stand.plug(inserted=False)
