/* SPDX-License-Identifier: ISC */
/* peak-ceiling: drive into a ceiling that no peak passes, not even one between samples.
 *
 *     in -> drive -> colour: saturation towards the ceiling -> delay -> gain -> out
 *                         -> peak of the wave -> limiter's gain ->
 *
 * The saturation comes first and makes new peaks; the limiter reads the wave behind it at 16 places
 * a frame, and its gain is down before a peak arrives. Both channels get one gain. Where nothing
 * is driven, coloured or over the ceiling the delayed input passes, bit for bit.
 * Latency: oversampling, reading and 5 ms of look-ahead. */
#include "basic/decibel.h"
#include "basic/delay.h"
#include "basic/maths.h"
#include "filter/oversample.h"
#include "filter/wave_peak.h"
#include "gain/glide.h"
#include "gain/limit_gain.h"
#include "gain/warm_fade.h"
#include "plugin.h"
#include "sound/drive.h"
#include "sound/saturation.h"

#include <math.h>
#include <string.h>

enum { DRIVE, COLOUR, CEILING, RELEASE, N_CONTROLS };
enum { TRUE_PEAK, N_METERS };

enum { STAGES = 3, BLOCK = OVERSAMPLE_BLOCK };

static const double LOOK_MS = 5.0, GLIDE_MS = 10.0, WARM_MS = 2.0, FADE_MS = 20.0;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [DRIVE] = {.symbol = "drive",
               .name = "Drive",
               .doc = "How much louder the take is made before the ceiling: so much more of it is "
                      "held down, and all the rest comes nearer to it.",
               .minimum = 0.0f,
               .initial = 0.0f,
               .maximum = 24.0f,
               .unit = UNIT_DB},
    [COLOUR] = {.symbol = "colour",
                .name = "Colour",
                .doc = "How much of the holding down is done by soft saturation, which colours, "
                       "instead of by gain, which does not. At 0 the limiter works alone.",
                .minimum = 0.0f,
                .initial = 0.0f,
                .maximum = 100.0f,
                .unit = UNIT_PERCENT},
    [CEILING] = {.symbol = "ceiling",
                 .name = "Ceiling",
                 .doc = "True peak that the result never passes, dBTP.",
                 .minimum = -20.0f,
                 .initial = -1.0f,
                 .maximum = 0.0f,
                 .unit = UNIT_DB},
    [RELEASE] = {.symbol = "release",
                 .name = "Release",
                 .doc = "Time constant with which the gain comes back after a peak. Shorter is "
                        "louder and busier, longer is smoother.",
                 .minimum = 10.0f,
                 .initial = 100.0f,
                 .maximum = 1000.0f,
                 .unit = UNIT_MS,
                 .kind = PORT_LOGARITHMIC},
};

static const PortSpec METERS[N_METERS] = {
    [TRUE_PEAK] = {.symbol = "true_peak",
                   .against = "ceiling",
                   .name = "True peak",
                   .doc = "True peak of the result lately, dBTP.",
                   .minimum = -90.0f,
                   .maximum = 0.0f,
                   .unit = UNIT_DB,
                   .meter = METER_PEAK},
};

typedef struct {
    double rate_hz;
    unsigned channels;
    bool coloured; /* wanted */
    size_t touch;  /* frames from drive and colour to the output */
    Oversample over[PLUGIN_MAX_CHANNELS];
    Saturation bend[PLUGIN_MAX_CHANNELS];
    Delay straight[PLUGIN_MAX_CHANNELS]; /* beside the saturation */
    Delay shaped[PLUGIN_MAX_CHANNELS];   /* to the limiter's gain */
    Delay peaks;                         /* as long, of what the wave reading says */
    WarmFade fade;
    WavePeak wave;
    LimitGain limit;
    Glide drive, knee; /* ratio; colour over ceiling */
    struct {
        size_t untouched; /* frames since drive or colour did anything */
    } state;
} PeakCeiling;

static size_t behind_colour(const PeakCeiling *p) {
    return wave_peak_delay(&p->wave) + limit_gain_delay(&p->limit);
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    PeakCeiling *p = self;
    p->rate_hz = rate_hz;
    p->channels = channels;
    unsigned stages = drive_stages(rate_hz, STAGES);
    wave_peak_prepare(&p->wave, channels);
    warm_fade_prepare(&p->fade, WARM_MS, FADE_MS, rate_hz);
    glide_prepare(&p->drive, GLIDE_MS, rate_hz);
    glide_prepare(&p->knee, GLIDE_MS, rate_hz);
    if (!limit_gain_prepare(&p->limit, rate_hz, LOOK_MS, arena) ||
        !delay_prepare(&p->peaks, limit_gain_delay(&p->limit), arena))
        return false;
    for (unsigned c = 0; c < channels; c++) {
        oversample_prepare(&p->over[c], stages, OVERSAMPLE_SHAPE);
        saturation_prepare(&p->bend[c], 1u << stages);
        if (!delay_prepare(&p->straight[c], oversample_delay(&p->over[c]), arena) ||
            !delay_prepare(&p->shaped[c], behind_colour(p), arena))
            return false;
    }
    p->touch = oversample_delay(&p->over[0]) + behind_colour(p);
    return true;
}

static void reset_colour(PeakCeiling *p) {
    for (unsigned c = 0; c < p->channels; c++) {
        oversample_reset(&p->over[c]);
        saturation_reset(&p->bend[c]);
    }
    glide_reset(&p->knee);
}

