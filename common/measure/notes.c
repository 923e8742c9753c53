/* SPDX-License-Identifier: ISC */
#include "measure/notes.h"

#include "basic/maths.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static const double SMOOTH_S = 0.12;
static const float GRID_CENTS = 20.0f, FREE_CENTS = 25.0f, FAR_CENTS = 100.0f;
static const double NEW_NOTE_CENTS_S = 2.8;           /* what a note of its own costs */
static const double EDGE_S = 0.04, EDGE_SHARE = 0.25; /* of a note, at either end: the glides */
static const double GLIDE_S = 0.1, GLIDE_STAYS = 0.7;
static const float GLIDE_NEAR_CENTS = 30.0f;
static const float STRAY_CENTS = 150.0f; /* from the note's median: no part of it */
static const double SHORT_S = 0.25, DRIFT_FROM_S = 0.2, VIBRATO_FROM_S = 0.35;
static const double VIBRATO_LOW_HZ = 4.0, VIBRATO_STEP_HZ = 0.1;
enum { VIBRATO_STEPS = 40 }; /* to 8 Hz */
static const double VIBRATO_EXPLAINS = 0.5, VIBRATO_LEAST_CENTS = 10.0;
static const double NEAR_CENTS = 50.0;

/* The grid reaches over 60..1100 Hz, 5040 cents, and a little more. */
enum { MOST_STEPS = 320, MEDIAN = 11 };

typedef struct {
    const NotesTrack *track;
    float *cents;    /* [n] over MIDI note 0; filled in over short stops; NAN where there is none */
    float *clean;    /* [n] without strays */
    float *smooth;   /* [n] */
    uint8_t *breaks; /* [n] a note begins here */
    SungNote *notes;
    size_t n_notes, room;
} Finder;

/* ---- pitch ---- */

static float cents_of(float hz) {
    return (float)(6900.0 + 1200.0 * log2((double)hz / 440.0));
}

static void read_track(Finder *f) {
    size_t bridge = (size_t)lround(NOTES_BRIDGE_S / f->track->step_s), last = SIZE_MAX;
    for (size_t i = 0; i < f->track->n; i++) {
        f->cents[i] = NAN;
        if (!(f->track->hz[i] > 0.0f))
            continue;
        f->cents[i] = cents_of(f->track->hz[i]);
        for (size_t k = last + 1; last != SIZE_MAX && i - last - 1 <= bridge && k < i; k++)
            f->cents[k] = f->cents[last] +
                          (f->cents[i] - f->cents[last]) * (float)(k - last) / (float)(i - last);
        last = i;
    }
}

