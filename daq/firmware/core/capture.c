#include "capture.h"

#include "board.h"
#include "channels.h"
#include "frame.h"

/* A sample of a byte is four neighbouring steps of the converter: their middle. */
#define STEP (4 * GW_ADC_STEPS)
#define BASE (3 * GW_ADC_STEPS / 2)
#define TAKING_MS 200 /* far more than a ring of samples needs */

gw_capture capture;

static struct {
    uint32_t period_ns, end_us;
    uint16_t total, before, sent;
    uint8_t number, channel, taking_ms;
} asked;

void capture_start(void) { capture.phase = GW_CAPTURE_NONE; }

/* The lowest sample that is at or above a level: one more than the highest where none
 * is. Falling, the highest one at or below it, counted from the top. */
static uint8_t level_of(int32_t level, bool falling) {
    const int32_t top = BASE + (int32_t)STEP * GW_SAMPLE_TOP;
    if (falling) {
        level = level < 0 ? -1 : level > top ? top : level;
        level = level < BASE ? -1 : (level - BASE) / STEP;
        return (uint8_t)(GW_SAMPLE_TOP - level);
    }
    level = level > top + 1 ? top + 1 : level;
    level = level <= BASE ? 0 : (level - BASE + STEP - 1) / STEP;
    return (uint8_t)level;
}

static bool well_formed(const uint8_t *body, uint8_t size) {
    if (size != GW_CAPTURE_SIZE) {
        return false;
    }
    uint16_t patience_ms = gw_get16(body + GW_CAPTURE_AT_PATIENCE_MS);
    uint8_t trigger = body[GW_CAPTURE_AT_TRIGGER];
    return gw_get16(body + GW_CAPTURE_AT_BEFORE) < gw_get16(body + GW_CAPTURE_AT_COUNT) &&
           trigger >= GW_TRIGGER_AT_ONCE && trigger <= GW_TRIGGER_FALLING &&
           patience_ms >= 1 && patience_ms <= GW_PATIENCE_MAX_MS;
}

static void begin(const uint8_t *body, uint32_t period_ns, uint32_t now_us) {
    uint16_t count = gw_get16(body + GW_CAPTURE_AT_COUNT);
    uint16_t before = gw_get16(body + GW_CAPTURE_AT_BEFORE);
    if (count > GW_RING) { /* the ring takes a part, in the same proportion */
        before = (uint16_t)((uint32_t)before * GW_RING / count);
        count = GW_RING;
    }
    uint8_t trigger = body[GW_CAPTURE_AT_TRIGGER];
    uint8_t level = level_of((int32_t)gw_get32(body + GW_CAPTURE_AT_LEVEL),
                             trigger == GW_TRIGGER_FALLING);
    uint8_t held = board_hold_all();
    asked.number = body[GW_CAPTURE_AT_NUMBER];
    asked.channel = body[GW_CAPTURE_AT_CHANNEL];
    asked.period_ns = period_ns;
    asked.end_us = now_us + (uint32_t)1000 * gw_get16(body + GW_CAPTURE_AT_PATIENCE_MS);
    asked.total = count;
    asked.before = before;
    asked.sent = 0;
    asked.taking_ms = 0;
    capture.trigger = trigger;
    capture.level = level;
    capture.below = false;
    capture.at = 0;
    capture.left = (uint8_t)before;
    capture.after = (uint8_t)(count - before - 1);
    capture.phase = GW_CAPTURE_WAITS;
    board_capture(asked.channel, period_ns);
    board_release_all(held);
}

uint8_t capture_command(const uint8_t *body, uint8_t size, uint32_t now_us) {
    if (!(board_abilities & GW_ABILITY_CAPTURE)) {
        return GW_VERDICT_UNKNOWN_COMMAND;
    }
    if (!well_formed(body, size)) {
        return GW_VERDICT_MALFORMED;
    }
    if (gw_get16(body + GW_CAPTURE_AT_BOOT) != channels_boot()) {
        return GW_VERDICT_WRONG_BOOT;
    }
    uint32_t period_ns = board_capture_period(body[GW_CAPTURE_AT_CHANNEL],
                                              gw_get32(body + GW_CAPTURE_AT_PERIOD_NS));
    if (period_ns == 0) {
        return GW_VERDICT_CANNOT_CAPTURE;
    }
    begin(body, period_ns, now_us);
    return GW_VERDICT_DONE;
}

void capture_tick(uint32_t now_us) {
    uint8_t held = board_hold_all();
    bool waits = capture.phase == GW_CAPTURE_WAITS;
    bool takes = capture.phase == GW_CAPTURE_TAKES;
    if ((waits && (int32_t)(now_us - asked.end_us) >= 0) ||
        (takes && ++asked.taking_ms > TAKING_MS)) { /* the converter stopped */
        asked.total = 0;
        capture.time_us = now_us;
        capture.phase = GW_CAPTURE_OVER;
    }
    board_release_all(held);
}

uint8_t capture_block(uint8_t *body) {
    uint16_t left = (uint16_t)(asked.total - asked.sent);
    uint8_t count = (uint8_t)(left > GW_BURST_MOST ? GW_BURST_MOST : left);
    body[GW_BURST_AT_NUMBER] = asked.number;
    body[GW_BURST_AT_CHANNEL] = asked.channel;
    gw_put16(body + GW_BURST_AT_FIRST, asked.sent);
    gw_put16(body + GW_BURST_AT_TOTAL, asked.total);
    gw_put16(body + GW_BURST_AT_TRIGGER, asked.total > 0 ? asked.before : 0);
    gw_put32(body + GW_BURST_AT_TIME_US, capture.time_us);
    gw_put32(body + GW_BURST_AT_PERIOD_NS, asked.period_ns);
    gw_put32(body + GW_BURST_AT_BASE, BASE);
    gw_put16(body + GW_BURST_AT_STEP, STEP);
    uint8_t from = (uint8_t)(capture.at - asked.total + asked.sent);
    for (uint8_t i = 0; i < count; i++) {
        body[GW_BURST_SIZE + i] = capture.ring[(uint8_t)(from + i)];
    }
    asked.sent = (uint16_t)(asked.sent + count);
    if (asked.sent == asked.total) {
        capture.phase = GW_CAPTURE_NONE;
    }
    return (uint8_t)(GW_BURST_SIZE + count);
}
