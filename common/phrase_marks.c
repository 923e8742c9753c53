/* SPDX-License-Identifier: ISC */
#include "phrase_marks.h"

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
    marks->state.now = marks->behind;
}

void phrase_marks_set(PhraseMarks *marks, size_t shortest) {
    marks->shortest = shortest;
}

void phrase_marks_add(PhraseMarks *marks, size_t first, size_t last) {
    for (size_t t = first; t <= last; t++)
        marks->state.marked[t & MASK] = 1;
}

static size_t steps_until_marked(const PhraseMarks *marks, size_t from) {
    size_t ahead = PHRASE_MARKS_NONE;
    for (size_t k = marks->behind; k > 0; k--)
        ahead = marks->state.marked[(from + k) & MASK] ? k : ahead;
    return ahead;
}

PhraseMark phrase_marks_step(PhraseMarks *marks) {
    size_t read = phrase_marks_oldest(marks);
    bool marked = marks->state.marked[read & MASK] != 0;
    size_t ahead = steps_until_marked(marks, read);
    marks->state.any |= marked;
    marks->state.pause = marked ? 0 : marks->state.pause + 1;
    size_t rest = ahead == PHRASE_MARKS_NONE ? marks->behind : ahead;
    bool joined = marks->state.any && (marks->state.pause <= marks->tail ||
                                       marks->state.pause + rest - 1 <= marks->shortest);
    marks->state.marked[read & MASK] = 0;
    marks->state.now++;
    return (PhraseMark){.open = marked || joined, .ahead = ahead};
}
