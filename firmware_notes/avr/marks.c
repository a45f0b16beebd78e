/* The left button marks `zero` and `zero end` in turn; the right one a press, or, held for a second, the bridged
   shunt. */
#include <avr/io.h>

#include "board.h"
#include "marks.h"

/* Looks that must agree: 20 ms at 250 a second; contacts bounce for 1 to 10 ms (common practice, no source). */
#define STEADY 5
#define HELD RATE_HZ /* a second */
#define MOST_PRESSES 200

struct button {
    uint8_t pin, down, agree;
    uint16_t for_ticks;
};

static struct button left = {BUTTON_ZERO, 0, 0, 0}, right = {BUTTON_MARK, 0, 0, 0};
static uint8_t zeroing, bridged, presses;
static uint8_t waiting[4], waits; /* marks that have no sample yet, oldest first */

void marks_start(void)
{
    PORTD |= 1 << BUTTON_ZERO | 1 << BUTTON_MARK; /* pulled up; a button pulls down */
    DDRB |= 1 << LAMP;
}

static void set(uint8_t mark)
{
    if (waits < sizeof waiting)
        waiting[waits++] = mark;
}

uint8_t marks_take(void)
{
    uint8_t first = waiting[0];

    if (!waits)
        return NO_MARK;
    waits--;
    for (uint8_t n = 0; n < waits; n++)
        waiting[n] = waiting[n + 1];
    return first;
}

/* 1 as it goes down, 2 as it comes up, else 0; bounces and spikes shorter than STEADY looks are not seen. */
static uint8_t turned(struct button *button)
{
    uint8_t down = !(PIND & 1 << button->pin);

    if (button->down && button->for_ticks < UINT16_MAX)
        button->for_ticks++;
    if (down == button->down) {
        button->agree = 0;
        return 0;
    }
    if (++button->agree < STEADY)
        return 0;
    button->agree = 0;
    button->down = down;
    if (down)
        button->for_ticks = 0;
    return down ? 1 : 2;
}

void marks_look(void)
{
    if (turned(&left) == 1) {
        zeroing = !zeroing;
        set(zeroing ? ZERO : ZERO_END);
    }
    if (zeroing)
        PORTB |= 1 << LAMP;
    else
        PORTB &= (uint8_t)~(1 << LAMP);
    if (turned(&right) == 2 && right.for_ticks < HELD) {
        presses = presses < MOST_PRESSES ? presses + 1 : 1;
        set((uint8_t)(BUTTON_PRESS - 1 + presses));
    }
    if (right.down && right.for_ticks == HELD) {
        bridged = !bridged;
        set(bridged ? SHUNT_BRIDGED : SHUNT_FREE);
    }
}
