/* SPDX-License-Identifier: ISC */
/* The test singer is held to what its labels say and to what is published of voices. */
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double rate_hz = 48000.0;

static SingerTake sing(const SingerParams *params) {
    SingerTake take;
    ck_assert(singer_take(params, &take));
    return take;
}

static SingerTake sing_seed(SingerVoice voice, double rate, uint64_t seed) {
    SingerParams params = singer_params(voice, rate, seed);
    params.phrases = 3;
    return sing(&params);
}

static bool is_hiss(SingerKind kind) {
    return kind == SINGER_S || kind == SINGER_SH || kind == SINGER_Z;
}

static bool is_burst(SingerKind kind) {
    return kind == SINGER_T || kind == SINGER_K || kind == SINGER_P;
}

/* ---- The take as a whole ---- */

START_TEST(the_same_parameters_give_the_same_take_and_others_another) {
    SingerTake a = sing_seed(SINGER_WOMAN, rate_hz, 7), b = sing_seed(SINGER_WOMAN, rate_hz, 7);
    SingerTake c = sing_seed(SINGER_WOMAN, rate_hz, 8);
    ck_assert_uint_eq(a.n, b.n);
    ck_assert(signals_same_bits(a.mix, b.mix, a.n));
    ck_assert_uint_eq(a.n_labels, b.n_labels);
    for (size_t i = 0; i < a.n_labels; i++) {
        ck_assert_uint_eq(a.labels[i].start, b.labels[i].start);
        ck_assert_uint_eq(a.labels[i].end, b.labels[i].end);
    }
    size_t shorter = a.n < c.n ? a.n : c.n;
    ck_assert(!signals_same_bits(a.mix, c.mix, shorter));
    singer_free(&a);
    singer_free(&b);
    singer_free(&c);
}
END_TEST

START_TEST(the_mix_is_the_sum_of_the_stems) {
    SingerTake take = sing_seed(SINGER_MAN, rate_hz, 1);
    float *sum = calloc(take.n, sizeof *sum);
    for (size_t k = 0; k < SINGER_STEMS; k++) {
        ck_assert(signals_all_finite(take.stem[k], take.n));
        ck_assert_double_gt(signals_rms(take.stem[k], take.n), 0.0);
        signals_add(sum, take.stem[k], take.n);
    }
    ck_assert(signals_same_bits(sum, take.mix, take.n));
    free(sum);
    singer_free(&take);
}
END_TEST

START_TEST(it_sings_at_any_rate) {
    const double rates[] = {8000.0, 11025.0, 16000.0, 44100.0, 96000.0, 192000.0};
    for (size_t i = 0; i < sizeof rates / sizeof *rates; i++) {
        SingerParams params = singer_params(SINGER_WOMAN, rates[i], 3);
        params.phrases = 2;
        SingerTake take = sing(&params);
        ck_assert(signals_all_finite(take.mix, take.n));
        ck_assert_double_lt(signals_peak(take.mix, take.n), 4.0);
        ck_assert_double_gt(signals_rms_db(take.mix, take.n), -50.0);
        singer_free(&take);
    }
}
END_TEST

START_TEST(the_plan_is_the_same_at_every_rate) {
    SingerTake a = sing_seed(SINGER_MAN, 44100.0, 5), b = sing_seed(SINGER_MAN, 96000.0, 5);
    ck_assert_uint_eq(a.n_labels, b.n_labels);
    for (size_t i = 0; i < a.n_labels; i++) {
        const SingerLabel *x = &a.labels[i], *y = &b.labels[i];
        ck_assert_int_eq((int)x->kind, (int)y->kind);
        ck_assert_double_eq_tol(x->value, y->value, 1e-9);
        /* Each time is rounded to a frame of its rate. */
        double tolerance_s = 0.5 / a.rate_hz + 0.5 / b.rate_hz + 1e-9;
        ck_assert_double_eq_tol((double)x->start / a.rate_hz, (double)y->start / b.rate_hz,
                                tolerance_s);
    }
    singer_free(&a);
    singer_free(&b);
}
END_TEST

