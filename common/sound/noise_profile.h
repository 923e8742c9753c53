/* SPDX-License-Identifier: ISC */
/* noise_profile.h: the power spectrum of a room, learned from the frames that hold nothing else.
 *
 * In each bin the mean of |Y|^2 over the frames named as room: the plain mean while they last less
 * than 1 s together, then with a time constant of 1 s of such time, so that a room that changes is
 * learned anew. Nothing is learned from any other frame, however long: a held note is steadier than
 * any tracker's window (Martin, IEEE Trans. SAP 9(5), 2001, takes 1.5 s) and would be taken for
 * noise. Whether a frame was room is only known later, so the last spectra are kept, and the one of
 * `behind` hops ago is learned.
 * Of n independent frames the mean is right within 4.3 / sqrt(n) dB; frames of 21 ms overlapped by
 * 3/4 are worth about half their number. The profile counts as known after 0.3 s, within 0.8 dB,
 * and `share` then rises from 0 to 1 within another 0.2 s.
 * A room that turns out 6 dB quieter than what was learned, for 0.15 s, shows that it was no room
 * (a breath at the very start, before anything told what quiet is): the profile begins anew. Work
 * comes by bins, in pieces of any size. No latency. Cost 5 operations a bin. */
#ifndef SISKIN_SOUND_NOISE_PROFILE_H
#define SISKIN_SOUND_NOISE_PROFILE_H

#include "basic/arena.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    size_t bins, slots;
    size_t enough;  /* frames */
    float least;    /* weight of a frame */
    size_t refuted; /* frames of a quieter room that end a profile */
    float rise;     /* of the share, a hop */
    float *past;    /* [slots][bins] */
    float *mean;    /* [bins] */
    struct {
        size_t slot;    /* of the hop's own spectrum */
        size_t learned; /* frames, counted as far as the plain mean goes */
        float weight;   /* of what this hop learns; 0: nothing */
        float share;
        size_t quieter; /* frames learned on end that were quieter than the profile */
        float ratio;    /* past over mean, summed over this hop's bins so far */
    } state;
} NoiseProfile;

/* behind: hops from a spectrum to its being learned, >= 1. false: the arena is full. */
bool noise_profile_prepare(NoiseProfile *profile, size_t bins, double hops_per_second,
                           size_t behind, Arena *arena);
void noise_profile_reset(NoiseProfile *profile);
/* Begins a hop: whether the spectrum of `behind` hops ago is room. */
void noise_profile_begin(NoiseProfile *profile, bool room);
/* Where this hop's power spectrum goes, [bins]: to be filled before noise_profile_run. */
static inline float *noise_profile_now(const NoiseProfile *profile) {
    return profile->past + profile->state.slot * profile->bins;
}
/* This hop's learning, bins from..from + count - 1. */
void noise_profile_run(NoiseProfile *profile, size_t from, size_t count);
/* How far it is to be used: 0 until enough was heard, then up to 1. */
static inline float noise_profile_share(const NoiseProfile *profile) {
    return profile->state.share;
}

#endif
