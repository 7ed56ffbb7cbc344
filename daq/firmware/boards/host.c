/* The core on this computer, in a time of its own that only `run` moves.
 *
 * For tests: the same core as on a chip, without its registers, and with a line that
 * takes no time. It reads lines of commands, a semicolon between two, and answers each
 * line; the emulated chip (emulator/bench.c) speaks the same words.
 *
 *   rx HEX          bytes on their way to the stand
 *   run US          let so much time pass (whole half milliseconds)
 *   current STEPS   what the converter reads, 0 to 1023; -1: it reads nothing
 *   voltage STEPS
 *   noise STEPS     so much, drawn anew each time, on top of the current, and
 *                 a hundred times that on the load cell
 *   cell COUNT      the load cell's converter; `cell off`: it never answers
 *   cell-us US      time between two of its readings (12500 at the start)
 *   turns HALF_US   time between two pulses of the revolutions; 0: it stands
 *   loop 0|1        closed, open
 *   readback 0|1    whether the second pin sees the pulse
 *   hang 0|1        whether the main loop hangs
 *   reset CAUSE     start again, for that cause
 *   clock US        what its clock says at the next start
 *   wave current|voltage AT RISE HOLD STEPS
 *                 from then on (time since power on, all in microseconds) so much on
 *                 top, growing for RISE, staying for HOLD, then gone; 1 at a time
 *   kept AT HEX     what its kept memory holds there, for the next start
 *
 * Answers, before `done US` (time since power on):
 *
 *   tx HEX          bytes from the stand
 *   pulse US HALF   a servo pulse began, so wide in half microseconds
 *   reset           it started again by itself
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lines.h"

#include "board.h"
#include "capture.h"
#include "channels.h"
#include "readings.h"
#include "stand.h"
#include "wire.h"

#define STEP_US 500
#define SERVO_US 2500
#define WATCHDOG_US 250000 /* as on the chip, nearly */
#define LINE_SIZE 20000
#define KEPT_SIZE 256
#define SENT_SIZE 256

const char board_name[17] = "host build";
const uint16_t board_abilities =
    GW_ABILITY_STOP_LOOP | GW_ABILITY_PULSE_READBACK | GW_ABILITY_WATCHDOG |
    GW_ABILITY_CAPTURE;

static struct {
    uint64_t now_us, polled_us, start_us, clock_us;
    int current, voltage, noise;
    wave waves[2]; /* on current and voltage */
    uint64_t sample_ns; /* when the next sample of a capture is due */
    uint32_t period_ns;
    uint8_t captured, slot;
    uint32_t drawn;
    bool cell_on, readback, hangs, loop_open;
    int32_t cell;
    uint32_t cell_us;
    uint32_t turn_half_us;
    uint64_t next_edge_half_us;
    uint16_t pulse_half_us, on_pin_half_us;
    uint8_t kept[KEPT_SIZE];
    uint8_t came[LINE_SIZE];
    size_t came_from, came_to;
    uint8_t sent[SENT_SIZE];
    size_t sent_count;
} world = {.cell_on = true, .cell_us = 12500, .readback = true};

uint32_t board_now_us(void) { return (uint32_t)(world.now_us - world.start_us); }

void board_set_pulse(uint16_t width_half_us) { world.pulse_half_us = width_half_us; }

bool board_loop_open(void) { return world.loop_open; }

uint8_t board_hold_tick(void) { return 0; }

void board_release_tick(uint8_t held) { (void)held; }

uint8_t board_hold_all(void) { return 0; }

void board_release_all(uint8_t held) { (void)held; }

int16_t board_receive(void) {
    return world.came_from < world.came_to ? world.came[world.came_from++] : -1;
}

uint8_t board_room(void) {
    size_t room = SENT_SIZE - world.sent_count;
    return room > UINT8_MAX ? UINT8_MAX : (uint8_t)room;
}

