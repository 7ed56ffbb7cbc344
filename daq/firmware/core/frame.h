/* Frames: COBS and CRC-16, in and out (daq/link/README.md, section 2). */
#ifndef GW_FRAME_H
#define GW_FRAME_H

#include <stdbool.h>
#include <stdint.h>

#include "wire.h"

#define GW_BODY_MAX (GW_MAX_PAYLOAD - GW_HEAD_SIZE)

uint16_t gw_crc16_add(uint16_t crc, uint8_t byte);

/* A receiver. All zero to begin with. `bytes` holds a payload after
 * `gw_receive` has given its size, until it is called again. */
typedef struct {
    uint8_t bytes[GW_MAX_ENCODED];
    uint8_t count;
    uint16_t damaged;
} gw_receiver;

/* Takes one byte; the size of a whole, checked payload where it completes one, else
 * 0. Whatever comes, at most GW_MAX_ENCODED bytes are kept. */
uint8_t gw_receive(gw_receiver *receiver, uint8_t byte);

/* A sender's one frame, built in place: type and sequence, then the body at `body`. */
typedef struct {
    uint8_t payload[GW_MAX_PAYLOAD + 2];
    uint16_t sequence;
    uint16_t unsent;
} gw_sender;

uint8_t *gw_body(gw_sender *sender);

/* Sends what was built, if the line takes all of it and leaves `spare` bytes. A frame
 * that does not go is counted, and the sequence shows that it is missing. */
bool gw_send(gw_sender *sender, uint8_t type, uint8_t body_size, uint8_t spare);

static inline void gw_put16(uint8_t *to, uint16_t value) {
    to[0] = (uint8_t)value;
    to[1] = (uint8_t)(value >> 8);
}

static inline void gw_put32(uint8_t *to, uint32_t value) {
    gw_put16(to, (uint16_t)value);
    gw_put16(to + 2, (uint16_t)(value >> 16));
}

static inline uint16_t gw_get16(const uint8_t *from) {
    return (uint16_t)(from[0] | (uint16_t)(from[1] << 8));
}

static inline uint32_t gw_get32(const uint8_t *from) {
    return gw_get16(from) | ((uint32_t)gw_get16(from + 2) << 16);
}

#endif
