/* SPDX-License-Identifier: ISC */
/* singer_work.h: what the parts of the test singer share.
 *
 *   singer_plan.c     what sounds when, and the same song sung again
 *   singer_curves.c   the plan drawn as curves of pitch, voicing and formants
 *   singer_voice.c    the voice itself
 *   singer_noises.c   consonants, breaths, the room
 *   singer_clicks.c   clicks of the mouth
 *   singer.c          all together, with labels and levels
 *
 * Where a bool is returned, false is lack of memory. Times are in seconds, of the take. */
#ifndef SINGER_WORK_H
#define SINGER_WORK_H

#include "basic/maths.h"
#include "signals.h"
#include "singer.h"

#include <math.h>

enum {
    SINGER_FORMANTS = 5,      /* moved by the score; the higher ones stand still */
    SINGER_CONTROL_HZ = 1000, /* grid on which the score is drawn */
};

/* ---- singer_plan.c ---- */

typedef struct {
    char letter;
    SingerKind kind;
    double man[3], woman[3]; /* F1..F3, Hz */
    double level;            /* voicing amplitude, 1 = open vowel */
    double low_s, high_s;    /* how long it lasts */
} Sound;

typedef struct {
    const Sound *sound; /* NULL: silence */
    SingerKind kind;
    double start_s, end_s;
    double note_hz;
    double effort;            /* amplitude the syllable is sung at, about 1 */
    double level_db;          /* of friction over the vowel */
    size_t vowel;             /* the segment that its level is measured against */
    double attack_s, decay_s; /* of voicing, where a neighbour is not voiced */
    bool soft_start;          /* breathy, slow start */
    double burst_s;           /* of a plosive */
} Segment;

typedef struct {
    size_t first, last; /* segments, last included */
    double start_s, end_s;
    double level_db; /* dBFS */
    bool breath;
    double breath_start_s, breath_end_s, breath_db;
} Phrase;

typedef struct {
    double start_s, end_s;
} Word;

enum { MAX_SEGMENTS = 4000, MAX_PHRASES = 200, MAX_WORDS = 1500, MAX_SCORE = 8000 };

typedef struct {
    const SingerParams *params;
    Random random;
    char score[MAX_SCORE];
    Segment segment[MAX_SEGMENTS];
    Phrase phrase[MAX_PHRASES];
    Word word[MAX_WORDS];
    size_t segments, phrases, words;
    double clock_s, end_s;
    double degree; /* of the scale, where the melody is */
} Plan;

static inline bool singer_is_vowel(const Sound *sound) {
    return sound->kind == SINGER_VOICED && sound->level == 1.0;
}

static inline bool singer_is_burst(SingerKind kind) {
    return kind == SINGER_T || kind == SINGER_K || kind == SINGER_P;
}

double singer_in_range(Random *random, SingerRange range);
/* How many, of things of which there are so many on average. */
size_t singer_some(Random *random, double mean);
/* False, too, for a score that cannot be sung. */
bool singer_plan(Plan *plan, const SingerParams *params);
/* Moves what was planned, by the seed `again` of its parameters. */
bool singer_plan_again(Plan *plan);

/* ---- singer_curves.c ---- */

/* A point of the grid. */
typedef struct {
    double pitch;      /* log2 Hz */
    double voicing;    /* amplitude */
    double aspiration; /* amplitude of noise at the glottis, beside that of voicing */
    double formant[SINGER_FORMANTS];
} Control;

size_t singer_grid(double s); /* the point nearest to a time */
/* n points, which are zero before. */
bool singer_draw(const Plan *plan, Control *control, size_t n);
double singer_mixed(double man, double woman, double womanhood);
double singer_fade(double t, double length); /* 0 to 1 by a raised cosine */

/* ---- singer_voice.c ---- */

/* y = a x + b y1 + c y2, Klatt 1980 */
typedef struct {
    double a, b, c, y1, y2;
} Resonator;

static inline void singer_resonator_tune(Resonator *r, double rate_hz, double hz, double width_hz) {
    double radius = exp(-PI * width_hz / rate_hz);
    r->c = -radius * radius;
    r->b = 2.0 * radius * cos(2.0 * PI * hz / rate_hz);
    r->a = 1.0 - r->b - r->c;
}

static inline double singer_resonator_step(Resonator *r, double x) {
    double y = r->a * x + r->b * r->y1 + r->c * r->y2;
    r->y2 = r->y1;
    r->y1 = y;
    return y;
}

bool singer_render_voice(const SingerParams *params, const Control *control, size_t points,
                         SingerTake *take);

/* ---- singer_noises.c, singer_clicks.c ---- */

/* Of friction and bursts over the vowel, dB; 0 for other kinds. */
double singer_published_db(SingerKind kind);
bool singer_render_consonants(const Plan *plan, SingerTake *take);
bool singer_render_breaths(const Plan *plan, SingerTake *take);
void singer_render_room(const SingerParams *params, SingerTake *take);
bool singer_render_rumble(const SingerParams *params, SingerTake *take);
void singer_render_hum(const SingerParams *params, SingerTake *take);
bool singer_render_clicks(const Plan *plan, SingerTake *take);

/* ---- singer.c ---- */

size_t singer_frame(const SingerTake *take, double s);
bool singer_label(SingerTake *take, SingerKind kind, size_t start, size_t end, double value);
double singer_rms(const float *audio, size_t start, size_t end); /* 0 where there is nothing */
/* RMS of the loudest 30 ms of a vowel: what the published levels of fricatives are given against
 * (there, three pitch periods where the vowel is largest). */
double singer_loudest_rms(const SingerTake *take, size_t start, size_t end);

#endif
