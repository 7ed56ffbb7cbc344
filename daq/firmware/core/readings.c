#include "readings.h"

#include "board.h"
#include "channels.h"

#define STANDS_HALF_US ((uint32_t)400000)
#define PULSES_MISSING 4 /* intervals: a pulse comes in four of five */
#define HALF_US_PER_S 2000000UL
#define SPEED_COUNTS_PER_TURN 12.5663706f /* 2 counts a rad/s, 2 pi a turn */

/* Fed by interrupts; taken away whole by `readings_collect`. */
static volatile struct {
    uint16_t current_sum, voltage_sum, current_high, voltage_low;
    uint8_t currents, voltages;
    uint32_t products; /* of neighbours: each current with the voltage after it */
    uint16_t last_current;
    uint8_t pairs;
    uint8_t edges;
    uint32_t edge_half_us; /* of the newest */
    uint16_t pulse_half_us;
} fed;

static struct {
    uint32_t per_edge; /* counts times half microseconds an edge */
    uint32_t edge_half_us;
    bool turned; /* `edge_half_us` holds an edge */
    int16_t counts;
} turns;

static struct {
    int16_t newest;
    uint8_t missing; /* intervals without one, up to PULSES_MISSING */
} pulses;

static void clear(void) {
    fed.current_sum = fed.voltage_sum = fed.current_high = 0;
    fed.voltage_low = UINT16_MAX;
    fed.currents = fed.voltages = fed.pairs = fed.edges = 0;
    fed.products = 0;
    fed.pulse_half_us = 0;
}

void readings_start(void) {
    clear();
    turns.per_edge = (uint32_t)(SPEED_COUNTS_PER_TURN * (float)HALF_US_PER_S /
                                (float)channels_pulses_per_turn());
    turns.turned = false;
    turns.counts = 0;
    pulses.missing = PULSES_MISSING;
}

/* The sums hold 64 readings of 1023; a tick that is that late takes what there is. */
#define MOST 60

void readings_current(uint16_t raw) {
    fed.last_current = raw;
    if (fed.currents < MOST) {
        fed.current_sum += raw;
        fed.currents++;
    }
    if (raw > fed.current_high) {
        fed.current_high = raw;
    }
}

void readings_voltage(uint16_t raw) {
    if (fed.voltages < MOST) {
        fed.voltage_sum += raw;
        fed.voltages++;
    }
    if (raw < fed.voltage_low) {
        fed.voltage_low = raw;
    }
    if (fed.currents > 0 && fed.pairs < MOST) {
        fed.products += (uint32_t)fed.last_current * raw;
        fed.pairs++;
    }
}

void readings_edge(uint32_t at_half_us) {
    fed.edge_half_us = at_half_us;
    if (fed.edges < UINT8_MAX) {
        fed.edges++;
    }
}

void readings_pulse(uint16_t width_half_us) { fed.pulse_half_us = width_half_us; }

static int16_t mean(uint16_t sum, uint8_t count) {
    if (count == 0) {
        return GW_NO_READING_16;
    }
    uint32_t steps = (uint32_t)sum * GW_ADC_STEPS + count / 2;
    return (int16_t)(steps / count);
}

static int16_t turning(uint8_t edges, uint32_t took_half_us) {
    float counts = (float)turns.per_edge * edges / (float)took_half_us + 0.5f;
    return counts > INT16_MAX ? INT16_MAX : (int16_t)counts;
}

/* Speed over the newest whole periods. Between two pulses it stays; once one is
 * overdue it is at most what that long a wait allows; after 200 ms nothing turns. */
static int16_t speed(uint8_t edges, uint32_t edge_half_us, uint32_t now_half_us) {
    if (edges > 0) {
        uint32_t took = edge_half_us - turns.edge_half_us;
        if (turns.turned && took > 0) {
            turns.counts = turning(edges, took);
        }
        turns.edge_half_us = edge_half_us;
        turns.turned = true;
        return turns.counts;
    }
    uint32_t waited = now_half_us - turns.edge_half_us;
    if (!turns.turned || waited >= STANDS_HALF_US) {
        turns.turned = false;
        turns.counts = 0;
    } else if (waited > 0) {
        int16_t most = turning(1, waited);
        turns.counts = most < turns.counts ? most : turns.counts;
    }
    return turns.counts;
}

/* The newest pulse; none once a few are missing. */
static int16_t pulse(uint16_t width_half_us) {
    if (width_half_us > 0) {
        pulses.newest = (int16_t)width_half_us;
        pulses.missing = 0;
    } else if (pulses.missing < PULSES_MISSING) {
        pulses.missing++;
    }
    return pulses.missing < PULSES_MISSING ? pulses.newest : GW_NO_READING_16;
}

/* The mean product of what lies above the nominal zeros, from the plain sums. */
static int32_t power(uint32_t products, uint8_t pairs, int16_t current, int16_t voltage) {
    if (pairs == 0 || current == GW_NO_READING_16 || voltage == GW_NO_READING_16) {
        return GW_NO_READING_32;
    }
    int32_t zero_i = channels_zero(GW_CURRENT), zero_v = channels_zero(GW_VOLTAGE);
    int32_t product = (int32_t)(products / pairs);
    return product - (zero_i * voltage + zero_v * current - zero_i * zero_v) /
                         (GW_ADC_STEPS * GW_ADC_STEPS);
}

void readings_collect(gw_fast *fast, uint32_t now_us) {
    uint8_t held = board_hold_all();
    uint16_t current_sum = fed.current_sum, voltage_sum = fed.voltage_sum;
    uint16_t high = fed.current_high, low = fed.voltage_low;
    uint8_t currents = fed.currents, voltages = fed.voltages;
    uint8_t pairs = fed.pairs, edges = fed.edges;
    uint32_t products = fed.products, edge_half_us = fed.edge_half_us;
    uint16_t pulse_half_us = fed.pulse_half_us;
    clear();
    board_release_all(held);
    fast->current = mean(current_sum, currents);
    fast->current_high =
        currents == 0 ? GW_NO_READING_16 : (int16_t)(high * GW_ADC_STEPS);
    fast->voltage = mean(voltage_sum, voltages);
    fast->voltage_low =
        voltages == 0 ? GW_NO_READING_16 : (int16_t)(low * GW_ADC_STEPS);
    fast->power = power(products, pairs, fast->current, fast->voltage);
    fast->speed = speed(edges, edge_half_us, 2 * now_us);
    fast->pulse = pulse(pulse_half_us);
}
