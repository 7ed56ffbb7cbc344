#include "stand.h"

#include <stdbool.h>
#include <string.h>

#include "board.h"
#include "capture.h"
#include "channels.h"
#include "flash.h"
#include "frame.h"
#include "limits.h"
#include "readings.h"

#define FIRMWARE_MAJOR 0
#define FIRMWARE_MINOR 1
#define ZERO_PULSE_HALF_US 2000 /* 1 ms; full throttle is 2 ms */
#define SETPOINT_PER_HALF_US 5
#define IDLE_MS 30000UL
#define COUNTERS_MS 200
#define SUPPLY_AGE_US 100000UL
#define THRUST_LATE_US (GW_SCALE_US * 8 / 5)
#define EVENTS_KEPT 4
#define FRAMES_KEPT 4
#ifndef GW_BYTES_A_POLL
#define GW_BYTES_A_POLL 32 /* so that a flood does not keep the rest waiting */
#endif
/* Bytes of the line, so that nothing that a person waits for is ever dropped: an event
 * with the reply after it; a frame of readings, which leaves room for those; and a
 * page or a command, which leave room for all of them. */
#define SPARE 48
#define FRAME_ROOM (28 + SPARE)
#define COMMAND_ROOM (SPARE + FRAME_ROOM)
#define PAGE_ROOM (GW_MAX_ENCODED + 1 + FRAME_ROOM)

static const uint8_t next_state[GW_MOVES][GW_STATES] GW_FLASH = {GW_NEXT_TABLE};
static const uint8_t move_cause[GW_MOVES] GW_FLASH = {GW_CAUSE_TABLE};

typedef struct {
    uint32_t time_us;
    int32_t count;
    uint16_t number, latch, throttle;
    uint8_t state, cause, limit, channel;
} event;

typedef struct {
    uint32_t time_us;
    gw_fast counts;
} frame;

/* Moved by the tick and, while no tick runs, by the main loop. */
static struct {
    uint8_t state;
    uint16_t setpoint, nonce, spent_nonce, throttle_sequence;
    uint32_t lease_end_us;
    uint16_t latch, events;
    uint16_t idle_ms;
    uint8_t fast_ms, counters_ms;
    event told[EVENTS_KEPT]; /* not yet sent */
    uint8_t told_from, told_count;
    frame frames[FRAMES_KEPT];
    uint8_t frames_from, frames_count;
    bool counters_due;
    uint16_t lost; /* events and frames that found no place */
} stand;

/* Of the main loop alone. */
static struct {
    gw_receiver line;
    gw_sender to_host;
    uint16_t received, malformed, ignored, missed;
    uint8_t page, pages; /* of the identity: the next, and where it ends */
    uint32_t thrust_us;  /* the newest reading of the load cell, or one that is missed */
} host;

/* ------------------------------------------------------------------ states */

static uint16_t next_number(uint16_t number) {
    return number == UINT16_MAX ? 1 : (uint16_t)(number + 1); /* 0: no latch */
}

static void set_throttle(uint16_t setpoint) {
    stand.setpoint = setpoint;
    board_set_pulse((uint16_t)(ZERO_PULSE_HALF_US + setpoint / SETPOINT_PER_HALF_US));
}

static void tell(uint8_t cause, uint8_t limit, uint16_t throttle) {
    stand.events = next_number(stand.events);
    if (stand.told_count == EVENTS_KEPT) {
        stand.lost++;
        return;
    }
    uint8_t at = (uint8_t)((stand.told_from + stand.told_count++) % EVENTS_KEPT);
    event *one = &stand.told[at];
    one->time_us = board_now_us();
    one->number = stand.events;
    one->state = stand.state;
    one->cause = cause;
    one->latch = stand.latch;
    one->limit = limit;
    one->channel = limit == GW_NONE ? GW_NONE : limits_channel(limit);
    one->count = limit == GW_NONE ? 0 : limits_newest(one->channel);
    one->throttle = throttle;
}

