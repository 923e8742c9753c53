/* SPDX-License-Identifier: ISC */
/* transient-tamer: takes mouth clicks and lip pops down to what surrounds them, inside one band.
 *
 *     in -> levels of bands -> excess, events, judgement -+ cut of each band
 *     dry (max_length + 44 ms late) -------------------> mend -> out
 *
 * Detection takes both channels together, and both get the same cuts. */
#include "basic/maths.h"
#include "detect/click_finder.h"
#include "filter/band_levels.h"
#include "gain/band_mender.h"
#include "plugin.h"

#include <string.h>

enum { FOCUS_LOW, FOCUS_HIGH, THRESHOLD, MAX_LENGTH, DEPTH, N_CONTROLS };
enum { EVENTS, N_METERS };

static const PortSpec CONTROLS[N_CONTROLS] = {
    [FOCUS_LOW] =
        {.symbol = "focus_low",
         .name = "Band low",
         .doc =
             "Bottom of the band in which clicks are found and taken out. Lower it for lip pops.",
         .minimum = 200.0f,
         .initial = 1500.0f,
         .maximum = 16000.0f,
         .advanced = true,
         .group = "Detection",
         .unit = UNIT_HZ,
         .kind = PORT_LOGARITHMIC},
    [FOCUS_HIGH] = {.symbol = "focus_high",
                    .name = "Band high",
                    .doc = "Top of that band, at least a third of an octave above Band low. Lower "
                           "it when bright consonants are touched.",
                    .minimum = 1000.0f,
                    .initial = 12000.0f,
                    .maximum = 20000.0f,
                    .advanced = true,
                    .group = "Detection",
                    .unit = UNIT_HZ,
                    .kind = PORT_LOGARITHMIC},
    [THRESHOLD] = {.symbol = "threshold",
                   .name = "Threshold",
                   .doc =
                       "How far a click must stand out of what surrounds it. Lower catches fainter "
                       "clicks and, in the end, consonants; raise it when words lose their edge.",
                   .minimum = 3.0f,
                   .initial = 8.0f,
                   .maximum = 30.0f,
                   .group = "Detection",
                   .unit = UNIT_DB},
    [MAX_LENGTH] = {.symbol = "max_length",
                    .name = "Longest click",
                    .doc =
                        "What rises and falls back within this time may be a click; what lasts "
                        "longer is left alone. Turn it up for lip pops; the latency grows with it.",
                    .minimum = 1.0f,
                    .initial = 12.0f,
                    .maximum = 30.0f,
                    .advanced = true,
                    .group = "Detection",
                    .unit = UNIT_MS,
                    .kind = PORT_LOGARITHMIC},
    [DEPTH] = {.symbol = "depth",
               .name = "Depth",
               .doc = "The most that is taken off a click in a word; in a gap, 2.5 times as much, "
                      "down to the room. Turn it up when loud clicks are still heard.",
               .minimum = 0.0f,
               .initial = 24.0f,
               .maximum = 48.0f,
               .group = "Cut",
               .unit = UNIT_DB},
};

static const PortSpec METERS[N_METERS] = {
    [EVENTS] = {.symbol = "events",
                .name = "Clicks found",
                .doc = "Clicks found since the plugin was activated.",
                .minimum = 0.0f,
                .maximum = 1000000.0f,
                .kind = PORT_INTEGER},
};

typedef struct {
    BandLevels levels;
    ClickFinder finder;
    BandMender mender;
    double hops_a_ms;
    size_t latency_hops;
    struct {
        size_t awake_until; /* hop */
        float reduction_db; /* of this hop */
    } state;
} Tamer;

static size_t hops_of(const Tamer *t, float ms) {
    int hops = (int)((double)ms * t->hops_a_ms + 0.5);
    return hops < 1 ? 1 : hops > CLICK_FINDER_LONGEST ? CLICK_FINDER_LONGEST : (size_t)hops;
}

static size_t latency(const void *self, const float *control) {
    const Tamer *t = self;
    return t->levels.hop * click_finder_latency(hops_of(t, control[MAX_LENGTH]));
}

static void reset(void *self) {
    Tamer *t = self;
    band_levels_reset(&t->levels);
    click_finder_reset(&t->finder);
    band_mender_reset(&t->mender);
    memset(&t->state, 0, sizeof t->state);
}

