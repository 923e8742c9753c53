/* SPDX-License-Identifier: ISC */
/* make-room: turns the backing down under the lead, in the bands in which the lead sounds.
 *
 *     key -> in which bands the lead sounds -> attack and release, each band -> cuts -> the backing
 *
 * Up to seven bands between `low` and `high`; when these move, the cuts fade out, the bands change
 * while nothing is cut, and fade in again. Latency none: the key is heard half a millisecond
 * late. */
#include "basic/decibel.h"
#include "basic/maths.h"
#include "detect/lead_presence.h"
#include "gain/ballistics.h"
#include "gain/band_mender.h"
#include "plugin.h"

#include <string.h>

enum { DEPTH, LOW, HIGH, SHARPNESS, ATTACK, RELEASE, N_CONTROLS };

static const float FADE_MS = 10.0f;

/* The mender does a little less than asked, for clicks, which are shorter than its filters. */
static const float SHARE_DONE = 0.9f;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [DEPTH] = {.symbol = "depth",
               .name = "Depth",
               .doc = "How far the backing goes down where the lead is strong. 3 to 6 dB is not "
                      "noticed; more is for dense backings.",
               .minimum = 0.0f,
               .initial = 6.0f,
               .maximum = 18.0f,
               .group = "Room",
               .unit = UNIT_DB},
    [LOW] = {.symbol = "low",
             .name = "Low",
             .doc = "Below it the backing is left alone. Raise it when the backing loses weight "
                    "under the lead.",
             .minimum = 80.0f,
             .initial = 300.0f,
             .maximum = 2000.0f,
             .group = "Room",
             .unit = UNIT_HZ,
             .kind = PORT_LOGARITHMIC},
    [HIGH] = {.symbol = "high",
              .name = "High",
              .doc = "Above it the backing is left alone. Lower it when the backing loses air "
                     "with every consonant.",
              .minimum = 1000.0f,
              .initial = 5000.0f,
              .maximum = 12000.0f,
              .group = "Room",
              .unit = UNIT_HZ,
              .kind = PORT_LOGARITHMIC},
    [SHARPNESS] = {.symbol = "sharpness",
                   .name = "Sharpness",
                   .doc = "At 100 only the strongest bands of the lead count, so that least is "
                          "taken away; at 0 all in which it sounds at all.",
                   .minimum = 0.0f,
                   .initial = 50.0f,
                   .maximum = 100.0f,
                   .group = "Room",
                   .unit = UNIT_PERCENT},
    [ATTACK] = {.symbol = "attack",
                .name = "Attack",
                .doc = "How fast a band goes down (time constant). Longer is gentler, and covers "
                       "more of each word's start.",
                .minimum = 1.0f,
                .initial = 20.0f,
                .maximum = 200.0f,
                .group = "Timing",
                .unit = UNIT_MS,
                .kind = PORT_LOGARITHMIC},
    [RELEASE] = {.symbol = "release",
                 .name = "Release",
                 .doc = "How fast a band comes back (time constant). Longer hides the movement, "
                        "shorter gives the backing more of the gaps.",
                 .minimum = 20.0f,
                 .initial = 250.0f,
                 .maximum = 2000.0f,
                 .group = "Timing",
                 .unit = UNIT_MS,
                 .kind = PORT_LOGARITHMIC},
};

/* Which bands there are, and what cuts them. */
typedef struct {
    float low_hz, high_hz;
    BandLevels levels;
    BandMender mender;
} Bands;

typedef struct {
    double rate_hz;
    unsigned channels;
    float depth_db, fade_step; /* a hop */
    LeadPresence presence;
    Ballistics ballistics[BAND_LEVELS_BANDS];
    Bands next; /* as set; designs alone */
    struct {
        bool fresh;
        float low_hz, high_hz; /* of the bands in use */
        float weight;          /* of the fade, 0..1 */
        BandMender mender;
        float share[BAND_LEVELS_ROW];
        float cut_db[BAND_LEVELS_ROW]; /* at the end of this hop */
        float deepest_db;              /* what they take away together */
    } state;
} MakeRoom;

static void reset(void *self) {
    MakeRoom *m = self;
    lead_presence_reset(&m->presence);
    for (size_t b = 0; b < BAND_LEVELS_BANDS; b++)
        ballistics_reset(&m->ballistics[b]);
    memset(&m->state, 0, sizeof m->state);
    m->state.fresh = true;
    m->state.weight = 1.0f;
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    MakeRoom *m = self;
    (void)arena;
    m->rate_hz = rate_hz;
    m->channels = channels;
    lead_presence_prepare(&m->presence, rate_hz, channels);
    band_levels_prepare(&m->next.levels, rate_hz, channels);
    double hops_hz = rate_hz / (double)m->presence.levels.hop;
    m->fade_step = (float)(1000.0 / ((double)FADE_MS * hops_hz));
    for (size_t b = 0; b < BAND_LEVELS_BANDS; b++)
        ballistics_prepare(&m->ballistics[b], hops_hz);
    reset(m);
    return true;
}

