/* A fuzzer's way into the core: an input is a script, and laws are watched meanwhile.
 *
 * The board is boards/host.c, in whose virtual time everything happens. A script says
 * which bytes come on the line, how time passes, and what the pins do; some of its words
 * make whole commands with a right CRC, so that a fuzzer gets past that. The laws are
 * judged from the bytes that the stand read, the bytes that it sent and the pulse it
 * makes, by code that shares nothing with the core but its constants. Of the core itself
 * only the state and the latch are looked at (peek.c).
 *
 * A broken law is said in a line and ends the program, as a sanitizer does. */
#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "board.h"
#include "channels.h"
#include "frame.h"
#include "wire.h"

uint8_t peek_state(void);
uint16_t peek_latch(void);

/* What boards/host.c would print is heard here instead. */
#define say_pulse print_pulse
#define say_reset print_reset
#define say_sent print_sent
#include "lines.h"
#undef say_pulse
#undef say_reset
#undef say_sent
static void say_pulse(uint64_t at_us, uint16_t width_half_us);
static void say_reset(void);
static void say_sent(const uint8_t *bytes, size_t count) { (void)bytes, (void)count; }

#define main host_main
#define board_receive host_receive
#define board_send host_send
#include "host.c"
#undef board_receive
#undef board_send
#undef main

#define MOST_MS 4000
#define MOST_OPS 500
#define ZERO_HALF_US 2000
#define TICK_US 1000
#define FAST_US (GW_FAST_MS * 1000)
#define SUPPLY_US 100000
#define ENTRIES_MOST 64

static struct {
    const uint8_t *at, *end;
} script;

static struct {
    /* in, as the stand reads it */
    uint8_t in[GW_MAX_ENCODED + 1], out[128];
    size_t in_count, out_count;
    bool owed, read_stop;
    uint8_t owed_type;
    uint16_t owed_sequence;
    uint8_t owed_state; /* what the state was when the command was read */
    uint8_t body[GW_MAX_PAYLOAD];
    size_t body_size;
    /* the lease, from what was read */
    bool granted, acked;
    uint16_t nonce, spent_nonce, setpoint, throttle_sequence;
    uint64_t lease_end_us;
    /* limits */
    bool limits_taken;
    uint16_t limits_crc;
    uint64_t limits_us;
    struct {
        uint8_t channel, persistence, age_10ms;
        int32_t low, high;
    } entries[ENTRIES_MOST];
    size_t entry_count;
    /* pins: since when they are as they are */
    uint64_t current_us, voltage_us, cell_us, loop_us, main_us;
    /* out */
    bool started, first; /* a start, and its first event, are still to be seen */
    uint8_t cause;
    uint16_t sequence, events;
    bool any_sent, kept_touched;
    uint8_t last_state;
    uint16_t boot;
    /* the newest capture that was granted */
    bool capturing;
    uint8_t capture_number, capture_channel;
    uint16_t capture_count;
    /* the script's own */
    uint16_t next_sequence, next_nonce, made_crc;
} model;

static __typeof__(world) fresh;

/* What the kept memory is to hold: nothing changes it while the stand runs. */
static struct {
    uint8_t bytes[KEPT_SIZE];
    bool there[KEPT_SIZE];
} later;

static void broken(const char *format, ...) __attribute__((noreturn, format(printf, 1, 2)));
static void broken(const char *format, ...) {
    va_list rest;
    va_start(rest, format);
    fprintf(stderr, "LAW BROKEN at %llu us: ", (unsigned long long)world.now_us);
    vfprintf(stderr, format, rest);
    fprintf(stderr, "\n");
    va_end(rest);
    abort();
}

static uint16_t get16(const uint8_t *from) { return (uint16_t)(from[0] | from[1] << 8); }

static uint32_t get32(const uint8_t *from) {
    return get16(from) | (uint32_t)get16(from + 2) << 16;
}

/* Bit by bit, as the polynomial says. */
static uint16_t crc_of(const uint8_t *bytes, size_t count) {
    uint16_t crc = 0xFFFF;
    for (size_t i = 0; i < count; i++) {
        crc ^= (uint16_t)(bytes[i] << 8);
        for (int bit = 0; bit < 8; bit++) {
            crc = (uint16_t)(crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1);
        }
    }
    return crc;
}

