/* A board for the logger's image: an ATmega328P (simavr), two monitors on its bus, voltages, buttons and mishaps.

   board IMAGE.elf --scene FILE --truth FILE --seconds N [--happenings FILE] [--out FILE] [--noise COUNTS]
         [--pace N] [--clock ADDRESS] [--hang ADDRESS]

   Without --out the serial line is a pseudo-terminal, whose name is the first line printed. Runs as fast as it can,
   or N times as fast as a real one; at the end it prints figures as JSON, and waits for its standard input to end,
   so that nothing is cut off. */
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>

#include "bus.h"
#include "happenings.h"
#include "scene.h"
#include "serial.h"
#include "truth.h"

enum { BUTTON_ZERO = 4, BUTTON_MARK = 5 };
#define PAINT 0xA5

static avr_t *avr;
static struct chip chips[2] = {{.address = 0x40, .which = 0, .die = 0x2260},
                               {.address = 0x41, .which = 1, .die = 0x2260}};
static double input_noise_mv;
static uint8_t buttons = 1 << BUTTON_ZERO | 1 << BUTTON_MARK;
static int bounces, bouncing;
static long pace;
static void (*core_reset)(avr_t *);
static int was_reset, chips_lost_power;
static int clock_at, hang_at;

static int64_t now_us(void)
{
    return (int64_t)(avr->cycle / 16);
}

static double wall_s(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void no_sleep(avr_t *core, avr_cycle_count_t how_long)
{
    (void)core, (void)how_long;
}

/* A conversion begins: its input holds what the scene says now. */
static void conversion(avr_irq_t *irq, uint32_t value, void *param)
{
    union {
        uint32_t v;
        avr_adc_mux_t mux;
    } which = {.v = value};
    int input = which.mux.src & 3;
    double mv = scene_at(now_us())->input_mv[input];

    (void)irq, (void)param;
    if (input_noise_mv > 0)
        mv += input_noise_mv * scene_noise();
    int whole = mv < 0 ? 0 : (int)(mv + 0.5);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + input), (uint32_t)whole);
    truth_input(input, whole);
}

static void show_buttons(void)
{
    avr_ioport_external_t pull = {.name = 'D', .mask = 1 << BUTTON_ZERO | 1 << BUTTON_MARK, .value = buttons};
    avr_irq_t *pins = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), 0);

    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &pull);
    for (int pin = BUTTON_ZERO; pin <= BUTTON_MARK; pin++) {
        avr_raise_irq(pins + pin, !(buttons >> pin & 1));
        avr_raise_irq(pins + pin, buttons >> pin & 1);
    }
}

/* A contact that opens or closes does it seven times within 3 ms. */
static avr_cycle_count_t bounce(avr_t *core, avr_cycle_count_t when, void *param)
{
    (void)core, (void)param;
    buttons ^= (uint8_t)(1 << bouncing);
    show_buttons();
    return --bounces ? when + 8000 : 0;
}

static void turn(int button)
{
    bouncing = button;
    bounces = 7;
    avr_cycle_timer_register(avr, 1, bounce, 0);
}

/* Whoever resets the processor, its own watchdog too: the registers are cleared, the wires are not. */
static void on_reset(avr_t *core)
{
    core_reset(core);
    was_reset = 1;
    bus_reset_begins(chips_lost_power);
}

static void after_reset(void)
{
    was_reset = chips_lost_power = 0;
    truth_reset();
    bus_reset_ended();
    show_buttons();
}

/* The processor is held in reset for a while, its memory is not to be relied on, and it begins anew. */
static void reset_after(long ms, avr_regbit_t flag, int off)
{
    serial_flush();
    for (int at = 0x100; at <= avr->ramend; at++)
        avr->data[at] = (uint8_t)rand();
    chips_lost_power = off;
    avr_reset(avr);
    avr->cycle += (avr_cycle_count_t)ms * 16000;
    usleep((useconds_t)ms * 1000); /* for whoever records, only the computer's clock tells how long it was off */
    avr_regbit_set(avr, flag);
    after_reset();
}

static void happen(const struct happening *now)
{
    const char *what = now->what;

    if (strcmp(what, "zero") == 0)
        turn(BUTTON_ZERO);
    else if (strcmp(what, "mark") == 0)
        turn(BUTTON_MARK);
    else if (strcmp(what, "absent") == 0)
        chips[now->number].absent = 1;
    else if (strcmp(what, "present") == 0)
        chips[now->number].absent = 0, chip_power_on(&chips[now->number], now_us());
    else if (strcmp(what, "restarted") == 0)
        chip_power_on(&chips[now->number], now_us());
    else if (strcmp(what, "other") == 0)
        chips[0].die = (uint16_t)now->number;
    else if (strcmp(what, "hold") == 0)
        bus_hold((int)now->number);
    else if (strcmp(what, "let go") == 0)
        bus_let_go();
    else if (strcmp(what, "brown-out") == 0)
        reset_after(now->number, avr->reset_flags.borf, 0);
    else if (strcmp(what, "power off") == 0)
        reset_after(now->number, avr->reset_flags.porf, 1);
    else if (strcmp(what, "hang") == 0) /* at an instruction that jumps to itself */
        avr->pc = (avr_flashaddr_t)hang_at;
    else if (strcmp(what, "clock") == 0)
        for (int n = 0; n < 4; n++) /* the image's own clock, wherever its memory map has it */
            avr->data[clock_at + n] = (uint8_t)((unsigned long)now->number >> (8 * n));
    else {
        fprintf(stderr, "%s: this cannot happen\n", what);
        exit(2);
    }
}

