/* SPDX-License-Identifier: ISC */
#include "siskin/page/sound.h"

#include "siskin/page/rate.h"
#include "siskin/render/audio.h"
#include "siskin/text.h"

#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* Of the bit rate: what was taken away is silent most of the time. */
static const double SHARE[SOUND_TRACKS] = {0.4, 0.4, 0.2};
/* A channel. */
static const double LEAST_KBPS[SOUND_TRACKS] = {12.0, 12.0, 8.0}, MOST_KBPS = 96.0;
/* FLAC makes a third to two thirds of a voice; what it cannot do with a third is not tried. */
static const double LEAST_FLAC = 0.35;

/* ---- a file in memory, for libsndfile ---- */

typedef struct {
    unsigned char *bytes;
    size_t size, room, at;
} Memory;

static sf_count_t memory_length(void *user) {
    return (sf_count_t)((Memory *)user)->size;
}

static sf_count_t memory_tell(void *user) {
    return (sf_count_t)((Memory *)user)->at;
}

static sf_count_t memory_seek(sf_count_t offset, int whence, void *user) {
    Memory *m = user;
    sf_count_t base = whence == SEEK_SET   ? 0
                      : whence == SEEK_CUR ? (sf_count_t)m->at
                                           : (sf_count_t)m->size;
    if (base + offset >= 0 && base + offset <= (sf_count_t)m->size)
        m->at = (size_t)(base + offset);
    return (sf_count_t)m->at;
}

static sf_count_t memory_read(void *to, sf_count_t count, void *user) {
    Memory *m = user;
    size_t n = m->size - m->at < (size_t)count ? m->size - m->at : (size_t)count;
    memcpy(to, m->bytes + m->at, n);
    m->at += n;
    return (sf_count_t)n;
}

static void memory_grow(Memory *m, size_t end) {
    if (end <= m->room)
        return;
    m->room = end > 2 * m->room ? end : 2 * m->room;
    unsigned char *more = text_take(m->room, 1);
    if (m->size)
        memcpy(more, m->bytes, m->size);
    free(m->bytes);
    m->bytes = more;
}

static sf_count_t memory_write(const void *from, sf_count_t count, void *user) {
    Memory *m = user;
    memory_grow(m, m->at + (size_t)count);
    memcpy(m->bytes + m->at, from, (size_t)count);
    m->at += (size_t)count;
    m->size = m->at > m->size ? m->at : m->size;
    return count;
}

/* ---- stretches of a file, forwards ---- */

typedef struct {
    AudioReader reader;
    uint64_t begin; /* frame of audio[c][0] */
    size_t count, room;
    float *audio[AUDIO_CHANNELS];
} Stretch;

static void forget_before(Stretch *s, uint64_t frame) {
    size_t gone = frame <= s->begin ? 0 : (size_t)(frame - s->begin);
    gone = gone < s->count ? gone : s->count;
    for (unsigned c = 0; c < s->reader.channels; c++)
        memmove(s->audio[c], s->audio[c] + gone, (s->count - gone) * sizeof(float));
    s->begin += gone;
    s->count -= gone;
}

/* Holds frames from..to - 1 from now on. `from` may not lie before that of an earlier call. */
static bool hold(Stretch *s, uint64_t from, uint64_t to, HostError *error) {
    forget_before(s, from);
    while (s->begin + s->count < to) {
        uint64_t left = to - s->begin - s->count;
        size_t n = left < AUDIO_BLOCK ? (size_t)left : AUDIO_BLOCK;
        float *const channel[AUDIO_CHANNELS] = {s->audio[0] + s->count,
                                                s->audio[s->reader.channels - 1] + s->count};
        if (!audio_read(&s->reader, channel, n, error))
            return false;
        s->count += n;
    }
    return true;
}

static bool open_stretch(Stretch *s, const char *path, double seconds, HostError *error) {
    if (!audio_open(&s->reader, path, error))
        return false;
    s->room = (size_t)ceil(seconds * s->reader.rate_hz) + AUDIO_BLOCK;
    for (unsigned c = 0; c < s->reader.channels; c++)
        s->audio[c] = text_take(s->room, sizeof(float));
    return true;
}

static void close_stretch(Stretch *s) {
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        free(s->audio[c]);
    audio_close(&s->reader);
}

/* ---- coding ---- */

typedef struct {
    Sounds *sounds;
    Stretch from[2]; /* raw, result */
    Rate rate;
    bool same_rate;
    uint64_t frames;                /* of the page, at the old rate */
    float *made[2][AUDIO_CHANNELS]; /* a part at the new rate */
    MeasureProgress *progress;
    void *user;
} Coder;

/* One sound of one part, coded by a thread of its own: coding is most of the work on a page. */
typedef struct {
    const Coder *coder;
    SoundTrack track;
    size_t n; /* frames */
    float *interleaved;
    Memory memory;
    bool fine;
} Voice;