START_TEST(the_voice_is_the_same_at_every_rate) {
    /* The shape below 8 kHz; nothing louder above 24 kHz than what a voice could leave there. A
     * tract with fewer resonances above loses a little below: 6 dB at 8 kHz. */
    const double rates[] = {48000.0, 96000.0, 192000.0}, edges[] = {150, 1000, 3000, 8000};
    double reference[3] = {0.0};
    for (int r = 0; r < 3; r++) {
        SingerParams params = singer_params(SINGER_MAN, rates[r], 9006);
        params.score = "a-li no-u me";
        SingerTake take = sing(&params);
        const float *voice = take.stem[SINGER_STEM_VOICE];
        double all = signals_rms_db(voice, take.n);
        for (int b = 0; b < 3; b++) {
            double db = signals_band_db(voice, take.n, rates[r], edges[b], edges[b + 1]) - all;
            reference[b] = r == 0 ? db : reference[b];
            ck_assert_double_eq_tol(db, reference[b], b < 2 ? 1.0 : 6.0);
        }
        if (r > 0)
            ck_assert_double_lt(signals_band_db(voice, take.n, rates[r], 24000.0, 1e9) - all, -60);
        singer_free(&take);
    }
}
END_TEST

START_TEST(a_score_that_cannot_be_sung_is_refused) {
    const char *const bad[] = {"", "s", "sa-", "sa-t", "sX", "sa  sa", "/sa", "sa/"};
    SingerParams params = singer_params(SINGER_WOMAN, rate_hz, 1);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        SingerTake take;
        params.score = bad[i];
        ck_assert_msg(!singer_take(&params, &take), "'%s' was sung", bad[i]);
        ck_assert_ptr_null(take.mix);
    }
}
END_TEST

START_TEST(a_score_is_sung_sound_by_sound) {
    SingerParams params = singer_params(SINGER_WOMAN, rate_hz, 1);
    params.score = "sa-ti muz";
    params.gap_clicks = params.word_clicks = params.breath_share = 0.0;
    SingerTake take = sing(&params);
    const SingerKind expected[] = {SINGER_GAP,    SINGER_PHRASE,  SINGER_WORD,   SINGER_S,
                                   SINGER_VOICED, SINGER_CLOSURE, SINGER_T,      SINGER_VOICED,
                                   SINGER_WORD,   SINGER_VOICED,  SINGER_VOICED, SINGER_Z,
                                   SINGER_GAP};
    ck_assert_uint_eq(take.n_labels, sizeof expected / sizeof *expected);
    for (size_t i = 0; i < take.n_labels; i++)
        ck_assert_str_eq(singer_kind_name(take.labels[i].kind), singer_kind_name(expected[i]));
    singer_free(&take);
}
END_TEST

/* ---- Labels against stems ---- */

typedef bool Chooses(SingerKind kind);

static bool is_voice(SingerKind kind) {
    return kind == SINGER_VOICED || kind == SINGER_Z || kind == SINGER_H || is_burst(kind);
}
static bool is_consonant(SingerKind kind) {
    return kind == SINGER_F || is_burst(kind);
}
static bool is_breath(SingerKind kind) {
    return kind == SINGER_BREATH;
}
static bool is_click(SingerKind kind) {
    return kind == SINGER_CLICK;
}

/* Level outside the chosen labels, each made `margin` frames longer, dB. */
static double outside_db(const SingerTake *take, SingerStem stem, Chooses *chooses, size_t margin) {
    float *rest = malloc(take->n * sizeof *rest);
    memcpy(rest, take->stem[stem], take->n * sizeof *rest);
    for (size_t k = 0; k < take->n_labels; k++) {
        const SingerLabel *l = &take->labels[k];
        for (size_t i = l->start; chooses(l->kind) && i < l->end + margin && i < take->n; i++)
            rest[i] = 0.0f;
    }
    double db = signals_peak_db(rest, take->n);
    free(rest);
    return db;
}

START_TEST(every_stem_is_silent_outside_its_labels) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerTake take = sing_seed(seed % 2 ? SINGER_MAN : SINGER_WOMAN, rate_hz, seed);
        ck_assert_double_le(outside_db(&take, SINGER_STEM_SIBILANTS, is_hiss, 0), -200.0);
        ck_assert_double_le(outside_db(&take, SINGER_STEM_CONSONANTS, is_consonant, 0), -200.0);
        ck_assert_double_le(outside_db(&take, SINGER_STEM_BREATHS, is_breath, 0), -200.0);
        ck_assert_double_le(outside_db(&take, SINGER_STEM_CLICKS, is_click, 0), -200.0);
        /* The tract rings on: its narrowest formant, 70 Hz wide, falls by 8.686 pi 70 = 1910 dB a
         * second, so 55 dB in 30 ms from a voice that has faded to its end already. */
        size_t ring = (size_t)(0.03 * rate_hz);
        ck_assert_double_lt(outside_db(&take, SINGER_STEM_VOICE, is_voice, ring), -80.0);
        singer_free(&take);
    }
}
END_TEST

