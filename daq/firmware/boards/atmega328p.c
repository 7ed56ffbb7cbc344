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
#pragma GCC optimize("O2") /* its interrupts, also where the rest is to save room */

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/crc16.h>

#include "board.h"
#include "capture.h"
#include "channels.h"
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
    GW_ABILITY_STOP_LOOP | GW_ABILITY_PULSE_READBACK | GW_ABILITY_WATCHDOG |
    GW_ABILITY_CAPTURE;

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

#define FAST_ON GPIOR0 /* a register of nobody's, of which one bit is quickly looked at */
#define CLOCKS 13 /* of the converter, a conversion; it samples after 1.5 of them */
#define NOBODY 0xFF
#define REACHES 10 /* half microseconds from a conversion's end to looking at the time */
#define SELECTS 10 /* from looking at the time to having selected, about */

static volatile uint8_t bandgap_asked, converted;
static volatile uint16_t bandgap_raw;

/* In turn, a conversion at a time. */
static struct {
    uint8_t mux, settled;
} turns;

/* While a capture is taken the converter runs by itself, faster: the captured channel,
 * and now and then the other one, of which the ring then has no sample. What is
 * selected holds from the conversion after the one that runs already. All of this is
 * the interrupt's. */
static struct {
    uint8_t wanted; /* the converter's clock, until it is begun */
    uint8_t mux, other;
    uint8_t running, selected; /* inputs of the conversion that runs, and of the next */
    uint8_t period;            /* half microseconds */
    uint8_t turn_every, until_turn; /* conversions until the other one's turn */
    uint8_t feed_every, since_fed;  /* and since one went to the readings */
    uint8_t bandgap;                /* conversions of it that are still to come */
    uint8_t at;                     /* of the ring, when this was last looked at */
    uint8_t flip, level;            /* for the quick part, when it looks */
    uint8_t doubted; /* conversions to come of which the input may be another */
    uint16_t due; /* half microsecond in the servo frame when the running one ends */
} fast;

/* What the quick part of the interrupt does without the rest: so many samples into the
 * ring, as long as none reaches the level after one that was below. */
static struct {
    uint8_t plain;
    uint8_t flip, level, below; /* `flip` turns samples round when it waits for a fall */
} quick;

static const struct {
    uint8_t clock, period, turn_every, feed_every;
} rates[] = {
    /* The other channel in one of 16 or 8 conversions. Of the captured one 4800 in a
     * second to the readings, as ever; 2400 where there is no time for more. */
    {_BV(ADPS2) | _BV(ADPS0), 2 * 2 * CLOCKS, 16, 16},
    {_BV(ADPS2) | _BV(ADPS1), 2 * 4 * CLOCKS, 8, 4},
    {_BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0), 2 * 8 * CLOCKS, 8, 2},
};

static inline void convert(uint8_t mux) {
    ADMUX = _BV(REFS0) | mux; /* against the supply */
    ADCSRA |= _BV(ADSC);
}

static void start_converter(void) {
    FAST_ON = 0;
    quick.plain = 0;
    turns.mux = MUX_CURRENT;
    DIDR0 = _BV(ADC0D) | _BV(ADC1D);
    ADCSRA = _BV(ADIF); /* off: what ran ends, and is not heard of */
    ADCSRB = 0;
    ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    convert(MUX_CURRENT);
}

uint32_t board_capture_period(uint8_t channel, uint32_t asked_ns) {
    if (channel != GW_CURRENT && channel != GW_VOLTAGE) {
        return 0;
    }
    return asked_ns < 39000 ? 26000 : asked_ns < 78000 ? 52000 : 104000;
}

void board_capture(uint8_t channel, uint32_t period_ns) {
    if (FAST_ON) {
        start_converter();
    }
    uint8_t rate = period_ns < 39000 ? 0 : period_ns < 78000 ? 1 : 2;
    fast.mux = channel == GW_CURRENT ? MUX_CURRENT : MUX_VOLTAGE;
    fast.other = channel == GW_CURRENT ? MUX_VOLTAGE : MUX_CURRENT;
    fast.period = rates[rate].period;
    fast.turn_every = rates[rate].turn_every;
    fast.feed_every = rates[rate].feed_every;
    bool falls = capture.trigger == GW_TRIGGER_FALLING && capture.level < UINT8_MAX;
    fast.flip = falls ? UINT8_MAX : 0;
    fast.level = (uint8_t)(capture.level + falls);
    fast.wanted = rates[rate].clock; /* begun when the present conversion is over */
}

GW_ALWAYS uint16_t in_frame_from(uint16_t at) {
    return at > SERVO_TOP ? at - (SERVO_TOP + 1) : at;
}

/* Left adjusted, so that a sample is one byte to read. */
GW_ALWAYS void select_fast(uint8_t mux) {
    fast.selected = mux;
    ADMUX = _BV(REFS0) | _BV(ADLAR) | mux;
}

