/* SPDX-License-Identifier: ISC */
/* siskin match: the colour of a reference found, and nothing where there is nothing. Colours are
 * laid into takes of the test singer by the very processor that is set, so that the truth is its
 * setting. */
#include "singer.h"
#include "siskin/tests/run_siskin.h"

enum { RATE = 44100 };

static void sing(const char *path, SingerVoice kind, uint64_t seed, double room_db) {
    SingerTake take;
    SingerParams params = singer_params(kind, RATE, seed);
    params.phrases = 4;
    params.room_db = room_db;
    ck_assert(singer_take(&params, &take));
    Sound sound = make_sound(1, (sf_count_t)take.n, RATE);
    singer_mix(&take, ~0u, sound.audio);
    write_wav(path, &sound);
    singer_free(&take);
    free(sound.audio);
}

static void setup(void) {
    bundles = "lv2";
}

static void check_match(const char *line) {
    ck_assert_msg(run("%s", line) == 0, "%s: %s", line, ran.err);
    write_text("match.chain", ran.out);
}

/* The value behind a word of what was printed; `other` where it is not there. */
static double printed(const char *word, double other) {
    const char *at = strstr(ran.out, word);
    return at ? strtod(at + strlen(word), NULL) : other;
}

/* "worst level off by   3.1       0.2" */
static double worst_after(void) {
    char *end = NULL;
    const char *at = strstr(ran.out, "worst level off by");
    ck_assert_ptr_nonnull(at);
    strtod(at + strlen("worst level off by"), &end);
    return strtod(end, NULL);
}

