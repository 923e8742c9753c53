/* SPDX-License-Identifier: ISC */
/* band-colour: four bands, each with a level and a saturation of its own.
 *
 *     in -> crossover -> each band: delay, or saturation as loud as the band -> level -> sum
 *
 * The saturation is level-matched and follows the level of its own band, so that drive changes how
 * dense a band is and `level` alone how loud. The latency is that of the oversampling; bands
 * without drive are delayed as long. With nothing set the delayed input passes; the way from there
 * to the bands, whose sum turns the phase, is a crossfade. */
#include "basic/decibel.h"
#include "basic/delay.h"
#include "basic/maths.h"
#include "filter/crossover.h"
#include "gain/glide.h"
#include "gain/level_match.h"
#include "gain/peak_change.h"
#include "gain/warm_fade.h"
#include "plugin.h"
#include "sound/drive.h"

#include <math.h>
#include <string.h>

enum { BANDS = CROSSOVER_BANDS };
enum {
    SPLIT, /* three of them, then four levels, then four drives */
    LEVEL = SPLIT + BANDS - 1,
    DRIVE = LEVEL + BANDS,
    CHARACTER = DRIVE + BANDS,
    N_CONTROLS,
};

/* Four times the rate: what 24 dB of drive need. */
enum { STAGES = 2 };

/* Long enough for a filter at 60 Hz to have forgotten that it began. */
static const double WARM_MS = 30.0, FADE_MS = 20.0, GLIDE_MS = 10.0;

#define SPLIT_ROW(number, lowest, first, highest, between)                                         \
    {                                                                                              \
        .symbol = "split_" number, .group = "Splits", .name = "Split " number,                     \
        .doc = "Where " between " meet. The slopes are 24 dB an octave.", .minimum = (lowest),     \
        .initial = (first), .maximum = (highest), .unit = UNIT_HZ, .kind = PORT_LOGARITHMIC,       \
    }
#define LEVEL_ROW(number, which)                                                                   \
    {                                                                                              \
        .symbol = "level_" number, .group = "Band " number, .name = "Level " number,               \
        .doc = "How much louder or quieter the " which " band gets.", .minimum = -12.0f,           \
        .initial = 0.0f, .maximum = 12.0f, .unit = UNIT_DB,                                        \
    }
#define DRIVE_ROW(number, which)                                                                   \
    {                                                                                              \
        .symbol = "drive_" number, .group = "Band " number, .name = "Drive " number,               \
        .doc = "How far the peaks of the " which " band are bent down. Its level stays: more "     \
               "drive makes it denser, not louder. At 0 it is not touched.",                       \
        .minimum = 0.0f, .initial = 0.0f, .maximum = 24.0f, .unit = UNIT_DB,                       \
    }

static const PortSpec CONTROLS[N_CONTROLS] = {
    SPLIT_ROW("1", 60.0f, 180.0f, 400.0f, "the lowest band and the second"),
    SPLIT_ROW("2", 400.0f, 1100.0f, 3000.0f, "the second band and the third"),
    SPLIT_ROW("3", 3000.0f, 5500.0f, 12000.0f, "the third band and the highest"),
    LEVEL_ROW("1", "lowest"),
    LEVEL_ROW("2", "second"),
    LEVEL_ROW("3", "third"),
    LEVEL_ROW("4", "highest"),
    DRIVE_ROW("1", "lowest"),
    DRIVE_ROW("2", "second"),
    DRIVE_ROW("3", "third"),
    DRIVE_ROW("4", "highest"),
    [CHARACTER] = {.symbol = "character",
                   .group = "All bands",
                   .name = "Character",
                   .doc = "At 0 drive makes odd harmonics only; towards either end even ones as "
                          "well, which is warmer. The sign says which half of the wave is bent "
                          "more.",
                   .minimum = -100.0f,
                   .initial = 0.0f,
                   .maximum = 100.0f,
                   .unit = UNIT_PERCENT},
};

typedef float Pair[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK];

typedef struct {
    bool driven; /* wanted */
    Delay delay[PLUGIN_MAX_CHANNELS];
    Drive drive;
    LevelMatch match;
    WarmFade fade;
    Glide level; /* amplitude ratio */
} Band;

typedef struct {
    bool wanted;
    unsigned channels;
    Crossover crossover;
    Band band[BANDS];
    WarmFade fade;
    PeakChange change;
} BandColour;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    BandColour *d = self;
    d->channels = channels;
    crossover_prepare(&d->crossover, rate_hz, channels);
    warm_fade_prepare(&d->fade, WARM_MS, FADE_MS, rate_hz);
    peak_change_prepare(&d->change, rate_hz, channels);
    for (int b = 0; b < BANDS; b++) {
        Band *band = &d->band[b];
        drive_prepare(&band->drive, rate_hz, channels, drive_stages(rate_hz, STAGES));
        level_match_prepare(&band->match, rate_hz, channels);
        warm_fade_prepare(&band->fade, WARM_MS, FADE_MS, rate_hz);
        glide_prepare(&band->level, GLIDE_MS, rate_hz);
        for (unsigned c = 0; c < channels; c++)
            if (!delay_prepare(&band->delay[c], drive_delay(&band->drive), arena))
                return false;
    }
    return true;
}

