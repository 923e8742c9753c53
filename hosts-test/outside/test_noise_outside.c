/* SPDX-License-Identifier: ISC */
/* The noise reducer beside another of its kind: the preprocessor of libspeexdsp, which tracks its
 * noise (frames of 20 ms, 16 bit, as it wants them), on the same takes, both told to take 15 dB.
 * It is a line to be better than, not the truth: that is the clean voice.
 *
 * A test singer of each sex, a second of noise before and behind, white noise 15 and 30 dB under
 * the words. SI-SDR, STOI and LSD against the clean voice, from the second second on, so that both
 * have heard the noise. The preprocessor's delay is the one at which its output is most like the
 * clean voice. The bundles are those built beside this program. */
#include "outside/beside_library.h"
#include "signals.h"
#include "singer.h"
#include "speech_measures.h"

#include <check.h>
#include <math.h>
#include <speex/speex_preprocess.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { RATE = 48000, FRAME = RATE / 50, TAKES = 4 };

typedef struct {
    size_t n;
    float *clean, *noisy, *ours, *theirs;
} Take;

typedef struct {
    double si_sdr, stoi, lsd;
} Figures;

static Host *host;

static float *frames(size_t n) {
    float *memory = calloc(n + 1, sizeof *memory);
    ck_assert_ptr_nonnull(memory);
    return memory;
}

static Take open_take(SingerVoice voice, unsigned long long seed, double noise_db) {
    SingerParams params = singer_params(voice, RATE, seed);
    params.room_db = -200.0;
    params.phrases = 3;
    SingerTake sung;
    ck_assert(singer_take(&params, &sung));
    Take t = {.n = sung.n + (size_t)2 * RATE};
    t.clean = frames(t.n);
    t.noisy = frames(t.n);
    t.ours = frames(t.n);
    t.theirs = frames(t.n);
    memcpy(t.clean + RATE, sung.mix, sung.n * sizeof(float));
    double rms = pow(10.0, (params.level_db - noise_db) / 20.0);
    Random random = random_seeded(seed);
    printf("seed %llu\n", seed);
    signals_noise(t.noisy, t.n, rms, &random);
    signals_add(t.noisy, t.clean, t.n);
    singer_free(&sung);
    return t;
}

static void close_take(Take *t) {
    free(t->clean);
    free(t->noisy);
    free(t->ours);
    free(t->theirs);
}

static void reduce(Take *t) {
    HostError error = {""};
    const HostPlugin *plugin = host_find(host, "noise-reducer", 1, &error);
    HostInstance *instance = plugin ? host_instantiate(host, plugin, RATE, 512, &error) : NULL;
    if (!instance)
        ck_abort_msg("%s", error.text);
    ck_assert(host_set(instance, "depth", 15.0f, &error));
    const float *in = t->noisy;
    const HostRender render = {.in = &in, .out = &t->ours, .frames = t->n, .block = 512};
    ck_assert_msg(host_render_aligned(instance, &render, &error), "%s", error.text);
    host_free(instance);
}

/* From its late output, the stretch that is most like the clean voice. */
static void align(Take *t, const float *late) {
    double most = -1.0;
    size_t best = 0;
    for (size_t delay = 0; delay <= (size_t)2 * FRAME; delay++) {
        double sum = 0.0;
        for (size_t i = RATE; i + (size_t)2 * FRAME < t->n; i += 3)
            sum += (double)t->clean[i] * (double)late[i + delay];
        best = sum > most ? delay : best;
        most = fmax(sum, most);
    }
    memcpy(t->theirs, late + best, (t->n - best) * sizeof(float));
}

static void reduce_theirs(Take *t) {
    SpeexPreprocessState *state = speex_preprocess_state_init(FRAME, RATE);
    ck_assert_ptr_nonnull(state);
    int on = 1, suppress = -15;
    speex_preprocess_ctl(state, SPEEX_PREPROCESS_SET_DENOISE, &on);
    speex_preprocess_ctl(state, SPEEX_PREPROCESS_SET_NOISE_SUPPRESS, &suppress);
    float *late = frames(t->n + (size_t)4 * FRAME);
    for (size_t at = 0; at + FRAME <= t->n; at += FRAME) {
        spx_int16_t block[FRAME];
        for (size_t i = 0; i < FRAME; i++)
            block[i] = (spx_int16_t)lrintf(32767.0f * fmaxf(-1.0f, fminf(1.0f, t->noisy[at + i])));
        speex_preprocess_run(state, block);
        for (size_t i = 0; i < FRAME; i++)
            late[at + i] = (float)block[i] / 32767.0f;
    }
    align(t, late);
    free(late);
    speex_preprocess_state_destroy(state);
}

static Figures judge(const Take *t, const float *audio) {
    size_t from = RATE, n = t->n - (size_t)2 * RATE;
    return (Figures){speech_si_sdr(t->clean + from, audio + from, n),
                     speech_stoi(t->clean + from, audio + from, n, RATE),
                     speech_lsd(t->clean + from, audio + from, n, RATE)};
}

/* Each take must come out nearer to the voice than it was in SI-SDR and LSD, and their means be
 * better than the preprocessor's in all three. */
START_TEST(it_is_better_than_a_preprocessor_that_tracks_its_noise) {
    const double levels[TAKES] = {15.0, 30.0, 15.0, 30.0};
    const SingerVoice voices[TAKES] = {SINGER_WOMAN, SINGER_WOMAN, SINGER_MAN, SINGER_MAN};
    Figures better = {0.0, 0.0, 0.0};
    for (int i = 0; i < TAKES; i++) {
        Take t = open_take(voices[i], 5100ull + (unsigned)i, levels[i]);
        reduce(&t);
        reduce_theirs(&t);
        Figures noisy = judge(&t, t.noisy), ours = judge(&t, t.ours);
        Figures theirs = judge(&t, t.theirs);
        printf("%.0f dB, %s: SI-SDR %.1f, %.1f, theirs %.1f dB; STOI %.3f, %.3f, theirs %.3f; "
               "LSD %.2f, %.2f, theirs %.2f dB\n",
               levels[i], voices[i] == SINGER_MAN ? "man" : "woman", noisy.si_sdr, ours.si_sdr,
               theirs.si_sdr, noisy.stoi, ours.stoi, theirs.stoi, noisy.lsd, ours.lsd, theirs.lsd);
        ck_assert_double_gt(ours.si_sdr, noisy.si_sdr);
        ck_assert_double_lt(ours.lsd, noisy.lsd);
        better.si_sdr += (ours.si_sdr - theirs.si_sdr) / TAKES;
        better.stoi += (ours.stoi - theirs.stoi) / TAKES;
        better.lsd += (ours.lsd - theirs.lsd) / TAKES;
        close_take(&t);
    }
    printf("better by SI-SDR %.1f dB, STOI %.4f, LSD %.2f dB\n", better.si_sdr, better.stoi,
           -better.lsd);
    ck_assert_double_gt(better.si_sdr, 0.0);
    ck_assert_double_gt(better.stoi, 0.0);
    ck_assert_double_lt(better.lsd, 0.0);
}
END_TEST

int main(int count, char **argument) {
    (void)count;
    return run_beside(argument[0], &host, "noise_outside",
                      it_is_better_than_a_preprocessor_that_tracks_its_noise, 120.0);
}
