/* A loader board on the bench, for the tests: runs loader.elf on libsimavr, with
   a relay memory on its pins that insists on its times, and a serial line that
   can be disturbed. Told what to do by lines on standard input:

   send HEX         characters to the board, two digits each; a following `*` damages one
   wait MS          run until the board says a character: `said HEX`, or `silent`
   fill HEX         all cells take this value
   stuck A M V      the bits M of cell A read as those of V (all hex)
   flaky A N        cell A (hex) misses its next N writes
   dump A N         N cells from A (hex), as `cells HEX`
   reset            the board, as by its button or a dip of its supply
   boot MS          how long it is deaf and silent after a reset (65)
   ledger           `writes N reads N` and `fault TEXT` for each rule broken, then `end`
   lose N, spoil N  of what the host sends while serving, character N (from 1) is lost
                    or has a bit turned over
   mute N, double N of what the board says while serving, character N is lost or comes twice
   reset-at N       reset once character N of the host has come in, while serving
   reset-write N    reset in the middle of write pulse N
   reset-often N    reset in the middle of every N-th write pulse
   reset-answer N   reset once the board has said character N, while serving
   serve            print `port NAME` of a pseudo terminal, carry it until the next line

   The receiver holds what that of the chip holds: two characters, and one that is
   still in the shift register. What comes after is lost, and the flag says so.

   Times of the simulation are the board's own, so that what a test sees does not
   depend on the speed of the host, except while serving.

   usage: board loader.elf HZ BAUD SETTLE PULSE RELEASE READ (milliseconds) */

#define _XOPEN_SOURCE 600

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_regbit.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

enum { CELLS = 65536, MARKS = 65536 };

/* Data addresses of the ATmega328P's ports (data sheet, "Register Summary"). */
enum { DDRB_AT = 0x24, PORTB_AT = 0x25, DDRC_AT = 0x27, PORTC_AT = 0x28, DDRD_AT = 0x2A, PORTD_AT = 0x2B };

static avr_t *avr;
static uint64_t hz;
static avr_irq_t *to_board;
static uint64_t settle, pulse, release, read_time, character_time; /* cycles */

/* ---- What has gone wrong on the bench ---- */

static char faults[16][120];
static int fault_count;
static long writes, reads, pulses;

static void fault(const char *what)
{
    for (int i = 0; i < fault_count; i++) {
        if (strcmp(faults[i], what) == 0) {
            return;
        }
    }
    if (fault_count < 16) {
        snprintf(faults[fault_count++], sizeof faults[0], "%s", what);
    }
}

/* ---- The relay memory behind its three registers ---- */

static uint8_t cell[CELLS], stuck_mask[CELLS], stuck_value[CELLS];
static int flaky[CELLS];

static struct {
    uint8_t low, high, data;   /* the registers */
    uint8_t c;                 /* port C as it was */
    bool drive;
    uint64_t lines_since;      /* when address or drive last changed */
    uint64_t data_since;
    uint64_t write_since, read_since;
    uint64_t write_ended, read_ended;
    uint8_t data_on_write;     /* the word that the write line found */
    bool begun;
} bench;

static uint8_t held(uint16_t address)
{
    return (uint8_t)((cell[address] & ~stuck_mask[address]) | (stuck_value[address] & stuck_mask[address]));
}

static bool recently(uint64_t ended)
{
    return ended != 0 && avr->cycle < ended + release;
}

static long reset_at, reset_write, reset_often, reset_answer; /* counts, 0 for never */

