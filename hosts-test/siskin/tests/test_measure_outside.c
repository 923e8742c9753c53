/* SPDX-License-Identifier: ISC */
/* What siskin measure tells of voices, beside what others tell of them: the pitch beside the truth
 * of the test singer and beside aubio's yin, loudness and peaks beside libebur128. Recorded voices
 * are those of Debian packages; what is not installed is named and passed over, except where CI is
 * set, where it is a failure. */
#include "singer.h"
#include "siskin/measure/take.h"
#include "siskin/tests/run_siskin.h"

#include <ebur128.h>

static const struct {
    const char *package, *path;
} voices[] = {
    {"csoundqt-examples", "/usr/share/csoundqt/Examples/SourceMaterials/AndItsAll.wav"},
    {"alsa-utils", "/usr/share/sounds/alsa/Front_Center.wav"},
    {"alsa-utils", "/usr/share/sounds/alsa/Rear_Left.wav"},
    {"alsa-utils", "/usr/share/sounds/alsa/Side_Right.wav"},
    {"klettres-data", "/usr/share/klettres/nl/alpha/a-0.ogg"},
    {"klettres-data", "/usr/share/klettres/nl/alpha/a-12.ogg"},
    {"klettres-data", "/usr/share/klettres/de/alpha/a.ogg"},
    {"klettres-data", "/usr/share/klettres/hu/alpha/a1.ogg"},
};
enum { N_VOICES = sizeof voices / sizeof *voices };

static bool may_skip(const char *path, const char *package) {
    if (exists(path))
        return false;
    ck_assert_msg(!getenv("CI"), "%s: not there (package %s)", path, package);
    printf("%s is not there (package %s): not tried\n", path, package);
    return true;
}

/* The first channel, as take.wav. */
static Sound take_voice(const char *path) {
    Sound sound = read_sound(path);
    for (sf_count_t i = 0; i < sound.info.frames; i++)
        sound.audio[i] = sound.audio[i * sound.info.channels];
    sound.info.channels = 1;
    write_wav("take.wav", &sound);
    return sound;
}

static Measures measure(void) {
    Measures measures;
    HostError error;
    ck_assert_msg(measure_take("take.wav", &measures, NULL, NULL, &error), "%s", error.text);
    return measures;
}

static double cents(double hz, double of) {
    return 1200.0 * log2(hz / of);
}

typedef struct {
    size_t both, gross; /* moments that both call voiced; those over 20 % apart */
    size_t close;       /* within half a semitone */
    size_t octave;      /* of the gross: the other reads twice or half of it, within a semitone */
} Tally;

static void compare_pitch(Tally *tally, double hz, double other) {
    double apart = fabs(cents(hz, other));
    tally->both++;
    tally->gross += fabs(hz / other - 1.0) > 0.2;
    tally->close += apart <= 50.0;
    tally->octave += fabs(apart - 1200.0) <= 100.0;
}

/* ---- the test singer ---- */

/* Gross errors are those of over 20 % (de Cheveigne and Kawahara, JASA 111(4), 2002, Table I, where
 * YIN has 1 % on spoken voices). Moments within 40 ms of a start, an end or a leap of the truth are
 * left out: the window lies on both sides of them. */
START_TEST(the_singers_pitch_has_at_most_one_gross_error_in_a_hundred) {
    Tally tally = {0};
    for (uint64_t seed = 41; seed <= 46; seed++) {
        SingerTake take;
        SingerParams params = singer_params(seed % 2 ? SINGER_MAN : SINGER_WOMAN, 48000.0, seed);
        ck_assert(singer_take(&params, &take));
        Sound sound = make_sound(1, (sf_count_t)take.n, 48000);
        memcpy(sound.audio, take.mix, take.n * sizeof(float));
        write_wav("take.wav", &sound);
        free(sound.audio);
        Measures m = measure();
        const size_t margin = 1920;
        for (size_t k = 0; k < m.n_pitch; k++) {
            size_t at = (size_t)((double)k * MEASURE_PITCH_STEP_S * 48000.0);
            if (at < margin || at + margin >= take.n || !(m.pitch_hz[k] > 0.0f))
                continue;
            double truth = (double)take.f0_hz[at], before = (double)take.f0_hz[at - margin],
                   after = (double)take.f0_hz[at + margin];
            bool steady =
                truth > 0.0 && before > 0.0 && after > 0.0 && fabs(cents(before, after)) < 150.0;
            if (steady)
                compare_pitch(&tally, (double)m.pitch_hz[k], truth);
        }
        measures_free(&m);
        singer_free(&take);
    }
    printf("test singer: %zu moments, %zu gross errors, %zu within 50 cents\n", tally.both,
           tally.gross, tally.close);
    ck_assert_uint_ge(tally.both, 2000);
    ck_assert_uint_le(tally.gross, tally.both / 100);
}
END_TEST

/* ---- aubio ---- */

enum { MOST_READINGS = 4096 };
static double aubio_s[MOST_READINGS], aubio_hz[MOST_READINGS];

