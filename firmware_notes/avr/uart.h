/* Characters to the serial line, sent by an interrupt. */
#ifndef UART_H
#define UART_H

#include <stdint.h>

void uart_start(void);

/* Put a character in the queue, asleep while the queue is full. */
void uart_put(uint8_t character);

/* Nothing is waiting to be put on the line. */
uint8_t uart_is_idle(void);

#endif
