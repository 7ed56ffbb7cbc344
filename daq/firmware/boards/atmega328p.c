/* The board for an ATmega328P at 16 MHz, as on the common small boards.
 *
 *   D9  PB1 OC1A    servo pulse to the ESC (with a pull-down: it floats during reset)
 *   D8  PB0 PCINT0  the same pulse, read back behind its series resistor
 *   D2  PD2 INT0    pulses of the revolutions
 *   D4  PD4         load-cell converter, data
 *   D5  PD5         load-cell converter, clock
 *   D7  PD7         stop loop, normally closed to ground
 *   A0  PC0 ADC0    current
 *   A1  PC1 ADC1    bus voltage behind the arming plug, divided
 *   D0, D1          the line, 500 kbaud
 *
 * Timer 1 makes the servo pulse and the device time, timer 2 the tick. Timer 0, the
 * serial library and every other library are left alone, so that this also builds
 * where they exist. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/crc16.h>

#include "board.h"
#include "readings.h"
#include "stand.h"
#include "wire.h"

#ifndef GW_BAUD
#define GW_BAUD 500000UL /* exact at 16 MHz */
#endif
#define BAUD_REGISTER ((F_CPU + GW_BAUD * 4) / (8 * GW_BAUD) - 1)

#define SERVO_US 2500 /* 400 pulses a second */
#define SERVO_TOP (2 * SERVO_US - 1)
#define ZERO_PULSE_HALF_US 2000

#define PIN_PULSE PB1
#define PIN_READBACK PB0
#define PIN_TURNS PD2
#define PIN_CELL_DATA PD4
#define PIN_CELL_CLOCK PD5
#define PIN_LOOP PD7

#define MUX_CURRENT 0
#define MUX_VOLTAGE 1
#define MUX_BANDGAP 14
#define BANDGAP_SETTLES 5 /* conversions until it is worth reading */
#define BANDGAP_MV 1100UL

#define REFERENCE_MS 100

const char board_name[17] = "ATmega328P";
const uint16_t board_abilities =
    GW_ABILITY_STOP_LOOP | GW_ABILITY_PULSE_READBACK | GW_ABILITY_WATCHDOG;

/* ------------------------------------------------------------------ start */

static uint8_t reset_flags __attribute__((section(".noinit")));

/* Before anything else: the watchdog is still running after it bit, and would bite
 * again before the program is up. */
void save_reset_flags(void) __attribute__((naked, used, section(".init3")));
void save_reset_flags(void) {
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

static uint8_t reset_cause(void) {
    if (reset_flags & _BV(PORF)) {
        return GW_CAUSE_POWER_ON;
    }
    if (reset_flags & _BV(WDRF)) {
        return GW_CAUSE_WATCHDOG;
    }
    if (reset_flags & _BV(BORF)) {
        return GW_CAUSE_BROWN_OUT;
    }
    /* A boot loader may have cleared the flags before. */
    return reset_flags & _BV(EXTRF) ? GW_CAUSE_RESET_PIN : GW_CAUSE_RESET_OTHER;
}

/* ------------------------------------------------------------------ time, pulse */

static volatile uint32_t frame_begins_us;

ISR(TIMER1_OVF_vect) { frame_begins_us += SERVO_US; }

/* When the present frame began, and how far it is, in half microseconds. With
 * interrupts off. */
static uint16_t in_frame(uint32_t *begins_us) {
    uint16_t at = TCNT1;
    *begins_us = frame_begins_us;
    if ((TIFR1 & _BV(TOV1)) && at < SERVO_TOP / 2) {
        *begins_us += SERVO_US; /* it began and was not yet counted */
    }
    return at;
}

uint32_t board_now_us(void) {
    uint32_t begins_us;
    uint8_t held = board_hold_all();
    uint16_t at = in_frame(&begins_us);
    board_release_all(held);
    return begins_us + at / 2;
}

void board_set_pulse(uint16_t width_half_us) {
    uint8_t held = board_hold_all();
    OCR1A = width_half_us - 1; /* taken over by the timer when the next frame begins */
    board_release_all(held);
}

static void start_timers(void) {
    /* Mode 14: counts up to ICR1; OC1A is high from the start of a frame to OCR1A.
     * Whole registers: something else may have set bits in them. */
    TCCR1A = 0;
    TCCR1B = 0;
    TCNT1 = 0;
    ICR1 = SERVO_TOP;
    OCR1A = ZERO_PULSE_HALF_US - 1;
    PORTB &= (uint8_t)~_BV(PIN_PULSE);
    DDRB |= _BV(PIN_PULSE);
    TCCR1A = _BV(COM1A1) | _BV(WGM11);
    TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
    TIMSK1 = _BV(TOIE1);
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS22); /* 250 kHz */
    OCR2A = 249;
    TIMSK2 = _BV(OCIE2A);
}

