/* SPDX-License-Identifier: ISC */
#include "siskin/render/salvage.h"

/* The hole that begins last of those that begin no later, or NULL. */
static AudioHole *hole_before(AudioReader *reader, uint64_t from) {
    AudioHole *before = NULL;
    for (size_t i = 0; i < reader->n_holes; i++)
        if (reader->hole[i].from <= from && (!before || reader->hole[i].from > before->from))
            before = &reader->hole[i];
    return before;
}

/* With what touches it as one; and so it is with what does not, once there are too many to tell of
 * each. */
static void add_hole(AudioReader *reader, uint64_t from, uint64_t frames) {
    AudioHole *before = hole_before(reader, from);
    bool full = reader->n_holes == AUDIO_MOST_HOLES;
    if (before && (full || before->from + before->frames >= from))
        before->frames = from + frames - before->from;
    else
        reader->hole[full ? reader->n_holes - 1 : reader->n_holes++] = (AudioHole){from, frames};
}

/* Whether the file can be read from there on. A decoder that has met damage may not seek any more:
 * another does. */
static bool seek_anew(AudioReader *reader, uint64_t frame) {
    SF_INFO info = {0};
    if (sf_seek(reader->file, (sf_count_t)frame, SEEK_SET) == (sf_count_t)frame || reader->patch)
        return true;
    SNDFILE *again = sf_open(reader->path, SFM_READ, &info);
    if (!again)
        return false;
    sf_close(reader->file);
    reader->file = again;
    return sf_seek(reader->file, (sf_count_t)frame, SEEK_SET) == (sf_count_t)frame;
}

/* Where the file can be read again, to SALVAGE_STEP frames; it stands there then, or at its end. A
 * decoder may search the whole file for a frame that is not there, so few are asked for: steps that
 * double, until one is found, then halves back. */
enum { SALVAGE_STEP = 1024 };

static uint64_t find_good(AudioReader *reader) {
    uint64_t bad = reader->file_at, end = reader->file_frames, good = end;
    for (uint64_t step = SALVAGE_STEP; good == end && step < end - reader->file_at; step *= 2) {
        if (seek_anew(reader, reader->file_at + step))
            good = reader->file_at + step;
        else
            bad = reader->file_at + step;
    }
    while (good - bad > SALVAGE_STEP) {
        uint64_t middle = bad + (good - bad) / 2;
        if (seek_anew(reader, middle))
            good = middle;
        else
            bad = middle;
    }
    if (good < end)
        seek_anew(reader, good);
    return good;
}

void salvage_skip(AudioReader *reader) {
    add_hole(reader, reader->file_at, find_good(reader) - reader->file_at);
}
