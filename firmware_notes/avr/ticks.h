/* The pace of the samples. */
#ifndef TICKS_H
#define TICKS_H

#include <stdint.h>

void ticks_start(void);

/* The time of the sample that was begun last, us since the start, modulo 2^32; and how many were begun. */
uint32_t ticks_us(void);
uint32_t ticks_now(void);

#endif
