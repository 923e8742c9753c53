/* SPDX-License-Identifier: ISC */
/* noise_reduction.h: what a take holds of a steady noise that was learned in its gaps.
 *
 *     in -> spectral_frames: power -> noise_gain (by noise_profile) -> (1 - G) Y -> removed
 *                              \-> noise_profile, when that frame turns out to have been room
 *
 * What comes out is the noise, to be subtracted from the input as late as latency() says: so where
 * every gain is 1, as it is until 0.3 s of room were heard, the difference is the input bit for
 * bit. The caller says, hop by hop, what was room; `behind` gives it the time to know.
 * Of two channels the powers are added, and both get one gain.
 * Cost, beside spectral_frames: 200 operations a bin, which is 400 a sample. */
#ifndef SISKIN_SOUND_NOISE_REDUCTION_H
#define SISKIN_SOUND_NOISE_REDUCTION_H

#include "sound/noise_gain.h"
#include "sound/noise_profile.h"
#include "sound/spectral_frames.h"

typedef struct {
    SpectralFrames frames;
    NoiseProfile profile;
    NoiseGain gain;
    struct {
        float in, out, noise;         /* powers summed over this hop's bins so far */
        float reduction_db, noise_db; /* of the last hop done */
    } state;
} NoiseReduction;

/* behind_ms: how long after its end a frame is known to be room. */
bool noise_reduction_prepare(NoiseReduction *reduction, double rate_hz, unsigned channels,
                             double behind_ms, Arena *arena);
void noise_reduction_reset(NoiseReduction *reduction);
/* Samples between the end of the frame that a hop may learn, and the hop's beginning. */
static inline size_t noise_reduction_behind(const NoiseReduction *reduction) {
    return (reduction->profile.slots - 1) * reduction->frames.hop;
}
void noise_reduction_set(NoiseReduction *reduction, const NoiseGainParams *params);
/* n <= spectral_frames_room(&frames) samples a channel, from in[channel] + at; what is to be
 * subtracted goes to removed[channel] + at. True: the hop is over; noise_reduction_begin is
 * next. */
bool noise_reduction_process(NoiseReduction *reduction, const float *const *in,
                             float *const *removed, size_t at, size_t n);
/* room: the frame that ended noise_reduction_behind() samples ago was room, all of it. periodic: a
 * voice sounds in the one that ends now. */
void noise_reduction_begin(NoiseReduction *reduction, bool room, bool periodic);
/* By how much the last frame became quieter, dB; and the level of the noise as learned, dBFS of the
 * channels' mean power, at least -200. */
static inline float noise_reduction_db(const NoiseReduction *reduction) {
    return reduction->state.reduction_db;
}
static inline float noise_reduction_noise_db(const NoiseReduction *reduction) {
    return reduction->state.noise_db;
}

#endif