void board_send(uint8_t byte) {
    if (world.sent_count == SENT_SIZE) {
        abort(); /* the core sent more than there was room for */
    }
    world.sent[world.sent_count++] = byte;
}

void board_read_kept(uint16_t address, void *to, uint8_t size) {
    if (address + size > KEPT_SIZE) {
        abort();
    }
    memcpy(to, world.kept + address, size);
}

void board_write_kept(uint16_t address, const void *from, uint8_t size) {
    if (address + size > KEPT_SIZE) {
        abort();
    }
    memcpy(world.kept + address, from, size);
}

uint32_t board_chance(void) { return 0x407E51; }

static void start(uint8_t cause) {
    world.polled_us = world.now_us;
    world.start_us = world.now_us - world.clock_us;
    world.came_from = world.came_to = world.sent_count = 0;
    stand_start(cause);
}

/* A draw of the usual linear congruence (Numerical Recipes, from memory). */
static int noise(void) {
    world.drawn = world.drawn * 1664525U + 1013904223U;
    return (int)((world.drawn >> 16) % (unsigned)(world.noise + 1));
}

static uint16_t reading(bool of_voltage, double now_us) {
    int steps = of_voltage ? world.voltage : world.current + noise();
    return (uint16_t)converted(steps + wave_at(&world.waves[of_voltage], now_us));
}

uint32_t board_capture_period(uint8_t channel, uint32_t asked_ns) {
    if (channel != GW_CURRENT && channel != GW_VOLTAGE) {
        return 0;
    }
    return asked_ns < 39000 ? 26000 : asked_ns < 78000 ? 52000 : 104000;
}

void board_capture(uint8_t channel, uint32_t period_ns) {
    world.captured = channel;
    world.period_ns = period_ns;
    world.sample_ns = 1000 * world.now_us + period_ns;
    world.slot = 0;
}

/* The samples since the last step; one in 16 is none, as where a converter turns to the
 * other channel. */
static void fill_ring(void) {
    bool of_voltage = world.captured == GW_VOLTAGE;
    bool reads = world.current >= 0 && world.voltage >= 0;
    for (; world.sample_ns <= 1000 * world.now_us; world.sample_ns += world.period_ns) {
        uint8_t sample = GW_NO_SAMPLE;
        if (world.slot++ % 16 != 15) {
            double at_us = (double)world.sample_ns / 1000;
            sample = (uint8_t)(reading(of_voltage, at_us) >> 2);
            sample = sample > GW_SAMPLE_TOP ? GW_SAMPLE_TOP : sample;
        }
        if (reads && capture_wants() && capture_take(sample)) {
            capture.time_us = (uint32_t)(world.sample_ns / 1000 - world.start_us);
        }
    }
}

static void sense(void) {
    double now_us = (double)world.now_us;
    if (capture_wants()) {
        fill_ring();
    }
    for (int i = 0; i < 3; i++) { /* 9.6 readings of each in 2 ms on the chip */
        if (world.current >= 0) {
            readings_current(reading(false, now_us));
        }
        if (world.voltage >= 0) {
            readings_voltage(reading(true, now_us));
        }
    }
    while (world.turn_half_us && world.next_edge_half_us <= 2 * world.now_us) {
        readings_edge((uint32_t)(world.next_edge_half_us - 2 * world.start_us));
        world.next_edge_half_us += world.turn_half_us;
    }
    uint64_t in_frame_half_us = 2 * (world.now_us % SERVO_US);
    uint64_t before = in_frame_half_us - 2 * STEP_US;
    if (world.readback && in_frame_half_us >= world.on_pin_half_us &&
        before < world.on_pin_half_us) {
        readings_pulse(world.on_pin_half_us);
    }
}

static void main_loop(void) {
    if (world.hangs) {
        return;
    }
    world.polled_us = world.now_us;
    if (world.cell_on && world.now_us % world.cell_us == 0) {
        stand_thrust(world.cell + 100 * noise());
    }
    if (world.now_us % 100000 == 0) {
        stand_reference(5000);
    }
    stand_poll();
}

