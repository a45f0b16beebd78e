/* What is wired where, and how fast: the one place to change for another board. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

#ifndef F_CPU
#define F_CPU 16000000UL
#endif

/* Samples a second. The period must be whole counts of the timer, which runs at F_CPU / 8. */
#ifndef RATE_HZ
#define RATE_HZ 250
#endif
#define PERIOD_US (1000000UL / RATE_HZ)

/* 250,000 baud divide 16 MHz without a rest; 115,200 would be 2.1 % off, and too slow for the longest lines. */
#ifndef BAUD
#define BAUD 250000UL
#endif

/* Two 16-bit monitors on the two-wire bus: A1 and A0 to ground, and A0 to the supply (from memory). */
#define MONITORS 2
#define MONITOR_1 0x40
#define MONITOR_2 0x41
#define BUS_HZ 400000UL

/* The converter's inputs, ADC0 to ADC3: battery, 86, 87, ground bus. Each is read this often a sample, and summed. */
#define INPUTS 4
#define ROUNDS 4

/* Two buttons to ground on port D, a lamp on port B, the bus's two lines on port C. */
#define BUTTON_ZERO 4
#define BUTTON_MARK 5
#define LAMP 5
#define BUS_DATA 4
#define BUS_CLOCK 5

/* The longest line without its mark: 67 characters. A second of them must pass in 0.9 s of line time. */
#define LINE_MOST 67UL
#ifndef UART_MAY_BE_TOO_SLOW
_Static_assert(LINE_MOST * RATE_HZ <= BAUD / 10 * 9 / 10, "the lines do not fit the baud rate");
#endif
_Static_assert(F_CPU / 8 % RATE_HZ == 0, "the period is no whole number of timer counts");
_Static_assert(1000000UL % RATE_HZ == 0, "the period is no whole number of microseconds");

#endif
