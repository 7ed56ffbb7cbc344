/* Tables that stay in flash: on an AVR they would otherwise fill its RAM. */
#ifndef GW_FLASH_H
#define GW_FLASH_H

#ifdef __AVR__
#include <avr/pgmspace.h>
#define GW_FLASH PROGMEM
#define gw_from_flash(to, from, size) memcpy_P(to, from, size)
#define gw_flash_byte(address) pgm_read_byte(address)
#else
#define GW_FLASH
#define gw_from_flash(to, from, size) memcpy(to, from, size)
#define gw_flash_byte(address) (*(const uint8_t *)(address))
#endif

#endif
