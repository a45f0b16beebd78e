/* The far end of the board's serial line: a pseudo-terminal, or a file. */
#ifndef SERIAL_H
#define SERIAL_H

#include <simavr/sim_avr.h>

/* A null path: a pseudo-terminal, whose name is printed; waits until somebody has opened it. */
void serial_open(avr_t *avr, const char *path);

/* Hand everything on. */
void serial_flush(void);

#endif
