/* SPDX-License-Identifier: ISC */
#include "siskin/render/room.h"

#include "siskin/text.h"
#include "voice/room_watch.h"

#include <math.h>
#include <stdlib.h>

static const double AFTER_SOUND_S = 0.1, BEFORE_SOUND_S = 0.02;

typedef struct {
    uint64_t from, frames;
} Stretch;

/* ---- finding it ---- */

/* The stretch of room that ends now, as far as it is decided. */
static Stretch quiet_now(const RoomWatch *watch, uint64_t frame, double rate_hz) {
    uint64_t late = room_watch_late(watch), quiet = room_watch_quiet(watch);
    uint64_t after = (uint64_t)(AFTER_SOUND_S * rate_hz);
    uint64_t before = (uint64_t)(BEFORE_SOUND_S * rate_hz);
    if (quiet <= after + before || frame < late + quiet)
        return (Stretch){0, 0};
    return (Stretch){frame - late - quiet + after, quiet - after - before};
}

/* n frames of the file, the first of them frame `frame`. True: it has heard enough. */
typedef bool (*Hear)(void *user, const AudioReader *reader, const float *const *in, size_t n,
                     uint64_t frame);

/* Gives the file to `hear` block by block, up to frame `end` or until that has heard enough. */
static bool in_blocks(AudioReader *reader, uint64_t end, Hear hear, void *user, HostError *error) {
    float *audio = text_take((size_t)AUDIO_CHANNELS * AUDIO_BLOCK, sizeof *audio);
    float *const out[] = {audio, audio + AUDIO_BLOCK};
    const float *const in[] = {out[0], out[1]};
    bool fine = true, enough = false;
    for (uint64_t frame = 0; fine && !enough && frame < end;) {
        size_t n = end - frame < AUDIO_BLOCK ? (size_t)(end - frame) : AUDIO_BLOCK;
        fine = audio_read(reader, out, n, error);
        enough = fine && hear(user, reader, in, n, frame);
        frame += n;
    }
    free(audio);
    return fine;
}

typedef struct {
    RoomWatch watch;
    Stretch longest;
} RoomSearch;

static bool watch_block(void *user, const AudioReader *reader, const float *const *in, size_t n,
                        uint64_t frame) {
    RoomSearch *search = user;
    RoomWatch *watch = &search->watch;
    uint64_t most = (uint64_t)(ROOM_MOST_S * reader->rate_hz);
    for (size_t at = 0; at < n;) {
        size_t room = room_watch_room(watch), take = n - at < room ? n - at : room;
        bool hop = room_watch_hear(watch, in, reader->channels, at, take);
        at += take;
        Stretch now = hop ? quiet_now(watch, frame + at, reader->rate_hz) : (Stretch){0, 0};
        if (now.frames > search->longest.frames && search->longest.frames < most)
            search->longest = now;
    }
    return false;
}

static bool find(AudioReader *reader, Stretch *longest, HostError *error) {
    RoomSearch *search = text_take(1, sizeof *search);
    room_watch_prepare(&search->watch, reader->rate_hz);
    bool fine = in_blocks(reader, reader->frames, watch_block, search, error);
    *longest = search->longest;
    free(search);
    return fine;
}

/* ---- taking it ---- */

typedef struct {
    const Stretch *stretch;
    float *const *to;
} Copy;

static bool copy_block(void *user, const AudioReader *reader, const float *const *in, size_t n,
                       uint64_t frame) {
    const Copy *copy = user;
    for (unsigned c = 0; c < reader->channels; c++)
        for (size_t i = 0; i < n; i++)
            if (frame + i >= copy->stretch->from)
                copy->to[c][frame + i - copy->stretch->from] = in[c][i];
    return false;
}

/* The stretch itself into `to`, of a file read anew. */
static bool take_stretch(AudioReader *reader, const Stretch *stretch, float *const *to,
                         HostError *error) {
    return in_blocks(reader, stretch->from + stretch->frames, copy_block, &(Copy){stretch, to},
                     error);
}

/* One channel, repeated: each time it begins while the time before still ends. */
static void repeat(const float *once, size_t n, float *out, size_t frames, size_t joint) {
    for (size_t from = 0; from < frames; from += n - joint)
        for (size_t i = 0; i < n && from + i < frames; i++) {
            bool fades_in = from > 0 && i < joint, fades_out = i >= n - joint;
            double share = fades_in    ? ((double)i + 0.5) / (double)joint
                           : fades_out ? ((double)(n - i) - 0.5) / (double)joint
                                       : 1.0;
            out[from + i] += (float)sqrt(share) * once[i];
        }
}

