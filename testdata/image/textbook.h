/* machine textbook, definition 0123456789ab, control store: 32 words of 12 bits */
#ifndef TEXTBOOK_STORE_H
#define TEXTBOOK_STORE_H

#include <stdint.h>

/* Where the array is kept. For an AVR: include <avr/pgmspace.h> and define
   COILWRIGHT_STORAGE as PROGMEM before this file. */
#ifndef COILWRIGHT_STORAGE
#define COILWRIGHT_STORAGE
#endif

#define TEXTBOOK_STORE_WORDS 32UL
#define TEXTBOOK_STORE_BITS 12

static const uint16_t textbook_store[TEXTBOOK_STORE_WORDS] COILWRIGHT_STORAGE = {
    0x05E3, 0x0BE3, 0x0263, 0x01A3, 0x02C3, 0x03E3, 0x01A3, 0x02E1, /* 0 */
    0x03C7, 0x01A3, 0x02E1, 0x03CF, 0x03F2, 0x03E3, 0x03E3, 0x03E3, /* 8 */
    0x0000, 0x0000, 0x0000, 0x0000, 0x0000, 0x0000, 0x0000, 0x0000, /* 10 */
    0x0000, 0x0000, 0x0000, 0x0000, 0x0000, 0x0000, 0x0000, 0x0000, /* 18 */
};

#endif /* TEXTBOOK_STORE_H */