static void reset_driven(Band *band) {
    drive_reset(&band->drive);
    level_match_reset(&band->match);
}

static void reset_bands(BandColour *d) {
    crossover_reset(&d->crossover);
    for (int b = 0; b < BANDS; b++) {
        Band *band = &d->band[b];
        reset_driven(band);
        warm_fade_reset(&band->fade);
        glide_reset(&band->level);
        for (unsigned c = 0; c < d->channels; c++)
            delay_reset(&band->delay[c]);
    }
}

static void reset(void *self) {
    BandColour *d = self;
    reset_bands(d);
    warm_fade_reset(&d->fade);
    peak_change_reset(&d->change);
}

static void set(void *self, const float *control) {
    BandColour *d = self;
    crossover_set(&d->crossover,
                  &(CrossoverParams){{control[SPLIT], control[SPLIT + 1], control[SPLIT + 2]}});
    d->wanted = false;
    for (int b = 0; b < BANDS; b++) {
        Band *band = &d->band[b];
        band->driven = control[DRIVE + b] > 0.0f;
        glide_set(&band->level, decibel_to_gain((double)control[LEVEL + b]));
        drive_set(&band->drive, &(DriveParams){.drive_db = control[DRIVE + b],
                                               .character = 0.01f * control[CHARACTER]});
        d->wanted |= band->driven || control[LEVEL + b] != 0.0f;
    }
}

/* Ends are exact: at no weight `from`, to the bit. */
static void mix(const float *from, const float *to, const float *weight, float *out, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float mixed = from[i] + weight[i] * (to[i] - from[i]);
        out[i] = weight[i] > 0.0f ? mixed : from[i];
    }
}

/* One band, in place: delayed, and saturated as far as it is wanted. */
static void drive_band(Band *band, Pair audio, unsigned channels, size_t n) {
    float weight[PLUGIN_CHUNK];
    Pair driven;
    float *const in[PLUGIN_MAX_CHANNELS] = {audio[0], audio[1]};
    float *const out[PLUGIN_MAX_CHANNELS] = {driven[0], driven[1]};
    bool runs = warm_fade_runs(&band->fade, band->driven);
    if (warm_fade_begins(&band->fade, band->driven))
        reset_driven(band);
    warm_fade_process(&band->fade, band->driven, weight, n);
    if (runs)
        drive_process(&band->drive, (const float *const *)in, out, n);
    for (unsigned c = 0; c < channels; c++) {
        delay_write(&band->delay[c], audio[c], n);
        delay_read(&band->delay[c], drive_delay(&band->drive), audio[c], n);
    }
    if (!runs)
        return;
    level_match_process(&band->match, (const float *const *)in, out, n);
    for (unsigned c = 0; c < channels; c++)
        mix(audio[c], driven[c], weight, audio[c], n);
}

/* All bands, summed. */
static void make_sum(BandColour *d, const Io *io, Pair sum) {
    Pair audio[BANDS];
    float *to[BANDS][PLUGIN_MAX_CHANNELS];
    for (int b = 0; b < BANDS; b++)
        for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
            to[b][c] = audio[b][c];
    crossover_process(&d->crossover, io->in, to, io->n);
    for (unsigned c = 0; c < io->channels; c++)
        memset(sum[c], 0, io->n * sizeof(float));
    for (int b = 0; b < BANDS; b++) {
        float level[PLUGIN_CHUNK];
        drive_band(&d->band[b], audio[b], io->channels, io->n);
        glide_process(&d->band[b].level, level, io->n);
        for (unsigned c = 0; c < io->channels; c++)
            for (size_t i = 0; i < io->n; i++)
                sum[c][i] += level[i] * audio[b][c][i];
    }
}

static void process(void *self, const Io *io) {
    BandColour *d = self;
    float weight[PLUGIN_CHUNK];
    bool runs = warm_fade_runs(&d->fade, d->wanted);
    if (warm_fade_begins(&d->fade, d->wanted))
        reset_bands(d);
    warm_fade_process(&d->fade, d->wanted, weight, io->n);
    if (runs) {
        Pair sum;
        make_sum(d, io, sum);
        for (unsigned c = 0; c < io->channels; c++)
            mix(io->dry[c], sum[c], weight, io->out[c], io->n);
    } else {
        for (unsigned c = 0; c < io->channels; c++)
            memcpy(io->out[c], io->dry[c], io->n * sizeof(float));
    }
    PeakMoved moved =
        peak_change_process(&d->change, io->dry, (const float *const *)io->out, io->n);
    *io->reduction_db = maths_larger(moved.down_db, moved.up_db);
}

static size_t latency(const void *self, const float *control) {
    const BandColour *d = self;
    (void)control;
    return drive_delay(&d->band[0].drive);
}

const PluginSpec plugin_spec = {
    .id = "band-colour",
    .name = "Band Colour",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_CHANGED,
    .most_gain_db = 12.0f, /* all levels */
    .may = PLUGIN_BENDS | PLUGIN_FILTERS,
    .state_size = sizeof(BandColour),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
