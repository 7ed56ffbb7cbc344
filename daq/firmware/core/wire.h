/* The wire language, written by `python -m daq.firmware.generate` from
 * daq/link/messages.py and daq/link/standing.py. Do not edit: change those, and
 * write it again. daq/link/README.md says what everything means. */
#ifndef GW_WIRE_H
#define GW_WIRE_H

#include <stdint.h>


#define GW_LINK_VERSION 1
#define GW_MIN_PAYLOAD 3
#define GW_MAX_PAYLOAD 64
#define GW_MAX_ENCODED 67
#define GW_HEAD_SIZE 3
#define GW_CRC_START 65535
#define GW_THROTTLE_FULL 10000
#define GW_LEASE_MIN_MS 50
#define GW_LEASE_MAX_MS 500
#define GW_NONE 255
#define GW_MAX_AGE_UNIT_MS 10
#define GW_MAX_CHANNELS 64

enum {
    GW_STATE_UNKNOWN = 0,
    GW_STATE_LOCKED = 1,
    GW_STATE_PROVING = 2,
    GW_STATE_ARMED = 3,
    GW_STATE_SPINNING = 4,
    GW_STATE_TRIPPED = 5,
};

enum {
    GW_CAUSE_POWER_ON = 1,
    GW_CAUSE_RESET_PIN = 2,
    GW_CAUSE_WATCHDOG = 3,
    GW_CAUSE_BROWN_OUT = 4,
    GW_CAUSE_RESET_OTHER = 5,
    GW_CAUSE_ARMED = 16,
    GW_CAUSE_THROTTLE_UP = 17,
    GW_CAUSE_THROTTLE_ZERO = 18,
    GW_CAUSE_LOCKED = 19,
    GW_CAUSE_ACKNOWLEDGED = 20,
    GW_CAUSE_IDLE_TOO_LONG = 21,
    GW_CAUSE_PROVING = 22,
    GW_CAUSE_LEASE_ENDED = 32,
    GW_CAUSE_LIMIT = 33,
    GW_CAUSE_CHANNEL_SILENT = 34,
    GW_CAUSE_STOP = 35,
    GW_CAUSE_STOP_LOOP_OPEN = 36,
    GW_CAUSE_SUPPLY_ON = 37,
};

enum {
    GW_VERDICT_DONE = 0,
    GW_VERDICT_UNKNOWN_COMMAND = 1,
    GW_VERDICT_MALFORMED = 2,
    GW_VERDICT_WRONG_STATE = 3,
    GW_VERDICT_WRONG_BOOT = 4,
    GW_VERDICT_WRONG_LIMITS = 5,
    GW_VERDICT_NO_LIMITS = 6,
    GW_VERDICT_BAD_LIMITS = 7,
    GW_VERDICT_LIMIT_EXCEEDED = 8,
    GW_VERDICT_CHANNEL_SILENT = 9,
    GW_VERDICT_STOP_LOOP_OPEN = 10,
    GW_VERDICT_BAD_LEASE = 11,
    GW_VERDICT_BAD_NONCE = 12,
    GW_VERDICT_WRONG_LATCH = 13,
    GW_VERDICT_STALE = 14,
    GW_VERDICT_SUPPLY_ON = 15,
};

enum {
    GW_ABILITY_LEASE = 1,
    GW_ABILITY_LIMITS = 2,
    GW_ABILITY_STOP_LOOP = 4,
    GW_ABILITY_PULSE_READBACK = 8,
    GW_ABILITY_WATCHDOG = 16,
    GW_ABILITY_PROVE = 32,
    GW_ABILITY_CAPTURE = 64,
    GW_ABILITY_SIMULATED = 128,
};