START_TEST(labels_are_in_order_and_nest) {
    SingerTake take = sing_seed(SINGER_WOMAN, rate_hz, 11);
    size_t last = 0, covered = 0;
    for (size_t i = 0; i < take.n_labels; i++) {
        const SingerLabel *l = &take.labels[i];
        ck_assert_uint_ge(l->start, last);
        ck_assert_uint_gt(l->end, l->start);
        ck_assert_uint_le(l->end, take.n);
        last = l->start;
        if (l->kind == SINGER_PHRASE || l->kind == SINGER_GAP) {
            ck_assert_uint_eq(l->start, covered); /* they share the take between them */
            covered = l->end;
        }
        bool inside = l->kind != SINGER_WORD;
        for (size_t k = 0; k < take.n_labels && !inside; k++)
            inside = take.labels[k].kind == SINGER_PHRASE && take.labels[k].start <= l->start &&
                     take.labels[k].end >= l->end;
        ck_assert_msg(inside, "a word lies in no phrase");
    }
    ck_assert_uint_eq(covered, take.n);
    singer_free(&take);
}
END_TEST

START_TEST(a_phrase_has_the_level_of_its_label) {
    SingerTake take = sing_seed(SINGER_MAN, rate_hz, 13);
    const SingerLabel *phrase = NULL;
    for (size_t p = 0; p < take.n_labels; p++) {
        phrase = &take.labels[p];
        if (phrase->kind != SINGER_PHRASE)
            continue;
        double power = 0.0, frames = 0.0;
        for (size_t i = 0; i < take.n_labels; i++) {
            const SingerLabel *l = &take.labels[i];
            if (l->kind != SINGER_VOICED || l->start < phrase->start || l->end > phrase->end)
                continue;
            double rms = signals_rms(take.stem[SINGER_STEM_VOICE] + l->start, l->end - l->start);
            power += rms * rms * (double)(l->end - l->start);
            frames += (double)(l->end - l->start);
        }
        ck_assert_double_eq_tol(10.0 * log10(power / frames), phrase->value, 0.01);
    }
    ck_assert_ptr_nonnull(phrase);
    singer_free(&take);
}
END_TEST

START_TEST(a_click_is_as_high_as_its_label_says) {
    SingerParams params = singer_params(SINGER_WOMAN, rate_hz, 17);
    params.word_clicks = 1.0;
    SingerTake take = sing(&params);
    float *around = malloc(take.n * sizeof *around), band[2048];
    singer_mix(&take, ~(1u << SINGER_STEM_CLICKS), around);
    signals_band_filter(around, around, take.n, rate_hz, 1000.0, 12000.0);
    size_t reach = (size_t)(0.025 * rate_hz), clicks = 0;
    for (size_t i = 0; i < take.n_labels; i++) {
        const SingerLabel *l = &take.labels[i];
        if (l->kind != SINGER_CLICK || l->start < reach)
            continue;
        size_t n = l->end - l->start;
        ck_assert_double_ge((double)n / rate_hz, 0.00099); /* 1 ms, less the rounding */
        ck_assert_double_le((double)n / rate_hz, 0.030);
        signals_band_filter(take.stem[SINGER_STEM_CLICKS] + l->start, band, n, rate_hz, 1000.0,
                            12000.0);
        double height =
            signals_peak_db(band, n) - signals_rms_db(around + l->start - reach, 2 * reach);
        ck_assert_double_eq_tol(height, l->value, 0.05);
        clicks++;
    }
    ck_assert_uint_ge(clicks, 5);
    free(around);
    singer_free(&take);
}
END_TEST

/* ---- Pitch ---- */

/* Sum of the amplitudes of the first five harmonics of a pitch. */
static double harmonic_sum(const float *audio, size_t n, double f0) {
    double sum = 0.0;
    for (int k = 1; k <= 5; k++)
        sum += signals_tone_amplitude(audio, n, rate_hz, k * f0);
    return sum;
}

