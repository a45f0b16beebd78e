/* A short queue; what does not fit is counted, so that a note can say so. */
#include <util/atomic.h>

#include "events.h"

#define PLACES 8

static struct event queue[PLACES];
static uint8_t written, taken, untold;

void events_add(enum event_kind kind, uint8_t detail, uint32_t t_us)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if ((uint8_t)(written - taken) < PLACES) {
            struct event *place = &queue[written++ % PLACES];
            place->kind = kind;
            place->detail = detail;
            place->t_us = t_us;
        } else if (untold < 255) {
            untold++;
        }
    }
}

uint8_t events_take(struct event *into)
{
    uint8_t any = 0;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (written != taken) {
            *into = queue[taken++ % PLACES];
            any = 1;
        }
    }
    return any;
}

uint8_t events_untold(void)
{
    uint8_t count;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        count = untold;
        untold = 0;
    }
    return count;
}
