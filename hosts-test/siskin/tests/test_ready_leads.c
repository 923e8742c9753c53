/* SPDX-License-Identifier: ISC */
/* The ready leads: what comes out is done but for its ambience. Takes are those of test singers
 * close to a microphone, with hum, hiss, rumble, breaths, clicks and hot sibilants; figures are
 * read by `siskin measure`, whose own suites hold it to standards and to the truth. */
#include "singer.h"
#include "siskin/tests/run_siskin.h"

enum { RATE = 48000 };

typedef struct {
    double lufs, range, peak, noise, breath, sibilant;
} Figures;

static void sing(SingerVoice kind, uint64_t seed) {
    SingerTake take;
    SingerParams params = singer_params(kind, RATE, seed);
    params.phrases = 6;
    params.breath_share = 1.0;
    params.room_db = params.level_db - 40.0;
    params.hum_db = params.level_db - 40.0;
    params.rumble_db = params.level_db - 20.0;
    params.level_spread_db = 4.0;
    ck_assert(singer_take(&params, &take));
    Sound sound = make_sound(1, (sf_count_t)take.n, RATE);
    singer_mix(&take, ~0u, sound.audio);
    write_wav("take.wav", &sound);
    singer_free(&take);
    free(sound.audio);
}

/* The value of a column of the one row of CSV. */
static double column(const char *name) {
    const char *head = ran.out, *row = strchr(ran.out, '\n');
    ck_assert_ptr_nonnull(row);
    size_t length = strlen(name);
    while (strncmp(head, name, length) != 0 || (head[length] != ',' && head[length] != '\n')) {
        head += strcspn(head, ",\n");
        ck_assert_msg(*head == ',', "no column %s", name);
        head++;
        row = row + 1 + strcspn(row + 1, ",");
    }
    char *end = NULL;
    double value = strtod(row + 1, &end);
    return end > row + 1 ? value : (double)NAN; /* empty: not known */
}

static Figures measure(const char *path) {
    ck_assert_int_eq(run("measure --quiet --csv %s", path), 0);
    return (Figures){column("integrated_lufs"),       column("range_lu"),
                     column("true_peak_dbtp"),        column("noise_dbfs"),
                     column("breath_under_voice_db"), column("sibilant_ratio_db")};
}

/* Compression brings up the mildest sibilants, but no further than ordinary ones stand over the
 * vowels as this reads them (advise/figures.h, after Jongman 2000). */
#define ORDINARY_DB (-7.0)

/* True peaks within the 0.05 dB that peak-ceiling promises, and the 0.22 dB that the standard's
 * filter may read too much (true_peak.h). */
START_TEST(a_ready_lead_is_dense_quiet_between_words_and_peak_safe) {
    static const char *const chains[] = {"lead-gently", "lead-hard"};
    bundles = "lv2";
    for (uint64_t seed = 901; seed <= 904; seed++) {
        sing(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed);
        Figures before = measure("take.wav");
        for (size_t i = 0; i < 2; i++) {
            ck_assert_int_eq(run("render --chain %s take.wav out.wav", chains[i]), 0);
            Figures after = measure("out.wav");
            printf(
                "%s, %d: %.1f -> %.1f LUFS, range %.1f -> %.1f LU, peak %.1f -> %.1f dBTP, noise "
                "%.1f -> %.1f dBFS, breaths %.1f -> %.1f, sibilants %.1f -> %.1f dB\n",
                chains[i], (int)seed, before.lufs, after.lufs, before.range, after.range,
                before.peak, after.peak, before.noise, after.noise, before.breath, after.breath,
                before.sibilant, after.sibilant);
            fflush(stdout);
            ck_assert(after.peak <= -1.0 + 0.27);
            ck_assert(after.range < before.range);
            ck_assert(after.lufs - after.noise >= before.lufs - before.noise + 6.0);
            ck_assert(isnan(after.breath) || after.breath >= before.breath + 3.0);
            ck_assert(isnan(after.sibilant) ||
                      after.sibilant <= fmax(before.sibilant + 2.0, ORDINARY_DB));
        }
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("ready leads");
    tcase_add_test(tcase, a_ready_lead_is_dense_quiet_between_words_and_peak_safe);
    return run_suite(tcase, "siskin ready leads");
}