START_TEST(a_take_is_its_own_reference) {
    setup();
    sing("take.wav", SINGER_WOMAN, 701, -60.0);
    check_match("match take.wav --to take.wav");
    ck_assert_ptr_nonnull(strstr(ran.out, "nothing is to be done"));
    ck_assert_ptr_null(strstr(ran.out, "band-colour"));
    Sound take = read_sound("take.wav");
    ck_assert_ran("render --chain match.chain take.wav out.wav");
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

/* Louder by 9 dB, silence ahead, and a noisier room: none of it is colour. */
START_TEST(loudness_room_and_silence_are_no_colour) {
    setup();
    sing("take.wav", SINGER_MAN, 702, -80.0);
    sing("noisy.wav", SINGER_MAN, 702, -62.0);
    Sound noisy = read_sound("noisy.wav");
    Sound moved = make_sound(1, noisy.info.frames + 100000, RATE);
    for (sf_count_t i = 0; i < noisy.info.frames; i++)
        moved.audio[100000 + i] = 2.8f * noisy.audio[i];
    write_wav("moved.wav", &moved);
    check_match("match take.wav --to moved.wav");
    ck_assert_msg(strstr(ran.out, "nothing is to be done") != NULL, "%s", ran.out);
    free(noisy.audio), free(moved.audio);
}
END_TEST

/* At equal loudness only the differences between bands can be told. */
START_TEST(levels_that_were_laid_in_are_found) {
    const struct {
        SingerVoice kind;
        double db[4];
    } laid[] = {{SINGER_WOMAN, {3.0, 0.0, -4.0, 2.0}}, {SINGER_MAN, {-4.0, 1.0, 3.0, -5.0}}};
    setup();
    for (size_t i = 0; i < 2; i++) {
        char line[256];
        double found[4];
        sing("take.wav", laid[i].kind, 703 + i, -70.0);
        /* Where the split lies for these notes. */
        check_match("match take.wav --to take.wav");
        const char *below = strstr(ran.out, "below ");
        ck_assert_ptr_nonnull(below);
        snprintf(line, sizeof line,
                 "render take.wav other.wav band-colour split_1=%.0f level_1=%g level_2=%g "
                 "level_3=%g level_4=%g",
                 strtod(below + 6, NULL), laid[i].db[0], laid[i].db[1], laid[i].db[2],
                 laid[i].db[3]);
        ck_assert_ran(line);
        check_match("match take.wav --to other.wav");
        found[0] = printed("level_1=", 0.0);
        found[1] = printed("level_2=", 0.0);
        found[2] = printed("level_3=", 0.0);
        found[3] = printed("level_4=", 0.0);
        for (int b = 0; b < 4; b++) {
            double off = found[b] - found[1] - (laid[i].db[b] - laid[i].db[1]);
            ck_assert_msg(fabs(off) <= 0.5, "band %d: off by %.2f dB\n%s", b + 1, off, ran.out);
        }
        ck_assert(worst_after() <= 0.3);
        ck_assert_ptr_null(strstr(ran.out, "drive_"));
    }
}
END_TEST

START_TEST(the_rendered_take_is_as_the_table_says) {
    setup();
    sing("take.wav", SINGER_MAN, 705, -70.0);
    sing("other.wav", SINGER_WOMAN, 706, -70.0);
    check_match("match take.wav --to other.wav");
    double told = worst_after();
    ck_assert_ran("render --chain match.chain take.wav out.wav");
    check_match("match out.wav --to other.wav");
    double is = printed("worst level off by", NAN);
    ck_assert_msg(fabs(is - told) <= 0.5, "told %.1f dB, is %.1f", told, is);
}
END_TEST

/* A drive of 20 dB takes 2 dB off the crest of a sung band; what is found takes about as much. */
START_TEST(density_that_was_laid_in_is_found) {
    setup();
    sing("take.wav", SINGER_WOMAN, 707, -80.0);
    ck_assert_ran("render take.wav dense.wav band-colour split_1=400 drive_3=20");
    check_match("match take.wav --to dense.wav");
    ck_assert_msg(printed("drive_3=", 0.0) >= 5.0, "%s", ran.out);
    ck_assert_ran("render --chain match.chain take.wav out.wav");
    check_match("match out.wav --to dense.wav");
    ck_assert_msg(printed("drive_3=", 0.0) == 0.0, "%s", ran.out);
    /* The other way round nothing makes a voice less dense. */
    check_match("match dense.wav --to take.wav");
    ck_assert_msg(strstr(ran.out, "drive_3") == NULL, "%s", ran.out);
}
END_TEST

START_TEST(a_plot_has_both_spectra_and_the_bands) {
    char page[1 << 16];
    setup();
    sing("take.wav", SINGER_WOMAN, 708, -70.0);
    sing("a&b.wav", SINGER_MAN, 709, -70.0);
    check_match("match take.wav --to a&b.wav --plot page.html");
    FILE *file = fopen("page.html", "r");
    ck_assert_ptr_nonnull(file);
    page[fread(page, 1, sizeof page - 1, file)] = '\0';
    fclose(file);
    const char *const words[] = {"<polyline class=\"take\"",
                                 "<polyline class=\"reference\"",
                                 "<polyline class=\"result\"",
                                 "a&amp;b.wav",
                                 "above 5500 Hz",
                                 "</html>"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        ck_assert_msg(strstr(page, words[i]) != NULL, "no %s", words[i]);
    ck_assert_ptr_null(strstr(page, "a&b"));
    ck_assert_ptr_null(strstr(page, "nan"));
    ck_assert_ptr_null(strstr(page, "http"));
}
END_TEST

START_TEST(what_cannot_be_matched_is_refused) {
    setup();
    sing("take.wav", SINGER_WOMAN, 710, -70.0);
    free(noise_file("noise.wav", 1, 96000, 4).audio);
    check_refused("match take.wav", 2, "--to REFERENCE");
    check_refused("match --to take.wav", 2, "one TAKE");
    check_refused("match take.wav --to none.wav", 1, "none.wav");
    check_refused("match take.wav --to noise.wav", 1, "noise.wav|too little");
    check_refused("match noise.wav --to take.wav", 1, "noise.wav|too little");
    check_refused("match take.wav --to take.wav --plot take.wav", 1, "take.wav is read");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("match");
    tcase_add_test(tcase, a_take_is_its_own_reference);
    tcase_add_test(tcase, loudness_room_and_silence_are_no_colour);
    tcase_add_test(tcase, levels_that_were_laid_in_are_found);
    tcase_add_test(tcase, the_rendered_take_is_as_the_table_says);
    tcase_add_test(tcase, density_that_was_laid_in_is_found);
    tcase_add_test(tcase, a_plot_has_both_spectra_and_the_bands);
    tcase_add_test(tcase, what_cannot_be_matched_is_refused);
    return run_suite(tcase, "siskin match");
}
