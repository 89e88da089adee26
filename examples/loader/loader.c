/* Loads Intel HEX from the serial line into a relay memory, at relay speed.

   For an ATmega328P at 16 MHz. README.md has the protocol and the wiring; every
   figure that belongs to your machine is a macro here and can be set with -D.

   avr-gcc -std=c11 -mmcu=atmega328p -Os -Wall -Wextra -Werror -o loader.elf loader.c */

#ifndef F_CPU
#define F_CPU 16000000UL /* Hz */
#endif
#ifndef BAUD
#define BAUD 9600UL /* bits a second; 8 data bits, no parity, 1 stop bit */
#endif

/* The memory: byte addresses BASE to BASE + MEMORY_BYTES - 1 of the HEX file go
   to its addresses 0 and up. */
#ifndef BASE
#define BASE 0UL
#endif
#ifndef MEMORY_BYTES
#define MEMORY_BYTES 256UL
#endif
#ifndef DATA_MASK
#define DATA_MASK 0xFF /* which of the data lines are fitted */
#endif

/* Times in milliseconds. The defaults suit relays that operate within 10 ms. */
#ifndef SETTLE_MS
#define SETTLE_MS 15 /* address and data on, until the write line comes on */
#endif
#ifndef PULSE_MS
#define PULSE_MS 20 /* write line on */
#endif
#ifndef RELEASE_MS
#define RELEASE_MS 15 /* write or read line off, until address and data may change */
#endif
#ifndef READ_MS
#define READ_MS 25 /* read line on, until the data lines are looked at */
#endif
#ifndef CHARACTER_MS
#define CHARACTER_MS 500 /* between two characters of one record */
#endif

#ifndef WRITE_TRIES
#define WRITE_TRIES 2 /* a byte that reads back wrong is written again */
#endif
#ifndef READ_BACK
#define READ_BACK 1 /* 0 for a memory whose data lines are not wired back */
#endif

#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>
#include <util/delay.h>
#include <util/setbaud.h>

_Static_assert(MEMORY_BYTES >= 1 && MEMORY_BYTES <= 65536, "there are 16 address lines");
_Static_assert(MEMORY_BYTES - 1 <= 0xFFFFFFFFUL - BASE, "the memory ends above 32 bits");
_Static_assert(WRITE_TRIES >= 1 && WRITE_TRIES <= 255, "tries to write a byte");

/* What is said to the sender. None is a hex digit, or occurs in a report. */
enum {
    READY = '>',
    ACCEPTED = '+',
    GARBLED = '?',
    LATE = '~',
    FAILED = '!',
    REFUSED = '#',
    DONE = '.',
};

enum {
    LONGEST = 63,                  /* characters of a record, from the colon to before the line end */
    MOST = (LONGEST - 1) / 2,      /* bytes of a record: count, offset, type, data, checksum */
    AROUND = 5,                    /* of these, bytes that are no data */
};

/* ---- The pins ----

   Value lines 0 to 5 are PD2 to PD7, 6 and 7 are PB0 and PB1. */
enum {
    VALUE_D = 0xFC,
    VALUE_B = 0x03,
    DRIVE_OFF = 1 << PB2,  /* high: the registers' outputs are off */
    LAMP = 1 << PB5,
    CLOCK_LOW = 1 << PC0,  /* rising: the register takes the value lines in */
    CLOCK_HIGH = 1 << PC1,
    CLOCK_DATA = 1 << PC2,
    WRITE = 1 << PC3,
    READ = 1 << PC4,
    BACK_OFF = 1 << PC5,   /* low: the relay data lines drive the value lines */
};

static void put_register(uint8_t clock, uint8_t value)
{
    PORTD = (uint8_t)((PORTD & ~VALUE_D) | (uint8_t)(value << 2));
    PORTB = (uint8_t)((PORTB & ~VALUE_B) | (value >> 6));
    _delay_us(2);
    PORTC |= clock;
    _delay_us(2);
    PORTC &= (uint8_t)~clock;
}

static void pins_begin(void)
{
    /* Levels before directions: an output must not start with the wrong one. */
    PORTB = DRIVE_OFF;
    PORTC = BACK_OFF;
    PORTD = 0;
    DDRC = CLOCK_LOW | CLOCK_HIGH | CLOCK_DATA | WRITE | READ | BACK_OFF;
    DDRB = VALUE_B | DRIVE_OFF | LAMP;
    DDRD = VALUE_D; /* the serial port takes PD0 and PD1 for itself */
    put_register(CLOCK_LOW, 0);
    put_register(CLOCK_HIGH, 0);
    put_register(CLOCK_DATA, 0);
}

static void lines_take(void)
{
    PORTB = (uint8_t)((PORTB | LAMP) & ~DRIVE_OFF);
}

