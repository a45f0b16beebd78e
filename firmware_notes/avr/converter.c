/* 16 conversions of 104 us a sample, the inputs in turn, so that all four sums belong to the same 1.7 ms. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "converter.h"

#define INTERNAL_REFERENCE (1 << REFS1 | 1 << REFS0)
/* 16 MHz / 128 = 125 kHz: the data sheet wants 50 to 200 kHz for all ten bits (from memory) */
#define GO (1 << ADEN | 1 << ADSC | 1 << ADIE | 1 << ADPS2 | 1 << ADPS1 | 1 << ADPS0)

static struct sample *sample;
static uint8_t done;

void converter_start(void)
{
    ADMUX = INTERNAL_REFERENCE;
    DIDR0 = (1 << INPUTS) - 1;
    ADCSRA = GO & ~(1 << ADSC);
}

void converter_begin(struct sample *into)
{
    sample = into;
    done = 0;
    for (uint8_t n = 0; n < INPUTS; n++)
        into->input[n] = 0;
    ADMUX = INTERNAL_REFERENCE;
    ADCSRA = GO;
}

ISR(ADC_vect)
{
    sample->input[done % INPUTS] += ADC;
    if (++done == INPUTS * ROUNDS) {
        converter_ended();
        return;
    }
    ADMUX = (uint8_t)(INTERNAL_REFERENCE | done % INPUTS);
    ADCSRA = GO;
}
