/* SPDX-License-Identifier: ISC */
/* The notes of the test singer, from audio to notes. */
#include "run_tcase.h"
#include "sung_notes.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

/* Seeds that the finder was not tuned on. */
START_TEST(sung_notes_are_found) {
    static SungNote truth[500];
    size_t all = 0, found = 0, right = 0, pitched = 0;
    for (uint64_t seed = 61; seed <= 64; seed++) {
        SingerTake take;
        SingerParams p = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 44100.0, seed);
        p.phrases = 5;
        ck_assert(singer_take(&p, &take));
        size_t n, n_truth = sung_notes_truth(&take, truth, 500);
        SungNote *notes = sung_notes_found(take.mix, take.n, take.rate_hz, &n);
        for (size_t t = 0; t < n_truth; t++) {
            bool any = false, any_pitch = false;
            for (size_t i = 0; i < n; i++) {
                any = any || sung_notes_right(&notes[i], &truth[t]);
                any_pitch = any_pitch || sung_notes_pitch(&notes[i], &truth[t]);
            }
            right += any;
            pitched += any_pitch;
        }
        all += n_truth;
        found += n;
        free(notes);
        singer_free(&take);
    }
    printf("%zu notes sung, %zu found: %.0f %% right, pitch of %.0f %%\n", all, found,
           100.0 * (double)right / (double)all, 100.0 * (double)pitched / (double)all);
    ck_assert_uint_ge(100 * right, 80 * all);
    ck_assert_uint_ge(100 * pitched, 93 * all);
    ck_assert_uint_le(100 * found, 115 * all);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("notes_sung");
    tcase_add_test(tcase, sung_notes_are_found);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "notes_sung");
}
