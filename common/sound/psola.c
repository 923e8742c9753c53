/* SPDX-License-Identifier: ISC */
#include "sound/psola.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

/* More than an octave down no gain makes up for the gaps between grains. */
static const double MOST_GAIN = 1.4142;
/* Of a period: a grain no farther than this after the last mark of a run is sung, since a steep end
 * is bitten by ending early. */
static const double LONGER = 0.55;
/* Of the way to another mark: nearer than this the other's period would not be heard. */
static const double BESIDE = 0.02;

bool psola_source_prepare(PsolaSource *source, double rate_hz, unsigned channels, double later_ms,
                          Arena *arena) {
    source->latency = psola_source_latency(rate_hz);
    /* A grain of the longest period reaches back by two of them, twice as fast, and the kernel a
     * little more. */
    size_t frames =
        source->latency + (size_t)((later_ms + 80.0) * 1e-3 * rate_hz) + (size_t)2 * PSOLA_CHUNK;
    return past_sound_prepare(&source->past, channels, frames, arena) &&
           period_marks_prepare(&source->marks, rate_hz, PSOLA_LATENCY_MS, arena);
}

void psola_source_reset(PsolaSource *source) {
    past_sound_reset(&source->past);
    period_marks_reset(&source->marks);
    memset(&source->state, 0, sizeof source->state);
}

size_t psola_source_room(const PsolaSource *source) {
    size_t room = period_marks_room(&source->marks);
    return room < PSOLA_CHUNK ? room : PSOLA_CHUNK;
}

/* Whether any of it is over PSOLA_SILENT. */
static bool any_sound(const float *in, size_t n) {
    float most = 0.0f;
    for (size_t i = 0; i < n; i++)
        most = maths_larger(most, fabsf(in[i]));
    return most > PSOLA_SILENT;
}

bool psola_source_hear(PsolaSource *source, const float *const *in, size_t at, size_t n) {
    float mean[PSOLA_CHUNK];
    maths_middle(in, source->past.channels, at, n, mean);
    past_sound_write(&source->past, in, at, n);
    source->state.frames += (int64_t)n;
    source->state.sounds = source->state.sounds || any_sound(mean, n);
    return period_marks_process(&source->marks, mean, n);
}

/* ---- a voice ---- */

void psola_voice_reset(PsolaVoice *voice) {
    grains_reset(&voice->grains);
    memset(&voice->state, 0, sizeof voice->state);
    voice->state.formant = 1.0;
}

static const PeriodMark *mark_at(const PsolaVoice *voice, const PsolaSource *source) {
    return period_mark(&source->marks, voice->state.mark);
}

/* Where a mark would lie had none of its run slid: grains keep their distance from there, and slide
 * as their marks do. */
static double chained(const PeriodMark *mark) {
    return mark->at - mark->slid;
}

/* From the mark before it; of the first in a run, to the next. */
static double distance(const PsolaSource *source, uint64_t number) {
    const PeriodMark *mark = period_mark(&source->marks, number);
    return mark->first ? mark->period : mark->at - period_mark(&source->marks, number - 1)->at;
}

static bool known(const PsolaSource *source, uint64_t mark) {
    return mark < period_marks_count(&source->marks);
}

static void add_edge(PsolaVoice *voice, double from, double to, bool rises) {
    if (voice->state.edges < PSOLA_EDGES)
        voice->state.edge[voice->state.edges++] = (PsolaEdge){from, fmax(1.0, to - from), rises};
}

/* A fall that has not begun yet need not be. */
static bool stay(PsolaVoice *voice, double now) {
    size_t last = voice->state.edges - 1;
    if (voice->state.edges == 0 || voice->state.edge[last].rises ||
        voice->state.edge[last].from <= now)
        return false;
    voice->state.edges--;
    return true;
}

/* Into the next run, at its first mark; into the one that was left, when it has been joined, at the
 * distance from its marks that there was. Grains that are too late are not heard, but count, or the
 * distance would hang on when a run was found. */
static bool enter(PsolaVoice *voice, const PsolaSource *source, double now) {
    uint64_t count = period_marks_count(&source->marks);
    bool lost = count > voice->state.mark + PERIOD_MARKS_KEPT / 2;
    if (lost)
        voice->state.mark = count - PERIOD_MARKS_KEPT / 2;
    if (!known(source, voice->state.mark))
        return false;
    const PeriodMark *mark = mark_at(voice, source);
    bool joined = !mark->first && !lost;
    voice->state.next = chained(mark) + (joined ? voice->state.moved : 0.0);
    voice->state.slid = mark->slid;
    voice->state.in_run = true;
    voice->state.enters = !joined || !stay(voice, now);
    return true;
}

static void leave(PsolaVoice *voice, const PeriodMark *last, double now) {
    voice->state.in_run = false;
    voice->state.mark++;
    double from = fmax(now, last->at);
    add_edge(voice, from, from + last->period, false);
}

/* Takes the mark nearest to the next grain's place; false: the run is over before that. */
static bool follow(PsolaVoice *voice, const PsolaSource *source, double now) {
    const PeriodMark *mark = mark_at(voice, source);
    while (!mark->last && known(source, voice->state.mark + 1)) {
        const PeriodMark *after = period_mark(&source->marks, voice->state.mark + 1);
        if (voice->state.next - chained(mark) < chained(after) - voice->state.next)
            return true;
        mark = after;
        voice->state.mark++;
    }
    if (!mark->last || voice->state.next <= chained(mark) + LONGER * mark->period)
        return true;
    leave(voice, mark, now);
    return false;
}

