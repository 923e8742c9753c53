/* SPDX-License-Identifier: ISC */
/* salvage.h: past the damage in a file. */
#ifndef SISKIN_RENDER_SALVAGE_H
#define SISKIN_RENDER_SALVAGE_H

#include "siskin/render/audio.h"

/* Nothing can be read at reader->file_at: notes a hole from there to where something can be, one
 * frame at least, to 1024 frames, and places the file at its end. What is good but lies within the
 * last half of a hole may be missed. */
void salvage_skip(AudioReader *reader);

#endif
