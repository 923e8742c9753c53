/* SPDX-License-Identifier: ISC */
#include "filter/tone_cancel.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"
#include "basic/turns.h"

#include <string.h>

static const double OFF_MS = 30.0, HIGHEST = 0.45;
static const float NOTHING = 1e-9f;    /* -180 dBFS */
static const float LEAST_GAIN = 0.89f; /* of a call of limit: -1 dB */

void tone_cancel_prepare(ToneCancel *cancel, double rate_hz, unsigned channels) {
    memset(cancel, 0, sizeof *cancel);
    cancel->rate_hz = rate_hz;
    cancel->channels = channels;
    cancel->keep = (float)one_pole_coefficient(OFF_MS, rate_hz);
    tone_cancel_set(cancel, 0.0f);
    tone_cancel_aim(cancel, 50.0);
    tone_cancel_reset(cancel);
}

void tone_cancel_reset(ToneCancel *cancel) {
    memset(&cancel->state, 0, sizeof cancel->state);
    cancel->state.idle = true;
    for (int g = 0; g < TONE_CANCEL_GROUPS; g++)
        cancel->state.re[g] = simd_all(1.0f);
}

void tone_cancel_set(ToneCancel *cancel, float depth_db) {
    cancel->share = (float)(1.0 - decibel_to_gain(-(double)depth_db));
}

void tone_cancel_aim(ToneCancel *cancel, double base_hz) {
    cancel->base_hz = base_hz;
    for (int k = 0; k < TONE_CANCEL_TONES; k++) {
        Turned turn = turned_by((double)(k + 1) * base_hz / cancel->rate_hz);
        cancel->turn_re[k / SIMD_WIDTH][k % SIMD_WIDTH] = (float)turn.re;
        cancel->turn_im[k / SIMD_WIDTH][k % SIMD_WIDTH] = (float)turn.im;
    }
}

/* Weights of tones that are off, once they are next to nothing, become nothing. True: some is
 * left. */
static bool clear(ToneCancel *cancel, int k) {
    bool left = false;
    for (unsigned c = 0; c < cancel->channels; c++) {
        float *re = (float *)&cancel->state.weight.re[c][k / SIMD_WIDTH] + k % SIMD_WIDTH;
        float *im = (float *)&cancel->state.weight.im[c][k / SIMD_WIDTH] + k % SIMD_WIDTH;
        if (*re * *re + *im * *im < NOTHING * NOTHING)
            *re = *im = 0.0f;
        left |= *re != 0.0f || *im != 0.0f;
    }
    return left;
}

/* What is left of the weight of a tone that is on after a frame. */
static float held(float share, float step) {
    float left = 1.0f - 0.5f * step * (1.0f - share) / share;
    return left > 0.0f ? left : 0.0f;
}

void tone_cancel_adapt(ToneCancel *cancel, const float share[TONE_CANCEL_TONES], double tau_ms) {
    float step = (float)(2.0 * 1000.0 / (tau_ms * cancel->rate_hz));
    bool busy = false;
    for (int k = 0; k < TONE_CANCEL_TONES; k++) {
        int g = k / SIMD_WIDTH, lane = k % SIMD_WIDTH;
        bool is_on =
            share[k] > 0.0f && (double)(k + 1) * cancel->base_hz < HIGHEST * cancel->rate_hz;
        cancel->state.on[g][lane] = is_on ? step : 0.0f;
        cancel->state.hold[g][lane] = is_on ? held(share[k], step) : cancel->keep;
        busy |= is_on || clear(cancel, k);
        float re = cancel->state.re[g][lane], im = cancel->state.im[g][lane];
        float length = 1.0f / sqrtf(re * re + im * im);
        cancel->state.re[g][lane] = re * length;
        cancel->state.im[g][lane] = im * length;
    }
    cancel->state.idle = !busy;
}

/* The square of the weight of tone k in the middle of the channels. */
static float middle_square(const ToneCancel *cancel, int g, int lane) {
    float re = 0.0f, im = 0.0f;
    for (unsigned c = 0; c < cancel->channels; c++) {
        re += cancel->state.weight.re[c][g][lane];
        im += cancel->state.weight.im[c][g][lane];
    }
    return (re * re + im * im) / (float)(cancel->channels * cancel->channels);
}

