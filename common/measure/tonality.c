/* SPDX-License-Identifier: ISC */
#include "measure/tonality.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

/* How often each degree comes, in semitones over the tonic; sums need not be 1. From memory of
 * counts of European folk tunes; dorian is minor with its sixth raised, the leading note rare. */
static const double degree_share[TONALITY_MODES][12] = {
    [TONALITY_MAJOR] = {.184, .001, .155, .003, .191, .109, .005, .214, .001, .078, .004, .055},
    [TONALITY_MINOR] = {.192, .005, .149, .179, .002, .144, .002, .201, .038, .012, .053, .022},
    [TONALITY_DORIAN] = {.192, .005, .149, .179, .002, .144, .002, .201, .008, .045, .067, .008}};
static const double ANY_DEGREE = 0.003; /* added to each: a note outside happens */
static const double mode_share[TONALITY_MODES] = {0.55, 0.30, 0.15};

/* The last note is the tonic more often than not, and the first one tonic, fifth or third. */
static const double last_share[12] = {.62, .02, .02, .05, .05, .02, .02, .10, .02, .02, .02, .02};
static const double first_share[12] = {.45, .02, .02, .06, .12, .02, .02, .32, .02, .02, .02, .02};
static const double FIRST_WEIGHT = 0.3, LEAST_END = 0.01;

static const double NOTE_WEIGHT = 0.8;
static const double STRAY = 0.02; /* share of notes that mean none of the key's */
static const double TUNING_CENTS = 20.0;

enum { TUNINGS = 20, TUNING_STEP = 5, LOWEST_TUNING = -50 };

typedef struct {
    double degree[TONALITY_MODES][12], first[12], last[12];
} Shares;

static void normalise(double to[12], const double from[12], double more) {
    double sum = 0.0;
    for (size_t i = 0; i < 12; i++)
        sum += from[i] + more;
    for (size_t i = 0; i < 12; i++)
        to[i] = (from[i] + more) / sum;
}

static Shares make_shares(void) {
    Shares shares = {{{0}}, {0}, {0}};
    for (size_t mode = 0; mode < TONALITY_MODES; mode++)
        normalise(shares.degree[mode], degree_share[mode], ANY_DEGREE);
    normalise(shares.first, first_share, 0.0);
    normalise(shares.last, last_share, 0.0);
    return shares;
}

static double length_of(const SungNote *note) {
    return fmax(note->end_s - note->start_s, 1e-3);
}

static double mean_length(const SungNote *notes, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += length_of(&notes[i]);
    return sum / (double)n;
}

static void find_tuning(const SungNote *notes, size_t n, Tonality *tonality) {
    double re = 0.0, im = 0.0, all = 0.0;
    for (size_t i = 0; i < n; i++) {
        double length = length_of(&notes[i]), turn = 2.0 * PI * notes[i].midi;
        re += length * cos(turn);
        im += length * sin(turn);
        all += length;
    }
    double strength = fmin(1.0, hypot(re, im) / all);
    double spread = 100.0 / (2.0 * PI) * sqrt(-2.0 * log(fmax(strength, 1e-3)));
    tonality->tuning_cents = 100.0 * atan2(im, re) / (2.0 * PI);
    tonality->tuning_strength = strength;
    tonality->spread_cents = fmin(TONALITY_MOST_SPREAD, fmax(TONALITY_LEAST_SPREAD, spread));
}

/* How likely the note is, a semitone, if it meant each of the twelve pitches at that tuning. */
static void place_note(const SungNote *note, double tuning_cents, double spread,
                       double chance[12]) {
    for (size_t k = 0; k < 12; k++) {
        double off = remainder(100.0 * note->midi - tuning_cents - 100.0 * (double)k, 1200.0);
        chance[k] = exp(-0.5 * (off / spread) * (off / spread)) / (spread * sqrt(2.0 * PI)) * 100.0;
    }
}

static double mean_share(const double chance[12], const double share[12], unsigned tonic) {
    double sum = 0.0;
    for (unsigned d = 0; d < 12; d++)
        sum += chance[(d + tonic) % 12] * share[d];
    return sum;
}

/* The same of which pitch it was, given that it was one of them. */
static double end_likelihood(const double chance[12], const double share[12], unsigned tonic) {
    double all = 1e-9;
    for (size_t k = 0; k < 12; k++)
        all += chance[k];
    return log(mean_share(chance, share, tonic) / all + LEAST_END);
}

/* Adds what one note tells of every key. */
static void add_note(const Shares *shares, const double chance[12], double weight,
                     double score[TONALITY_KEYS]) {
    for (unsigned key = 0; key < TONALITY_KEYS; key++) {
        double known = mean_share(chance, shares->degree[key / 12], key % 12);
        score[key] += weight * log((1.0 - STRAY) * known + STRAY / 12.0);
    }
}

static void score_at(const SungNote *notes, size_t n, const Tonality *tonality, double tuning_cents,
                     double score[TONALITY_KEYS]) {
    const Shares shares = make_shares();
    double mean = mean_length(notes, n), chance[12] = {0};
    double off = tuning_cents / TUNING_CENTS;
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        score[key] = log(mode_share[key / 12]) - 0.5 * off * off;
    for (size_t i = 0; i < n; i++) {
        place_note(&notes[i], tuning_cents, tonality->spread_cents, chance);
        add_note(&shares, chance, NOTE_WEIGHT * sqrt(length_of(&notes[i]) / mean), score);
        for (unsigned key = 0; i == 0 && key < TONALITY_KEYS; key++)
            score[key] += FIRST_WEIGHT * end_likelihood(chance, shares.first, key % 12);
    }
    double held = 0.5 * fmin(2.0, length_of(&notes[n - 1]) / mean); /* `chance` is of that note */
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        score[key] += held * end_likelihood(chance, shares.last, key % 12);
}

static TonalityKey best_of(const double p[TONALITY_KEYS], unsigned but) {
    unsigned best = but == 0 ? 1 : 0;
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        if (key != but && p[key] > p[best])
            best = key;
    return (TonalityKey){best % 12, (TonalityMode)(best / 12), p[best]};
}

bool tonality_find(const SungNote *notes, size_t n, Tonality *tonality) {
    double score[TUNINGS][TONALITY_KEYS], p[TONALITY_KEYS] = {0.0};
    double most = -INFINITY, all = 0.0;
    memset(tonality, 0, sizeof *tonality);
    if (n < TONALITY_FEWEST)
        return false;
    find_tuning(notes, n, tonality);
    for (int t = 0; t < TUNINGS; t++) {
        score_at(notes, n, tonality, LOWEST_TUNING + TUNING_STEP * t, score[t]);
        for (unsigned key = 0; key < TONALITY_KEYS; key++)
            most = fmax(most, score[t][key]);
    }
    for (int t = 0; t < TUNINGS; t++)
        for (unsigned key = 0; key < TONALITY_KEYS; key++)
            p[key] += exp(score[t][key] - most);
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        all += p[key];
    for (unsigned key = 0; key < TONALITY_KEYS; key++)
        p[key] /= all;
    tonality->best = best_of(p, TONALITY_KEYS);
    tonality->next = best_of(p, tonality->best.tonic + 12 * (unsigned)tonality->best.mode);
    return true;
}

bool tonality_sure(const Tonality *tonality) {
    return tonality->best.p >= TONALITY_SURE;
}