/* Looks at the pins after each instruction of the board. */
static void bench_step(void)
{
    uint8_t b = avr->data[PORTB_AT], c = avr->data[PORTC_AT], d = avr->data[PORTD_AT];
    uint8_t ddrb = avr->data[DDRB_AT], ddrd = avr->data[DDRD_AT];
    if (!bench.begun) {
        /* Resistors hold the lines as they rest until the board drives them, and
           the registers hold anything. */
        uint8_t driven_c = avr->data[DDRC_AT];
        if ((driven_c & c & (1 << 3 | 1 << 4)) != 0 || (driven_c & ~c & 1 << 5) != 0 || (ddrb & ~b & 4) != 0) {
            fault("a line was on while the board began");
        }
        if ((driven_c & 0x3F) != 0x3F || (ddrb & 4) == 0) {
            return;
        }
        bench.begun = true;
        bench.low = bench.high = bench.data = 0x5A;
        bench.c = c & (uint8_t)~7;
    }
    uint8_t value = (uint8_t)((d >> 2) | (b << 6));
    uint8_t driven = (uint8_t)(((ddrd & 0xFC) >> 2) | ((ddrb & 3) << 6));
    bool drive = (b & 4) == 0;
    uint8_t up = c & (uint8_t)~bench.c, down = bench.c & (uint8_t)~c;
    bool back = (c & 1 << 5) == 0, write = c & 1 << 3, read = c & 1 << 4;
    uint16_t address = (uint16_t)(bench.high << 8 | bench.low);

    if (up & 7) {
        if (driven != 0xFF) {
            fault("a register took in value lines that nobody drives");
        }
        if (write) {
            fault("a register changed while the write line was on");
        }
        if (recently(bench.write_ended)) {
            fault("a register changed too soon after the write line");
        }
        if ((up & 3) && (read || recently(bench.read_ended))) {
            fault("the address changed while a word was read");
        }
        if (up & 1) {
            bench.low = value;
        }
        if (up & 2) {
            bench.high = value;
        }
        if (up & 4) {
            bench.data = value;
            bench.data_since = avr->cycle;
        }
        if (up & 3) {
            bench.lines_since = avr->cycle;
        }
    }
    if (drive != bench.drive) {
        if (write || read || recently(bench.write_ended) || recently(bench.read_ended)) {
            fault("the drivers changed too close to the write or read line");
        }
        bench.drive = drive;
        bench.lines_since = avr->cycle;
    }
    if (back && driven != 0) {
        fault("board and buffer both drive the value lines");
    }
    if (write && read) {
        fault("the write and the read line are both on");
    }
    if (up & 1 << 3) {
        if (!drive) {
            fault("the write line came on with the drivers off");
        }
        if (avr->cycle < bench.lines_since + settle || avr->cycle < bench.data_since + settle) {
            fault("the write line came on before address and data were still");
        }
        bench.write_since = avr->cycle;
        bench.data_on_write = bench.data;
        pulses++;
    }
    if (down & 1 << 3) {
        writes++;
        bench.write_ended = avr->cycle;
        if (avr->cycle < bench.write_since + pulse) {
            fault("the write pulse was too short");
        } else if (flaky[address] > 0) {
            flaky[address]--;
        } else {
            cell[address] = bench.data_on_write;
        }
    }
    if (up & 1 << 4) {
        if (bench.drive && bench.data != 0) {
            fault("a word was read onto lines that the board drives");
        }
        bench.read_since = avr->cycle;
    }
    if (down & 1 << 4) {
        reads++;
        bench.read_ended = avr->cycle;
    }
    bench.c = c;

    if (back) {
        uint8_t bus = bench.drive ? bench.data : 0;
        if (read) {
            /* Until the contacts are still, the lines show anything but the word. */
            bool still = avr->cycle >= bench.read_since + read_time;
            bus |= still ? held((uint16_t)(bench.high << 8 | bench.low)) : (uint8_t)~held((uint16_t)(bench.high << 8 | bench.low));
        }
        static int shown = -1;
        static uint8_t shown_driven;
        if (shown != bus || shown_driven != driven || (down & 1 << 5)) {
            for (int i = 0; i < 8; i++) {
                avr_irq_t *pin = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(i < 6 ? 'D' : 'B'), i < 6 ? i + 2 : i - 6);
                avr_raise_irq(pin, bus >> i & 1);
            }
            shown = bus;
            shown_driven = driven;
        }
    }
}

/* ---- The serial line ---- */

static uint16_t line[1 << 16]; /* on its way to the board */
static size_t line_head, line_tail;
static uint64_t line_free; /* when the next character may arrive */
static uint8_t said[1 << 16];
static size_t said_head, said_tail;

static void on_said(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    said[said_tail++ % sizeof said] = (uint8_t)value;
}

enum { RECEIVER = 3 }; /* characters, the one in the shift register included */
static avr_uart_t *uart;
static size_t unread; /* as of the last look */
static long came;     /* characters that have arrived at the board */

static void look_at_receiver(void)
{
    size_t now = (uart->input.write - uart->input.read) & (uart_fifo_fifo_size - 1);
    if (now < unread) {
        avr_regbit_clear(avr, uart->dor); /* good until the next character is read */
    }
    unread = now;
}

/* A character at the receiver. */
static void arrive(uint16_t c)
{
    came++;
    if (unread == RECEIVER) {
        avr_regbit_set(avr, uart->dor);
        return;
    }
    avr_raise_irq(to_board, c);
    look_at_receiver();
}

static uint64_t boot; /* cycles */

