/* A bench around an emulated chip, in the chip's own time (simavr, by its library).
 *
 * It speaks the words of boards/host.c, and hangs on the pins what a bench hangs there:
 * a line, two voltages, a load-cell converter, a stop loop, pulses of the revolutions,
 * and a meter for the servo pulse. What it adds to those words:
 *
 *   kept AT HEX        what the EEPROM holds there
 *   kept? AT COUNT     answers `kept HEX`
 *   cell stuck COUNT   the converter gives this count, whatever the noise
 *   use                answers `use SHARE BYTES`: how much of the time the processor
 *                      was at work since last asked, and how deep its stack ever was
 */
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <avr_adc.h>
#include <avr_eeprom.h>
#include <avr_ioport.h>
#include <avr_timer.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>
#include <sim_io.h>
#include <sim_time.h>

#include "../boards/lines.h"

#define CLOCK_HZ 16000000
#define CYCLES_A_US 16
#define CYCLES_A_HALF_US 8
#define LINE_SIZE 20000
#define CELL_BITS 24
#define PIN_TURNS 2
#define PIN_DATA 4
#define PIN_LOOP 7
/* The emulator looks at a low D2 or D3 in every cycle: an unused D3 is kept high. */
#define PIN_UNUSED 3
#define IDLE (1 << PIN_TURNS | 1 << PIN_UNUSED | 1 << PIN_DATA)
#define DRIVEN (IDLE | 1 << PIN_LOOP)
#define RAM_END 0x900
#define STACK_LEFT 2
#define PAINT 0xC5
/* Registers and their bits, by the data sheet. */
#define DDRB 0x24
#define MCUSR 0x54
#define PORF 1
#define EXTRF 2
#define BORF 4
#define WDRF 8
#define UCSR0B 0xC1
#define RXEN0 0x10
#define ADCL 0x78
#define ADCSRA 0x7A
#define ADCSRB 0x7B
#define ADMUX 0x7C
#define ADEN 0x80
#define ADSC 0x40
#define ADATE 0x20
#define ADIF 0x10
#define ADIE 0x08
#define ADPS 0x07
#define ADTS 0x07
#define ADLAR 0x20
#define MUX 0x0F
#define BANDGAP 14
#define BANDGAP_STEPS 225 /* 1.1 V against 5 V */

enum { POWER_ON = 1, RESET_PIN = 2, WATCHDOG = 3, BROWN_OUT = 4 };

static struct {
    avr_t *avr;
    elf_firmware_t firmware;
    avr_timer_t *timer1;
    avr_irq_t *line_in, *pin_readback;
    avr_adc_t *adc;
    uint8_t driven; /* levels on port D */
    void (*was_reset)(avr_t *);
    bool restarts;
    uint64_t due; /* what `run` runs to, so that what it overran is not lost */
    /* line */
    uint8_t came[LINE_SIZE], sent[LINE_SIZE];
    size_t came_from, came_to, sent_count;
    uint32_t byte_cycles;
    /* pulse */
    uint64_t rose;
    bool high, readback;
    /* inputs */
    int current, voltage, noise;
    wave waves[2]; /* on current and voltage */
    uint32_t drawn;
    /* converter */
    bool converts, first;
    uint16_t sampled, result;
    /* load cell */
    bool cell_on, is_stuck;
    int32_t cell, stuck;
    uint32_t cell_bits;
    int cell_clocks;
    uint32_t cell_us;
    bool cell_clock_high;
    /* revolutions */
    uint32_t turn_half_us;
    uint64_t last_edge;
    bool loop_open, hang;
    uint16_t hang_at, hang_was, stack_from;
    uint64_t slept, counted_from;
} world = {.cell_on = true, .cell_us = 12500, .readback = true, .driven = IDLE};

static uint64_t now(void) { return world.avr->cycle; }

/* A draw of the usual linear congruence (Numerical Recipes, from memory). */
static int noise(void) {
    world.drawn = world.drawn * 1664525U + 1013904223U;
    return (int)((world.drawn >> 16) % (unsigned)(world.noise + 1));
}

/* ------------------------------------------------------------------ converter */