/* Goes where the table says and tells of it; nowhere if it says so. */
static void go(uint8_t move, uint8_t cause, uint8_t limit) {
    uint8_t to = gw_flash_byte(&next_state[move][stand.state]);
    if (to == GW_STATE_UNKNOWN) {
        return;
    }
    uint16_t throttle = stand.setpoint;
    stand.state = to;
    stand.idle_ms = 0;
    if (!GW_MAY_DRIVE(to)) {
        set_throttle(0);
        stand.nonce = 0;
    }
    if (to == GW_STATE_TRIPPED) {
        stand.latch = next_number(stand.events);
    }
    tell(cause ? cause : gw_flash_byte(&move_cause[move]), limit, throttle);
}

static void trip(uint8_t cause, uint8_t limit) { go(GW_MOVE_TRIP, cause, limit); }

/* Not known is not off. */
static bool supply_off(uint32_t now_us) {
    return limits_heard(GW_VOLTAGE, now_us, SUPPLY_AGE_US) &&
           limits_newest(GW_VOLTAGE) < channels_supply_on();
}

static void protect(uint32_t now_us) {
    uint8_t cause = 0, limit = limits_tripped(now_us, &cause);
    if (limit != GW_NONE) {
        trip(cause, limit);
    } else if (board_loop_open()) {
        trip(GW_CAUSE_STOP_LOOP_OPEN, GW_NONE);
    } else if (stand.state == GW_STATE_PROVING && !supply_off(now_us)) {
        trip(GW_CAUSE_SUPPLY_ON, GW_NONE);
    } else if ((int32_t)(now_us - stand.lease_end_us) >= 0) {
        trip(GW_CAUSE_LEASE_ENDED, GW_NONE);
    } else if (stand.state == GW_STATE_ARMED && ++stand.idle_ms > IDLE_MS) {
        go(GW_MOVE_IDLE, 0, GW_NONE);
    }
}

/* ------------------------------------------------------------------ readings */

static void take_frame(uint32_t now_us) {
    gw_fast fast;
    readings_collect(&fast, now_us);
    limits_reading(GW_CURRENT, fast.current, now_us);
    limits_reading(GW_CURRENT_HIGH, fast.current_high, now_us);
    limits_reading(GW_VOLTAGE, fast.voltage, now_us);
    limits_reading(GW_VOLTAGE_LOW, fast.voltage_low, now_us);
    limits_reading(GW_POWER, fast.power, now_us);
    limits_reading(GW_SPEED, fast.speed, now_us);
    limits_reading(GW_PULSE, fast.pulse, now_us);
    if (stand.frames_count == FRAMES_KEPT) {
        stand.lost++;
        return;
    }
    uint8_t at = (uint8_t)((stand.frames_from + stand.frames_count++) % FRAMES_KEPT);
    stand.frames[at].time_us = now_us;
    stand.frames[at].counts = fast;
}

void stand_tick(void) {
    uint32_t now_us = board_now_us();
    if (++stand.fast_ms == GW_FAST_MS) {
        stand.fast_ms = 0;
        take_frame(now_us);
    }
    if (GW_MAY_DRIVE(stand.state)) {
        protect(now_us);
    }
    limits_forget(now_us);
    if (capture_wants()) {
        capture_tick(now_us);
    }
    if (++stand.counters_ms == COUNTERS_MS) {
        stand.counters_ms = 0;
        stand.counters_due = true;
    }
}

static uint8_t *begin_samples(uint8_t stream, uint32_t time_us) {
    uint8_t *body = gw_body(&host.to_host);
    body[0] = stream;
    gw_put32(body + 1, time_us);
    return body + 5;
}

/* A reading that comes to the main loop, judged before it is sent. */
static uint32_t judged(uint8_t channel, int32_t count) {
    uint8_t held = board_hold_tick();
    uint32_t now_us = board_now_us();
    limits_reading(channel, count, now_us);
    board_release_tick(held);
    return now_us;
}

void stand_thrust(int32_t count) {
    uint32_t now_us = judged(GW_THRUST, count);
    host.thrust_us = now_us;
    gw_put32(begin_samples(GW_SCALE_STREAM, now_us), (uint32_t)count);
    gw_send(&host.to_host, GW_SAMPLES, 5 + 4, SPARE);
}

void stand_reference(int16_t millivolt) {
    uint32_t now_us = judged(GW_REFERENCE, millivolt);
    gw_put16(begin_samples(GW_SLOW_STREAM, now_us), (uint16_t)millivolt);
    gw_send(&host.to_host, GW_SAMPLES, 5 + 2, SPARE);
}