/* ------------------------------------------------------------------ tick */

static volatile uint16_t ticks;
static volatile uint8_t woken; /* there may be something for the main loop */

/* The compiler moves nothing in memory past this. */
#define FENCE() __asm__ volatile("" ::: "memory")

/* A tick that comes while the main loop holds it is owed, and made good when it lets
 * go. But whoever holds on for this many hangs: protection goes on without it. */
#define OWED_MOST 3
static volatile uint8_t holding, ticking, owed;

/* With interrupts off. Long, so that others may interrupt it; never itself. */
static void tick(void) {
    ticking = 1;
    do {
        owed = 0;
        sei();
        stand_tick();
        cli();
    } while (owed);
    ticking = 0;
}

ISR(TIMER2_COMPA_vect) {
    ticks++;
    woken = 1;
    if (ticking || (holding && owed < OWED_MOST)) {
        owed++;
    } else {
        tick();
    }
}

uint8_t board_hold_tick(void) {
    uint8_t held = holding;
    holding = 1;
    FENCE();
    return held;
}

void board_release_tick(uint8_t held) {
    FENCE();
    holding = held;
    if (!held && owed) {
        cli();
        if (owed) { /* else it came by itself in between */
            tick();
        }
        sei();
    }
}

uint8_t board_hold_all(void) {
    uint8_t held = SREG;
    cli();
    FENCE();
    return held;
}

void board_release_all(uint8_t held) {
    FENCE();
    SREG = held;
}

static uint16_t ticks_now(void) {
    uint8_t held = board_hold_all();
    uint16_t now = ticks;
    board_release_all(held);
    return now;
}

/* ------------------------------------------------------------------ converter */

static volatile uint8_t bandgap_asked, converted;
static volatile uint16_t bandgap_raw;

static inline void convert(uint8_t mux) {
    ADMUX = _BV(REFS0) | mux; /* against the supply */
    ADCSRA |= _BV(ADSC);
}

/* Current and voltage in turn; for a while the bandgap, when it is asked for. */
ISR(ADC_vect) {
    static uint8_t mux = MUX_CURRENT, settled;
    uint16_t raw = ADC;
    uint8_t was = mux;
    converted = 1;
    if (was == MUX_BANDGAP && ++settled < BANDGAP_SETTLES) {
        convert(MUX_BANDGAP);
        return;
    }
    mux = was == MUX_CURRENT ? MUX_VOLTAGE : MUX_CURRENT;
    if (was == MUX_VOLTAGE && bandgap_asked) {
        bandgap_asked = 0;
        settled = 0;
        mux = MUX_BANDGAP;
    }
    convert(mux);
    if (was == MUX_CURRENT) {
        readings_current(raw);
    } else if (was == MUX_VOLTAGE) {
        readings_voltage(raw);
    } else {
        bandgap_raw = raw;
    }
}

static void start_converter(void) {
    DIDR0 = _BV(ADC0D) | _BV(ADC1D);
    ADCSRB = 0;
    ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    convert(MUX_CURRENT);
}

/* The supply of the sensors, from what the bandgap reads against it. */
static void look_at_reference(void) {
    static uint16_t looked;
    uint16_t now = ticks_now();
    if ((uint16_t)(now - looked) < REFERENCE_MS) {
        return;
    }
    looked = now;
    if (!converted) { /* it stopped: whatever made it, it is worth another try */
        start_converter();
    }
    converted = 0;
    uint8_t held = board_hold_all();
    uint16_t raw = bandgap_raw;
    bandgap_raw = 0;
    bandgap_asked = 1;
    board_release_all(held);
    if (raw > 0) {
        uint32_t millivolt = BANDGAP_MV * 1024 / raw;
        stand_reference(millivolt > INT16_MAX ? INT16_MAX : (int16_t)millivolt);
    }
}

/* ------------------------------------------------------------------ pins */

ISR(INT0_vect) {
    uint32_t begins_us;
    uint16_t at = in_frame(&begins_us);
    readings_edge(2 * begins_us + at);
}

ISR(PCINT0_vect) {
    static uint16_t rose;
    uint16_t now = TCNT1;
    if (PINB & _BV(PIN_READBACK)) {
        rose = now;
    } else if (now > rose) { /* both within one frame */
        readings_pulse((uint16_t)(now - rose));
    }
}

bool board_loop_open(void) { return (PIND & _BV(PIN_LOOP)) != 0; }

