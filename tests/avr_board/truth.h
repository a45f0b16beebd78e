/* What the board's chips and pins really gave, one row a sample that was begun: what the lines have to say. */
#ifndef TRUTH_H
#define TRUTH_H

#include <simavr/sim_avr.h>

void truth_open(const char *path, avr_t *avr);
void truth_close(void);

void truth_reset(void);                     /* the processor begins anew */
void truth_input(int input, int mv);        /* a conversion began */
void truth_reading(int which, int of_bus, int16_t counts, int64_t converted_us);
void truth_silent(uint8_t address);
void truth_clock(void);                     /* a clock by hand, to free the bus; counted from the beginning */

#endif
