/* A table in memory, and a cursor that moves with the time. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "scene.h"

static struct moment *rows;
static size_t count, cursor;
static uint64_t state = 88172645463325252u;

void scene_load(const char *path)
{
    FILE *file = fopen(path, "r");
    size_t room = 0;
    struct moment row;

    if (!file) {
        perror(path);
        exit(2);
    }
    while (fscanf(file, "%ld,%ld,%ld,%ld,%ld,%d,%d,%d,%d\n", &row.t_us, &row.shunt_nv[0], &row.bus_uv[0],
                  &row.shunt_nv[1], &row.bus_uv[1], &row.input_mv[0], &row.input_mv[1], &row.input_mv[2],
                  &row.input_mv[3]) == 9) {
        if (count == room)
            rows = realloc(rows, (room = room ? 2 * room : 1024) * sizeof row);
        rows[count++] = row;
    }
    if (!feof(file) || count == 0) {
        fprintf(stderr, "%s: row %zu is no row of a scene\n", path, count + 1);
        exit(2);
    }
    fclose(file);
}

const struct moment *scene_at(int64_t t_us)
{
    if (count > 1) {
        int64_t step = rows[1].t_us - rows[0].t_us;
        t_us %= rows[count - 1].t_us + step;
    }
    if (rows[cursor].t_us > t_us)
        cursor = 0;
    while (cursor + 1 < count && rows[cursor + 1].t_us <= t_us)
        cursor++;
    return &rows[cursor];
}

void scene_seed(uint64_t seed)
{
    state ^= seed * 2685821657736338717u;
}

static double uniform(void)
{
    state ^= state << 13; /* xorshift64, G. Marsaglia 2003 */
    state ^= state >> 7;
    state ^= state << 17;
    return ((double)(state >> 11) + 0.5) / 9007199254740992.0;
}

double scene_noise(void)
{
    return sqrt(-2 * log(uniform())) * cos(2 * 3.14159265358979323846 * uniform());
}