/* Leaves the bus to the machine, with no relay pulled in from here. */
static void lines_leave(void)
{
    put_register(CLOCK_LOW, 0);
    put_register(CLOCK_HIGH, 0);
    put_register(CLOCK_DATA, 0);
    PORTB = (uint8_t)((PORTB | DRIVE_OFF) & ~LAMP);
}

static void memory_write(uint16_t address, uint8_t value)
{
    put_register(CLOCK_LOW, (uint8_t)address);
    put_register(CLOCK_HIGH, (uint8_t)(address >> 8));
    put_register(CLOCK_DATA, value);
    _delay_ms(SETTLE_MS);
    PORTC |= WRITE;
    _delay_ms(PULSE_MS);
    PORTC &= (uint8_t)~WRITE;
    _delay_ms(RELEASE_MS);
}

#if READ_BACK
static uint8_t value_lines(void)
{
    return (uint8_t)((PIND >> 2) | (uint8_t)(PINB << 6));
}

/* Reads the word at the address that is on the lines. */
static uint8_t memory_read(void)
{
    /* A relay bus is the OR of its sources: ours has to be 0 to see theirs. */
    put_register(CLOCK_DATA, 0);
    DDRD &= (uint8_t)~VALUE_D;
    DDRB &= (uint8_t)~VALUE_B;
    PORTD &= (uint8_t)~VALUE_D; /* no pull-ups against the buffer */
    PORTB &= (uint8_t)~VALUE_B;
    PORTC &= (uint8_t)~BACK_OFF;
    PORTC |= READ;
    _delay_ms(READ_MS);
    uint8_t value = value_lines();
    PORTC &= (uint8_t)~READ;
    PORTC |= BACK_OFF;
    _delay_ms(RELEASE_MS);
    DDRD |= VALUE_D;
    DDRB |= VALUE_B;
    return value & DATA_MASK;
}
#endif

/* ---- The serial line ---- */

static void serial_begin(void)
{
    UBRR0 = UBRR_VALUE;
#if USE_2X
    UCSR0A = 1 << U2X0;
#else
    UCSR0A = 0;
#endif
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
    UCSR0B = 1 << RXEN0 | 1 << TXEN0;
}

static void say(char c)
{
    while (!(UCSR0A & 1 << UDRE0)) {
    }
    UDR0 = (uint8_t)c;
}

static void say_hex(uint32_t value, uint8_t digits)
{
    while (digits-- > 0) {
        uint8_t d = (uint8_t)(value >> (4 * digits)) & 15;
        say((char)(d < 10 ? '0' + d : 'A' + d - 10));
    }
}

enum { NOTHING = -1, DAMAGED = -2, OVERRUN = -3 };

/* The character that is waiting; NOTHING; DAMAGED if its stop bit is missing;
   OVERRUN if others were lost because nobody took them. */
static int waiting(void)
{
    uint8_t status = UCSR0A;
    if (!(status & 1 << RXC0)) {
        return NOTHING;
    }
    uint8_t c = UDR0;
    if (status & 1 << DOR0) {
        return OVERRUN;
    }
    return status & 1 << FE0 ? DAMAGED : c;
}

static int next_character(void)
{
    for (uint16_t ms = 0; ms < CHARACTER_MS; ms++) {
        for (uint8_t i = 0; i < 100; i++) {
            int c = waiting();
            if (c != NOTHING) {
                return c;
            }
            _delay_us(10);
        }
    }
    return NOTHING;
}

/* ---- Records ---- */

static uint8_t record[MOST]; /* the bytes of a record, its checksum included */

static uint32_t base;      /* from the last record of type 02 or 04 */
static bool in_segments;   /* it was 02: offsets wrap at 64 KiB */
static bool ended;         /* an end record came: what follows is a new file */

/* A sender that does not wait loses what it sends while the relays move. */
static uint8_t interrupted;        /* records whose writing another began in: 0, 1, more */
static uint8_t interrupted_one[3]; /* offset and checksum of the last of them */

/* For the report, since the file began. */
static uint16_t written, repeated, failed;
static uint32_t failed_address;
static uint8_t failed_wanted, failed_got;

static void file_begins(void)
{
    base = 0;
    in_segments = false;
    ended = false;
    interrupted = 0;
    written = repeated = failed = 0;
    failed_address = 0;
    failed_wanted = failed_got = 0;
}

