/* simavr's own interface answers after 9 us whatever the clock, and its bus is never held; so its registers are taken
   over here: a byte takes nine periods of the bus's clock, and a start on a held bus is never sent. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_ioport.h>
#include <simavr/avr_twi.h>
#include <simavr/sim_io.h>
#include <simavr/sim_time.h>

#include "bus.h"
#include "truth.h"

enum { TWINT = 7, TWEA = 6, TWSTA = 5, TWSTO = 4, TWEN = 2 };
enum { DATA = 4, CLOCK = 5 };

static avr_t *avr;
static avr_twi_t *registers;
static struct chip *chips, *target;
static int chip_count;
static avr_irq_t *pins, *directions;
static uint8_t status, reading, started;
static int hold_next, held, clocks_left; /* clocks_left 0: held until let go */
static avr_cycle_count_t byte_from, byte_period;
static uint8_t byte_given;

static int64_t now_us(void)
{
    return (int64_t)(avr->cycle / (avr->frequency / 1000000));
}

static avr_cycle_count_t period(void)
{
    unsigned prescaler = avr->data[registers->r_twsr] & 3;

    return 16 + 2 * (unsigned)avr->data[registers->r_twbr] * (1u << (2 * prescaler));
}

static void show_line(void)
{
    avr_ioport_external_t pull = {.name = 'C', .mask = 1 << DATA | 1 << CLOCK,
                                  .value = (uint8_t)((held ? 0 : 1 << DATA) | 1 << CLOCK)};

    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('C'), &pull);
    for (int pin = DATA; pin <= CLOCK; pin++) {
        avr_raise_irq(pins + pin, !(pull.value >> pin & 1)); /* a reset clears the register, not the wire */
        avr_raise_irq(pins + pin, pull.value >> pin & 1);
    }
}

static void set_held(int now_held, int clocks)
{
    held = now_held;
    clocks_left = clocks;
    show_line();
}

static avr_cycle_count_t finished(avr_t *core, avr_cycle_count_t when, void *param)
{
    (void)when, (void)param;
    core->data[registers->r_twsr] = (uint8_t)((core->data[registers->r_twsr] & 3) | status);
    avr_raise_interrupt(core, &registers->twi);
    return 0;
}

static void answer(uint8_t with, unsigned bits)
{
    status = with;
    avr_cycle_timer_register(avr, bits * period(), finished, 0);
}

static void address(uint8_t byte)
{
    target = 0;
    for (int n = 0; n < chip_count; n++)
        if (chips[n].address == byte >> 1 && !chips[n].absent)
            target = &chips[n];
    reading = byte & 1;
    if (target)
        chip_begin(target);
    else
        truth_silent(byte >> 1);
    answer(reading ? (target ? 0x40 : 0x48) : (target ? 0x18 : 0x20), 9);
}

static void receive(uint8_t acknowledged)
{
    byte_from = avr->cycle;
    byte_period = period();
    byte_given = target ? chip_give(target, now_us()) : 0xFF;
    if (hold_next) {
        set_held(1, hold_next < 0 ? 0 : hold_next);
        hold_next = 0;
    }
    if (held)
        byte_given = 0; /* a line that is low reads as zeros */
    avr->data[registers->r_twdr] = byte_given;
    answer(acknowledged ? 0x50 : 0x58, 9);
}

static void next_byte(uint8_t control)
{
    switch (status) {
    case 0x08:
    case 0x10:
        address(avr->data[registers->r_twdr]);
        break;
    case 0x18:
    case 0x28:
        chip_take(target, avr->data[registers->r_twdr], now_us());
        answer(0x28, 9);
        break;
    case 0x40:
    case 0x50:
        receive(control >> TWEA & 1);
    }
}

