/* SPDX-License-Identifier: ISC */
/* cut.h: files that were cut off, by a full disk or a broken copy.
 *
 * libsndfile quietly shortens most, so the length that WAV, RF64, AIFF, W64, CAF and AU promise is
 * looked at here, and Ogg's mark on its last page (RFC 3533, section 6). FLAC and MP3 fail by
 * themselves while they are read, but for an MP3 whose header tells no length. */
#ifndef SISKIN_RENDER_CUT_H
#define SISKIN_RENDER_CUT_H

#include <stdbool.h>
#include <stddef.h>

/* True: the file is cut off, and `why` (of `size` bytes) goes on after its name: "is cut off: ...".
 * The place in the file is left as it was. */
bool cut_off(int fd, char *why, size_t size);

#endif
