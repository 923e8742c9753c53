/* SPDX-License-Identifier: ISC */
/* fuzz_audio: the reading of audio files under libFuzzer. Whatever the bytes, every sample handed
 * on is finite, and an error names something. */
#include "siskin/render/audio.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static float audio[AUDIO_CHANNELS][AUDIO_BLOCK];

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    int file = memfd_create("take", 0);
    char path[64];
    if (file < 0 || write(file, data, size) != (ssize_t)size)
        abort();
    snprintf(path, sizeof path, "/proc/self/fd/%d", file);
    HostError error = {0};
    AudioReader reader = {0};
    bool open = audio_open(&reader, path, &error);
    if (!open && error.text[0] == '\0')
        abort();
    float *channel[AUDIO_CHANNELS] = {audio[0], audio[1]};
    /* A header may promise hours: a few blocks are enough. */
    for (int block = 0; open && block < 8 && reader.at < reader.frames; block++) {
        if (!audio_read(&reader, channel, AUDIO_BLOCK, &error))
            break;
        for (unsigned c = 0; c < reader.channels; c++)
            for (size_t i = 0; i < AUDIO_BLOCK; i++)
                if (!isfinite(audio[c][i]))
                    abort();
    }
    audio_close(&reader);
    close(file);
    return 0;
}
