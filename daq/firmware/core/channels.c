#include "channels.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#include "board.h"
#include "flash.h"
#include "frame.h"

/* What is kept, by address. The number of starts has two places that are written in
 * turn, so that a cut during a write costs one count and no more. */
enum {
    KEPT_ID = 0,     /* u32 and its complement */
    KEPT_BOOT_A = 8, /* u16 and its complement */
    KEPT_BOOT_B = 12,
    KEPT_CONSTANTS = 16, /* version u8, pulses a turn u8, scales, CRC-16 */
};
#define CONSTANTS_VERSION 1

typedef struct {
    uint8_t quantity, kind, width;
    int32_t low_counts, high_counts;
    uint16_t delay_us;
    char name[16];
    gw_scale nominal;
} channel;

#define ADC_RANGE 0, GW_ADC_TOP - 1
#define NOT_KNOWN 0xFFFFFFFFUL

/* Nominal scales, for the parts of daq/firmware/README.md: a 2 milliohm shunt with a
 * gain of 50 (20.48 steps of 5 V / 1024 an ampere), a divider by 4, a load cell of
 * 1 kg and 1 mV/V behind a 24-bit converter with a gain of 128. A ceramic resonator
 * keeps time to half a percent (common practice, no source); quartz far better. */
static const channel table[GW_CHANNELS] GW_FLASH = {
    [GW_CURRENT] = {GW_QUANTITY_CURRENT, GW_KIND_MEAN, 2, ADC_RANGE, 1000, "current",
                    {327.68f, 0, NOT_KNOWN}},
    [GW_CURRENT_HIGH] = {GW_QUANTITY_CURRENT, GW_KIND_HIGH, 2, ADC_RANGE, 1000,
                         "current-high", {327.68f, 0, NOT_KNOWN}},
    [GW_VOLTAGE] = {GW_QUANTITY_VOLTAGE, GW_KIND_MEAN, 2, ADC_RANGE, 1000, "voltage",
                    {819.2f, 0, NOT_KNOWN}},
    [GW_VOLTAGE_LOW] = {GW_QUANTITY_VOLTAGE, GW_KIND_LOW, 2, ADC_RANGE, 1000,
                        "voltage-low", {819.2f, 0, NOT_KNOWN}},
    [GW_POWER] = {GW_QUANTITY_POWER, GW_KIND_MEAN, 4, -1046529, 1046528, 1000, "power",
                  {1048.576f, 0, NOT_KNOWN}},
    [GW_SPEED] = {GW_QUANTITY_ROTATIONAL_SPEED, GW_KIND_POINT, 2, 0, INT16_MAX, 1000,
                  "speed", {2.0f, 0, 5000}},
    [GW_PULSE] = {GW_QUANTITY_DURATION, GW_KIND_POINT, 2, 0, INT16_MAX, 0, "pulse",
                  {2e6f, 0, 5000}},
    [GW_THRUST] = {GW_QUANTITY_FORCE, GW_KIND_POINT, 4, -8388607, 8388606, 12500,
                   "thrust", {218982.39f, 0, NOT_KNOWN}},
    [GW_REFERENCE] = {GW_QUANTITY_VOLTAGE, GW_KIND_POINT, 2, 0, INT16_MAX, 0,
                      "reference", {1000.0f, 0, 100000}},
};

static struct {
    bool kept; /* the constants in memory are whole */
    uint8_t pulses_per_turn;
    int16_t supply_on, zero_current, zero_voltage;
    uint32_t stand_id;
    uint16_t boot;
} known;

static void scale_of(uint8_t index, gw_scale *scale) {
    if (known.kept) {
        uint16_t at = (uint16_t)(KEPT_CONSTANTS + 2 + index * sizeof(gw_scale));
        board_read_kept(at, scale, sizeof(gw_scale));
    } else {
        gw_from_flash(scale, &table[index].nominal, sizeof(gw_scale));
    }
}

/* Whether the kept constants have the right version, CRC and only sane scales. */
static bool constants_whole(void) {
    uint16_t size = 2 + GW_CHANNELS * sizeof(gw_scale) + 2, crc = GW_CRC_START;
    uint8_t byte = 0;
    for (uint16_t i = 0; i < size; i++) {
        board_read_kept((uint16_t)(KEPT_CONSTANTS + i), &byte, 1);
        if ((i == 0 && byte != CONSTANTS_VERSION) || (i == 1 && byte == 0)) {
            return false;
        }
        crc = gw_crc16_add(crc, byte);
    }
    if (crc != 0) {
        return false;
    }
    known.kept = true;
    for (uint8_t i = 0; i < GW_CHANNELS; i++) {
        gw_scale scale;
        scale_of(i, &scale);
        if (!isfinite(scale.counts_per_unit) || scale.counts_per_unit == 0.0f) {
            return false;
        }
        bool of_adc = i <= GW_VOLTAGE_LOW;
        if (of_adc && (scale.zero_counts < 0 || scale.zero_counts >= GW_ADC_TOP)) {
            return false;
        }
    }
    return true;
}