static void set(void *self, const float *control) {
    MakeRoom *m = self;
    m->depth_db = control[DEPTH];
    lead_presence_set(&m->presence, 0.01 * (double)control[SHARPNESS], (double)control[HIGH]);
    for (size_t b = 0; b < BAND_LEVELS_BANDS; b++)
        ballistics_set(&m->ballistics[b], &(BallisticsParams){.attack_ms = control[ATTACK],
                                                              .release_ms = control[RELEASE]});
    if (control[LOW] == m->next.low_hz && control[HIGH] == m->next.high_hz)
        return;
    m->next.low_hz = control[LOW];
    m->next.high_hz = control[HIGH];
    band_levels_set(&m->next.levels, &(BandLevelsParams){control[LOW], control[HIGH]});
    band_mender_set(&m->next.mender, &m->next.levels, BAND_MENDER_NARROW_DB);
}

/* The bands that were set come into use, with the history of those before. */
static void change_bands(MakeRoom *m) {
    BandLevels levels = m->next.levels;
    BandMender mender = m->next.mender;
    band_levels_take_over(&levels, &m->presence.levels);
    mender.state = m->state.mender.state;
    m->presence.levels = levels;
    m->state.mender = mender;
    m->state.low_hz = m->next.low_hz;
    m->state.high_hz = m->next.high_hz;
}

/* Moves the fade by a hop. */
static void fade(MakeRoom *m) {
    bool other = m->state.low_hz != m->next.low_hz || m->state.high_hz != m->next.high_hz;
    if (other && (m->state.weight <= 0.0f || m->state.fresh))
        change_bands(m);
    float to = m->state.weight + (other && !m->state.fresh ? -m->fade_step : m->fade_step);
    m->state.weight = maths_smaller(maths_larger(to, 0.0f), 1.0f);
    m->state.fresh = false;
}

/* Neighbours take from each other: all cuts are made smaller by as much as the deepest place would
 * otherwise lose beyond the largest of them, which is returned: what is lost there, dB. */
static float share_cuts(const BandMender *mender, float *cut_db) {
    float largest = 0.0f, deepest = 1e-6f;
    for (size_t at = 0; at < mender->bands; at++) {
        float sum = 0.0f;
        for (size_t of = 0; of < mender->bands; of++)
            sum += mender->overlap[at][of] * cut_db[of];
        largest = maths_larger(largest, cut_db[at]);
        deepest = maths_larger(deepest, sum);
    }
    for (size_t b = 0; b < mender->bands; b++)
        cut_db[b] *= largest / (SHARE_DONE * maths_larger(deepest, largest));
    return largest;
}

static void begin_hop(MakeRoom *m) {
    float cut_db[2][BAND_LEVELS_ROW] = {{0.0f}}; /* at its start, at its end */
    fade(m);
    memcpy(cut_db[0], m->state.cut_db, sizeof cut_db[0]);
    for (size_t b = 0; b < BAND_LEVELS_BANDS; b++) {
        float wanted = m->depth_db * m->state.share[b];
        ballistics_process(&m->ballistics[b], &wanted, &cut_db[1][b], 1);
        cut_db[1][b] *= m->state.weight;
    }
    m->state.deepest_db = share_cuts(&m->state.mender, cut_db[1]);
    memcpy(m->state.cut_db, cut_db[1], sizeof cut_db[1]);
    band_mender_hop(&m->state.mender, (const float(*)[BAND_LEVELS_ROW])cut_db,
                    m->presence.levels.hop, true);
}

static void process(void *self, const Io *io) {
    MakeRoom *m = self;
    float reduction_db = 0.0f;
    for (size_t at = 0, n; at < io->n; at += n) {
        const size_t hop = m->presence.levels.hop, room = band_levels_room(&m->presence.levels);
        n = io->n - at < room ? io->n - at : room;
        if (room == hop)
            begin_hop(m);
        const float *dry[PLUGIN_MAX_CHANNELS] = {NULL};
        float *out[PLUGIN_MAX_CHANNELS] = {NULL};
        for (unsigned c = 0; c < io->channels; c++) {
            dry[c] = io->dry[c] + at;
            out[c] = io->out[c] + at;
        }
        band_mender_process(&m->state.mender, dry, out, io->channels, hop - room, n);
        reduction_db = maths_larger(reduction_db, m->state.deepest_db);
        lead_presence_process(&m->presence, io->key, at, n, m->state.share);
    }
    *io->reduction_db = reduction_db;
}

const PluginSpec plugin_spec = {
    .id = "make-room",
    .name = "Make Room",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .has_key = true,
    .most_reduction_db = 18.0f,
    .state_size = sizeof(MakeRoom),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
