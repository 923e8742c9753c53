/* SPDX-License-Identifier: ISC */
#include "voice/voice_sense.h"

#include <math.h>
#include <string.h>

static const double HOP_S = 0.00533;
static const float SILENCE = 3e-8f; /* -150 dB */
static const float WEIGHT[VOICE_SENSE_SMOOTHED] = {1.0f / 12.0f, 3.0f / 12.0f, 4.0f / 12.0f,
                                                   3.0f / 12.0f, 1.0f / 12.0f};

void voice_sense_prepare(VoiceSense *sense, double rate_hz) {
    octave_bank_prepare(&sense->bank, rate_hz);
    sense->groups = (size_t)lround(HOP_S * rate_hz / (double)sense->bank.group);
    sense->hop = sense->groups * sense->bank.group;
    periodicity_prepare(&sense->periodicity, sense->bank.low_rate_hz,
                        sense->groups * sense->bank.low_frames);
    memset(&sense->state, 0, sizeof sense->state);
}

void voice_sense_reset(VoiceSense *sense) {
    octave_bank_reset(&sense->bank);
    periodicity_reset(&sense->periodicity);
    memset(&sense->state, 0, sizeof sense->state);
}

/* Told by the audio itself, since the bands go on ringing after it. */
static bool sounds(const float *in, size_t n) {
    float peak = 0.0f;
    for (size_t i = 0; i < n; i++)
        peak = fabsf(in[i]) > peak ? fabsf(in[i]) : peak;
    return peak > SILENCE;
}

static void finish_hop(VoiceSense *sense, VoiceFrame *frame) {
    memset(frame, 0, sizeof *frame);
    for (size_t k = 0; k < VOICE_SENSE_SMOOTHED; k++) { /* oldest first; the weights are even */
        size_t slot = (sense->state.slot + 1 + k) % VOICE_SENSE_SMOOTHED;
        float weight = WEIGHT[k] / (float)sense->groups;
        for (size_t b = 0; b < OCTAVE_BANK_BANDS; b++)
            frame->power[b] += weight * sense->state.power[slot][b];
    }
    frame->whole = sense->state.sounding >= VOICE_SENSE_WHOLE * sense->groups;
    frame->periodicity = periodicity_finish(&sense->periodicity);
    sense->state.slot = (sense->state.slot + 1) % VOICE_SENSE_SMOOTHED;
    memset(sense->state.power[sense->state.slot], 0, sizeof sense->state.power[0]);
    sense->state.group = 0;
}

bool voice_sense_group(VoiceSense *sense, const float *in, VoiceFrame *frame) {
    float power[OCTAVE_BANK_BANDS], low[OCTAVE_BANK_MAX_LOW];
    octave_bank_group(&sense->bank, in, power, low);
    for (size_t b = 0; b < OCTAVE_BANK_BANDS; b++)
        sense->state.power[sense->state.slot][b] += power[b];
    sense->state.sounding = sounds(in, sense->bank.group) ? sense->state.sounding + 1 : 0;
    periodicity_add(&sense->periodicity, low, sense->bank.low_frames);
    if (++sense->state.group < sense->groups)
        return false;
    finish_hop(sense, frame);
    return true;
}
