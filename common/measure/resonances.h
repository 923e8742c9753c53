/* SPDX-License-Identifier: ISC */
/* resonances.h: a narrow peak that stands still in a voice's spectrum: a mode of the room, a
 * boxy mount, whatever is added at the same place to every note and vowel. Up to three, the surest
 * first.
 *
 * A formant is a peak too, of the same height and width, and so is a note. What tells them apart
 * is that they move. Two witnesses are heard:
 *
 * - The voice. Of windows with a steady pitch the levels of all partials up to 2 kHz are kept, and
 *   each window is explained by a tract of its own (formant_fit.h). What the whole take has in
 *   common is taken off before, as medians in turns: its slope, its broad shape (what is left,
 *   smoothed over 0.7 octaves), and the excess of the first partials, which is the glottis's.
 *   A peak of g dB at f with quality q then counts by how much likelier it makes the levels of m
 *   partials. Errors have Student's form (Lange, Little and Taylor, JASA (stat.) 84, 1989, from
 *   memory), so that windows which no tract explains count little. v being the take's median of
 *   C(0) / (m - 1),
 *       gain(window) = (m - 1) / 2 ln((1 + C(0) / ((m - 1) v)) / (1 + C(g) / ((m - 1) v)))
 *   Formants and notes are free in every window; only what stands in all of them can gain much.
 *   Windows of one sound, at most 0.25 s of it, are one token of evidence: their gains are added
 *   and divided by sqrt(windows). The evidence is sum(tokens) / tokens * sqrt(tokens).
 * - Noise. Breaths, consonants and the room's own tone, in windows without voice and 35 dB under
 *   it (else it is soft voice), are excited by noise and need no tract. Their mean log spectrum
 *   within 0.7 octaves of f is fitted by
 *       a + b x + c x^2 + g h(f),   x in octaves from f
 *   by least squares, with weights after Huber (Ann. Math. Stat. 35, 1964) against lines of hum.
 *
 * Found is a peak that the noise shows, by 3 dB and 5 standard errors, and the voice has some
 * evidence for too; or that the voice alone shows at a higher bar, from twice the lowest notes up:
 * below, only first partials pass, and a glottis that makes these strong is no resonance. Since
 * room noise may be coloured by its source and electrical noise has seen no room, noise alone is
 * never enough, and its silence never an objection.
 * The shape h is that of the peaking filter of second order, whose q is f over the width at half
 * its dB. Peaks are sought from 150 Hz to 1 kHz in steps of a twelfth of an octave.
 * Where the notes within which 70 % of the time was sung are less than 3 semitones apart, notes
 * stand still too: then the noise must show it by 4 dB and 8 standard errors.
 *
 * Each peak found is taken off the levels of voice and noise, and another is sought at the same
 * bars, half an octave or more from those before: nearer lies what a wrong height or width leaves
 * of them.
 *
 * A peak may be found from 16 tokens and 40 windows of voice on. That there is none is known only
 * from 32 tokens and 60 windows of wide enough notes on, or if the noise would tell: if nearly
 * everywhere in the range its height is sure to within 0.8 dB. A noise that was coded or gated is
 * not, and then nothing is said.
 *
 * What it reaches. Boxes of 6 to 8 dB, q 3 to 5, at 200 to 700 Hz in takes of 15 s of forty singers
 * on whom nothing was tuned, by the pitch that `siskin measure` reads: 35 found, all to within 3
 * dB; none in the clean takes. On takes of the test singer of 25 to 40 s with 6 dB of q 5, over the
 * whole sound, nearly 9 of 10 are found and placed within a sixth of an octave; with the mode on
 * the voice alone and the room's tone without it some 6 of 10, most of the lost ones under twice
 * the low notes. Of clean takes some 2 % have one found. On recorded speech of 5 to 40 s with a box
 * laid in, mostly too short or its gaps too clean to tell: 7 of 19 at 9 dB, 2 of 19 at 7 dB; said
 * to have none 1 and 4.
 *
 * Peaks of under some 4 dB, or wider than an octave, go unnoticed; so do those of high voices that
 * lie under their notes. The height is that of the noise if it
 * is a witness, otherwise the voice's, which is up to half too small, since formants take some.
 *
 * Memory is bounded: 512 windows are kept; when they are full every other one goes and from then on
 * half as many come. Valid for 8..192 kHz. Cost of a window: a sum over bins. Of find: some 60 ms
 * on a 2 GHz core. For programs that measure. */
#ifndef SISKIN_MEASURE_RESONANCES_H
#define SISKIN_MEASURE_RESONANCES_H

#include "basic/arena.h"
#include "measure/formant_fit.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    STANDING_FRAMES = 512,
    STANDING_CENTRES = 33, /* 150 Hz and on, 12 an octave */
    STANDING_CELLS = 52,   /* of the broad shape: 110 Hz and on, 12 an octave */
    STANDING_HARMONICS = 4,
    STANDING_BINS = 256, /* of the noise, 8 to 16 Hz apart */
    STANDING_PEAKS = 3,  /* at most */
};

/* A window of voice. */
typedef struct {
    uint32_t token, partials;
    float f0_hz;
    float hz[TRACT_PARTIALS], db[TRACT_PARTIALS];
} StandingFrame;

typedef struct {
    bool known; /* enough was heard to tell */
    bool found;
    double hz, low_hz, high_hz; /* centre, and where half its height is reached: hz / q apart */
    double height_db;
    double from_hz;       /* peaks under that could not have been seen */
    bool by_noise;        /* noise is a witness too */
    double voice, tokens; /* the voice's evidence; of how many tokens */
} StandingPeak;

typedef struct {
    double rate_hz, bin_hz, hop_s;
    size_t bins;
    FormantFit fit;
    StandingFrame *frame; /* [STANDING_FRAMES] */
    float *rest;          /* [STANDING_FRAMES][TRACT_PARTIALS] scratch */
    float *sorted;        /* [STANDING_FRAMES * TRACT_PARTIALS] scratch */
    float *shape;         /* of the voice's peaks, over a table of TRACT_TABLE_HZ */
    /* What the take has of its own, found first. */
    double slope_db, broad_db[STANDING_CELLS], harmonic_db[STANDING_HARMONICS], scatter;
    float prior;
    StandingPeak taken[STANDING_PEAKS]; /* off all levels */
    size_t n_taken;
    struct {
        size_t frames;
        uint64_t stride, skipped; /* one of so many windows is kept */
        uint32_t tokens;
        uint64_t last, token_began; /* windows */
        double noise_db[STANDING_BINS];
        uint64_t noises, voices; /* windows */
        double voice_power;      /* summed */
    } state;
} Resonances;

/* `window`: frames of the windows, half overlapping, whose powers come (mean_spectrum.h, under a
 * Hann window). false: the arena is full. */
bool resonances_prepare(Resonances *peaks, double rate_hz, size_t window, Arena *arena);
void resonances_reset(Resonances *peaks);
/* power[window / 2 + 1] of a window in which f0_hz > 0 is sung steadily, and its number since the
 * start of the take, rising. */
void resonances_voice(Resonances *peaks, const float *power, double f0_hz, uint64_t number);
/* The same of a window without any voice. Digital silence is passed over. */
void resonances_noise(Resonances *peaks, const float *power);
/* The surest. May be asked at any time. */
StandingPeak resonances_find(Resonances *peaks);
/* All, the surest first; returns how many. Without any, found[0] tells whether that is known. */
size_t resonances_find_all(Resonances *peaks, StandingPeak found[STANDING_PEAKS]);

#endif
