/* SPDX-License-Identifier: ISC */
#include "siskin/render/matrix.h"

#include "siskin/chains/chain.h"

#include <math.h>

float matrix_linear(double db) {
    return (float)pow(10.0, db / 20.0);
}

GraphMatrix matrix_convert(unsigned from, unsigned to, float gain) {
    GraphMatrix matrix = {{{0.0f}}};
    if (from == 1) {
        matrix.gain[0][0] = gain;
        matrix.gain[1][0] = to == 2 ? gain : 0.0f;
    } else if (to == 1) {
        matrix.gain[0][0] = matrix.gain[0][1] = 0.5f * gain;
    } else {
        matrix.gain[0][0] = matrix.gain[1][1] = gain;
    }
    return matrix;
}

GraphMatrix matrix_panned(unsigned from, unsigned to, float gain, double pan) {
    if (to == 1)
        return matrix_convert(from, to, gain);
    GraphMatrix matrix = {{{0.0f}}};
    double at = pan / CHAIN_MAX_PAN;
    if (from == 1) {
        matrix.gain[0][0] = gain * (float)sin((1.0 - at) * M_PI_4);
        matrix.gain[1][0] = gain * (float)sin((1.0 + at) * M_PI_4);
    } else {
        matrix.gain[0][0] = gain * (at > 0.0 ? (float)sin((1.0 - at) * M_PI_2) : 1.0f);
        matrix.gain[1][1] = gain * (at < 0.0 ? (float)sin((1.0 + at) * M_PI_2) : 1.0f);
    }
    return matrix;
}