enum {
    GW_QUANTITY_FORCE = 1,
    GW_QUANTITY_CURRENT = 2,
    GW_QUANTITY_VOLTAGE = 3,
    GW_QUANTITY_ROTATIONAL_SPEED = 4,
    GW_QUANTITY_DURATION = 5,
    GW_QUANTITY_TEMPERATURE = 6,
    GW_QUANTITY_POWER = 7,
    GW_QUANTITY_TORQUE = 8,
};

enum {
    GW_KIND_POINT = 1,
    GW_KIND_MEAN = 2,
    GW_KIND_LOW = 3,
    GW_KIND_HIGH = 4,
};

enum {
    GW_STOP_REASON_PERSON = 1,
    GW_STOP_REASON_GUARD = 2,
    GW_STOP_REASON_END = 3,
    GW_STOP_REASON_FAULT = 4,
};

enum {
    GW_MOVE_PROVE = 0,
    GW_MOVE_ARM = 1,
    GW_MOVE_THROTTLE_UP = 2,
    GW_MOVE_THROTTLE_ZERO = 3,
    GW_MOVE_LOCK = 4,
    GW_MOVE_IDLE = 5,
    GW_MOVE_ACKNOWLEDGE = 6,
    GW_MOVE_STOP = 7,
    GW_MOVE_TRIP = 8,
};

#define GW_IDENTITY 0x01
enum {
    GW_IDENTITY_AT_LINK_VERSION = 0,
    GW_IDENTITY_AT_FIRMWARE_MAJOR = 1,
    GW_IDENTITY_AT_FIRMWARE_MINOR = 2,
    GW_IDENTITY_AT_BOOT = 3,
    GW_IDENTITY_AT_STAND_ID = 5,
    GW_IDENTITY_AT_ABILITIES = 9,
    GW_IDENTITY_AT_CHANNEL_COUNT = 11,
    GW_IDENTITY_AT_STREAM_COUNT = 12,
    GW_IDENTITY_AT_BOARD = 13,
    GW_IDENTITY_SIZE = 29,
};

#define GW_CHANNEL_PAGE 0x02
enum {
    GW_CHANNEL_PAGE_AT_INDEX = 0,
    GW_CHANNEL_PAGE_AT_QUANTITY = 1,
    GW_CHANNEL_PAGE_AT_KIND = 2,
    GW_CHANNEL_PAGE_AT_WIDTH = 3,
    GW_CHANNEL_PAGE_AT_COUNTS_PER_UNIT = 4,
    GW_CHANNEL_PAGE_AT_ZERO_COUNTS = 8,
    GW_CHANNEL_PAGE_AT_LOW_COUNTS = 12,
    GW_CHANNEL_PAGE_AT_HIGH_COUNTS = 16,
    GW_CHANNEL_PAGE_AT_GAIN_U_PPM = 20,
    GW_CHANNEL_PAGE_AT_DELAY_US = 24,
    GW_CHANNEL_PAGE_AT_NAME = 26,
    GW_CHANNEL_PAGE_SIZE = 42,
};

#define GW_EVENT 0x05
enum {
    GW_EVENT_AT_TIME_US = 0,
    GW_EVENT_AT_BOOT = 4,
    GW_EVENT_AT_NUMBER = 6,
    GW_EVENT_AT_STATE = 8,
    GW_EVENT_AT_CAUSE = 9,
    GW_EVENT_AT_LATCH = 10,
    GW_EVENT_AT_LIMIT = 12,
    GW_EVENT_AT_CHANNEL = 13,
    GW_EVENT_AT_COUNT = 14,
    GW_EVENT_AT_THROTTLE = 18,
    GW_EVENT_SIZE = 20,
};

#define GW_REPLY 0x06
enum {
    GW_REPLY_AT_TO_TYPE = 0,
    GW_REPLY_AT_TO_SEQUENCE = 1,
    GW_REPLY_AT_VERDICT = 3,
    GW_REPLY_AT_VALUE = 4,
    GW_REPLY_AT_TIME_US = 8,
    GW_REPLY_SIZE = 12,
};