static void keep_pace(double began_s)
{
    double ahead_s = (double)now_us() / 1e6 / (double)pace - (wall_s() - began_s);

    serial_flush();
    if (ahead_s > 0)
        usleep((useconds_t)(ahead_s * 1e6));
}

static void run(double seconds)
{
    int64_t ends_us = (int64_t)(seconds * 1e6), paced_us = 0;
    double began_s = wall_s();

    while (now_us() < ends_us) {
        int64_t stop_us = happenings_next_us() < ends_us ? happenings_next_us() : ends_us;
        if (pace && stop_us > paced_us)
            stop_us = paced_us += 10000;
        while (now_us() < stop_us) {
            int state = avr_run(avr);
            if (was_reset)
                after_reset();
            if (state == cpu_Done || state == cpu_Crashed) {
                fprintf(stderr, "the processor stopped at %ld us, pc 0x%x\n", (long)now_us(), avr->pc);
                exit(1);
            }
            avr->run_cycle_limit = 64; /* instructions between two looks at the timers; a reset makes it one */
        }
        for (const struct happening *now; (now = happenings_due(now_us()));)
            happen(now);
        if (pace)
            keep_pace(began_s);
    }
}

static void start(const char *path)
{
    elf_firmware_t image;

    memset(&image, 0, sizeof image);
    if (elf_read_firmware(path, &image)) {
        fprintf(stderr, "%s: this is no image\n", path);
        exit(2);
    }
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    avr_load_firmware(avr, &image);
    avr->frequency = 16000000;
    avr->vcc = avr->avcc = avr->aref = 5000;
    avr->sleep = no_sleep;
    core_reset = avr->reset;
    avr->reset = on_reset;
    memset(avr->data + 0x100, PAINT, (size_t)avr->ramend + 1 - 0x100);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), conversion, 0);
}

/* How much of the memory was never written to, between the variables and the stack. */
static int untouched(void)
{
    int most = 0, now = 0;

    for (int at = 0x100; at <= avr->ramend; at++) {
        now = avr->data[at] == PAINT ? now + 1 : 0;
        most = now > most ? now : most;
    }
    return most;
}

int main(int argc, char **argv)
{
    static const struct option known[] = {{"scene", 1, 0, 's'}, {"truth", 1, 0, 't'}, {"seconds", 1, 0, 'n'},
                                          {"happenings", 1, 0, 'h'}, {"out", 1, 0, 'o'}, {"noise", 1, 0, 'r'},
                                          {"pace", 1, 0, 'p'}, {"clock", 1, 0, 'c'}, {"hang", 1, 0, 'a'}, {0, 0, 0, 0}};
    const char *out = 0, *truth = "/dev/null";
    double seconds = 1;
    int option, character;

    while ((option = getopt_long(argc, argv, "", known, 0)) != -1) {
        if (option == 's')
            scene_load(optarg);
        else if (option == 't')
            truth = optarg;
        else if (option == 'n')
            seconds = atof(optarg);
        else if (option == 'h')
            happenings_load(optarg);
        else if (option == 'o')
            out = optarg;
        else if (option == 'r')
            chips[0].noise = chips[1].noise = input_noise_mv = atof(optarg);
        else if (option == 'p')
            pace = atol(optarg);
        else if (option == 'c')
            clock_at = (int)strtol(optarg, 0, 0) & 0xFFFF;
        else if (option == 'a')
            hang_at = (int)strtol(optarg, 0, 0);
        else
            return 2;
    }
    if (optind + 1 != argc) {
        fprintf(stderr, "one image is needed\n");
        return 2;
    }
    start(argv[optind]);
    truth_open(truth, avr);
    bus_attach(avr, chips, 2);
    for (int n = 0; n < 2; n++)
        chip_power_on(&chips[n], 0);
    show_buttons();
    serial_open(avr, out);
    double began_s = wall_s();
    run(seconds);
    serial_flush();
    truth_close();
    printf("{\"simulated_s\": %.3f, \"took_s\": %.3f, \"memory_untouched\": %d}\n", (double)now_us() / 1e6,
           wall_s() - began_s, untouched());
    fflush(stdout);
    while ((character = getchar()) != EOF)
        ;
    return 0;
}