/* Counts each reading of the load cell that does not come in its time: a converter that
 * was left at 10 readings a second misses seven of eight. */
static void look_for_thrust(void) {
    if (board_now_us() - host.thrust_us >= THRUST_LATE_US) {
        host.thrust_us += GW_SCALE_US;
        host.missed++;
    }
}

/* ------------------------------------------------------------------ telling */

static void send_events(void) {
    for (;;) {
        uint8_t held = board_hold_tick();
        bool any = stand.told_count > 0;
        event one = stand.told[stand.told_from];
        if (any) {
            stand.told_from = (uint8_t)((stand.told_from + 1) % EVENTS_KEPT);
            stand.told_count--;
        }
        board_release_tick(held);
        if (!any) {
            return;
        }
        uint8_t *body = gw_body(&host.to_host);
        gw_put32(body + GW_EVENT_AT_TIME_US, one.time_us);
        gw_put16(body + GW_EVENT_AT_BOOT, channels_boot());
        gw_put16(body + GW_EVENT_AT_NUMBER, one.number);
        body[GW_EVENT_AT_STATE] = one.state;
        body[GW_EVENT_AT_CAUSE] = one.cause;
        gw_put16(body + GW_EVENT_AT_LATCH, one.latch);
        body[GW_EVENT_AT_LIMIT] = one.limit;
        body[GW_EVENT_AT_CHANNEL] = one.channel;
        gw_put32(body + GW_EVENT_AT_COUNT, (uint32_t)one.count);
        gw_put16(body + GW_EVENT_AT_THROTTLE, one.throttle);
        gw_send(&host.to_host, GW_EVENT, GW_EVENT_SIZE, 0);
    }
}

static void send_frames(void) {
    for (;;) {
        uint8_t held = board_hold_tick();
        bool any = stand.frames_count > 0;
        frame one = stand.frames[stand.frames_from];
        if (any) {
            stand.frames_from = (uint8_t)((stand.frames_from + 1) % FRAMES_KEPT);
            stand.frames_count--;
        }
        board_release_tick(held);
        if (!any) {
            return;
        }
        uint8_t *to = begin_samples(GW_FAST_STREAM, one.time_us);
        gw_put16(to, (uint16_t)one.counts.current);
        gw_put16(to + 2, (uint16_t)one.counts.current_high);
        gw_put16(to + 4, (uint16_t)one.counts.voltage);
        gw_put16(to + 6, (uint16_t)one.counts.voltage_low);
        gw_put32(to + 8, (uint32_t)one.counts.power);
        gw_put16(to + 12, (uint16_t)one.counts.speed);
        gw_put16(to + 14, (uint16_t)one.counts.pulse);
        gw_send(&host.to_host, GW_SAMPLES, 5 + 16, SPARE);
    }
}

static void send_counters(void) {
    uint8_t held = board_hold_tick();
    bool due = stand.counters_due;
    stand.counters_due = false;
    if (!due) {
        board_release_tick(held);
        return;
    }
    uint8_t *body = gw_body(&host.to_host);
    body[GW_COUNTERS_AT_STATE] = stand.state;
    gw_put16(body + GW_COUNTERS_AT_LATCH, stand.latch);
    gw_put16(body + GW_COUNTERS_AT_EVENTS, stand.events);
    gw_put16(body + GW_COUNTERS_AT_THROTTLE, stand.setpoint);
    uint16_t lost = stand.lost;
    gw_put32(body + GW_COUNTERS_AT_TIME_US, board_now_us());
    board_release_tick(held);
    gw_put16(body + GW_COUNTERS_AT_BOOT, channels_boot());
    gw_put16(body + GW_COUNTERS_AT_RECEIVED, host.received);
    gw_put16(body + GW_COUNTERS_AT_DAMAGED,
             (uint16_t)(host.line.damaged + host.malformed));
    gw_put16(body + GW_COUNTERS_AT_IGNORED, host.ignored);
    gw_put16(body + GW_COUNTERS_AT_UNSENT, (uint16_t)(host.to_host.unsent + lost));
    gw_put16(body + GW_COUNTERS_AT_MISSED, host.missed);
    gw_send(&host.to_host, GW_COUNTERS, GW_COUNTERS_SIZE, 0);
}