static void reset(void *self) {
    PeakCeiling *p = self;
    reset_colour(p);
    for (unsigned c = 0; c < p->channels; c++) {
        delay_reset(&p->straight[c]);
        delay_reset(&p->shaped[c]);
    }
    delay_reset(&p->peaks);
    warm_fade_reset(&p->fade);
    wave_peak_reset(&p->wave);
    limit_gain_reset(&p->limit);
    glide_reset(&p->drive);
    p->state.untouched = p->touch;
}

static void set(void *self, const float *control) {
    PeakCeiling *p = self;
    double ceiling = decibel_to_gain((double)control[CEILING]);
    glide_set(&p->drive, decibel_to_gain((double)control[DRIVE]));
    glide_set(&p->knee, 0.01 * (double)control[COLOUR] / ceiling);
    p->coloured = control[COLOUR] > 0.0f;
    limit_gain_set(&p->limit,
                   &(LimitGainParams){.ceiling = (float)ceiling, .release_ms = control[RELEASE]});
}

/* x / sqrt(1 + (knee x)^2), which tends to the ceiling at full colour and to nothing at none. */
static void saturate(PeakCeiling *p, unsigned c, const float *knee, const float *in, float *out,
                     size_t n) {
    float one[BLOCK], none[BLOCK] = {0.0f};
    for (size_t i = 0; i < BLOCK; i++)
        one[i] = 1.0f;
    for (size_t at = 0; at < n; at += BLOCK) {
        size_t now = n - at < BLOCK ? n - at : BLOCK;
        OversampleTop top;
        float bend[BLOCK];
        for (size_t i = 0; i < now; i++)
            bend[i] = knee[at + i] * knee[at + i];
        oversample_up(&p->over[c], in + at, top, now);
        saturation_process(&p->bend[c], top, one, bend, none, now);
        oversample_down(&p->over[c], top, out + at, now);
    }
}

/* What the limiter gets, oversample_delay() late. untouched[i]: frames since anything was done. */
static void shape(PeakCeiling *p, const Io *io, float shaped[][PLUGIN_CHUNK], size_t *untouched) {
    float drive[PLUGIN_CHUNK], knee[PLUGIN_CHUNK], weight[PLUGIN_CHUNK];
    bool runs = warm_fade_runs(&p->fade, p->coloured);
    if (warm_fade_begins(&p->fade, p->coloured))
        reset_colour(p);
    glide_process(&p->drive, drive, io->n);
    warm_fade_process(&p->fade, p->coloured, weight, io->n);
    if (runs)
        glide_process(&p->knee, knee, io->n);
    for (unsigned c = 0; c < p->channels; c++) {
        float driven[PLUGIN_CHUNK], bent[PLUGIN_CHUNK];
        for (size_t i = 0; i < io->n; i++)
            driven[i] = drive[i] * io->in[c][i];
        delay_write(&p->straight[c], driven, io->n);
        delay_read(&p->straight[c], oversample_delay(&p->over[c]), shaped[c], io->n);
        if (!runs)
            continue;
        saturate(p, c, knee, driven, bent, io->n);
        for (size_t i = 0; i < io->n; i++)
            shaped[c][i] += weight[i] * (bent[i] - shaped[c][i]);
    }
    for (size_t i = 0; i < io->n; i++) {
        bool touched = drive[i] != 1.0f || weight[i] != 0.0f;
        p->state.untouched = touched ? 0 : p->state.untouched + 1;
        untouched[i] = p->state.untouched;
    }
}

/* The result's true peak now: what was read, as late as the gain that it got. */
static float true_peak(PeakCeiling *p, const float *peak, const float *gain, size_t n) {
    float late[PLUGIN_CHUNK], most = 0.0f;
    delay_write(&p->peaks, peak, n);
    delay_read(&p->peaks, limit_gain_delay(&p->limit), late, n);
    for (size_t i = 0; i < n; i++)
        most = maths_larger(late[i] * gain[i], most);
    return decibel_from_amplitude(most);
}

static void process(void *self, const Io *io) {
    PeakCeiling *p = self;
    float shaped[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK], peak[PLUGIN_CHUNK], gain[PLUGIN_CHUNK];
    const float *const wave[PLUGIN_MAX_CHANNELS] = {shaped[0], shaped[1]};
    size_t untouched[PLUGIN_CHUNK];
    shape(p, io, shaped, untouched);
    wave_peak_process(&p->wave, wave, peak, io->n);
    float least = limit_gain_process(&p->limit, peak, gain, io->n);
    for (unsigned c = 0; c < p->channels; c++) {
        delay_write(&p->shaped[c], shaped[c], io->n);
        delay_read(&p->shaped[c], behind_colour(p), shaped[c], io->n);
        for (size_t i = 0; i < io->n; i++) {
            bool dry = untouched[i] > p->touch && gain[i] == 1.0f;
            io->out[c][i] = dry ? io->dry[c][i] : gain[i] * shaped[c][i];
        }
    }
    io->meter[TRUE_PEAK] = true_peak(p, peak, gain, io->n);
    *io->reduction_db = -decibel_from_amplitude(least);
}

static size_t latency(const void *self, const float *control) {
    const PeakCeiling *p = self;
    (void)control;
    return p->touch;
}

const PluginSpec plugin_spec = {
    .id = "peak-ceiling",
    .name = "Peak Ceiling",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .most_reduction_db = 24.0f,
    .most_gain_db = 24.0f, /* drive */
    .may = PLUGIN_BENDS,
    .state_size = sizeof(PeakCeiling),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
