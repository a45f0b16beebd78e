/* Lines as the line form has them: cells with commas, `*` and the XOR of all characters before it in two hex digits. */
#include <avr/io.h>
#include <avr/pgmspace.h>

#include "lines.h"
#include "marks.h"
#include "uart.h"

static uint8_t sum;

static void put(char character)
{
    sum ^= (uint8_t)character;
    uart_put((uint8_t)character);
}

static void put_text(const char *in_flash)
{
    char character;

    while ((character = (char)pgm_read_byte(in_flash++)))
        put(character);
}

static const uint32_t tens[] PROGMEM = {1000000000, 100000000, 10000000, 1000000, 100000, 10000, 1000, 100, 10};

/* By subtraction: a division of 32 bits takes longer than the up to nine turns a digit. */
static void put_number(uint32_t number)
{
    uint8_t any = 0;

    for (uint8_t n = number < 100000 ? 4 : 0; n < sizeof tens / sizeof *tens; n++) {
        uint32_t ten = pgm_read_dword(&tens[n]);
        char digit = '0';
        while (number >= ten) {
            number -= ten;
            digit++;
        }
        any |= digit != '0';
        if (any)
            put(digit);
    }
    put((char)('0' + number));
}

static void put_signed(int16_t number)
{
    if (number < 0)
        put('-');
    put_number(number < 0 ? (uint32_t)-(int32_t)number : (uint32_t)number);
}

static void put_hex(uint8_t byte)
{
    static const char digits[] PROGMEM = "0123456789ABCDEF";

    put((char)pgm_read_byte(&digits[byte >> 4]));
    put((char)pgm_read_byte(&digits[byte & 15]));
}

static void end_line(void)
{
    uint8_t told = sum;

    put('*');
    put_hex(told);
    put('\n');
    sum = 0;
}

/* Notes are comments, which carry no checksum. */
static void end_note(void)
{
    put('\n');
    sum = 0;
}

static void begin_note(void)
{
    put_text(PSTR("# note: "));
}

void lines_header(void)
{
    put_text(PSTR("t_us,shunt1,bus1,shunt2,bus2,in_battery,in_86,in_87,in_bus,dropped,mark"));
    end_line();
}

static void put_mark(uint8_t mark)
{
    switch (mark) {
    case NO_MARK:
        return;
    case ZERO:
        put_text(PSTR("zero"));
        return;
    case ZERO_END:
        put_text(PSTR("zero end"));
        return;
    case SHUNT_BRIDGED:
        put_text(PSTR("shunt bridged"));
        return;
    case SHUNT_FREE:
        put_text(PSTR("shunt free"));
        return;
    default:
        put_text(PSTR("press "));
        put_number((uint32_t)(mark - BUTTON_PRESS + 1));
    }
}

void lines_sample(const struct sample *sample)
{
    put_number(sample->t_us);
    for (uint8_t n = 0; n < MONITORS; n++) {
        put(',');
        if (sample->has & HAS_SHUNT(n))
            put_signed(sample->shunt[n]);
        put(',');
        if (sample->has & HAS_BUS(n))
            put_signed(sample->bus[n]);
    }
    for (uint8_t n = 0; n < INPUTS; n++) {
        put(',');
        put_number(sample->input[n]);
    }
    put(',');
    put_number(sample->dropped);
    put(',');
    put_mark(sample->mark);
    end_line();
}

void lines_started(uint8_t flags)
{
    begin_note();
    put_text(PSTR("the logger started"));
    if (flags & 1 << WDRF)
        put_text(PSTR(" after it had hung (watchdog)"));
    else if (flags & 1 << PORF)
        put_text(PSTR(" (power on)"));
    else if (flags & 1 << BORF)
        put_text(PSTR(" after its supply had fallen too low (brown-out)"));
    else if (flags & 1 << EXTRF)
        put_text(PSTR(" (reset line)"));
    end_note();
}

static void put_monitor(const struct event *event)
{
    put_text(PSTR("monitor 0x"));
    put_hex(event->detail);
}

void lines_event(const struct event *event)
{
    begin_note();
    put_text(PSTR("from t_us "));
    put_number(event->t_us);
    put_text(PSTR(" on: "));
    switch (event->kind) {
    case MONITOR_SILENT:
        put_monitor(event);
        put_text(PSTR(" does not answer, its cells are empty"));
        break;
    case MONITOR_FOUND:
        put_monitor(event);
        put_text(PSTR(" answers again"));
        break;
    case MONITOR_OTHER:
        put_monitor(event);
        put_text(PSTR(" is another chip, its cells are empty"));
        break;
    case MONITOR_RESTARTED:
        put_monitor(event);
        put_text(PSTR(" had lost its settings, it is set up anew"));
        break;
    case BUS_FREED:
        put_text(PSTR("the chips' bus is free again, clocked "));
        put_number(event->detail);
        put_text(PSTR(" times; cells before are empty"));
        break;
    case BUS_HELD:
        put_text(PSTR("the chips' bus is held low and cannot be clocked free, cells are empty"));
    }
    end_note();
}

void lines_untold(uint8_t count)
{
    begin_note();
    put_number(count);
    put_text(PSTR(" more events of the chips and their bus were not told one by one"));
    end_note();
}

void lines_dropped(uint16_t count)
{
    begin_note();
    put_number(count);
    put_text(PSTR(" samples were dropped since the last such note: the line is too slow"));
    end_note();
}