static float frame_of(const Coder *coder, SoundTrack track, unsigned channel, size_t i) {
    if (track == SOUND_REMOVED)
        return coder->made[SOUND_RAW][channel][i] - coder->made[SOUND_RESULT][channel][i];
    return coder->made[track][channel][i];
}

static void interleave(Voice *voice) {
    unsigned channels = voice->coder->sounds->channels;
    voice->interleaved = text_take(voice->n * channels, sizeof(float));
    for (size_t i = 0; i < voice->n; i++)
        for (unsigned c = 0; c < channels; c++)
            voice->interleaved[i * channels + c] = frame_of(voice->coder, voice->track, c, i);
}

static bool write_voice(Voice *voice) {
    static SF_VIRTUAL_IO io = {memory_length, memory_seek, memory_read, memory_write, memory_tell};
    const Sounds *sounds = voice->coder->sounds;
    SF_INFO info = {.samplerate = (int)lrint(sounds->rate_hz),
                    .channels = (int)sounds->channels,
                    .format = sounds->coded ? SF_FORMAT_OGG | SF_FORMAT_OPUS
                                            : SF_FORMAT_FLAC | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open_virtual(&io, SFM_WRITE, &info, &voice->memory);
    /* libsndfile makes 256 to 6 kbit/s a channel of 0 to 1. */
    double level = 1.0 - (sounds->kbps[voice->track] / (double)sounds->channels - 6.0) / 250.0;
    if (!file)
        return false;
    sf_command(file, SFC_SET_CLIPPING, NULL, SF_TRUE);
    if (sounds->coded)
        sf_command(file, SFC_SET_COMPRESSION_LEVEL, &level, sizeof level);
    bool fine =
        sf_writef_float(file, voice->interleaved, (sf_count_t)voice->n) == (sf_count_t)voice->n;
    return sf_close(file) == 0 && fine;
}

static void *code_voice(void *user) {
    Voice *voice = user;
    interleave(voice);
    voice->fine = write_voice(voice);
    free(voice->interleaved);
    return NULL;
}

static bool code_part(Coder *coder, SoundPart *part, size_t n, HostError *error) {
    Voice voice[SOUND_TRACKS];
    pthread_t thread[SOUND_TRACKS];
    bool started[SOUND_TRACKS];
    bool fine = true;
    for (size_t t = 0; t < SOUND_TRACKS; t++) {
        voice[t] = (Voice){.coder = coder, .track = (SoundTrack)t, .n = n};
        started[t] = pthread_create(&thread[t], NULL, code_voice, &voice[t]) == 0;
    }
    for (size_t t = 0; t < SOUND_TRACKS; t++) {
        if (started[t])
            pthread_join(thread[t], NULL);
        else
            code_voice(&voice[t]);
        part->track[t].bytes = voice[t].memory.bytes;
        part->track[t].n = voice[t].memory.size;
        coder->sounds->bytes += voice[t].memory.size;
        fine = fine && voice[t].fine;
    }
    return fine || host_fail(error, "the audio of the page cannot be coded");
}

/* New frames first..first + n - 1 of one channel of one of the two files. */
static void make_channel(const Coder *coder, const Stretch *s, unsigned channel, uint64_t first,
                         float *to, size_t n) {
    if (coder->same_rate)
        memcpy(to, s->audio[channel] + (first - s->begin), n * sizeof(float));
    else
        rate_make(&coder->rate, s->audio[channel], s->begin, s->count, first, to, n);
}

/* A page is as wide as its result: a mono take is heard on both sides of a stereo one. */
static void make_track(Coder *coder, size_t track, uint64_t first, size_t n) {
    const Stretch *s = &coder->from[track];
    float *const *to = coder->made[track];
    for (unsigned c = 0; c < coder->sounds->channels; c++)
        make_channel(coder, s, c < s->reader.channels ? c : 0, first, to[c], n);
    if (s->reader.channels == 1 || coder->sounds->channels == 2)
        return;
    make_channel(coder, s, 1, first, coder->made[track][1], n);
    for (size_t i = 0; i < n; i++)
        to[0][i] = 0.5f * to[0][i] + 0.5f * to[1][i];
}

static bool make_part(Coder *coder, size_t number, HostError *error) {
    Sounds *sounds = coder->sounds;
    SoundPart *part = text_grow(&sounds->parts, &sounds->n_parts, sizeof *part);
    double ratio = coder->from[0].reader.rate_hz / sounds->rate_hz;
    uint64_t all = (uint64_t)ceil((double)coder->frames / ratio);
    uint64_t begin = (uint64_t)llround((double)number * SOUND_PART_S * sounds->rate_hz);
    uint64_t end = (uint64_t)llround((double)(number + 1) * SOUND_PART_S * sounds->rate_hz);
    uint64_t lead = sounds->coded && number ? (uint64_t)(SOUND_LEAD_S * sounds->rate_hz) : 0;
    end = end < all ? end : all;
    part->lead_s = (double)lead / sounds->rate_hz;
    uint64_t reach = coder->same_rate ? 0 : coder->rate.taps;
    uint64_t from = (uint64_t)((double)(begin - lead) * ratio);
    uint64_t to = (uint64_t)ceil((double)end * ratio) + reach;
    for (size_t t = 0; t < 2; t++) {
        if (!hold(&coder->from[t], from > reach ? from - reach : 0, to, error))
            return false;
        make_track(coder, t, begin - lead, (size_t)(end - begin + lead));
    }
    return code_part(coder, part, (size_t)(end - begin + lead), error);
}

/* ---- the whole ---- */

static double opus_rate(double rate_hz) {
    static const double known[] = {8000.0, 12000.0, 16000.0, 24000.0};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (rate_hz <= known[i])
            return known[i];
    return 48000.0;
}

static void choose_rates(Sounds *sounds, size_t budget) {
    double channels = (double)sounds->channels;
    double together = 8e-3 * (double)budget / sounds->length_s;
    sounds->rate_hz = opus_rate(sounds->rate_hz);
    for (size_t t = 0; t < SOUND_TRACKS; t++)
        sounds->kbps[t] =
            channels * fmin(MOST_KBPS, fmax(LEAST_KBPS[t], SHARE[t] * together / channels));
}

static void take_memory(Coder *coder) {
    size_t room = (size_t)((SOUND_PART_S + SOUND_LEAD_S) * coder->sounds->rate_hz) + 2;
    for (size_t t = 0; t < 2; t++)
        for (size_t c = 0; c < AUDIO_CHANNELS; c++)
            coder->made[t][c] = text_take(room, sizeof(float));
    rate_open(&coder->rate, (uint64_t)coder->from[0].reader.rate_hz,
              (uint64_t)coder->sounds->rate_hz);
    coder->same_rate = coder->from[0].reader.rate_hz == coder->sounds->rate_hz;
}

static void close_coder(Coder *coder) {
    for (size_t t = 0; t < 2; t++) {
        close_stretch(&coder->from[t]);
        for (size_t c = 0; c < AUDIO_CHANNELS; c++)
            free(coder->made[t][c]);
    }
    rate_close(&coder->rate);
}

static bool open_coder(Coder *coder, const char *raw, const char *result, HostError *error) {
    /* With what a rate of 192 kHz needs on both sides of a part. */
    const double seconds = SOUND_PART_S + SOUND_LEAD_S + 0.1;
    if (!open_stretch(&coder->from[0], raw, seconds, error) ||
        !open_stretch(&coder->from[1], result, seconds, error))
        return false;
    const AudioReader *a = &coder->from[0].reader, *b = &coder->from[1].reader;
    coder->frames = a->frames > b->frames ? a->frames : b->frames;
    coder->sounds->rate_hz = a->rate_hz;
    coder->sounds->channels = b->channels;
    coder->sounds->length_s = (double)coder->frames / a->rate_hz;
    return a->rate_hz == b->rate_hz || host_fail(error, "%s and %s have unlike rates", raw, result);
}

/* Lossless parts end when they are over the budget: *over. */
static bool code_all(Coder *coder, size_t budget, bool *over, HostError *error) {
    Sounds *sounds = coder->sounds;
    size_t count = (size_t)ceil(sounds->length_s / SOUND_PART_S);
    for (size_t k = 0; k < count && !*over; k++) {
        if (!make_part(coder, k, error))
            return false;
        *over = !sounds->coded && sounds->bytes > budget;
        if (coder->progress)
            coder->progress(coder->user, (double)(k + 1) / (double)count);
    }
    return true;
}

static bool attempt(Sounds *sounds, bool coded, const char *raw, const char *result, size_t budget,
                    bool *over, MeasureProgress *progress, void *user, HostError *error) {
    Coder coder = {.sounds = sounds, .progress = progress, .user = user};
    *sounds = (Sounds){.coded = coded};
    bool fine = open_coder(&coder, raw, result, error);
    double bytes = 4.0 * (double)coder.frames * (double)sounds->channels; /* 16 bit, two sounds */
    *over = !coded && LEAST_FLAC * bytes > (double)budget;
    if (fine && coded)
        choose_rates(sounds, budget);
    if (fine && !*over) {
        take_memory(&coder);
        fine = code_all(&coder, budget, over, error);
    }
    close_coder(&coder);
    if (!fine || *over)
        sounds_free(sounds);
    return fine;
}

bool sounds_make(Sounds *sounds, const char *raw, const char *result, size_t budget,
                 MeasureProgress *progress, void *user, HostError *error) {
    bool over = false;
    if (!attempt(sounds, false, raw, result, budget, &over, progress, user, error))
        return false;
    return !over || attempt(sounds, true, raw, result, budget, &over, progress, user, error);
}

void sounds_free(Sounds *sounds) {
    for (size_t k = 0; k < sounds->n_parts; k++)
        for (size_t t = 0; t < SOUND_TRACKS; t++)
            free(sounds->parts[k].track[t].bytes);
    free(sounds->parts);
    *sounds = (Sounds){0};
}
