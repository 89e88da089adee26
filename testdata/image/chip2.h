/* machine textbook, definition 0123456789ab, exercise store, chip 2 of 2: 16 words of 8 bits */
#ifndef TEXTBOOK_EXERCISE_CHIP2_H
#define TEXTBOOK_EXERCISE_CHIP2_H

#include <stdint.h>

/* Where the array is kept. For an AVR: include <avr/pgmspace.h> and define
   COILWRIGHT_STORAGE as PROGMEM before this file. */
#ifndef COILWRIGHT_STORAGE
#define COILWRIGHT_STORAGE
#endif

#define TEXTBOOK_EXERCISE_CHIP2_WORDS 16UL
#define TEXTBOOK_EXERCISE_CHIP2_BITS 8

static const uint8_t textbook_exercise_chip2[TEXTBOOK_EXERCISE_CHIP2_WORDS] COILWRIGHT_STORAGE = {
    0x0B, 0x07, 0x01, 0x02, 0x03, 0x03, 0x03, 0x03, /* 0 */
    0x03, 0x03, 0x03, 0x03, 0x0B, 0x07, 0x01, 0x02, /* 8 */
};

#endif /* TEXTBOOK_EXERCISE_CHIP2_H */
