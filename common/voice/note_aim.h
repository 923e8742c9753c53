/* SPDX-License-Identifier: ISC */
/* note_aim.h: which note a singer means, and how far the voice is to be drawn towards it.
 *
 * Of the pitch p of each period (period_marks.h, a median of three, in MIDI notes) a slow centre c
 * is taken:
 *     c = mean of p over the note so far, at most NOTE_AIM_WINDOW_MS, under the window (1 - x^2)^2
 * weighed down where p moves fast, 1 / (1 + (slope / 32 semitones a second)^2). The first third of
 * the note, at most `arrival` ms, is left out: a singer overshoots or scoops there by up to half a
 * semitone, which in a note of 250 ms moved c by 10 cents until its end. The window's first zero is
 * at 1.83 / 333 ms = 5.5 Hz and it is 20 dB down from 4.6 Hz on, so that vibrato (5 to 7 Hz) is not
 * in c; the weight takes out what lies between two notes, and little of a vibrato's own swing,
 * since that is even about its centre. A note is over when p has left c by NOTE_AIM_LEFT semitones
 * for NOTE_AIM_LEFT_MS, half a swing of a slow vibrato; the window then begins where p came within
 * half a semitone of where it is now: what lies before is the way there. While it is younger than
 * NOTE_AIM_YOUNG_MS it may hold such a way yet, and gives up sooner and nearer, twice. Where p
 * leaps by 3 semitones from one period to the next, all before was another note, or was misread,
 * and the window begins at once. The aim is the scale's note nearest to c, once c is
 * NOTE_AIM_DECIDE_MS old; until then e stays where it is. Another note must be nearer by
 * NOTE_AIM_NEARER semitones for NOTE_AIM_DWELL_MS; for NOTE_AIM_DWELL_YOUNG_MS in a young window,
 * and by NOTE_AIM_NEARER_YOUNG in the first 200 ms, in which c still moves. (A condition on pitch
 * and time before a note is changed: "Dynamic Pitch Warping", DAFx 2023, abstract.)
 *     e = strength (aim - c) S(2 (|aim - c| - leave) / leave),  drawn in with the time constant `glide`
 *     correction = e + (vibrato - 1) (p - c)
 * S is the cubic step: nothing is done within `leave`, all from half as much again on. e begins at
 * 0 with each run of marks.
 *
 * All of the pitch is moved by e: scoops, drift and vibrato ride along. Times of change are from a
 * tracker's past: the caller reads e as much later as its latency allows. Cost a mark: 8 operations
 * for each within the window, at most NOTE_AIM_KEPT. */
#ifndef SISKIN_VOICE_NOTE_AIM_H
#define SISKIN_VOICE_NOTE_AIM_H

#include "voice/scale.h"

#include <stdbool.h>
#include <stddef.h>

#define NOTE_AIM_WINDOW_MS 333.0f
#define NOTE_AIM_LEFT 0.7f
#define NOTE_AIM_LEFT_MS 70.0f
#define NOTE_AIM_LEFT_YOUNG 0.35f
#define NOTE_AIM_LEFT_YOUNG_MS 30.0f
#define NOTE_AIM_YOUNG_MS 120.0f
#define NOTE_AIM_DECIDE_MS 35.0f
#define NOTE_AIM_NEARER 0.2f
#define NOTE_AIM_NEARER_YOUNG 0.05f
#define NOTE_AIM_DWELL_MS 60.0f
#define NOTE_AIM_DWELL_YOUNG_MS 20.0f

enum { NOTE_AIM_KEPT = 512 };

typedef struct {
    Scale scale;
    float tuning_hz; /* of A4 */
    float strength;  /* 0..1 */
    float glide_ms;
    float vibrato;    /* 0..2: what is left of what p does about c */
    float leave;      /* semitones */
    float target;     /* MIDI note; 0: the scale's */
    float arrival_ms; /* of a note's beginning that c does not hear, at most; 0: all is heard */
} NoteAimParams;

/* What came of one period. */
typedef struct {
    float note;   /* p, MIDI */
    float centre; /* c */
    float aim;    /* MIDI note; 0: not decided yet */
    float drawn;  /* e, semitones */
} NoteAimed;

typedef struct {
    float ms_per_frame, rate_hz;
    NoteAimParams params;
    struct {
        float last[2];       /* notes before the median */
        size_t in_run;       /* periods so far, at most 3 */
        float run_ms;        /* likewise */
        size_t newest;       /* in `kept` */
        size_t count;        /* periods in the window */
        size_t left;         /* of these, since p left c */
        float left_ms, side; /* for how long; above or below */
        unsigned restarts;   /* of the window, since it was last full grown */
        float age_ms;        /* of the window */
        float dwell_ms;      /* for how long another note has been nearer */
        bool open;           /* a new note is sung, and not yet decided on; the old one is told */
        NoteAimed now;
        struct {
            float note, ms, weight;
        } kept[NOTE_AIM_KEPT];
    } state;
} NoteAim;

void note_aim_prepare(NoteAim *aim, double rate_hz);
void note_aim_reset(NoteAim *aim);
void note_aim_set(NoteAim *aim, const NoteAimParams *params);
/* The next period, in frames, how like it is to its neighbour (PeriodMark), and whether it is the
 * first of a run. */
NoteAimed note_aim_step(NoteAim *aim, double period, float likeness, bool first);
/* Semitones to move a period by, with e as of a later one. */
float note_aim_correction(const NoteAim *aim, const NoteAimed *here, float drawn);

#endif
