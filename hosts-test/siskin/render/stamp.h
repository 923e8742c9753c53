/* SPDX-License-Identifier: ISC */
/* stamp.h: what an output was made of, as a line in the file: the settings, and size and time of
 * each file that was read. Another line means that it is to be made again. */
#ifndef SISKIN_RENDER_STAMP_H
#define SISKIN_RENDER_STAMP_H

#include "siskin/render/take.h"

/* Adds a file to the hash of the files, in the order of the busses, from TEXT_HASH_BEGIN on. */
uint64_t stamp_file(uint64_t hash, uint64_t bytes, const struct timespec *changed);
void stamp_write(char stamp[TAKE_STAMP], const TakeJob *job, uint64_t files);

/* Of a job as its files are now. */
void stamp_job(const TakeJob *job, char stamp[TAKE_STAMP]);

#endif
