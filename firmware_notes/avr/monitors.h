/* The two current monitors: found, set up, and read once a sample. */
#ifndef MONITORS_H
#define MONITORS_H

#include "samples.h"

/* In the timer's interrupt: read them into this sample; monitors_ended follows, at once or in an interrupt. */
void monitors_begin(struct sample *into);

/* Whoever begins gives this. */
void monitors_ended(void);

/* In the timer's interrupt, where they have not ended within a period: give this sample's rest up. */
void monitors_give_up(void);

/* In the main loop: clock the bus free where it is held. */
void monitors_tend(void);

#endif
