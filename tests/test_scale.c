/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "voice/scale.h"

#include <check.h>
#include <math.h>

/* By their keys' signatures: C major and its relative and parallel modes on the white keys. */
START_TEST(the_white_keys_are_c_major_and_its_modes) {
    static const int white[12] = {1, 0, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1};
    static const Scale same[] = {
        {0, SCALE_MAJOR}, {9, SCALE_NATURAL_MINOR}, {2, SCALE_DORIAN}, {7, SCALE_MIXOLYDIAN}};
    for (int i = 0; i < 4; i++)
        for (int note = 0; note < 128; note++)
            ck_assert_int_eq(scale_has(&same[i], note), white[note % 12]);
}
END_TEST

START_TEST(the_other_scales_have_their_steps) {
    /* A harmonic minor has G sharp for G, the melodic one F sharp besides; pentatonics leave out
     * two. */
    const Scale harmonic = {9, SCALE_HARMONIC_MINOR}, melodic = {9, SCALE_MELODIC_MINOR};
    const Scale major = {0, SCALE_MAJOR_PENTATONIC}, minor = {9, SCALE_MINOR_PENTATONIC};
    ck_assert(scale_has(&harmonic, 68) && !scale_has(&harmonic, 67) && scale_has(&harmonic, 65));
    ck_assert(scale_has(&melodic, 68) && scale_has(&melodic, 66) && !scale_has(&melodic, 65));
    for (int note = 0; note < 128; note++)
        ck_assert(scale_has(&major, note) == scale_has(&minor, note));
    ck_assert(!scale_has(&major, 65) && !scale_has(&major, 71) && scale_has(&major, 69));
}
END_TEST

/* Whether no note of the scale is nearer. */
static bool is_nearest(const Scale *scale, int found, float note) {
    for (int other = 20; other < 100; other++)
        if (scale_has(scale, other) && fabsf((float)other - note) < fabsf((float)found - note))
            return false;
    return scale_has(scale, found);
}

START_TEST(the_nearest_note_is_the_nearest) {
    for (int kind = 0; kind < SCALES; kind++)
        for (int key = 0; key < 12; key++)
            for (int tenth = 300; tenth < 900; tenth++) {
                const Scale scale = {key, (ScaleKind)kind};
                float note = 0.1f * (float)tenth;
                if (!is_nearest(&scale, scale_nearest(&scale, note), note))
                    ck_abort_msg("scale %d in %d: not the nearest to %g", kind, key, (double)note);
            }
}
END_TEST

START_TEST(steps_go_by_degrees) {
    const Scale scale = {0, SCALE_MAJOR};
    ck_assert_int_eq(scale_step(&scale, 60, 2), 64);  /* a third over C: E */
    ck_assert_int_eq(scale_step(&scale, 62, 2), 65);  /* over D: F */
    ck_assert_int_eq(scale_step(&scale, 71, 1), 72);  /* B to C */
    ck_assert_int_eq(scale_step(&scale, 60, -3), 55); /* a fourth under C: G */
    ck_assert_int_eq(scale_step(&scale, 60, 7), 72);  /* an octave */
    ck_assert_int_eq(scale_step(&scale, 60, -14), 36);
    ck_assert_int_eq(scale_step(&scale, 64, 0), 64);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("scale");
    tcase_add_test(tcase, the_white_keys_are_c_major_and_its_modes);
    tcase_add_test(tcase, the_other_scales_have_their_steps);
    tcase_add_test(tcase, the_nearest_note_is_the_nearest);
    tcase_add_test(tcase, steps_go_by_degrees);
    return run_tcase(tcase, "scale");
}
