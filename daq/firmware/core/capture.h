/* A fast capture: a ring of one-byte samples that a board fills around a trigger.
 *
 * The ring is the whole of it: as long as it is filled, the board goes on feeding
 * `readings.h`, so that telemetry and limits are as they were. */
#ifndef GW_CAPTURE_H
#define GW_CAPTURE_H

#include <stdbool.h>
#include <stdint.h>

#include "wire.h"

#define GW_RING 256 /* so that its index wraps by itself */
#define GW_SAMPLE_TOP (GW_NO_SAMPLE - 1)
/* For interrupts: also where the compiler is told to save room. */
#define GW_ALWAYS static inline __attribute__((always_inline))

enum {
    GW_CAPTURE_NONE,
    GW_CAPTURE_OVER, /* to be sent */
    GW_CAPTURE_WAITS,
    GW_CAPTURE_TAKES,
};

/* Filled by an interrupt while it waits or takes, else of the main loop; what the two
 * share is changed with no interrupt running. */
typedef struct {
    uint8_t ring[GW_RING];
    uint8_t at;           /* where the next sample goes */
    uint8_t phase;
    uint8_t left;         /* samples until the trigger is looked for, or until the end */
    uint8_t trigger;      /* its kind */
    uint8_t level;        /* of a sample; of GW_SAMPLE_TOP less a sample when falling */
    uint8_t below;        /* whether the reading before was below it */
    uint8_t after;        /* samples that follow the one that triggered */
    uint32_t time_us;     /* when it triggered: set by the board */
} gw_capture;

extern gw_capture capture;

/* Whether the board shall go on sampling. */
GW_ALWAYS bool capture_wants(void) { return capture.phase > GW_CAPTURE_OVER; }

GW_ALWAYS bool capture_triggers(uint8_t sample) {
    bool looks = capture.left == 0;
    if (!looks) {
        capture.left--;
    } else if (capture.trigger == GW_TRIGGER_AT_ONCE) {
        return true;
    }
    if (sample == GW_NO_SAMPLE) {
        return false;
    }
    bool was_below = capture.below;
    if (capture.trigger == GW_TRIGGER_FALLING) {
        sample = (uint8_t)(GW_SAMPLE_TOP - sample);
    }
    capture.below = sample < capture.level;
    return looks && was_below && !capture.below;
}

/* From the converter's interrupt, while it is wanted: the next sample, GW_NO_SAMPLE
 * where there is none. Whether it is the one that triggered: then the board sets
 * `time_us`. Inline, since it runs in each conversion. */
GW_ALWAYS bool capture_take(uint8_t sample) {
    capture.ring[capture.at++] = sample;
    if (capture.phase == GW_CAPTURE_TAKES) {
        if (--capture.left == 0) {
            capture.phase = GW_CAPTURE_OVER;
        }
        return false;
    }
    if (!capture_triggers(sample)) {
        return false;
    }
    capture.left = capture.after;
    capture.phase = capture.left > 0 ? GW_CAPTURE_TAKES : GW_CAPTURE_OVER;
    return true;
}

/* For a board that fills the ring itself for a while. How many samples it may put there
 * before `capture_take` has to see one; and whether each has to be looked at for the
 * trigger, as `capture_triggers` does: that one is for `capture_take`. */
GW_ALWAYS bool capture_looks(void) {
    return capture.phase == GW_CAPTURE_WAITS && capture.left == 0;
}

GW_ALWAYS uint8_t capture_free(void) {
    if (capture_looks()) {
        return capture.trigger == GW_TRIGGER_AT_ONCE ? 0 : UINT8_MAX;
    }
    return capture.phase == GW_CAPTURE_TAKES ? (uint8_t)(capture.left - 1) : capture.left;
}

/* So many samples, none of them GW_NO_SAMPLE, it has put there. */
GW_ALWAYS void capture_went(uint8_t samples) {
    if (samples == 0 || !capture_wants()) {
        return;
    }
    if (!capture_looks()) {
        capture.left = (uint8_t)(capture.left - samples);
    }
    uint8_t last = capture.ring[(uint8_t)(capture.at - 1)];
    if (capture.trigger == GW_TRIGGER_FALLING) {
        last = (uint8_t)(GW_SAMPLE_TOP - last);
    }
    capture.below = last < capture.level;
}

void capture_start(void);

/* From the main loop, with no tick running: a command; its verdict. */
uint8_t capture_command(const uint8_t *body, uint8_t size, uint32_t now_us);

/* From the tick, while the board goes on sampling: what waits too long, or never ends,
 * is over. */
void capture_tick(uint32_t now_us);

/* From the main loop, when it is over: the body of the next block, and its size. */
uint8_t capture_block(uint8_t *body);

#endif
