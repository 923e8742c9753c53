/* SPDX-License-Identifier: ISC */
#include "siskin/edit/envelope.h"

#include "filter/k_weight.h"
#include "filter/svf.h"
#include "measure/loudness.h"
#include "measure/true_peak.h"
#include "siskin/render/audio.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double HOP_S = 0.005;
static const double VOICE_LOW_HZ = 500.0, VOICE_HIGH_HZ = 3000.0;

typedef struct {
    AudioReader *reader;
    KWeight weight[AUDIO_CHANNELS];
    Svf low[AUDIO_CHANNELS][2], high[AUDIO_CHANNELS];
    TruePeak peak;
} Listening;

static double voice_power(Listening *l, unsigned channel, const float *audio, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        float x = svf_step(&l->low[channel][1], svf_step(&l->low[channel][0], audio[i]));
        float y = svf_step(&l->high[channel], x);
        sum += (double)y * (double)y;
    }
    return sum / (double)n;
}

/* One hop: n frames, of which the last ones may be silence behind the end. */
static void take_hop(Listening *l, Envelope *envelope, float *const audio[AUDIO_CHANNELS],
                     size_t n) {
    const float *in[AUDIO_CHANNELS] = {audio[0], audio[1]};
    double sum = 0.0;
    true_peak_process(&l->peak, in, n);
    envelope->peak[envelope->n] = true_peak_true(&l->peak);
    /* The interpolator goes on; only its largest value begins anew. */
    memset(l->peak.state.sample, 0, sizeof l->peak.state.sample);
    memset(l->peak.state.between, 0, sizeof l->peak.state.between);
    double voice = 0.0;
    for (unsigned c = 0; c < AUDIO_CHANNELS && c < l->reader->channels; c++) {
        voice += voice_power(l, c, audio[c], n);
        k_weight_process(&l->weight[c], audio[c], audio[c], n);
        for (size_t i = 0; i < n; i++)
            sum += (double)audio[c][i] * (double)audio[c][i];
    }
    envelope->voice[envelope->n] = (float)voice;
    envelope->power[envelope->n++] = (float)(sum / (double)n);
}

static void prepare_channel(Listening *l, unsigned channel) {
    /* Butterworth, fourth order: what is cut below the voice must not show here. */
    static const float q[] = {0.54119610f, 1.30656296f};
    const SvfParams high = {
        .kind = SVF_LOW_PASS, .frequency_hz = (float)VOICE_HIGH_HZ, .q = (float)M_SQRT1_2};
    k_weight_prepare(&l->weight[channel], l->reader->rate_hz);
    for (size_t i = 0; i < 2; i++) {
        const SvfParams low = {
            .kind = SVF_HIGH_PASS, .frequency_hz = (float)VOICE_LOW_HZ, .q = q[i]};
        svf_set(&l->low[channel][i], l->reader->rate_hz, &low);
    }
    svf_set(&l->high[channel], l->reader->rate_hz, &high);
}

static bool listen(Listening *l, Envelope *envelope, HostError *error) {
    static float left[AUDIO_BLOCK], right[AUDIO_BLOCK];
    float *const audio[AUDIO_CHANNELS] = {left, right};
    const AudioReader *reader = l->reader;
    size_t hop = (size_t)lround(HOP_S * reader->rate_hz);
    size_t hops = (size_t)((reader->frames + hop - 1) / hop);
    envelope->hop_s = (double)hop / reader->rate_hz;
    envelope->length_s = (double)reader->frames / reader->rate_hz;
    envelope->power = text_take(hops + 1, sizeof *envelope->power);
    envelope->peak = text_take(hops + 1, sizeof *envelope->peak);
    envelope->voice = text_take(hops + 1, sizeof *envelope->voice);
    true_peak_prepare(&l->peak, reader->channels);
    for (unsigned c = 0; c < reader->channels; c++)
        prepare_channel(l, c);
    while (envelope->n < hops) {
        if (!audio_read(l->reader, audio, hop, error))
            return false;
        take_hop(l, envelope, audio, hop);
    }
    return true;
}

bool envelope_read(Envelope *envelope, const char *path, HostError *error) {
    AudioReader reader;
    *envelope = (Envelope){0};
    if (!audio_open(&reader, path, error))
        return false;
    Listening listening = {.reader = &reader};
    bool fine = listen(&listening, envelope, error);
    audio_close(&reader);
    if (!fine)
        envelope_free(envelope);
    return fine;
}

void envelope_free(Envelope *envelope) {
    free(envelope->power);
    free(envelope->peak);
    free(envelope->voice);
    *envelope = (Envelope){0};
}

double envelope_lufs(const Envelope *envelope, size_t first, size_t last) {
    double sum = 0.0;
    for (size_t i = first; i < last && i < envelope->n; i++)
        sum += (double)envelope->power[i];
    return last > first ? loudness_from_power(sum / (double)(last - first)) : -INFINITY;
}

double envelope_peak_db(const Envelope *envelope, size_t first, size_t last) {
    double peak = 0.0;
    for (size_t i = first; i < last && i < envelope->n; i++)
        peak = fmax(peak, (double)envelope->peak[i]);
    return text_db(peak);
}

size_t envelope_hop(const Envelope *envelope, double at_s) {
    double at = at_s / envelope->hop_s;
    return at <= 0.0 ? 0 : at >= (double)envelope->n ? envelope->n : (size_t)at;
}
