/* SPDX-License-Identifier: ISC */
/* hiss_duck.h: takes sibilants down in a voice that comes later than the take it was heard in.
 *
 * A second voice never hits an /s/ at the same moment, so that two of them smear; singers who
 * double leave them out. By ticks of the caller's the power above HISS_DUCK_HZ (second-order
 * Butterworth, svf.h) is compared with all of it, both averaged with HISS_DUCK_MS:
 *     share = high / all,   gain = 1 - (1 - g) S((share - 0.35) / 0.3),   S(p) = 3 p^2 - 2 p^3,   g = -6 dB
 * and the gain is smoothed once more. In sibilants there is more power above 3 kHz than below 1.5
 * kHz, in vowels ten times less (sibilance.h); breaths and room noise, which doubles need not
 * repeat either, go down with them. A gain before the unit changes nothing. The gain of a moment is
 * read as late as the voice is, and HISS_DUCK_AHEAD_MS early, which makes up for the averages.
 * Valid for 8 to 192 kHz. Cost 15 operations a frame heard, 8 a frame of a voice. */
#ifndef SISKIN_GAIN_HISS_DUCK_H
#define SISKIN_GAIN_HISS_DUCK_H

#include "filter/svf.h"

#include <stddef.h>
#include <stdint.h>

#define HISS_DUCK_HZ 3000.0
#define HISS_DUCK_MS 3.0
#define HISS_DUCK_AHEAD_MS 6.0

enum { HISS_DUCK_KEPT = 512 }; /* ticks */

typedef struct {
    size_t tick;  /* frames */
    double ahead; /* frames */
    float keep;   /* pole of a tick */
    Svf high_pass;
    struct {
        size_t filled;         /* frames of this tick */
        float high_now, now;   /* their powers */
        float high, all, gain; /* averaged */
        int64_t ticks;         /* heard */
        float kept[HISS_DUCK_KEPT];
    } state;
} HissDuck;

void hiss_duck_prepare(HissDuck *duck, double rate_hz, size_t tick);
void hiss_duck_reset(HissDuck *duck);
/* Takes n frames, at most to the end of the tick. */
void hiss_duck_hear(HissDuck *duck, const float *in, size_t n);
/* Frames start + first, start + first + 1, ... of the take, between them too: audio[i] times their
 * gain. No more than HISS_DUCK_KEPT - 2 ticks late. */
void hiss_duck_process(const HissDuck *duck, double start, int64_t first, float *audio, size_t n);

#endif
