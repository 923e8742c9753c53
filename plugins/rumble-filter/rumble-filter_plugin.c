/* SPDX-License-Identifier: ISC */
/* rumble-filter: a high-pass that keeps just under the lowest note sung lately, and a low-pass.
 *
 *     in -> pitch -> lowest note of the last seconds -> corner -> high-pass, low-pass on in
 *     in -> thump of a /p/ or /b/? -> how far over the voice -> deep cut on that, while it lasts
 *
 * No look-ahead: the corner rises slowly behind the voice, and gives way under it as soon as a
 * lower note is confirmed (pitch_floor.h); of a thump the first 10 ms get through (thumps.h). How
 * far it may raise a peak: edge_filter.h. */
#include "basic/decibel.h"
#include "detect/thumps.h"
#include "filter/deep_cut.h"
#include "filter/edge_filter.h"
#include "plugin.h"
#include "voice/pitch.h"
#include "voice/pitch_floor.h"

#include <math.h>

enum { FLOOR, CEILING, FOLLOW, MARGIN, SLOPE, TOP, THUMPS, N_CONTROLS };
enum { CUTOFF, PITCH, N_METERS };

/* From under a low bass's C2, 65 Hz, to over a high soprano's C6, 1047 Hz (common practice). */
static const PitchRange VOICE = {.lowest_hz = 60.0, .highest_hz = 1100.0};
static const double METER_MS = 100.0;
/* Two dB for each by which a thump stands over the least that counts as one (thumps.h), so that one
 * more or less of these changes little; what is as loud as the voice's low end loses 18 dB. */
static const float THUMP_LEAST_DB = -9.0f, THUMP_SLOPE = 2.0f;
/* The deep cut: a little over the lowest note, since a burst covers it, but no higher than a burst
 * reaches. At 18 dB the lowest note loses 7 dB while it thumps, an octave over it 0.1 dB. */
static const float THUMP_CORNER = 1.2f, THUMP_LEAST_HZ = 100.0f, THUMP_MOST_HZ = 160.0f;

static const ScalePoint SLOPES[] = {
    {12.0f, "12 dB per octave"},
    {24.0f, "24 dB per octave"},
    {36.0f, "36 dB per octave"},
    {48.0f, "48 dB per octave"},
};

static const PortSpec CONTROLS[N_CONTROLS] = {
    [FLOOR] = {.symbol = "floor",
               .name = "Lowest corner",
               .doc = "The corner of the high-pass never goes lower; it stays here until a note is "
                      "known, and always with Follow the voice off. Raise it when rumble gets "
                      "through, lower it for a very deep voice.",
               .minimum = 20.0f,
               .initial = 40.0f,
               .maximum = 200.0f,
               .group = "High-pass",
               .unit = UNIT_HZ,
               .kind = PORT_LOGARITHMIC},
    [CEILING] = {.symbol = "ceiling",
                 .advanced = true,
                 .name = "Highest corner",
                 .doc = "The corner of the high-pass never goes higher, however high the voice. "
                        "Raise it for a high voice on a noisy stage, lower it to keep warmth.",
                 .minimum = 40.0f,
                 .initial = 160.0f,
                 .maximum = 400.0f,
                 .group = "High-pass",
                 .unit = UNIT_HZ,
                 .kind = PORT_LOGARITHMIC},
    [FOLLOW] = {.symbol = "follow",
                .name = "Follow the voice",
                .doc = "On: the corner stays under the lowest note of the last few seconds of "
                       "singing. Off: it stays at Lowest corner.",
                .minimum = 0.0f,
                .initial = 1.0f,
                .maximum = 1.0f,
                .group = "High-pass",
                .kind = PORT_TOGGLE},
    [MARGIN] = {.symbol = "margin",
                .advanced = true,
                .name = "Corner / lowest note",
                .doc = "Where the corner lies under the lowest note: 0.6 is 60 % of its frequency, "
                       "where the note loses 0.1 dB (at 24 dB/octave). Higher cuts closer to the "
                       "voice; lower it when low notes get thin.",
                .minimum = 0.2f,
                .initial = 0.6f,
                .maximum = 0.9f,
                .group = "High-pass",
                .short_name = "Corner ratio"},
    [SLOPE] = {.symbol = "slope",
               .name = "Slope",
               .doc = "How steeply the high-pass falls below its corner. Steeper takes more rumble "
                      "out, but turns the phase of low notes more, which can raise peaks.",
               .minimum = 12.0f,
               .initial = 24.0f,
               .maximum = 48.0f,
               .group = "High-pass",
               .kind = PORT_ENUMERATION,
               .points = SLOPES,
               .n_points = sizeof SLOPES / sizeof *SLOPES},
    [TOP] = {.symbol = "top",
             .name = "Low-pass",
             .doc = "Corner of a low-pass (24 dB/octave) against hiss and fizz; lower takes more "
                    "off. Off at 22 kHz.",
             .minimum = 8000.0f,
             .initial = 20000.0f,
             .maximum = 22000.0f,
             .group = "Low-pass",
             .unit = UNIT_HZ,
             .kind = PORT_LOGARITHMIC},
    [THUMPS] = {.symbol = "thumps",
                .name = "Thumps",
                .doc =
                    "How far the thump of a /p/ or /b/ is taken down at most, below the voice and "
                    "as long as it lasts. Lower it when words lose body; off at 0.",
                .minimum = 0.0f,
                .initial = 18.0f,
                .maximum = 24.0f,
                .group = "High-pass",
                .unit = UNIT_DB},
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
               .doc = "Fundamental of the note sung now; 0 when there is none.",
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
    Thumps thumps;
    DeepCut deep;
    float lowest_hz; /* 0: not known */
    struct {
        float keep;            /* of the power so far, at the end of a hop */
        float sum_in, sum_out; /* of this hop so far */
        float in, out;
        float lost_db;
    } power; /* for the meter: over METER_MS, both channels together */
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
    f->power.keep = (float)exp(-(double)PITCH_HOP_MS / METER_MS);
    edge_filter_prepare(&f->edges, rate_hz, channels);
    deep_cut_prepare(&f->deep, rate_hz, channels);
    return pitch_prepare(&f->pitch, rate_hz, &VOICE, arena) &&
           pitch_floor_prepare(&f->lowest, PITCH_HOP_MS, arena) &&
           thumps_prepare(&f->thumps, rate_hz, arena);
}

