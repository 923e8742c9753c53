/* SPDX-License-Identifier: ISC */
/* tone_cancel.h: takes tones of known frequencies, a mains' harmonics, out of a signal: notches
 * whose width can change at any time.
 *
 * For each tone a phasor c turns at its frequency, and a complex weight w, kept by least mean
 * squares, makes it equal to the tone in the signal (Widrow et al., "Adaptive noise cancelling:
 * principles and applications", Proc. IEEE 63(12), 1975; Glover, IEEE Trans. ASSP 25(6), 1977):
 *     y = sum over tones of Re(w c),  e = x - y,  w += 2 mu e conj(c),  out = x - share y
 * With mu = 1 / (tau rate) this is for each tone a notch of time constant tau, 1 / (pi tau) Hz wide
 * between its -3 dB points, `depth` deep. A sound that holds a tone's frequency exactly for a time
 * T loses at most
 *     8.69 T / tau dB, and never more than `depth`
 * and one that is farther off than 1 / (2 pi tau) Hz less than 3 dB, however long. So with a long
 * tau while a voice sounds the voice is left, and the hum, already known, still goes.
 * Where no tone is on and all weights have died away, the output is the input bit for bit.
 *
 * Both channels have weights of their own. Latency 0. Cost: some 25 operations a tone and frame of
 * each channel, four tones at a time. */
#ifndef SISKIN_FILTER_TONE_CANCEL_H
#define SISKIN_FILTER_TONE_CANCEL_H

#include "basic/simd.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    TONE_CANCEL_GROUPS = 3,
    TONE_CANCEL_TONES = TONE_CANCEL_GROUPS * SIMD_WIDTH,
    TONE_CANCEL_CHANNELS = 2,
    TONE_CANCEL_KEPT = 8
};

/* The weights of all tones in all channels. */
typedef struct {
    Simd re[TONE_CANCEL_CHANNELS][TONE_CANCEL_GROUPS], im[TONE_CANCEL_CHANNELS][TONE_CANCEL_GROUPS];
} ToneWeights;

typedef struct {
    double rate_hz;
    unsigned channels;
    float share;                      /* of the tones that is taken */
    float keep;                       /* of the weights of tones that are off, a frame */
    double base_hz;                   /* of the phasors as set */
    Simd turn_re[TONE_CANCEL_GROUPS]; /* of a frame */
    Simd turn_im[TONE_CANCEL_GROUPS];
    struct {
        bool idle;                     /* nothing is on, no weight is left */
        Simd on[TONE_CANCEL_GROUPS];   /* 2 mu, or 0 */
        Simd hold[TONE_CANCEL_GROUPS]; /* 1, less where on in part, `keep` where off */
        Simd re[TONE_CANCEL_GROUPS], im[TONE_CANCEL_GROUPS]; /* c */
        ToneWeights weight;                                  /* w */
        size_t kept;                                         /* written, modulo TONE_CANCEL_KEPT */
        ToneWeights before[TONE_CANCEL_KEPT]; /* as they were at the last calls of keep */
    } state;
} ToneCancel;

void tone_cancel_prepare(ToneCancel *cancel, double rate_hz, unsigned channels);
void tone_cancel_reset(ToneCancel *cancel);
/* How deep, dB >= 0. */
void tone_cancel_set(ToneCancel *cancel, float depth_db);
/* The frequency of the first tone; tone k has (k + 1) times as much, and is off where that is over
 * 0.45 of the rate. No function of the maths library. */
void tone_cancel_aim(ToneCancel *cancel, double base_hz);
/* How far each tone is to be taken, 0..1, of `depth` (0: off), and the time constant of those that
 * are on. The weight of one that is on in part leaks, so that it comes to rest at that share of the
 * tone:
 *     w += (w0 - w) / T - leak w = 0 at w = share w0,   leak = (1 - share) / (share T)
 * Also brings the phasors back to length 1, so
 * it is to be called some hundred times a second. */
void tone_cancel_adapt(ToneCancel *cancel, const float share[TONE_CANCEL_TONES], double tau_ms);
/* No tone may have more than most[k], the mean square of what both channels have in common; one
 * that has goes there by 1 dB a call at most. To be called after adapt. */
void tone_cancel_limit(ToneCancel *cancel, const float most[TONE_CANCEL_TONES]);
/* n frames of each channel; in[c] may equal out[c]. */
void tone_cancel_process(ToneCancel *cancel, const float *const *in, float *const *out, size_t n);
/* A voice that begins is heard some time after its first frames have moved the weights. Keep,
 * called as often as adapt while nothing but the tones may sound, remembers the weights; recall
 * takes them, and what is remembered since, `share` (0..1) of the way back to what they were
 * TONE_CANCEL_KEPT calls of keep before. */
void tone_cancel_keep(ToneCancel *cancel);
void tone_cancel_recall(ToneCancel *cancel, float share);
/* Mean square of the tones as known now, mean of the channels. */
float tone_cancel_power(const ToneCancel *cancel);

#endif
