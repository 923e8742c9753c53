/* SPDX-License-Identifier: ISC */
/* part.h: one part of a session, from its raw takes to its result.
 *
 * Each step makes a file of others, and is left out when that file is there, made of the same
 * (made.h):
 *
 *   lists/NAME.list         of several takes, the best of each phrase
 *   steps/NAME/joined.wav   the takes joined by the list
 *   steps/NAME/in-time.wav  brought into time with the part that it follows
 *   chains/NAME.chain what it needs, the colour of the reference, and how hard the limiter works
 *   NAME.wav rendered by the chain, at the loudness and the true peak
 *
 * A list or a chain that somebody has edited is obeyed. */
#ifndef SISKIN_FINISH_PART_H
#define SISKIN_FINISH_PART_H

#include "host/host.h"
#include "siskin/finish/session.h"
#include "siskin/render/audio.h"
#include "siskin/render/finish.h"

#define PART_LUFS (-18.0)       /* what a part is brought to, unless another is asked for */
#define PART_MOST_DRIVE_DB 6.0  /* of the limiter, and of a band: more is heard */
#define PART_MOST_COLOUR_DB 6.0 /* of a band, for the colour of the reference: more is no colour */

typedef struct {
    const char *folder, *out;
    const Session *session;
    FinishAim aim;
    double tightness; /* 0..1 */
    AudioBits bits;
} PartJob;

typedef enum { PART_FINISHED, PART_AS_IT_WAS, PART_FAILED, PART_BUSY } PartEnd;

/* Does what is left to do of a part, and writes its row. PART_BUSY: another process is at it. */
PartEnd part_finish(Host *host, const PartJob *job, size_t part);

/* FOLDER/FILE, or FILE when it is a whole path. The caller frees it. */
char *part_input(const PartJob *job, const char *file);
/* What it was before its processors: the take, or what was joined; the path of its row. */
char *part_before(const PartJob *job, size_t part);
char *part_row(const PartJob *job, size_t part);

/* Locks this file, for as long as the process lives, whatever ends it. *lock -1: another has it,
 * and `wait` is false. Fails where there can be no lock. */
bool part_lock(const char *path, bool wait, int *lock, HostError *error);
void part_unlock(int lock);

#endif