/* The emulator's own converter takes whatever input is selected when its result is
 * read, and lets a few cycles pass between two conversions. A chip's samples 1.5 clocks
 * after a conversion began, from the input that was selected when it began, and one that
 * runs freely begins the next with the end of the last. A firmware that counts on the
 * one errs on the other, so this is a converter as the data sheet has it. */

static int input(uint8_t mux, double at_us) {
    if (mux > 1) {
        return mux == BANDGAP ? BANDGAP_STEPS : 0;
    }
    int noise_now = noise();
    int steps = mux ? world.voltage : world.current + noise_now;
    return converted(steps + wave_at(&world.waves[mux], at_us));
}

static uint32_t adc_clock(void) {
    uint8_t bits = world.avr->data[ADCSRA] & ADPS;
    return 1U << (bits ? bits : 1);
}

static void stop_converter(void) {
    world.avr->data[ADCSRA] &= (uint8_t)~ADSC;
    world.converts = false;
}

static void begin_conversion(avr_cycle_count_t when) {
    double sampled = (double)when + 1.5 * adc_clock();
    uint8_t mux = world.avr->data[ADMUX] & MUX;
    world.sampled = (uint16_t)input(mux, sampled / CYCLES_A_US);
    world.avr->data[ADCSRA] |= ADSC;
    world.converts = true;
}

static avr_cycle_count_t conversion_ends(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)param;
    if (world.current < 0 || world.voltage < 0) { /* it stopped in the middle */
        avr->data[ADCSRA] &= (uint8_t)~(ADEN | ADIE);
        stop_converter();
        return 0;
    }
    world.result = world.sampled;
    world.first = false;
    stop_converter();
    avr_raise_interrupt(avr, &world.adc->adc);
    if (!(avr->data[ADCSRA] & ADATE) || avr->data[ADCSRB] & ADTS) {
        return 0;
    }
    begin_conversion(when);
    return when + 13 * adc_clock();
}

static void write_adcsra(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    (void)param;
    uint8_t was = avr->data[address];
    if (value & ADIF) { /* written, it is cleared */
        avr_clear_interrupt(avr, &world.adc->adc);
        was &= (uint8_t)~ADIF;
    }
    avr->data[address] = (uint8_t)((value & ~(ADIF | ADSC)) | (was & ADIF));
    if (!(value & ADEN)) {
        avr_cycle_timer_cancel(avr, conversion_ends, NULL);
        stop_converter();
        return;
    }
    world.first = world.first || !(was & ADEN);
    if (world.converts) {
        avr->data[address] |= ADSC; /* it is not ended by writing */
    } else if (value & ADSC) {
        begin_conversion(now());
        uint32_t clocks = world.first ? 25 : 13;
        avr_cycle_timer_register(avr, clocks * adc_clock(), conversion_ends, NULL);
    }
}

static uint8_t read_result(avr_t *avr, avr_io_addr_t address, void *param) {
    (void)avr, (void)param;
    uint16_t result = world.result;
    result = (uint16_t)(world.avr->data[ADMUX] & ADLAR ? result << 6 : result);
    return (uint8_t)(address == ADCL ? result : result >> 8);
}

static void connect_converter(void) {
    avr_t *avr = world.avr;
    for (avr_io_t *io = avr->io_port; io; io = io->next) {
        if (!strcmp(io->kind, "adc")) {
            world.adc = (avr_adc_t *)io;
        }
    }
    if (world.adc == NULL) {
        fputs("this chip has no converter\n", stderr);
        exit(2);
    }
    avr->io[AVR_DATA_TO_IO(ADCSRA)].w.c = write_adcsra;
    avr->io[AVR_DATA_TO_IO(ADCL)].r.c = read_result;
    avr->io[AVR_DATA_TO_IO(ADCL + 1)].r.c = read_result;
}

/* ------------------------------------------------------------------ pulse */

