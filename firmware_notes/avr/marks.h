/* Two buttons that set marks. */
#ifndef MARKS_H
#define MARKS_H

#include <stdint.h>

/* A sample's mark: one of these, or BUTTON_PRESS and above, the presses counted from 1. */
enum mark { NO_MARK, ZERO, ZERO_END, SHUNT_BRIDGED, SHUNT_FREE, BUTTON_PRESS };

void marks_start(void);

/* In the timer's interrupt: look at the buttons. */
void marks_look(void);

/* In an interrupt: the mark for the sample that is put in the row now, so that none is lost with a dropped one. */
uint8_t marks_take(void);

#endif
