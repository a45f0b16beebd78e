/* The table is in order of time. */
#include <stdio.h>
#include <stdlib.h>

#include "happenings.h"

static struct happening rows[1000];
static int count, next;

void happenings_load(const char *path)
{
    FILE *file = fopen(path, "r");
    struct happening row;

    if (!file) {
        perror(path);
        exit(2);
    }
    while (count < 1000 && fscanf(file, "%ld,%15[^,],%ld\n", &row.t_us, row.what, &row.number) == 3)
        rows[count++] = row;
    if (!feof(file)) {
        fprintf(stderr, "%s: row %d is no happening\n", path, count + 1);
        exit(2);
    }
    fclose(file);
}

const struct happening *happenings_due(int64_t now_us)
{
    if (next == count || rows[next].t_us > now_us)
        return 0;
    return &rows[next++];
}

int64_t happenings_next_us(void)
{
    return next == count ? INT64_MAX : rows[next].t_us;
}
