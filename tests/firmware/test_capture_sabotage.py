"""Firmwares whose captures were broken on purpose: each has to be found out.

Worst is one that protects no longer while it captures: nothing else would show it.
"""

from pathlib import Path

import pytest

from tests.firmware import capture_checks as checks
from tests.firmware.sabotage import Sabotage, found_out

BOARD, RING, COMMAND = "boards/atmega328p.c", "core/capture.h", "core/capture.c"
SABOTAGES = (
    Sabotage(
        "blind while it captures",
        checks.limit_cuts_while_current_is_captured,
        (
            (
                BOARD,
                "        end_fast();\n    }\n    feed(was, raw);",
                "        end_fast();\n    }",
            ),
        ),
        on_chip=True,
    ),
    Sabotage(
        "blind to the channel that it does not capture",
        checks.limit_cuts_while_voltage_is_captured,
        ((BOARD, "    return fast.other;", "    return fast.mux;"),),
        on_chip=True,
    ),
    Sabotage(
        "takes one input for the other",
        checks.readings_stay_those_of_their_input,
        (
            (
                BOARD,
                "    uint8_t was = fast.running;\n    fast.running = fast.selected;",
                "    uint8_t was = fast.selected;\n    fast.running = fast.selected;",
            ),
        ),
        on_chip=True,
    ),
    Sabotage(
        "forgets the board's supply while it captures",
        checks.supply_is_seen_on_in_a_capture,
        ((BOARD, "if (bandgap_asked &&", "if (false && bandgap_asked &&"),),
        on_chip=True,
    ),
    Sabotage(
        "tells another rate than it takes",
        checks.middle_samples_are_those_of_the_pin,
        (
            (
                BOARD,
                "{_BV(ADPS2) | _BV(ADPS1), 2 * 4",
                "{_BV(ADPS2) | _BV(ADPS0), 2 * 4",
            ),
        ),
        on_chip=True,
    ),
    Sabotage(
        "never gives the converter back",
        checks.converter_is_given_back,
        (
            (
                BOARD,
                "    if (capture_wants()) {\n        set_quick();\n    } else {",
                "    set_quick();\n    if (false) {",
            ),
        ),
        on_chip=True,
    ),
    Sabotage(
        "waits for ever",
        checks.patience_ends,
        ((COMMAND, "(int32_t)(now_us - asked.end_us) >= 0", "false"),),
    ),
    Sabotage(
        "keeps fewer from before the trigger than it tells",
        checks.fastest_samples_are_those_of_the_pin,
        ((COMMAND, "(uint8_t)(count - before - 1)", "(uint8_t)(count - 1)"),),
    ),
    Sabotage(
        "a level is a crossing",
        checks.level_passed_is_no_crossing,
        ((RING, "looks && was_below &&", "looks && (was_below || true) &&"),),
    ),
    Sabotage(
        "tells the ring from its beginning",
        checks.fastest_samples_are_those_of_the_pin,
        ((COMMAND, "(capture.at - asked.total + asked.sent)", "(asked.sent)"),),
    ),
)


@pytest.mark.slow
@pytest.mark.parametrize("sabotage", SABOTAGES, ids=lambda sabotage: sabotage.name)
def test_it_is_found_out(sabotage: Sabotage, tmp_path: Path) -> None:
    found_out(sabotage, tmp_path)
