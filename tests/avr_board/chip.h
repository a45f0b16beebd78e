/* A current monitor at register level, as a target on the two-wire bus. Figures of the data sheet from memory. */
#ifndef CHIP_H
#define CHIP_H

#include <stdint.h>

struct chip {
    uint8_t address;
    int which;               /* its columns of the scene: 0 or 1 */
    uint16_t config, die;
    int64_t converts_from_us; /* since its settings were written */
    int absent;
    double noise;            /* rms, counts */
    uint8_t pointer, bytes;  /* of the transfer that goes on */
    uint16_t word;
};

void chip_power_on(struct chip *chip, int64_t now_us);

/* A transfer: begins; takes a byte (1: acknowledged); gives a byte. */
void chip_begin(struct chip *chip);
void chip_take(struct chip *chip, uint8_t byte, int64_t now_us);
uint8_t chip_give(struct chip *chip, int64_t now_us);

#endif
