/* SPDX-License-Identifier: ISC */
/* material.h: what `make quality` judges on: takes of the test singer, and recorded voices from
 * installed packages, with labels; clicks and breaths to lay in.
 *
 * Two sets that share no recording, no singer and no seed: one to tune on, one held back to judge.
 * A recording whose package is not installed is skipped with a notice.
 *
 * Recorded voices carry no labels of their own. Theirs are found here by plain rules on the whole
 * file, which a real-time processor cannot use: see material_label(). */
#ifndef SISKIN_QUALITY_MATERIAL_H
#define SISKIN_QUALITY_MATERIAL_H

#include "signals.h"
#include "singer.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum { MATERIAL_TUNE, MATERIAL_HELD, MATERIAL_SETS } MaterialSet;

typedef struct {
    char name[64];
    bool recorded;
    double rate_hz;
    size_t n;
    float *audio;        /* a recording as it is; a sung take without its clicks */
    SingerLabel *labels; /* by start. Recorded: phrases, words, gaps, sibilants (as SINGER_S,
                          * those under 40 ms as SINGER_Z) */
    size_t n_labels;
    SingerTake take;   /* sung only: the stems; its labels are lent to `labels` */
    float *breaths;    /* made by material_breaths(): what of `audio` is breath */
    bool gaps_unknown; /* there may be breaths beside those labelled */
    bool
        no_breaths; /* none are laid in: its noise comes and goes, or its gaps were not looked at */
} Voice;

void voice_free(Voice *voice);
/* Appends a label, value 0. false: out of memory. */
bool voice_label(Voice *voice, SingerKind kind, size_t start, size_t end);

typedef struct {
    Voice *voices;
    size_t count;
} Material;

/* Loads and sings everything of one set. notice: where to say what is skipped, or NULL.
 * false: out of memory. */
bool material_load(MaterialSet set, void (*notice)(const char *line), Material *material);
void material_free(Material *material);
/* A set's reader of prompts who takes no breath, `longest_s` of it: none of what material_load()
 * gives. false: the package is not installed, or out of memory. */
bool material_reader(MaterialSet set, double longest_s, Voice *voice);

/* Labels the utterances (as a phrase of one word each), gaps and sibilants of a recording, from its
 * audio; labels made before (breaths) are kept. false: out of memory. */
bool material_label(Voice *voice);

/* The band in which clicks are judged, 1..12 kHz, its top at most
 * 0.45 of the rate. */
double material_click_top(double rate_hz);

/* ---- Energy of a band, quick to read between any two frames ---- */

typedef struct {
    double *sum; /* sum[i]: energy of frames 0..i-1 */
    size_t n;
} Energy;

/* Energy of the band low..high (edges as in signals_band). false: out of memory. */
bool energy_of(const float *audio, size_t n, double rate_hz, double low_hz, double high_hz,
               Energy *energy);
void energy_free(Energy *energy);
double energy_between(const Energy *energy, size_t start, size_t end);
/* RMS in dBFS between two frames, at least ENERGY_FLOOR_DB: below what any room leaves. */
double energy_db(const Energy *energy, size_t start, size_t end);
#define ENERGY_FLOOR_DB (-100.0)

/* ---- Clicks laid in ---- */

typedef struct {
    size_t start, end;
    bool in_word;
    double height_db; /* peak over the RMS of the voice within 25 ms, both in the click band */
} Click;

/* Lays clicks into `audio` (a copy of voice->audio): in words at 10..20 dB, in gaps at 12..35 dB;
 * a sung take first gets those of its singer. The clicks laid here are of another make than the
 * singer's: bands of noise under a gamma-shaped envelope, in one to three bursts of 1 to 15 ms.
 * Returns the number of clicks, in `clicks` (by start), which the caller frees. */
size_t material_clicks(const Voice *voice, unsigned long long seed, float *audio, Click **clicks);
/* The same of that make in gaps alone, 25..45 dB high, where the like stands out of nothing. */
size_t material_loud_clicks(const Voice *voice, unsigned long long seed, float *audio,
                            Click **clicks);

/* ---- Breaths laid in ---- */

/* A take to judge breaths on. Sung: the singer's own with everything in it. A recording with
 * breaths labelled by hand: as it is. Any other recording: its utterances by ones and twos, apart
 * by pauses with room tone at the recording's own floor, in most of which lies a breath cut from
 * those of this set labelled by hand (or, when they are not installed, of a test singer), 15..38 dB
 * under the phrase after it and over the room. Fills `made`; free it by voice_free().
 * false: out of memory, or nothing to lay into. */
bool material_breaths(const Material *material, const Voice *voice, unsigned long long seed,
                      Voice *made);

/* ---- Sibilants made hot ---- */

/* The take (voice->audio) with its sibilants raised by `db`: of a sung take their stem, of a
 * recording what lies above 2.5 kHz within the labels. false: out of memory. */
bool material_hot(const Voice *voice, double db, float *hot);

#endif