bool psola_voice_wants(PsolaVoice *voice, const PsolaSource *source, double later, uint64_t *mark) {
    const double now = (double)psola_source_now(source) - later;
    const double until = (double)psola_source_until(source) - later;
    while (voice->state.in_run || enter(voice, source, now)) {
        if (!follow(voice, source, now))
            continue;
        *mark = voice->state.mark;
        double left = distance(source, *mark) / voice->state.formant;
        return voice->state.next + mark_at(voice, source)->slid - left < until;
    }
    return false;
}

/* A grain cut at one mark, or, between two, as much of both as it lies near them. */
typedef struct {
    const PeriodMark *mark, *other;
    double share; /* of the other */
    double moves; /* to the next mark, along the chain */
    Grain grain;  /* without what is the mark's */
} Cut;

static void choose_marks(const PsolaVoice *voice, const PsolaSource *source, Cut *cut) {
    const PeriodMark *mark = mark_at(voice, source);
    bool more = !mark->last && known(source, voice->state.mark + 1);
    const PeriodMark *next = more ? period_mark(&source->marks, voice->state.mark + 1) : NULL;
    double off = voice->state.next - chained(mark);
    cut->mark = cut->other = mark;
    cut->moves = next ? chained(next) - chained(mark) : mark->period;
    cut->grain.left = distance(source, voice->state.mark);
    cut->grain.right = next ? next->at - mark->at : mark->period;
    if (!voice->nearest && off > 0.0 && next)
        cut->other = next;
    else if (!voice->nearest && off < 0.0 && !mark->first)
        cut->other = period_mark(&source->marks, voice->state.mark - 1);
    double way = chained(cut->other) - chained(mark);
    cut->share = fabs(off) > BESIDE * fabs(way) && way != 0.0 ? fmin(0.5, off / way) : 0.0;
}

static void add_cut(PsolaVoice *voice, const Cut *cut, double later) {
    const PeriodMark *from[2] = {cut->mark, cut->other};
    const double shares[2] = {1.0 - cut->share, cut->share};
    for (int k = 0; k < 2 && shares[k] > 0.0; k++) {
        Grain grain = cut->grain;
        /* What is read faster lies that much nearer to the place of its grain. */
        double slides = (from[k]->slid - cut->mark->slid) / grain.speed;
        grain.centre = voice->state.next + cut->mark->slid + slides + later;
        grain.source = from[k]->at;
        grain.gain *= (float)shares[k];
        grains_add(&voice->grains, &grain);
    }
}

void psola_voice_add(PsolaVoice *voice, const PsolaSource *source, double later, double ratio,
                     double formant) {
    const double now = (double)psola_source_now(source) - later;
    Cut cut = {.grain = {.speed = formant, .gain = (float)fmin(MOST_GAIN, sqrt(formant / ratio))}};
    choose_marks(voice, source, &cut);
    double left = cut.grain.left / formant;
    voice->state.next += (1.0 / formant - 1.0) * (cut.mark->slid - voice->state.slid);
    voice->state.slid = cut.mark->slid;
    double centre = voice->state.next + cut.mark->slid, possible = centre - now;
    voice->state.formant = formant;
    bool late = possible < (voice->state.enters ? 0.5 * left : 1.0);
    if (voice->state.enters && !late) {
        add_edge(voice, fmax(now, centre - left), centre, true);
        voice->state.enters = false;
    }
    cut.grain.left = left < possible ? left : possible;
    cut.grain.right /= formant;
    if (!late)
        add_cut(voice, &cut, later);
    voice->state.next += cut.moves / ratio;
    voice->state.moved = voice->state.next - (chained(cut.mark) + cut.moves);
}

double psola_voice_behind(const PsolaVoice *voice, const PsolaSource *source) {
    const PeriodMark *mark = mark_at(voice, source);
    return (voice->state.next - chained(mark)) / mark->period;
}

void psola_voice_align(PsolaVoice *voice, const PsolaSource *source) {
    /* where no later mark is known yet, the grain after this one, and not this one again */
    if (voice->state.in_run && fabs(psola_voice_behind(voice, source)) < 0.75)
        voice->state.next = chained(mark_at(voice, source));
}

/* The edge whose time has come, and what has passed of it. */
static double take_edge(PsolaVoice *voice, double now) {
    const PsolaEdge edge = voice->state.edge[0];
    voice->state.step = (edge.rises ? 1.0 : -1.0) / edge.length;
    voice->state.edges--;
    memmove(voice->state.edge, voice->state.edge + 1, voice->state.edges * sizeof edge);
    return now - edge.from;
}

static void covered(PsolaVoice *voice, int64_t t, float *cover, size_t n) {
    for (size_t i = 0; i < n; i++) {
        double now = (double)(t + (int64_t)i), moves = 1.0;
        while (voice->state.edges > 0 && voice->state.edge[0].from <= now)
            moves = take_edge(voice, now);
        double p = voice->state.cover + moves * voice->state.step;
        voice->state.cover = p < 0.0 ? 0.0 : p > 1.0 ? 1.0 : p;
        cover[i] = grain_rise((float)voice->state.cover);
    }
}

void psola_voice_process(PsolaVoice *voice, const PsolaSource *source, int64_t later,
                         float *const *out, float *cover, size_t at, size_t n) {
    const int64_t t = psola_source_now(source);
    covered(voice, t - later, cover + at, n);
    grains_process(&voice->grains, &source->past, t, out, at, n);
}