/* COBS; the payload's size without its CRC, -1 where that is no frame. */
static int unframe(const uint8_t *wire, size_t count, uint8_t *to) {
    size_t at = 0, size = 0;
    while (at < count) {
        size_t code = wire[at++];
        if (at + code - 1 > count) {
            return -1;
        }
        for (size_t i = 1; i < code; i++) {
            to[size++] = wire[at++];
        }
        if (at < count && code < 255) {
            to[size++] = 0;
        }
    }
    if (size < 5 || size > GW_MAX_PAYLOAD + 2) {
        return -1;
    }
    uint16_t crc = (uint16_t)(to[size - 2] << 8 | to[size - 1]);
    return crc_of(to, size - 2) == crc ? (int)size - 2 : -1;
}

static bool driving(void) {
    uint8_t state = peek_state();
    return state == GW_STATE_PROVING || state == GW_STATE_ARMED ||
           state == GW_STATE_SPINNING;
}

/* ------------------------------------------------------------------ the laws */

static uint64_t latest(uint64_t a, uint64_t b) { return a > b ? a : b; }

/* What a fast channel has read for long; false where it is not one that is known. */
static bool steady(uint8_t channel, int *pin, uint64_t *since_us) {
    if (channel == GW_CURRENT || channel == GW_CURRENT_HIGH) {
        *pin = world.current;
        *since_us = model.current_us;
        return true;
    }
    *pin = world.voltage;
    *since_us = model.voltage_us;
    return channel == GW_VOLTAGE || channel == GW_VOLTAGE_LOW;
}

static void limit_holds(size_t i) {
    uint8_t channel = model.entries[i].channel;
    int32_t low = model.entries[i].low, high = model.entries[i].high;
    uint64_t age_us = model.entries[i].age_10ms * 10000ULL;
    uint64_t readings = model.entries[i].persistence;
    bool looked = world.now_us - model.limits_us > TICK_US + STEP_US;
    int pin;
    uint64_t since_us;
    if (channel == GW_THRUST) {
        bool silent = world.hangs || !world.cell_on;
        since_us = latest(model.cell_us, model.main_us);
        if (silent && looked && world.now_us - since_us > age_us + 2 * TICK_US) {
            broken("driven on while thrust was silent for longer than its limit allows");
        }
        uint64_t span_us = (readings + 1) * world.cell_us + 2 * TICK_US;
        bool outside = world.cell < low || world.cell > high;
        if (!silent && outside &&
            world.now_us - latest(since_us, model.limits_us) > span_us) {
            broken("driven on while thrust was outside its limit");
        }
    } else if (steady(channel, &pin, &since_us)) {
        uint64_t for_us = world.now_us - since_us;
        if (pin < 0 && looked && for_us > age_us + 2 * FAST_US) {
            broken("driven on while channel %u was silent for %llu us", channel,
                   (unsigned long long)for_us);
        }
        int32_t count = pin * GW_ADC_STEPS;
        uint64_t span_us = (readings + 2) * FAST_US + TICK_US;
        if (pin >= 0 && (count < low || count > high) &&
            world.now_us - latest(since_us, model.limits_us) > span_us) {
            broken("driven on while channel %u was outside its limit", channel);
        }
    }
}

static void may_be_driven(void) {
    if (!model.granted) {
        broken("driven without having been armed");
    }
    if (world.now_us > model.lease_end_us + TICK_US + STEP_US) {
        broken("driven on after the lease ended");
    }
    if (world.loop_open && world.now_us - model.loop_us > TICK_US + STEP_US) {
        broken("driven on with the stop loop open");
    }
    if (peek_state() == GW_STATE_PROVING) {
        uint64_t for_us = world.now_us - model.voltage_us;
        if (world.voltage < 0 && for_us > SUPPLY_US + 2 * FAST_US) {
            broken("proving went on without knowing the supply");
        }
        if (world.voltage * GW_ADC_STEPS >= channels_supply_on() && world.voltage >= 0 &&
            for_us > 2 * FAST_US + TICK_US) {
            broken("proving went on with the supply on");
        }
    }
    for (size_t i = 0; i < model.entry_count; i++) {
        limit_holds(i);
    }
}

