/* Sends an Intel HEX file to the loader board and waits for the answer to each
   record. For a POSIX host; the protocol is in README.md.

   cc -std=c99 -O2 -Wall -Wextra -Werror -o send send.c */

#define _XOPEN_SOURCE 600

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

enum { FINE = 0, BOARD = 1, USAGE = 2, FILES = 3 };
enum { LONGEST = 63 }; /* characters of a record that the board can take */
enum { SILENCE = 0, BROKEN = -1 };

static const char usage[] =
    "usage: send [-k] [-b BAUD] [-g MS] [-t MS] [-q MS] [-n TRIES] PORT FILE.hex\n"
    "  -k  keep going past cells that fail, to find all of them\n"
    "  -b  bits a second: 1200 2400 4800 9600 19200 38400 (9600)\n"
    "  -g  how long a board that resets when the port is opened may take (2500)\n"
    "  -t  how long the board may take to answer a record (10000)\n"
    "  -q  how long the line has to be quiet before a garbled record is sent again (3000)\n"
    "  -n  how often a record, or after a reset the file, is sent at most (5)\n";

static long milliseconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* The board has greeted: whatever was asked of it, it knows nothing of the file. */
static bool began_anew;

/* The next character from the board that is one of `of`, within ms; SILENCE;
   BROKEN. Others are noise. */
static int answer(int port, const char *of, long ms)
{
    long end = milliseconds() + ms;
    for (;;) {
        long left = end - milliseconds();
        struct pollfd p = {.fd = port, .events = POLLIN};
        int n = poll(&p, 1, left > 0 ? (int)left : 0);
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n < 0) {
            return BROKEN;
        }
        if (n == 0) {
            return SILENCE;
        }
        char c;
        ssize_t got = read(port, &c, 1);
        if (got < 0 && (errno == EINTR || errno == EAGAIN)) {
            continue;
        }
        if (got <= 0) {
            return BROKEN; /* the plug is out */
        }
        began_anew |= c == '>';
        if (c != 0 && strchr(of, c) != NULL) {
            return c;
        }
    }
}

static const char any[] = ">+?~!#.";

/* Waits until nothing has come for ms; not for ever. */
static void until_quiet(int port, long ms)
{
    long end = milliseconds() + 10 * ms;
    while (answer(port, any, ms) > 0 && milliseconds() < end) {
    }
}

/* Takes what has come already, which answers nothing that will be sent. */
static void drop_old(int port)
{
    while (answer(port, any, 0) > 0) {
    }
}

static bool put(int port, const char *text, size_t n)
{
    while (n > 0) {
        ssize_t put = write(port, text, n);
        if (put < 0 && errno == EINTR) {
            continue;
        }
        if (put <= 0) {
            return false;
        }
        text += put;
        n -= (size_t)put;
    }
    return tcdrain(port) == 0;
}

static int port_open(const char *name, long baud)
{
    static const struct { long bits; speed_t code; } speeds[] = {
        {1200, B1200}, {2400, B2400}, {4800, B4800}, {9600, B9600}, {19200, B19200}, {38400, B38400},
    };
    size_t i = 0;
    while (i < sizeof speeds / sizeof *speeds && speeds[i].bits != baud) {
        i++;
    }
    if (i == sizeof speeds / sizeof *speeds) {
        fprintf(stderr, "send: %ld bits a second is not among the speeds\n%s", baud, usage);
        exit(USAGE);
    }
    int port = open(name, O_RDWR | O_NOCTTY);
    struct termios t;
    if (port < 0 || tcgetattr(port, &t) != 0) {
        fprintf(stderr, "send: %s: %s\n", name, strerror(errno));
        exit(FILES);
    }
    t.c_iflag = IGNBRK;
    t.c_oflag = 0;
    t.c_lflag = 0;
    t.c_cflag = CS8 | CREAD | CLOCAL;
    t.c_cc[VMIN] = 1;
    t.c_cc[VTIME] = 0;
    cfsetispeed(&t, speeds[i].code);
    cfsetospeed(&t, speeds[i].code);
    if (tcsetattr(port, TCSAFLUSH, &t) != 0) {
        fprintf(stderr, "send: %s: %s\n", name, strerror(errno));
        exit(FILES);
    }
    return port;
}

/* Prints what the board has to say of the last byte that failed. */
static void print_report(int port, int line)
{
    char text[64], c;
    size_t n = 0;
    unsigned written, repeated, failed, wanted, got;
    unsigned long address;
    drop_old(port);
    if (put(port, "r", 1)) {
        while (n < sizeof text - 1) {
            c = (char)answer(port, "0123456789ABCDEF \n", 1000);
            if (c <= 0 || c == '\n') {
                break;
            }
            text[n++] = c;
        }
    }
    text[n] = 0;
    if (sscanf(text, "%4x %4x %4x %8lx %2x %2x", &written, &repeated, &failed, &address, &wanted, &got) == 6) {
        fprintf(stderr, "send: line %d: byte %lX should be %02X and reads %02X (%u failed up to here)\n",
                line, address, wanted, got, failed);
    } else {
        fprintf(stderr, "send: line %d: a byte failed, and the board gives no report\n", line);
    }
}

struct lines {
    char (*text)[LONGEST + 2];
    int *number;
    int count;
};

/* Reads the whole file before the first relay moves; exits on what the board
   would refuse. Checksums are left to the board. */
