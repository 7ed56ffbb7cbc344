/* Limits: readings judged one by one, and silence with them. */
#ifndef GW_LIMITS_H
#define GW_LIMITS_H

#include <stdbool.h>
#include <stdint.h>

#include "channels.h"
#include "frame.h"

#define GW_LIMITS_MOST ((GW_BODY_MAX - 1) / 7) /* narrow entries in one frame */

/* The verdict on the body of a limits command, before anything is changed. */
uint8_t limits_check(const uint8_t *body, uint8_t size);

/* Takes a body that was checked. No tick may run meanwhile. */
void limits_take(const uint8_t *body, uint8_t size);

void limits_start(void);
bool limits_taken(void);
uint16_t limits_crc(void);

/* A reading came; not one at all where it is the lowest count of its width. */
void limits_reading(uint8_t channel, int32_t count, uint32_t now_us);

/* Whether the newest reading of a channel is at most so old. */
bool limits_heard(uint8_t channel, uint32_t now_us, uint32_t age_us);
int32_t limits_newest(uint8_t channel);

/* Forgets, a channel a call, readings that are older than any limit asks about. */
void limits_forget(uint32_t now_us);

/* The first limit that trips now, and on what; GW_NONE where none does. */
uint8_t limits_tripped(uint32_t now_us, uint8_t *cause);
uint8_t limits_channel(uint8_t limit);

/* Whether a limited channel is silent; whether a newest reading is outside. */
bool limits_silent(uint32_t now_us);
bool limits_outside(void);

#endif