/* After everything that the stand did. */
static void judge_state(void) {
    uint8_t state = peek_state();
    if (state < GW_STATE_LOCKED || state > GW_STATE_TRIPPED) {
        broken("state %u", state);
    }
    if (model.read_stop && state != GW_STATE_TRIPPED) {
        broken("a stop was read, and the state is %u", state);
    }
    model.read_stop = false;
    if (model.last_state == GW_STATE_TRIPPED && state != GW_STATE_TRIPPED &&
        !model.acked) {
        broken("a trip was left without its latch being acknowledged");
    }
    if (state != GW_STATE_TRIPPED) {
        model.acked = false;
    }
    model.last_state = state;
    bool drives = driving();
    uint16_t expected = ZERO_HALF_US;
    if (drives) {
        expected = (uint16_t)(ZERO_HALF_US + model.setpoint / 5);
    }
    if (world.pulse_half_us != expected) {
        broken("the pulse is %u half us in state %u, and should be %u",
               world.pulse_half_us, state, expected);
    }
    if (!drives) {
        model.granted = false;
        model.setpoint = 0;
    }
}

static void judge(void) {
    judge_state();
    if (model.started) {
        model.started = false;
        if (!model.kept_touched && channels_boot() != (uint16_t)(model.boot + 1)) {
            broken("start %u after start %u", channels_boot(), model.boot);
        }
        model.kept_touched = false;
        model.boot = channels_boot();
    }
    if (driving()) {
        may_be_driven();
    }
}

static void say_pulse(uint64_t at_us, uint16_t width_half_us) {
    (void)at_us;
    if (width_half_us > ZERO_HALF_US && !driving()) {
        broken("a pulse of %u half us begins in state %u", width_half_us, peek_state());
    }
}

/* ------------------------------------------------------------------ what it reads */

static int64_t lease_left_us(uint16_t lease_ms, uint32_t seen_us) {
    uint32_t age_us = board_now_us() - seen_us;
    if (lease_ms < GW_LEASE_MIN_MS || lease_ms > GW_LEASE_MAX_MS || age_us >> 31) {
        return 0;
    }
    int64_t left_us = lease_ms * 1000LL - age_us;
    return left_us > 0 ? left_us : 0;
}

static void read_throttle(uint16_t sequence, const uint8_t *body, int size) {
    if (size != GW_THROTTLE_SIZE || !driving() || get16(body) != model.nonce ||
        get16(body + 2) > GW_THROTTLE_FULL) {
        return;
    }
    uint16_t ahead = (uint16_t)(sequence - model.throttle_sequence);
    int64_t left_us = lease_left_us(get16(body + 4), get32(body + 6));
    if (ahead == 0 || ahead > 32767 || left_us == 0) {
        return;
    }
    model.throttle_sequence = sequence;
    model.setpoint = get16(body + 2);
    model.lease_end_us = world.now_us + (uint64_t)left_us;
}

static void read_frame(const uint8_t *payload, int size) {
    uint8_t type = payload[0];
    uint16_t sequence = get16(payload + 1);
    const uint8_t *body = payload + 3;
    size -= 3;
    if (type == GW_THROTTLE) {
        read_throttle(sequence, body, size);
        return;
    }
    if (type == GW_WHO && size == GW_WHO_SIZE) {
        return;
    }
    if (type == GW_STOP) {
        model.read_stop = true;
        model.acked = false;
    }
    if (type == GW_ACKNOWLEDGE && size == GW_ACKNOWLEDGE_SIZE &&
        get16(body) == channels_boot() && get16(body + 2) == peek_latch()) {
        model.acked = true;
    }
    model.owed = true;
    model.owed_type = type;
    model.owed_sequence = sequence;
    model.owed_state = peek_state();
    memcpy(model.body, body, (size_t)size);
    model.body_size = (size_t)size;
}

int16_t board_receive(void) {
    if (model.owed) {
        broken("command %02x had no reply", model.owed_type);
    }
    judge_state();
    int16_t byte = host_receive();
    if (byte < 0) {
        return byte;
    }
    if (byte != 0) {
        if (model.in_count <= GW_MAX_ENCODED) {
            if (model.in_count < GW_MAX_ENCODED) {
                model.in[model.in_count] = (uint8_t)byte;
            }
            model.in_count++;
        }
        return byte;
    }
    uint8_t payload[GW_MAX_ENCODED + 1];
    if (model.in_count > 0 && model.in_count <= GW_MAX_ENCODED) {
        int size = unframe(model.in, model.in_count, payload);
        if (size > 0) {
            read_frame(payload, size);
        }
    }
    model.in_count = 0;
    return byte;
}

/* ------------------------------------------------------------------ what it sends */

