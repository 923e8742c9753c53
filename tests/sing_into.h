/* SPDX-License-Identifier: ISC */
/* sing_into.h: two phrases of the test singer, as much as fits, from half a second on and round
 * again. */
#ifndef SISKIN_TESTS_SING_INTO_H
#define SISKIN_TESTS_SING_INTO_H

#include "singer.h"

#include <check.h>

/* A woman for odd seeds, a man for even ones. */
static inline void sing_into(float *to, size_t n, double rate_hz, uint64_t seed) {
    SingerTake take;
    SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, rate_hz, seed);
    params.phrases = 2;
    ck_assert(singer_take(&params, &take));
    for (size_t t = 0; t < n; t++)
        to[t] = take.mix[(t + (size_t)rate_hz / 2) % take.n];
    singer_free(&take);
}

#endif
