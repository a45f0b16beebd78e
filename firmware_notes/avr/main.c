/* The logger on an ATmega328P at 16 MHz: interrupts take the samples, the main loop makes lines of them. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "board.h"
#include "converter.h"
#include "events.h"
#include "lines.h"
#include "marks.h"
#include "monitors.h"
#include "samples.h"
#include "ticks.h"
#include "twowire.h"
#include "uart.h"

#define HEADER_EVERY (4 * RATE_HZ) /* lines: who starts to listen late learns the columns */
#define NOTE_EVERY (RATE_HZ / 5)   /* lines at least between two notes, so that they do not crowd samples out */

static uint8_t reset_flags __attribute__((section(".noinit")));

/* Before anything else: a watchdog that reset the board runs on, and would do it again. */
void at_reset(void) __attribute__((naked, used, section(".init3")));
void at_reset(void)
{
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

/* The waiting note that comes first, if any; its sample's line follows. */
static uint8_t told_something(uint16_t dropped_since)
{
    struct event event;
    uint8_t untold;

    if (dropped_since)
        lines_dropped(dropped_since);
    else if (events_take(&event))
        lines_event(&event);
    else if ((untold = events_untold()))
        lines_untold(untold);
    else
        return 0;
    return 1;
}

static void one_line(const struct sample *sample)
{
    static uint16_t since_header, since_note = NOTE_EVERY, dropped_told;

    if (since_header++ == HEADER_EVERY) {
        since_header = 1;
        lines_header();
    }
    if (since_note < NOTE_EVERY) {
        since_note++;
    } else if (told_something((uint16_t)(sample->dropped - dropped_told))) {
        dropped_told = sample->dropped;
        since_note = 0;
    }
    lines_sample(sample);
}

/* Until something has happened. Looked at with interrupts off, which sei lets in only after the sleep has begun. */
static void rest(void)
{
    cli();
    if (!samples_oldest()) {
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

int main(void)
{
    const struct sample *sample;
    uint8_t clocks;

    wdt_enable(WDTO_250MS);
    set_sleep_mode(SLEEP_MODE_IDLE);
    uart_start();
    marks_start();
    converter_start();
    clocks = twowire_clear(); /* a reset in the middle of a byte leaves the chip waiting for the rest of its clocks */
    if (clocks && clocks != 255)
        events_add(BUS_FREED, clocks, 0); /* one that stays held is told by whoever tends it */
    sei();
    uart_put('\n'); /* ends the line that a reset cut off */
    lines_header();
    lines_started(reset_flags);
    ticks_start();
    for (;;) {
        wdt_reset();
        monitors_tend();
        sample = samples_oldest();
        if (sample) {
            one_line(sample);
            samples_let_go();
        } else {
            rest();
        }
    }
}
