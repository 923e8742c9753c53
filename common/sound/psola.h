/* SPDX-License-Identifier: ISC */
/* psola.h: a voice at another pitch, with its formants where they were, by moving its periods.
 *
 * Pitch-synchronous overlap-add in the time domain: Moulines and Charpentier, Speech Communication
 * 9, 453-467, 1990. period_marks.h marks the periods; each is cut out with its neighbours, the left
 * half of its window as long as the period before, the right half as the one after (grains.h), and
 * set down again at new times s:
 *     s[k+1] = s[k] + P / ratio,   P the period at the mark nearest to s[k]
 * s and P are counted along the chain of marks; what marks slide by (period_marks.h) is added to
 * the source of a grain, and over `formant` to where it is set down: the wave itself stays where it
 * was. Between two marks, a share q of the way from one to the other, a grain is 1 - q of the one's
 * period and q of the other's. With the nearer one alone an octave up would sing each period twice,
 * and what differs from period to period would be heard at the pitch it came from. At ratio 1 the s
 * are the marks and the windows add to one: the voice as it was, but for rounding. A grain read
 * `formant` times faster moves the formants by that. Its gain, sqrt(formant / ratio), 3 dB at most,
 * keeps the power of what is added up without phase.
 *
 * Where there are no marks there are no grains: `cover` says how much of the voice is made of
 * grains, 0 on what is not voiced, and rises over the period before the first mark of a run and
 * falls over that after the last. What is heard is (1 - cover) of the delayed input and the grains.
 * A run that is joined to one already left goes on as far from its marks.
 *
 * A source hears the take and marks it, once; any number of voices make grains from it. Good within
 * an octave either way: an octave down is as buzzy as its gaps between grains. Latency:
 * PSOLA_PERIODS periods of PSOLA_LOWEST_HZ and the tracker's PITCH_WINDOW_MS; what is sung lower,
 * to 50 Hz, is marked as well, but later at its start. Cost: period_marks, and 25 operations a
 * frame, channel and grain; grains overlap by 4 ratio / formant, those of
 * the nearer mark alone by 2. */
#ifndef SISKIN_SOUND_PSOLA_H
#define SISKIN_SOUND_PSOLA_H

#include "sound/grains.h"
#include "sound/past_sound.h"
#include "voice/period_marks.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PSOLA_LOWEST_HZ 70.0
#define PSOLA_PERIODS 2.0
#define PSOLA_SILENT 1e-4f /* -80 dBFS: below it there is neither voice nor room */
#define PSOLA_LATENCY_MS (PSOLA_PERIODS * 1000.0 / PSOLA_LOWEST_HZ + PITCH_WINDOW_MS)

enum { PSOLA_CHUNK = 256, PSOLA_EDGES = 16 };

typedef struct {
    size_t latency; /* frames */
    PastSound past;
    PeriodMarks marks;
    struct {
        int64_t frames; /* taken */
        bool sounds;    /* something was heard since the reset */
    } state;
} PsolaSource;

/* 1..2 channels; later_ms: how much later than the latency a voice may read. false: the arena is
 * full. */
bool psola_source_prepare(PsolaSource *source, double rate_hz, unsigned channels, double later_ms,
                          Arena *arena);
void psola_source_reset(PsolaSource *source);
static inline size_t psola_source_latency(double rate_hz) {
    return (size_t)(PSOLA_LATENCY_MS * 1e-3 * rate_hz + 0.5);
}
/* Frames that may be heard at once, >= 1. */
size_t psola_source_room(const PsolaSource *source);
/* Takes n <= psola_source_room() frames from in[channel] + at. true: voices have to be planned, as
 * far as psola_source_until(). */
bool psola_source_hear(PsolaSource *source, const float *const *in, size_t at, size_t n);
/* The time, in frames of the take, that the next frame put out belongs to, and that by which grains
 * must have begun. */
static inline int64_t psola_source_now(const PsolaSource *source) {
    return source->state.frames - (int64_t)source->latency;
}
static inline int64_t psola_source_until(const PsolaSource *source) {
    return psola_source_now(source) + (int64_t)source->marks.tick;
}

/* From `from` on, in `length` frames, towards all covered, or towards none. */
typedef struct {
    double from, length;
    bool rises;
} PsolaEdge;

typedef struct {
    Grains grains;
    bool nearest; /* grains of the nearer mark alone, at half the cost: for ratios within 1.05 */
    struct {
        bool in_run, enters; /* nothing of this run is heard yet */
        uint64_t mark;       /* that of the next grain; else the next not looked at */
        double next;         /* where the next grain goes */
        double moved;        /* how far its place is from where its mark would have it */
        double slid;         /* what the mark of the last grain had slid by */
        double formant;      /* as last told */
        double cover,
            step;     /* how much is covered, 0..1 before its curve; what it moves by a frame */
        size_t edges; /* rises and falls to come */
        PsolaEdge edge[PSOLA_EDGES];
    } state;
} PsolaVoice;

void psola_voice_reset(PsolaVoice *voice);
/* Whether a grain is due, and of which mark. `later`: frames that this voice comes after the
 * source's latency. */
bool psola_voice_wants(PsolaVoice *voice, const PsolaSource *source, double later, uint64_t *mark);
/* Adds it. ratio 0.25..4; formant 0.5..2. */
void psola_voice_add(PsolaVoice *voice, const PsolaSource *source, double later, double ratio,
                     double formant);
/* As long as nothing of it is heard: the next grain goes where its mark is. */
void psola_voice_align(PsolaVoice *voice, const PsolaSource *source);
/* By how much of a period the grain that psola_voice_wants() has named comes after its mark; < 0:
 * before it. */
double psola_voice_behind(const PsolaVoice *voice, const PsolaSource *source);
/* n frames: grains into out[channel] + at, and what they cover. Call before psola_source_hear() of
 * the same n frames. out NULL: unheard. */
void psola_voice_process(PsolaVoice *voice, const PsolaSource *source, int64_t later,
                         float *const *out, float *cover, size_t at, size_t n);

/* What is heard of a frame: where nothing is covered the delayed input itself. */
static inline float psola_heard(float dry, float grains, float cover) {
    return cover > 0.0f ? (1.0f - cover) * dry + grains : dry;
}

#endif
