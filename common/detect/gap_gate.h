/* SPDX-License-Identifier: ISC */
/* gap_gate.h: of every moment of a take, a fixed time late, whether it belongs to a phrase or to a
 * gap.
 *
 * Works on the moments of a scene. A level is the power from 359 Hz up, in dB. Three thresholds:
 *     open   `threshold`, re the singer's own level or full scale
 *     keep   6 dB lower: as far may fall what has begun; 10 dB more while it is periodic
 *     low    20 dB lower than open: where a sound is taken to begin
 * Re the singer, open is at least 6 dB, the others at least 3 dB over the room, so that
 * room tone opens nothing; before anything was sung, open is 10 dB over
 * the room. Re full scale the threshold is taken at its word, and only `low` minds the room.
 *
 * Outside of a phrase, one begins after 8 hops over `open`, or 3 periodic ones in a row over
 * open - 6 dB: a mouth click is neither. The 8 are a sum: what hops are over, 3 dB at most of
 * each, less what others are under, 8 at most, must come to 24 dB. Where it began is found by
 * sound_start.h, by `low`. It goes on until what hops are under `keep`, 8 dB at most of each,
 * comes to 7.5 dB together, less what they are over it, so that a tail ends at one place
 * wherever its flutter and the hops fall. After that it takes more to go on: what the hops since
 * are over `keep`, 8 dB at most of each, must come to 24 dB in the same way. So the flutter of a
 * room keeps nothing open, and what does hangs little on where hops begin; where a sound begins
 * and ends is told within its hop. 250 ms without any end the phrase. Gaps shorter than
 * `shortest` are joined (phrase_marks.h).
 *
 * Entry. Playback may begin within a word, whose first sound may be a hiss or a creak. So what
 * comes before the first phrase is open as well, until the level has stayed within 6 dB for 270 ms,
 * short clicks apart, as hardly a sound of a word does (fricatives last up to some 250 ms; from
 * memory). With what is seen ahead, a take that begins with its room is open for about 0.15 s.
 *
 * Breath is what the scene takes for it. When breaths are kept, breath over `open` opens as any
 * sound does, and plain breath does down to open - 12 dB. When they are trimmed, what is over
 * `open` counts only if it is not breath, or is periodic, or has been within 3 dB of the
 * singer's level for 8 hops. After a pause it takes 4 such hops to go on, and 16 in a sound that
 * has been breath so far; where that has died away they are counted anew, since its last hops
 * are too weak to be told. A breath that joins a phrase is parted from it where it begins to
 * swell. Either way all of a breath has one fate: the first hops of many look like a consonant
 * and open, so when its start is about to be let out, a sound without voice that is more likely
 * breath than speech, all its hops together, is taken back whole; and what was let in is not
 * parted any more.
 *
 * Little behind. All of this takes 24 hops behind. With fewer, a phrase begins after as many hops
 * in a row as are seen, one at the least, and by as much less, so clicks open; what lies further
 * back than is seen is not let out: the soft start of a word; and a breath to be trimmed is heard
 * until it is told.
 *
 * Latency: `behind` hops, from the newest that was heard to the one that is told of (phrase_marks.h
 * says what it tells). The work of a step is bounded: a few scans over the look-ahead. */
#ifndef SISKIN_DETECT_GAP_GATE_H
#define SISKIN_DETECT_GAP_GATE_H

#include "detect/phrase_marks.h"
#include "detect/sound_start.h"
#include "voice/scene.h"

#include <stdbool.h>
#include <stddef.h>

enum { GAP_GATE_LEAST = VOICE_SENSE_DELAY + 1, GAP_GATE_MOST = 48 }; /* hops behind */

typedef struct {
    float threshold_db; /* < 0 */
    bool absolute;      /* re full scale instead of the singer */
    bool keep_breaths;
    float shortest_ms; /* of the gaps that are trimmed */
} GapGateParams;

typedef struct {
    double hops_per_second;
    size_t wait;      /* hops without sound that end a phrase */
    size_t entry;     /* hops at one level that end the entry */
    size_t fade_room; /* hops left for the fade-in */
    size_t begin;     /* hops in a row that begin a phrase */
    float threshold_db;
    bool absolute, keep_breaths;
    PhraseMarks marks;
    SoundStart start;
    struct {
        bool entering;           /* nothing is known yet */
        size_t steady, louder;   /* hops at one level, so far; in a row that are louder */
        float least_db, most_db; /* of these */
        bool inside;             /* of a phrase */
        bool sounding;           /* in it: without a pause so far */
        float under_db;          /* under `keep`, summed over hops */
        size_t silent;           /* hops since the last sound of a phrase */
        size_t low;              /* hops below `low` */
        size_t breathed;         /* hops of breath in this sound */
        size_t swelling;         /* hops since breath was last near its quietest */
        size_t doubt;            /* hops since the last that is plainly breath */
        float breath_most_db;    /* loudest of the breath */
        float breath_least_db;   /* its quietest level */
        bool voice;              /* was heard in the sound marked last */
        bool doubtful;           /* the last sound to be marked may be a breath */
        size_t first;            /* hop it began */
        float bits;              /* sum since the room: it speaks for breath when above 0 */
        size_t silent_before;    /* as they were when it began */
        bool inside_before;
        float over_db;                  /* over `keep`, summed over hops */
        float run_db;                   /* the same of `run`, over what it must be */
        size_t run, sung_run, loud_run; /* hops that speak for a phrase: the last two in a row */
    } state;                            /* the marks and levels above are history too */
} GapGate;

/* behind: GAP_GATE_LEAST..GAP_GATE_MOST hops. */
void gap_gate_prepare(GapGate *gate, double hops_per_second, size_t behind);
void gap_gate_reset(GapGate *gate);
void gap_gate_set(GapGate *gate, const GapGateParams *params);
/* Another `behind` from here on. */
void gap_gate_look(GapGate *gate, size_t behind);
/* One hop. */
PhraseMark gap_gate_step(GapGate *gate, const SceneMoment *moment);

#endif
