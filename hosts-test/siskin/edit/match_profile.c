/* SPDX-License-Identifier: ISC */
#include "siskin/edit/match_profile.h"

#include "measure/mean_spectrum.h"
#include "siskin/chains/settings.h"
#include "siskin/measure/controls.h"
#include "siskin/measure/statistics.h"
#include "siskin/render/audio.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double LOWEST_THIRD = 100.0; /* Hz */

double match_third_hz(size_t third) {
    return LOWEST_THIRD * exp2((double)third / 3.0);
}

CrossoverParams match_splits(const Measures *take, const Measures *reference) {
    const double over = 1.4; /* half an octave over the middle note */
    CrossoverParams splits;
    for (int i = 0; i < MATCH_BANDS - 1; i++) {
        char symbol[16];
        snprintf(symbol, sizeof symbol, "split_%d", i + 1);
        splits.split_hz[i] = controls_initial("band-colour", symbol);
    }
    double middle_hz = fmax(take->middle_hz, reference->middle_hz);
    double most_hz = (double)controls_find("band-colour", "split_1")->maximum;
    if (over * middle_hz > (double)splits.split_hz[0])
        splits.split_hz[0] = (float)fmin(most_hz, round(over * middle_hz));
    return splits;
}

/* ---- which moments count ---- */

static bool in_phrase(const Measures *m, double at_s) {
    for (size_t i = 0; i < m->n_phrases; i++)
        if (at_s >= m->phrases[i].start_s && at_s < m->phrases[i].end_s)
            return true;
    return false;
}

/* Hop k is that around reading k of the pitch. */
static bool counts(const Measures *m, size_t hop) {
    double at_s = (double)hop * MEASURE_PITCH_STEP_S;
    return hop < m->n_pitch && m->pitch_hz[hop] > 0.0f && in_phrase(m, at_s);
}

/* ---- hearing ---- */

typedef struct {
    const Measures *measures;
    AudioReader reader;
    HostInstance *colour; /* or NULL */
    size_t late;          /* frames that it is late, still to be left out */
    VoiceBands bands;
    VoiceBandsHop *hops; /* that count */
    size_t n_hops;
    VoiceBandsHop *rests; /* outside phrases */
    size_t n_rests;
    MeanSpectrum spectrum;
    void *memory; /* of the arena */
    uint64_t frame;
    size_t hop;
} Hearing;

/* More than a spectrum of 64 ms at 192 kHz takes. */
enum { MEMORY_BYTES = 1 << 20 };

static bool open_spectrum(Hearing *hearing, HostError *error) {
    hearing->memory = calloc(1, MEMORY_BYTES);
    if (!hearing->memory)
        return host_fail(error, "out of memory");
    Arena arena = arena_over(hearing->memory, MEMORY_BYTES);
    return mean_spectrum_prepare(&hearing->spectrum, hearing->reader.rate_hz, &arena) ||
           host_fail(error, "out of memory");
}

static bool set_colour(HostInstance *colour, const MatchSetting *setting, HostError *error) {
    bool fine = host_set(colour, "split_1", setting->splits.split_hz[0], error);
    for (int b = 0; fine && b < MATCH_BANDS; b++) {
        char symbol[16];
        snprintf(symbol, sizeof symbol, "level_%d", b + 1);
        fine = host_set(colour, symbol, (float)setting->level_db[b], error);
        snprintf(symbol, sizeof symbol, "drive_%d", b + 1);
        fine = fine && host_set(colour, symbol, (float)setting->drive_db[b], error);
    }
    return fine;
}

static bool open_colour(Hearing *hearing, Host *host, const MatchSetting *setting,
                        HostError *error) {
    const HostPlugin *plugin = settings_find(host, "band-colour", hearing->reader.channels, error);
    hearing->colour =
        plugin ? host_instantiate(host, plugin, hearing->reader.rate_hz, AUDIO_BLOCK, error) : NULL;
    if (!hearing->colour || !set_colour(hearing->colour, setting, error) ||
        !host_probe_latency(hearing->colour, &hearing->late, error))
        return false;
    host_activate(hearing->colour);
    return true;
}

/* The frame at which hop k ends: half a step behind its reading. */
static uint64_t hop_end(const Hearing *hearing) {
    return (uint64_t)llround(((double)hearing->hop + 0.5) * MEASURE_PITCH_STEP_S *
                             hearing->reader.rate_hz);
}

static void hear_spectrum(Hearing *hearing, const float *in, size_t n) {
    for (size_t at = 0; at < n;) {
        size_t room = mean_spectrum_room(&hearing->spectrum);
        size_t take = n - at < room ? n - at : room;
        bool full = mean_spectrum_feed(&hearing->spectrum, in + at, take);
        at += take;
        if (!full)
            continue;
        double middle = (double)(hearing->frame + at) - 0.5 * (double)hearing->spectrum.size;
        double reading = middle / (hearing->reader.rate_hz * MEASURE_PITCH_STEP_S);
        if (reading >= 0.0 && counts(hearing->measures, (size_t)lround(reading)))
            mean_spectrum_count(&hearing->spectrum, 0);
    }
}