void tone_cancel_limit(ToneCancel *cancel, const float most[TONE_CANCEL_TONES]) {
    for (int k = 0; k < TONE_CANCEL_TONES; k++) {
        int g = k / SIMD_WIDTH, lane = k % SIMD_WIDTH;
        float square = middle_square(cancel, g, lane);
        if (square <= 2.0f * most[k])
            continue;
        float gain = sqrtf(2.0f * most[k] / square);
        gain = gain > LEAST_GAIN ? gain : LEAST_GAIN;
        for (unsigned c = 0; c < cancel->channels; c++) {
            cancel->state.weight.re[c][g][lane] *= gain;
            cancel->state.weight.im[c][g][lane] *= gain;
        }
    }
}

static inline float sum_of(Simd x) {
    return (x[0] + x[1]) + (x[2] + x[3]);
}

/* One frame of one channel: the tones in it as known, which are then known better. */
static inline float tones_of(ToneCancel *t, unsigned c, float x) {
    Simd *re = t->state.weight.re[c], *im = t->state.weight.im[c], sum = simd_all(0.0f);
    for (int g = 0; g < TONE_CANCEL_GROUPS; g++)
        sum += re[g] * t->state.re[g] - im[g] * t->state.im[g];
    float y = sum_of(sum), e = x - y;
    for (int g = 0; g < TONE_CANCEL_GROUPS; g++) {
        Simd step = e * t->state.on[g];
        re[g] = re[g] * t->state.hold[g] + step * t->state.re[g];
        im[g] = im[g] * t->state.hold[g] - step * t->state.im[g];
    }
    return y;
}

static inline void turn(ToneCancel *t) {
    for (int g = 0; g < TONE_CANCEL_GROUPS; g++) {
        Simd re = t->state.re[g], im = t->state.im[g];
        t->state.re[g] = re * t->turn_re[g] - im * t->turn_im[g];
        t->state.im[g] = re * t->turn_im[g] + im * t->turn_re[g];
    }
}

void tone_cancel_process(ToneCancel *cancel, const float *const *in, float *const *out, size_t n) {
    if (cancel->state.idle) {
        for (unsigned c = 0; c < cancel->channels; c++)
            memmove(out[c], in[c], n * sizeof(float));
        return;
    }
    for (size_t i = 0; i < n; i++) {
        turn(cancel);
        for (unsigned c = 0; c < cancel->channels; c++)
            out[c][i] = in[c][i] - cancel->share * tones_of(cancel, c, in[c][i]);
    }
}

void tone_cancel_keep(ToneCancel *cancel) {
    cancel->state.before[cancel->state.kept] = cancel->state.weight;
    cancel->state.kept = (cancel->state.kept + 1) % TONE_CANCEL_KEPT;
}

/* Of all tones in all channels: *weight goes `share` of the way to *aim. */
static void approach(ToneWeights *weight, const ToneWeights *aim, float share) {
    for (int c = 0; c < TONE_CANCEL_CHANNELS; c++)
        for (int g = 0; g < TONE_CANCEL_GROUPS; g++) {
            weight->re[c][g] += share * (aim->re[c][g] - weight->re[c][g]);
            weight->im[c][g] += share * (aim->im[c][g] - weight->im[c][g]);
        }
}

void tone_cancel_recall(ToneCancel *cancel, float share) {
    const ToneWeights then = cancel->state.before[cancel->state.kept];
    approach(&cancel->state.weight, &then, share);
    for (int i = 0; i < TONE_CANCEL_KEPT; i++)
        approach(&cancel->state.before[i], &then, share);
}

float tone_cancel_power(const ToneCancel *cancel) {
    float sum = 0.0f;
    for (unsigned c = 0; c < cancel->channels; c++)
        for (int g = 0; g < TONE_CANCEL_GROUPS; g++) {
            Simd re = cancel->state.weight.re[c][g], im = cancel->state.weight.im[c][g];
            sum += sum_of(re * re + im * im);
        }
    return 0.5f * sum / (float)cancel->channels;
}
