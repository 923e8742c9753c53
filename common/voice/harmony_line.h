/* SPDX-License-Identifier: ISC */
/* harmony_line.h: how far each period of a sung line is to be moved, to be a second line so many
 * degrees of the scale over it.
 *
 * note_aim.h tells the note a that is meant by the periods so far, with its hysteresis and dwell;
 * the second line's note is h(a) = a moved by `steps` degrees (scale.h). A period of pitch p is
 * moved by
 *     h(a) - a + e,   e = a - c drawn in with HARMONY_LINE_GLIDE_MS
 * so that the line is in tune where the lead is not, and vibrato, scoops and drift ride along. c is
 * a mean over the past, so e is read later than p: by HARMONY_LINE_AHEAD_MS, and once c is
 * HARMONY_LINE_GROWN_MS old by HARMONY_LINE_GROWN_AHEAD_MS, as long as the note is the same and p
 * keeps near to c.
 *
 * A note is known 40 to 100 ms after it began. The caller is so much late, and by then it is known
 * where the note before it ended: back from where another note b is meant, the way from a to b is
 * taken as it was sung, by its share
 *     w = (p - a) / (b - a), held to 0..1:   h = (1 - w) (h(a) - a) + w (h(b) - b)
 * back to the period where w is HARMONY_LINE_LEFT. So the line goes from note to note as smoothly
 * as the lead does, and has neither the old interval over the new note nor the other way round.
 * Periods before a run's first note is known belong to it.
 *
 * Cost: note_aim, and at a new note some 10 operations for each period of the last
 * HARMONY_LINE_BACK_MS. */
#ifndef SISKIN_VOICE_HARMONY_LINE_H
#define SISKIN_VOICE_HARMONY_LINE_H

#include "voice/note_aim.h"
#include "voice/period_marks.h"

#include <stdbool.h>
#include <stdint.h>

#define HARMONY_LINE_GLIDE_MS 40.0f
#define HARMONY_LINE_LEFT 0.1f
#define HARMONY_LINE_BACK_MS 150.0f
#define HARMONY_LINE_AHEAD_MS 40.0f
#define HARMONY_LINE_GROWN_MS 200.0f
#define HARMONY_LINE_GROWN_AHEAD_MS 80.0f

typedef struct {
    Scale scale;
    float tuning_hz; /* of A4 */
    int steps;       /* degrees, below 0 downwards */
} HarmonyLineParams;

/* What is known of one period. */
typedef struct {
    double at;       /* frames */
    float note, aim; /* p; a, 0: not known yet */
    float drawn;     /* e */
    float interval;  /* h */
    bool first;      /* of a run */
    bool grown;      /* c is HARMONY_LINE_GROWN_MS old */
    bool away;       /* p lies far from c: it may be on its way to another note */
} HarmonyPeriod;

typedef struct {
    float ms_per_frame;
    HarmonyLineParams params;
    NoteAim aim;
    struct {
        uint64_t count;                          /* marks seen */
        HarmonyPeriod period[PERIOD_MARKS_KEPT]; /* by number of mark */
    } state;
} HarmonyLine;

void harmony_line_prepare(HarmonyLine *line, double rate_hz);
void harmony_line_reset(HarmonyLine *line);
void harmony_line_set(HarmonyLine *line, const HarmonyLineParams *params);
/* Takes the marks that are new. */
void harmony_line_hear(HarmonyLine *line, const PeriodMarks *marks);
/* Semitones that the period of that mark is to be moved by, as far as is known now; the mark one of
 * the last PERIOD_MARKS_KEPT. */
float harmony_line_semitones(const HarmonyLine *line, uint64_t mark);

#endif