static void board_reset(void)
{
    if (bench.c & 1 << 3) {
        /* A pulse that is cut leaves anything behind. */
        cell[bench.high << 8 | bench.low] = (uint8_t)~bench.data_on_write;
    }
    memset(&bench, 0, sizeof bench);
    unread = 0;
    uint64_t now = avr->cycle;
    avr_reset(avr);
    avr->cycle = now + boot;
    for (; line_head != line_tail && line_free <= avr->cycle; line_free += character_time) {
        line_head++; /* nobody listens */
    }
}

static void to_line(uint16_t c)
{
    line[line_tail++ % (sizeof line / sizeof *line)] = c;
}

static void step(void)
{
    int state = avr_run(avr);
    if (state == cpu_Done || state == cpu_Crashed) {
        fprintf(stderr, "board: the program has crashed\n");
        exit(1);
    }
    bench_step();
    look_at_receiver();
    if (line_head != line_tail && avr->cycle >= line_free) {
        line_free = avr->cycle + character_time;
        arrive(line[line_head++ % (sizeof line / sizeof *line)]);
    }
    if ((reset_at != 0 && came >= reset_at) || (reset_write != 0 && pulses >= reset_write)) {
        reset_at = 0;
        reset_write = reset_often == 0 ? 0 : pulses + reset_often;
        board_reset();
    }
}

static uint8_t lost[MARKS], spoilt[MARKS], muted[MARKS], doubled[MARKS];

static void serve(void)
{
    int host = posix_openpt(O_RDWR | O_NOCTTY);
    if (host < 0 || grantpt(host) != 0 || unlockpt(host) != 0) {
        perror("board: pseudo terminal");
        exit(1);
    }
    /* Kept open, so that the line does not break when a sender leaves. */
    int other = open(ptsname(host), O_RDWR | O_NOCTTY);
    struct termios t;
    if (other < 0 || tcgetattr(other, &t) != 0) {
        perror("board: pseudo terminal");
        exit(1);
    }
    t.c_iflag = t.c_oflag = t.c_lflag = 0;
    tcsetattr(other, TCSANOW, &t);
    printf("port %s\n", ptsname(host));
    fflush(stdout);
    unsigned from_host = 0;
    long from_board = 0;
    for (;;) {
        struct pollfd p[2] = {{.fd = host, .events = POLLIN}, {.fd = 0, .events = POLLIN}};
        poll(p, 2, 0);
        if (p[1].revents != 0) {
            break;
        }
        if (p[0].revents & POLLIN) {
            uint8_t text[256];
            ssize_t n = read(host, text, sizeof text);
            for (ssize_t i = 0; i < n; i++) {
                from_host = (from_host + 1) % MARKS;
                if (!lost[from_host]) {
                    to_line(text[i] ^ spoilt[from_host]);
                }
            }
        }
        for (int i = 0; i < 5000; i++) {
            step();
        }
        while (said_head != said_tail) {
            uint8_t c = said[said_head++ % sizeof said], twice[2] = {c, c};
            from_board = (from_board + 1) % MARKS;
            if (from_board == reset_answer) {
                reset_answer = 0;
                board_reset();
            }
            ssize_t n = doubled[from_board] ? 2 : 1;
            if (!muted[from_board] && write(host, twice, (size_t)n) != n) {
                perror("board: pseudo terminal");
                exit(1);
            }
        }
    }
    close(other);
    close(host);
}

static unsigned long number(char *words, int base)
{
    char *word = strtok(words, " \n"), *end;
    unsigned long n = word != NULL ? strtoul(word, &end, base) : 0;
    if (word == NULL || *end != 0) {
        fprintf(stderr, "board: a number is missing\n");
        exit(2);
    }
    return n;
}

/* What libsimavr has to say must not mix with the answers. */
static void on_log(avr_t *mcu, const int level, const char *format, va_list arguments)
{
    (void)mcu;
    if (level <= LOG_WARNING) {
        vfprintf(stderr, format, arguments);
    }
}