static void pulse_moved(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    /* A compare pin that was never made an output drives nothing. */
    bool driven = world.avr->data[DDRB] & 2;
    bool high = value && driven;
    if (high == world.high) {
        return;
    }
    world.high = high;
    if (world.readback) {
        avr_raise_irq(world.pin_readback, high);
    }
    if (high) {
        world.rose = now();
        /* The emulator keeps the compare value of when the mode was set; a chip takes
         * over the buffered one here, at the bottom. */
        uint8_t *data = world.avr->data;
        avr_timer_comp_t *a = &world.timer1->comp[AVR_TIMER_COMPA];
        uint32_t compare = data[a->r_ocr] | (uint32_t)data[a->r_ocrh] << 8;
        a->comp_cycles = (uint64_t)(compare + 1) * CYCLES_A_HALF_US;
    } else {
        printf("pulse %.3f %.3f\n", (double)world.rose / CYCLES_A_US,
               (double)(now() - world.rose) / CYCLES_A_HALF_US);
    }
}

/* What drives a pin of port D from outside: stronger than the pull-up inside. */
static void drive(int pin, bool level) {
    if (level) {
        world.driven |= (uint8_t)(1 << pin);
    } else {
        world.driven &= (uint8_t)~(1 << pin);
    }
    avr_ioport_external_t pins = {.name = 'D', .mask = DRIVEN, .value = world.driven};
    avr_ioctl(world.avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &pins);
    avr_raise_irq(avr_io_getirq(world.avr, AVR_IOCTL_IOPORT_GETIRQ('D'), pin), level);
}

/* ------------------------------------------------------------------ load cell */

static void cell_shows(bool bit) { drive(PIN_DATA, bit); }

static avr_cycle_count_t conversion(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr, (void)param;
    if (world.cell_on && (world.cell_clocks == 0 || world.cell_clocks > CELL_BITS)) {
        int32_t count = world.cell + 100 * noise();
        count = count > 8388607 ? 8388607 : count < -8388608 ? -8388608 : count;
        world.cell_bits = (uint32_t)(world.is_stuck ? world.stuck : count) & 0xFFFFFF;
        world.cell_clocks = 0;
        cell_shows(false);
    }
    return when + world.cell_us * CYCLES_A_US;
}

static void cell_clocked(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    bool rises = value && !world.cell_clock_high;
    world.cell_clock_high = value;
    if (!rises) {
        return;
    }
    world.cell_clocks++;
    if (world.cell_clocks <= CELL_BITS) {
        cell_shows(world.cell_bits >> (CELL_BITS - world.cell_clocks) & 1);
    } else {
        cell_shows(true);
    }
}

/* ------------------------------------------------------------------ revolutions */

static avr_cycle_count_t turned(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr, (void)param;
    world.last_edge = when;
    drive(PIN_TURNS, false);
    drive(PIN_TURNS, true);
    return when + (uint64_t)world.turn_half_us * CYCLES_A_HALF_US;
}

static void turn(uint32_t half_us) {
    bool stood = world.turn_half_us == 0;
    world.turn_half_us = half_us;
    avr_cycle_timer_cancel(world.avr, turned, NULL);
    if (half_us == 0) {
        return;
    }
    uint64_t next = (stood ? now() : world.last_edge) + half_us * CYCLES_A_HALF_US;
    avr_cycle_timer_register(world.avr, next > now() ? next - now() : 1, turned, NULL);
}

/* ------------------------------------------------------------------ line */

static avr_cycle_count_t deliver(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr, (void)param;
    if (world.came_from == world.came_to) {
        return 0;
    }
    uint8_t byte = world.came[world.came_from++];
    if (world.avr->data[UCSR0B] & RXEN0) { /* nobody listens before */
        avr_raise_irq(world.line_in, byte);
    }
    return when + world.byte_cycles;
}

static void take(const char *digits) {
    bool idle = world.came_from == world.came_to;
    memmove(world.came, world.came + world.came_from, world.came_to - world.came_from);
    world.came_to -= world.came_from;
    world.came_from = 0;
    world.came_to +=
        read_hex(digits, world.came + world.came_to, LINE_SIZE - world.came_to);
    if (idle && world.came_to > 0) {
        avr_cycle_timer_register(world.avr, world.byte_cycles, deliver, NULL);
    }
}

static void said(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    if (world.sent_count < LINE_SIZE) {
        world.sent[world.sent_count++] = (uint8_t)value;
    }
}

/* ------------------------------------------------------------------ chip */

static uint16_t *flash_at(uint16_t address) {
    return (uint16_t *)(void *)(world.avr->flash + address);
}