START_TEST(the_pitch_sung_is_the_pitch_labelled) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerParams params =
            singer_params(seed % 2 ? SINGER_MAN : SINGER_WOMAN, rate_hz, 100 + seed);
        params.vibrato_cents = 0.0;
        params.score = "a o/e i/u";
        SingerTake take = sing(&params);
        size_t length = (size_t)(0.15 * rate_hz), checked = 0;
        for (size_t i = 0; i < take.n_labels; i++) {
            const SingerLabel *l = &take.labels[i];
            size_t from = l->start + (size_t)(0.08 * rate_hz);
            if (l->kind != SINGER_VOICED || from + length > l->end)
                continue;
            double mean = 0.0, best = 0.0, best_cents = 0.0;
            for (size_t k = 0; k < length; k++)
                mean += log2((double)take.f0_hz[from + k]) / (double)length;
            for (int step = -30; step <= 30; step++) {
                double cents = 2.0 * step;
                double sum = harmonic_sum(take.stem[SINGER_STEM_VOICE] + from, length,
                                          exp2(mean + cents / 1200.0));
                if (sum > best) {
                    best = sum;
                    best_cents = cents;
                }
            }
            /* Jitter of at most 0.6 % (10 cents) a period averages out over 15 periods or more to
             * 10 / sqrt(15) = 2.7 cents; the slow drift bends the window by a few more. Three
             * deviations of the first, and 2 for the second. */
            ck_assert_double_eq_tol(best_cents, 0.0, 10.0);
            checked++;
        }
        ck_assert_uint_ge(checked, 2);
        singer_free(&take);
    }
}
END_TEST

START_TEST(vibrato_has_the_rate_and_depth_asked_for) {
    SingerParams params = singer_params(SINGER_WOMAN, rate_hz, 3);
    params.score = "a";
    params.tempo = 0.25;
    params.vibrato_hz = 5.5;
    params.vibrato_cents = 60.0;
    SingerTake take = sing(&params);
    const SingerLabel *vowel = NULL;
    for (size_t i = 0; i < take.n_labels; i++)
        if (take.labels[i].kind == SINGER_VOICED)
            vowel = &take.labels[i];
    ck_assert_ptr_nonnull(vowel);
    /* Full depth 0.4 s after the vowel's start; a slow drift of at most some 40 cents moves the
     * whole, so cycles are counted on the slope and the depth is half of peak to peak. */
    size_t from = vowel->start + (size_t)(0.45 * rate_hz), to = vowel->end - 4800, turns = 0;
    ck_assert_uint_gt(to, from + 24000);
    size_t step = 480;
    double low = 1e9, high = 0.0, slope = 0.0;
    for (size_t i = from; i + step < to; i += step) {
        double now = 1200.0 * log2((double)take.f0_hz[i + step] / (double)take.f0_hz[i]);
        turns += now * slope < 0.0;
        slope = now;
        low = fmin(low, (double)take.f0_hz[i]);
        high = fmax(high, (double)take.f0_hz[i]);
    }
    double hz = 0.5 * (double)turns / ((double)(to - from) / rate_hz);
    ck_assert_double_eq_tol(hz, 5.5, 0.9); /* one turn more or less in 0.6 s */
    double depth = 600.0 * log2(high / low);
    ck_assert_double_ge(depth, 55.0);
    ck_assert_double_le(depth, 100.0);
    singer_free(&take);
}
END_TEST

/* ---- Spectra ---- */

enum { BANDS = 21 };

typedef struct {         /* sums over all labels of one kind */
    double power[BANDS]; /* in 500 Hz bands from 500 Hz on, over the whole */
    double level_db, length_s;
    double count;
} Portrait;

/* Loudest 30 ms of the vowel after a consonant, dB. */
static double vowel_db(const SingerTake *take, const SingerLabel *consonant) {
    double loudest = -200.0;
    for (size_t i = 0; i < take->n_labels; i++) {
        const SingerLabel *l = &take->labels[i];
        bool next = l->kind == SINGER_VOICED && l->start == consonant->end;
        for (size_t at = l->start; next && at + 1440 <= l->end; at += 480)
            loudest = fmax(loudest, signals_rms_db(take->stem[SINGER_STEM_VOICE] + at, 1440));
    }
    return loudest;
}