#define GW_COUNTERS 0x07
enum {
    GW_COUNTERS_AT_TIME_US = 0,
    GW_COUNTERS_AT_BOOT = 4,
    GW_COUNTERS_AT_STATE = 6,
    GW_COUNTERS_AT_LATCH = 7,
    GW_COUNTERS_AT_EVENTS = 9,
    GW_COUNTERS_AT_THROTTLE = 11,
    GW_COUNTERS_AT_RECEIVED = 13,
    GW_COUNTERS_AT_DAMAGED = 15,
    GW_COUNTERS_AT_IGNORED = 17,
    GW_COUNTERS_AT_UNSENT = 19,
    GW_COUNTERS_AT_MISSED = 21,
    GW_COUNTERS_SIZE = 23,
};

#define GW_WHO 0x41
enum {
    GW_WHO_AT_LINK_VERSION = 0,
    GW_WHO_SIZE = 1,
};

#define GW_PROVE 0x43
enum {
    GW_PROVE_AT_NONCE = 0,
    GW_PROVE_AT_BOOT = 2,
    GW_PROVE_AT_LIMITS_CRC = 4,
    GW_PROVE_AT_LEASE_MS = 6,
    GW_PROVE_AT_SEEN_US = 8,
    GW_PROVE_SIZE = 12,
};

#define GW_ARM 0x44
enum {
    GW_ARM_AT_NONCE = 0,
    GW_ARM_AT_BOOT = 2,
    GW_ARM_AT_LIMITS_CRC = 4,
    GW_ARM_AT_LEASE_MS = 6,
    GW_ARM_AT_SEEN_US = 8,
    GW_ARM_SIZE = 12,
};

#define GW_THROTTLE 0x45
enum {
    GW_THROTTLE_AT_NONCE = 0,
    GW_THROTTLE_AT_SETPOINT = 2,
    GW_THROTTLE_AT_LEASE_MS = 4,
    GW_THROTTLE_AT_SEEN_US = 6,
    GW_THROTTLE_SIZE = 10,
};

#define GW_STOP 0x46
enum {
    GW_STOP_AT_REASON = 0,
    GW_STOP_SIZE = 1,
};

#define GW_ACKNOWLEDGE 0x47
enum {
    GW_ACKNOWLEDGE_AT_BOOT = 0,
    GW_ACKNOWLEDGE_AT_LATCH = 2,
    GW_ACKNOWLEDGE_SIZE = 4,
};

#define GW_LOCK 0x48
enum {
    GW_LOCK_AT_BOOT = 0,
    GW_LOCK_SIZE = 2,
};

#define GW_STREAM_PAGE 0x03
#define GW_SAMPLES 0x04
#define GW_LIMITS 0x42

/* Where each move leads from each state, GW_STATE_UNKNOWN where it leads
 * nowhere. Columns: unknown, locked, proving, armed, spinning, tripped. */
#define GW_NEXT_TABLE \
    {0, 2, 0, 0, 0, 0}, /* prove */ \
    {0, 3, 0, 0, 0, 0}, /* arm */ \
    {0, 0, 0, 4, 0, 0}, /* throttle up */ \
    {0, 0, 0, 0, 3, 0}, /* throttle zero */ \
    {0, 0, 1, 1, 1, 0}, /* lock */ \
    {0, 0, 0, 1, 0, 0}, /* idle */ \
    {0, 0, 0, 0, 0, 1}, /* acknowledge */ \
    {0, 5, 5, 5, 5, 0}, /* stop */ \
    {0, 0, 5, 5, 5, 0}, /* trip */ \

/* The cause that each move is told with; a trip brings its own. */
#define GW_CAUSE_TABLE 22, 16, 17, 18, 19, 21, 20, 35, 0
#define GW_MOVES 9
#define GW_STATES 6
#define GW_MAY_DRIVE(state) ((state) == 2 || (state) == 3 || (state) == 4)

#endif
