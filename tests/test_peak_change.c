/* SPDX-License-Identifier: ISC */
#include "gain/peak_change.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { LENGTH = 48000, BLOCK = 64 };
static float in[2][LENGTH], out[2][LENGTH];

static double last_reading(PeakChange *change, size_t n) {
    double reading = 0.0;
    for (size_t at = 0; at < n; at += BLOCK) {
        const float *const i[2] = {in[0] + at, in[1] + at}, *const o[2] = {out[0] + at,
                                                                           out[1] + at};
        PeakMoved moved = peak_change_process(change, i, o, BLOCK);
        ck_assert(moved.up_db >= 0.0f && moved.down_db >= 0.0f);
        reading = moved.up_db > moved.down_db ? (double)moved.up_db : -(double)moved.down_db;
    }
    return reading;
}

START_TEST(a_gain_is_read_as_that_gain) {
    PeakChange change;
    peak_change_prepare(&change, 48000.0, 2);
    signals_sine(in[0], LENGTH, 48000.0, 300.0, 0.5, 0.0);
    memset(in[1], 0, sizeof in[1]);
    memset(out[1], 0, sizeof out[1]);
    for (double db = -24.0; db <= 12.0; db += 6.0) {
        memcpy(out[0], in[0], sizeof out[0]);
        signals_scale(out[0], LENGTH, pow(10.0, db / 20.0));
        peak_change_reset(&change);
        /* the floor of -100 dBFS is 1e-5 of what is read, 4e-4 of the quietest */
        ck_assert_double_eq_tol(last_reading(&change, LENGTH), db, 0.01);
    }
}
END_TEST

START_TEST(silence_reads_0_and_what_has_passed_is_forgotten) {
    PeakChange change;
    peak_change_prepare(&change, 48000.0, 2);
    memset(in, 0, sizeof in);
    memset(out, 0, sizeof out);
    ck_assert_double_eq_tol(last_reading(&change, LENGTH), 0.0, 1e-6);
    in[0][0] = 1.0f;
    out[0][0] = 0.25f;
    ck_assert_double_eq_tol(last_reading(&change, PEAK_CHANGE_STRETCH), -12.04, 0.01);
    in[0][0] = out[0][0] = 0.0f;
    last_reading(&change, LENGTH);
    /* 2 s are 20 time constants: 2e-9, far under the floor */
    ck_assert_double_eq_tol(last_reading(&change, LENGTH), 0.0, 0.01);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("peak_change");
    tcase_add_test(tcase, a_gain_is_read_as_that_gain);
    tcase_add_test(tcase, silence_reads_0_and_what_has_passed_is_forgotten);
    return run_tcase(tcase, "peak_change");
}