static inline void begin_fast(void) {
    FAST_ON = 1;
    fast.bandgap = fast.since_fed = fast.doubted = 0;
    fast.until_turn = fast.turn_every;
    fast.at = capture.at;
    fast.running = fast.mux;
    select_fast(fast.mux);
    ADCSRB = 0; /* each conversion begins with the end of the one before */
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADATE) | _BV(ADIE) | fast.wanted;
    fast.due = in_frame_from(TCNT1 + fast.period + fast.period / CLOCKS);
    fast.wanted = 0;
}

/* When the sample was taken that triggered, of a conversion that ended `late` half
 * microseconds ago. What is rare is not put into the interrupt: it would then save more
 * registers every time. */
static void __attribute__((noinline)) stamp_trigger(uint16_t late) {
    uint32_t begins_us;
    uint16_t at = in_frame(&begins_us), period = fast.period;
    capture.time_us = begins_us + at / 2 - (late + period - period * 3 / (2 * CLOCKS)) / 2;
}

GW_ALWAYS uint8_t less(uint8_t from, uint8_t by) {
    return from > by ? (uint8_t)(from - by) : 0;
}

GW_ALWAYS uint8_t least(uint8_t a, uint8_t b) { return a < b ? a : b; }

GW_ALWAYS void count_passed(uint8_t conversions) {
    fast.until_turn = less(fast.until_turn, conversions);
    fast.since_fed = (uint8_t)(fast.since_fed + conversions);
}

/* It is not as soon after a conversion as it should be, or it is the first time. What
 * went by meanwhile has no sample. */
static void __attribute__((noinline)) look_closer(uint16_t at, uint16_t late,
                                                  uint8_t went) {
    capture_went(went);
    if (late < REACHES || late > SERVO_TOP / 2) { /* earlier than was thought */
        fast.due = in_frame_from(at + SERVO_TOP + 1 - REACHES);
        late = REACHES;
    }
    if (late >= fast.period) {
        for (; late >= fast.period; late -= fast.period) {
            fast.due = in_frame_from(fast.due + fast.period);
            count_passed(1);
            if (capture_wants() && capture_take(GW_NO_SAMPLE)) {
                stamp_trigger(late);
            }
        }
        if (late < 2 * REACHES) { /* the last of them ended when this had begun: its own
                                   * interrupt would take it a second time */
            ADCSRA |= _BV(ADIF);
        }
        fast.running = fast.selected;
    }
}

/* It is too late to be sure what the converter looks at: at the captured channel, in a
 * while. */
static void __attribute__((noinline)) select_anew(void) {
    select_fast(fast.mux);
    fast.doubted = 4; /* this one with them */
}

static void __attribute__((noinline)) begin_bandgap(void) {
    bandgap_asked = 0;
    fast.bandgap = (uint8_t)(BANDGAP_SETTLES * (2 * 8 * CLOCKS) / fast.period);
}

/* What the converter is to look at after the conversion that runs already. */
GW_ALWAYS uint8_t next_input(void) {
    if (fast.bandgap > 0) {
        fast.bandgap--;
        return MUX_BANDGAP;
    }
    if (fast.running != fast.mux || fast.until_turn > 0) {
        return fast.mux;
    }
    fast.until_turn = fast.turn_every;
    if (bandgap_asked && capture.phase == GW_CAPTURE_WAITS) {
        begin_bandgap();
    }
    return fast.other;
}

/* How much the quick part may do until the rest is wanted again. */
GW_ALWAYS void set_quick(void) {
    if (fast.running != fast.mux || fast.selected != fast.mux || fast.doubted > 0) {
        return;
    }
    bool looks = capture_looks();
    quick.flip = looks ? fast.flip : 0;
    quick.level = looks ? fast.level : UINT8_MAX; /* no sample gets there */
    quick.below = capture.below;
    uint8_t most = least(less(fast.until_turn, 1), capture_free());
    quick.plain = least(most, less(fast.feed_every, (uint8_t)(fast.since_fed + 1)));
}

GW_ALWAYS void feed(uint8_t mux, uint16_t raw) {
    if (mux == MUX_CURRENT) {
        readings_current(raw);
    } else if (mux == MUX_VOLTAGE) {
        readings_voltage(raw);
    } else if (mux == MUX_BANDGAP) {
        bandgap_raw = raw;
    }
}

static void __attribute__((noinline)) end_fast(void) {
    if (fast.running == MUX_BANDGAP || fast.bandgap > 0) {
        bandgap_asked = 1; /* another time */
    }
    start_converter();
}

