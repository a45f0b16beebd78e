/* What the wires carry, over time: the true voltages at every input. */
#ifndef SCENE_H
#define SCENE_H

#include <stdint.h>

struct moment {
    int64_t t_us;
    int64_t shunt_nv[2], bus_uv[2]; /* at the monitors */
    int32_t input_mv[4];            /* at the converter's pins, behind the dividers */
};

/* Read a table with the columns of `struct moment`, in order of time; ends the program where it cannot. */
void scene_load(const char *path);

/* What holds at this time: the last row at or before it. After the last row it begins again. */
const struct moment *scene_at(int64_t t_us);

/* A normal deviate, always the same ones for the same seed. */
double scene_noise(void);
void scene_seed(uint64_t seed);

#endif