static void end_hop(Hearing *hearing) {
    VoiceBandsHop hop = voice_bands_hop(&hearing->bands);
    if (counts(hearing->measures, hearing->hop))
        *(VoiceBandsHop *)text_grow(&hearing->hops, &hearing->n_hops, sizeof hop) = hop;
    else if (hop.frames > 0 &&
             !in_phrase(hearing->measures, (double)hearing->hop * MEASURE_PITCH_STEP_S))
        *(VoiceBandsHop *)text_grow(&hearing->rests, &hearing->n_rests, sizeof hop) = hop;
    hearing->hop++;
}

static void hear(Hearing *hearing, const float *in, size_t n) {
    hear_spectrum(hearing, in, n);
    for (size_t at = 0; at < n;) {
        uint64_t end = hop_end(hearing);
        size_t room = (size_t)(end - hearing->frame);
        size_t take = n - at < room ? n - at : room;
        voice_bands_process(&hearing->bands, in + at, take);
        at += take;
        hearing->frame += take;
        if (hearing->frame == end)
            end_hop(hearing);
    }
}

/* The mean of the channels, without the frames by which the processor is late. */
static void hear_mean(Hearing *hearing, float *const *audio, size_t n) {
    size_t skip = hearing->late < n ? hearing->late : n;
    hearing->late -= skip;
    if (hearing->reader.channels == 2)
        for (size_t i = 0; i < n; i++)
            audio[0][i] = 0.5f * (audio[0][i] + audio[1][i]);
    hear(hearing, audio[0] + skip, n - skip);
}

static bool hear_all(Hearing *hearing, HostError *error) {
    static float left[AUDIO_BLOCK], right[AUDIO_BLOCK];
    float *const audio[AUDIO_CHANNELS] = {left, right};
    AudioReader *reader = &hearing->reader;
    uint64_t total = reader->frames + hearing->late; /* silence past the end */
    for (uint64_t at = 0; at < total; at += AUDIO_BLOCK) {
        size_t n = total - at < AUDIO_BLOCK ? (size_t)(total - at) : AUDIO_BLOCK;
        if (!audio_read(reader, audio, n, error))
            return false;
        if (hearing->colour)
            host_run(hearing->colour, n, (const float *const *)audio, NULL, audio);
        hear_mean(hearing, audio, n);
    }
    return true;
}

/* Takes the room out of what was sung over it: powers of sounds that have nothing to do with each
 * other add up. Its power in a band is the median of what lies outside phrases; a tenth of what was
 * heard stays at least. */
static void take_out_room(Hearing *hearing) {
    double *power = text_take(hearing->n_rests + 1, sizeof *power);
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        for (size_t i = 0; i < hearing->n_rests; i++)
            power[i] = hearing->rests[i].sum[b] / (double)hearing->rests[i].frames;
        double room = hearing->n_rests ? statistics_median(power, hearing->n_rests) : 0.0;
        for (size_t i = 0; i < hearing->n_hops; i++) {
            VoiceBandsHop *hop = &hearing->hops[i];
            hop->sum[b] = fmax(hop->sum[b] - room * (double)hop->frames, 0.1 * hop->sum[b]);
        }
    }
    free(power);
}

static void read_out(MatchProfile *profile, Hearing *hearing) {
    take_out_room(hearing);
    double rate_hz = hearing->reader.rate_hz;
    double *scratch = text_take(hearing->n_hops + 1, sizeof *scratch);
    VoiceBandsReading r = voice_bands_read(hearing->hops, hearing->n_hops, scratch);
    free(scratch);
    profile->sung_s = (double)r.frames / rate_hz;
    profile->lufs = r.lufs;
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        profile->level_db[b] = r.level_db[b];
        profile->crest_db[b] = r.crest_db[b];
    }
    for (size_t k = 0; k < MATCH_THIRDS; k++) {
        double low = match_third_hz(k) * exp2(-1.0 / 6.0), high = low * exp2(1.0 / 3.0);
        double power = mean_spectrum_band(&hearing->spectrum, 0, low, high);
        profile->third_db[k] =
            high < 0.5 * rate_hz && power > 0.0 ? 10.0 * log10(power) : (double)NAN;
    }
}

bool match_profile(MatchProfile *profile, const Measures *measures, Host *host,
                   const MatchSetting *setting, HostError *error) {
    Hearing hearing = {.measures = measures};
    bool fine = audio_open(&hearing.reader, measures->path, error) &&
                open_spectrum(&hearing, error) &&
                (!host || open_colour(&hearing, host, setting, error));
    if (fine) {
        voice_bands_prepare(&hearing.bands, hearing.reader.rate_hz, &setting->splits);
        fine = hear_all(&hearing, error);
    }
    if (fine)
        read_out(profile, &hearing);
    host_free(hearing.colour);
    audio_close(&hearing.reader);
    free(hearing.memory);
    free(hearing.hops);
    free(hearing.rests);
    return fine;
}
