/* What the sensors say: fed by short interrupts, collected by the tick. */
#ifndef GW_READINGS_H
#define GW_READINGS_H

#include <stdbool.h>
#include <stdint.h>

/* From the converter's interrupt: one 10-bit reading. */
void readings_current(uint16_t raw);
void readings_voltage(uint16_t raw);

/* From the interrupt of the revolutions: a pulse came, at this half
 * microsecond of device time (modulo 2^32). */
void readings_edge(uint32_t at_half_us);

/* From the interrupt of the second pin: the width of a servo pulse that was seen. */
void readings_pulse(uint16_t width_half_us);

/* Counts of the fast channels over one interval. */
typedef struct {
    int16_t current, current_high, voltage, voltage_low;
    int32_t power;
    int16_t speed, pulse;
} gw_fast;

void readings_start(void);

/* From the tick, once an interval: what came since the last time. A channel of which
 * nothing came has no reading. Of the revolutions it is the newest that is known: a
 * sensor that is silent says less and less, and after 200 ms that nothing turns. */
void readings_collect(gw_fast *fast, uint32_t now_us);

#endif
