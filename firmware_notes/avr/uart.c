/* The serial line: a queue of 256 characters, whose two counters wrap by themselves. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "board.h"
#include "uart.h"

static uint8_t queue[256];
static volatile uint8_t written, sent;

void uart_start(void)
{
    UCSR0A = 1 << U2X0; /* eight clocks a bit, not sixteen */
    UBRR0 = (F_CPU + 4 * BAUD) / (8 * BAUD) - 1;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00; /* 8 bits, no parity, 1 stop bit */
    UCSR0B = 1 << TXEN0;
}

void uart_put(uint8_t character)
{
    uint8_t after = (uint8_t)(written + 1);

    cli();
    while (after == sent) {
        /* interrupts are on again only after the instruction that follows sei, so that none is slept through */
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
        cli();
    }
    queue[written] = character;
    written = after;
    UCSR0B = 1 << TXEN0 | 1 << UDRIE0;
    sei();
}

uint8_t uart_is_idle(void)
{
    return written == sent;
}

ISR(USART_UDRE_vect)
{
    if (written == sent) {
        UCSR0B = 1 << TXEN0;
        return;
    }
    UDR0 = queue[sent];
    sent++;
}
