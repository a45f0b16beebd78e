/* Its conversions run in turn, shunt then bus; a register holds the last one that was finished. */
#include <math.h>

#include "chip.h"
#include "scene.h"
#include "truth.h"

#define POWER_ON_CONFIG 0x4127
static const int conversion_us[8] = {140, 204, 332, 588, 1100, 2116, 4156, 8244};

void chip_power_on(struct chip *chip, int64_t now_us)
{
    chip->config = POWER_ON_CONFIG;
    chip->converts_from_us = now_us;
}

static uint16_t counts(const struct chip *chip, double value, double least)
{
    double noisy = floor(value + chip->noise * scene_noise() + 0.5);

    if (noisy > 32767)
        noisy = 32767;
    return (uint16_t)(int16_t)(noisy < least ? least : noisy);
}

/* The middle of the last finished conversion, of the shunt (0) or the bus (1); negative before the first. */
static int64_t middle_us(const struct chip *chip, int of_bus, int64_t now_us)
{
    int shunt = conversion_us[chip->config >> 3 & 7], bus = conversion_us[chip->config >> 6 & 7];
    int64_t ends = of_bus ? shunt + bus : shunt, since = now_us - chip->converts_from_us;

    if (since < ends)
        return -1;
    return chip->converts_from_us + (since - ends) / (shunt + bus) * (shunt + bus) + ends - (of_bus ? bus : shunt) / 2;
}

static uint16_t reading(struct chip *chip, int64_t now_us)
{
    int of_bus = chip->pointer == 0x02;
    int64_t at_us = middle_us(chip, of_bus, now_us);
    uint16_t word = 0;

    if (at_us >= 0) {
        const struct moment *moment = scene_at(at_us);
        if (of_bus)
            word = counts(chip, (double)moment->bus_uv[chip->which] / 1250.0, 0);
        else
            word = counts(chip, (double)moment->shunt_nv[chip->which] / 2500.0, -32768);
    }
    truth_reading(chip->which, of_bus, (int16_t)word, at_us);
    return word;
}

static uint16_t register_value(struct chip *chip, int64_t now_us)
{
    switch (chip->pointer) {
    case 0x00:
        return chip->config;
    case 0x01:
    case 0x02:
        return reading(chip, now_us);
    case 0xFE:
        return 0x5449;
    case 0xFF:
        return chip->die;
    default:
        return 0;
    }
}

void chip_begin(struct chip *chip)
{
    chip->bytes = 0;
}

void chip_take(struct chip *chip, uint8_t byte, int64_t now_us)
{
    if (chip->bytes++ == 0) {
        chip->pointer = byte;
        return;
    }
    chip->word = (uint16_t)(chip->word << 8 | byte);
    if (chip->bytes == 3 && chip->pointer == 0x00) {
        chip->config = chip->word;
        chip->converts_from_us = now_us;
        if (chip->config & 0x8000)
            chip_power_on(chip, now_us);
    }
}

uint8_t chip_give(struct chip *chip, int64_t now_us)
{
    if (chip->bytes == 0)
        chip->word = register_value(chip, now_us);
    return chip->bytes++ ? (uint8_t)chip->word : (uint8_t)(chip->word >> 8);
}
