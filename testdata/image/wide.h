/* machine _wide, definition 5a5a5a5a5a5a, control store: 2 words of 70 bits */
#ifndef MACHINE_WIDE_STORE_H
#define MACHINE_WIDE_STORE_H

#include <stdint.h>

/* Where the array is kept. For an AVR: include <avr/pgmspace.h> and define
   COILWRIGHT_STORAGE as PROGMEM before this file. */
#ifndef COILWRIGHT_STORAGE
#define COILWRIGHT_STORAGE
#endif

#define MACHINE_WIDE_STORE_WORDS 2UL
#define MACHINE_WIDE_STORE_BITS 70
#define MACHINE_WIDE_STORE_BYTES 9 /* a word, least significant byte first */
#define MACHINE_WIDE_STORE_LITTLE 1

static const uint8_t machine_wide_store[MACHINE_WIDE_STORE_WORDS * MACHINE_WIDE_STORE_BYTES] COILWRIGHT_STORAGE = {
    0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00,
    0x20, /* 0 */
    0x49, 0x92, 0x24, 0x49, 0x92, 0x24, 0x49, 0x92,
    0x04, /* 1 */
};

#endif /* MACHINE_WIDE_STORE_H */
