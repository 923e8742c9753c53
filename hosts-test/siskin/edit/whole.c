/* SPDX-License-Identifier: ISC */
#include "siskin/edit/whole.h"

#include "siskin/files.h"
#include "siskin/render/report.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

static bool read_all(Whole *w, HostError *error) {
    for (size_t at = 0; at < w->n;) {
        size_t n = w->n - at < AUDIO_BLOCK ? w->n - at : AUDIO_BLOCK;
        float *const to[AUDIO_CHANNELS] = {w->channel[0] + at,
                                           w->channels > 1 ? w->channel[1] + at : NULL};
        if (!audio_read(&w->reader, to, n, error))
            return false;
        at += n;
    }
    return true;
}

/* As voice/listener.h does from moment to moment, here for the whole take. */
static void listen(Whole *w) {
    const double most = 4.0; /* 6 dB */
    const float *left = w->channel[0], *right = w->channel[w->channels - 1];
    double mean = 0.0, difference = 0.0;
    for (size_t i = 0; i < w->n; i++) {
        double x = (double)left[i], y = (double)right[i];
        mean += (x + y) * (x + y);
        difference += (x - y) * (x - y);
    }
    float sign = difference > most * mean ? -1.0f : 1.0f;
    for (size_t i = 0; i < w->n; i++)
        w->mid[i] = 0.5f * (left[i] + sign * right[i]);
}

bool whole_read(Whole *w, const char *path, double rate_hz, HostError *error) {
    *w = (Whole){0};
    text_no_memory(path, 1);
    if (!audio_open(&w->reader, path, error))
        return false;
    bool fine = rate_hz <= 0.0 || audio_convert(&w->reader, rate_hz, error);
    w->rate_hz = w->reader.rate_hz;
    w->channels = w->reader.channels;
    w->n = (size_t)w->reader.frames;
    for (unsigned c = 0; fine && c < w->channels; c++)
        w->channel[c] = text_take(w->n + 1, sizeof(float));
    w->mid = text_take(w->n + 1, sizeof(float));
    fine = fine && read_all(w, error);
    if (!fine) {
        whole_free(w);
        return false;
    }
    listen(w);
    report_note_lines(audio_notes(&w->reader));
    return true;
}

void whole_free(Whole *w) {
    audio_close(&w->reader);
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        free(w->channel[c]);
    free(w->mid);
    *w = (Whole){0};
}

static bool write_all(AudioWriter *writer, const float *const *channel, size_t n,
                      HostError *error) {
    for (size_t at = 0; at < n;) {
        size_t length = n - at < AUDIO_BLOCK ? n - at : AUDIO_BLOCK;
        const float *const from[AUDIO_CHANNELS] = {channel[0] + at,
                                                   writer->channels > 1 ? channel[1] + at : NULL};
        if (!audio_write(writer, from, length, error))
            return false;
        at += length;
    }
    return true;
}

bool whole_write(const char *path, const AudioFormat *format, const Whole *take,
                 const float *const *channel, size_t n, HostError *error) {
    AudioWriter writer;
    AudioWriter *const writers[] = {&writer};
    const AudioOrigin origin = {&take->reader, 0, NULL};
    safe_catch_signals();
    if (!audio_create(&writer, path, format, take->rate_hz, take->channels, n, &origin, error))
        return false;
    if (!write_all(&writer, channel, n, error)) {
        audio_discard(&writer);
        return false;
    }
    report_note_lines(writer.notes);
    return audio_commit(writers, 1, NULL, error);
}

bool whole_format(AudioFormat *format, const char *path, const char *bits, HostError *error) {
    *format = (AudioFormat){0};
    return audio_bits_option(bits, &format->bits, error) &&
           audio_resolve_format(format, path, error);
}

bool whole_may_write(const char *out, const char *const *inputs, size_t n, HostError *error) {
    if (files_is_folder(out))
        return host_fail(error, "%s is a folder; name the file to write", out);
    for (size_t i = 0; i < n; i++)
        if (inputs[i] && safe_same_file(out, inputs[i]))
            return host_fail(error, "%s would be written over %s, which is read; give another name",
                             out, inputs[i]);
    return true;
}