static void look_at(const SingerTake *take, SingerKind kind, SingerStem stem, Portrait *portrait) {
    for (size_t i = 0; i < take->n_labels; i++) {
        const SingerLabel *l = &take->labels[i];
        if (l->kind != kind)
            continue;
        const float *audio = take->stem[stem] + l->start;
        size_t n = l->end - l->start;
        double total = signals_rms(audio, n);
        for (int b = 0; b < BANDS; b++) {
            double db = signals_band_db(audio, n, rate_hz, 500.0 * (b + 1), 500.0 * (b + 2));
            portrait->power[b] += pow(10.0, db / 10.0) / (total * total);
        }
        portrait->level_db += signals_rms_db(audio, n) - vowel_db(take, l);
        portrait->length_s += (double)n / rate_hz;
        portrait->count += 1.0;
    }
}

typedef struct {
    Portrait s, sh, f;
} Portraits;

static Portraits portraits_of(SingerVoice voice) {
    Portraits p = {.s = {.count = 0.0}};
    for (uint64_t seed = 1; seed <= 4; seed++) {
        SingerParams params = singer_params(voice, rate_hz, seed);
        params.score = "sa-si so-se/ca-ci co-ce/fa-fi fo-fe";
        params.gap_clicks = params.word_clicks = 0.0;
        SingerTake take = sing(&params);
        look_at(&take, SINGER_S, SINGER_STEM_SIBILANTS, &p.s);
        look_at(&take, SINGER_SH, SINGER_STEM_SIBILANTS, &p.sh);
        look_at(&take, SINGER_F, SINGER_STEM_CONSONANTS, &p.f);
        singer_free(&take);
    }
    ck_assert_double_eq(p.s.count, 16.0);
    ck_assert_double_eq(p.sh.count, 16.0);
    ck_assert_double_eq(p.f.count, 16.0);
    return p;
}

static double peak_hz(const Portrait *p) {
    int best = 0;
    for (int b = 1; b < BANDS; b++)
        best = p->power[b] > p->power[best] ? b : best;
    return 500.0 * best + 750.0;
}

static double centroid_hz(const Portrait *p) {
    double sum = 0.0, weight = 0.0;
    for (int b = 0; b < BANDS; b++) {
        sum += p->power[b] * (500.0 * b + 750.0);
        weight += p->power[b];
    }
    return sum / weight;
}

/* Energy between two frequencies, dB, from the 500 Hz bands. */
static double portrait_db(const Portrait *p, double low, double high) {
    double sum = 1e-20;
    for (int b = 0; b < BANDS; b++)
        if (500.0 * b + 750.0 > low && 500.0 * b + 750.0 < high)
            sum += p->power[b];
    return 10.0 * log10(sum);
}

START_TEST(sibilants_have_the_published_spectra) {
    for (int v = 0; v < 2; v++) {
        Portraits both = portraits_of(v ? SINGER_WOMAN : SINGER_MAN);
        Portrait s = both.s, sh = both.sh;
        /* Shadle et al. 2023: main peak of /s/ at 4..8 kHz, of /sh/ at 2..4 kHz, women 1..2 kHz
         * higher (check value C.1; read second-hand). */
        double raised = v ? 1500.0 : 0.0;
        ck_assert_double_ge(peak_hz(&s), 4000.0 + raised);
        ck_assert_double_le(peak_hz(&s), 8000.0 + raised);
        ck_assert_double_ge(peak_hz(&sh), 2000.0 + raised / 2.0);
        ck_assert_double_le(peak_hz(&sh), 4000.0 + raised);
        /* Jongman et al. 2000: centroids of /s z/ 6133 Hz, of /sh zh/ 4229 Hz over ten men and ten
         * women, who differ by 680 Hz; twice that is allowed either way. */
        ck_assert_double_eq_tol(centroid_hz(&s), 6133.0, 1360.0);
        ck_assert_double_eq_tol(centroid_hz(&sh), 4229.0, 1360.0);
        /* Hughes & Halle 1956, rule 1: E(0.72-10k) - E(4.2-10k) is under 2 dB for /s/; rule 2,
         * E(0.72-6.5k) - E(0.72-2.15k), over 10 dB for /s/. (86 % and 93 % of tokens.) */
        ck_assert_double_lt(portrait_db(&s, 720, 10000) - portrait_db(&s, 4200, 10000), 2.0);
        ck_assert_double_gt(portrait_db(&s, 720, 6500) - portrait_db(&s, 720, 2150), 10.0);
        if (!v) /* "> 2 dB for /sh/", measured on few and mostly male speakers */
            ck_assert_double_gt(portrait_db(&sh, 720, 10000) - portrait_db(&sh, 4200, 10000), 2.0);
    }
}
END_TEST

