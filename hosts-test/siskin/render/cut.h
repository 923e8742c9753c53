/* SPDX-License-Identifier: ISC */
/* cut.h: files whose container is broken: cut off by a full disk or a broken copy, longer than they
 * say, or with a part that was changed.
 *
 * libsndfile reads most of these without a word, so what a container promises is looked at here:
 * the length of the samples in WAV, RF64, AIFF, W64, CAF and AU, and of Ogg the checksum, the
 * number and the last mark of its pages (RFC 3533, section 6). FLAC tells of damage while it is
 * read. */
#ifndef SISKIN_RENDER_CUT_H
#define SISKIN_RENDER_CUT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { CUT_MOST_HOLES = 64 };

/* A stretch that is not there, in the file's own clock (Ogg: granules). */
typedef struct {
    uint64_t from, to;
} CutHole;

typedef struct {
    uint64_t missing;      /* bytes of samples that the header promises and the file has not */
    uint64_t beyond;       /* bytes after all that the header tells of, which are no chunks */
    uint64_t samples;      /* bytes of samples as the header says; 0: it does not */
    uint64_t samples_from; /* where they begin */
    uint64_t length_at;    /* where the header says how many they are */
    bool is_riff;
    bool is_ogg, no_end; /* its last page is missing */
    CutHole hole[CUT_MOST_HOLES];
    size_t n_holes;
    double granules_hz; /* rate of the clock, 0: as the audio */
    uint64_t skipped;   /* granules before the first frame */
} Cut;

/* The first `most` bytes of a chunk of a WAV; returns how many there are, 0: it has none. */
size_t cut_chunk(int fd, const char *id, unsigned char *bytes, size_t most);

/* Looks at a whole file; its place is left as it was. */
void cut_look(int fd, Cut *cut);

#endif
