/* SPDX-License-Identifier: ISC */
/* return-ducker: turns a reverb or delay return down while the voice sings, keyed from the dry
 * voice.
 *
 *     key -> level in dB, held -> static law -> attack and release -> gain on the delayed return
 *
 * The key and the detectors are heard now while the return is heard `lookahead` ms late, so that
 * the duck is under way that long before the word is heard in the return. */
#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/simd.h"
#include "detect/key_detector.h"
#include "gain/ballistics.h"
#include "gain/gain_computer.h"
#include "plugin.h"

#include <math.h>

enum { THRESHOLD, RATIO, KNEE, RANGE, ATTACK, HOLD, RELEASE, LOOKAHEAD, KEY_LOW_CUT, N_CONTROLS };
enum { KEY_LEVEL, N_METERS };

#define LONGEST_HOLD_MS 1000.0f

static const PortSpec CONTROLS[N_CONTROLS] = {
    [THRESHOLD] =
        {.symbol = "threshold",
         .name = "Threshold",
         .doc = "Peak level of the key above which the return goes down. Lower it when quiet words "
                "do not move the return; the meter Key level shows where they lie.",
         .minimum = -60.0f,
         .initial = -36.0f,
         .maximum = 0.0f,
         .group = "Law",
         .short_name = "Threshold",
         .unit = UNIT_DB},
    [RATIO] = {.symbol = "ratio",
               .name = "Ratio",
               .doc = "How hard the key pushes the return down: each dB over the threshold takes "
                      "off 1 - 1/ratio dB, up to Range. At 1 nothing happens.",
               .minimum = 1.0f,
               .initial = 4.0f,
               .maximum = 20.0f,
               .group = "Law",
               .kind = PORT_LOGARITHMIC},
    [KNEE] = {.symbol = "knee",
              .advanced = true,
              .name = "Knee",
              .doc = "Width of the bend around the threshold. Wider starts earlier and more "
                     "gently; widen it when you hear the ducking start.",
              .minimum = 0.0f,
              .initial = 6.0f,
              .maximum = 24.0f,
              .group = "Law",
              .unit = UNIT_DB},
    [RANGE] = {.symbol = "range",
               .name = "Range",
               .doc = "The most that the return goes down. Turn it up when words still drown, down "
                      "when the return vanishes under them.",
               .minimum = 0.0f,
               .initial = 12.0f,
               .maximum = 60.0f,
               .group = "Law",
               .unit = UNIT_DB},
    [ATTACK] = {.symbol = "attack",
                .name = "Attack",
                .doc =
                    "How fast the return goes down (time constant). Longer is gentler, but covers "
                    "more of each word's start; under 1 ms it acts as 1 ms, so nothing clicks.",
                .minimum = 0.1f,
                .initial = 10.0f,
                .maximum = 200.0f,
                .group = "Timing",
                .unit = UNIT_MS,
                .kind = PORT_LOGARITHMIC},
    [HOLD] = {.symbol = "hold",
              .name = "Hold",
              .doc =
                  "How long the return stays down after a word. Longer bridges the breaks between "
                  "words; under 12.5 ms, one period of the lowest voice, it acts as 12.5 ms.",
              .minimum = 0.0f,
              .initial = 40.0f,
              .maximum = LONGEST_HOLD_MS,
              .group = "Timing",
              .unit = UNIT_MS},
    [RELEASE] = {.symbol = "release",
                 .name = "Release",
                 .doc = "How fast the return comes back (time constant). Above a seventh of the "
                        "reverb time it never seems to swell; shorten it to hear the tail sooner.",
                 .minimum = 10.0f,
                 .initial = 400.0f,
                 .maximum = 5000.0f,
                 .group = "Timing",
                 .unit = UNIT_MS,
                 .kind = PORT_LOGARITHMIC},
    [LOOKAHEAD] = {.symbol = "lookahead",
                   .name = "Look-ahead",
                   .doc = "How long before a word the return starts to go down. The return is late "
                          "by as much, which is the plugin's latency; 0 is for playing live.",
                   .minimum = 0.0f,
                   .initial = 10.0f,
                   .maximum = 50.0f,
                   .group = "Timing",
                   .unit = UNIT_MS},
    [KEY_LOW_CUT] = {.symbol = "key_low_cut",
                     .advanced = true,
                     .name = "Key low cut",
                     .doc = "High-pass on the key alone; it is not heard. Raise it when rumble or "
                            "plosives duck the return.",
                     .minimum = 20.0f,
                     .initial = 120.0f,
                     .maximum = 1000.0f,
                     .group = "Key filter",
                     .unit = UNIT_HZ,
                     .kind = PORT_LOGARITHMIC},
};

