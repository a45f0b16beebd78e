/* Characters are handed on in bunches; a reader that is slower than the simulation makes it wait, and loses nothing. */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <simavr/avr_uart.h>
#include <simavr/sim_io.h>

#include "serial.h"

static int line;
static unsigned char bunch[2048];
static size_t filled;

static void fail(const char *what)
{
    perror(what);
    exit(2);
}

static int open_terminal(void)
{
    int master = posix_openpt(O_RDWR | O_NOCTTY);
    struct termios raw;

    if (master < 0 || grantpt(master) || unlockpt(master))
        fail("pseudo-terminal");
    int slave = open(ptsname(master), O_RDWR | O_NOCTTY);
    if (slave < 0 || tcgetattr(slave, &raw))
        fail(ptsname(master));
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    printf("%s\n", ptsname(master));
    fflush(stdout);
    close(slave);
    struct pollfd there = {.fd = master, .events = 0};
    do {
        usleep(20000);
        poll(&there, 1, 0);
    } while (there.revents & POLLHUP);
    usleep(200000); /* what comes before a port is set up is thrown away by whoever opens it */
    return master;
}

static void character(avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    bunch[filled++] = (unsigned char)value;
    if (filled == sizeof bunch)
        serial_flush();
}

void serial_open(avr_t *avr, const char *path)
{
    uint32_t flags = 0;

    line = path ? open(path, O_WRONLY | O_CREAT | O_TRUNC, 0666) : open_terminal();
    if (line < 0)
        fail(path);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), character, 0);
}

void serial_flush(void)
{
    for (size_t done = 0; done < filled;) {
        ssize_t n = write(line, bunch + done, filled - done);
        if (n < 0 && errno != EINTR && errno != EAGAIN)
            fail("serial line");
        done += n > 0 ? (size_t)n : 0;
    }
    filled = 0;
}
