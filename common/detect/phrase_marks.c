/* SPDX-License-Identifier: ISC */
#include "detect/phrase_marks.h"

#include <string.h>

enum { MASK = PHRASE_MARKS_RING - 1 };

void phrase_marks_prepare(PhraseMarks *marks, size_t behind, size_t tail) {
    marks->behind = behind < MASK ? behind : MASK;
    marks->tail = tail;
    marks->shortest = 0;
    phrase_marks_reset(marks);
}

void phrase_marks_reset(PhraseMarks *marks) {
    memset(&marks->state, 0, sizeof marks->state);
    marks->state.now = PHRASE_MARKS_RING;
}

void phrase_marks_set(PhraseMarks *marks, size_t shortest) {
    marks->shortest = shortest;
}

void phrase_marks_add(PhraseMarks *marks, size_t first, size_t last, PhraseMarkKind kind) {
    for (size_t t = first; t <= last; t++) {
        marks->state.marked[t & MASK] = (unsigned char)kind;
        marks->state.late[t & MASK] = 0.0f;
    }
}

void phrase_marks_late(PhraseMarks *marks, size_t step, float late) {
    marks->state.late[step & MASK] = late;
}

/* Steps to the next sound; *broken: there is a break before it, or in sight. */
static size_t look_ahead(const PhraseMarks *marks, size_t from, bool *broken) {
    size_t ahead = PHRASE_MARKS_NONE;
    *broken = false;
    for (size_t k = marks->behind; k > 0; k--) {
        unsigned kind = marks->state.marked[(from + k) & MASK];
        ahead = kind == PHRASE_MARK_SOUND ? k : ahead;
        *broken = kind == PHRASE_MARK_SOUND ? false : *broken || kind == PHRASE_MARK_BREAK;
    }
    return ahead;
}

/* The oldest step becomes a part of what has been; whether it sounds. */
static bool pass_oldest(PhraseMarks *marks) {
    unsigned char *mark = &marks->state.marked[phrase_marks_oldest(marks) & MASK];
    bool sound = *mark == PHRASE_MARK_SOUND;
    marks->state.any |= sound;
    if (marks->state.pause == 0 && !sound)
        marks->state.end = marks->state.late[phrase_marks_oldest(marks) & MASK];
    marks->state.pause = sound ? 0 : marks->state.pause + 1;
    marks->state.broken = !sound && (marks->state.broken || *mark == PHRASE_MARK_BREAK);
    *mark = PHRASE_MARK_NOTHING;
    return sound;
}

void phrase_marks_look(PhraseMarks *marks, size_t behind) {
    behind = behind < MASK ? behind : MASK;
    for (; marks->behind > behind; marks->behind--)
        pass_oldest(marks);
    bool sounding = marks->state.any && marks->state.pause == 0;
    for (; marks->behind < behind; marks->behind++)
        if (sounding)
            marks->state.marked[(phrase_marks_oldest(marks) - 1) & MASK] = PHRASE_MARK_SOUND;
}

PhraseMark phrase_marks_step(PhraseMarks *marks) {
    size_t read = phrase_marks_oldest(marks);
    size_t before = marks->state.pause;
    bool broken, sound = pass_oldest(marks);
    size_t ahead = look_ahead(marks, read, &broken);
    broken |= marks->state.broken;
    size_t rest = ahead == PHRASE_MARKS_NONE ? marks->behind : ahead;
    bool joined = marks->state.pause <= marks->tail ||
                  (!broken && marks->state.pause + rest - 1 <= marks->shortest);
    marks->state.now++;
    marks->state.marked[marks->state.now & MASK] = PHRASE_MARK_NOTHING;
    marks->state.late[marks->state.now & MASK] = 0.0f;
    size_t first = sound && before > 0 ? read : read + ahead;
    return (PhraseMark){.open = sound || (joined && marks->state.any),
                        .ahead = ahead,
                        .late = marks->state.late[first & MASK],
                        .end = marks->state.end};
}
