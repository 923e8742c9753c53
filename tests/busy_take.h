/* SPDX-License-Identifier: ISC */
/* busy_take.h: a sung take in which every kind of processor finds work: sibilants 10 dB over those
 * of speech, one of them after vowels, a breath before each phrase, clicks in and between words,
 * phrases of unlike level. */
#ifndef SISKIN_TESTS_BUSY_TAKE_H
#define SISKIN_TESTS_BUSY_TAKE_H

#include "singer.h"

#include <stdio.h>
#include <stdlib.h>

/* Fills out[frames]; about 5 s long, and sung again from the start where more are wanted. Ends the
 * program if the singer cannot sing. */
static inline void busy_take(float *out, size_t frames, double rate_hz, SingerVoice voice,
                             uint64_t seed) {
    SingerParams params = singer_params(voice, rate_hz, seed);
    SingerTake take;
    params.score = "sa-ti-so mu/zo-ca fe";
    params.sibilants_db = 10.0;
    params.breath_share = 1.0;
    params.gap_clicks = 3.0;
    params.word_clicks = 2.0;
    params.level_spread_db = 6.0;
    if (!singer_take(&params, &take)) {
        fputs("the singer will not sing\n", stderr);
        exit(EXIT_FAILURE);
    }
    for (size_t t = 0; t < frames; t++)
        out[t] = take.mix[t % take.n];
    singer_free(&take);
}

#endif
