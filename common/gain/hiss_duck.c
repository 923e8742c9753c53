/* SPDX-License-Identifier: ISC */
#include "gain/hiss_duck.h"

#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const float LEAST_SHARE = 0.35f, RAMP = 0.3f, DUCKED = 0.5012f, NOTHING = 1e-20f;
static const float NEARLY_ONE = 0.9999f; /* there one pole would never get */

void hiss_duck_prepare(HissDuck *duck, double rate_hz, size_t tick) {
    memset(duck, 0, sizeof *duck);
    duck->tick = tick;
    duck->ahead = HISS_DUCK_AHEAD_MS * 1e-3 * rate_hz;
    duck->keep = (float)one_pole_coefficient(HISS_DUCK_MS, rate_hz / (double)tick);
    svf_set(&duck->high_pass, rate_hz,
            &(SvfParams){.kind = SVF_HIGH_PASS, .frequency_hz = (float)HISS_DUCK_HZ, .q = 0.7071f});
    hiss_duck_reset(duck);
}

void hiss_duck_reset(HissDuck *duck) {
    svf_reset(&duck->high_pass);
    memset(&duck->state, 0, sizeof duck->state);
    duck->state.gain = 1.0f;
    for (size_t k = 0; k < HISS_DUCK_KEPT; k++)
        duck->state.kept[k] = 1.0f;
}

static float wanted(float share) {
    float p = (share - LEAST_SHARE) / RAMP;
    p = p < 0.0f ? 0.0f : p > 1.0f ? 1.0f : p;
    return 1.0f - (1.0f - DUCKED) * p * p * (3.0f - 2.0f * p);
}

static void end_tick(HissDuck *duck) {
    const float keep = duck->keep, weight = 1.0f / (float)duck->tick;
    duck->state.high = one_pole_step(duck->state.high, duck->state.high_now * weight, keep);
    duck->state.all = one_pole_step(duck->state.all, duck->state.now * weight, keep);
    float gain = wanted(duck->state.high / (duck->state.all + NOTHING));
    duck->state.gain = one_pole_step(duck->state.gain, gain, keep);
    if (gain == 1.0f && duck->state.gain > NEARLY_ONE)
        duck->state.gain = 1.0f;
    duck->state.kept[(size_t)duck->state.ticks % HISS_DUCK_KEPT] = duck->state.gain;
    duck->state.ticks++;
    duck->state.filled = 0;
    duck->state.high_now = duck->state.now = 0.0f;
}

void hiss_duck_hear(HissDuck *duck, const float *in, size_t n) {
    float high_now = duck->state.high_now, now = duck->state.now;
    for (size_t i = 0; i < n; i++) {
        float high = svf_step(&duck->high_pass, in[i]);
        high_now += high * high;
        now += in[i] * in[i];
    }
    duck->state.high_now = high_now;
    duck->state.now = now;
    duck->state.filled += n;
    if (duck->state.filled >= duck->tick)
        end_tick(duck);
}

/* At the end of a tick; before the first there is nothing to take down. */
static float gain_at(const HissDuck *duck, int64_t tick) {
    return tick < 0 ? 1.0f : duck->state.kept[(size_t)tick % HISS_DUCK_KEPT];
}

/* Frames of one tick, whose gains run in a straight line. */
static size_t scale_within(const HissDuck *duck, double at, int64_t first, float *audio, size_t n) {
    const double per_tick = 1.0 / (double)duck->tick;
    const double whole = floor((at + (double)first) * per_tick);
    const float from = gain_at(duck, (int64_t)whole),
                step = gain_at(duck, (int64_t)whole + 1) - from;
    double left = ceil((whole + 1.0) * (double)duck->tick - (at + (double)first));
    size_t now = left < 1.0 ? 1 : (size_t)left;
    now = now < n ? now : n;
    for (size_t i = 0; i < now && (from != 1.0f || step != 0.0f); i++) {
        double place = (at + (double)(first + (int64_t)i)) * per_tick;
        audio[i] *= from + (float)(place - whole) * step;
    }
    return now;
}

void hiss_duck_process(const HissDuck *duck, double start, int64_t first, float *audio, size_t n) {
    /* gains are those at the ends of ticks */
    const double at = start + duck->ahead - (double)duck->tick;
    for (size_t done = 0; done < n;)
        done += scale_within(duck, at, first + (int64_t)done, audio + done, n - done);
}
