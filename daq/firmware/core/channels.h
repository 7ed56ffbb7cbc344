/* The channels and streams of this firmware, and the constants of a specimen. */
#ifndef GW_CHANNELS_H
#define GW_CHANNELS_H

#include <stdbool.h>
#include <stdint.h>

enum {
    GW_CURRENT,
    GW_CURRENT_HIGH,
    GW_VOLTAGE,
    GW_VOLTAGE_LOW,
    GW_POWER,
    GW_SPEED,
    GW_PULSE,
    GW_REST_OF_FAST, /* what the fast stream carries ends here */
    GW_THRUST = GW_REST_OF_FAST,
    GW_REFERENCE,
    GW_CHANNELS,
};

enum { GW_FAST_STREAM, GW_SCALE_STREAM, GW_SLOW_STREAM, GW_STREAMS };

/* A slow line does not carry 500 frames of 28 bytes a second. */
#if defined(GW_BAUD) && GW_BAUD < 200000
#define GW_FAST_MS 5
#else
#define GW_FAST_MS 2
#endif
#define GW_SCALE_US 12500UL /* a converter of 80 readings a second */
#define GW_SLOW_MS 100

/* Fixed point: what comes from the 10-bit converter carries 4 more bits, the means
 * of ten readings. A converter at its upper end has lost its measure, so the count
 * of that end lies outside the range: whatever a limit is, it violates it. */
#define GW_ADC_STEPS 16
#define GW_ADC_TOP (1023 * GW_ADC_STEPS)

/* The two lowest counts of their widths: no reading. */
#define GW_NO_READING_16 INT16_MIN
#define GW_NO_READING_32 INT32_MIN

/* What differs from one stand to the next. */
typedef struct {
    float counts_per_unit;
    int32_t zero_counts;
    uint32_t gain_u_ppm;
} gw_scale;

/* Reads the constants kept on the board, or takes the nominal ones where there are
 * none that can be trusted. To be called before anything else here. */
void channels_start(void);

/* The body of a channel's page, and of a stream's; its size. */
uint8_t channels_page(uint8_t channel, uint8_t *body);
uint8_t channels_stream(uint8_t stream, uint8_t *body);

/* Width of a count on the wire, 2 or 4. */
uint8_t channels_width(uint8_t channel);

/* The lowest count of `voltage` that is 1 V or more: below it the supply is off. */
int16_t channels_supply_on(void);

/* Nominal counts at zero, for the product of current and voltage. */
int16_t channels_zero(uint8_t channel);

/* Pulses that the sensor of revolutions gives a turn. */
uint8_t channels_pulses_per_turn(void);

uint32_t channels_stand_id(void);

/* This start's number; kept, and one more than at the start before. */
uint16_t channels_boot(void);

#endif