/* A conversion of a capture is over that the quick part leaves to this. */
void __vector_fast(void) __attribute__((signal, used));
void __vector_fast(void) {
    uint16_t at = TCNT1; /* first: an end after this makes no difference */
    uint16_t raw = ADC >> 6;
    uint8_t went = (uint8_t)(capture.at - fast.at);
    converted = 1;
    quick.plain = 0;
    fast.due = in_frame_from(fast.due + (uint16_t)(went * fast.period));
    uint16_t late = at - fast.due;
    if (late > SERVO_TOP) {
        late += SERVO_TOP + 1;
    }
    bool in_time = late >= REACHES && late + SELECTS < fast.period;
    bool steady = fast.running == fast.mux && fast.selected == fast.mux;
    count_passed((uint8_t)(went + 1));
    if (!in_time) {
        look_closer(at, late, went);
    }
    uint8_t was = fast.running;
    fast.running = fast.selected;
    if (in_time) { /* first of all, for the next begins soon */
        uint8_t next = next_input();
        if (next != fast.selected) {
            select_fast(next);
            if (ADCSRA & _BV(ADIF)) { /* it may hold for the next, or not yet */
                select_anew();
            }
        }
    } else if (!steady) {
        was = NOBODY;
        select_anew();
    }
    fast.due = in_frame_from(fast.due + fast.period);
    if (in_time) {
        capture_went(went);
    }
    if (fast.doubted > 0) {
        fast.doubted--;
        was = NOBODY;
    }
    uint8_t sample = GW_NO_SAMPLE;
    if (was == fast.mux) {
        sample = least((uint8_t)(raw >> 2), GW_SAMPLE_TOP);
        if (fast.since_fed < fast.feed_every || fast.selected != fast.mux) {
            was = NOBODY; /* the readings do without it; or there is soon to select */
        } else {
            fast.since_fed = 0;
        }
    } else if (was == fast.running) {
        was = NOBODY; /* of several in a row the last: it has settled */
    }
    if (capture_wants() && capture_take(sample)) {
        stamp_trigger(late);
    }
    fast.at = capture.at;
    if (capture_wants()) {
        set_quick();
    } else {
        end_fast();
    }
    feed(was, raw);
}

/* Current and voltage in turn; for a while the bandgap, when it is asked for. */
void __vector_in_turn(void) __attribute__((signal, used, flatten));
void __vector_in_turn(void) {
    uint16_t raw = ADC;
    uint8_t was = turns.mux;
    converted = 1;
    if (was == MUX_BANDGAP && ++turns.settled < BANDGAP_SETTLES) {
        convert(MUX_BANDGAP);
        return;
    }
    turns.mux = was == MUX_CURRENT ? MUX_VOLTAGE : MUX_CURRENT;
    if (was == MUX_VOLTAGE && bandgap_asked) {
        bandgap_asked = 0;
        turns.settled = 0;
        turns.mux = MUX_BANDGAP;
    }
    if (fast.wanted && turns.mux != MUX_BANDGAP) {
        begin_fast();
    } else {
        convert(turns.mux);
    }
    feed(was, raw);
}

/* Which of them it is for. Most conversions of a capture are for neither, and have to be
 * over soon: at 38500 a second C would save and restore all registers for nothing. */
ISR(ADC_vect, ISR_NAKED) {
    __asm__ volatile(
        "sbis %[on], 0\n\t" /* touches neither register nor flag */
        "jmp  %x[in_turn]\n\t"
        "push r24\n\t"
        "in   r24, __SREG__\n\t"
        "push r24\n\t"
        "lds  r24, %[plain]\n\t"
        "subi r24, 1\n\t"
        "brcs 5f\n\t" /* none: not for the quick part */
        "push r25\n\t"
        "push r30\n\t"
        "push r31\n\t"
        "mov  r25, r24\n\t"
        "lds  r24, %[adch]\n\t" /* the sample, not above the highest that is one */
        "cpi  r24, 0xFF\n\t"
        "brne 1f\n\t"
        "dec  r24\n"
        "1:\t"
        "lds  r30, %[flip]\n\t"
        "eor  r30, r24\n\t"
        "lds  r31, %[level]\n\t"
        "cp   r30, r31\n\t"
        "brlo 2f\n\t"
        "lds  r30, %[below]\n\t"
        "tst  r30\n\t"
        "brne 4f\n\t" /* it triggers: not for the quick part */
        "rjmp 3f\n"
        "2:\t"
        "sts  %[below], r31\n" /* a level that something is below is not 0 */
        "3:\t"
        "sts  %[plain], r25\n\t"
        "lds  r30, %[at]\n\t"
        "mov  r25, r30\n\t"
        "inc  r25\n\t"
        "sts  %[at], r25\n\t"
        "ldi  r31, 0\n\t"
        "subi r30, lo8(-(%[ring]))\n\t"
        "sbci r31, hi8(-(%[ring]))\n\t"
        "st   Z, r24\n\t"
        "pop  r31\n\t"
        "pop  r30\n\t"
        "pop  r25\n\t"
        "pop  r24\n\t"
        "out  __SREG__, r24\n\t"
        "pop  r24\n\t"
        "reti\n"
        "4:\t"
        "pop  r31\n\t"
        "pop  r30\n\t"
        "pop  r25\n"
        "5:\t"
        "pop  r24\n\t"
        "out  __SREG__, r24\n\t"
        "pop  r24\n\t"
        "jmp  %x[fast]\n"
        :
        : [plain] "i"(&quick.plain), [flip] "i"(&quick.flip), [level] "i"(&quick.level),
          [below] "i"(&quick.below), [at] "i"(&capture.at), [ring] "i"(capture.ring),
          [on] "I"(_SFR_IO_ADDR(FAST_ON)), [adch] "n"(_SFR_MEM_ADDR(ADCH)),
          [in_turn] "i"(__vector_in_turn), [fast] "i"(__vector_fast));
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
