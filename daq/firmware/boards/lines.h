/* How a firmware in step with a test hears and answers: lines, a semicolon between two
 * commands, and `done` with the time after each line. Host build and emulated chip. */
#ifndef GW_LINES_H
#define GW_LINES_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static inline void say_sent(const uint8_t *bytes, size_t count) {
    if (count == 0) {
        return;
    }
    printf("tx ");
    for (size_t i = 0; i < count; i++) {
        printf("%02x", bytes[i]);
    }
    putchar('\n');
}

static inline void say_pulse(uint64_t at_us, uint16_t width_half_us) {
    printf("pulse %llu %u\n", (unsigned long long)at_us, width_half_us);
}

static inline void say_reset(void) { puts("reset"); }

/* Bytes from pairs of digits, spaces before them, up to the first that is none. */
static inline size_t read_hex(const char *digits, uint8_t *to, size_t most) {
    size_t count = 0;
    unsigned byte;
    int taken;
    while (count < most && sscanf(digits, "%2x%n", &byte, &taken) == 1) {
        to[count++] = (uint8_t)byte;
        digits += taken;
    }
    return count;
}

/* What is added to an input for a while: it grows to `steps` from `at_us` on, for
 * `rise_us`, stays for `hold_us`, and is gone. */
typedef struct {
    double at_us, rise_us, hold_us, steps;
} wave;

/* `AT RISE HOLD STEPS`, after the word and the input's name. */
static inline wave read_wave(char *rest) {
    wave one = {0};
    one.at_us = strtod(rest, &rest);
    one.rise_us = strtod(rest, &rest);
    one.hold_us = strtod(rest, &rest);
    one.steps = strtod(rest, &rest);
    return one;
}

static inline double wave_at(const wave *one, double now_us) {
    double since_us = now_us - one->at_us;
    if (since_us < 0 || since_us >= one->rise_us + one->hold_us) {
        return 0;
    }
    return since_us < one->rise_us ? one->steps * since_us / one->rise_us : one->steps;
}

/* What a converter of 10 bits makes of it. */
static inline int converted(double steps) {
    return steps <= 0 ? 0 : steps >= 1023 ? 1023 : (int)steps;
}

/* Until the input ends. */
static inline void serve_lines(char *line, int size, void (*obey)(char *command),
                               double (*now_us)(void)) {
    while (fgets(line, size, stdin)) {
        char *next = line;
        while (next) {
            char *command = next + strspn(next, " ");
            next = strchr(command, ';');
            if (next) {
                *next++ = 0;
            }
            obey(command);
        }
        printf("done %.3f\n", now_us());
        fflush(stdout);
    }
}

#endif
