/* The two-wire bus: the controller's registers as the data sheet has them, its lines, and the chips on it. */
#ifndef BUS_H
#define BUS_H

#include <simavr/sim_avr.h>

#include "chip.h"

void bus_attach(avr_t *avr, struct chip *chips, int count);

/* The processor is reset: who was sending a byte waits for the rest of its clocks, unless it lost its power. */
void bus_reset_begins(int chips_lost_power);
void bus_reset_ended(void);

/* From the next byte read on, a chip holds the data line until it has seen this many clocks; 0: until it is let go. */
void bus_hold(int clocks);
void bus_let_go(void);

#endif
