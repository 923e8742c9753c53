/* SPDX-License-Identifier: ISC */
/* voice-shift beside Rubber Band, a general library for the same job, at its best: its finer
 * engine, off line, with formants kept. The singer transposed is the truth: the same take, the same
 * formants, other notes. Judged by the log-spectral distance to it. */
#include "outside/beside_library.h"

#include "signals.h"
#include "singer.h"
#include "speech_measures.h"

#include <math.h>
#include <rubberband/rubberband-c.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, BLOCK = 1024 };
static Host *host;

static SingerTake sing(SingerVoice voice, double semitones) {
    SingerParams params = singer_params(voice, RATE, 5200);
    SingerTake take;
    params.phrases = 2;
    params.breath_share = params.gap_clicks = params.word_clicks = 0.0;
    params.room_db = -90.0;
    params.note_hz.low *= exp2(semitones / 12.0);
    params.note_hz.high *= exp2(semitones / 12.0);
    ck_assert(singer_take(&params, &take));
    return take;
}

static float *frames(size_t n) {
    float *memory = calloc(n + 1, sizeof *memory);
    ck_assert_ptr_nonnull(memory);
    return memory;
}

static float *shift(const SingerTake *take, double semitones) {
    HostError error = {""};
    const HostPlugin *plugin = host_find(host, "voice-shift", 1, &error);
    HostInstance *instance = plugin ? host_instantiate(host, plugin, RATE, BLOCK, &error) : NULL;
    float *out = frames(take->n);
    if (!instance)
        ck_abort_msg("%s", error.text);
    ck_assert(host_set(instance, "semitones", (float)semitones, &error));
    const float *in = take->mix;
    const HostRender render = {.in = &in, .out = &out, .frames = take->n, .block = BLOCK};
    ck_assert_msg(host_render_aligned(instance, &render, &error), "%s", error.text);
    host_free(instance);
    return out;
}

static float *shift_theirs(const SingerTake *take, double semitones) {
    float *out = frames(take->n + BLOCK);
    size_t got = 0;
    RubberBandState state =
        rubberband_new(RATE, 1,
                       RubberBandOptionProcessOffline | RubberBandOptionEngineFiner |
                           RubberBandOptionFormantPreserved,
                       1.0, exp2(semitones / 12.0));
    const float *whole = take->mix;
    rubberband_set_expected_input_duration(state, (unsigned)take->n);
    rubberband_study(state, &whole, (unsigned)take->n, 1);
    for (size_t at = 0; at < take->n; at += BLOCK) {
        size_t n = take->n - at < BLOCK ? take->n - at : BLOCK;
        const float *in = take->mix + at;
        rubberband_process(state, &in, (unsigned)n, at + n == take->n);
        for (int ready; got < take->n && (ready = rubberband_available(state)) > 0;) {
            float *to = out + got;
            size_t wanted = (size_t)ready < BLOCK ? (size_t)ready : BLOCK;
            got += rubberband_retrieve(state, &to, (unsigned)wanted);
        }
    }
    rubberband_delete(state);
    ck_assert_uint_gt(got, take->n - RATE / 10);
    return out;
}

START_TEST(it_is_nearer_to_the_singer_transposed_than_a_general_library) {
    static const double semitones[] = {1.0, 3.0, 7.0, -3.0};
    for (int v = 0; v < 2; v++) {
        SingerVoice voice = v ? SINGER_WOMAN : SINGER_MAN;
        SingerTake take = sing(voice, 0.0);
        for (int i = 0; i < 4; i++) {
            SingerTake twin = sing(voice, semitones[i]);
            ck_assert_uint_eq(twin.n, take.n);
            float *ours = shift(&take, semitones[i]), *theirs = shift_theirs(&take, semitones[i]);
            double our = speech_lsd(twin.mix, ours, take.n, RATE);
            double their = speech_lsd(twin.mix, theirs, take.n, RATE);
            printf("%s %+.0f semitones: LSD %.2f dB, theirs %.2f dB\n", v ? "woman" : "man",
                   semitones[i], our, their);
            ck_assert_double_lt(our, their);
            free(ours);
            free(theirs);
            singer_free(&twin);
        }
        singer_free(&take);
    }
}
END_TEST

int main(int count, char **argument) {
    (void)count;
    return run_beside(argument[0], &host, "pitch_outside",
                      it_is_nearer_to_the_singer_transposed_than_a_general_library, 240.0);
}
