/* SPDX-License-Identifier: ISC */
/* rumble-filter: a high-pass that keeps just under the lowest note sung lately, and a low-pass.
 *
 *     in -> pitch -> lowest note of the last seconds -> corner -> high-pass, low-pass on in
 *
 * No look-ahead: the corner rises slowly behind the voice, and gives way under it as soon as a lower
 * note is confirmed (pitch_floor.h). How far it may raise a peak: edge_filter.h. */
#include "basic/decibel.h"
#include "filter/edge_filter.h"
#include "plugin.h"
#include "voice/pitch.h"
#include "voice/pitch_floor.h"

#include <math.h>

enum { FLOOR, CEILING, FOLLOW, MARGIN, SLOPE, TOP, N_CONTROLS };
enum { CUTOFF, PITCH, N_METERS };

/* From under a low bass's C2, 65 Hz, to over a high soprano's C6, 1047 Hz (common practice). */
static const PitchRange VOICE = {.lowest_hz = 60.0, .highest_hz = 1100.0};
static const double METER_MS = 100.0;

static const ScalePoint SLOPES[] = {
    {12.0f, "12 dB per octave"},
    {24.0f, "24 dB per octave"},
    {36.0f, "36 dB per octave"},
    {48.0f, "48 dB per octave"},
};

static const PortSpec CONTROLS[N_CONTROLS] = {
    [FLOOR] = {.symbol = "floor",
               .name = "Floor",
               .doc = "The lowest corner of the high-pass: where it is before a note is known, "
                      "and always when it does not follow.",
               .minimum = 20.0f,
               .initial = 40.0f,
               .maximum = 200.0f,
               .unit = UNIT_HZ,
               .kind = PORT_LOGARITHMIC},
    [CEILING] = {.symbol = "ceiling",
                 .name = "Ceiling",
                 .doc = "The highest corner of the high-pass, however high the voice.",
                 .minimum = 40.0f,
                 .initial = 160.0f,
                 .maximum = 400.0f,
                 .unit = UNIT_HZ,
                 .kind = PORT_LOGARITHMIC},
    [FOLLOW] = {.symbol = "follow",
                .name = "Follow the voice",
                .doc = "On, the corner keeps under the lowest note of the last few seconds of "
                       "singing. Off, it stays at the floor.",
                .minimum = 0.0f,
                .initial = 1.0f,
                .maximum = 1.0f,
                .kind = PORT_TOGGLE},
    [MARGIN] = {.symbol = "margin",
                .name = "Margin",
                .doc = "The corner as a share of the sung fundamental. At 0.6 and 24 dB per "
                       "octave a fundamental loses 0.1 dB; higher cuts closer.",
                .minimum = 0.2f,
                .initial = 0.6f,
                .maximum = 0.9f},
    [SLOPE] = {.symbol = "slope",
               .name = "Slope",
               .doc = "How steeply the high-pass falls under its corner.",
               .minimum = 12.0f,
               .initial = 24.0f,
               .maximum = 48.0f,
               .kind = PORT_ENUMERATION,
               .points = SLOPES,
               .n_points = sizeof SLOPES / sizeof *SLOPES},
    [TOP] = {.symbol = "top",
             .name = "Top",
             .doc = "Corner of a low-pass of 24 dB per octave against hiss and fizz. Off at its "
                    "maximum.",
             .minimum = 8000.0f,
             .initial = 20000.0f,
             .maximum = 22000.0f,
             .unit = UNIT_HZ,
             .kind = PORT_LOGARITHMIC},
};

static const PortSpec METERS[N_METERS] = {
    [CUTOFF] = {.symbol = "cutoff",
                .name = "Corner",
                .doc = "Corner of the high-pass now.",
                .minimum = 0.0f,
                .maximum = 400.0f,
                .unit = UNIT_HZ},
    [PITCH] = {.symbol = "pitch",
               .name = "Pitch",
               .doc = "Fundamental sung now; 0 when nothing is.",
               .minimum = 0.0f,
               .maximum = 1200.0f,
               .unit = UNIT_HZ},
};

typedef struct {
    double rate_hz;
    float control[N_CONTROLS];
    Pitch pitch;
    PitchFloor lowest;
    EdgeFilter edges;
    float lowest_hz;           /* 0: not known */
    float power_in, power_out; /* for the meter */
} RumbleFilter;

