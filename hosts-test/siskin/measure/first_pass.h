/* SPDX-License-Identifier: ISC */
/* first_pass.h: a take is at hand whole, so it is heard twice: once for what its room and its voice
 * are like, which the scene then knows from the first moment on, and for its DC, which is no
 * rumble. */
#ifndef SISKIN_MEASURE_FIRST_PASS_H
#define SISKIN_MEASURE_FIRST_PASS_H

#include "host/error.h"
#include "siskin/render/audio.h"
#include "voice/scene.h"

typedef struct {
    SceneKnown known;
    double dc; /* mean of the mean of the channels */
} FirstPass;

/* Reads the file by a reader of its own. Fails as audio_open and audio_read do. */
bool first_pass(const char *path, const SceneParams *params, FirstPass *first, HostError *error);

#endif