/* What `aubiopitch` says of take.wav, at its defaults but for method and hop. */
static size_t by_aubio(double rate_hz) {
    char line[256];
    size_t n = 0;
    snprintf(line, sizeof line, "aubiopitch -p yin -B 2048 -H %d -i take.wav 2>/dev/null",
             (int)(0.01 * rate_hz));
    FILE *pipe = popen(line, "r"); // NOLINT(cert-env33-c): nothing in it comes from outside
    ck_assert_ptr_nonnull(pipe);
    while (n < MOST_READINGS && fgets(line, sizeof line, pipe)) {
        char *rest = NULL;
        aubio_s[n] = strtod(line, &rest);
        aubio_hz[n] = strtod(rest, NULL);
        n++;
    }
    ck_assert_int_eq(pclose(pipe), 0);
    return n;
}

static void print_counts(const char *what, const Tally *t) {
    printf("%s: %zu moments, %zu within 50 cents, %zu an octave apart, %zu otherwise over 20 %%\n",
           what, t->both, t->close, t->octave, t->gross - t->octave);
}

/* aubio's reading nearest to a time; 0: none, or its neighbours are over 20 % off, so that its
 * window holds no steady pitch. */
static double aubio_at(double s, size_t n) {
    for (size_t i = 1; i + 1 < n; i++)
        if (fabs(aubio_s[i] - s) <= 0.0051)
            return aubio_hz[i] > 0.0 && fabs(aubio_hz[i - 1] / aubio_hz[i] - 1.0) < 0.2 &&
                           fabs(aubio_hz[i + 1] / aubio_hz[i] - 1.0) < 0.2
                       ? aubio_hz[i]
                       : 0.0;
    return 0.0;
}

/* aubio names the start of the hop that ends its window of 2048 frames: the window's middle lies
 * half a window, less the hop, before. It takes the first dip that is deep enough, and so reads the
 * second partial where that is the strongest: for a second of AndItsAll, whose spectrum there has
 * partials at every multiple of what we read (350, 705, 1055, 1400 Hz, the first 12 dB under the
 * second). So octaves are counted apart, and may be one in ten: of the rest all but one in fifty
 * must agree, and four in five to 50 cents. (The others lie where one note goes into the next,
 * which a window of 2048 frames averages.) */
START_TEST(recorded_voices_have_the_pitch_that_aubio_reads) {
    if (may_skip("/usr/bin/aubiopitch", "aubio-tools"))
        return;
    Tally all = {0};
    for (size_t v = 0; v < N_VOICES; v++) {
        if (may_skip(voices[v].path, voices[v].package))
            continue;
        Sound sound = take_voice(voices[v].path);
        double rate_hz = sound.info.samplerate;
        Tally one = {0};
        Measures m = measure();
        size_t n = by_aubio(rate_hz);
        for (size_t k = 0; k < m.n_pitch; k++) {
            double at = (double)k * MEASURE_PITCH_STEP_S + 1024.0 / rate_hz - 0.01;
            double other = aubio_at(at, n);
            if (m.pitch_hz[k] > 0.0f && other > 0.0)
                compare_pitch(&one, (double)m.pitch_hz[k], other);
        }
        print_counts(voices[v].path, &one);
        all.both += one.both;
        all.close += one.close;
        all.gross += one.gross;
        all.octave += one.octave;
        measures_free(&m);
        free(sound.audio);
    }
    print_counts("all", &all);
    ck_assert_uint_le(50 * (all.gross - all.octave), all.both - all.octave);
    ck_assert_uint_le(10 * all.octave, all.both);
    ck_assert_uint_ge(10 * all.close, 8 * (all.both - all.octave));
}
END_TEST

/* ---- libebur128 ---- */

/* Tolerances of EBU Tech 3341 (0.1 LU) and 3342 (1 LU); true peak within 0.2 dB, since both fall
 * short of the true one by what their interpolation leaves out (BS.1770-4, annex 2: up to 0.6 dB).
 */
START_TEST(recorded_voices_have_the_loudness_that_libebur128_reads) {
    for (size_t v = 0; v < N_VOICES; v++) {
        if (may_skip(voices[v].path, voices[v].package))
            continue;
        Sound sound = take_voice(voices[v].path);
        Measures m = measure();
        ebur128_state *other =
            ebur128_init(1, (unsigned long)sound.info.samplerate,
                         EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK);
        ck_assert_ptr_nonnull(other);
        double integrated, range, peak;
        ebur128_add_frames_float(other, sound.audio, (size_t)sound.info.frames);
        ebur128_loudness_global(other, &integrated);
        ebur128_loudness_range(other, &range);
        ebur128_true_peak(other, 0, &peak);
        printf("%s: %.2f / %.2f LUFS, %.1f / %.1f LU, %.2f / %.2f dBTP\n", voices[v].path,
               m.integrated_lufs, integrated, m.range_lu, range, m.true_peak_db,
               20.0 * log10(peak));
        if (isfinite(integrated))
            ck_assert_double_eq_tol(m.integrated_lufs, integrated, 0.1);
        if (isfinite(m.range_lu))
            ck_assert_double_eq_tol(m.range_lu, range, 1.0);
        ck_assert_double_eq_tol(m.true_peak_db, 20.0 * log10(peak), 0.2);
        ebur128_destroy(&other);
        measures_free(&m);
        free(sound.audio);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("measure outside");
    tcase_add_test(tcase, the_singers_pitch_has_at_most_one_gross_error_in_a_hundred);
    tcase_add_test(tcase, recorded_voices_have_the_pitch_that_aubio_reads);
    tcase_add_test(tcase, recorded_voices_have_the_loudness_that_libebur128_reads);
    tcase_set_timeout(tcase, 120);
    return run_suite(tcase, "measure outside");
}
