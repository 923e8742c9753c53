/* SPDX-License-Identifier: ISC */
/* plate-reverb: the reverberation of a plate, for a send or as an insert.
 *
 *     in -> low cut -> pre-delay -> plate -> width -> blended with in
 *
 * Both sides of the stereo one are distinct, also of a mono take. Latency none. */
#include "basic/maths.h"
#include "filter/edge_filter.h"
#include "gain/dry_wet.h"
#include "gain/glide.h"
#include "gain/peak_change.h"
#include "plugin.h"
#include "sound/plate.h"
#include "sound/tap_line.h"

#include <math.h>

enum { DECAY, PRE_DELAY, LOW_CUT, DAMPING, WIDTH, MOTION, BLEND, N_CONTROLS };

#define LONGEST_PRE_DELAY_MS 250.0f

static const double GLIDE_MS = 20.0;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [DECAY] = {.symbol = "decay",
               .name = "Decay",
               .short_name = "Decay",
               .doc = "How long the tail takes to fall by 60 dB. Under 0.5 it only binds the voice "
                      "to a room; longer fills gaps. The loudness stays, so that a longer tail "
                      "starts quieter.",
               .minimum = 0.1f,
               .initial = 0.9f,
               .maximum = 10.0f,
               .group = "Tail",
               .unit = UNIT_S,
               .kind = PORT_LOGARITHMIC},
    [PRE_DELAY] = {.symbol = "pre_delay",
                   .name = "Pre-delay",
                   .doc =
                       "How much later than the voice the reverberation begins. More keeps words "
                       "clear and the voice in front; over 50 ms it is heard by itself.",
                   .minimum = 0.0f,
                   .initial = 12.0f,
                   .maximum = LONGEST_PRE_DELAY_MS,
                   .group = "Input",
                   .unit = UNIT_MS},
    [LOW_CUT] = {.symbol = "low_cut",
                 .name = "Low cut",
                 .doc = "High-pass before the plate, 12 dB an octave. Raise it when the "
                        "reverberation is thick or booms.",
                 .minimum = 20.0f,
                 .initial = 200.0f,
                 .maximum = 1000.0f,
                 .group = "Input",
                 .unit = UNIT_HZ,
                 .kind = PORT_LOGARITHMIC},
    [DAMPING] = {.symbol = "damping",
                 .name = "Damping",
                 .doc = "Where the tail dies twice as fast as Decay says; higher up faster still. "
                        "Lower it for a darker tail, and when sibilants hiss on.",
                 .minimum = 1000.0f,
                 .initial = 6500.0f,
                 .maximum = 20000.0f,
                 .group = "Tail",
                 .unit = UNIT_HZ,
                 .kind = PORT_LOGARITHMIC},
    [WIDTH] = {.symbol = "width",
               .name = "Width",
               .doc = "How far apart the sides are: at 100 they have nothing in common, at 0 they "
                      "are alike. In the mono version it does nothing.",
               .minimum = 0.0f,
               .initial = 100.0f,
               .maximum = 100.0f,
               .group = "Output",
               .unit = UNIT_PERCENT},
    [MOTION] = {.symbol = "motion",
                .name = "Motion",
                .doc = "How far the plate's resonances wander, slowly. More keeps a long tail from "
                       "ringing at one pitch; much of it is heard as a chorus on held notes.",
                .minimum = 0.0f,
                .initial = 20.0f,
                .maximum = 100.0f,
                .group = "Tail",
                .unit = UNIT_PERCENT},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .doc = "How much of the result is reverberation; the rest is the input. 100 for a "
                      "return, 10 to 25 as an insert; at 0 the input alone.",
               .minimum = 0.0f,
               .initial = 100.0f,
               .maximum = 100.0f,
               .group = "Output",
               .unit = UNIT_PERCENT},
};

typedef struct {
    double rate_hz;
    unsigned channels;
    EdgeFilter low_cut;
    TapLine pre_delay[PLUGIN_MAX_CHANNELS];
    Plate plate;
    Glide own, other; /* share of a side's own sound and of the other's */
    Glide blend;      /* 0..1 */
    PeakChange change;
} PlateReverb;

