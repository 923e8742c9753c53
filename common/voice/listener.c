/* SPDX-License-Identifier: ISC */
#include "voice/listener.h"

#include "basic/one_pole.h"

#include <string.h>

static const double AVERAGED_MS = 100.0;
static const float FAR_MORE = 4.0f; /* times the power: 6 dB */

void listener_prepare(Listener *listener, double rate_hz) {
    voice_sense_prepare(&listener->sense, rate_hz);
    double groups_per_second = rate_hz / (double)listener->sense.bank.group;
    listener->forget = (float)one_pole_coefficient(AVERAGED_MS, groups_per_second);
    memset(&listener->state, 0, sizeof listener->state);
}

void listener_reset(Listener *listener) {
    voice_sense_reset(&listener->sense);
    memset(&listener->state, 0, sizeof listener->state);
}

static void take(Listener *listener, const float *left, const float *right, size_t n) {
    float *mean = listener->state.mean + listener->state.filled;
    float *difference = listener->state.difference + listener->state.filled;
    for (size_t i = 0; i < n; i++) {
        mean[i] = 0.5f * (left[i] + right[i]);
        difference[i] = 0.5f * (left[i] - right[i]);
    }
}

static float power_of(const float *audio, size_t n) {
    float sum[4] = {0.0f, 0.0f, 0.0f, 0.0f}; /* four chains, since n is a multiple of 4 */
    for (size_t i = 0; i < n; i += 4)
        for (size_t k = 0; k < 4; k++)
            sum[k] += audio[i + k] * audio[i + k];
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

/* That which makes the first frame of the difference positive. */
static float sign_of(const float *difference, size_t n) {
    float sign = 1.0f;
    for (size_t i = n; i-- > 0;)
        sign = difference[i] < 0.0f ? -1.0f : difference[i] > 0.0f ? 1.0f : sign;
    return sign;
}

/* Which of the two to hear for this group. */
static const float *choose(Listener *listener) {
    size_t n = listener->sense.bank.group;
    float mean = power_of(listener->state.mean, n);
    float difference = power_of(listener->state.difference, n);
    mean = one_pole_step(listener->state.mean_power, mean, listener->forget);
    difference = one_pole_step(listener->state.difference_power, difference, listener->forget);
    listener->state.mean_power = mean;
    listener->state.difference_power = difference;
    bool apart = listener->state.sign != 0.0f;
    if (!apart && difference > FAR_MORE * mean)
        listener->state.sign = sign_of(listener->state.difference, n);
    else if (apart && difference < mean)
        listener->state.sign = 0.0f;
    if (listener->state.sign == 0.0f)
        return listener->state.mean;
    for (size_t i = 0; i < n; i++)
        listener->state.difference[i] *= listener->state.sign;
    return listener->state.difference;
}

bool listener_hear(Listener *listener, const float *const *in, unsigned channels, size_t at,
                   size_t n, VoiceFrame *frame) {
    if (channels == 1)
        memcpy(listener->state.mean + listener->state.filled, in[0] + at, n * sizeof(float));
    else
        take(listener, in[0] + at, in[1] + at, n);
    listener->state.filled += n;
    if (listener->state.filled < listener->sense.bank.group)
        return false;
    listener->state.filled = 0;
    return voice_sense_group(&listener->sense,
                             channels == 1 ? listener->state.mean : choose(listener), frame);
}
