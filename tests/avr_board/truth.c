/* A sample begins with the first conversion of the first input; what the chips give belongs to the open one. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "truth.h"

#define CONVERSIONS 16
#define REFERENCE_MV 1100

static FILE *file;
static avr_t *avr;
static int resets, conversions, clocks, any;
static avr_cycle_count_t begun;
static long sums[4];
static int has[4], counts[4];
static long long at_us[4];

void truth_open(const char *path, avr_t *core)
{
    avr = core;
    file = fopen(path, "w");
    if (!file) {
        perror(path);
        exit(2);
    }
    fputs("start,cycle,conversions,shunt1,bus1,shunt2,bus2,in1,in2,in3,in4,"
          "shunt1_us,bus1_us,shunt2_us,bus2_us,clocks\n", file);
}

static void end_row(void)
{
    if (!any)
        return;
    fprintf(file, "%d,%llu,%d", resets, (unsigned long long)begun, conversions);
    for (int n = 0; n < 4; n++)
        has[n] ? fprintf(file, ",%d", counts[n]) : fputc(',', file);
    for (int n = 0; n < 4; n++)
        fprintf(file, ",%ld", sums[n]);
    for (int n = 0; n < 4; n++)
        has[n] ? fprintf(file, ",%lld", at_us[n]) : fputc(',', file);
    fprintf(file, ",%d\n", clocks);
    any = 0;
}

void truth_close(void)
{
    end_row();
    fclose(file);
}

void truth_reset(void)
{
    end_row();
    resets++;
    conversions = 0;
}

void truth_input(int input, int mv)
{
    /* as simavr's converter counts: whole mV, and 1,023 steps to the reference */
    long count = (long)mv * 1023 / REFERENCE_MV;

    if (input == 0 && (!any || conversions == CONVERSIONS || avr->cycle - begun > 40000)) {
        end_row();
        begun = avr->cycle;
        conversions = 0;
        memset(sums, 0, sizeof sums);
        memset(has, 0, sizeof has);
        any = 1;
    }
    sums[input] += count > 1023 ? 1023 : count;
    conversions++;
}

void truth_reading(int which, int of_bus, int16_t value, int64_t converted_us)
{
    int n = 2 * which + of_bus;

    has[n] = 1;
    counts[n] = value;
    at_us[n] = converted_us;
}

void truth_silent(uint8_t address)
{
    has[2 * (address - 0x40)] = has[2 * (address - 0x40) + 1] = 0;
}

void truth_clock(void)
{
    clocks++;
}
