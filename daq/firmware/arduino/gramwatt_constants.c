/* Writes the constants of one stand into its EEPROM, once, and says so with its LED: on
 * for good when all of them are there, blinking when not. For boards without a
 * programmer, whose boot loader writes flash only. What to write stands in
 * own_constants.h, which `gramwatt firmware FOLDER --constants FILE` makes; afterwards
 * the stand's own firmware is put on the board.
 *
 * It gives no pulse: D9 is held low. */
#include <avr/eeprom.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>
#include <util/delay.h>

#include "own_constants.h"

#define PIN_PULSE PB1
#define PIN_LED PB5
#define BLINK_MS 100

static const uint8_t own[] PROGMEM = {OWN_BYTES};
static const struct {
    uint16_t at, from, size;
} blocks[] = {OWN_BLOCKS};

/* The watchdog of what ran before is still running. */
void stop_watchdog(void) __attribute__((naked, used, section(".init3")));
void stop_watchdog(void) {
    MCUSR = 0;
    wdt_disable();
}

static uint8_t written(void) {
    uint8_t right = 1;
    for (uint8_t i = 0; i < sizeof blocks / sizeof *blocks; i++) {
        for (uint16_t j = 0; j < blocks[i].size; j++) {
            uint8_t byte = pgm_read_byte(&own[blocks[i].from + j]);
            uint8_t *to = (uint8_t *)(blocks[i].at + j);
            eeprom_update_byte(to, byte);
            right &= eeprom_read_byte(to) == byte;
        }
    }
    return right;
}

int main(void) {
    PORTB &= (uint8_t)~_BV(PIN_PULSE);
    DDRB |= _BV(PIN_PULSE) | _BV(PIN_LED);
    uint8_t right = written();
    PORTB |= _BV(PIN_LED);
    for (;;) {
        _delay_ms(BLINK_MS);
        if (!right) {
            PINB = _BV(PIN_LED); /* the other way round */
        }
    }
}
