/* What the core asks of a board. Each board implements all of it, once.
 *
 * Three things run: the main loop (`stand_poll`), the tick (`stand_tick`, every
 * millisecond) and short interrupts that feed `readings.h`. The tick interrupts the
 * main loop and may itself be interrupted by the short ones.
 */
#ifndef GW_BOARD_H
#define GW_BOARD_H

#include <stdbool.h>
#include <stdint.h>

/* Device time in microseconds, modulo 2^32. From anywhere. */
uint32_t board_now_us(void);

/* Width of the servo pulse in half microseconds, from the next servo frame on. */
void board_set_pulse(uint16_t width_half_us);

/* Whether the normally-closed stop loop is open. */
bool board_loop_open(void);

/* Between these two no tick runs. They may nest: hand back what was given. */
uint8_t board_hold_tick(void);
void board_release_tick(uint8_t held);

/* Between these two no interrupt runs. For a handful of instructions only. */
uint8_t board_hold_all(void);
void board_release_all(uint8_t held);

/* The line: the next byte that came, -1 for none; how many bytes may be sent now;
 * one byte to be sent. Main loop only. */
int16_t board_receive(void);
uint8_t board_room(void);
void board_send(uint8_t byte);

/* A fast capture of a channel: the period that it would have, as near as can be to the
 * one asked for; 0 where there is none of that channel. */
uint32_t board_capture_period(uint8_t channel, uint32_t asked_ns);

/* From now on its samples go to `capture.h`, for as long as they are wanted there, and
 * readings to `readings.h` as ever. No interrupt runs meanwhile. */
void board_capture(uint8_t channel, uint32_t period_ns);

/* Memory that outlasts the power. Main loop only. */
void board_read_kept(uint16_t address, void *to, uint8_t size);
void board_write_kept(uint16_t address, const void *from, uint8_t size);

/* A number that differs between two boards, as far as the board can tell. */
uint32_t board_chance(void);

/* What it is called, 16 bytes padded with zeros; what it can do besides the core. */
extern const char board_name[17];
extern const uint16_t board_abilities;

#endif