int main(int argc, char **argv)
{
    if (argc != 8) {
        fprintf(stderr, "usage: board loader.elf HZ BAUD SETTLE PULSE RELEASE READ\n");
        return 2;
    }
    hz = (uint64_t)atol(argv[2]);
    character_time = hz * 10 / (uint64_t)atol(argv[3]);
    settle = (uint64_t)atol(argv[4]) * (hz / 1000);
    pulse = (uint64_t)atol(argv[5]) * (hz / 1000);
    release = (uint64_t)atol(argv[6]) * (hz / 1000);
    read_time = (uint64_t)atol(argv[7]) * (hz / 1000);

    avr_global_logger_set(on_log);
    elf_firmware_t firmware = {0};
    if (elf_read_firmware(argv[1], &firmware) != 0) {
        fprintf(stderr, "board: %s cannot be read\n", argv[1]);
        return 1;
    }
    avr = avr_make_mcu_by_name("atmega328p");
    if (avr == NULL) {
        fprintf(stderr, "board: libsimavr has no atmega328p\n");
        return 1;
    }
    avr_init(avr);
    avr->frequency = (uint32_t)hz;
    avr_load_firmware(avr, &firmware);
    uint32_t flags = 0; /* neither sleeping on the host nor printing what is said */
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    for (avr_io_t *io = avr->io_port; io != NULL && uart == NULL; io = io->next) {
        if (strcmp(io->kind, "uart") == 0 && ((avr_uart_t *)io)->name == '0') {
            uart = (avr_uart_t *)io;
        }
    }
    if (uart == NULL) {
        fprintf(stderr, "board: libsimavr has no uart0\n");
        return 1;
    }
    boot = 65 * (hz / 1000);
    to_board = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_said, NULL);

    /* Unbuffered: while serving, poll has to see the line that ends it. */
    setvbuf(stdin, NULL, _IONBF, 0);
    static char text[1 << 15];
    while (fgets(text, sizeof text, stdin) != NULL) {
        char *word = strtok(text, " \n");
        if (word == NULL) {
            continue;
        }
        if (strcmp(word, "send") == 0) {
            char *hex = strtok(NULL, " \n");
            for (; hex != NULL && hex[0] != 0 && hex[1] != 0; hex += 2) {
                char two[3] = {hex[0], hex[1], 0};
                uint16_t c = (uint16_t)strtoul(two, NULL, 16);
                if (hex[2] == '*') {
                    c |= UART_INPUT_FE;
                    hex++;
                }
                to_line(c);
            }
        } else if (strcmp(word, "wait") == 0) {
            uint64_t end = avr->cycle + number(NULL, 10) * (hz / 1000);
            while (said_head == said_tail && avr->cycle < end) {
                step();
            }
            if (said_head == said_tail) {
                printf("silent\n");
            } else {
                printf("said %02X\n", said[said_head++ % sizeof said]);
            }
        } else if (strcmp(word, "fill") == 0) {
            memset(cell, (int)number(NULL, 16), sizeof cell);
        } else if (strcmp(word, "stuck") == 0) {
            unsigned long a = number(NULL, 16) % CELLS;
            stuck_mask[a] = (uint8_t)number(NULL, 16);
            stuck_value[a] = (uint8_t)number(NULL, 16);
        } else if (strcmp(word, "flaky") == 0) {
            unsigned long a = number(NULL, 16) % CELLS;
            flaky[a] = (int)number(NULL, 10);
        } else if (strcmp(word, "dump") == 0) {
            unsigned long a = number(NULL, 16), n = number(NULL, 10);
            printf("cells ");
            for (; n > 0; n--, a++) {
                printf("%02X", held((uint16_t)a));
            }
            printf("\n");
        } else if (strcmp(word, "ledger") == 0) {
            printf("writes %ld reads %ld\n", writes, reads);
            for (int i = 0; i < fault_count; i++) {
                printf("fault %s\n", faults[i]);
            }
            printf("end\n");
        } else if (strcmp(word, "lose") == 0) {
            lost[number(NULL, 10) % MARKS] = 1;
        } else if (strcmp(word, "spoil") == 0) {
            spoilt[number(NULL, 10) % MARKS] = 4;
        } else if (strcmp(word, "mute") == 0) {
            muted[number(NULL, 10) % MARKS] = 1;
        } else if (strcmp(word, "double") == 0) {
            doubled[number(NULL, 10) % MARKS] = 1;
        } else if (strcmp(word, "reset") == 0) {
            board_reset();
        } else if (strcmp(word, "boot") == 0) {
            boot = number(NULL, 10) * (hz / 1000);
        } else if (strcmp(word, "reset-at") == 0) {
            came = 0;
            reset_at = (long)number(NULL, 10);
        } else if (strcmp(word, "reset-write") == 0) {
            pulses = 0;
            reset_write = (long)number(NULL, 10);
        } else if (strcmp(word, "reset-often") == 0) {
            reset_often = (long)number(NULL, 10);
            reset_write = pulses + reset_often;
        } else if (strcmp(word, "reset-answer") == 0) {
            reset_answer = (long)number(NULL, 10);
        } else if (strcmp(word, "serve") == 0) {
            serve();
        } else {
            fprintf(stderr, "board: %s is no command\n", word);
            return 2;
        }
        fflush(stdout);
    }
    return 0;
}