static void send_identity(void) {
    uint8_t *body = gw_body(&host.to_host);
    body[GW_IDENTITY_AT_LINK_VERSION] = GW_LINK_VERSION;
    body[GW_IDENTITY_AT_FIRMWARE_MAJOR] = FIRMWARE_MAJOR;
    body[GW_IDENTITY_AT_FIRMWARE_MINOR] = FIRMWARE_MINOR;
    gw_put16(body + GW_IDENTITY_AT_BOOT, channels_boot());
    gw_put32(body + GW_IDENTITY_AT_STAND_ID, channels_stand_id());
    gw_put16(body + GW_IDENTITY_AT_ABILITIES,
             (uint16_t)(GW_ABILITY_LEASE | GW_ABILITY_LIMITS | GW_ABILITY_PROVE |
                        board_abilities));
    body[GW_IDENTITY_AT_CHANNEL_COUNT] = GW_CHANNELS;
    body[GW_IDENTITY_AT_STREAM_COUNT] = GW_STREAMS;
    memcpy(body + GW_IDENTITY_AT_BOARD, board_name, 16);
    gw_send(&host.to_host, GW_IDENTITY, GW_IDENTITY_SIZE, 0);
}

/* A page a time, when the line has room: they are more than it holds. */
static void send_page(void) {
    if (host.page == host.pages || board_room() < PAGE_ROOM) {
        return;
    }
    uint8_t page = host.page++;
    uint8_t *body = gw_body(&host.to_host);
    if (page == 0) {
        send_identity();
    } else if (page <= GW_CHANNELS) {
        uint8_t size = channels_page((uint8_t)(page - 1), body);
        gw_send(&host.to_host, GW_CHANNEL_PAGE, size, 0);
    } else {
        uint8_t size = channels_stream((uint8_t)(page - 1 - GW_CHANNELS), body);
        gw_send(&host.to_host, GW_STREAM_PAGE, size, 0);
    }
}

/* A block of a capture a time, when there is nothing else and the line has room. */
static void send_burst(void) {
    if (capture.phase == GW_CAPTURE_OVER && host.page == host.pages &&
        board_room() >= PAGE_ROOM) {
        uint8_t size = capture_block(gw_body(&host.to_host));
        gw_send(&host.to_host, GW_BURST, size, 0);
    }
}

/* ------------------------------------------------------------------ commands
 * All of them with no tick running: the state holds still while it is looked at. */

/* What is left of a lease that runs from what the host had seen; none where that
 * lies in the future. */
static int32_t lease_left_us(uint16_t lease_ms, uint32_t seen_us, uint32_t now_us) {
    uint32_t age_us = now_us - seen_us;
    if (age_us >= 0x80000000UL) {
        return 0;
    }
    uint32_t lease_us = lease_ms * 1000UL;
    return age_us >= lease_us ? 0 : (int32_t)(lease_us - age_us);
}

static bool lease_in_range(uint16_t lease_ms) {
    return lease_ms >= GW_LEASE_MIN_MS && lease_ms <= GW_LEASE_MAX_MS;
}

static uint8_t take_limits(const uint8_t *body, uint8_t size, uint32_t *value) {
    uint8_t verdict = limits_check(body, size);
    if (verdict == GW_VERDICT_MALFORMED) {
        return verdict;
    }
    bool may = stand.state == GW_STATE_LOCKED || stand.state == GW_STATE_PROVING ||
               stand.state == GW_STATE_ARMED;
    if (!may) {
        return GW_VERDICT_WRONG_STATE;
    }
    if (verdict == GW_VERDICT_DONE) {
        limits_take(body, size);
        *value = limits_crc();
    }
    return verdict;
}