static void take_limits_model(void) {
    const uint8_t *at = model.body + 1, *end = model.body + model.body_size;
    model.entry_count = 0;
    while (at < end && model.entry_count < ENTRIES_MOST) {
        bool wide = *at & 0x80;
        size_t i = model.entry_count++;
        model.entries[i].channel = *at & 0x3F;
        model.entries[i].low = wide ? (int32_t)get32(at + 1) : (int16_t)get16(at + 1);
        model.entries[i].high = wide ? (int32_t)get32(at + 5) : (int16_t)get16(at + 3);
        at += wide ? 9 : 5;
        model.entries[i].persistence = *at++;
        model.entries[i].age_10ms = *at++;
    }
    model.limits_taken = true;
    model.limits_crc = crc_of(model.body, model.body_size);
    model.limits_us = world.now_us;
}

static void granted(void) {
    const uint8_t *body = model.body;
    uint16_t nonce = get16(body), lease_ms = get16(body + 6);
    int64_t left_us = lease_left_us(lease_ms, get32(body + 8));
    bool right = model.body_size == GW_ARM_SIZE && model.limits_taken &&
                 get16(body + 2) == channels_boot() &&
                 get16(body + 4) == model.limits_crc && nonce != 0 &&
                 nonce != model.spent_nonce && left_us > 0 && !world.loop_open &&
                 model.owed_state == GW_STATE_LOCKED;
    if (!right) {
        broken("a grant that had to be refused");
    }
    for (size_t i = 0; i < model.entry_count; i++) {
        int pin;
        uint64_t since_us;
        bool known = steady(model.entries[i].channel, &pin, &since_us);
        int32_t count = known ? pin * GW_ADC_STEPS : 0;
        if (known && pin >= 0 && world.now_us - since_us > 2 * FAST_US + TICK_US &&
            (count < model.entries[i].low || count > model.entries[i].high)) {
            broken("a grant over an exceeded limit");
        }
    }
    model.granted = true;
    model.nonce = model.spent_nonce = nonce;
    model.setpoint = 0;
    model.throttle_sequence = model.owed_sequence;
    model.lease_end_us = world.now_us + (uint64_t)left_us;
}

static void sent_reply(const uint8_t *body) {
    uint8_t verdict = body[GW_REPLY_AT_VERDICT];
    uint32_t value = get32(body + GW_REPLY_AT_VALUE);
    if (!model.owed || body[0] != model.owed_type ||
        get16(body + 1) != model.owed_sequence) {
        broken("a reply to %02x that nobody waits for", body[0]);
    }
    model.owed = false;
    if (verdict > GW_VERDICT_CANNOT_CAPTURE) {
        broken("verdict %u", verdict);
    }
    bool limits = model.owed_type == GW_LIMITS && verdict == GW_VERDICT_DONE;
    if (limits) {
        take_limits_model();
    }
    if (model.owed_type == GW_CAPTURE && verdict == GW_VERDICT_DONE) {
        model.capturing = true;
        model.capture_number = model.body[GW_CAPTURE_AT_NUMBER];
        model.capture_channel = model.body[GW_CAPTURE_AT_CHANNEL];
        model.capture_count = get16(model.body + GW_CAPTURE_AT_COUNT);
    }
    if (value != (limits ? model.limits_crc : 0U)) {
        broken("a reply to %02x with value %u", model.owed_type, value);
    }
    if (verdict == GW_VERDICT_DONE &&
        (model.owed_type == GW_ARM || model.owed_type == GW_PROVE)) {
        granted();
    }
}

static void sent_event(const uint8_t *body) {
    uint16_t number = get16(body + GW_EVENT_AT_NUMBER);
    uint8_t state = body[GW_EVENT_AT_STATE], cause = body[GW_EVENT_AT_CAUSE];
    uint16_t latch = get16(body + GW_EVENT_AT_LATCH);
    bool known = (cause >= GW_CAUSE_POWER_ON && cause <= GW_CAUSE_RESET_OTHER) ||
                 (cause >= GW_CAUSE_ARMED && cause <= GW_CAUSE_PROVING) ||
                 (cause >= GW_CAUSE_LEASE_ENDED && cause <= GW_CAUSE_SUPPLY_ON);
    bool trips = cause >= GW_CAUSE_LEASE_ENDED;
    if (!known || state < GW_STATE_LOCKED || state > GW_STATE_TRIPPED ||
        trips != (state == GW_STATE_TRIPPED) || trips != (latch == number) ||
        get16(body + GW_EVENT_AT_THROTTLE) > GW_THROTTLE_FULL ||
        get16(body + GW_EVENT_AT_BOOT) != channels_boot()) {
        broken("an event of state %u, cause %u, latch %u, number %u", state, cause, latch,
               number);
    }
    uint8_t limit = body[GW_EVENT_AT_LIMIT], channel = body[GW_EVENT_AT_CHANNEL];
    bool of_limit = cause == GW_CAUSE_LIMIT || cause == GW_CAUSE_CHANNEL_SILENT;
    if (of_limit != (limit != GW_NONE) || of_limit != (channel != GW_NONE) ||
        (of_limit && channel >= GW_CHANNELS)) {
        broken("an event of cause %u, limit %u, channel %u", cause, limit, channel);
    }
    if (cause == GW_CAUSE_LEASE_ENDED && world.now_us < model.lease_end_us) {
        broken("a lease ended before it was over");
    }
    if (model.first && (number != 1 || cause != model.cause)) {
        broken("first event %u of cause %u after a start for %u", number, cause,
               model.cause);
    }
    if (!model.first && (uint16_t)(number - model.events - 1) > 1000) {
        broken("event %u after %u", number, model.events);
    }
    model.first = false;
    model.events = number;
}

