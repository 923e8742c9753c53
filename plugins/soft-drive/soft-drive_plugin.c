/* SPDX-License-Identifier: ISC */
/* soft-drive: soft saturation as an insert, as loud as what went in.
 *
 *     in -> saturation on its own level -> tilt -> as loud as dry -> blended with dry
 *
 * The latency is that of the oversampling. With nothing set to do the delayed input passes. */
#include "basic/decibel.h"
#include "filter/tilt.h"
#include "gain/glide.h"
#include "gain/level_match.h"
#include "gain/peak_change.h"
#include "gain/warm_fade.h"
#include "plugin.h"
#include "sound/drive.h"

#include <math.h>
#include <string.h>

enum { DRIVE, CHARACTER, TONE, BLEND, N_CONTROLS };

/* Of the rate at up to 50 kHz: what 36 dB of drive need. */
enum { STAGES = 3 };

/* Share of a voice's power above the middle of the tilt, 1 kHz (the mean speech spectrum of Byrne
 * et al., JASA 96, 1994, from memory). */
static const float ABOVE = 0.15f;

static const double GLIDE_MS = 20.0, WARM_MS = 20.0, FADE_MS = 20.0;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [DRIVE] = {.symbol = "drive",
               .name = "Drive",
               .doc = "How far peaks are bent down. The level stays: more drive makes the sound "
                      "denser, not louder. It follows the take's own level, so that quiet and "
                      "loud takes are bent alike.",
               .minimum = 0.0f,
               .initial = 6.0f,
               .maximum = 36.0f,
               .unit = UNIT_DB},
    [CHARACTER] = {.symbol = "character",
                   .name = "Character",
                   .doc = "At 0 only odd harmonics; towards either end even ones as well, which "
                          "is warmer. The sign says which half of the wave is bent more.",
                   .minimum = -100.0f,
                   .initial = 0.0f,
                   .maximum = 100.0f,
                   .unit = UNIT_PERCENT},
    [TONE] = {.symbol = "tone",
              .name = "Tone",
              .doc = "Tilts the driven sound about 1 kHz: above 0 so much brighter at the top and "
                     "thinner at the bottom, below 0 the other way round.",
              .minimum = -6.0f,
              .initial = 0.0f,
              .maximum = 6.0f,
              .unit = UNIT_DB},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .doc = "How much of the driven sound there is; the rest is the take itself. At 0 "
                      "the take alone.",
               .minimum = 0.0f,
               .initial = 100.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
};

typedef struct {
    bool wanted;
    Drive drive;
    Tilt tilt[PLUGIN_MAX_CHANNELS];
    LevelMatch match;
    WarmFade fade;
    Glide tone, blend; /* amplitude ratio; 0..1 */
    PeakChange change;
} SoftDrive;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    SoftDrive *d = self;
    (void)arena;
    drive_prepare(&d->drive, rate_hz, channels, drive_stages(rate_hz, STAGES));
    for (unsigned c = 0; c < channels; c++)
        tilt_prepare(&d->tilt[c], rate_hz);
    level_match_prepare(&d->match, rate_hz, channels);
    warm_fade_prepare(&d->fade, WARM_MS, FADE_MS, rate_hz);
    glide_prepare(&d->tone, GLIDE_MS, rate_hz);
    glide_prepare(&d->blend, GLIDE_MS, rate_hz);
    peak_change_prepare(&d->change, rate_hz, channels);
    return true;
}

static void reset_driven(SoftDrive *d) {
    drive_reset(&d->drive);
    for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
        tilt_reset(&d->tilt[c]);
    level_match_reset(&d->match);
    glide_reset(&d->tone);
}

static void reset(void *self) {
    SoftDrive *d = self;
    reset_driven(d);
    warm_fade_reset(&d->fade);
    glide_reset(&d->blend);
    peak_change_reset(&d->change);
}

static void set(void *self, const float *control) {
    SoftDrive *d = self;
    drive_set(&d->drive,
              &(DriveParams){.drive_db = control[DRIVE], .character = 0.01f * control[CHARACTER]});
    glide_set(&d->tone, decibel_to_gain((double)control[TONE]));
    glide_set(&d->blend, 0.01 * (double)control[BLEND]);
    d->wanted = control[DRIVE] > 0.0f || control[TONE] != 0.0f;
}

/* The driven sound, aligned with dry. What the tilt does to the level of a usual voice is taken
 * back at once; level_match, which is slow, has only what is left to do. */
static void make_driven(SoftDrive *d, const Io *io, float driven[][PLUGIN_CHUNK]) {
    float *const to[PLUGIN_MAX_CHANNELS] = {driven[0], driven[1]};
    float tone[PLUGIN_CHUNK], usual[PLUGIN_CHUNK] = {0.0f};
    drive_process(&d->drive, io->in, to, io->n);
    glide_process(&d->tone, tone, io->n);
    for (size_t i = 0; i < io->n; i++) {
        float power = tone[i] * tone[i];
        usual[i] = 1.0f / sqrtf((1.0f - ABOVE) / power + ABOVE * power);
    }
    for (unsigned c = 0; c < io->channels; c++) {
        tilt_process(&d->tilt[c], tone, driven[c], driven[c], io->n);
        for (size_t i = 0; i < io->n; i++)
            driven[c][i] *= usual[i];
    }
    level_match_process(&d->match, io->dry, to, io->n);
}

/* Ends are exact: at no weight dry, to the bit. */
static void mix(const float *dry, const float *driven, const float *weight, float *out, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float mixed = dry[i] + weight[i] * (driven[i] - dry[i]);
        out[i] = weight[i] > 0.0f ? mixed : dry[i];
    }
}

static void process(void *self, const Io *io) {
    SoftDrive *d = self;
    float weight[PLUGIN_CHUNK], blend[PLUGIN_CHUNK];
    bool runs = warm_fade_runs(&d->fade, d->wanted);
    if (warm_fade_begins(&d->fade, d->wanted))
        reset_driven(d);
    warm_fade_process(&d->fade, d->wanted, weight, io->n);
    glide_process(&d->blend, blend, io->n);
    if (runs) {
        float driven[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK];
        make_driven(d, io, driven);
        for (size_t i = 0; i < io->n; i++)
            weight[i] *= blend[i];
        for (unsigned c = 0; c < io->channels; c++)
            mix(io->dry[c], driven[c], weight, io->out[c], io->n);
    } else {
        for (unsigned c = 0; c < io->channels; c++)
            memcpy(io->out[c], io->dry[c], io->n * sizeof(float));
    }
    *io->reduction_db =
        peak_change_process(&d->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

static size_t latency(const void *self, const float *control) {
    const SoftDrive *d = self;
    (void)control;
    return drive_delay(&d->drive);
}

const PluginSpec plugin_spec = {
    .id = "soft-drive",
    .name = "Soft Drive",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .may = PLUGIN_BENDS,
    .state_size = sizeof(SoftDrive),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
