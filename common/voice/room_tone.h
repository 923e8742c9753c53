/* SPDX-License-Identifier: ISC */
/* room_tone.h: the level of the room where a gain ahead of the plugin turns it down at times.
 *
 * noise_floor takes the quietest that never stops for the room. Where breaths were turned down
 * before, by hand or by a processor, the room goes down with them for a moment: that hole becomes
 * the floor, and the room as it is everywhere else seems to be a sound. Here the room is what comes
 * back most often: the unsung sound that is found again and again at one level with one spectrum.
 *
 * All evidence counts by degrees, so that the same take gives the same room wherever its hops
 * begin. Two spectra L and R, in octaves b, differ by
 *     d = sqrt(mean_b (e_b - mean_b e_b)^2),   e_b = L_b - R_b in dB
 * the log spectral distance of Gray and Markel (IEEE Trans. ASSP 24(5), 1976) less its mean; in 21
 * ms, see voice_sense, an octave of noise strays by 1.6 dB at 359 Hz, and less above. How like two
 * sounds are falls from 1 to 0 as they differ by 1.5 to 3 dB in level, and as much in spectrum. A
 * hop is as steady as the least like of the last 6 was to the mean of what came before it (60 ms).
 *
 * Three candidates are held by vote (after Misra and Gries, Science of Computer Programming 2,
 * 1982, 143-152, but with votes that leak). A steady hop gives 2 to the candidate that it is like.
 * One that is like none takes a place without votes, or 1 from the candidate that has fewest. By
 * each steady hop a candidate also loses 1 to a quieter one, by 3 dB, that was heard on two
 * occasions, or to its own spectrum at another level, since one of the two is the other turned up
 * or down: noise that fades does not come to be known. One occasion, between 40 ms of voice and the
 * next, gives at most the votes of 0.25 s, and eight are kept.
 *
 * A vote is plain when the caller takes the hop for the room by what it knows otherwise. A
 * candidate is known once it has the votes of 75 ms, and as many plain ones; one that sounds
 * like something else, once it has those of two whole occasions and was heard on four; until half
 * of these votes are lost. The room is the known one with the most votes, and gives way to one with
 * a tenth more. From one room to another it moves within 0.1 s, and trust in it comes and goes
 * within 0.5 s of unsung time, so that little hangs on when exactly it became known. Breaths differ
 * by more from one to the next; one that came back just as it was four times, and more often than
 * the room, would be taken for it.
 *
 * Levels in dB; adding a constant to all adds it to the room. At rates with fewer than four whole
 * octaves (under 11.5 kHz) nothing is remembered. Latency 0. Cost: five logarithms and some 150
 * operations a hop. */
#ifndef SISKIN_VOICE_ROOM_TONE_H
#define SISKIN_VOICE_ROOM_TONE_H

#include "voice/voice_sense.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    ROOM_TONE_RUN = 6,        /* hops in a row by which one is steady */
    ROOM_TONE_BANDS = 5,      /* most octaves from 359 Hz up that are compared */
    ROOM_TONE_CANDIDATES = 3, /* what may come back: room, breath, the room turned down */
};

/* A level, and those of the octaves. */
typedef struct {
    float all_db, band_db[OCTAVE_BANK_BANDS];
} RoomLevels;

typedef struct {
    RoomLevels levels;
    float votes;  /* 0: the place is free */
    float plain;  /* of all votes it was given, those of hops taken for the room */
    float heard;  /* hops that made its levels */
    float visits; /* occasions on which it was heard */
    float here;   /* of this one, how much counts as such: 0..1 */
    bool known;   /* to be the room, or something as good */
} RoomCandidate;

typedef struct {
    int bands;        /* whole octaves; 0: too few */
    float enough;     /* votes, of one occasion */
    float visit;      /* of an occasion, a hop */
    float longest;    /* hops that make a candidate's levels, at most: the last count most */
    size_t voice;     /* sung hops in a row that part two occasions */
    float mean, move; /* shares of the way, a hop */
    float trust;      /* gained or lost in a hop */
    struct {
        size_t sung;               /* hops in a row */
        size_t hops;               /* since it was last sung or cut */
        float like[ROOM_TONE_RUN]; /* the last hops: how like what came before */
        RoomLevels now;            /* their mean, the last weigh most */
        RoomCandidate candidate[ROOM_TONE_CANDIDATES];
        int chosen;      /* which of them is the room */
        RoomLevels room; /* what it is taken for */
        float share;     /* how far */
    } state;
} RoomTone;

void room_tone_prepare(RoomTone *memory, double rate_hz, double hops_per_second);
void room_tone_reset(RoomTone *memory);
/* After a reset: as if this had been the room on as many occasions as are kept. */
void room_tone_begin_with(RoomTone *memory, const RoomLevels *levels);
/* One hop; level_db: its level, as the caller wants it remembered; plain: what is known of it
 * speaks for the room, too. */
void room_tone_step(RoomTone *memory, const VoiceFrame *frame, float level_db, bool sung,
                    bool plain);
/* How far that is to be trusted, 0..1; where 0, *levels is left alone. */
float room_tone_get(const RoomTone *memory, RoomLevels *levels);

#endif