static void sent_page(const uint8_t *body) {
    float scale;
    memcpy(&scale, body + GW_CHANNEL_PAGE_AT_COUNTS_PER_UNIT, sizeof scale);
    int32_t low = (int32_t)get32(body + GW_CHANNEL_PAGE_AT_LOW_COUNTS);
    int32_t high = (int32_t)get32(body + GW_CHANNEL_PAGE_AT_HIGH_COUNTS);
    uint8_t width = body[GW_CHANNEL_PAGE_AT_WIDTH];
    if (!isfinite(scale) || scale == 0.0f || low >= high || (width != 2 && width != 4) ||
        body[0] >= GW_CHANNELS || (body[0] <= GW_VOLTAGE_LOW && high >= GW_ADC_TOP)) {
        broken("a page of channel %u that no host takes", body[0]);
    }
}

/* A block by itself, and that somebody asked for it. */
static void sent_burst(const uint8_t *body, int samples) {
    uint16_t first = get16(body + GW_BURST_AT_FIRST);
    uint16_t total = get16(body + GW_BURST_AT_TOTAL);
    uint16_t trigger = get16(body + GW_BURST_AT_TRIGGER);
    bool empty = total == 0;
    if (!model.capturing || body[GW_BURST_AT_NUMBER] != model.capture_number ||
        body[GW_BURST_AT_CHANNEL] != model.capture_channel) {
        broken("a block of a capture that nobody asked for");
    }
    if (first + samples > total || empty != (samples == 0) || total > model.capture_count ||
        (empty ? trigger != 0 : trigger >= total) ||
        get32(body + GW_BURST_AT_PERIOD_NS) == 0 ||
        get16(body + GW_BURST_AT_STEP) == 0) {
        broken("a block of %d samples from %u of %u, trigger %u", samples, first, total,
               trigger);
    }
}

static int size_of_samples(uint8_t stream) {
    return stream == GW_FAST_STREAM ? 5 + 16 : stream == GW_SCALE_STREAM ? 5 + 4 : 5 + 2;
}

static void sent_frame(const uint8_t *payload, int size) {
    const uint8_t *body = payload + 3;
    uint16_t sequence = get16(payload + 1);
    size -= 3;
    if (model.any_sent && (uint16_t)(sequence - model.sequence - 1) > 1000) {
        broken("sequence %u after %u", sequence, model.sequence);
    }
    model.any_sent = true;
    model.sequence = sequence;
    int right = payload[0] == GW_IDENTITY       ? GW_IDENTITY_SIZE
                : payload[0] == GW_CHANNEL_PAGE ? GW_CHANNEL_PAGE_SIZE
                : payload[0] == GW_STREAM_PAGE  ? 6 + body[5]
                : payload[0] == GW_SAMPLES      ? size_of_samples(body[0])
                : payload[0] == GW_EVENT        ? GW_EVENT_SIZE
                : payload[0] == GW_REPLY        ? GW_REPLY_SIZE
                : payload[0] == GW_COUNTERS     ? GW_COUNTERS_SIZE
                : payload[0] == GW_BURST && size >= GW_BURST_SIZE &&
                        size <= GW_BURST_SIZE + GW_BURST_MOST
                    ? size
                    : -1;
    if (size != right) {
        broken("a frame of type %02x with %d bytes", payload[0], size);
    }
    if (payload[0] == GW_EVENT) {
        sent_event(body);
    } else if (payload[0] == GW_REPLY) {
        sent_reply(body);
    } else if (payload[0] == GW_CHANNEL_PAGE) {
        sent_page(body);
    } else if (payload[0] == GW_BURST) {
        sent_burst(body, size - GW_BURST_SIZE);
    } else if (payload[0] == GW_SAMPLES && body[0] >= GW_STREAMS) {
        broken("samples of stream %u", body[0]);
    } else if (payload[0] == GW_COUNTERS &&
               body[GW_COUNTERS_AT_STATE] != peek_state()) {
        broken("counters of another state");
    }
}