static int digit(int c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    c |= 0x20;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Reads what follows a colon up to the end of the line. Returns 0 with `record`
   filled and proved, READY if the sender began anew, or the answer. */
static char read_record(void)
{
    uint8_t digits, sum;
    bool sound;
again:
    digits = 0;
    sum = 0;
    sound = true;
    for (;;) {
        int c = next_character();
        if (c == NOTHING) {
            return LATE;
        }
        if (c == ':') {
            goto again; /* the end of the one before was lost */
        }
        if (c == READY) {
            return READY;
        }
        if (c == '\r' || c == '\n') {
            break;
        }
        int d = digit(c);
        if (d < 0) {
            sound = false;
        } else if (digits >= LONGEST - 1) {
            digits = LONGEST; /* one too many; more would say nothing new */
        } else {
            uint8_t *b = &record[digits / 2];
            *b = (uint8_t)(*b << 4 | d);
            if (digits % 2 == 1) {
                sum += *b;
            }
            digits++;
        }
    }
    if (!sound) {
        return GARBLED;
    }
    if (digits == LONGEST) {
        return REFUSED;
    }
    if (digits % 2 != 0 || digits / 2 < AROUND || digits / 2 != AROUND + record[0] || sum != 0) {
        return GARBLED;
    }
    return 0;
}

/* Whether one byte of the file is in the memory, after as many tries as it takes. */
static bool store_byte(uint32_t address, uint8_t value)
{
#if READ_BACK
    uint8_t got = 0;
    value &= DATA_MASK;
    for (uint8_t i = 0; i < WRITE_TRIES; i++) {
        repeated += i > 0;
        memory_write((uint16_t)(address - BASE), value);
        got = memory_read();
        if (got == value) {
            written++;
            return true;
        }
    }
    failed_address = address;
    failed_wanted = value;
    failed_got = got;
    failed++;
    return false;
#else
    memory_write((uint16_t)(address - BASE), value & DATA_MASK);
    written++;
    return true;
#endif
}

static uint32_t address_of(uint8_t i)
{
    uint16_t offset = (uint16_t)(record[1] << 8 | record[2]);
    return in_segments ? base + (uint16_t)(offset + i) : base + offset + i;
}

static char store_data(void)
{
    uint8_t count = record[0];
    /* All or nothing: a record that is half outside was meant for another memory. */
    for (uint8_t i = 0; i < count; i++) {
        if (address_of(i) - BASE >= MEMORY_BYTES) { /* below BASE it wraps to far above */
            return REFUSED;
        }
    }
    char answer = ACCEPTED;
    lines_take();
    for (uint8_t i = 0; i < count; i++) {
        /* Goes on after a failure, so that one bad cell costs one cell. */
        if (!store_byte(address_of(i), record[4 + i])) {
            answer = FAILED;
        }
    }
    lines_leave();
    return answer;
}

static char take_record(void)
{
    uint8_t count = record[0], type = record[3];
    if (ended && type != 1) {
        file_begins();
    }
    switch (type) {
    case 0:
        return store_data();
    case 1:
        if (count != 0) {
            return REFUSED;
        }
        if (interrupted != 0 && failed == 0) {
            return GARBLED; /* some of the file is missing */
        }
        /* The counts stay, so that an end record sent twice is answered twice alike. */
        ended = true;
        base = 0;
        in_segments = false;
        return failed != 0 ? FAILED : DONE;
    case 2:
    case 4:
        if (count != 2) {
            return REFUSED;
        }
        base = (uint32_t)record[4] << 8 | record[5];
        base <<= type == 2 ? 4 : 16;
        in_segments = type == 2;
        return ACCEPTED;
    case 3:
    case 5:
        /* A start address: the relay machine has its own reset. */
        return count == 4 ? ACCEPTED : REFUSED;
    default:
        return REFUSED;
    }
}

/* What came while the relays moved was cut: nobody may take its end for a
   record. The answer to the record that they moved for; sent again on a quiet
   line, it is in order. */
static char answer_after(char answer)
{
    bool came = false;
    for (int c = waiting(); c != NOTHING; c = waiting()) {
        came |= c == ':' || c == OVERRUN;
    }
    uint8_t one[3] = {record[1], record[2], record[4 + record[0]]};
    bool same = memcmp(one, interrupted_one, sizeof one) == 0;
    if (!came) {
        if (interrupted == 1 && same) {
            interrupted = 0;
        }
        return answer;
    }
    if (interrupted == 0 || (interrupted == 1 && !same)) {
        interrupted++;
    }
    memcpy(interrupted_one, one, sizeof one);
    return answer == ACCEPTED ? GARBLED : answer;
}

static void say_report(void)
{
    say_hex(written, 4);
    say(' ');
    say_hex(repeated, 4);
    say(' ');
    say_hex(failed, 4);
    say(' ');
    say_hex(failed_address, 8);
    say(' ');
    say_hex(failed_wanted, 2);
    say(' ');
    say_hex(failed_got, 2);
    say('\r');
    say('\n');
}

int main(void)
{
    pins_begin();
    serial_begin();
    file_begins();
    say(READY);
    for (;;) {
        char answer = READY;
        int c = waiting();
        if (c == 'r') {
            say_report();
            continue;
        }
        if (c == ':') {
            answer = read_record();
            if (answer == 0) {
                answer = take_record();
                if (record[3] == 0 && answer != REFUSED) {
                    answer = answer_after(answer);
                }
            }
        } else if (c != READY) {
            continue;
        }
        if (answer == READY) {
            file_begins();
        }
        say(answer);
    }
}
