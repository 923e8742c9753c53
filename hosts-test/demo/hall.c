/* SPDX-License-Identifier: ISC */
/* siskin-hall: makes a wet return of a take, so that the demo and the tests have one to duck.
 *
 *   siskin-hall hall|echo TAKE WET
 *
 * Reads a take, writes only its reverberation or its echoes (no direct sound) as stereo float WAV,
 * 2 s longer than the take. The echoes come every 350 ms on the left and every 525 ms on the right,
 * each 8 dB under the last. The reverberator is Schroeder's: four feedback combs
 * of 29.7, 37.1, 41.1 and 43.7 ms in parallel, then two all-passes of 5.0 and 1.7 ms with gain 0.7
 * (Schroeder, "Natural sounding artificial reverberation", JAES 10(3), 1962); comb gains 10^(-3 D /
 * T60). The right channel's combs are 3 % longer, so that the return has a width. Plain on purpose:
 * it is test material, not part of the suite. */
#include <math.h>
#include <sndfile.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { COMBS = 4, ALLPASSES = 2, SIDES = 2 };

typedef struct {
    float *ring;
    size_t length, at;
    float gain;
} Line;

/* One side of either effect. */
typedef struct {
    bool echoes;
    Line echo;
    Line comb[COMBS];
    Line allpass[ALLPASSES];
} Hall;

static const double COMB_MS[COMBS] = {29.7, 37.1, 41.1, 43.7};
static const double ALLPASS_MS[ALLPASSES] = {5.0, 1.7};
static const double T60_S = 1.8;
static const double ECHO_MS[SIDES] = {350.0, 525.0};
static const double TAIL_S = 2.0;

static void line_prepare(Line *line, double ms, double rate, double gain) {
    line->length = (size_t)lrint(ms * 1e-3 * rate);
    line->ring = calloc(line->length, sizeof *line->ring);
    line->at = 0;
    line->gain = (float)gain;
    if (!line->ring) {
        fprintf(stderr, "siskin-hall: out of memory\n");
        exit(EXIT_FAILURE);
    }
}

static void hall_prepare(Hall *hall, double rate, bool echoes, int side) {
    double stretch = side == 0 ? 1.0 : 1.03;
    hall->echoes = echoes;
    line_prepare(&hall->echo, ECHO_MS[side], rate, pow(10.0, -8.0 / 20.0));
    for (int i = 0; i < COMBS; i++) {
        double ms = COMB_MS[i] * stretch;
        line_prepare(&hall->comb[i], ms, rate, pow(10.0, -3.0 * ms * 1e-3 / T60_S));
    }
    for (int i = 0; i < ALLPASSES; i++)
        line_prepare(&hall->allpass[i], ALLPASS_MS[i] * stretch, rate, 0.7);
}

static void hall_free(Hall *hall) {
    free(hall->echo.ring);
    for (int i = 0; i < COMBS; i++)
        free(hall->comb[i].ring);
    for (int i = 0; i < ALLPASSES; i++)
        free(hall->allpass[i].ring);
}

static float comb_step(Line *line, float x) {
    float y = line->ring[line->at];
    line->ring[line->at] = x + line->gain * y;
    line->at = (line->at + 1) % line->length;
    return y;
}

static float allpass_step(Line *line, float x) {
    float delayed = line->ring[line->at];
    float v = x + line->gain * delayed;
    line->ring[line->at] = v;
    line->at = (line->at + 1) % line->length;
    return delayed - line->gain * v;
}

static float hall_step(Hall *hall, float x) {
    if (hall->echoes)
        return comb_step(&hall->echo, 0.4f * x);
    float sum = 0.0f;
    for (int i = 0; i < COMBS; i++)
        sum += comb_step(&hall->comb[i], 0.1f * x);
    for (int i = 0; i < ALLPASSES; i++)
        sum = allpass_step(&hall->allpass[i], sum);
    return sum;
}

static int fail(const char *file, const char *what) {
    fprintf(stderr, "siskin-hall: %s: %s\n", file, what);
    return EXIT_FAILURE;
}

int main(int argc, char **argv) {
    bool echoes = argc == 4 && strcmp(argv[1], "echo") == 0;
    if (argc != 4 || (!echoes && strcmp(argv[1], "hall") != 0)) {
        fprintf(stderr, "usage: siskin-hall hall|echo TAKE WET\n");
        return 2;
    }
    SF_INFO info = {0};
    SNDFILE *take = sf_open(argv[2], SFM_READ, &info);
    if (!take)
        return fail(argv[2], sf_strerror(NULL));
    SF_INFO wet_info = {.samplerate = info.samplerate,
                        .channels = SIDES,
                        .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *wet = sf_open(argv[3], SFM_WRITE, &wet_info);
    float *frame = calloc((size_t)info.channels, sizeof *frame);
    if (!wet || !frame) {
        free(frame);
        return fail(argv[3], wet ? "out of memory" : sf_strerror(NULL));
    }

    Hall hall[SIDES];
    for (int side = 0; side < SIDES; side++)
        hall_prepare(&hall[side], info.samplerate, echoes, side);

    sf_count_t frames = info.frames + (sf_count_t)(TAIL_S * info.samplerate);
    for (sf_count_t t = 0; t < frames; t++) {
        if (sf_readf_float(take, frame, 1) != 1)
            memset(frame, 0, (size_t)info.channels * sizeof *frame);
        float x = 0.0f;
        for (int c = 0; c < info.channels; c++)
            x += frame[c] / (float)info.channels;
        float out[SIDES];
        for (int side = 0; side < SIDES; side++)
            out[side] = hall_step(&hall[side], x);
        if (sf_writef_float(wet, out, 1) != 1) {
            free(frame);
            return fail(argv[3], sf_strerror(wet));
        }
    }
    free(frame);
    for (int side = 0; side < SIDES; side++)
        hall_free(&hall[side]);
    sf_close(take);
    return sf_close(wet) == 0 ? EXIT_SUCCESS : fail(argv[3], "cannot finish the file");
}
