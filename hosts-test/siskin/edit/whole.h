/* SPDX-License-Identifier: ISC */
/* whole.h: a take held in memory, for edits that move sounds in time. */
#ifndef SISKIN_EDIT_WHOLE_H
#define SISKIN_EDIT_WHOLE_H

#include "siskin/render/audio.h"

typedef struct {
    AudioReader reader; /* open, at its end: what an output keeps of the take */
    double rate_hz;
    unsigned channels;
    size_t n; /* frames */
    float *channel[AUDIO_CHANNELS];
    float *mid; /* what is listened to: the mean of the channels; where they are out of phase, half
                   their difference */
} Whole;

/* At `rate_hz` (0: its own). Fails as audio_open and audio_read do. */
bool whole_read(Whole *whole, const char *path, double rate_hz, HostError *error);
void whole_free(Whole *whole); /* fine on a zeroed one */

/* Writes what was made of a take, whole or not at all. */
bool whole_write(const char *path, const AudioFormat *format, const Whole *take,
                 const float *const *channel, size_t n, HostError *error);

/* The form of an output: by its name, `bits` (or NULL) as written. */
bool whole_format(AudioFormat *format, const char *path, const char *bits, HostError *error);
/* Fails when `out` is a folder or one of the files that are read; NULL among these are none. */
bool whole_may_write(const char *out, const char *const *inputs, size_t n, HostError *error);

#endif
