/* SPDX-License-Identifier: ISC */
/* What siskin measure tells of singing: notes, key, and how far off they are; on tones whose every
 * note is known. */
#include "siskin/tests/measure_take.h"
#include "tunes.h"

static const double pi = 3.14159265358979323846;

enum { RATE = 44100, NOTE_FRAMES = RATE * 7 / 10, REST_FRAMES = RATE / 20 };

/* A voice-like tone with 5.5 Hz vibrato of +-60 cents around `hz`, faded at both ends. */
static void add_note(float *out, double hz, double cents) {
    double phase = 0.0;
    for (size_t i = 0; i < NOTE_FRAMES; i++) {
        double s = (double)i / RATE;
        double now = hz * exp2((cents + 60.0 * sin(2.0 * pi * 5.5 * s)) / 1200.0);
        double x = 0.0;
        for (int k = 1; k <= 12; k++)
            x += sin(k * phase) / k;
        out[i] = (float)(0.1 * x);
        phase += 2.0 * pi * now / RATE;
    }
    signals_fade_ends(out, NOTE_FRAMES, RATE / 50);
}

static double semitone_hz(int over_c4) {
    return 440.0 * exp2((over_c4 - 9) / 12.0);
}

/* Phrases in D major, each note 0.7 s, ending on a long D; the third phrase is sung `sharp` cents
 * too high; all of it is tuned 20 cents over A 440. In semitones over C4. */
enum { PHRASES = 4, NOTES = 9, GAP_FRAMES = RATE * 8 / 10 };
static const int melody[2][NOTES] = {{2, 4, 6, 7, 9, 6, 4, 2, 2}, {9, 11, 13, 14, 9, 7, 6, 2, 2}};

static float *sing_melody(double sharp, size_t *n) {
    size_t phrase = NOTES * NOTE_FRAMES + GAP_FRAMES;
    *n = PHRASES * phrase + GAP_FRAMES;
    float *audio = calloc(*n, sizeof(float));
    float *note = calloc(NOTE_FRAMES, sizeof(float));
    Random random = random_seeded(17);
    ck_assert(audio && note);
    signals_noise(audio, *n, 1e-4, &random);
    for (size_t p = 0; p < PHRASES; p++)
        for (size_t i = 0; i < NOTES; i++) {
            add_note(note, semitone_hz(melody[p % 2][i]), 20.0 + (p == 2 ? sharp : 0.0));
            signals_add(audio + GAP_FRAMES + p * phrase + i * NOTE_FRAMES, note, NOTE_FRAMES);
        }
    free(note);
    return audio;
}

START_TEST(a_melody_has_its_key_tuning_and_errors_without_its_vibrato) {
    size_t n;
    float *audio = sing_melody(0.0, &n);
    Measures m = measure_audio(audio, n, RATE);
    ck_assert(m.key_known);
    ck_assert(measures_key_sure(&m));
    ck_assert_uint_eq(m.key.best.tonic, 2);
    ck_assert_int_eq(m.key.best.mode, TONALITY_MAJOR);
    ck_assert_double_eq_tol(m.key.tuning_cents, 20.0, 3.0);
    ck_assert_uint_eq(m.n_sung, PHRASES * NOTES - PHRASES); /* the last two are one pitch, tied */
    ck_assert_uint_eq(m.n_phrases, PHRASES);
    /* +-60 cents of vibrato would be 38 cents off in the mean. */
    ck_assert_double_le(m.off_cents, 6.0);
    for (size_t i = 0; i < m.n_phrases; i++)
        ck_assert_double_eq_tol(m.phrases[i].lean_cents, 0.0, 5.0);
    ck_assert_double_eq_tol(1200.0 * log2(m.low_hz / semitone_hz(2)), 20.0 - 40.0, 50.0);
    ck_assert_double_eq_tol(1200.0 * log2(m.high_hz / semitone_hz(14)), 20.0 + 40.0, 50.0);
    measures_free(&m);
    free(audio);
}
END_TEST

/* Unsure, a key is told as two. */
START_TEST(a_key_is_sure_or_two_are_told) {
    char text[64];
    Measures m = {.key_known = true};
    m.key = (Tonality){.best = {7, TONALITY_MAJOR, 0.87}, .next = {4, TONALITY_MINOR, 0.1}};
    ck_assert_str_eq(measures_key_text(text, &m), "G major (0.87)");
    m.key.best.p = 0.6;
    ck_assert_str_eq(measures_key_text(text, &m), "unsure: G major or E minor");
    m.key.best = (TonalityKey){2, TONALITY_DORIAN, 0.7};
    ck_assert_str_eq(measures_key_text(text, &m), "D dorian (0.70)");
    m.key_known = false;
    ck_assert_str_eq(measures_key_text(text, &m), "unknown");
    SingerTake take = sing(SINGER_WOMAN, 48000.0, 11, 10);
    Measures sung = measure_audio(take.mix, take.n, 48000.0);
    ck_assert(sung.key_known && sung.intonation.known);
    ck_assert_ran("measure --csv take.wav");
    ck_assert_ptr_nonnull(strstr(ran.out, measures_key_text(text, &sung)));
    ck_assert_ran("measure take.wav");
    ck_assert_ptr_nonnull(strstr(ran.out, measures_key_text(text, &sung)));
    measures_free(&sung);
    singer_free(&take);
}
END_TEST