static void step(void) {
    if (world.now_us % SERVO_US == 0) {
        world.on_pin_half_us = world.pulse_half_us;
        say_pulse(world.now_us, world.on_pin_half_us);
    }
    world.now_us += STEP_US;
    sense();
    if (world.now_us % 1000 == 0) {
        stand_tick();
    }
    main_loop();
    if (world.now_us - world.polled_us > WATCHDOG_US) {
        say_reset();
        world.hangs = false;
        start(GW_CAUSE_WATCHDOG);
    }
}

static void run(uint64_t us) {
    for (uint64_t end = world.now_us + us; world.now_us < end;) {
        step();
        say_sent(world.sent, world.sent_count);
        world.sent_count = 0;
    }
}

static void take(const char *digits) {
    memmove(world.came, world.came + world.came_from, world.came_to - world.came_from);
    world.came_to -= world.came_from;
    world.came_from = 0;
    world.came_to +=
        read_hex(digits, world.came + world.came_to, sizeof world.came - world.came_to);
    if (!world.hangs) {
        stand_poll(); /* it has come, and the main loop comes by */
    }
}

static void turn(uint32_t half_us) {
    uint64_t last = world.next_edge_half_us - world.turn_half_us;
    if (world.turn_half_us == 0) { /* it stood until now */
        last = 2 * world.now_us;
    }
    world.turn_half_us = half_us;
    world.next_edge_half_us = last + half_us;
}

static void keep(char *rest) {
    uint8_t bytes[KEPT_SIZE];
    size_t at = strtoul(rest, &rest, 10), count = read_hex(rest, bytes, sizeof bytes);
    if (at + count <= KEPT_SIZE) {
        memcpy(world.kept + at, bytes, count);
    }
}

static void obey(char *line) {
    char *rest = strchr(line, ' ');
    char *word = strtok(line, " \n");
    long value = rest ? strtol(rest + 1, NULL, 10) : 0;
    if (word == NULL) {
        return;
    }
    if (!strcmp(word, "rx")) {
        take(rest ? rest + 1 : "");
    } else if (!strcmp(word, "run")) {
        run((uint64_t)value);
    } else if (!strcmp(word, "current")) {
        world.current = (int)value;
    } else if (!strcmp(word, "voltage")) {
        world.voltage = (int)value;
    } else if (!strcmp(word, "noise")) {
        world.noise = (int)value;
    } else if (!strcmp(word, "cell")) {
        world.cell_on = rest && strncmp(rest + 1, "off", 3) != 0;
        world.cell = (int32_t)value;
    } else if (!strcmp(word, "cell-us")) {
        world.cell_us = (uint32_t)value;
    } else if (!strcmp(word, "turns")) {
        turn((uint32_t)value);
    } else if (!strcmp(word, "loop")) {
        world.loop_open = value;
    } else if (!strcmp(word, "readback")) {
        world.readback = value;
    } else if (!strcmp(word, "hang")) {
        world.hangs = value;
    } else if (!strcmp(word, "reset")) {
        start((uint8_t)value);
    } else if (!strcmp(word, "clock")) {
        world.clock_us = (uint64_t)value;
    } else if (!strcmp(word, "wave")) {
        bool of_voltage = rest && rest[1] == 'v';
        world.waves[of_voltage] = read_wave(rest + 1 + strlen("voltage"));
    } else if (!strcmp(word, "kept")) {
        keep(rest ? rest + 1 : "");
    } else {
        printf("unknown %s\n", word);
    }
}

static double time_us(void) { return (double)world.now_us; }

int main(void) {
    static char line[2 * LINE_SIZE + 100];
    memset(world.kept, 0xFF, sizeof world.kept);
    start(GW_CAUSE_POWER_ON);
    serve_lines(line, sizeof line, obey, time_us);
    return 0;
}
