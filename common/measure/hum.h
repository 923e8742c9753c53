/* SPDX-License-Identifier: ISC */
/* hum.h: tones of the mains, at 50 or 60 Hz and their harmonics, under a take.
 *
 * The audio is brought down to about 2 kHz (decimator.h: what folds onto a harmonic is 120 dB
 * down). Every quarter of a second the last half second is transformed under a Hann window, and at
 * each harmonic f, A_j being the power of the bin nearest to it,
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
 *
 * A steady tone is hum when it is also
 * - on the harmonic: the mean of its frequency in those quietest windows, by the ratio of the two
 *   largest bins (Hann: d = (2 r - 1) / (r + 1), Grandke, IEEE Trans. IM 32(2), 1983), within 0.4 %
 *   and 0.2 Hz of f. Grids keep within 0.4 % (50 +- 0.2 Hz, from memory), the rest is for noise at
 *   6 dB. A drone in tune with an orchestra is 1.5 % off or more;
 * - over -110 dBFS: less is nobody's hum, and may be an alias;
 * - there when nothing else is: a take that never falls by 10 dB (mean squares of the band up to
 *   500 Hz, 95 % against 20 % of the windows) has no gaps, and what sounds through it may be a note
 *   held. Then tones of -40 dBFS and over are not told as hum.
 *
 * Levels are right within 1 dB when a quarter of the take is free of voice at that frequency and
 * the tone stands 6 dB over the room within 6 Hz. Gaps of half a second are enough. Valid
 * for 8..192 kHz. Cost: 16 operations a frame, and 30 000 a quarter of a second. For
 * programs that measure. */
#ifndef SISKIN_MEASURE_HUM_H
#define SISKIN_MEASURE_HUM_H

#include "basic/arena.h"
#include "basic/fft.h"
#include "filter/decimator.h"

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
    double low_rate_hz;
    Fft fft;
    float *audio, *hann, *cut; /* [HUM_WINDOW] */
    float *power;              /* [HUM_WINDOW / 2 + 1] mean squares */
    uint32_t *levels;          /* [HUM_SERIES][HUM_HARMONICS][HUM_ROWS][HUM_LEVELS] */
    float *off_hz;       /* [HUM_SERIES][HUM_HARMONICS][HUM_LEVELS] sums of what lies beside f */
    uint32_t *whole;     /* [HUM_LEVELS] the whole band */
    Decimator decimator; /* history too */
    struct {
        size_t filled;
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