START_TEST(fricatives_have_the_published_levels_and_running_durations) {
    Portraits all = portraits_of(SINGER_WOMAN);
    Portrait s = all.s, sh = all.sh, f = all.f;
    /* Jongman et al. 2000: -11.0, -9.9, -20.8 dB re the vowel. The singer's tokens deviate by 2 dB;
     * the mean of 16 lies within 4 of its deviations, 2 dB; its fades cost up to 1 dB more. */
    ck_assert_double_eq_tol(s.level_db / s.count, -11.5, 2.5);
    ck_assert_double_eq_tol(sh.level_db / sh.count, -10.4, 2.5);
    ck_assert_double_eq_tol(f.level_db / f.count, -21.3, 2.5);
    /* Running speech: 60..180 ms; medians of 70 and 80 ms in an unreviewed measurement. */
    ck_assert_double_ge(s.length_s / s.count, 0.06);
    ck_assert_double_le(s.length_s / s.count, 0.18);
    ck_assert_double_ge(sh.length_s / sh.count, 0.06);
    ck_assert_double_le(sh.length_s / sh.count, 0.18);
}
END_TEST

START_TEST(a_breath_falls_towards_the_highs_and_has_its_level) {
    double low = 0.0, middle = 0.0, high = 0.0;
    size_t breaths = 0;
    for (uint64_t seed = 20; seed < 25; seed++) {
        SingerTake take = sing_seed(seed % 2 ? SINGER_MAN : SINGER_WOMAN, rate_hz, seed);
        for (size_t i = 0; i < take.n_labels; i++) {
            const SingerLabel *l = &take.labels[i], *phrase = l;
            if (l->kind != SINGER_BREATH)
                continue;
            while (phrase->kind != SINGER_PHRASE)
                phrase++;
            const float *audio = take.stem[SINGER_STEM_BREATHS] + l->start;
            size_t n = l->end - l->start;
            ck_assert_double_eq_tol(signals_rms_db(audio, n) - phrase->value, l->value, 0.01);
            ck_assert_double_ge((double)n / rate_hz, 0.1);
            ck_assert_double_le((double)n / rate_hz, 1.2);
            low += signals_band_db(audio, n, rate_hz, 300.0, 3000.0);
            middle += signals_band_db(audio, n, rate_hz, 3000.0, 8000.0);
            high += signals_band_db(audio, n, rate_hz, 8000.0, 16000.0);
            breaths++;
        }
        singer_free(&take);
    }
    /* Werner et al. 2023: a falling spectrum, its peaks below 3 kHz; unlike /s/. The paper's
     * abstract gives no slope: 3 dB a band is the least that deserves the word. */
    ck_assert_uint_ge(breaths, 10);
    ck_assert_double_gt(low, middle + 3.0 * (double)breaths);
    ck_assert_double_gt(middle, high + 3.0 * (double)breaths);
}
END_TEST

/* Frequency of the strongest harmonic of f0 between two frequencies. */
static double strongest_hz(const float *audio, size_t n, double f0, double low, double high) {
    double best = 0.0, hz = 0.0;
    for (int k = 1; k * f0 < high; k++) {
        double f = k * f0;
        double amplitude = f > low ? signals_tone_amplitude(audio, n, rate_hz, f) : 0.0;
        if (amplitude > best) {
            best = amplitude;
            hz = f;
        }
    }
    return hz;
}

START_TEST(vowels_have_the_published_formants) {
    /* Peterson & Barney 1952, men, F1 and F2 in Hz (from memory). The strongest harmonic near a
     * formant lies within one half of the pitch of it, and the slope of the source pulls it down
     * by up to another half: so within one pitch. */
    const struct {
        const char *score;
        double f1, f2;
    } vowels[] = {{"i", 270, 2290}, {"e", 530, 1840}, {"q", 660, 1720}, {"u", 300, 870}};
    for (size_t v = 0; v < sizeof vowels / sizeof *vowels; v++) {
        SingerParams params = singer_params(SINGER_MAN, rate_hz, 2);
        params.womanhood = 0.0;
        params.note_hz = (SingerRange){100.0, 100.0};
        params.vibrato_cents = params.jitter = 0.0;
        params.tempo = 0.3;
        params.score = vowels[v].score;
        SingerTake take = sing(&params);
        for (size_t i = 0; i < take.n_labels; i++) {
            const SingerLabel *l = &take.labels[i];
            if (l->kind != SINGER_VOICED)
                continue;
            size_t from = l->start + 4800, n = 9600;
            const float *audio = take.stem[SINGER_STEM_VOICE] + from;
            double f0 = 0.0, middle = 0.5 * (vowels[v].f1 + vowels[v].f2);
            for (size_t k = 0; k < n; k++)
                f0 += (double)take.f0_hz[from + k] / (double)n;
            ck_assert_uint_le(from + n, l->end);
            ck_assert_double_eq_tol(strongest_hz(audio, n, f0, 150.0, middle), vowels[v].f1, f0);
            ck_assert_double_eq_tol(strongest_hz(audio, n, f0, middle, vowels[v].f2 + 400.0),
                                    vowels[v].f2, f0);
        }
        singer_free(&take);
    }
}
END_TEST

