/* A timer that begins a sample each period: its interrupt opens one, the converter and the monitors fill it. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "converter.h"
#include "marks.h"
#include "monitors.h"
#include "samples.h"
#include "ticks.h"

#define CONVERTER 1
#define CHIPS 2

static volatile uint32_t now_us; /* tests move it to just before its wrap */
static uint32_t begun;
static uint16_t dropped;
static struct sample *open;
static uint8_t outstanding;

void ticks_start(void)
{
    TCCR1A = 0;
    TCCR1B = 1 << WGM12 | 1 << CS11; /* counts F_CPU / 8 up to OCR1A */
    OCR1A = F_CPU / 8 / RATE_HZ - 1;
    TIMSK1 = 1 << OCIE1A;
}

uint32_t ticks_us(void)
{
    uint32_t us;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
        us = now_us;
    return us;
}

uint32_t ticks_now(void)
{
    uint32_t count;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
        count = begun;
    return count;
}

static void part_ended(uint8_t part)
{
    outstanding &= (uint8_t)~part;
    if (outstanding || !open)
        return;
    open->mark = marks_take();
    samples_put();
    open = 0;
}

void converter_ended(void)
{
    part_ended(CONVERTER);
}

void monitors_ended(void)
{
    part_ended(CHIPS);
}

ISR(TIMER1_COMPA_vect)
{
    now_us += PERIOD_US;
    begun++;
    marks_look();
    monitors_give_up(); /* only where the last sample still waits for them */
    if (open) { /* the converter did not end: nothing of this sample can be trusted */
        dropped++;
        open = 0;
    }
    struct sample *place = samples_place();
    if (!place) {
        dropped++;
        return;
    }
    place->t_us = now_us;
    place->has = 0;
    place->dropped = dropped;
    outstanding = CONVERTER | CHIPS;
    open = place;
    converter_begin(place);
    monitors_begin(place);
}