static void play(Room *room, double rate_hz, float *const *once, size_t n) {
    size_t joint = (size_t)(ROOM_JOINT_S * rate_hz);
    room->frames = (size_t)(ROOM_PLAYED_S * rate_hz);
    for (unsigned c = 0; c < room->channels; c++) {
        room->audio[c] = text_take(room->frames, sizeof *room->audio[c]);
        repeat(once[c], n, room->audio[c], room->frames, joint);
    }
}

static bool take_room(Room *room, const char *path, const AudioHow *how, const Stretch *stretch,
                      HostError *error) {
    AudioReader reader;
    float *once[AUDIO_CHANNELS] = {NULL};
    if (!audio_open_how(&reader, path, how, error))
        return false;
    for (unsigned c = 0; c < room->channels; c++)
        once[c] = text_take(stretch->frames, sizeof *once[c]);
    bool fine = take_stretch(&reader, stretch, once, error);
    if (fine)
        play(room, reader.rate_hz, once, stretch->frames);
    for (unsigned c = 0; c < room->channels; c++)
        free(once[c]);
    audio_close(&reader);
    return fine;
}

bool room_read(Room *room, const char *path, const AudioHow *how, HostError *error) {
    AudioReader reader;
    Stretch longest = {0, 0};
    *room = (Room){0};
    bool fine = audio_open_how(&reader, path, how, error);
    if (fine) {
        room->channels = reader.channels;
        fine = find(&reader, &longest, error);
    }
    bool enough = (double)longest.frames >= ROOM_LEAST_S * reader.rate_hz;
    audio_close(&reader);
    return fine && (!enough || take_room(room, path, how, &longest, error));
}

/* ---- the voice ---- */

typedef struct {
    Listener listener;
    Scene scene;
    double sung_s;
    Stretch stretch; /* no frames: nobody sang yet */
} VoiceSearch;

static bool search_block(void *user, const AudioReader *reader, const float *const *in, size_t n,
                         uint64_t frame) {
    VoiceSearch *search = user;
    const size_t hop = search->listener.sense.hop;
    const uint64_t early = (VOICE_SENSE_DELAY + 1) * (uint64_t)hop;
    for (size_t at = 0; at < n;) {
        size_t room = listener_room(&search->listener), take = n - at < room ? n - at : room;
        VoiceFrame heard;
        SceneMoment moment;
        bool is_hop = listener_hear(&search->listener, in, reader->channels, at, take, &heard);
        at += take;
        if (!is_hop)
            continue;
        scene_step(&search->scene, &heard, &moment);
        search->sung_s += (double)moment.counts * (double)hop / reader->rate_hz;
        uint64_t now = frame + at;
        if (search->sung_s == 0.0)
            search->stretch.from = now > early ? now - early : 0;
        else
            search->stretch.frames = now - search->stretch.from;
    }
    return search->sung_s >= VOICE_SUNG_S ||
           (double)search->stretch.frames >= VOICE_MOST_S * reader->rate_hz;
}

static bool search_voice(AudioReader *reader, Stretch *stretch, HostError *error) {
    VoiceSearch *search = text_take(1, sizeof *search);
    listener_prepare(&search->listener, reader->rate_hz);
    scene_prepare(&search->scene, reader->rate_hz,
                  reader->rate_hz / (double)search->listener.sense.hop);
    bool fine = in_blocks(reader, reader->frames, search_block, search, error);
    *stretch = search->stretch;
    free(search);
    return fine;
}

static bool take_voice(Room *voice, const char *path, const AudioHow *how, const Stretch *stretch,
                       HostError *error) {
    AudioReader reader;
    if (!audio_open_how(&reader, path, how, error))
        return false;
    for (unsigned c = 0; c < voice->channels; c++)
        voice->audio[c] = text_take(stretch->frames, sizeof *voice->audio[c]);
    bool fine = take_stretch(&reader, stretch, voice->audio, error);
    if (fine)
        voice->frames = stretch->frames;
    audio_close(&reader);
    return fine;
}

bool room_read_voice(Room *voice, const char *path, const AudioHow *how, HostError *error) {
    AudioReader reader;
    Stretch stretch = {0, 0};
    *voice = (Room){0};
    bool fine = audio_open_how(&reader, path, how, error);
    if (fine) {
        voice->channels = reader.channels;
        fine = search_voice(&reader, &stretch, error);
    }
    audio_close(&reader);
    return fine && (stretch.frames == 0 || take_voice(voice, path, how, &stretch, error));
}

void room_free(Room *room) {
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        free(room->audio[c]);
    *room = (Room){0};
}