static void start_pins(void) {
    PORTD = _BV(PIN_LOOP) | _BV(PIN_TURNS) | _BV(PIN_CELL_DATA); /* pull-ups */
    DDRD = _BV(PIN_CELL_CLOCK) | _BV(PD1);
    EICRA = _BV(ISC01) | _BV(ISC00); /* rising */
    EIMSK = _BV(INT0);
    PCMSK0 = _BV(PCINT0);
    PCICR = _BV(PCIE0);
}

/* ------------------------------------------------------------------ load cell */

static bool cell_ready(void) { return (PIND & _BV(PIN_CELL_DATA)) == 0; }

/* One clock; the bit that it brought. The converter switches itself off when the
 * clock stays high for 60 us, so nothing may come between. */
static uint8_t cell_clock(void) {
    uint8_t held = board_hold_all();
    PORTD |= _BV(PIN_CELL_CLOCK);
    __builtin_avr_delay_cycles(F_CPU / 1000000);
    PORTD &= (uint8_t)~_BV(PIN_CELL_CLOCK);
    board_release_all(held);
    __builtin_avr_delay_cycles(F_CPU / 1000000 / 2);
    return PIND & _BV(PIN_CELL_DATA) ? 1 : 0;
}

static void look_at_cell(void) {
    if (!cell_ready()) {
        return;
    }
    uint32_t bits = 0;
    for (uint8_t i = 0; i < 24; i++) {
        bits = bits << 1 | cell_clock();
    }
    cell_clock(); /* the 25th: the same channel and gain again */
    if (bits & 0x800000UL) {
        bits |= 0xFF000000UL;
    }
    stand_thrust((int32_t)bits);
}

/* ------------------------------------------------------------------ line */

#define CAME_SIZE 64 /* a power of two */
static volatile uint8_t came[CAME_SIZE], came_to;
static uint8_t came_from;
static volatile uint8_t sent[256], sent_from, sent_to; /* both wrap by themselves */

ISR(USART_RX_vect) {
    uint8_t byte = UDR0;
    uint8_t next = (uint8_t)(came_to + 1) % CAME_SIZE;
    if (next != came_from) { /* else the CRC shows that one is missing */
        came[came_to] = byte;
        came_to = next;
    }
    woken = 1;
}

ISR(USART_UDRE_vect) {
    uint8_t from = sent_from;
    if (from == sent_to) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    } else {
        UDR0 = sent[from];
        sent_from = (uint8_t)(from + 1);
    }
}

int16_t board_receive(void) {
    if (came_from == came_to) {
        return -1;
    }
    uint8_t byte = came[came_from];
    came_from = (uint8_t)(came_from + 1) % CAME_SIZE;
    return byte;
}

uint8_t board_room(void) { return (uint8_t)(sent_from - sent_to - 1); }

void board_send(uint8_t byte) {
    uint8_t to = sent_to;
    sent[to] = byte;
    sent_to = (uint8_t)(to + 1);
    /* Not by an interrupt in between: that clears the bit only when nothing is left. */
    UCSR0B |= _BV(UDRIE0);
}

static void start_line(void) {
    UCSR0A = _BV(U2X0); /* before the rate */
    UBRR0 = BAUD_REGISTER;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

/* ------------------------------------------------------------------ kept */

void board_read_kept(uint16_t address, void *to, uint8_t size) {
    eeprom_read_block(to, (const void *)address, size);
}

void board_write_kept(uint16_t address, const void *from, uint8_t size) {
    eeprom_update_block(from, (void *)address, size);
}

/* The lowest bits of an open input, before the converter is anyone's. */
uint32_t board_chance(void) {
    uint32_t mixed = 0;
    ADMUX = _BV(REFS0) | 7;
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    for (uint8_t i = 0; i < 96; i++) {
        ADCSRA |= _BV(ADSC);
        while (ADCSRA & _BV(ADSC)) {
        }
        uint16_t low = _crc_xmodem_update((uint16_t)mixed, (uint8_t)ADC);
        mixed = mixed << 3 ^ mixed >> 29 ^ low ^ TCNT1;
    }
    ADCSRA = 0;
    return mixed;
}

/* ------------------------------------------------------------------ main */

int main(void) {
    cli();
    start_pins();
    start_timers();
    stand_start(reset_cause());
    start_line();
    start_converter();
    wdt_enable(WDTO_250MS);
    SMCR = 0; /* idle: everything but the processor goes on */
    sei();
    uint16_t seen = 0;
    for (;;) {
        uint16_t now = ticks_now();
        if (now != seen) { /* a main loop without ticks protects nobody */
            seen = now;
            wdt_reset();
        }
        woken = 0;
        stand_poll();
        look_at_cell();
        look_at_reference();
        while (!woken) {
            sleep_mode(); /* until the next interrupt, a tenth of a millisecond */
        }
    }
}