/* The first reason against a grant, in the order of the link's page. */
static uint8_t may_grant(const uint8_t *body, bool proving, uint32_t now_us) {
    uint16_t nonce = gw_get16(body + GW_ARM_AT_NONCE);
    uint16_t lease_ms = gw_get16(body + GW_ARM_AT_LEASE_MS);
    if (stand.state != GW_STATE_LOCKED) {
        return GW_VERDICT_WRONG_STATE;
    }
    if (gw_get16(body + GW_ARM_AT_BOOT) != channels_boot()) {
        return GW_VERDICT_WRONG_BOOT;
    }
    if (!limits_taken()) {
        return GW_VERDICT_NO_LIMITS;
    }
    if (gw_get16(body + GW_ARM_AT_LIMITS_CRC) != limits_crc()) {
        return GW_VERDICT_WRONG_LIMITS;
    }
    if (nonce == 0 || nonce == stand.spent_nonce) {
        return GW_VERDICT_BAD_NONCE;
    }
    if (!lease_in_range(lease_ms)) {
        return GW_VERDICT_BAD_LEASE;
    }
    if (lease_left_us(lease_ms, gw_get32(body + GW_ARM_AT_SEEN_US), now_us) == 0) {
        return GW_VERDICT_STALE;
    }
    if (board_loop_open()) {
        return GW_VERDICT_STOP_LOOP_OPEN;
    }
    if (limits_silent(now_us)) {
        return GW_VERDICT_CHANNEL_SILENT;
    }
    if (limits_outside()) {
        return GW_VERDICT_LIMIT_EXCEEDED;
    }
    return proving && !supply_off(now_us) ? GW_VERDICT_SUPPLY_ON : GW_VERDICT_DONE;
}

static uint8_t grant(const uint8_t *body, bool proving, uint16_t sequence) {
    uint32_t now_us = board_now_us();
    uint8_t verdict = may_grant(body, proving, now_us);
    if (verdict == GW_VERDICT_DONE) {
        stand.nonce = stand.spent_nonce = gw_get16(body + GW_ARM_AT_NONCE);
        stand.throttle_sequence = sequence;
        stand.lease_end_us =
            now_us + (uint32_t)lease_left_us(gw_get16(body + GW_ARM_AT_LEASE_MS),
                                             gw_get32(body + GW_ARM_AT_SEEN_US), now_us);
        go(proving ? GW_MOVE_PROVE : GW_MOVE_ARM, 0, GW_NONE);
    }
    return verdict;
}

static void throttle(const uint8_t *body, uint8_t size, uint16_t sequence) {
    uint16_t setpoint = gw_get16(body + GW_THROTTLE_AT_SETPOINT);
    uint16_t lease_ms = gw_get16(body + GW_THROTTLE_AT_LEASE_MS);
    if (size != GW_THROTTLE_SIZE || setpoint > GW_THROTTLE_FULL ||
        !lease_in_range(lease_ms)) {
        host.malformed++;
        return;
    }
    host.received++;
    uint32_t now_us = board_now_us();
    uint16_t ahead = (uint16_t)(sequence - stand.throttle_sequence);
    int32_t left_us =
        lease_left_us(lease_ms, gw_get32(body + GW_THROTTLE_AT_SEEN_US), now_us);
    bool mine = gw_get16(body + GW_THROTTLE_AT_NONCE) == stand.nonce;
    if (!GW_MAY_DRIVE(stand.state) || !mine || ahead == 0 || ahead >= 0x8000 ||
        left_us == 0) {
        host.ignored++;
        return;
    }
    stand.throttle_sequence = sequence;
    stand.lease_end_us = now_us + (uint32_t)left_us;
    if (setpoint > 0) {
        set_throttle(setpoint);
        go(GW_MOVE_THROTTLE_UP, 0, GW_NONE);
    } else {
        go(GW_MOVE_THROTTLE_ZERO, 0, GW_NONE);
        set_throttle(0);
    }
}

static uint8_t acknowledge(const uint8_t *body) {
    if (stand.state != GW_STATE_TRIPPED) {
        return GW_VERDICT_WRONG_STATE;
    }
    if (gw_get16(body + GW_ACKNOWLEDGE_AT_BOOT) != channels_boot()) {
        return GW_VERDICT_WRONG_BOOT;
    }
    if (gw_get16(body + GW_ACKNOWLEDGE_AT_LATCH) != stand.latch) {
        return GW_VERDICT_WRONG_LATCH;
    }
    stand.latch = 0;
    go(GW_MOVE_ACKNOWLEDGE, 0, GW_NONE);
    return GW_VERDICT_DONE;
}

