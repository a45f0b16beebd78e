/* One 16-bit register at a time over the two-wire bus, by interrupts. */
#ifndef TWOWIRE_H
#define TWOWIRE_H

#include <stdint.h>

enum twowire_end {
    DONE,     /* the stop condition came through as well: the value is whole */
    SILENT,   /* nobody acknowledged */
    STUCK     /* the bus does not follow: somebody holds a line, or a condition came where none belongs */
};

void twowire_start(void);

/* Begin a transfer; twowire_ended follows in an interrupt. */
void twowire_read(uint8_t address, uint8_t reg);
void twowire_write(uint8_t address, uint8_t reg, uint16_t value);

/* Whoever begins transfers gives this. */
void twowire_ended(enum twowire_end how, uint16_t value);

/* A transfer has begun and not ended. */
uint8_t twowire_is_busy(void);

/* Switch the interface off and leave the lines to themselves. */
void twowire_give_up(void);

/* Clock a held data line free, at most nine times, and switch the interface on: clocks needed, or 255 in vain. */
uint8_t twowire_clear(void);

#endif
