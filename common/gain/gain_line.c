/* SPDX-License-Identifier: ISC */
#include "gain/gain_line.h"

void gain_line_prepare(GainLine *line, size_t hop_frames) {
    line->hop = hop_frames;
    gain_line_reset(line);
}

void gain_line_reset(GainLine *line) {
    line->state.from = line->state.to = 1.0f;
    line->state.slope = 0.0f;
    line->state.at = 0;
}

void gain_line_next(GainLine *line, float gain) {
    line->state.from = line->state.to;
    line->state.to = gain;
    line->state.slope = (gain - line->state.from) / (float)line->hop;
    line->state.at = 0;
}

void gain_line_apply(GainLine *line, const float *const *in, float *const *out, unsigned channels,
                     size_t at, size_t n) {
    float from = line->state.from, slope = line->state.slope;
    int first = (int)line->state.at;
    for (unsigned c = 0; c < channels; c++) {
        const float *x = in[c] + at;
        float *y = out[c] + at;
        for (size_t i = 0; i < n; i++)
            y[i] = x[i] * (from + slope * (float)(first + (int)i));
    }
    line->state.at += n;
}