/* A number with its complement: a cut write never passes for one. */
static bool read_pair16(uint16_t at, uint16_t *value) {
    uint16_t pair[2];
    board_read_kept(at, pair, sizeof pair);
    *value = pair[0];
    return (pair[0] ^ pair[1]) == 0xFFFF;
}

static uint16_t next_boot(void) {
    uint16_t a, b;
    bool has_a = read_pair16(KEPT_BOOT_A, &a), has_b = read_pair16(KEPT_BOOT_B, &b);
    bool a_is_newer = has_a && (!has_b || (uint16_t)(a - b) < 0x8000);
    uint16_t boot = a_is_newer ? a + 1 : has_b ? b + 1 : 1;
    uint16_t pair[2] = {boot, (uint16_t)~boot};
    board_write_kept(a_is_newer ? KEPT_BOOT_B : KEPT_BOOT_A, pair, sizeof pair);
    return boot;
}

static uint32_t own_id(void) {
    uint32_t pair[2];
    board_read_kept(KEPT_ID, pair, sizeof pair);
    if ((pair[0] ^ pair[1]) != 0xFFFFFFFFUL) {
        pair[0] = board_chance();
        pair[1] = ~pair[0];
        board_write_kept(KEPT_ID, pair, sizeof pair);
    }
    return pair[0];
}

void channels_start(void) {
    known.kept = false;
    known.kept = constants_whole();
    known.pulses_per_turn = 1;
    if (known.kept) {
        board_read_kept(KEPT_CONSTANTS + 1, &known.pulses_per_turn, 1);
    }
    gw_scale volts, amps;
    scale_of(GW_VOLTAGE, &volts);
    scale_of(GW_CURRENT, &amps);
    /* A divider that reads downwards, or never 1 V, is never seen to be off. */
    float on = (float)volts.zero_counts + volts.counts_per_unit;
    bool sane = volts.counts_per_unit > 0.0f && on < (float)GW_ADC_TOP;
    known.supply_on = sane ? (int16_t)ceilf(on) : INT16_MIN;
    known.zero_voltage = (int16_t)volts.zero_counts;
    known.zero_current = (int16_t)amps.zero_counts;
    known.stand_id = own_id();
    known.boot = next_boot();
}

uint8_t channels_page(uint8_t index, uint8_t *body) {
    channel is;
    gw_scale scale;
    gw_from_flash(&is, &table[index], sizeof is);
    scale_of(index, &scale);
    body[GW_CHANNEL_PAGE_AT_INDEX] = index;
    body[GW_CHANNEL_PAGE_AT_QUANTITY] = is.quantity;
    body[GW_CHANNEL_PAGE_AT_KIND] = is.kind;
    body[GW_CHANNEL_PAGE_AT_WIDTH] = is.width;
    uint32_t bits;
    memcpy(&bits, &scale.counts_per_unit, sizeof bits);
    gw_put32(body + GW_CHANNEL_PAGE_AT_COUNTS_PER_UNIT, bits);
    gw_put32(body + GW_CHANNEL_PAGE_AT_ZERO_COUNTS, (uint32_t)scale.zero_counts);
    gw_put32(body + GW_CHANNEL_PAGE_AT_LOW_COUNTS, (uint32_t)is.low_counts);
    gw_put32(body + GW_CHANNEL_PAGE_AT_HIGH_COUNTS, (uint32_t)is.high_counts);
    gw_put32(body + GW_CHANNEL_PAGE_AT_GAIN_U_PPM, scale.gain_u_ppm);
    gw_put16(body + GW_CHANNEL_PAGE_AT_DELAY_US, is.delay_us);
    memcpy(body + GW_CHANNEL_PAGE_AT_NAME, is.name, sizeof is.name);
    return GW_CHANNEL_PAGE_SIZE;
}

uint8_t channels_stream(uint8_t stream, uint8_t *body) {
    uint8_t first = stream == GW_FAST_STREAM    ? GW_CURRENT
                    : stream == GW_SCALE_STREAM ? GW_THRUST
                                                : GW_REFERENCE;
    uint8_t count = stream == GW_FAST_STREAM ? GW_REST_OF_FAST : 1;
    uint32_t period_us = stream == GW_FAST_STREAM    ? GW_FAST_MS * 1000UL
                         : stream == GW_SCALE_STREAM ? GW_SCALE_US
                                                     : GW_SLOW_MS * 1000UL;
    body[0] = stream;
    gw_put32(body + 1, period_us);
    body[5] = count;
    for (uint8_t i = 0; i < count; i++) {
        body[6 + i] = (uint8_t)(first + i);
    }
    return (uint8_t)(6 + count);
}

uint8_t channels_width(uint8_t index) { return gw_flash_byte(&table[index].width); }

int16_t channels_supply_on(void) { return known.supply_on; }

int16_t channels_zero(uint8_t index) {
    return index == GW_CURRENT ? known.zero_current : known.zero_voltage;
}

uint8_t channels_pulses_per_turn(void) { return known.pulses_per_turn; }

uint32_t channels_stand_id(void) { return known.stand_id; }

uint16_t channels_boot(void) { return known.boot; }
