/* What happens to the board, and when: a table of time (us), word, number. */
#ifndef HAPPENINGS_H
#define HAPPENINGS_H

#include <stdint.h>

struct happening {
    int64_t t_us;
    char what[16];
    long number;
};

void happenings_load(const char *path);

/* The next that is due by now, or a null pointer. */
const struct happening *happenings_due(int64_t now_us);

/* When the next one is due; far away where there is none. */
int64_t happenings_next_us(void);

#endif
