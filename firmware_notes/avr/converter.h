/* The board's own converter: four inputs against the internal reference of 1.1 V. */
#ifndef CONVERTER_H
#define CONVERTER_H

#include "samples.h"

void converter_start(void);

/* In the timer's interrupt: add ROUNDS conversions of each input into this sample; converter_ended follows. */
void converter_begin(struct sample *into);

/* Whoever begins gives this. */
void converter_ended(void);

#endif
