/* SPDX-License-Identifier: ISC */
#include "sound/echo_loop.h"

#include <math.h>

/* Frames that are computed together: no delay may be shorter, and at 8 kHz the least is 160. */
enum { STRETCH = 128 };

enum { STAGES = 6 };
static const DiffuserStage SMEAR[ECHO_CHANNELS][STAGES] = {
    {{7.13, 0.6f}, {11.31, 0.6f}, {16.97, 0.6f}, {22.73, 0.6f}, {29.33, 0.6f}, {37.11, 0.6f}},
    {{6.37, 0.6f}, {12.11, 0.6f}, {15.79, 0.6f}, {24.07, 0.6f}, {27.61, 0.6f}, {39.23, 0.6f}},
};

static const double GLIDE_MS = 20.0;

bool echo_loop_prepare(EchoLoop *echo, double rate_hz, unsigned channels, size_t most_frames,
                       Arena *arena) {
    bool fits = true;
    echo->rate_hz = rate_hz;
    echo->channels = channels;
    for (unsigned c = 0; c < channels; c++) {
        fits &= tap_line_prepare(&echo->line[c], rate_hz, most_frames, arena);
        fits &= diffuser_prepare(&echo->diffuser[c], rate_hz, SMEAR[c], STAGES, arena);
    }
    edge_filter_prepare(&echo->filter, rate_hz, channels);
    glide_prepare(&echo->feedback, GLIDE_MS, rate_hz);
    glide_prepare(&echo->diffusion, GLIDE_MS, rate_hz);
    return fits;
}

void echo_loop_reset(EchoLoop *echo) {
    for (unsigned c = 0; c < echo->channels; c++) {
        tap_line_reset(&echo->line[c]);
        diffuser_reset(&echo->diffuser[c]);
    }
    edge_filter_reset(&echo->filter);
    glide_reset(&echo->feedback);
    glide_reset(&echo->diffusion);
}

void echo_loop_set(EchoLoop *echo, const EchoLoopParams *params) {
    for (unsigned c = 0; c < echo->channels; c++)
        tap_line_set(&echo->line[c], params->delay[c]);
    edge_filter_set(&echo->filter,
                    &(EdgeFilterParams){.low_hz = fmin(params->low_hz, 0.1 * echo->rate_hz),
                                        .pairs = 1,
                                        .high_hz = params->high_hz});
    glide_set(&echo->feedback, params->feedback);
    glide_set(&echo->diffusion, params->diffusion);
}

static float clip(float x) {
    float bounded = x > 1.5f ? 1.5f : x < -1.5f ? -1.5f : x;
    return bounded - (4.0f / 27.0f) * bounded * bounded * bounded;
}

static void stretch(EchoLoop *echo, const float *const *in, float *const *out, size_t n) {
    const unsigned channels = echo->channels > 1 ? 2 : 1;
    float echoes[ECHO_CHANNELS][STRETCH], feedback[STRETCH], diffusion[STRETCH];
    float *const all[ECHO_CHANNELS] = {echoes[0], echoes[1]};
    glide_process(&echo->feedback, feedback, n);
    glide_process(&echo->diffusion, diffusion, n);
    for (unsigned c = 0; c < channels; c++) {
        float smeared[STRETCH];
        tap_line_read_ahead(&echo->line[c], echoes[c], n);
        diffuser_process(&echo->diffuser[c], echoes[c], smeared, n);
        for (size_t t = 0; t < n; t++)
            echoes[c][t] += diffusion[t] * (smeared[t] - echoes[c][t]);
    }
    edge_filter_process(&echo->filter, (const float *const *)all, all, n);
    for (unsigned c = 0; c < channels; c++) {
        float round[STRETCH];
        for (size_t t = 0; t < n; t++) {
            round[t] = in[c][t] + feedback[t] * clip(echoes[c][t]);
            out[c][t] = echoes[c][t];
        }
        tap_line_write(&echo->line[c], round, n);
    }
}

void echo_loop_process(EchoLoop *echo, const float *const *in, float *const *out, size_t n) {
    for (size_t i = 0; i < n;) {
        size_t m = n - i < STRETCH ? n - i : STRETCH;
        const float *const from[ECHO_CHANNELS] = {in[0] + i, in[echo->channels - 1] + i};
        float *const to[ECHO_CHANNELS] = {out[0] + i, out[echo->channels - 1] + i};
        stretch(echo, from, to, m);
        i += m;
    }
}
