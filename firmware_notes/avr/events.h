/* What went wrong or came back, from the interrupts to notes in the stream. */
#ifndef EVENTS_H
#define EVENTS_H

#include <stdint.h>

enum event_kind {
    MONITOR_SILENT, /* detail: its address */
    MONITOR_FOUND,
    MONITOR_OTHER,
    MONITOR_RESTARTED,
    BUS_FREED,      /* detail: clocks it took */
    BUS_HELD
};

struct event {
    enum event_kind kind;
    uint8_t detail;
    uint32_t t_us;
};

void events_add(enum event_kind kind, uint8_t detail, uint32_t t_us);

/* Take the oldest; 0 where there is none. */
uint8_t events_take(struct event *into);

/* How many did not fit since the last time this was asked. */
uint8_t events_untold(void);

#endif
