/* SPDX-License-Identifier: ISC */
/* listener.h: hands the audio of one or two channels to voice_sense, however it was cut.
 *
 * Of two channels it hears the mean, which is the channel itself, bit for bit, when both are the
 * same. A voice that is out of phase between them is not in the mean: when half the difference has
 * over 6 dB more power than the mean (both averaged over 100 ms), it is heard instead, until the
 * mean has more power again. Changing left and right over turns the difference upside down, which
 * no power and no periodicity can tell. No latency of its own; groups are counted from reset. Cost
 * over voice_sense: 6 operations a frame. */
#ifndef SISKIN_VOICE_LISTENER_H
#define SISKIN_VOICE_LISTENER_H

#include "voice/voice_sense.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    VoiceSense sense;
    float forget; /* pole of the averaged powers, a group */
    struct {
        size_t filled;
        float mean[OCTAVE_BANK_MAX_GROUP], difference[OCTAVE_BANK_MAX_GROUP]; /* of this group */
        float mean_power, difference_power;
        float sign; /* of the difference when it is heard, else 0 */
    } state;
} Listener;

void listener_prepare(Listener *listener, double rate_hz);
void listener_reset(Listener *listener);
/* Frames until the group is full, >= 1. */
static inline size_t listener_room(const Listener *listener) {
    return listener->sense.bank.group - listener->state.filled;
}
/* Takes n <= listener_room() frames of `channels` (1 or 2) channels, from in[channel] + at. True: a
 * hop is complete and *frame is written (voice_sense.h says of which moment it tells). */
bool listener_hear(Listener *listener, const float *const *in, unsigned channels, size_t at,
                   size_t n, VoiceFrame *frame);

#endif