/* A tune of the list in tones with vibrato, each note off as it is sung; a rest every eight
 * notes. */
static float *sing_tune(const Tune *tune, const TuneSung *how, double drift_cents, Random *random,
                        size_t *n) {
    static SungNote notes[TUNE_MOST];
    size_t n_notes = tune_sing(tune, how, random, notes);
    *n = (n_notes + n_notes / 8 + 2) * (size_t)NOTE_FRAMES + 2 * (size_t)GAP_FRAMES;
    float *audio = calloc(*n, sizeof(float));
    float *note = calloc(NOTE_FRAMES, sizeof(float));
    ck_assert(audio && note);
    signals_noise(audio, *n, 1e-4, random);
    for (size_t i = 0, at = GAP_FRAMES; i < n_notes; i++, at += NOTE_FRAMES) {
        double off = drift_cents * (double)i / (double)n_notes;
        add_note(note, 440.0 * exp2((notes[i].midi - 69.0) / 12.0), off);
        at += i && i % 8 == 0 ? NOTE_FRAMES : 0;
        signals_add(audio + at, note, NOTE_FRAMES);
    }
    free(note);
    return audio;
}

static Measures measure_tune(const char *name, const TuneSung *how, double drift_cents) {
    size_t i = 0, n;
    Random random = random_seeded(77);
    while (strcmp(tunes_known[i].name, name) != 0)
        i++;
    float *audio = sing_tune(&tunes_known[i], how, drift_cents, &random, &n);
    Measures m = measure_audio(audio, n, RATE);
    free(audio);
    return m;
}

/* Scattered or drifting, singing has a figure. The mean size of errors of 25 cents' deviation is
 * 20; a drift of a semitone is 50 off in the mean, against where it began. */
START_TEST(how_far_off_is_told_of_loose_and_drifting_takes) {
    const TuneSung tight = {.tonic = 3, .tuning_cents = 10.0, .loose_cents = 5.0, .beat_s = 0.7};
    const TuneSung loose = {.tonic = 3, .tuning_cents = 10.0, .loose_cents = 25.0, .beat_s = 0.7};
    const TuneSung wild = {.tonic = 3, .tuning_cents = 10.0, .loose_cents = 60.0, .beat_s = 0.7};
    Measures m = measure_tune("twinkle", &tight, 0.0);
    ck_assert(m.intonation.known && m.intonation.drift_cents == 0.0);
    ck_assert_double_eq_tol(m.off_cents, 4.0, 2.0);
    measures_free(&m);
    m = measure_tune("twinkle", &loose, 0.0);
    ck_assert_double_eq_tol(m.off_cents, 20.0, 5.0);
    measures_free(&m);
    m = measure_tune("twinkle", &wild, 0.0);
    ck_assert_double_ge(m.off_cents, 25.0);
    measures_free(&m);
    m = measure_tune("twinkle", &tight, 100.0);
    ck_assert_double_eq_tol(m.intonation.drift_cents, 100.0, 12.0);
    ck_assert_double_eq_tol(m.off_cents, 50.0, 10.0);
    ck_assert(measures_key_sure(&m) && m.key.best.tonic == 3);
    measures_free(&m);
}
END_TEST

/* Of four phrases one is 32 cents sharp: the tuning moves by about a quarter of that, and the
 * phrase stands out by 32 against the others. */
START_TEST(a_phrase_sung_sharp_leans) {
    size_t n;
    float *audio = sing_melody(32.0, &n);
    Measures m = measure_audio(audio, n, RATE);
    ck_assert_uint_eq(m.n_phrases, PHRASES);
    ck_assert(m.key_known && m.key.best.tonic == 2 && m.key.best.mode == TONALITY_MAJOR);
    double others =
        (m.phrases[0].lean_cents + m.phrases[1].lean_cents + m.phrases[3].lean_cents) / 3;
    ck_assert_double_eq_tol(m.phrases[2].lean_cents - others, 32.0, 4.0);
    measures_free(&m);
    free(audio);
}
END_TEST

START_TEST(steady_notes_are_read_within_5_cents) {
    enum { FRAMES = 48000 };
    static float audio[FRAMES];
    for (int step = 0; step < 7; step++) {
        double hz = 70.0 * pow(1.37, step);
        signals_harmonics(audio, FRAMES, 48000.0, hz, 4000.0, -6.0, 0.1);
        Measures m = measure_audio(audio, FRAMES, 48000.0);
        size_t voiced = 0;
        for (size_t i = 5; i + 5 < m.n_pitch; i++) {
            if (m.pitch_hz[i] <= 0.0f)
                continue;
            voiced++;
            ck_assert_double_le(fabs(1200.0 * log2((double)m.pitch_hz[i] / hz)), 5.0);
        }
        ck_assert_uint_gt(voiced, 35);
        measures_free(&m);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("singing");
    tcase_add_test(tcase, a_melody_has_its_key_tuning_and_errors_without_its_vibrato);
    tcase_add_test(tcase, a_key_is_sure_or_two_are_told);
    tcase_add_test(tcase, how_far_off_is_told_of_loose_and_drifting_takes);
    tcase_add_test(tcase, a_phrase_sung_sharp_leans);
    tcase_add_test(tcase, steady_notes_are_read_within_5_cents);
    return run_suite(tcase, "singing");
}
