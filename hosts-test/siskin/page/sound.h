/* SPDX-License-Identifier: ISC */
/* sound.h: the three sounds of a page: the take, what became of it, and what was taken
 * away (the one less the other, frame by frame), cut into parts that are files of their own.
 *
 * Parts are FLAC of 16 bits when that fits the budget, else Ogg Opus at a bit rate that does; the
 * rates that Opus does not know are changed to the next one it does. All three begin and end at the
 * same frames in each part. A coded part begins SOUND_LEAD_S early, since a decoder needs that long
 * to settle (RFC 7845, section 4.6: 80 ms); who plays it leaves that out. */
#ifndef SISKIN_PAGE_SOUND_H
#define SISKIN_PAGE_SOUND_H

#include "siskin/measure/take.h"

typedef enum { SOUND_RAW, SOUND_RESULT, SOUND_REMOVED, SOUND_TRACKS } SoundTrack;

/* Of a page, before base 64: with the pictures ten minutes stay under 10 MB. */
enum { SOUND_BUDGET = 4500000 };

#define SOUND_PART_S 10.0
#define SOUND_LEAD_S 0.1

typedef struct {
    double lead_s; /* of it, before its place k * SOUND_PART_S */
    struct {
        unsigned char *bytes;
        size_t n;
    } track[SOUND_TRACKS];
} SoundPart;

typedef struct {
    bool coded;     /* else lossless */
    double rate_hz; /* of the parts */
    unsigned channels;
    double kbps[SOUND_TRACKS]; /* asked of the coder */
    SoundPart *parts;
    size_t n_parts;
    size_t bytes; /* together */
    double length_s;
} Sounds;

/* Of two files at one rate; the longer gives the length, the result the channels. `budget`: bytes
 * that lossless parts may take, and that the bit rate is chosen for. Rates end at what a voice
 * still bears, so that a take of more than 20 minutes takes more. */
bool sounds_make(Sounds *sounds, const char *raw, const char *result, size_t budget,
                 MeasureProgress *progress, void *user, HostError *error);
void sounds_free(Sounds *sounds); /* fine on a zeroed one */

#endif
