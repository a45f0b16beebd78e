/* A ring of samples: one writer in interrupts, one reader in the main loop, so that neither has to lock it. */
#include "samples.h"

#define PLACES 16 /* 64 ms at 250 samples a second; a power of two */

static struct sample ring[PLACES];
static volatile uint8_t written, taken; /* counted modulo 256 */

struct sample *samples_place(void)
{
    if ((uint8_t)(written - taken) == PLACES)
        return 0;
    return &ring[written % PLACES];
}

void samples_put(void)
{
    written++;
}

const struct sample *samples_oldest(void)
{
    if (written == taken)
        return 0;
    return &ring[taken % PLACES];
}

void samples_let_go(void)
{
    taken++;
}
