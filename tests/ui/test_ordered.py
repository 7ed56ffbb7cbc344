"""What is said of a pack before the motor turns."""

from daq.records.shelf import load_article
from ui.articles import example_article
from ui.ordered import Order, order_for


def order(protocol: str = "plug-steps") -> Order:
    return order_for(protocol, load_article(example_article()), 1000.0)


def test_a_full_pack_needs_no_word() -> None:
    assert order().charge_caution(12.6) == ""


def test_a_pack_that_will_not_last_the_plan_is_said() -> None:
    said = order().charge_caution(10.4)
    assert "10.4 V at rest, 3.47 V a cell" in said
    assert "below its floor of 9.9 V" in said
    assert "Charge it first." in said


def test_what_a_gentler_plan_takes_is_less() -> None:
    assert order("idle-spin").charge_caution(10.4) == ""