/* The corner wanted now, and the rest of the filter's settings. */
static void aim(RumbleFilter *f) {
    const float *control = f->control;
    float low_hz = control[FLOOR];
    if (control[FOLLOW] > 0.0f && f->lowest_hz > 0.0f) {
        low_hz = fminf(control[MARGIN] * f->lowest_hz, control[CEILING]);
        low_hz = fmaxf(low_hz, control[FLOOR]);
    }
    bool top = control[TOP] < CONTROLS[TOP].maximum;
    edge_filter_set(&f->edges, &(EdgeFilterParams){.low_hz = (double)low_hz,
                                                   .pairs = (unsigned)(control[SLOPE] / 12.0f),
                                                   .high_hz = top ? (double)control[TOP] : 0.0});
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    RumbleFilter *f = self;
    f->rate_hz = rate_hz;
    for (int i = 0; i < N_CONTROLS; i++)
        f->control[i] = CONTROLS[i].initial;
    edge_filter_prepare(&f->edges, rate_hz, channels);
    return pitch_prepare(&f->pitch, rate_hz, &VOICE, arena) &&
           pitch_floor_prepare(&f->lowest, PITCH_HOP_MS, arena);
}

static void reset(void *self) {
    RumbleFilter *f = self;
    pitch_reset(&f->pitch);
    pitch_floor_reset(&f->lowest);
    f->lowest_hz = 0.0f;
    f->power_in = f->power_out = 0.0f;
    aim(f);
    edge_filter_reset(&f->edges);
}

static void set(void *self, const float *control) {
    RumbleFilter *f = self;
    for (int i = 0; i < N_CONTROLS; i++)
        f->control[i] = control[i];
    aim(f);
}

/* What both channels have in common is what is listened to. */
static void mix(const Io *io, float *mono) {
    const float *left = io->in[0], *right = io->in[io->channels - 1];
    for (size_t i = 0; i < io->n; i++)
        mono[i] = 0.5f * (left[i] + right[i]);
}

/* Mean power of both channels. Sums side by side: C does not let the compiler reorder one. */
static float mean_power(const float *const *audio, unsigned channels, size_t n) {
    enum { SIDES = 8 };
    const float *left = audio[0], *right = audio[channels - 1];
    float sums[SIDES] = {0.0f}, sum = 0.0f;
    size_t whole = n - n % SIDES;
    for (size_t i = 0; i < whole; i += SIDES)
        for (size_t k = 0; k < SIDES; k++)
            sums[k] += left[i + k] * left[i + k] + right[i + k] * right[i + k];
    for (size_t i = whole; i < n; i++)
        sum += left[i] * left[i] + right[i] * right[i];
    for (size_t k = 0; k < SIDES; k++)
        sum += sums[k];
    return n > 0 ? sum * 0.5f / (float)n : 0.0f;
}

/* By how much the level of the last METER_MS has fallen, dB. */
static float level_lost(RumbleFilter *f, const Io *io) {
    float keep = (float)exp(-(double)io->n * 1e3 / (METER_MS * f->rate_hz));
    float in = mean_power(io->in, io->channels, io->n);
    float out = mean_power((const float *const *)io->out, io->channels, io->n);
    f->power_in = in + keep * (f->power_in - in);
    f->power_out = out + keep * (f->power_out - out);
    return fmaxf(0.0f, decibel_from_power(f->power_in) - decibel_from_power(f->power_out));
}

static void process(void *self, const Io *io) {
    RumbleFilter *f = self;
    float mono[PLUGIN_CHUNK];
    mix(io, mono);
    for (size_t at = 0; at < io->n;) {
        size_t n = io->n - at, until = pitch_until(&f->pitch);
        n = n < until ? n : until;
        const float *in[PLUGIN_MAX_CHANNELS];
        float *out[PLUGIN_MAX_CHANNELS];
        for (unsigned c = 0; c < io->channels; c++) {
            in[c] = io->dry[c] + at;
            out[c] = io->out[c] + at;
        }
        edge_filter_process(&f->edges, in, out, n);
        if (pitch_process(&f->pitch, mono + at, n)) {
            PitchReading reading = pitch_reading(&f->pitch);
            f->lowest_hz = pitch_floor_step(&f->lowest, &reading);
            aim(f);
        }
        at += n;
    }
    io->meter[CUTOFF] = (float)edge_filter_low_hz(&f->edges);
    io->meter[PITCH] = pitch_floor_voiced_hz(&f->lowest);
    *io->reduction_db = level_lost(f, io);
}

static size_t latency(const void *self, const float *control) {
    (void)self;
    (void)control;
    return 0;
}

const PluginSpec plugin_spec = {
    .id = "rumble-filter",
    .name = "Rumble Filter",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .state_size = sizeof(RumbleFilter),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