static struct lines file_read(const char *name)
{
    FILE *f = fopen(name, "r");
    if (f == NULL) {
        fprintf(stderr, "send: %s: %s\n", name, strerror(errno));
        exit(FILES);
    }
    struct lines all = {0};
    bool ended = false;
    char line[600];
    for (int number = 1; fgets(line, sizeof line, f) != NULL; number++) {
        size_t n = strcspn(line, "\r\n");
        if (n == 0) {
            continue;
        }
        if (line[0] != ':' || n > LONGEST || ended) {
            fprintf(stderr, "send: %s:%d: %s\n", name, number,
                    ended ? "there is more behind the end record"
                    : line[0] != ':' ? "not a record of Intel HEX"
                                     : "the board takes 63 characters a record: write the file with --record 16");
            exit(BOARD);
        }
        ended = n >= 9 && memcmp(line + 7, "01", 2) == 0;
        all.text = realloc(all.text, (size_t)(all.count + 1) * sizeof *all.text);
        all.number = realloc(all.number, (size_t)(all.count + 1) * sizeof *all.number);
        if (all.text == NULL || all.number == NULL) {
            fprintf(stderr, "send: out of memory\n");
            exit(FILES);
        }
        memcpy(all.text[all.count], line, n);
        all.text[all.count][n] = '\n';
        all.text[all.count][n + 1] = 0;
        all.number[all.count++] = number;
    }
    if (ferror(f)) {
        fprintf(stderr, "send: %s: %s\n", name, strerror(errno));
        exit(FILES);
    }
    fclose(f);
    if (!ended) {
        fprintf(stderr, "send: %s: there is no end record: the file is cut\n", name);
        exit(BOARD);
    }
    return all;
}

static long number_or_exit(const char *text, long most)
{
    char *end;
    errno = 0;
    long n = strtol(text, &end, 10);
    if (errno != 0 || *text == 0 || *end != 0 || n < 1 || n > most) {
        fprintf(stderr, "send: %s is not a number from 1 to %ld\n%s", text, most, usage);
        exit(USAGE);
    }
    return n;
}

int main(int argc, char **argv)
{
    long baud = 9600, greeting = 2500, patience = 10000, quiet = 3000, tries = 5;
    bool keep_going = false;
    int option;
    while ((option = getopt(argc, argv, "kb:g:t:q:n:")) != -1) {
        switch (option) {
        case 'k': keep_going = true; break;
        case 'b': baud = number_or_exit(optarg, 38400); break;
        case 'g': greeting = number_or_exit(optarg, 600000); break;
        case 't': patience = number_or_exit(optarg, 600000); break;
        case 'q': quiet = number_or_exit(optarg, 600000); break;
        case 'n': tries = number_or_exit(optarg, 1000); break;
        default: fputs(usage, stderr); return USAGE;
        }
    }
    if (argc - optind != 2) {
        fputs(usage, stderr);
        return USAGE;
    }
    struct lines file = file_read(argv[optind + 1]);
    int port = port_open(argv[optind], baud);

    /* A board that was just reset greets; another has to be asked. */
    int got = answer(port, ">", greeting);
    for (long i = 0; got == SILENCE && i < tries; i++) {
        got = put(port, ">", 1) ? answer(port, ">", 1000) : BROKEN;
    }
    if (got != '>') {
        fprintf(stderr, "send: no board answers on %s\n", argv[optind]);
        return BOARD;
    }
    until_quiet(port, 200);
    began_anew = false;

    long again = 0, files = 1;
    int failures = 0;
    for (int i = 0; i < file.count; i++) {
        const char *text = file.text[i];
        int line = file.number[i];
        for (long n = 0;; n++) {
            if (n == tries) {
                fprintf(stderr, "send: line %d: sent %ld times in vain\n", line, tries);
                return BOARD;
            }
            again += n > 0;
            drop_old(port);
            if (began_anew) {
                break;
            }
            got = put(port, text, strlen(text)) ? answer(port, any, patience) : BROKEN;
            if (got == '?') {
                /* If noise made up a record, the answer to ours is still to come. */
                until_quiet(port, quiet);
            } else if (got != '~' && got != SILENCE) {
                break;
            }
        }
        if (began_anew && got != BROKEN) {
            if (files == tries) {
                fprintf(stderr, "send: line %d: the board began anew %ld times: check its supply\n", line, files);
                return BOARD;
            }
            fprintf(stderr, "send: line %d: the board began anew, and so does the file\n", line);
            /* It may yet answer what it heard of the record. */
            until_quiet(port, quiet);
            began_anew = false;
            again += i + 1;
            failures = 0;
            files++;
            i = -1;
            continue;
        }
        bool last = i == file.count - 1;
        if (got == '!') {
            failures++;
            if (!last) {
                print_report(port, line);
            }
            if (!keep_going && !last) {
                return BOARD;
            }
        } else if (got == '#') {
            fprintf(stderr, "send: line %d: not for this memory: %s", line, text);
            return BOARD;
        } else if (got != (last ? '.' : '+')) {
            fprintf(stderr, "send: line %d: %s\n", line, got == BROKEN ? strerror(errno) : "an answer out of turn: send the file again");
            return BOARD;
        }
    }
    if (failures > 0) {
        fprintf(stderr, "send: loaded, but for the bytes that failed\n");
        return BOARD;
    }
    printf("%d records loaded, %ld sent again\n", file.count, again);
    return FINE;
}
