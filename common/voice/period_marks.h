/* SPDX-License-Identifier: ISC */
/* period_marks.h: one mark in each period of a voice, where its energy is.
 *
 * For cutting a voice into its periods. That all marks lie alike in their periods keeps the pitch,
 * so they are chained: from a mark at a, the next is at a + l where
 *     r(l) = sum x[a+j] x[a+l+j] / sqrt(sum x[a+j]^2 sum x[a+l+j]^2),  |j| <= half a period
 * is largest within PERIOD_MARKS_SEARCH of the last period (Talkin, "A robust algorithm for pitch
 * tracking", in Speech Coding and Synthesis, 1995, for r; refined by a parabola between lags). A
 * run of marks begins when pitch.h has read a periodic sound twice alike: its first mark is where
 * the energy of the last period is centred (energy_centre.h), and from there marks are chained
 * backwards as far as the sound is the same and the caller can still use it, and then forwards as
 * it comes. It ends where r falls below PERIOD_MARKS_LEAST, where the sound falls by 40 dB, where
 * what is above 2.5 kHz (first order) has PERIOD_MARKS_HISS times the power of the low band, since
 * a voice that dies away under a sibilant is not to carry it along, or where pitch.h has read
 * something else three times: an octave taken for another does not last; or where a period is under
 * PERIOD_MARKS_SHORTEST of one of PERIOD_MARKS_HIGHEST_HZ.
 *
 * That they lie where the energy is keeps the level: a grain cut elsewhere holds up to 3 dB less.
 * The vowel moves the energy within the period, and where a run is found hangs on the hops. So each
 * mark slides 0.4 of the way to the centre of the energy, times its depth, at most a 20th of a
 * period; `slid` tells how far a run's marks have done so, and at - slid is the chain. After a few
 * periods marks do not depend on where their run began.
 *
 * x is the low band of pitch.h, under 2.4 kHz at some 9.6 kHz. All is decided at ticks of about a
 * millisecond, counted from the reset. A mark is known 0.7 periods and two ticks after it was sung;
 * the first ones 12 ms and the tracker's hop later. Valid for rates of 8 to 192 kHz, 50 to 1500 Hz.
 * Jitter of marks on a steady tone under 0.5 % of a period. Work at a tick: at most two marks of
 * 0.24 P^2 products and 16 P operations, P some 10 to 190 frames of the low band, and once a run up
 * to 40 ms of them. */
#ifndef SISKIN_VOICE_PERIOD_MARKS_H
#define SISKIN_VOICE_PERIOD_MARKS_H

#include "basic/arena.h"
#include "voice/energy_centre.h"
#include "voice/pitch.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PERIOD_MARKS_SEARCH 0.12
#define PERIOD_MARKS_LEAST 0.6f
#define PERIOD_MARKS_BEGIN 0.8f
#define PERIOD_MARKS_HISS 10.0f
#define PERIOD_MARKS_HIGHEST_HZ 1500.0
#define PERIOD_MARKS_SHORTEST 0.8

enum { PERIOD_MARKS_KEPT = 256, PERIOD_MARKS_LOW = 2048, PERIOD_MARKS_TICKS = 64 };

typedef struct {
    double at; /* frames since the reset, between them too */
    /* Of the voice, since the mark before it; of the first mark in a run, to the next one. */
    double period;
    /* Frames that the marks of this run have slid by so far: at - slid lies where the chain alone
     * would have it. */
    double slid;
    float likeness;   /* r with its neighbour */
    bool first, last; /* of a run; `last` may come to be known two periods later */
} PeriodMark;

typedef struct {
    Pitch pitch;
    double lowest_hz, highest_hz;
    EnergyWindows windows;
    size_t tick;  /* frames */
    size_t reach; /* frames: marks older than this are of no use to the caller when a run begins */
    float smooth; /* pole of what is not high */
    float *low;   /* [2 * PERIOD_MARKS_LOW] the low band, every value twice */
    struct {
        size_t filled;                  /* frames of this tick */
        int64_t frames;                 /* taken, at the end of the last tick */
        int64_t newest;                 /* values of the low band so far */
        float lowered, high_now;        /* the smoothed input; power of the rest in this tick */
        float high[PERIOD_MARKS_TICKS]; /* that power, by tick, a mean square */
        bool read;                      /* there is a new reading */
        bool in_run;
        unsigned alike;  /* readings in a row that were periodic and close to the one before */
        unsigned unlike; /* readings in a row that say another period than the run has */
        float last_hz;
        double mark;    /* the newest, in values of the low band */
        double period;  /* likewise */
        double slid;    /* likewise, since the run began */
        float loudest;  /* power around a mark of this run */
        uint64_t count; /* marks found so far */
        PeriodMark kept[PERIOD_MARKS_KEPT];
    } state;
} PeriodMarks;

/* reach_ms: how late the caller's output is. false: the arena is full. */
bool period_marks_prepare(PeriodMarks *marks, double rate_hz, double reach_ms, Arena *arena);
void period_marks_reset(PeriodMarks *marks);
/* From here on no period of a note outside of this is begun with; 50..1500 Hz. */
void period_marks_set_range(PeriodMarks *marks, double lowest_hz, double highest_hz);
/* Frames until the end of the tick, >= 1. */
static inline size_t period_marks_room(const PeriodMarks *marks) {
    return marks->tick - marks->state.filled;
}
/* Takes n <= period_marks_room() frames. true: a tick is over, and there may be new marks. */
bool period_marks_process(PeriodMarks *marks, const float *in, size_t n);

/* Marks so far; those from count - PERIOD_MARKS_KEPT on can be asked for. */
static inline uint64_t period_marks_count(const PeriodMarks *marks) {
    return marks->state.count;
}
static inline const PeriodMark *period_mark(const PeriodMarks *marks, uint64_t number) {
    return &marks->state.kept[number % PERIOD_MARKS_KEPT];
}

#endif
