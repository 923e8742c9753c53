/* SPDX-License-Identifier: ISC */
/* singer.h: a test singer. It sings nonsense syllables whose every sound is labelled exactly, as
 * separate stems, so that what a processor does to a voice can be compared with the truth.
 *
 * Voice: a polynomial glottal flow pulse (Rosenberg, JASA 49, 583-590, 1971, and its form in
 * Klatt & Klatt, JASA 87, 820-857, 1990: u = 27/4 x^2 (1 - x) over the open phase) with jitter and
 * shimmer, made at four times the rate, differentiated, dulled as the voice gets softer, and passed
 * through a cascade of digital resonators (Klatt, JASA 67, 971-995, 1980) with one resonance per
 * (2k - 1) c / 4L up to the Nyquist frequency. Vowel formants: Peterson & Barney, JASA 24, 175-184,
 * 1952, means of men and of women (from memory); consonant targets: Klatt 1980 (from memory).
 * Fricatives: noise through two poles and a zero (Heinz & Stevens, JASA 33, 1961), levels against
 * the vowel and spectral peaks from Jongman, Wayland & Wong, JASA 108, 1252-1263, 2000, durations
 * as in running speech. Plosive bursts: diffuse-falling /p/, compact /k/, diffuse-rising /t/
 * (Blumstein & Stevens, JASA 66, 1979; from memory). Inhalations: a falling spectrum with weak
 * schwa-like peaks below 3 kHz (Werner et al., JSLHR 2023). Mouth clicks: one to three
 * damped resonances of 2..9 kHz and above, and little below 1.5 kHz (ticks of saliva: 1..10 ms,
 * 2..10 kHz, from memory; no literature on them in sung recordings is known).
 *
 * Valid for 8..192 kHz. The same parameters give the same take, bit for bit, on one machine; the
 * plan (score, times, levels, f0) is the same at every rate, only the noises differ. */
#ifndef SISKIN_TESTS_SINGER_H
#define SISKIN_TESTS_SINGER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum { SINGER_MAN, SINGER_WOMAN } SingerVoice;

typedef enum {
    SINGER_STEM_VOICE,      /* voicing with its aspiration, and /h/ */
    SINGER_STEM_SIBILANTS,  /* the friction of /s/, /sh/, /z/ */
    SINGER_STEM_CONSONANTS, /* /f/ and the bursts of /t/, /k/, /p/ */
    SINGER_STEM_BREATHS,
    SINGER_STEM_CLICKS,
    SINGER_STEM_ROOM,
    SINGER_STEMS
} SingerStem;

typedef enum {
    SINGER_VOICED, /* value: note, Hz. Vowels, and m n l */
    SINGER_S,      /* value of fricatives: friction level over its vowel, dB */
    SINGER_SH,
    SINGER_Z, /* also voiced, weakly */
    SINGER_F,
    SINGER_H,
    SINGER_CLOSURE, /* the silence before a burst */
    SINGER_T,       /* value of bursts: level over its vowel, dB */
    SINGER_K,
    SINGER_P,
    SINGER_BREATH, /* value: RMS over the RMS of its phrase, dB */
    SINGER_CLICK,  /* value: height, dB, see SingerParams */
    SINGER_WORD,   /* value: 0; first sound to the end of the last */
    SINGER_PHRASE, /* value: RMS of its voiced parts, dBFS */
    SINGER_GAP,    /* no phrase sounds; breaths and clicks may. value: 0 */
    SINGER_KINDS
} SingerKind;

typedef struct {
    SingerKind kind;
    size_t start, end; /* frames; end is the first frame after */
    double value;
} SingerLabel;

typedef struct {
    double low, high;
} SingerRange;

typedef struct {
    double rate_hz;
    uint64_t seed;
    /* The score: words apart by ' ', syllables by '-', phrases by '/'. Vowels: i heed, y hid,
     * e head, q had, a hod, o hawed, w hood, u who'd, v hud, r heard. Consonants: s, c (sh), z, f,
     * h, t, k, p, m, n, l. NULL: composed from the seed. */
    const char *score;
    size_t phrases;       /* when composed */
    double womanhood;     /* 0 the formants of men, 1 of women */
    SingerRange note_hz;  /* notes sung lie within */
    double open_quotient; /* share of the period the glottis is open, 0.4..0.8 */
    double tilt_hz;       /* a one-pole low-pass on the glottal source when loud */
    double aspiration_db; /* noise in the voice, over the voicing at the source */
    double jitter;        /* deviation of the period, ratio */
    double shimmer_db;    /* deviation of the pulse height */
    double vibrato_hz, vibrato_cents;
    double tempo;           /* 1 ordinary; 2 twice as fast */
    double level_db;        /* RMS of a phrase's voiced parts, dBFS, before the spread */
    double level_spread_db; /* phrases lie +-this around it */
    double sibilants_db;    /* added to /s/, /sh/, /z/: 0 as published */
    double breath_share;    /* 0..1 of the phrases begin with a breath */
    SingerRange breath_s;   /* how long */
    SingerRange breath_db;  /* RMS over the RMS of its phrase */
    double gap_clicks;      /* mean number in a gap */
    double word_clicks;     /* mean number in a word, within its voiced parts */
    /* Peak of the click over the RMS of everything else within 25 ms, both in 1..12 kHz. */
    SingerRange gap_click_db, word_click_db;
    double room_db; /* RMS of the room tone, dBFS; -200: none */
    /* Part of the room's stem too: rumble below some 40 Hz as of traffic and handling, and hum of
     * 50 Hz with harmonics as of a mains transformer. RMS, dBFS; -200: none, and so by default. */
    double rumble_db, hum_db;
    /* Another take of the same song by the same singer: with `again` not 0, words begin up to
     * loose_s early or late, sounds within a word last up to a tenth more or less, levels differ by
     * 1 dB, and whatever else chance decides (vibrato, unrest, noises) is drawn from `again`. */
    uint64_t again;
    double loose_s;
} SingerParams;

typedef struct {
    double rate_hz;
    size_t n;   /* frames of every array */
    float *mix; /* the sum of the stems */
    float *stem[SINGER_STEMS];
    float *f0_hz;        /* sung pitch at each frame; 0 where not voiced */
    SingerLabel *labels; /* by start */
    size_t n_labels;
} SingerTake;

/* A singer of that kind with breaths, clicks and room; everything personal drawn from the seed. */
SingerParams singer_params(SingerVoice voice, double rate_hz, uint64_t seed);

/* Sings. false: out of memory, or a score with an unknown letter or no vowel in a syllable.
 * Cost about 10 ms for each second at 48 kHz. */
bool singer_take(const SingerParams *params, SingerTake *take);
void singer_free(SingerTake *take);

/* The sum of some stems: bit k of `mask` takes stem k. out[take->n] is overwritten. */
void singer_mix(const SingerTake *take, unsigned mask, float *out);

/* "voiced", "s", "sh", ...: as written to label files. */
const char *singer_kind_name(SingerKind kind);

/* Adds one mouth click: one to three bursts, each one or two damped resonances of 2..12 kHz, 1 to
 * 30 ms in all, with its start at out[0] and scaled so that its peak in 1..12 kHz is `peak`.
 * Returns its length in frames, at most n; a longer click is cut by a fade. */
size_t singer_click(float *out, size_t n, double rate_hz, double peak, uint64_t seed);

#endif