void board_send(uint8_t byte) {
    host_send(byte);
    if (byte != 0) {
        if (model.out_count >= GW_MAX_ENCODED) {
            broken("a frame that is too long");
        }
        model.out[model.out_count++] = byte;
        return;
    }
    uint8_t payload[128];
    if (model.out_count > 0) {
        int size = unframe(model.out, model.out_count, payload);
        if (size < 0) {
            broken("%zu bytes that are no frame", model.out_count);
        }
        sent_frame(payload, size);
    }
    model.out_count = 0;
}

/* ------------------------------------------------------------------ the script */

static uint8_t next8(void) { return script.at < script.end ? *script.at++ : 0; }

static uint16_t next16(void) {
    uint8_t low = next8();
    return (uint16_t)(low | next8() << 8);
}

static uint32_t next32(void) {
    uint16_t low = next16();
    return low | (uint32_t)next16() << 16;
}

static void nexts(uint8_t *to, size_t count) {
    for (size_t i = 0; i < count; i++) {
        to[i] = next8();
    }
}

/* What a start makes of everything that was read and sent. */
static void forget(uint8_t cause) {
    model.in_count = model.out_count = 0;
    model.owed = model.read_stop = model.granted = model.acked = false;
    model.limits_taken = model.any_sent = model.capturing = false;
    model.nonce = model.spent_nonce = model.setpoint = 0;
    model.entry_count = 0;
    for (size_t i = 0; i < KEPT_SIZE; i++) {
        if (later.there[i]) {
            world.kept[i] = later.bytes[i];
        }
    }
    memset(&later, 0, sizeof later);
    model.first = model.started = true;
    model.cause = cause;
    model.last_state = GW_STATE_LOCKED;
}

static void say_reset(void) {
    forget(GW_CAUSE_WATCHDOG); /* it starts next */
    model.main_us = world.now_us;
}

static void line(const uint8_t *bytes, size_t count) {
    memmove(world.came, world.came + world.came_from, world.came_to - world.came_from);
    world.came_to -= world.came_from;
    world.came_from = 0;
    for (size_t i = 0; i < count && world.came_to < sizeof world.came; i++) {
        world.came[world.came_to++] = bytes[i];
    }
    if (!world.hangs) {
        stand_poll();
        judge();
    }
}

static void command(uint8_t type, const uint8_t *body, size_t size, int flip) {
    uint8_t checked[GW_MAX_PAYLOAD + 2], wire[GW_MAX_ENCODED + 2];
    size_t count = 0, to = 1;
    checked[count++] = type;
    checked[count++] = (uint8_t)model.next_sequence;
    checked[count++] = (uint8_t)(model.next_sequence >> 8);
    model.next_sequence++;
    memcpy(checked + count, body, size);
    count += size;
    uint16_t crc = crc_of(checked, count);
    checked[count++] = (uint8_t)(crc >> 8);
    checked[count++] = (uint8_t)crc;
    wire[0] = 0; /* ends what the line holds */
    size_t code_at = to++;
    for (size_t i = 0; i < count; i++) {
        if (checked[i] == 0) {
            wire[code_at] = (uint8_t)(to - code_at);
            code_at = to++;
        } else {
            wire[to++] = checked[i];
        }
    }
    wire[code_at] = (uint8_t)(to - code_at);
    if (flip >= 0) {
        wire[1 + (size_t)(flip / 8) % (to - 1)] ^= (uint8_t)(1 << flip % 8);
    }
    uint8_t end = 0;
    line(wire, to);
    line(&end, 1);
}

static void pass(uint32_t ms, uint32_t *passed_ms) {
    for (; ms > 0 && *passed_ms < MOST_MS; ms--, (*passed_ms)++) {
        for (int i = 0; i < 2; i++) {
            step();
            world.sent_count = 0;
            judge();
        }
    }
}

