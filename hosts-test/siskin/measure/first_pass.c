/* SPDX-License-Identifier: ISC */
#include "siskin/measure/first_pass.h"

#include "siskin/text.h"
#include "voice/listener.h"

#include <stdlib.h>

typedef struct {
    Listener listener;
    Scene scene;
    SceneMoment moment;
    double sum; /* of all channels */
    float audio[AUDIO_CHANNELS][AUDIO_BLOCK];
} Pass;

static void hear(Pass *pass, unsigned channels, size_t n) {
    const float *const in[] = {pass->audio[0], pass->audio[1]};
    VoiceFrame frame;
    for (unsigned c = 0; c < channels; c++)
        for (size_t i = 0; i < n; i++)
            pass->sum += (double)in[c][i];
    for (size_t at = 0; at < n;) {
        size_t room = listener_room(&pass->listener);
        size_t take = n - at < room ? n - at : room;
        if (listener_hear(&pass->listener, in, channels, at, take, &frame))
            scene_step(&pass->scene, &frame, &pass->moment);
        at += take;
    }
}

static bool listen(Pass *pass, AudioReader *reader, HostError *error) {
    float *const out[] = {pass->audio[0], pass->audio[1]};
    while (reader->at < reader->frames) {
        uint64_t left = reader->frames - reader->at;
        size_t n = left < AUDIO_BLOCK ? (size_t)left : AUDIO_BLOCK;
        if (!audio_read(reader, out, n, error))
            return false;
        hear(pass, reader->channels, n);
    }
    return true;
}

bool first_pass(const char *path, const SceneParams *params, FirstPass *first, HostError *error) {
    AudioReader reader;
    if (!audio_open(&reader, path, error))
        return false;
    Pass *pass = text_take(1, sizeof *pass);
    listener_prepare(&pass->listener, reader.rate_hz);
    scene_prepare(&pass->scene, reader.rate_hz, reader.rate_hz / (double)pass->listener.sense.hop);
    scene_set(&pass->scene, params);
    bool fine = listen(pass, &reader, error);
    first->known = pass->moment.known;
    first->dc = reader.frames ? pass->sum / ((double)reader.frames * reader.channels) : 0.0;
    audio_close(&reader);
    free(pass);
    return fine;
}
