/* SPDX-License-Identifier: ISC */
/* voice_sense.h: what a listener needs to know of a voice, every 5 ms: the power in octave bands,
 * and how periodic it is. For whatever tells sung sounds from others.
 *
 * Audio is taken in the groups of octave_bank; 3 to 5 of them, whatever is nearest to 5.33 ms, make
 * a hop. Powers are smoothed over five hops with the weights 1 3 4 3 1, which are worth a window of
 * 21 ms (after Welch, IEEE Trans. AU 15(2), 1967: noise in an octave from 359 Hz is steady within
 * 1.6 dB), and the periodicity is that of the same five hops, so that both belong to the middle
 * one. Where digital silence begins or ends the smoothed powers lie between sound and nothing,
 * which no room tone does: `whole` tells such hops from others. The work comes in groups of 1 to 2
 * ms, plus little more at the end of a hop: A + B n. Valid for 8..192 kHz. Latency: the k-th hop
 * that voice_sense_group completes (k from 0) tells of the audio around frame (k -
 * VOICE_SENSE_DELAY + 1/2) * hop. */
#ifndef SISKIN_VOICE_VOICE_SENSE_H
#define SISKIN_VOICE_VOICE_SENSE_H

#include "filter/octave_bank.h"
#include "voice/periodicity.h"

#include <stdbool.h>
#include <stddef.h>

/* Hops. Two more than are smoothed over pass until the lowest band has risen to what it holds. */
enum { VOICE_SENSE_DELAY = 2, VOICE_SENSE_SMOOTHED = 5, VOICE_SENSE_WHOLE = 7 };

typedef struct {
    float power[OCTAVE_BANK_BANDS]; /* mean squares */
    float periodicity;              /* 0..1 */
    bool whole; /* sound in all that was smoothed over: no start of the take, no cut, in it */
} VoiceFrame;

typedef struct {
    OctaveBank bank;
    Periodicity periodicity;
    size_t groups; /* in a hop */
    size_t hop;    /* frames */
    struct {
        size_t group;    /* of this hop, done so far */
        size_t slot;     /* of `power` now being filled */
        size_t sounding; /* groups in a row that were not digital silence */
        float power[VOICE_SENSE_SMOOTHED][OCTAVE_BANK_BANDS];
    } state;
} VoiceSense;

void voice_sense_prepare(VoiceSense *sense, double rate_hz);
void voice_sense_reset(VoiceSense *sense);
/* bank.group frames. True: a hop is complete, and *frame is written. */
bool voice_sense_group(VoiceSense *sense, const float *in, VoiceFrame *frame);

#endif