static void throttle(uint16_t setpoint, uint16_t lease_ms, uint8_t age_ms, uint8_t wrong) {
    uint8_t body[GW_THROTTLE_SIZE];
    gw_put16(body, (uint16_t)(model.nonce ^ (wrong & 1)));
    gw_put16(body + 2, wrong & 2 ? setpoint : setpoint % (GW_THROTTLE_FULL + 1));
    gw_put16(body + 4, wrong & 4 ? lease_ms : (uint16_t)(50 + lease_ms % 451));
    uint32_t age_us = age_ms * 1000U;
    gw_put32(body + 6, board_now_us() - (wrong & 8 ? 0U - age_us : age_us));
    command(GW_THROTTLE, body, sizeof body, -1);
}

static void grant(uint8_t wrong, uint16_t lease_ms) {
    uint8_t body[GW_ARM_SIZE];
    uint16_t nonce = wrong & 2 ? model.spent_nonce : ++model.next_nonce;
    gw_put16(body, nonce);
    gw_put16(body + 2, (uint16_t)(channels_boot() + (wrong >> 2 & 1)));
    gw_put16(body + 4, (uint16_t)(model.limits_crc ^ (wrong >> 3 & 1)));
    gw_put16(body + 6, wrong & 16 ? lease_ms : (uint16_t)(50 + lease_ms % 451));
    gw_put32(body + 8, board_now_us() - (wrong & 32 ? 600000U : 0U));
    command(wrong & 1 ? GW_PROVE : GW_ARM, body, sizeof body, -1);
}

/* Entries whose channels mostly exist and whose ranges mostly hold something. */
static void limits(void) {
    uint8_t body[GW_BODY_MAX], count = (uint8_t)(1 + next8() % 8), at = 1, made = 0;
    while (made < count && at + 11 <= (int)sizeof body) {
        uint8_t how = next8();
        uint8_t channel = how & 1 ? next8() & 0x3F : next8() % GW_CHANNELS;
        int32_t low = how & 2 ? (int32_t)next32() : INT16_MIN;
        int32_t high = how & 4 ? (int32_t)next32() : INT16_MAX;
        bool wide = how & 8 || channel == GW_POWER || channel == GW_THRUST;
        if (wide && !(how & 6)) {
            low = INT32_MIN;
            high = INT32_MAX;
        }
        body[at++] = (uint8_t)(channel | (wide ? 0x80 : 0));
        gw_put32(body + at, (uint32_t)low);
        at = (uint8_t)(at + (wide ? 4 : 2));
        gw_put32(body + at, (uint32_t)high);
        at = (uint8_t)(at + (wide ? 4 : 2));
        body[at++] = next8();
        body[at++] = next8();
        made++;
    }
    body[0] = made;
    command(GW_LIMITS, body, at, -1);
}

static void pin(void) {
    uint8_t which = next8() % 7;
    uint32_t value = next16();
    if (which == 0 || which == 1) {
        int *steps = which == 0 ? &world.current : &world.voltage;
        int wanted = (int)(value % 1025) - 1;
        if (*steps != wanted) {
            *steps = wanted;
            *(which == 0 ? &model.current_us : &model.voltage_us) = world.now_us;
        }
    } else if (which == 2) {
        world.cell = (int32_t)(value << 8) - 8388608;
        world.cell_on = true;
        model.cell_us = world.now_us;
    } else if (which == 3) {
        world.cell_on = value & 1;
        world.cell_us = value & 2 ? 100000 : 12500;
        model.cell_us = world.now_us;
    } else if (which == 4) {
        turn(value * (value & 1 ? 1U : 16U));
    } else if (which == 5) {
        if (world.loop_open != (value & 1)) {
            world.loop_open = value & 1;
            model.loop_us = world.now_us;
        }
    } else {
        world.readback = value & 1;
    }
}

static void restart(uint8_t cause) {
    forget((uint8_t)(GW_CAUSE_POWER_ON + cause % 5));
    start(model.cause);
    model.main_us = world.now_us;
    judge();
}

static void keep_later(uint8_t at, uint8_t byte) {
    later.bytes[at] = byte;
    later.there[at] = true;
    model.kept_touched |= at < 16;
}

/* Constants with a right CRC, whatever is in them. */
static void constants(void) {
    uint8_t bytes[2 + GW_CHANNELS * sizeof(gw_scale) + 2] = {1, next8()};
    nexts(bytes + 2, sizeof bytes - 4);
    uint16_t crc = crc_of(bytes, sizeof bytes - 2);
    bytes[sizeof bytes - 2] = (uint8_t)(crc >> 8);
    bytes[sizeof bytes - 1] = (uint8_t)crc;
    for (size_t i = 0; i < sizeof bytes; i++) {
        keep_later((uint8_t)(16 + i), bytes[i]);
    }
}

