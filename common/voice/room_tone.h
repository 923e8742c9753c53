/* SPDX-License-Identifier: ISC */
/* room_tone.h: the level of the room where a gain ahead of the plugin turns it down at times.
 *
 * noise_floor takes the quietest that never stops for the room. Where breaths were turned down
 * before, by hand or by a processor, the room goes down with them for a moment: that hole becomes
 * the floor, and the room as it is everywhere else seems to be a sound. Here the room is what comes
 * back most often: the unsung sound that is found again and again at one level with one spectrum.
 *
 * A stretch is steady once 6 hops in a row have differed from their mean by less than 2 dB in level
 * and in spectrum. Two spectra L and R, in octaves b, differ by
 *     d = sqrt(mean_b (e_b - mean_b e_b)^2),   e_b = L_b - R_b in dB
 * the log spectral distance of Gray and Markel (IEEE Trans. ASSP 24(5), 1976) less its mean; in 21
 * ms, see voice_sense, an octave of noise strays by 1.6 dB at 359 Hz, and less above. Three
 * candidates are held by vote (after Misra and Gries, Science of Computer Programming 2, 1982,
 * 143-152, but with votes that leak). A steady hop at a candidate's level, within 2 dB, and with
 * its spectrum gives it 3, the sixth of a run for all six. One that is like none takes a place
 * without votes, or 1 from the candidate that has fewest. By each steady hop a candidate also loses
 * 1 to a quieter one, by 3 dB, that was heard on two occasions, and 1 to its own spectrum at another
 * level, since one of the two is the other turned up or down. One occasion, from voice to voice,
 * gives at most the votes of 0.25 s, and eight are kept.
 *
 * A vote is plain when the caller takes the hop for the room by what it knows otherwise. A candidate
 * is known once it has the votes of an eighth of a second, and as many plain ones; one that sounds
 * like something else, once it has those of a whole occasion and was heard on four. The room is the
 * known one with the most votes. Breaths differ by more from one to the next; one that came back
 * just as it was four times, and more often than the room, would be taken for it.
 *
 * Levels in dB; adding a constant to all adds it to the room. At rates with fewer than four whole
 * octaves (under 11.5 kHz) nothing is remembered. Latency 0. Cost: five logarithms and some 100
 * operations a hop. */
#ifndef SISKIN_VOICE_ROOM_TONE_H
#define SISKIN_VOICE_ROOM_TONE_H

#include "voice/voice_sense.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    ROOM_TONE_RUN = 6,        /* hops in a row that make a steady stretch */
    ROOM_TONE_BANDS = 5,      /* most octaves from 359 Hz up that are compared */
    ROOM_TONE_CANDIDATES = 3, /* what may come back: room, breath, the room turned down */
};

/* A level, and those of the octaves. */
typedef struct {
    float all_db, band_db[OCTAVE_BANK_BANDS];
} RoomLevels;

typedef struct {
    RoomLevels levels;
    size_t votes;  /* 0: the place is free */
    size_t plain;  /* of all votes it was given, those of hops taken for the room */
    size_t visits; /* occasions on which it was heard */
    bool here;     /* on this one, too */
} RoomCandidate;

typedef struct {
    int bands;     /* whole octaves; 0: too few */
    size_t enough; /* votes, of one occasion */
    struct {
        size_t run;     /* hops in a row that are alike */
        RoomLevels now; /* their mean, the last weigh most */
        RoomCandidate candidate[ROOM_TONE_CANDIDATES];
    } state;
} RoomTone;

void room_tone_prepare(RoomTone *memory, double rate_hz, double hops_per_second);
void room_tone_reset(RoomTone *memory);
/* After a reset: as if this had been the room on as many occasions as are kept. */
void room_tone_begin_with(RoomTone *memory, const RoomLevels *levels);
/* One hop; level_db: its level, as the caller wants it remembered; plain: what is known of it speaks
 * for the room, too. */
void room_tone_step(RoomTone *memory, const VoiceFrame *frame, float level_db, bool sung,
                    bool plain);
/* False while nothing is known to be the room; then *levels is left alone. */
bool room_tone_get(const RoomTone *memory, RoomLevels *levels);

#endif