static uint8_t lock(const uint8_t *body) {
    if (stand.state == GW_STATE_TRIPPED) {
        return GW_VERDICT_WRONG_STATE;
    }
    if (gw_get16(body + GW_LOCK_AT_BOOT) != channels_boot()) {
        return GW_VERDICT_WRONG_BOOT;
    }
    go(GW_MOVE_LOCK, 0, GW_NONE);
    return GW_VERDICT_DONE;
}

static uint8_t answer(uint8_t type, const uint8_t *body, uint8_t size, uint16_t sequence,
                      uint32_t *value) {
    switch (type) {
    case GW_LIMITS:
        return take_limits(body, size, value);
    case GW_PROVE:
        return size == GW_PROVE_SIZE ? grant(body, true, sequence)
                                     : GW_VERDICT_MALFORMED;
    case GW_ARM:
        return size == GW_ARM_SIZE ? grant(body, false, sequence) : GW_VERDICT_MALFORMED;
    case GW_STOP: /* never malformed */
        go(GW_MOVE_STOP, 0, GW_NONE);
        return GW_VERDICT_DONE;
    case GW_ACKNOWLEDGE:
        return size == GW_ACKNOWLEDGE_SIZE ? acknowledge(body) : GW_VERDICT_MALFORMED;
    case GW_LOCK:
        return size == GW_LOCK_SIZE ? lock(body) : GW_VERDICT_MALFORMED;
    case GW_CAPTURE:
        return capture_command(body, size, board_now_us());
    case GW_WHO:
        return GW_VERDICT_MALFORMED; /* a good one is not answered here */
    default:
        return GW_VERDICT_UNKNOWN_COMMAND;
    }
}

static void reply(uint8_t type, uint16_t sequence, uint8_t verdict, uint32_t value) {
    uint8_t *body = gw_body(&host.to_host);
    body[GW_REPLY_AT_TO_TYPE] = type;
    gw_put16(body + GW_REPLY_AT_TO_SEQUENCE, sequence);
    body[GW_REPLY_AT_VERDICT] = verdict;
    gw_put32(body + GW_REPLY_AT_VALUE, value);
    gw_put32(body + GW_REPLY_AT_TIME_US, board_now_us());
    gw_send(&host.to_host, GW_REPLY, GW_REPLY_SIZE, 0);
}

static void obey(const uint8_t *payload, uint8_t payload_size) {
    uint8_t type = payload[0], size = (uint8_t)(payload_size - GW_HEAD_SIZE);
    uint16_t sequence = gw_get16(payload + 1);
    const uint8_t *body = payload + GW_HEAD_SIZE;
    if (type == GW_WHO && size == GW_WHO_SIZE) {
        host.received++;
        host.page = 0;
        host.pages = 1 + GW_CHANNELS + GW_STREAMS;
        return;
    }
    uint8_t held = board_hold_tick();
    if (type == GW_THROTTLE) {
        throttle(body, size, sequence);
        board_release_tick(held);
        return;
    }
    uint32_t value = 0;
    uint8_t verdict = answer(type, body, size, sequence, &value);
    board_release_tick(held);
    if (verdict == GW_VERDICT_MALFORMED) {
        host.malformed++;
    } else {
        host.received++;
    }
    send_frames();
    send_events(); /* what the command brought about goes before its reply */
    reply(type, sequence, verdict, value);
}

/* ------------------------------------------------------------------ outside */

void stand_start(uint8_t cause) {
    memset(&stand, 0, sizeof stand);
    memset(&host, 0, sizeof host);
    channels_start();
    readings_start();
    limits_start();
    capture_start();
    host.thrust_us = board_now_us();
    stand.state = GW_STATE_LOCKED;
    set_throttle(0);
    board_send(0); /* ends a frame that the reset may have cut */
    tell(cause, GW_NONE, 0);
}

void stand_poll(void) {
    for (uint8_t i = 0; i < GW_BYTES_A_POLL && board_room() >= COMMAND_ROOM; i++) {
        int16_t byte = board_receive();
        if (byte < 0) {
            break;
        }
        uint8_t size = gw_receive(&host.line, (uint8_t)byte);
        if (size > 0) {
            obey(host.line.bytes, size);
        }
    }
    look_for_thrust();
    send_frames(); /* first: what an event tells of was read before it */
    send_events();
    send_counters();
    send_page();
    send_burst();
}
