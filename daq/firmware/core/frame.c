#include "frame.h"

#include "board.h"

#ifdef __AVR__
#include <util/crc16.h>

uint16_t gw_crc16_add(uint16_t crc, uint8_t byte) {
    return _crc_xmodem_update(crc, byte); /* this polynomial, in 20 instructions */
}
#else
uint16_t gw_crc16_add(uint16_t crc, uint8_t byte) {
    crc = (uint16_t)((crc >> 8) | (crc << 8));
    crc ^= byte;
    crc ^= (uint16_t)((crc & 0xFF) >> 4);
    crc ^= (uint16_t)(crc << 12);
    crc ^= (uint16_t)((crc & 0xFF) << 5);
    return crc;
}
#endif

/* COBS in place. The size of what was encoded, 0 where that is no COBS. */
static uint8_t unstuff(uint8_t *bytes, uint8_t count) {
    uint8_t from = 0, to = 0;
    while (from < count) {
        uint8_t code = bytes[from++];
        /* `bytes` holds no zero and fewer than 254 bytes: each code stands for a
         * zero but the last, and none may reach past the end. */
        if (code > count - from + 1) {
            return 0;
        }
        while (--code) {
            bytes[to++] = bytes[from++];
        }
        if (from < count) {
            bytes[to++] = 0;
        }
    }
    return to;
}

/* The payload's size, 0 where the bytes up to a delimiter are no frame. */
static uint8_t checked(gw_receiver *receiver) {
    uint8_t size = unstuff(receiver->bytes, receiver->count);
    uint16_t crc = GW_CRC_START;
    for (uint8_t i = 0; i < size; i++) {
        crc = gw_crc16_add(crc, receiver->bytes[i]);
    }
    /* High byte first, the CRC over payload and CRC is zero. */
    if (crc != 0 || size < GW_MIN_PAYLOAD + 2) {
        return 0;
    }
    return (uint8_t)(size - 2);
}

uint8_t gw_receive(gw_receiver *receiver, uint8_t byte) {
    if (byte != 0) {
        if (receiver->count < GW_MAX_ENCODED) {
            receiver->bytes[receiver->count] = byte;
        }
        if (receiver->count <= GW_MAX_ENCODED) {
            receiver->count++; /* one more than fits: too long already */
        }
        return 0;
    }
    uint8_t size = 0;
    if (receiver->count > 0) { /* idle delimiters clear the line */
        if (receiver->count <= GW_MAX_ENCODED) {
            size = checked(receiver);
        }
        if (size == 0) {
            receiver->damaged++;
        }
    }
    receiver->count = 0;
    return size;
}

uint8_t *gw_body(gw_sender *sender) { return sender->payload + GW_HEAD_SIZE; }

/* Bytes up to the next zero, with their code in front. */
static uint8_t stuff(const uint8_t *from, uint8_t left) {
    uint8_t run = 0;
    while (run < left && from[run] != 0) {
        run++;
    }
    board_send((uint8_t)(run + 1));
    for (uint8_t i = 0; i < run; i++) {
        board_send(from[i]);
    }
    return run;
}

bool gw_send(gw_sender *sender, uint8_t type, uint8_t body_size, uint8_t spare) {
    uint8_t *payload = sender->payload;
    payload[0] = type;
    gw_put16(payload + 1, sender->sequence++);
    uint8_t size = (uint8_t)(GW_HEAD_SIZE + body_size);
    if (board_room() < size + 4 + spare) { /* CRC, COBS byte, delimiter */
        sender->unsent++;
        return false;
    }
    uint16_t crc = GW_CRC_START;
    for (uint8_t i = 0; i < size; i++) {
        crc = gw_crc16_add(crc, payload[i]);
    }
    payload[size++] = (uint8_t)(crc >> 8);
    payload[size++] = (uint8_t)crc;
    uint8_t at = 0;
    do {
        at = (uint8_t)(at + stuff(payload + at, (uint8_t)(size - at)));
        at++; /* the zero that the code stands for, or the end */
    } while (at <= size);
    board_send(0);
    return true;
}
