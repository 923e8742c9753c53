/* SPDX-License-Identifier: ISC */
/* heard_notes.h: the pitch of a take as pitch.h reads it, every 5 ms, for the parts about voices
 * that are made. */
#ifndef SISKIN_QUALITY_HEARD_NOTES_H
#define SISKIN_QUALITY_HEARD_NOTES_H

#include "voice/pitch.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

typedef struct {
    size_t n;
    double *note; /* MIDI; 0 where it is not periodic. The caller frees it */
    size_t *at;   /* frames; likewise */
} HeardNotes;

static inline void heard_notes_free(HeardNotes *notes) {
    free(notes->note);
    free(notes->at);
}

/* false: out of memory. */
static inline bool heard_notes_read(const float *audio, size_t n, double rate_hz,
                                    HeardNotes *notes) {
    static unsigned char memory[1 << 17];
    Arena arena = arena_over(memory, sizeof memory);
    Pitch pitch;
    const size_t most = (size_t)((double)n / rate_hz * 220.0) + 2;
    const size_t late = (size_t)(PITCH_WINDOW_MS * 1e-3 * rate_hz);
    *notes = (HeardNotes){0, calloc(most, sizeof(double)), calloc(most, sizeof(size_t))};
    if (!notes->note || !notes->at ||
        !pitch_prepare(&pitch, rate_hz, &(PitchRange){60.0, 1500.0}, &arena))
        return false;
    pitch_reset(&pitch);
    for (size_t at = 0, now; at < n && notes->n < most; at += now) {
        now = pitch_until(&pitch);
        now = now < n - at ? now : n - at;
        if (!pitch_process(&pitch, audio + at, now) || at + now < late)
            continue;
        PitchReading reading = pitch_reading(&pitch);
        bool sung = reading.aperiodicity < 0.1f && reading.power > 1e-7f;
        notes->at[notes->n] = at + now - late;
        notes->note[notes->n++] = sung ? 69.0 + 12.0 * log2((double)reading.hz / 440.0) : 0.0;
    }
    return true;
}

#endif
