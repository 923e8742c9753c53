/* SPDX-License-Identifier: ISC */
/* origin.h: what an output keeps of its take besides the sound, and how it tells what it was made
 * of. */
#ifndef SISKIN_RENDER_ORIGIN_H
#define SISKIN_RENDER_ORIGIN_H

#include "siskin/render/audio.h"

/* Time stamp (EBU Tech 3285), markers, titles, and the stamp, into a file that was just opened.
 * What its container does not hold goes into writer->notes. */
void origin_keep(AudioWriter *writer, const AudioOrigin *origin);

/* Whether a file says that it was made with this stamp. */
bool origin_is(const char *path, const char *stamp);

#endif
