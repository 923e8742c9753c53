/* SPDX-License-Identifier: ISC */
/* slap-echo: one short echo behind the voice, or many in time with the song.
 *
 *     in -> echoes, round and round through filter, diffusion and soft clipping -> blended with in
 *
 * Latency none. */
#include "gain/dry_wet.h"
#include "gain/glide.h"
#include "gain/peak_change.h"
#include "plugin.h"
#include "sound/echo_loop.h"

#include <math.h>

enum { TIME, TEMPO, DIVISION, FEEDBACK, LOW_CUT, HIGH_CUT, DIFFUSION, SPREAD, BLEND, N_CONTROLS };

#define SHORTEST_MS 20.0f
#define LONGEST_MS 2000.0f

static const double GLIDE_MS = 20.0;
/* How much later the right side is at full spread: a fifth. */
static const double SPREAD_MOST = 0.2;

/* In the order of their lengths; a triplet is two thirds of a note, a dotted one three halves. */
static const ScalePoint NOTES[] = {
    {0, "1/16 triplet"}, {1, "1/16"},        {2, "1/8 triplet"}, {3, "1/16 dotted"},
    {4, "1/8"},          {5, "1/4 triplet"}, {6, "1/8 dotted"},  {7, "1/4"},
    {8, "1/4 dotted"},   {9, "1/2"},         {10, "1/1"},
};
static const double BEATS[] = {1.0 / 6.0, 0.25, 1.0 / 3.0, 0.375, 0.5, 2.0 / 3.0,
                               0.75,      1.0,  1.5,       2.0,   4.0};
enum { N_NOTES = sizeof NOTES / sizeof *NOTES };

static const PortSpec CONTROLS[N_CONTROLS] = {
    [TIME] = {.symbol = "time",
              .name = "Time",
              .doc = "How long after the voice the echo comes, while Tempo is 0. 80 to 140 ms is "
                     "a slap, which thickens; longer is heard as an echo.",
              .minimum = SHORTEST_MS,
              .initial = 110.0f,
              .maximum = LONGEST_MS,
              .group = "Time",
              .unit = UNIT_MS,
              .kind = PORT_LOGARITHMIC},
    [TEMPO] = {.symbol = "tempo",
               .name = "Tempo",
               .doc = "Tempo of the song, from which Division makes the time; many hosts set it by "
                      "themselves. At 0 Time counts.",
               .minimum = 0.0f,
               .initial = 0.0f,
               .maximum = 300.0f,
               .group = "Time",
               .unit = UNIT_BPM,
               .designation = "http://lv2plug.in/ns/ext/time#beatsPerMinute"},
    [DIVISION] = {.symbol = "division",
                  .name = "Division",
                  .doc = "Length of a note after which the echo comes, where there is a Tempo. "
                         "What would be over 2 s is halved, what would be under 20 ms doubled.",
                  .minimum = 0.0f,
                  .initial = 4.0f,
                  .maximum = N_NOTES - 1,
                  .group = "Time",
                  .kind = PORT_ENUMERATION,
                  .points = NOTES,
                  .n_points = N_NOTES},
    [FEEDBACK] = {.symbol = "feedback",
                  .name = "Feedback",
                  .doc = "How loud each echo is, of the one before. At 0 there is one; over 80 "
                         "they go on for long. Loud ones are clipped softly, so they never run "
                         "away.",
                  .minimum = 0.0f,
                  .initial = 0.0f,
                  .maximum = 95.0f,
                  .group = "Echo",
                  .unit = UNIT_PERCENT},
    [LOW_CUT] = {.symbol = "low_cut",
                 .name = "Low cut",
                 .doc = "High-pass of each echo, 12 dB an octave. Raise it when echoes are thick; "
                        "each echo is thinner than the one before.",
                 .minimum = 20.0f,
                 .initial = 200.0f,
                 .maximum = 1000.0f,
                 .group = "Echo",
                 .unit = UNIT_HZ,
                 .kind = PORT_LOGARITHMIC},
    [HIGH_CUT] = {.symbol = "high_cut",
                  .name = "High cut",
                  .doc = "Low-pass of each echo, 24 dB an octave. Lower it to set echoes behind "
                         "the voice, and when sibilants come back.",
                  .minimum = 1000.0f,
                  .initial = 6000.0f,
                  .maximum = 20000.0f,
                  .group = "Echo",
                  .unit = UNIT_HZ,
                  .kind = PORT_LOGARITHMIC},
    [DIFFUSION] = {.symbol = "diffusion",
                   .name = "Diffusion",
                   .doc = "Smears each echo into a short reverberation, more with every round. "
                          "Turn it up when echoes of consonants rattle.",
                   .minimum = 0.0f,
                   .initial = 0.0f,
                   .maximum = 100.0f,
                   .group = "Echo",
                   .unit = UNIT_PERCENT},
    [SPREAD] = {.symbol = "spread",
                .name = "Spread",
                .doc = "Makes the right side later than the left, at 100 by a fifth of the time, "
                       "so that echoes are wide. In the mono version it does nothing.",
                .minimum = 0.0f,
                .initial = 0.0f,
                .maximum = 100.0f,
                .group = "Output",
                .unit = UNIT_PERCENT},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .doc = "How much of the result is echo; the rest is the input. 100 for a return, 10 "
                      "to 30 as an insert; at 0 the input alone.",
               .minimum = 0.0f,
               .initial = 100.0f,
               .maximum = 100.0f,
               .group = "Output",
               .unit = UNIT_PERCENT},
};