static void set(void *self, const float *control) {
    Tamer *t = self;
    BandLevelsParams focus = {control[FOCUS_LOW], control[FOCUS_HIGH]};
    band_levels_set(&t->levels, &focus);
    band_mender_set(&t->mender, &t->levels, control[DEPTH]);
    ClickFinderParams params = {.threshold_db = control[THRESHOLD],
                                .depth_db = control[DEPTH],
                                .max_length = hops_of(t, control[MAX_LENGTH]),
                                .bands = t->levels.bands};
    click_finder_set(&t->finder, &params);
    t->latency_hops = click_finder_latency(params.max_length);
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    Tamer *t = self;
    (void)arena;
    band_levels_prepare(&t->levels, rate_hz, channels);
    t->hops_a_ms = 0.001 * rate_hz / (double)t->levels.hop;
    click_finder_prepare(&t->finder, (double)t->levels.hop / rate_hz);
    reset(t);
    return true;
}

/* The largest cut of band b in the rows on both sides of a boundary between hops of the output.
 * The row of hop t is that of hop t + 1 (levels are smoothed over both neighbours). */
static float cut_at(const Tamer *t, size_t hop, size_t b) {
    float before = click_finder_cut(&t->finder, hop)[b];
    float after = click_finder_cut(&t->finder, hop + 1)[b];
    return maths_larger(maths_larger(before, after), click_finder_cut(&t->finder, hop + 2)[b]);
}

/* The hop of the output that begins. */
static void begin_hop(Tamer *t) {
    size_t coming = t->finder.history.known, hop = coming - t->latency_hops;
    bool cuts = coming >= t->latency_hops && click_finder_cuts(&t->finder, hop);
    size_t soon = hop + 3 + CLICK_FINDER_RUN_UP;
    float cut[2][BAND_LEVELS_ROW] = {{0.0f}};
    t->state.reduction_db = 0.0f;
    for (size_t b = 0; b < t->mender.bands && cuts; b++) {
        cut[0][b] = cut_at(t, hop, b);
        cut[1][b] = cut_at(t, hop + 1, b);
        t->state.reduction_db =
            maths_larger(t->state.reduction_db, maths_larger(cut[0][b], cut[1][b]));
        if (click_finder_cut(&t->finder, soon)[b] > 0.0f)
            t->state.awake_until = soon + 1;
    }
    for (int side = 0; side < 2 && cuts; side++)
        cut[side][BAND_LEVELS_LOW] = cut_at(t, hop + side, BAND_LEVELS_LOW);
    band_mender_hop(&t->mender, (const float(*)[BAND_LEVELS_ROW])cut, t->levels.hop,
                    cuts && hop < t->state.awake_until);
}

static void process(void *self, const Io *io) {
    Tamer *t = self;
    float reduction = 0.0f;
    for (size_t at = 0, n; at < io->n; at += n) {
        size_t room = band_levels_room(&t->levels);
        n = io->n - at < room ? io->n - at : room;
        if (room == t->levels.hop)
            begin_hop(t);
        const float *dry[PLUGIN_MAX_CHANNELS] = {NULL};
        float *out[PLUGIN_MAX_CHANNELS] = {NULL}, power[BAND_LEVELS_ROW];
        for (unsigned c = 0; c < io->channels; c++) {
            dry[c] = io->dry[c] + at;
            out[c] = io->out[c] + at;
        }
        band_mender_process(&t->mender, dry, out, io->channels, t->levels.hop - room, n);
        reduction = maths_larger(reduction, t->state.reduction_db);
        if (band_levels_process(&t->levels, io->in, at, n, power))
            click_finder_step(&t->finder, power);
    }
    *io->reduction_db = reduction;
    io->meter[EVENTS] = (float)t->finder.state.clicks;
}

const PluginSpec plugin_spec = {.id = "transient-tamer",
                                .name = "Transient Tamer",
                                .controls = CONTROLS,
                                .n_controls = N_CONTROLS,
                                .meters = METERS,
                                .n_meters = N_METERS,
                                .most_reduction_db = 48.0f,
                                .state_size = sizeof(Tamer),
                                .prepare = prepare,
                                .reset = reset,
                                .set = set,
                                .process = process,
                                .latency = latency};