static void reset(void *self) {
    RumbleFilter *f = self;
    pitch_reset(&f->pitch);
    pitch_floor_reset(&f->lowest);
    thumps_reset(&f->thumps);
    deep_cut_reset(&f->deep);
    f->lowest_hz = 0.0f;
    f->power.sum_in = f->power.sum_out = f->power.in = f->power.out = f->power.lost_db = 0.0f;
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

/* Frame by frame, so that the sums do not depend on how blocks are cut; both in one go, since each
 * waits for itself. */
static void add_powers(RumbleFilter *f, const float *const *in, float *const *out,
                       unsigned channels, size_t n) {
    const float *in0 = in[0], *in1 = in[channels - 1];
    const float *out0 = out[0], *out1 = out[channels - 1];
    float sum_in = f->power.sum_in, sum_out = f->power.sum_out;
    for (size_t i = 0; i < n; i++) {
        sum_in += in0[i] * in0[i] + in1[i] * in1[i];
        sum_out += out0[i] * out0[i] + out1[i] * out1[i];
    }
    f->power.sum_in = sum_in;
    f->power.sum_out = sum_out;
}

/* The end of a hop: by how much the level of the last METER_MS has fallen. */
static void measure_loss(RumbleFilter *f) {
    f->power.in = f->power.sum_in + f->power.keep * (f->power.in - f->power.sum_in);
    f->power.out = f->power.sum_out + f->power.keep * (f->power.out - f->power.sum_out);
    f->power.sum_in = f->power.sum_out = 0.0f;
    f->power.lost_db =
        fmaxf(0.0f, decibel_from_power(f->power.in) - decibel_from_power(f->power.out));
}

/* What the control allows of what the thump of now asks for. */
static DeepCutParams deep_params(const RumbleFilter *f) {
    float over_db = thumps_now(&f->thumps) ? thumps_level_db(&f->thumps) - THUMP_LEAST_DB : 0.0f;
    float corner_hz = THUMP_CORNER * f->lowest_hz;
    return (DeepCutParams){
        .corner_hz = (double)fminf(fmaxf(corner_hz, THUMP_LEAST_HZ), THUMP_MOST_HZ),
        .reduction_db = fminf(THUMP_SLOPE * fmaxf(over_db, 0.0f), f->control[THUMPS]),
        .ready = f->control[THUMPS] > 0.0f && thumps_near(&f->thumps)};
}

/* Takes thumps out of `audio`, as `in` tells of them. */
static void cut_thumps(RumbleFilter *f, const float *in, float *const *audio, unsigned channels,
                       size_t n) {
    for (size_t at = 0; at < n;) {
        float *now[PLUGIN_MAX_CHANNELS] = {audio[0] + at, audio[channels - 1] + at};
        size_t take = n - at, until = thumps_until(&f->thumps);
        take = take < until ? take : until;
        DeepCutParams params = deep_params(f);
        deep_cut_process(&f->deep, &params, now, take);
        (void)thumps_process(&f->thumps, in + at, take);
        at += take;
    }
}

static void process(void *self, const Io *io) {
    RumbleFilter *f = self;
    float mono[PLUGIN_CHUNK], lost_db = f->power.lost_db;
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
        cut_thumps(f, mono + at, out, io->channels, n);
        add_powers(f, in, out, io->channels, n);
        if (pitch_process(&f->pitch, mono + at, n)) {
            PitchReading reading = pitch_reading(&f->pitch);
            f->lowest_hz = pitch_floor_step(&f->lowest, &reading);
            thumps_voice(&f->thumps, f->lowest_hz, pitch_floor_voiced_hz(&f->lowest) > 0.0f);
            aim(f);
            measure_loss(f);
            lost_db = fmaxf(lost_db, f->power.lost_db);
        }
        at += n;
    }
    io->meter[CUTOFF] = (float)edge_filter_low_hz(&f->edges);
    io->meter[PITCH] = pitch_floor_voiced_hz(&f->lowest);
    *io->reduction_db = lost_db;
}

const PluginSpec plugin_spec = {
    .id = "rumble-filter",
    .name = "Rumble Filter",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .may = PLUGIN_FILTERS,
    .state_size = sizeof(RumbleFilter),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
