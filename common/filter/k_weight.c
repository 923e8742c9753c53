/* SPDX-License-Identifier: ISC */
#include "filter/k_weight.h"

#include "basic/maths.h"
#include "basic/simd.h"

#include <math.h>
#include <string.h>

void k_weight_prepare(KWeight *weight, double rate_hz) {
    double k = tan(PI * 1681.974450955533 / rate_hz);
    double kq = k / 0.7071752369554196;
    double vh = pow(10.0, 3.999843853973347 / 20.0);
    double vb = pow(vh, 0.4996667741545416);
    double a0 = 1.0 + kq + k * k;
    weight->shelf_b0 = (vh + vb * kq + k * k) / a0;
    weight->shelf_b1 = 2.0 * (k * k - vh) / a0;
    weight->shelf_b2 = (vh - vb * kq + k * k) / a0;
    weight->shelf_a1 = 2.0 * (k * k - 1.0) / a0;
    weight->shelf_a2 = (1.0 - kq + k * k) / a0;

    k = tan(PI * 38.13547087602444 / rate_hz);
    kq = k / 0.5003270373238773;
    a0 = 1.0 + kq + k * k;
    weight->pass_a1 = 2.0 * (k * k - 1.0) / a0;
    weight->pass_a2 = (1.0 - kq + k * k) / a0;
    k_weight_reset(weight);
}

void k_weight_reset(KWeight *weight) {
    memset(&weight->state, 0, sizeof weight->state);
}

void k_weight_process(KWeight *weight, const float *in, float *out, size_t n) {
    KWeight w = *weight; /* a local copy lets the compiler keep everything in registers */
    for (size_t i = 0; i < n; i++) {
        double x = (double)in[i];
        double y = w.shelf_b0 * x + w.state.shelf1;
        w.state.shelf1 = w.shelf_b1 * x - w.shelf_a1 * y + w.state.shelf2;
        w.state.shelf2 = w.shelf_b2 * x - w.shelf_a2 * y;
        double z = y + w.state.pass1;
        w.state.pass1 = -2.0 * y - w.pass_a1 * z + w.state.pass2;
        w.state.pass2 = y - w.pass_a2 * z;
        out[i] = (float)z;
    }
    weight->state = w.state;
}

/* k_weight_process with a channel in each lane; both were designed alike. */
void k_weight_process_two(KWeight weight[2], const float *const *in, float *const *out, size_t n) {
    const KWeight w = weight[0];
    SimdDouble shelf1 = {w.state.shelf1, weight[1].state.shelf1},
               shelf2 = {w.state.shelf2, weight[1].state.shelf2},
               pass1 = {w.state.pass1, weight[1].state.pass1},
               pass2 = {w.state.pass2, weight[1].state.pass2};
    for (size_t i = 0; i < n; i++) {
        SimdDouble x = {(double)in[0][i], (double)in[1][i]};
        SimdDouble y = w.shelf_b0 * x + shelf1;
        shelf1 = w.shelf_b1 * x - w.shelf_a1 * y + shelf2;
        shelf2 = w.shelf_b2 * x - w.shelf_a2 * y;
        SimdDouble z = y + pass1;
        pass1 = -2.0 * y - w.pass_a1 * z + pass2;
        pass2 = y - w.pass_a2 * z;
        out[0][i] = (float)z[0];
        out[1][i] = (float)z[1];
    }
    for (int c = 0; c < 2; c++) {
        weight[c].state.shelf1 = shelf1[c];
        weight[c].state.shelf2 = shelf2[c];
        weight[c].state.pass1 = pass1[c];
        weight[c].state.pass2 = pass2[c];
    }
}
