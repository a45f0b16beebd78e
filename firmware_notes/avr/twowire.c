/* The two-wire interface as a chain of states; its status codes are the data sheet's, as avr-libc names them. */
#include "board.h" /* first: delay.h needs F_CPU */

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/delay.h>
#include <util/twi.h>

#include "twowire.h"

#define GO (uint8_t)(1 << TWINT | 1 << TWEN | 1 << TWIE)
#define STOP_TURNS 60 /* a stop takes some 4 us; this many turns take 20 us or more */

static uint8_t target, target_register, is_write, bytes;
static uint16_t word;
static volatile uint8_t busy;

void twowire_start(void)
{
    TWSR = 0;
    TWBR = (F_CPU / BUS_HZ - 16) / 2;
    TWCR = 1 << TWEN;
}

static void begin(uint8_t address, uint8_t reg)
{
    target = (uint8_t)(address << 1);
    target_register = reg;
    bytes = 0;
    busy = 1;
    TWCR = GO | 1 << TWSTA;
}

void twowire_read(uint8_t address, uint8_t reg)
{
    is_write = 0;
    begin(address, reg);
}

void twowire_write(uint8_t address, uint8_t reg, uint16_t value)
{
    is_write = 1;
    word = value;
    begin(address, reg);
}

uint8_t twowire_is_busy(void)
{
    return busy;
}

void twowire_give_up(void)
{
    TWCR = 0;
    busy = 0;
}

/* A byte read while the data line was held is zero and looks like any other: it counts once the stop came through. */
static void end(enum twowire_end how)
{
    uint8_t turns = STOP_TURNS;

    TWCR = 1 << TWINT | 1 << TWEN | 1 << TWSTO;
    while (TWCR & 1 << TWSTO) {
        if (--turns == 0) {
            twowire_give_up();
            twowire_ended(STUCK, 0);
            return;
        }
    }
    busy = 0;
    twowire_ended(how, word);
}

static void send(uint8_t byte)
{
    TWDR = byte;
    TWCR = GO;
}

static void after_sent(void)
{
    if (bytes == 0) {
        bytes = 1;
        send(target_register);
    } else if (!is_write) {
        TWCR = GO | 1 << TWSTA;
    } else if (bytes == 1) {
        bytes = 2;
        send((uint8_t)(word >> 8));
    } else if (bytes == 2) {
        bytes = 3;
        send((uint8_t)word);
    } else {
        end(DONE);
    }
}

ISR(TWI_vect)
{
    switch (TW_STATUS) {
    case TW_START:
        send(target | TW_WRITE);
        break;
    case TW_REP_START:
        send(target | TW_READ);
        break;
    case TW_MT_SLA_ACK:
    case TW_MT_DATA_ACK:
        after_sent();
        break;
    case TW_MR_SLA_ACK:
        TWCR = GO | 1 << TWEA;
        break;
    case TW_MR_DATA_ACK:
        word = (uint16_t)(TWDR << 8);
        TWCR = GO;
        break;
    case TW_MR_DATA_NACK:
        word |= TWDR;
        end(DONE);
        break;
    case TW_MT_SLA_NACK:
    case TW_MT_DATA_NACK:
    case TW_MR_SLA_NACK:
        end(SILENT);
        break;
    default: /* arbitration lost, or a bus error */
        twowire_give_up();
        twowire_ended(STUCK, 0);
    }
}

uint8_t twowire_clear(void)
{
    uint8_t clocks = 0;

    TWCR = 0;
    PORTC &= (uint8_t)~(1 << BUS_DATA | 1 << BUS_CLOCK); /* low as outputs; as inputs their resistors pull them up */
    while (!(PINC & 1 << BUS_DATA) && clocks < 9) {
        DDRC |= 1 << BUS_CLOCK;
        _delay_us(5);
        DDRC &= (uint8_t)~(1 << BUS_CLOCK);
        _delay_us(5);
        clocks++;
    }
    if (!(PINC & 1 << BUS_DATA) || !(PINC & 1 << BUS_CLOCK))
        return 255;
    DDRC |= 1 << BUS_DATA; /* start and stop: whoever was in the middle of a byte begins anew */
    _delay_us(5);
    DDRC &= (uint8_t)~(1 << BUS_DATA);
    _delay_us(5);
    twowire_start();
    return clocks;
}
