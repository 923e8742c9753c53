/* SPDX-License-Identifier: ISC */
/* phrase_marks.h: which steps belong to a phrase, from steps marked as sound; read `behind` steps
 * late, so that short pauses can be joined and a coming phrase announced.
 *
 * Step t is "open" when one of these holds:
 * - it is marked;
 * - it lies within `tail` steps after a marked one;
 * - it lies in a pause between two marks of at most `shortest` steps. A pause whose end is not yet
 *   in sight counts as such until it is longer.
 * Within a step a sound may begin or end, so that little hangs on where steps fall: `late` says how
 * far into its first step a sound begins, and how far into the step after its last it goes on.
 * Marks may be set for any step that was not read yet. Latency `behind` steps. Cost: one scan over
 * them. */
#ifndef SISKIN_DETECT_PHRASE_MARKS_H
#define SISKIN_DETECT_PHRASE_MARKS_H

#include <stdbool.h>
#include <stddef.h>

enum { PHRASE_MARKS_RING = 64, PHRASE_MARKS_NONE = PHRASE_MARKS_RING };

typedef enum { PHRASE_MARK_NOTHING, PHRASE_MARK_SOUND, PHRASE_MARK_BREAK } PhraseMarkKind;

typedef struct {
    bool open;
    /* Steps until the next marked one, 1 and up; PHRASE_MARKS_NONE when none is in sight. */
    size_t ahead;
    /* 0..1 of a step: how far into that step it begins, or into this one if it is its first; and
     * how far into the step after the last marked one it ended. */
    float late, end;
} PhraseMark;

typedef struct {
    size_t behind, tail, shortest;
    struct {
        size_t now;   /* the newest step that may be marked */
        size_t pause; /* steps from the last marked one to the one read, 0 when it is it */
        bool any;     /* a sound was marked so far */
        bool broken;  /* the pause is, so far */
        float end;    /* of the last sound */
        unsigned char marked[PHRASE_MARKS_RING]; /* by step: a PhraseMarkKind */
        float late[PHRASE_MARKS_RING];           /* by step */
    } state;
} PhraseMarks;

/* behind: 0..PHRASE_MARKS_RING - 1 */
void phrase_marks_prepare(PhraseMarks *marks, size_t behind, size_t tail);
void phrase_marks_reset(PhraseMarks *marks);
void phrase_marks_set(PhraseMarks *marks, size_t shortest);
/* Reads `behind` steps late from here on. Fewer: steps between are passed over. More: as many are
 * read again, as the last one that was read. */
void phrase_marks_look(PhraseMarks *marks, size_t behind);
/* The newest step, and the oldest not yet read. */
static inline size_t phrase_marks_now(const PhraseMarks *marks) {
    return marks->state.now;
}
static inline size_t phrase_marks_oldest(const PhraseMarks *marks) {
    return marks->state.now - marks->behind;
}
/* Marks steps first..last, both within oldest..now; nothing when first > last. */
void phrase_marks_add(PhraseMarks *marks, size_t first, size_t last, PhraseMarkKind kind);
/* How far into a step, within oldest..now, what is marked begins or what was marked ends: 0..1.
 * Once it was marked; marking takes it back to 0. */
void phrase_marks_late(PhraseMarks *marks, size_t step, float late);
/* Reads the oldest step, and goes on by one. */
PhraseMark phrase_marks_step(PhraseMarks *marks);

#endif