static void hang(bool hangs) {
    if (hangs == world.hang || world.hang_at == 0) {
        return;
    }
    world.hang = hangs;
    if (hangs) { /* a jump to itself where the main loop comes by */
        world.hang_was = *flash_at(world.hang_at);
        *flash_at(world.hang_at) = 0xCFFF;
    } else {
        *flash_at(world.hang_at) = world.hang_was;
    }
}

/* What every start takes from the bench: the emulator drops all timers of its own. */
static void hang_up(void) {
    avr_t *avr = world.avr;
    world.cell_clocks = 0;
    world.came_from = world.came_to = 0;
    world.high = false;
    avr_cycle_timer_register(avr, world.cell_us * CYCLES_A_US, conversion, NULL);
    uint32_t period = world.turn_half_us;
    world.turn_half_us = 0;
    turn(period);
    for (int pin = 0; pin < 8; pin++) { /* a start forgets what a pin reads */
        bool level = pin == PIN_LOOP ? world.loop_open : (IDLE >> pin & 1) != 0;
        if (DRIVEN >> pin & 1) {
            drive(pin, !level);
            drive(pin, level);
        }
    }
    world.converts = world.first = false;
    memset(avr->data + world.stack_from, PAINT, RAM_END - world.stack_from - STACK_LEFT);
}

static void restarted(avr_t *avr) {
    world.was_reset(avr);
    world.restarts = true;
}

static void reset(long cause) {
    hang(false);
    avr_reset(world.avr);
    world.restarts = false;
    world.avr->data[MCUSR] = cause == POWER_ON    ? PORF
                             : cause == RESET_PIN ? EXTRF
                             : cause == WATCHDOG  ? WDRF
                             : cause == BROWN_OUT ? BORF
                                                  : 0; /* a boot loader took them */
    hang_up();
}

static void sleeping(avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr;
    world.slept += cycles;
}

static void run(uint64_t us) {
    avr_t *avr = world.avr;
    world.due += us * CYCLES_A_US;
    while (now() < world.due) {
        int state = avr_run(avr);
        if (world.restarts) { /* by its own watchdog */
            world.restarts = false;
            hang(false);
            hang_up();
            puts("reset");
        }
        if (state == cpu_Done || state == cpu_Crashed) {
            printf("crashed %04x\n", avr->pc);
            exit(1);
        }
    }
    say_sent(world.sent, world.sent_count);
    world.sent_count = 0;
}

/* Share of the time that the processor did not sleep since last asked, and the bytes
 * of stack that were ever touched since the start. */
static void tell_use(void) {
    uint64_t passed = now() - world.counted_from;
    uint32_t untouched = 0, size = RAM_END - world.stack_from;
    while (untouched < size &&
           world.avr->data[world.stack_from + untouched] == PAINT) {
        untouched++;
    }
    printf("use %.4f %u\n", 1.0 - (double)world.slept / (double)passed,
           size - untouched);
    world.slept = 0;
    world.counted_from = now();
}

static void set_cell(const char *rest) {
    world.cell_on = strncmp(rest, "off", 3) != 0;
    world.is_stuck = strncmp(rest, "stuck", 5) == 0;
    world.cell = (int32_t)strtol(world.is_stuck ? rest + 5 : rest, NULL, 10);
    world.stuck = world.cell;
}

static void keep(char *rest) {
    uint8_t bytes[256];
    avr_eeprom_desc_t kept = {.ee = bytes, .offset = (uint16_t)strtoul(rest, &rest, 10)};
    kept.size = (uint32_t)read_hex(rest, bytes, sizeof bytes);
    avr_ioctl(world.avr, AVR_IOCTL_EEPROM_SET, &kept);
}

static void tell_kept(char *rest) {
    uint8_t bytes[256];
    avr_eeprom_desc_t kept = {.ee = bytes, .offset = (uint16_t)strtoul(rest, &rest, 10)};
    kept.size = (uint32_t)strtoul(rest, NULL, 10);
    if (kept.size > sizeof bytes) {
        return;
    }
    avr_ioctl(world.avr, AVR_IOCTL_EEPROM_GET, &kept);
    fputs("kept ", stdout);
    for (uint32_t i = 0; i < kept.size; i++) {
        printf("%02x", bytes[i]);
    }
    putchar('\n');
}

