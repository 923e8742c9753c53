/* SPDX-License-Identifier: ISC */
/* page_take.h: for suites of siskin report: takes, chains, and pages of them. */
#ifndef SISKIN_TESTS_PAGE_TAKE_H
#define SISKIN_TESTS_PAGE_TAKE_H

#include "singer.h"
#include "siskin/tests/run_siskin.h"

enum { RATE_HZ = 44100 };

/* Two phrases with breaths, clicks and hot sibilants. */
static inline void write_singer(const char *path) {
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, RATE_HZ, 9);
    params.score = "sa-ti-so mu fe-na/zo-ca le-mi so/ma-lo si";
    params.sibilants_db = 10.0;
    params.breath_share = 1.0;
    params.gap_clicks = 3.0;
    params.word_clicks = 2.0;
    ck_assert(singer_take(&params, &take));
    Sound sound = make_sound(1, (sf_count_t)take.n, RATE_HZ);
    memcpy(sound.audio, take.mix, take.n * sizeof(float));
    write_wav(path, &sound);
    free(sound.audio);
    singer_free(&take);
}

static const char *const CHAIN = "bus lead\n"
                                 "  transient-tamer\n"
                                 "  breath-ducker depth=18\n"
                                 "  de-esser strength=90\n"
                                 "  phrase-leveller\n";

static inline char *read_all(const char *path, size_t *size) {
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "%s is not there", path);
    fseek(file, 0, SEEK_END);
    *size = (size_t)ftell(file);
    rewind(file);
    char *text = calloc(*size + 1, 1);
    ck_assert_ptr_nonnull(text);
    ck_assert_uint_eq(fread(text, 1, *size, file), *size);
    fclose(file);
    return text;
}

static inline void make_page(void) {
    bundles = "lv2";
    write_singer("take.wav");
    write_text("lead.chain", CHAIN);
    ck_assert_ran("report --chain lead.chain take.wav page.html");
}

/* A scale that is sung up to 40 cents flat, and the page of what the corrector makes of it. */
static const double SUNG_MIDI[] = {57.0, 58.6, 60.75, 62.0, 63.65, 65.0, 66.8, 69.0};
enum { SUNG_NOTES = sizeof SUNG_MIDI / sizeof *SUNG_MIDI };

static inline void make_tuned_page(void) {
    enum { NOTE = RATE_HZ * 3 / 5, REST = RATE_HZ / 5 };
    Sound sound = make_sound(1, (sf_count_t)SUNG_NOTES * (NOTE + REST) + REST, RATE_HZ);
    for (size_t i = 0; i < SUNG_NOTES; i++) {
        float *note = sound.audio + REST + i * (NOTE + REST);
        signals_harmonics(note, NOTE, RATE_HZ, 440.0 * exp2((SUNG_MIDI[i] - 69.0) / 12.0), 5000.0,
                          -6.0, 0.2);
        signals_fade_ends(note, NOTE, RATE_HZ / 50);
    }
    bundles = "lv2";
    write_wav("take.wav", &sound);
    free(sound.audio);
    ck_assert_ran("report take.wav page.html pitch-corrector strength=100 glide=20");
}

static const char *const NASTY = "'\"><script>alert(1)<!--&amp;.wav";

static inline void make_nasty_page(void) {
    char line[256];
    char take[200];
    bundles = "lv2";
    write_singer(NASTY);
    write_text("x.chain", "# </pre></script><script>alert(2)</script>\nbus lead\n  de-esser\n");
    snprintf(take, sizeof take, "%s", NASTY);
    snprintf(line, sizeof line, "report --chain x.chain %s page.html", take);
    ck_assert_ran(line);
}

#endif
