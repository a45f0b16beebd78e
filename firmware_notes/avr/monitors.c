/* Two INA226, 16-bit current monitors. Registers, codes and identity are the data sheet's, written down from memory:
   hold them against the sheet of the chip you bought before you trust a reading. */
#include <util/atomic.h>

#include "events.h"
#include "monitors.h"
#include "ticks.h"
#include "twowire.h"

enum step { SHUNT = 0x01, BUS = 0x02, CONFIG = 0x00, MAKER = 0xFE, DIE = 0xFF, SET = 0x10 };

#define MAKER_ID 0x5449
#define DIE_ID 0x2260
/* 588 us each for shunt and bus, no averages, continuously: both are new every 1.2 ms. Bit 14 reads as one. */
#define SETTINGS (0x4000 | 3 << 6 | 3 << 3 | 7)

#define RETRY_EVERY (RATE_HZ / 10)
#define LOOK_EVERY RATE_HZ

static const uint8_t address[MONITORS] = {MONITOR_1, MONITOR_2};
enum { UNKNOWN, READY, MISSING, OTHER };
static uint8_t state[MONITORS];
static uint8_t at;            /* which one is being read */
static enum step step;
static struct sample *sample; /* a null pointer between samples */
static uint16_t count = UINT16_MAX; /* of samples; the first is 0 */
static volatile uint8_t must_clear;
static uint8_t held;

static void tell(enum event_kind kind)
{
    events_add(kind, address[at], sample->t_us);
}

static void read(enum step next)
{
    step = next;
    twowire_read(address[at], (uint8_t)next);
}

static void finish(void)
{
    sample = 0;
    monitors_ended();
}

/* Begin with the monitor `at`, or with the next that is to be spoken to now. */
static void begin_with_this(void)
{
    for (; at < MONITORS; at++) {
        if (state[at] == READY) {
            read(SHUNT);
            return;
        }
        if (count % RETRY_EVERY == 0) {
            read(MAKER);
            return;
        }
    }
    finish();
}

static void next_monitor(void)
{
    at++;
    begin_with_this();
}

void monitors_begin(struct sample *into)
{
    sample = into;
    at = 0;
    count++;
    if (must_clear)
        finish();
    else
        begin_with_this();
}

void monitors_give_up(void)
{
    if (sample == 0)
        return;
    twowire_give_up();
    must_clear = 1;
    finish();
}

static void set_up(void)
{
    step = SET;
    twowire_write(address[at], CONFIG, SETTINGS);
}

static void lost(uint8_t as, enum event_kind kind)
{
    if (state[at] != as)
        tell(kind);
    state[at] = as;
    next_monitor();
}

void twowire_ended(enum twowire_end how, uint16_t value)
{
    if (how == STUCK) {
        must_clear = 1;
        finish();
        return;
    }
    if (how == SILENT) {
        lost(MISSING, MONITOR_SILENT);
        return;
    }
    switch (step) {
    case SHUNT:
        sample->shunt[at] = (int16_t)value;
        sample->has |= HAS_SHUNT(at);
        read(BUS);
        return;
    case BUS:
        sample->bus[at] = (int16_t)value;
        sample->has |= HAS_BUS(at);
        if (count % LOOK_EVERY == 0)
            read(CONFIG);
        else
            next_monitor();
        return;
    case CONFIG:
        /* one that lost its supply for a moment answers as before, but converts as it likes */
        if (value == SETTINGS) {
            next_monitor();
            return;
        }
        tell(MONITOR_RESTARTED);
        state[at] = UNKNOWN;
        set_up();
        return;
    case MAKER:
        if (value != MAKER_ID)
            lost(OTHER, MONITOR_OTHER);
        else
            read(DIE);
        return;
    case DIE:
        if (value != DIE_ID) {
            lost(OTHER, MONITOR_OTHER);
            return;
        }
        set_up();
        return;
    case SET:
        if (state[at] != UNKNOWN)
            tell(MONITOR_FOUND);
        state[at] = READY;
        next_monitor();
    }
}

void monitors_tend(void)
{
    static uint32_t tried_s;
    uint8_t clocks;

    if (!must_clear || (held && ticks_now() / RATE_HZ == tried_s))
        return;
    tried_s = ticks_now() / RATE_HZ;
    clocks = twowire_clear();
    if (clocks == 255) {
        if (!held)
            events_add(BUS_HELD, 0, ticks_us());
        held = 1;
        return;
    }
    events_add(BUS_FREED, clocks, ticks_us());
    held = 0;
    must_clear = 0;
}
