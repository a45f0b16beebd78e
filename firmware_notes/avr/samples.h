/* Samples on their way from the interrupts to the lines. */
#ifndef SAMPLES_H
#define SAMPLES_H

#include "board.h"

struct sample {
    uint32_t t_us;
    int16_t shunt[MONITORS]; /* counts of 2.5 uV */
    int16_t bus[MONITORS];   /* counts of 1.25 mV */
    uint16_t input[INPUTS];  /* sums of ROUNDS conversions */
    uint16_t dropped;        /* samples dropped since the start, modulo 65536 */
    uint8_t has;             /* which of shunt and bus were read: HAS_SHUNT(n), HAS_BUS(n) */
    uint8_t mark;            /* 0 for none; see marks.h */
};

#define HAS_SHUNT(n) (uint8_t)(1 << (2 * (n)))
#define HAS_BUS(n) (uint8_t)(2 << (2 * (n)))

/* In interrupts: the place for the next sample, or a null pointer where all are taken; then put it in the row. */
struct sample *samples_place(void);
void samples_put(void);

/* In the main loop: the oldest sample, or a null pointer; then let its place go. */
const struct sample *samples_oldest(void);
void samples_let_go(void);

#endif
