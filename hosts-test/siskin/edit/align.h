/* SPDX-License-Identifier: ISC */
/* align.h: where each sound of a double comes, so that it keeps time with the lead.
 *
 * Phrases of both are matched by where they lie; within a match, warp.h finds equal moments.
 * Anchors stand where the lead's sounds set in (the onset strength of hearing.h has a peak) and
 * where phrases end. Each is refined within 40 ms by the correlation of how suddenly both takes
 * set in around it, every ms (hearing_edges). What moves, moves by
 *     tightness (lead - double), nothing where they are within 8 ms
 * and so that no stretch between two anchors gets shorter than half or longer than twice. A phrase
 * that only one of them has is left where it is. */
#ifndef SISKIN_EDIT_ALIGN_H
#define SISKIN_EDIT_ALIGN_H

#include "siskin/edit/hearing.h"
#include "siskin/edit/time_map.h"

#define ALIGN_NEAR_MS 8.0

typedef struct {
    double lead, take; /* frames */
    double likeness;   /* of what is around both, -1..1 */
} AlignAnchor;

typedef enum {
    ALIGN_MATCHED,
    ALIGN_LACKING, /* the lead has it alone */
    ALIGN_EXTRA,   /* the double has it alone */
    ALIGN_OTHER,   /* both sing there, but not the same */
} AlignKind;

typedef struct {
    AlignKind kind;
    HearingSpan lead, take; /* frames; what it is in either, as far as there is one */
    size_t first, n;        /* its anchors */
    double distance;        /* of the warp, nats */
} AlignPhrase;

typedef struct {
    AlignPhrase *phrases; /* in the order of their times */
    size_t n;
    AlignAnchor *anchors;
    size_t n_anchors;
    TimeMap map; /* of the double */
} Alignment;

/* Both at one rate, audio as the hearing is of. tightness 0..1. false: out of memory. */
bool align_find(Alignment *alignment, const Hearing *lead, const float *lead_audio,
                const Hearing *take, const float *take_audio, double tightness);
void align_free(Alignment *alignment);

#endif
