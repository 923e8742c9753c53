/* SPDX-License-Identifier: ISC */
/* measure_take.h: for suites of siskin measure: takes written as files, and measured. */
#ifndef SISKIN_TESTS_MEASURE_TAKE_H
#define SISKIN_TESTS_MEASURE_TAKE_H

#include "singer.h"
#include "siskin/measure/take.h"
#include "siskin/tests/run_siskin.h"

static inline void write_mono(const char *path, const float *audio, size_t n, double rate_hz) {
    Sound sound = make_sound(1, (sf_count_t)n, (int)rate_hz);
    memcpy(sound.audio, audio, n * sizeof(float));
    write_wav(path, &sound);
    free(sound.audio);
}

static inline Measures measure_file(const char *path) {
    Measures measures;
    HostError error;
    ck_assert_msg(measure_take(path, &measures, NULL, NULL, &error), "%s", error.text);
    return measures;
}

static inline Measures measure_audio(const float *audio, size_t n, double rate_hz) {
    write_mono("take.wav", audio, n, rate_hz);
    return measure_file("take.wav");
}

static inline SingerTake sing(SingerVoice voice, double rate_hz, uint64_t seed, size_t phrases) {
    SingerTake take;
    SingerParams params = singer_params(voice, rate_hz, seed);
    params.phrases = phrases;
    ck_assert(singer_take(&params, &take));
    return take;
}

#endif