typedef struct {
    double rate_hz;
    unsigned channels;
    EchoLoop echo;
    Glide blend; /* 0..1 */
    PeakChange change;
} SlapEcho;

static size_t frames_of(const SlapEcho *e, double ms) {
    return (size_t)lrint(1e-3 * ms * e->rate_hz);
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    SlapEcho *e = self;
    e->rate_hz = rate_hz;
    e->channels = channels;
    glide_prepare(&e->blend, GLIDE_MS, rate_hz);
    peak_change_prepare(&e->change, rate_hz, channels);
    return echo_loop_prepare(&e->echo, rate_hz, channels, frames_of(e, (double)LONGEST_MS), arena);
}

static void reset(void *self) {
    SlapEcho *e = self;
    echo_loop_reset(&e->echo);
    glide_reset(&e->blend);
    peak_change_reset(&e->change);
}

/* By the controls, before `spread`. */
static double time_ms(const float *control) {
    if (!(control[TEMPO] > 0.0f))
        return (double)control[TIME];
    double ms = 60000.0 / fmax((double)control[TEMPO], 0.1) * BEATS[(size_t)control[DIVISION]];
    while (ms > (double)LONGEST_MS)
        ms *= 0.5;
    while (ms < (double)SHORTEST_MS)
        ms *= 2.0;
    return ms;
}

static void set(void *self, const float *control) {
    SlapEcho *e = self;
    double left_ms = time_ms(control);
    double right_ms = left_ms * (1.0 + SPREAD_MOST * 0.01 * (double)control[SPREAD]);
    right_ms = fmin(right_ms, (double)LONGEST_MS);
    echo_loop_set(&e->echo,
                  &(EchoLoopParams){.delay = {frames_of(e, left_ms), frames_of(e, right_ms)},
                                    .feedback = 0.01 * (double)control[FEEDBACK],
                                    .diffusion = 0.01 * (double)control[DIFFUSION],
                                    .low_hz = (double)control[LOW_CUT],
                                    .high_hz = (double)control[HIGH_CUT]});
    glide_set(&e->blend, 0.01 * (double)control[BLEND]);
}

static void process(void *self, const Io *io) {
    SlapEcho *e = self;
    float wet[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK], blend[PLUGIN_CHUNK];
    float *const to[PLUGIN_MAX_CHANNELS] = {wet[0], wet[1]};
    echo_loop_process(&e->echo, io->in, to, io->n);
    glide_process(&e->blend, blend, io->n);
    for (unsigned c = 0; c < io->channels; c++)
        dry_wet(io->dry[c], wet[c], blend, io->out[c], io->n);
    *io->reduction_db =
        peak_change_process(&e->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

const PluginSpec plugin_spec = {
    .id = "slap-echo",
    .name = "Slap Echo",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .most_gain_db = 26.0f, /* 1 / (1 - 0.95), for a tone in step with the time */
    .may = PLUGIN_SPREADS | PLUGIN_NEW_SOUND,
    .state_size = sizeof(SlapEcho),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