static size_t frames_of(const PlateReverb *r, double ms) {
    return (size_t)lrint(1e-3 * ms * r->rate_hz);
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    PlateReverb *r = self;
    r->rate_hz = rate_hz;
    r->channels = channels;
    edge_filter_prepare(&r->low_cut, rate_hz, channels);
    bool fits = plate_prepare(&r->plate, rate_hz, channels, arena);
    for (unsigned c = 0; c < channels; c++)
        fits &= tap_line_prepare(&r->pre_delay[c], rate_hz,
                                 frames_of(r, (double)LONGEST_PRE_DELAY_MS), arena);
    glide_prepare(&r->own, GLIDE_MS, rate_hz);
    glide_prepare(&r->other, GLIDE_MS, rate_hz);
    glide_prepare(&r->blend, GLIDE_MS, rate_hz);
    peak_change_prepare(&r->change, rate_hz, channels);
    return fits;
}

static void reset(void *self) {
    PlateReverb *r = self;
    edge_filter_reset(&r->low_cut);
    for (unsigned c = 0; c < r->channels; c++)
        tap_line_reset(&r->pre_delay[c]);
    plate_reset(&r->plate);
    glide_reset(&r->own);
    glide_reset(&r->other);
    glide_reset(&r->blend);
    peak_change_reset(&r->change);
}

static void set(void *self, const float *control) {
    PlateReverb *r = self;
    edge_filter_set(&r->low_cut,
                    &(EdgeFilterParams){.low_hz = fmin((double)control[LOW_CUT], 0.1 * r->rate_hz),
                                        .pairs = 1});
    for (unsigned c = 0; c < r->channels; c++)
        tap_line_set(&r->pre_delay[c], frames_of(r, (double)control[PRE_DELAY]));
    plate_set(&r->plate, &(PlateParams){.decay_s = (double)control[DECAY],
                                        .damping_hz = (double)control[DAMPING],
                                        .motion = 0.01 * (double)control[MOTION]});
    /* The sides have nothing in common, so own^2 + other^2 = 1 keeps their level. */
    double angle = 0.25 * PI * (1.0 - 0.01 * (double)control[WIDTH]);
    glide_set(&r->own, cos(angle));
    glide_set(&r->other, sin(angle));
    glide_set(&r->blend, 0.01 * (double)control[BLEND]);
}

/* The two sides brought together as far as `width` asks. */
static void narrow(PlateReverb *r, float wet[][PLUGIN_CHUNK], size_t n) {
    float own[PLUGIN_CHUNK], other[PLUGIN_CHUNK];
    glide_process(&r->own, own, n);
    glide_process(&r->other, other, n);
    for (size_t i = 0; i < n && r->channels == 2; i++) {
        float left = wet[0][i], right = wet[1][i];
        wet[0][i] = own[i] * left + other[i] * right;
        wet[1][i] = own[i] * right + other[i] * left;
    }
}

static void process(void *self, const Io *io) {
    PlateReverb *r = self;
    float wet[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK], blend[PLUGIN_CHUNK];
    float *const to[PLUGIN_MAX_CHANNELS] = {wet[0], wet[1]};
    edge_filter_process(&r->low_cut, io->in, to, io->n);
    for (unsigned c = 0; c < io->channels; c++)
        tap_line_process(&r->pre_delay[c], wet[c], wet[c], io->n);
    plate_process(&r->plate, (const float *const *)to, to, io->n);
    narrow(r, wet, io->n);
    glide_process(&r->blend, blend, io->n);
    for (unsigned c = 0; c < io->channels; c++)
        dry_wet(io->dry[c], wet[c], blend, io->out[c], io->n);
    *io->reduction_db =
        peak_change_process(&r->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

const PluginSpec plugin_spec = {
    .id = "plate-reverb",
    .name = "Plate Reverb",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .most_gain_db = 6.0f, /* a tone held for 10 s on a resonance: 14.7 dB at the longest decay */
    .may = PLUGIN_SPREADS | PLUGIN_NEW_SOUND,
    .state_size = sizeof(PlateReverb),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