static void control_written(avr_t *core, avr_io_addr_t at, uint8_t v, void *param)
{
    uint8_t old = core->data[at], go = v >> TWINT & 1;

    (void)param;
    core->data[at] = (uint8_t)((v & ~(1 << TWINT)) | (go ? 0 : old & 1 << TWINT));
    if (go)
        avr_clear_interrupt(core, &registers->twi);
    if (!(v & 1 << TWEN)) {
        avr_cycle_timer_cancel(core, finished, 0);
        core->data[at] = 0;
        target = 0;
        started = status = 0;
        return;
    }
    if (!go)
        return;
    if (v & 1 << TWSTO) {
        if (held)
            return; /* the line cannot rise: the bit stays set */
        core->data[at] &= (uint8_t)~(1 << TWSTO);
        started = status = 0;
        return;
    }
    if (v & 1 << TWSTA) {
        if (held && !started)
            return; /* waits for a free bus, as long as it takes */
        answer(started ? 0x10 : 0x08, 1);
        started = 1;
        return;
    }
    next_byte(v);
}

static void plain_write(avr_t *core, avr_io_addr_t at, uint8_t v, void *param)
{
    (void)param;
    core->data[at] = at == registers->r_twsr ? (uint8_t)((core->data[at] & 0xF8) | (v & 3)) : v;
}

static uint8_t plain_read(avr_t *core, avr_io_addr_t at, void *param)
{
    (void)param;
    return core->data[at];
}

/* The firmware clocks by turning the pin into an output, which is low, and back. */
static void directions_changed(avr_irq_t *irq, uint32_t value, void *param)
{
    static uint32_t before;
    uint32_t rose = before & ~value;

    (void)irq, (void)param;
    before = value;
    if (!(rose & 1 << CLOCK) || !held || clocks_left == 0)
        return;
    truth_clock();
    if (--clocks_left == 0)
        set_held(0, 0);
}

static void take_over(avr_io_addr_t at, avr_io_write_t write)
{
    avr->io[AVR_DATA_TO_IO(at)].w.c = write;
    avr->io[AVR_DATA_TO_IO(at)].w.param = registers;
    avr->io[AVR_DATA_TO_IO(at)].r.c = plain_read;
    avr->io[AVR_DATA_TO_IO(at)].r.param = registers;
}

void bus_attach(avr_t *core, struct chip *which, int count)
{
    avr = core;
    chips = which;
    chip_count = count;
    for (avr_io_t *io = core->io_port; io; io = io->next)
        if (strcmp(io->kind, "twi") == 0)
            registers = (avr_twi_t *)io;
    if (!registers) {
        fprintf(stderr, "this processor has no two-wire interface\n");
        exit(2);
    }
    take_over(registers->r_twcr, control_written);
    take_over(registers->r_twsr, plain_write);
    take_over(registers->r_twdr, plain_write);
    take_over(registers->r_twbr, plain_write);
    pins = avr_io_getirq(core, AVR_IOCTL_IOPORT_GETIRQ('C'), 0);
    directions = avr_io_getirq(core, AVR_IOCTL_IOPORT_GETIRQ('C'), IOPORT_IRQ_DIRECTION_ALL);
    avr_irq_register_notify(directions, directions_changed, 0);
    show_line();
}

void bus_reset_begins(int chips_lost_power)
{
    avr_cycle_count_t gone = byte_period ? (avr->cycle - byte_from) / byte_period : 0;
    int sending = (status == 0x50 || status == 0x58) && gone < 8;

    if (chips_lost_power) {
        held = 0;
        for (int n = 0; n < chip_count; n++)
            chip_power_on(&chips[n], now_us());
    } else if (sending && !(byte_given >> (7 - gone) & 1)) {
        /* it goes on with each clock, and lets the line go at its next one, or for the acknowledge */
        int more = 1;
        while (gone + (unsigned)more < 8 && !(byte_given >> (7 - gone - (unsigned)more) & 1))
            more++;
        held = 1;
        clocks_left = more;
    }
    started = status = 0;
    target = 0;
}

void bus_reset_ended(void)
{
    show_line();
}

void bus_hold(int clocks)
{
    hold_next = clocks ? clocks : -1;
}

void bus_let_go(void)
{
    set_held(0, 0);
}
