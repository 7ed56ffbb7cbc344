"""Firmwares that were broken on purpose: each has to be found out by its check."""

from pathlib import Path

import pytest

from tests.firmware import checks
from tests.firmware.sabotage import Sabotage, found_out

STAND, LIMITS, FRAME = "core/stand.c", "core/limits.c", "core/frame.c"
WIRE, KEPT, BOARD = "core/wire.h", "core/channels.c", "boards/atmega328p.c"
NO_SILENCE = "if (silent(&is.set[i], now_us) && false) {\n            *"
OPEN_LOOP = """    if (board_loop_open()) {
        return GW_VERDICT_STOP_LOOP_OPEN;
    }
"""
NOT_LOCKED = "    if (stand.state != GW_STATE_LOCKED) {"
NOR_TRIPPED = """    if (stand.state != GW_STATE_LOCKED &&
        stand.state != GW_STATE_TRIPPED) {"""
WRITE_BOOT = (
    "    board_write_kept(a_is_newer ? KEPT_BOOT_B : KEPT_BOOT_A, pair, sizeof pair);"
)
PROTECT = """    if (GW_MAY_DRIVE(stand.state)) {
        protect(now_us);
    }
"""
POLL = "void stand_poll(void) {\n"
PROTECTING_POLL = POLL + PROTECT.replace("now_us", "board_now_us()")
SABOTAGES = (
    Sabotage(
        "no lease",
        checks.lease_ends,
        ((STAND, "(int32_t)(now_us - stand.lease_end_us) >= 0", "false"),),
    ),
    Sabotage(
        "no limit",
        checks.limit_cuts,
        ((LIMITS, "is.set[i].outside >= is.set[i].persistence", "false"),),
    ),
    Sabotage(
        "a low bound that is not looked at",
        checks.low_voltage_cuts,
        ((LIMITS, "count >= one->low && count", "count"),),
    ),
    Sabotage(
        "no silence",
        checks.silence_cuts,
        ((LIMITS, "if (silent(&is.set[i], now_us)) {\n            *", NO_SILENCE),),
    ),
    Sabotage(
        "does not notice a slow converter",
        checks.slow_cell_is_told,
        ((STAND, "        host.missed++;\n    }\n}", "    }\n}"),),
    ),
    Sabotage(
        "ages in other units",
        checks.silence_cuts,
        ((LIMITS, "#define AGE_US 10000UL", "#define AGE_US 100000UL"),),
    ),
    Sabotage(
        "ignores the CRC",
        checks.damage_renews_nothing,
        ((FRAME, "crc != 0 || size", "size"),),
    ),
    Sabotage(
        "takes a throttle again",
        checks.repeats_renew_nothing,
        ((STAND, "ahead == 0 || ahead >= 0x8000", "ahead >= 0x8000"),),
    ),
    Sabotage(
        "counts a lease from when it came",
        checks.stale_renews_nothing,
        (
            (
                STAND,
                "uint32_t age_us = now_us - seen_us;",
                "uint32_t age_us = 0 * seen_us + 0 * now_us;",
            ),
        ),
    ),
    Sabotage(
        "a clock that must not pass zero",
        checks.clock_may_pass_zero,
        (
            (
                STAND,
                "(int32_t)(now_us - stand.lease_end_us) >= 0",
                "now_us >= stand.lease_end_us",
            ),
        ),
    ),
    Sabotage(
        "deaf to stop",
        checks.stop_cuts,
        ((STAND, "        go(GW_MOVE_STOP, 0, GW_NONE);\n", ""),),
    ),
    Sabotage(
        "the pulse outlives a trip",
        checks.stop_cuts,
        (
            (
                STAND,
                "        set_throttle(0);\n        stand.nonce = 0;",
                "        stand.nonce = 0;",
            ),
        ),
    ),
    Sabotage(
        "arms with the loop open",
        checks.open_loop_refuses,
        ((STAND, OPEN_LOOP, ""),),
    ),
    Sabotage(
        "does not look at the loop",
        checks.loop_cuts,
        ((STAND, "} else if (board_loop_open()) {", "} else if (false) {"),),
    ),
    Sabotage(
        "arms on any limits",
        checks.wrong_limits_refuse,
        ((STAND, "gw_get16(body + GW_ARM_AT_LIMITS_CRC) != limits_crc()", "false"),),
    ),
    Sabotage(
        "arms over an exceeded limit",
        checks.wrong_limits_refuse,
        ((STAND, "if (limits_outside()) {", "if (false) {"),),
    ),
    Sabotage(
        "a range that ends where the converter does",
        checks.full_scale_refuses,
        (
            (
                KEPT,
                "#define ADC_RANGE 0, GW_ADC_TOP - 1",
                "#define ADC_RANGE 0, GW_ADC_TOP",
            ),
        ),
    ),
    Sabotage(
        "arms out of a trip",
        checks.trip_latches,
        (
            (WIRE, "{0, 3, 0, 0, 0, 0}, /* arm */", "{0, 3, 0, 0, 0, 3}, /* arm */"),
            (STAND, NOT_LOCKED, NOR_TRIPPED),
        ),
    ),
    Sabotage(
        "forgets its starts",
        checks.start_is_locked,
        ((KEPT, WRITE_BOOT, "    (void)pair;"),),
    ),
    Sabotage(
        "protects in its main loop only",
        checks.hang_is_cut,
        ((STAND, PROTECT, ""), (STAND, POLL, PROTECTING_POLL)),
    ),
    Sabotage(
        "no watchdog",
        checks.hang_is_cut,
        ((BOARD, "    wdt_enable(WDTO_250MS);\n", ""),),
        on_chip=True,
    ),
    Sabotage(
        "does not say that the watchdog bit",
        checks.hang_is_cut,
        ((BOARD, "if (reset_flags & _BV(WDRF))", "if (false)"),),
        on_chip=True,
    ),
    Sabotage(
        "starts with a high pulse",
        checks.start_is_locked,
        (
            (BOARD, "OCR1A = ZERO_PULSE_HALF_US - 1;", "OCR1A = 3199;"),
            (STAND, "    set_throttle(0);\n    board_send(0);", "    board_send(0);"),
        ),
        on_chip=True,
    ),
    Sabotage(
        "an output that is none",
        checks.pulse_is_the_setpoint,
        ((BOARD, "    DDRB |= _BV(PIN_PULSE);\n", ""),),
        on_chip=True,
    ),
    Sabotage(
        "a loop without its pull-up, read the wrong way",
        checks.loop_cuts,
        ((BOARD, "(PIND & _BV(PIN_LOOP)) != 0", "(PIND & _BV(PIN_LOOP)) == 0"),),
        on_chip=True,
    ),
)


@pytest.mark.slow
@pytest.mark.parametrize("sabotage", SABOTAGES, ids=lambda sabotage: sabotage.name)
def test_it_is_found_out(sabotage: Sabotage, tmp_path: Path) -> None:
    found_out(sabotage, tmp_path)