static int by_size(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static float median_of(const float *values, size_t n, float *work) {
    memcpy(work, values, n * sizeof *work);
    qsort(work, n, sizeof *work, by_size);
    return work[n / 2];
}

/* The median over MEDIAN readings: a wrong octave of half of that is gone. At the ends of the
 * stretch over fewer, equally many on both sides. */
static void take_off_strays(Finder *f, size_t first, size_t end) {
    float work[MEDIAN];
    for (size_t i = first; i < end; i++) {
        size_t reach = MEDIAN / 2;
        reach = i - first < reach ? i - first : reach;
        reach = end - 1 - i < reach ? end - 1 - i : reach;
        f->clean[i] = median_of(f->cents + i - reach, 2 * reach + 1, work);
    }
}

/* The mean of what there is of the stretch within half of SMOOTH_S, equally far on both sides. */
static void smooth_stretch(Finder *f, size_t first, size_t end) {
    size_t half = (size_t)lround(0.5 * SMOOTH_S / f->track->step_s);
    for (size_t i = first; i < end; i++) {
        size_t reach = half;
        reach = i - first < reach ? i - first : reach;
        reach = end - 1 - i < reach ? end - 1 - i : reach;
        double sum = 0.0;
        for (size_t k = i - reach; k <= i + reach; k++)
            sum += (double)f->clean[k];
        f->smooth[i] = (float)(sum / (double)(2 * reach + 1));
    }
}

/* ---- the cut into notes ---- */

typedef struct {
    float low;     /* cents of grid place 0 */
    size_t places; /* of the grid */
    uint16_t *at;  /* [readings] the cheapest place there, the last note ending there */
    uint8_t *born; /* [readings][places] whether the note of that place begins there */
} Lattice;

static float stray(float cents, float place) {
    float off = fabsf(cents - place) - FREE_CENTS;
    return off < 0.0f ? 0.0f : off < FAR_CENTS ? off : FAR_CENTS;
}

static void run_lattice(const float *x, size_t n, float new_note, const Lattice *l) {
    float cost[MOST_STEPS];
    float least = 0.0f;
    for (size_t p = 0; p < l->places; p++)
        cost[p] = INFINITY;
    for (size_t i = 0; i < n; i++) {
        float next_least = INFINITY;
        for (size_t p = 0; p < l->places; p++) {
            bool born = least + new_note < cost[p];
            cost[p] =
                (born ? least + new_note : cost[p]) + stray(x[i], l->low + GRID_CENTS * (float)p);
            l->born[i * l->places + p] = born;
            if (cost[p] < next_least) {
                next_least = cost[p];
                l->at[i] = (uint16_t)p;
            }
        }
        for (size_t p = 0; p < l->places; p++) /* keeps sums small */
            cost[p] -= next_least;
        least = 0.0f;
    }
}

static bool cut_stretch(Finder *f, size_t first, size_t end) {
    const float *x = f->smooth + first;
    size_t n = end - first;
    float low = x[0], high = x[0];
    for (size_t i = 1; i < n; i++) {
        low = x[i] < low ? x[i] : low;
        high = x[i] > high ? x[i] : high;
    }
    Lattice l = {.low = low, .places = (size_t)ceilf((high - low) / GRID_CENTS) + 1};
    l.places = l.places < MOST_STEPS ? l.places : MOST_STEPS;
    l.at = malloc(n * sizeof *l.at);
    l.born = malloc(n * l.places);
    bool fine = l.at && l.born;
    if (fine) {
        run_lattice(x, n, (float)(NEW_NOTE_CENTS_S / f->track->step_s), &l);
        size_t place = l.at[n - 1];
        for (size_t i = n; i-- > 0;)
            if (l.born[i * l.places + place]) {
                f->breaks[first + i] = 1;
                place = i > 0 ? l.at[i - 1] : 0;
            }
    }
    free(l.at);
    free(l.born);
    return fine;
}

/* ---- glides ---- */

/* The smoothed way from one note to the next may look like a note between them. It is none when it
 * is short, between its neighbours, and the voice does not stay there. */
static bool is_glide(const Finder *f, size_t from, size_t to, float before, float middle,
                     float after) {
    size_t near = 0;
    if ((double)(to - from) * f->track->step_s > GLIDE_S || (before < middle) != (middle < after))
        return false;
    for (size_t i = from; i < to; i++)
        near += fabsf(f->cents[i] - middle) <= GLIDE_NEAR_CENTS;
    return (double)near < GLIDE_STAYS * (double)(to - from);
}

/* Where the pitch comes nearer to the second of two notes. */
static size_t crossing(const Finder *f, size_t from, size_t to, float before, float after) {
    size_t i = from;
    while (i < to && fabsf(f->cents[i] - before) <= fabsf(f->cents[i] - after))
        i++;
    return i;
}

/* The end of the note that begins at `from`, at most `end`. */
static size_t end_of(const Finder *f, size_t from, size_t end) {
    size_t to = from + 1;
    while (to < end && !f->breaks[to])
        to++;
    return to;
}

static void dissolve_glides(Finder *f, size_t first, size_t end, float *work) {
    for (size_t a = first, b, c, d; (b = end_of(f, a, end)) < end; a = b) {
        c = end_of(f, b, end);
        if (c >= end)
            return;
        d = end_of(f, c, end);
        float before = median_of(f->cents + a, b - a, work);
        float middle = median_of(f->cents + b, c - b, work);
        float after = median_of(f->cents + c, d - c, work);
        if (!is_glide(f, b, c, before, middle, after))
            continue;
        f->breaks[b] = f->breaks[c] = 0;
        b = crossing(f, b, c, before, after);
        f->breaks[b] = 1;
    }
}

/* ---- what a note is like ---- */

/* A note's readings between its glides, strays left out: cents over a line, and when, in seconds.
 */
typedef struct {
    double *s, *cents;
    size_t n;
} Core;

static void take_core(const Finder *f, size_t first, size_t end, float middle, Core *core) {
    double step = f->track->step_s;
    size_t edge = (size_t)fmin(EDGE_S / step, EDGE_SHARE * (double)(end - first));
    core->n = 0;
    for (size_t i = first + edge; i + edge < end; i++) {
        if (fabsf(f->cents[i] - middle) > STRAY_CENTS)
            continue;
        core->s[core->n] = (double)i * step;
        core->cents[core->n++] = (double)f->cents[i];
    }
}

/* Takes the least-squares line off; its slope in cents a second. */
static double take_off_line(Core *core) {
    double s = 0.0, c = 0.0, ss = 0.0, sc = 0.0, n = (double)core->n;
    for (size_t i = 0; i < core->n; i++) {
        s += core->s[i] / n;
        c += core->cents[i] / n;
    }
    for (size_t i = 0; i < core->n; i++) {
        ss += (core->s[i] - s) * (core->s[i] - s);
        sc += (core->s[i] - s) * (core->cents[i] - c);
    }
    double slope = ss > 0.0 ? sc / ss : 0.0;
    for (size_t i = 0; i < core->n; i++)
        core->cents[i] -= c + slope * (core->s[i] - s);
    return slope;
}

/* The least-squares cosine and sine of that frequency: how much power they explain. */
static double explain(const Core *core, double hz, double *re, double *im) {
    double cc = 0.0, dd = 0.0, cd = 0.0, xc = 0.0, xd = 0.0;
    for (size_t i = 0; i < core->n; i++) {
        double c = cos(2.0 * PI * hz * core->s[i]), d = sin(2.0 * PI * hz * core->s[i]);
        cc += c * c;
        dd += d * d;
        cd += c * d;
        xc += core->cents[i] * c;
        xd += core->cents[i] * d;
    }
    double det = cc * dd - cd * cd;
    *re = det > 0.0 ? (xc * dd - xd * cd) / det : 0.0;
    *im = det > 0.0 ? (xd * cc - xc * cd) / det : 0.0;
    return *re * xc + *im * xd;
}

static void find_vibrato(const Core *core, SungNote *note) {
    double whole = 0.0, most = 0.0, re, im;
    for (size_t i = 0; i < core->n; i++)
        whole += core->cents[i] * core->cents[i];
    for (int i = 0; i <= VIBRATO_STEPS; i++) {
        double hz = VIBRATO_LOW_HZ + VIBRATO_STEP_HZ * i;
        double power = explain(core, hz, &re, &im);
        if (power <= most)
            continue;
        most = power;
        note->vibrato_hz = hz;
        note->vibrato_cents = hypot(re, im);
    }
    if (most < VIBRATO_EXPLAINS * whole || note->vibrato_cents < VIBRATO_LEAST_CENTS)
        note->vibrato_hz = note->vibrato_cents = 0.0;
}

/* The share of its readings that are voiced and near it. */
static double confidence_of(const Finder *f, size_t first, size_t end, const SungNote *note) {
    double near = 0.0, reach = NEAR_CENTS + note->vibrato_cents;
    for (size_t i = first; i < end; i++)
        near += f->track->hz[i] > 0.0f && fabs((double)f->cents[i] - 100.0 * note->midi) <= reach;
    return near / (double)(end - first);
}

/* The median of a short note; of one that may have vibrato the mean of its own smoothed pitch, in
 * which that averages itself away twice. */
static double centre_of(Finder *f, size_t first, size_t end, float *work) {
    double step = f->track->step_s;
    size_t edge = (size_t)fmin(EDGE_S / step, EDGE_SHARE * (double)(end - first));
    size_t from = first + edge, to = end - edge;
    if ((double)(end - first) * step < SHORT_S)
        return (double)median_of(f->clean + from, to - from, work);
    smooth_stretch(f, first, end);
    double sum = 0.0;
    for (size_t i = from; i < to; i++)
        sum += (double)f->smooth[i];
    return sum / (double)(to - from);
}

static bool add_note(Finder *f, size_t first, size_t end, Core *core, float *work) {
    double step = f->track->step_s;
    if ((double)(end - first) * step < NOTES_SHORTEST_S)
        return true;
    if (f->n_notes == f->room) {
        f->room = f->room ? 2 * f->room : 64;
        SungNote *more = realloc(f->notes, f->room * sizeof *more);
        if (!more)
            return false;
        f->notes = more;
    }
    SungNote *note = &f->notes[f->n_notes];
    float middle = median_of(f->cents + first, end - first, work);
    *note = (SungNote){.start_s = f->track->start_s + ((double)first - 0.5) * step,
                       .end_s = f->track->start_s + ((double)end - 0.5) * step};
    take_core(f, first, end, middle, core);
    if (core->n == 0)
        return true;
    double slope = take_off_line(core), length_s = note->end_s - note->start_s;
    note->midi = 0.01 * centre_of(f, first, end, work);
    note->drift_cents = length_s >= DRIFT_FROM_S ? slope * length_s : 0.0;
    if (length_s >= VIBRATO_FROM_S)
        find_vibrato(core, note);
    note->confidence = confidence_of(f, first, end, note);
    f->n_notes++;
    return true;
}

/* ---- all ---- */

static bool find_in_stretch(Finder *f, size_t first, size_t end, Core *core, float *work) {
    take_off_strays(f, first, end);
    smooth_stretch(f, first, end);
    if (!cut_stretch(f, first, end))
        return false;
    dissolve_glides(f, first, end, work);
    bool fine = true;
    for (size_t from = first, i = first + 1; fine && i <= end; i++)
        if (i == end || f->breaks[i]) {
            fine = add_note(f, from, i, core, work);
            from = i;
        }
    return fine;
}

static bool find_all(Finder *f, Core *core, float *work) {
    size_t n = f->track->n;
    bool fine = true;
    for (size_t i = 0, end; fine && i < n; i = end) {
        for (end = i; end < n && !isnan(f->cents[end]);)
            end++;
        if (end > i)
            fine = find_in_stretch(f, i, end, core, work);
        else
            end = i + 1;
    }
    return fine;
}

SungNote *notes_find(const NotesTrack *track, size_t *count) {
    size_t n = track->n + 1; /* so that nothing asks for no memory */
    Finder f = {.track = track};
    Core core = {malloc(n * sizeof(double)), malloc(n * sizeof(double)), 0};
    float *work = malloc(n * sizeof *work);
    f.cents = malloc(n * sizeof *f.cents);
    f.clean = malloc(n * sizeof *f.clean);
    f.smooth = malloc(n * sizeof *f.smooth);
    f.breaks = calloc(n, 1);
    bool fine = f.cents && f.clean && f.smooth && f.breaks && core.s && core.cents && work;
    if (fine) {
        read_track(&f);
        fine = find_all(&f, &core, work);
    }
    free(core.s);
    free(core.cents);
    free(work);
    free(f.cents);
    free(f.clean);
    free(f.smooth);
    free(f.breaks);
    if (!fine || f.n_notes == 0) {
        free(f.notes);
        f.notes = NULL;
    }
    *count = fine ? f.n_notes : SIZE_MAX;
    return f.notes;
}