static void ask_capture(void) {
    uint8_t body[GW_CAPTURE_SIZE];
    nexts(body, sizeof body);
    gw_put16(body + GW_CAPTURE_AT_BOOT, channels_boot());
    body[GW_CAPTURE_AT_CHANNEL] %= GW_CHANNELS;
    body[GW_CAPTURE_AT_TRIGGER] = (uint8_t)(1 + body[GW_CAPTURE_AT_TRIGGER] % 4);
    command(GW_CAPTURE, body, sizeof body, -1);
}

static void any_command(uint8_t op) {
    uint8_t body[GW_BODY_MAX], type = next8(), size = next8() % (GW_BODY_MAX + 1);
    int flip = op == OP_DAMAGED ? next16() % 1000 : -1;
    nexts(body, size);
    command(type, body, size, flip);
}

static void fixed_command(uint8_t op) {
    uint8_t body[GW_ACKNOWLEDGE_SIZE] = {GW_LINK_VERSION}, wrong = next8();
    if (op == OP_WHO) {
        command(GW_WHO, body, GW_WHO_SIZE, -1);
    } else if (op == OP_STOP) {
        body[0] = wrong;
        command(GW_STOP, body, GW_STOP_SIZE, -1);
    } else {
        gw_put16(body, (uint16_t)(channels_boot() ^ (wrong & 1)));
        gw_put16(body + 2, (uint16_t)(peek_latch() ^ (wrong >> 1 & 1)));
        command(op == OP_LOCK ? GW_LOCK : GW_ACKNOWLEDGE, body,
                op == OP_LOCK ? GW_LOCK_SIZE : GW_ACKNOWLEDGE_SIZE, -1);
    }
}

static void hold(uint32_t *passed_ms) {
    uint8_t times = next8() % 64;
    uint16_t setpoint = next16();
    for (uint8_t i = 0; i < times; i++) {
        throttle(setpoint, 150, 0, 0);
        pass(25, passed_ms);
    }
}

static void raw(void) {
    uint8_t bytes[256];
    size_t count = next8();
    nexts(bytes, count);
    line(bytes, count);
}

static void do_next(uint32_t *passed_ms) {
    uint8_t op = next8() % OPS;
    switch (op) {
    case OP_RAW:
        raw();
        break;
    case OP_FRAMED:
    case OP_DAMAGED:
        any_command(op);
        break;
    case OP_SEQUENCE:
        model.next_sequence = (uint16_t)(model.next_sequence + next16());
        break;
    case OP_THROTTLE: {
        uint16_t setpoint = next16(), lease_ms = next16();
        uint8_t age_ms = next8();
        throttle(setpoint, lease_ms, age_ms, next8());
        break;
    }
    case OP_GRANT: {
        uint8_t wrong = next8();
        grant(wrong, next16());
        break;
    }
    case OP_LIMITS:
        limits();
        break;
    case OP_STOP:
    case OP_ACKNOWLEDGE:
    case OP_LOCK:
    case OP_WHO:
        fixed_command(op);
        break;
    case OP_RUN:
        pass(1U + next8() % 32, passed_ms);
        break;
    case OP_RUN_LONG:
        pass(next8() * 4U, passed_ms);
        break;
    case OP_HOLD:
        hold(passed_ms);
        break;
    case OP_PIN:
        pin();
        break;
    case OP_HANG:
        world.hangs = next8() & 1;
        model.main_us = world.now_us;
        break;
    case OP_RESET:
        restart(next8());
        break;
    case OP_CLOCK:
        world.clock_us = (1ULL << 32) - 64ULL * next16(); /* it passes zero soon */
        break;
    case OP_KEPT: {
        uint8_t at = next8();
        keep_later(at, next8());
        break;
    }
    case OP_CONSTANTS:
        constants();
        break;
    default:
        ask_capture();
    }
}

int LLVMFuzzerInitialize(int *count, char ***words) {
    (void)count, (void)words;
    fresh = world;
    memset(fresh.kept, 0xFF, sizeof fresh.kept);
    return 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    uint32_t passed_ms = 0;
    world = fresh;
    memset(&model, 0, sizeof model);
    memset(&later, 0, sizeof later);
    script.at = data;
    script.end = data + size;
    restart(0);
    for (int i = 0; i < MOST_OPS && script.at < script.end && passed_ms < MOST_MS; i++) {
        do_next(&passed_ms);
    }
    pass(2, &passed_ms); /* the last command shows what it did */
    return 0;
}
