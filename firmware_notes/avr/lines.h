/* What is sent: a header, samples and notes, each a line with its checksum. */
#ifndef LINES_H
#define LINES_H

#include "events.h"
#include "samples.h"

void lines_header(void);
void lines_sample(const struct sample *sample);

/* Why the board started, from its reset flags (MCUSR). */
void lines_started(uint8_t flags);
void lines_event(const struct event *event);
void lines_untold(uint8_t count);
void lines_dropped(uint16_t count);

#endif
