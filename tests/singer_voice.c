/* SPDX-License-Identifier: ISC */
#include "singer_work.h"

#include <stdlib.h>
#include <string.h>

enum {
    RESONATORS = 40,     /* enough for 0.46 of 60 kHz */
    OVERSAMPLE = 4,      /* of the glottal source */
    DECIMATOR_TAPS = 64, /* at the oversampled rate */
    HOLD = 8,            /* frames between two designs of the tilt */
};

typedef struct {
    double rate_hz;
    double phase, period_ratio, height; /* of the glottal cycle now running */
    double flow, dulled;                /* last flow, tilt filter */
    double ring[2 * DECIMATOR_TAPS];    /* everything twice, so that the last taps lie in a row */
    size_t write;
} Glottis;

static void decimator_design(double *tap) {
    double sum = 0.0;
    for (int i = 0; i < DECIMATOR_TAPS; i++) {
        double t = (double)i - 0.5 * (DECIMATOR_TAPS - 1);
        double x = PI * t * 0.92 / OVERSAMPLE;
        double window = 0.42 - 0.5 * cos(2.0 * PI * (i + 0.5) / DECIMATOR_TAPS) +
                        0.08 * cos(4.0 * PI * (i + 0.5) / DECIMATOR_TAPS); /* Blackman */
        tap[i] = window * sin(x) / x;
        sum += tap[i];
    }
    for (int i = 0; i < DECIMATOR_TAPS; i++)
        tap[i] /= sum;
}

/* One frame of the source: the slope of the flow, whose RMS does not depend on the pitch.
 * *openness is the flow, 0..1. */
static double glottis_step(Glottis *g, const SingerParams *params, Random *random,
                           const double *tap, double f0_hz, double tilt, double *openness) {
    for (int i = 0; i < OVERSAMPLE; i++) {
        double step = f0_hz * g->period_ratio / (g->rate_hz * OVERSAMPLE);
        g->phase += step;
        if (g->phase >= 1.0) {
            g->phase -= 1.0;
            g->period_ratio = 1.0 + params->jitter * random_normal(random);
            g->height = pow(10.0, params->shimmer_db * random_normal(random) / 20.0);
        }
        double x = g->phase / params->open_quotient;
        double flow = x < 1.0 ? 6.75 * x * x * (1.0 - x) * g->height : 0.0;
        double slope = (flow - g->flow) / step;
        g->flow = flow;
        g->dulled += tilt * (slope - g->dulled);
        g->ring[g->write] = g->ring[g->write + DECIMATOR_TAPS] = g->dulled;
        g->write = (g->write + 1) % DECIMATOR_TAPS;
    }
    double sum = 0.0;
    for (size_t k = 0; k < DECIMATOR_TAPS; k++)
        sum += tap[k] * g->ring[g->write + k];
    *openness = fmin(g->flow, 1.0);
    return sum;
}

static Control control_at(const Control *control, size_t n, double s) {
    double at = s * SINGER_CONTROL_HZ;
    size_t i = (size_t)at;
    if (i + 1 >= n)
        return control[n - 1];
    double f = at - (double)i;
    const Control *a = &control[i], *b = &control[i + 1];
    Control c = {a->pitch + f * (b->pitch - a->pitch),
                 a->voicing + f * (b->voicing - a->voicing),
                 a->aspiration + f * (b->aspiration - a->aspiration),
                 {0.0}};
    for (int k = 0; k < SINGER_FORMANTS; k++)
        c.formant[k] = a->formant[k] + f * (b->formant[k] - a->formant[k]);
    return c;
}

/* The resonances that move are tuned every frame: a step every few frames would be heard as a tone
 * at the rate of the steps. The cascade takes the lowest, the highest, the second lowest, the
 * second highest ...: each pair passes about as much as it takes, while twenty high ones in a row
 * would raise what lies between them by hundreds of dB, and the rounding of the low ones with it.
 */
typedef struct {
    Resonator resonator[RESONATORS];
    double radius[SINGER_FORMANTS];
    size_t count; /* those below 0.46 of the rate */
    double rate_hz;
} Tract;

static void tract_prepare(Tract *tract, double rate_hz, double womanhood) {
    static const double width_hz[SINGER_FORMANTS] = {70.0, 95.0, 150.0, 220.0, 280.0};
    double spacing = singer_mixed(1000.0, 1150.0, womanhood);
    *tract = (Tract){.rate_hz = rate_hz};
    for (int k = 0; k < SINGER_FORMANTS; k++)
        tract->radius[k] = exp(-PI * width_hz[k] / rate_hz);
    for (size_t k = 0; k < RESONATORS; k++) {
        double hz = ((double)k + 0.5) * spacing;
        if (hz > 0.46 * rate_hz)
            break;
        singer_resonator_tune(&tract->resonator[k], rate_hz, hz, 150.0 + 0.03 * hz);
        tract->count = k + 1;
    }
}

