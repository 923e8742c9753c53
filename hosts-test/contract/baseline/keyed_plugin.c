/* SPDX-License-Identifier: ISC */
/* The least of a plugin with a key, a latency that a control sets, every kind of control, and a
 * meter: what the other floors leave untried in the tests of bundles. The gain falls as the key's
 * smoothed level rises. */
#include "basic/decibel.h"
#include "basic/one_pole.h"
#include "plugin.h"

#include <math.h>

typedef struct {
    double rate_hz;
    float depth;
    float pole;
    bool invert;
    unsigned power;
    struct {
        float level;
    } state;
} Keyed;

enum { DEPTH, LOOKAHEAD, POWER, INVERT, SPEED };

static const ScalePoint SPEEDS[] = {{0.0f, "Slow"}, {1.0f, "Fast"}};

static const PortSpec CONTROLS[] = {
    [DEPTH] = {.symbol = "depth",
               .name = "Depth",
               .doc = "How far the level falls at most.",
               .minimum = 0.0f,
               .initial = 12.0f,
               .maximum = 24.0f,
               .unit = UNIT_DB},
    [LOOKAHEAD] = {.symbol = "lookahead",
                   .name = "Look-ahead",
                   .doc = "How long before the key the level falls.",
                   .minimum = 0.0f,
                   .initial = 5.0f,
                   .maximum = 20.0f,
                   .unit = UNIT_MS},
    [POWER] = {.symbol = "power",
               .name = "Power",
               .doc = "How often the gain is applied.",
               .minimum = 0.0f,
               .initial = 1.0f,
               .maximum = 3.0f,
               .kind = PORT_INTEGER},
    [INVERT] = {.symbol = "invert",
                .name = "Invert",
                .doc = "Turns the result upside down.",
                .minimum = 0.0f,
                .initial = 0.0f,
                .maximum = 1.0f,
                .kind = PORT_TOGGLE},
    [SPEED] = {.symbol = "speed",
               .name = "Speed",
               .doc = "How fast the level follows the key.",
               .minimum = 0.0f,
               .initial = 1.0f,
               .maximum = 1.0f,
               .kind = PORT_ENUMERATION,
               .points = SPEEDS,
               .n_points = 2},
};

static const PortSpec METERS[] = {{.symbol = "key_level",
                                   .name = "Key level",
                                   .doc = "The key as the plugin follows it.",
                                   .minimum = 0.0f,
                                   .maximum = 1.0f}};

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)channels, (void)arena;
    ((Keyed *)self)->rate_hz = rate_hz;
    return true;
}

static void reset(void *self) {
    ((Keyed *)self)->state.level = 0.0f;
}

static void set(void *self, const float *control) {
    Keyed *p = self;
    p->depth = 1.0f - (float)decibel_to_gain(-(double)control[DEPTH]);
    p->power = (unsigned)control[POWER];
    p->invert = control[INVERT] > 0.0f;
    p->pole = (float)one_pole_coefficient(control[SPEED] > 0.5f ? 10.0 : 100.0, p->rate_hz);
}

static void process(void *self, const Io *io) {
    Keyed *p = self;
    float least = 1.0f;
    for (size_t i = 0; i < io->n; i++) {
        float key = fabsf(io->key[0][i]);
        if (io->channels == 2)
            key = fmaxf(key, fabsf(io->key[1][i]));
        p->state.level = one_pole_step(p->state.level, fminf(key, 1.0f), p->pole);
        float gain = 1.0f - p->depth * p->state.level;
        float power = p->invert ? -1.0f : 1.0f;
        for (unsigned k = 0; k < p->power; k++)
            power *= gain;
        least = fminf(least, fabsf(power));
        for (unsigned c = 0; c < io->channels; c++)
            io->out[c][i] = power * io->dry[c][i];
    }
    io->meter[0] = p->state.level;
    *io->reduction_db = (float)-decibel_from_gain((double)least);
}

static size_t latency(const void *self, const float *control) {
    return (size_t)lrint((double)control[LOOKAHEAD] * 1e-3 * ((const Keyed *)self)->rate_hz);
}

const PluginSpec plugin_spec = {
    .id = "keyed",
    .name = "Keyed",
    .controls = CONTROLS,
    .n_controls = sizeof CONTROLS / sizeof *CONTROLS,
    .meters = METERS,
    .n_meters = sizeof METERS / sizeof *METERS,
    .has_key = true,
    .state_size = sizeof(Keyed),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
