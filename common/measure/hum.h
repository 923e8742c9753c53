/* SPDX-License-Identifier: ISC */
/* hum.h: tones of the mains, at 50 or 60 Hz and their harmonics, under a take.
 *
 * The audio is brought down to about 2 kHz (two second-order Butterworth low-passes at 700 Hz, then
 * every M-th frame). Every quarter of a second the last half second is transformed under a Hann
 * window, and at each harmonic f, A_j being the power of the bin nearest to it,
 *     P(f) = (A_{j-1} + A_j + A_{j+1}) / 1.5
 * which of a tone is within 0.2 dB the same anywhere within half a bin, 1 Hz, of f (the three bins
 * of a Hann window hold 1.5 times the middle one's power), so that mains that are not quite true
 * are measured right. Beside it the mean of P at f +- 10 Hz, which no tone at f reaches.
 *
 * A voice nearly always adds to a steady tone, and now and then meets it out of phase, so what
 * counts is the level that P falls short of in a fifth of the windows: an order statistic as in
 * minimum statistics (Martin, IEEE Trans. SAP 9(5), 2001). Of noise that quantile is the same share
 * of its mean in both, and cancels out:
 *     hum power = P_20 - N_20,   found when P_20 > 4 N_20 (6 dB)
 * Quantiles are read from counts in bins of 0.25 dB, so memory does not grow.
 * Levels are right within 1 dB when a quarter of the take is free of voice at that frequency and
 * the tone stands 6 dB over the room within 6 Hz. Gaps of half a second are enough. Valid
 * for 8..192 kHz. Cost: two filters a frame, and 30 000 operations a quarter of a second. For
 * programs that measure. */
#ifndef SISKIN_MEASURE_HUM_H
#define SISKIN_MEASURE_HUM_H

#include "basic/arena.h"
#include "basic/fft.h"
#include "filter/svf.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    HUM_HARMONICS = 8,
    HUM_SERIES = 2,    /* of 50 Hz, of 60 Hz */
    HUM_LEVELS = 640,  /* bins of 0.25 dB from -160 to 0 dB */
    HUM_WINDOW = 1024, /* decimated frames */
    HUM_ROWS = 3,      /* the tone, and below and above it */
};

typedef struct {
    bool found;
    double mains_hz;             /* 50 or 60 */
    bool has[HUM_HARMONICS];     /* [k] is harmonic k + 1 */
    double power[HUM_HARMONICS]; /* mean squares; 0 where not found */
    double total;                /* their sum */
} HumReading;

typedef struct {
    double rate_hz, low_rate_hz;
    size_t decimation; /* frames a decimated one */
    Fft fft;
    float *audio, *hann, *cut;              /* [HUM_WINDOW] */
    float *power;                           /* [HUM_WINDOW / 2 + 1] mean squares */
    uint32_t *levels;                       /* [HUM_SERIES][HUM_HARMONICS][HUM_ROWS][HUM_LEVELS] */
    double gain[HUM_SERIES][HUM_HARMONICS]; /* power of the low-pass at each */
    Svf low_pass[2];                        /* history too */
    struct {
        size_t skipped, filled;
        uint64_t windows;
    } state;
} Hum;

/* false: the arena is full. */
bool hum_prepare(Hum *hum, double rate_hz, Arena *arena);
void hum_reset(Hum *hum);
void hum_process(Hum *hum, const float *in, size_t n);
/* Of all that went in; false as long as that is less than 3 s. */
bool hum_reading(const Hum *hum, HumReading *reading);

#endif