START_TEST(rumble_and_hum_are_as_loud_as_asked_and_change_nothing_else) {
    SingerParams plain = singer_params(SINGER_WOMAN, 16000.0, 5);
    plain.phrases = 2;
    plain.room_db = -200.0;
    SingerParams rumbling = plain, humming = plain;
    rumbling.rumble_db = -40.0;
    humming.hum_db = -55.0;
    SingerTake without = sing(&plain), rumble = sing(&rumbling), hum = sing(&humming);
    /* Both are scaled by their RMS; the hum's by that of whole periods, which n may cut by one. */
    ck_assert_double_eq_tol(signals_rms_db(rumble.stem[SINGER_STEM_ROOM], rumble.n), -40.0, 0.01);
    ck_assert_double_eq_tol(signals_rms_db(hum.stem[SINGER_STEM_ROOM], hum.n), -55.0, 0.1);
    for (int stem = 0; stem < SINGER_STEM_ROOM; stem++) {
        ck_assert(signals_same_bits(rumble.stem[stem], without.stem[stem], without.n));
        ck_assert(signals_same_bits(hum.stem[stem], without.stem[stem], without.n));
    }
    singer_free(&without);
    singer_free(&rumble);
    singer_free(&hum);
}
END_TEST

START_TEST(hot_sibilants_change_nothing_else) {
    SingerParams params = singer_params(SINGER_WOMAN, rate_hz, 31);
    params.phrases = 2;
    SingerTake cold = sing(&params);
    params.sibilants_db = 10.0;
    SingerTake hot = sing(&params);
    ck_assert(signals_same_bits(cold.stem[SINGER_STEM_VOICE], hot.stem[SINGER_STEM_VOICE], cold.n));
    double rise = signals_rms_db(hot.stem[SINGER_STEM_SIBILANTS], hot.n) -
                  signals_rms_db(cold.stem[SINGER_STEM_SIBILANTS], cold.n);
    ck_assert_double_eq_tol(rise, 10.0, 0.001);
    singer_free(&cold);
    singer_free(&hot);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("singer");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, the_same_parameters_give_the_same_take_and_others_another);
    tcase_add_test(tcase, the_mix_is_the_sum_of_the_stems);
    tcase_add_test(tcase, it_sings_at_any_rate);
    tcase_add_test(tcase, the_plan_is_the_same_at_every_rate);
    tcase_add_test(tcase, the_voice_is_the_same_at_every_rate);
    tcase_add_test(tcase, a_score_that_cannot_be_sung_is_refused);
    tcase_add_test(tcase, a_score_is_sung_sound_by_sound);
    tcase_add_test(tcase, every_stem_is_silent_outside_its_labels);
    tcase_add_test(tcase, labels_are_in_order_and_nest);
    tcase_add_test(tcase, a_phrase_has_the_level_of_its_label);
    tcase_add_test(tcase, a_click_is_as_high_as_its_label_says);
    tcase_add_test(tcase, the_pitch_sung_is_the_pitch_labelled);
    tcase_add_test(tcase, vibrato_has_the_rate_and_depth_asked_for);
    tcase_add_test(tcase, sibilants_have_the_published_spectra);
    tcase_add_test(tcase, fricatives_have_the_published_levels_and_running_durations);
    tcase_add_test(tcase, a_breath_falls_towards_the_highs_and_has_its_level);
    tcase_add_test(tcase, vowels_have_the_published_formants);
    tcase_add_test(tcase, rumble_and_hum_are_as_loud_as_asked_and_change_nothing_else);
    tcase_add_test(tcase, hot_sibilants_change_nothing_else);
    return run_tcase(tcase, "singer");
}
