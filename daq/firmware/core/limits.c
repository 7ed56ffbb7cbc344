#include "limits.h"

#define WIDE 0x80
#define NARROW_SIZE 7
#define WIDE_SIZE 11
#define AGE_US 10000UL /* a unit of an entry's greatest age */
#define FORGOTTEN_US 4000000UL

typedef struct {
    int32_t low, high;
    uint8_t channel, persistence, max_age_10ms;
    uint8_t outside; /* readings in a row, up to 255 */
} entry;

static struct {
    entry set[GW_LIMITS_MOST];
    uint8_t count;
    bool taken;
    uint16_t crc;
    int32_t newest[GW_CHANNELS];
    uint32_t at_us[GW_CHANNELS];
    bool heard[GW_CHANNELS];
    uint8_t forgetting;
} is;

void limits_start(void) {
    is.count = 0;
    is.taken = false;
    for (uint8_t i = 0; i < GW_CHANNELS; i++) {
        is.heard[i] = false;
        is.newest[i] = 0;
    }
}

/* One entry, and its size; 0 where it is cut short. */
static uint8_t read_entry(const uint8_t *from, uint8_t left, entry *to) {
    bool wide = left > 0 && (from[0] & WIDE) != 0;
    uint8_t size = wide ? WIDE_SIZE : NARROW_SIZE;
    if (left < size) {
        return 0;
    }
    to->channel = from[0] & (uint8_t)~WIDE;
    to->low = wide ? (int32_t)gw_get32(from + 1) : (int16_t)gw_get16(from + 1);
    to->high = wide ? (int32_t)gw_get32(from + 5) : (int16_t)gw_get16(from + 3);
    to->persistence = from[size - 2];
    to->max_age_10ms = from[size - 1];
    to->outside = 0;
    return size;
}

uint8_t limits_check(const uint8_t *body, uint8_t size) {
    uint8_t count = 0, at = 1;
    bool exist = true;
    entry one;
    while (at < size) {
        uint8_t taken = read_entry(body + at, (uint8_t)(size - at), &one);
        if (taken == 0 || one.low > one.high || one.persistence == 0 ||
            one.max_age_10ms == 0 || one.channel >= GW_MAX_CHANNELS) {
            return GW_VERDICT_MALFORMED;
        }
        exist = exist && one.channel < GW_CHANNELS;
        at = (uint8_t)(at + taken);
        count++;
    }
    if (size == 0 || body[0] != count) {
        return GW_VERDICT_MALFORMED;
    }
    return count == 0 ? GW_VERDICT_NO_LIMITS
           : exist    ? GW_VERDICT_DONE
                      : GW_VERDICT_BAD_LIMITS;
}

static void judge(entry *one, int32_t count) {
    if (count >= one->low && count <= one->high) {
        one->outside = 0;
    } else if (one->outside < UINT8_MAX) {
        one->outside++;
    }
}

void limits_take(const uint8_t *body, uint8_t size) {
    uint8_t at = 1;
    is.crc = GW_CRC_START;
    for (uint8_t i = 0; i < size; i++) {
        is.crc = gw_crc16_add(is.crc, body[i]);
    }
    for (is.count = 0; at < size && is.count < GW_LIMITS_MOST; is.count++) {
        entry *one = &is.set[is.count];
        at = (uint8_t)(at + read_entry(body + at, (uint8_t)(size - at), one));
        if (is.heard[one->channel]) {
            judge(one, is.newest[one->channel]);
        }
    }
    is.taken = true;
}

bool limits_taken(void) { return is.taken; }

uint16_t limits_crc(void) { return is.crc; }

void limits_reading(uint8_t channel, int32_t count, uint32_t now_us) {
    bool wide = channels_width(channel) == 4;
    if (count == (wide ? GW_NO_READING_32 : GW_NO_READING_16)) {
        return; /* the one before goes on ageing */
    }
    is.newest[channel] = count;
    is.at_us[channel] = now_us;
    is.heard[channel] = true;
    for (uint8_t i = 0; i < is.count; i++) {
        if (is.set[i].channel == channel) {
            judge(&is.set[i], count);
        }
    }
}

bool limits_heard(uint8_t channel, uint32_t now_us, uint32_t age_us) {
    return is.heard[channel] && now_us - is.at_us[channel] <= age_us;
}

int32_t limits_newest(uint8_t channel) { return is.newest[channel]; }

void limits_forget(uint32_t now_us) {
    is.forgetting = (uint8_t)((is.forgetting + 1) % GW_CHANNELS);
    if (!limits_heard(is.forgetting, now_us, FORGOTTEN_US)) {
        is.heard[is.forgetting] = false; /* else it were new again in 71 minutes */
    }
}

static bool silent(const entry *one, uint32_t now_us) {
    return !limits_heard(one->channel, now_us, one->max_age_10ms * AGE_US);
}

uint8_t limits_tripped(uint32_t now_us, uint8_t *cause) {
    for (uint8_t i = 0; i < is.count; i++) {
        if (is.set[i].outside >= is.set[i].persistence) {
            *cause = GW_CAUSE_LIMIT;
            return i;
        }
        if (silent(&is.set[i], now_us)) {
            *cause = GW_CAUSE_CHANNEL_SILENT;
            return i;
        }
    }
    return GW_NONE;
}

uint8_t limits_channel(uint8_t limit) { return is.set[limit].channel; }

bool limits_silent(uint32_t now_us) {
    for (uint8_t i = 0; i < is.count; i++) {
        if (silent(&is.set[i], now_us)) {
            return true;
        }
    }
    return false;
}

bool limits_outside(void) {
    for (uint8_t i = 0; i < is.count; i++) {
        if (is.set[i].outside > 0) {
            return true;
        }
    }
    return false;
}