static const PortSpec METERS[N_METERS] = {
    [KEY_LEVEL] = {.symbol = "key_level",
                   .against = "threshold",
                   .name = "Key level",
                   .doc = "Peak level of the key after its low cut.",
                   .minimum = -90.0f,
                   .maximum = 20.0f,
                   .unit = UNIT_DB,
                   .meter = METER_PEAK},
};

typedef struct {
    double rate_hz;
    KeyDetector detector;
    GainComputer law;
    Ballistics ballistics;
} ReturnDucker;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    ReturnDucker *d = self;
    d->rate_hz = rate_hz;
    ballistics_prepare(&d->ballistics, rate_hz);
    return key_detector_prepare(&d->detector, rate_hz, channels, (double)LONGEST_HOLD_MS, arena);
}

static void reset(void *self) {
    ReturnDucker *d = self;
    key_detector_reset(&d->detector);
    ballistics_reset(&d->ballistics);
}

static void set(void *self, const float *control) {
    ReturnDucker *d = self;
    key_detector_set(&d->detector, &(KeyDetectorParams){.low_cut_hz = control[KEY_LOW_CUT],
                                                        .hold_ms = control[HOLD]});
    gain_computer_set(&d->law, &(GainComputerParams){.threshold_db = control[THRESHOLD],
                                                     .ratio = control[RATIO],
                                                     .knee_db = control[KNEE],
                                                     .range_db = control[RANGE]});
    ballistics_set(&d->ballistics, &(BallisticsParams){.attack_ms = control[ATTACK],
                                                       .release_ms = control[RELEASE]});
}

/* Of the values and `least`, four side by side. */
static float largest(const float *values, size_t n, float least) {
    Simd most = simd_all(least);
    size_t i = 0;
    for (; i + SIMD_WIDTH <= n; i += SIMD_WIDTH) {
        Simd here = simd_load(values + i);
        most = simd_choose(here > most, here, most);
    }
    float all = maths_larger(maths_larger(most[0], most[1]), maths_larger(most[2], most[3]));
    for (; i < n; i++)
        all = maths_larger(values[i], all);
    return all;
}

static void process(void *self, const Io *io) {
    ReturnDucker *d = self;
    float reduction_db[PLUGIN_CHUNK], gain[PLUGIN_CHUNK];
    key_detector_process(&d->detector, io->key, reduction_db, io->n);
    io->meter[KEY_LEVEL] = largest(reduction_db, io->n, METERS[KEY_LEVEL].minimum);
    gain_computer_process(&d->law, reduction_db, reduction_db, io->n);
    ballistics_process(&d->ballistics, reduction_db, reduction_db, io->n);

    for (size_t i = 0; i < io->n; i++)
        gain[i] = decibel_fast_gain(-reduction_db[i]);
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++)
            io->out[c][i] = gain[i] * io->dry[c][i];
    *io->reduction_db = largest(reduction_db, io->n, 0.0f);
}

/* The nearest whole number of frames. */
static size_t latency(const void *self, const float *control) {
    const ReturnDucker *d = self;
    return (size_t)lrint((double)control[LOOKAHEAD] * 1e-3 * d->rate_hz);
}

const PluginSpec plugin_spec = {
    .id = "return-ducker",
    .name = "Return Ducker",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .most_reduction_db = 60.0f,
    .has_key = true,
    .state_size = sizeof(ReturnDucker),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