static double tract_step(Tract *tract, const double *formant, double x) {
    for (size_t k = 0; k < tract->count; k++) {
        Resonator *r = &tract->resonator[k];
        if (k < SINGER_FORMANTS) {
            double hz = fmin(formant[k], 0.46 * tract->rate_hz);
            r->c = -tract->radius[k] * tract->radius[k];
            r->b = 2.0 * tract->radius[k] * cos(2.0 * PI * hz / tract->rate_hz);
            r->a = 1.0 - r->b - r->c;
        }
        x = singer_resonator_step(r, x);
    }
    return x;
}

/* n frames of the voice at rate_hz. */
static void render_voice_at(const SingerParams *params, const Control *control, size_t points,
                            double rate_hz, float *voice, size_t n) {
    Random pulse = random_seeded(params->seed ^ UINT64_C(0x70756c73));
    Random noise = random_seeded(params->seed ^ UINT64_C(0x61737069));
    double tap[DECIMATOR_TAPS];
    decimator_design(tap);
    Glottis glottis = {.rate_hz = rate_hz, .period_ratio = 1.0, .height = 1.0};
    Tract tract;
    tract_prepare(&tract, rate_hz, params->womanhood);
    double tilt = 0.0, noise_gain = sqrt(rate_hz / 48000.0);
    for (size_t i = 0; i < n; i++) {
        Control now = control_at(control, points, (double)i / rate_hz);
        if (i % HOLD == 0) {
            double hz = params->tilt_hz * (0.3 + 0.7 * fmin(now.voicing, 1.2));
            tilt = 1.0 - exp(-2.0 * PI * hz / (rate_hz * OVERSAMPLE));
        }
        double openness, f0_hz = exp2(now.pitch);
        double source =
            now.voicing * glottis_step(&glottis, params, &pulse, tap, f0_hz, tilt, &openness);
        double modulation = now.voicing > 0.0 ? 0.3 + 1.4 * openness : 1.0;
        source += noise_gain * now.aspiration * modulation * random_normal(&noise);
        voice[i] = (float)tract_step(&tract, now.formant, source);
    }
}

enum { RAISE_TAPS = 64, RAISE_MOST = 4 };

/* Raises the rate by a whole number up to RAISE_MOST: a sinc of 64 points of `in`, Hann window. */
static void raise_rate(const float *in, size_t n, size_t factor, float *out, size_t n_out) {
    double tap[RAISE_MOST][RAISE_TAPS];
    for (size_t phase = 0; phase < factor; phase++)
        for (int k = 0; k < RAISE_TAPS; k++) {
            int before = RAISE_TAPS / 2 - 1 - k;
            double t = (double)phase / (double)factor + before, x = PI * t;
            double sinc = fabs(x) < 1e-12 ? 1.0 : sin(x) / x;
            tap[phase][k] = sinc * (0.5 + 0.5 * cos(2.0 * PI * t / (RAISE_TAPS + 2)));
        }
    for (size_t i = 0; i < n_out; i++) {
        double sum = 0.0;
        for (size_t k = 0; k < RAISE_TAPS; k++) {
            size_t at = i / factor + k; /* of the frame, and RAISE_TAPS / 2 - 1 more */
            if (at >= RAISE_TAPS / 2 - 1 && at - (RAISE_TAPS / 2 - 1) < n)
                sum += tap[i % factor][k] * (double)in[at - (RAISE_TAPS / 2 - 1)];
        }
        out[i] = (float)sum;
    }
}

/* Above 60 kHz the voice is made at a whole fraction of the rate: with more than some thirty
 * resonances in one cascade, the upper ones together would raise the rounding errors of the lower
 * ones by more than double precision bears. A voice has nothing to say up there. */
bool singer_render_voice(const SingerParams *params, const Control *control, size_t points,
                         SingerTake *take) {
    for (size_t i = 0; i < take->n; i++) {
        Control now = control_at(control, points, (double)i / take->rate_hz);
        take->f0_hz[i] = now.voicing > 0.0 ? (float)exp2(now.pitch) : 0.0f;
    }
    size_t factor = (size_t)ceil(take->rate_hz / 60000.0);
    double rate_hz = take->rate_hz / (double)factor;
    size_t n = take->n / factor + 1;
    if (factor == 1) {
        render_voice_at(params, control, points, rate_hz, take->stem[SINGER_STEM_VOICE], take->n);
        return true;
    }
    float *voice = malloc(n * sizeof *voice);
    if (!voice)
        return false;
    render_voice_at(params, control, points, rate_hz, voice, n);
    raise_rate(voice, n, factor, take->stem[SINGER_STEM_VOICE], take->n);
    free(voice);
    return true;
}
