/* The stand's side of the conversation: states, lease, limits (daq/link/README.md).
 *
 * Whoever falls silent stops the motor: nothing here needs the main loop in order to
 * take the pulse to zero. */
#ifndef GW_STAND_H
#define GW_STAND_H

#include <stdint.h>

/* Once, after a start: locked, zero pulse, and the first event says why. */
void stand_start(uint8_t cause);

/* Every millisecond, from an interrupt: what protects. */
void stand_tick(void);

/* The main loop, as often as it comes round: the line in and out. Never inlined: a
 * bench makes a main loop hang by putting a jump to itself there. */
void stand_poll(void) __attribute__((noinline));

/* From the main loop: a reading of the load cell's converter; of the supply of the
 * sensors in millivolt. */
void stand_thrust(int32_t count);
void stand_reference(int16_t millivolt);

#endif