static void obey(char *line) {
    char *rest = strchr(line, ' ');
    char *word = strtok(line, " \n");
    rest = rest ? rest + 1 : "";
    long value = strtol(rest, NULL, 10);
    if (word == NULL) {
        return;
    }
    if (!strcmp(word, "rx")) {
        take(rest);
    } else if (!strcmp(word, "run")) {
        run((uint64_t)value);
    } else if (!strcmp(word, "current")) {
        world.current = (int)value;
    } else if (!strcmp(word, "voltage")) {
        world.voltage = (int)value;
    } else if (!strcmp(word, "wave")) {
        world.waves[*rest == 'v'] = read_wave(rest + strlen("voltage"));
    } else if (!strcmp(word, "noise")) {
        world.noise = (int)value;
    } else if (!strcmp(word, "cell")) {
        set_cell(rest);
    } else if (!strcmp(word, "cell-us")) {
        world.cell_us = (uint32_t)value;
    } else if (!strcmp(word, "turns")) {
        turn((uint32_t)value);
    } else if (!strcmp(word, "loop")) {
        world.loop_open = value;
        drive(PIN_LOOP, value != 0);
    } else if (!strcmp(word, "readback")) {
        world.readback = value;
    } else if (!strcmp(word, "hang")) {
        hang(value);
    } else if (!strcmp(word, "reset")) {
        reset(value);
    } else if (!strcmp(word, "kept")) {
        keep(rest);
    } else if (!strcmp(word, "kept?")) {
        tell_kept(rest);
    } else if (!strcmp(word, "use")) {
        tell_use();
    } else {
        printf("unknown %s\n", word);
    }
}

/* ------------------------------------------------------------------ bench */

static avr_irq_t *port(char name, int pin) {
    return avr_io_getirq(world.avr, AVR_IOCTL_IOPORT_GETIRQ(name), pin);
}

static avr_timer_t *timer(char name) {
    for (avr_io_t *io = world.avr->io_port; io; io = io->next) {
        avr_timer_t *found = (avr_timer_t *)io;
        if (!strcmp(io->kind, "timer") && found->name == name) {
            return found;
        }
    }
    fputs("this chip has no such timer\n", stderr);
    exit(2);
}

static void quiet(avr_t *avr, const int level, const char *format, va_list rest) {
    (void)avr;
    if (level == LOG_ERROR) {
        vfprintf(stderr, format, rest);
    }
}

static void connect(void) {
    avr_t *avr = world.avr;
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    world.line_in = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(
        avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), said, NULL);
    world.timer1 = timer('1');
    avr_irq_register_notify(port('B', 1), pulse_moved, NULL);
    world.pin_readback = port('B', 0);
    avr_irq_register_notify(port('D', 5), cell_clocked, NULL);
    connect_converter();
    avr->sleep = sleeping;
    world.was_reset = avr->reset;
    avr->reset = restarted;
}

static double time_us(void) { return (double)now() / CYCLES_A_US; }

int main(int count, char **words) {
    static char line[2 * LINE_SIZE + 200];
    if (count != 5) {
        fputs("bench IMAGE BAUD STACK-FROM HANG-AT\n", stderr);
        return 2;
    }
    avr_global_logger_set(quiet);
    if (elf_read_firmware(words[1], &world.firmware) != 0) {
        fprintf(stderr, "%s cannot be read\n", words[1]);
        return 2;
    }
    /* A byte has 10 bits, but the emulator's receiver takes the time of 11 for it. */
    world.byte_cycles = (uint32_t)(11.0 * CLOCK_HZ / strtod(words[2], NULL));
    world.stack_from = (uint16_t)strtol(words[3], NULL, 16);
    world.hang_at = (uint16_t)strtol(words[4], NULL, 16);
    world.avr = avr_make_mcu_by_name("atmega328p");
    avr_init(world.avr);
    avr_load_firmware(world.avr, &world.firmware);
    world.avr->frequency = CLOCK_HZ;
    world.avr->vcc = world.avr->avcc = world.avr->aref = 5000;
    connect();
    reset(POWER_ON);
    serve_lines(line, sizeof line, obey, time_us);
    return 0;
}
