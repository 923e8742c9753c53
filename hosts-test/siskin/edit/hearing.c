/* SPDX-License-Identifier: ISC */
#include "siskin/edit/hearing.h"

#include "basic/fft.h"
#include "filter/svf.h"
#include "siskin/measure/statistics.h"
#include "siskin/text.h"
#include "voice/listener.h"
#include "voice/pitch.h"
#include "voice/scene.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double LOW_HZ = 100.0, HIGH_HZ = 8000.0;
/* What lies further under the take's loudest is not looked at. */
static const double REACH_DB = 60.0;

/* ---- spectra ---- */

typedef struct {
    void *memory;
    Fft fft;
    size_t length, bands;                             /* length of the window, frames */
    size_t first[HEARING_BANDS], last[HEARING_BANDS]; /* bins of a band, last not included */
    float *weight;                                    /* [bands][size / 2 + 1] */
    float *window, *frame, *power;
} Ear;

static double mel(double hz) {
    return 2595.0 * log10(1.0 + hz / 700.0);
}

static double mel_hz(double mels) {
    return 700.0 * (pow(10.0, mels / 2595.0) - 1.0);
}

/* Triangles, each half a bin wider than it should be, so that one narrower than a bin reads between
 * two. */
static void weigh_bands(Ear *ear, double rate_hz) {
    double low = mel(LOW_HZ), high = mel(fmin(HIGH_HZ, 0.45 * rate_hz));
    double step = (high - low) / (double)(ear->bands + 1), bin = (double)ear->fft.size / rate_hz;
    size_t bins = ear->fft.size / 2 + 1;
    for (size_t b = 0; b < ear->bands; b++) {
        double from = bin * mel_hz(low + step * (double)b);
        double top = bin * mel_hz(low + step * (double)(b + 1));
        double to = bin * mel_hz(low + step * (double)(b + 2));
        ear->first[b] = (size_t)from;
        ear->last[b] = (size_t)ceil(to) + 1 < bins ? (size_t)ceil(to) + 1 : bins;
        for (size_t k = ear->first[b]; k < ear->last[b]; k++) {
            double rise = ((double)k - from + 0.5) / (top - from + 0.5);
            double fall = (to - (double)k + 0.5) / (to - top + 0.5);
            ear->weight[b * bins + k] = (float)fmax(0.0, fmin(1.0, fmin(rise, fall)));
        }
    }
}

static bool ear_open(Ear *ear, double rate_hz, double window_s, size_t bands) {
    size_t size = 16;
    *ear = (Ear){.length = (size_t)lround(window_s * rate_hz), .bands = bands};
    while (size < ear->length)
        size *= 2;
    size_t bytes = (bands + 8) * size * sizeof(float) + 4096;
    ear->memory = malloc(bytes);
    if (!ear->memory)
        return false;
    Arena arena = arena_over(ear->memory, bytes);
    bool fine = fft_prepare(&ear->fft, size, &arena);
    ear->window = arena_take(&arena, size, sizeof(float));
    ear->frame = arena_take(&arena, size, sizeof(float));
    ear->power = arena_take(&arena, size / 2 + 1, sizeof(float));
    ear->weight = arena_take(&arena, bands * (size / 2 + 1), sizeof(float));
    if (!fine || !ear->weight)
        return false;
    weigh_bands(ear, rate_hz);
    for (size_t i = 0; i < ear->length; i++)
        ear->window[i] =
            (float)(0.5 - 0.5 * cos(2.0 * M_PI * ((double)i + 0.5) / (double)ear->length));
    return true;
}

/* Mean square of each triangular band around a frame, dB. */
static void ear_listen(Ear *ear, const float *audio, size_t n, double middle, double floor_db,
                       double *band_db) {
    long first = lround(middle) - (long)(ear->length / 2);
    memset(ear->frame, 0, ear->fft.size * sizeof(float));
    for (size_t i = 0; i < ear->length; i++) {
        long at = first + (long)i;
        ear->frame[i] = at >= 0 && at < (long)n ? audio[at] * ear->window[i] : 0.0f;
    }
    fft_power(&ear->fft, ear->frame, ear->power);
    double unit = 2.0 / (0.375 * (double)ear->length * (double)ear->fft.size);
    for (size_t b = 0; b < ear->bands; b++) {
        const float *weight = &ear->weight[b * (ear->fft.size / 2 + 1)];
        double sum = 0.0;
        for (size_t k = ear->first[b]; k < ear->last[b]; k++)
            sum += (double)weight[k] * (double)ear->power[k];
        band_db[b] = fmax(10.0 * log10(unit * sum + 1e-20), floor_db);
    }
}

static void ear_close(Ear *ear) {
    free(ear->memory);
}

/* ---- level ---- */

static void hear_level(Hearing *h, const float *audio) {
    static const float q[] = {0.54119610f, 1.30656296f}; /* Butterworth, fourth order */
    Svf cut[2] = {0};
    for (size_t i = 0; i < 2; i++) {
        const SvfParams params = {.kind = SVF_HIGH_PASS, .frequency_hz = 150.0f, .q = q[i]};
        svf_set(&cut[i], h->rate_hz, &params);
    }
    for (size_t k = 0; k < h->n; k++) {
        double sum = 0.0;
        for (size_t i = k * h->hop; i < (k + 1) * h->hop; i++) {
            float x = svf_step(&cut[1], svf_step(&cut[0], i < h->frames ? audio[i] : 0.0f));
            sum += (double)x * (double)x;
        }
        h->level_db[k] = (float)(10.0 * log10(sum / (double)h->hop + 1e-15));
    }
}

/* 15 dB over the room, but 45 to 30 dB under the voice; in a loud room no less than 6 dB over
 * it. */
static void settle_levels(Hearing *h) {
    double *sung = text_take(h->n + 1, sizeof *sung), *room = text_take(h->n + 1, sizeof *room);
    size_t n_sung = 0, n_room = 0;
    for (size_t k = 0; k < h->n; k++) {
        if (h->kind[k] == SCENE_VOICED)
            sung[n_sung++] = (double)h->level_db[k];
        else if (h->kind[k] == SCENE_ROOM)
            room[n_room++] = (double)h->level_db[k];
    }
    h->voice_db = n_sung ? statistics_quantile(sung, n_sung, 0.9) : -20.0;
    double room_db = n_room ? statistics_quantile(room, n_room, 0.5) : -150.0;
    double quiet_db = fmin(fmax(room_db + 15.0, h->voice_db - 45.0), h->voice_db - 30.0);
    h->quiet_db = fmin(fmax(quiet_db, room_db + 6.0), h->voice_db - 10.0);
    free(sung);
    free(room);
}

/* ---- timbre ---- */

static void cosines(const double *band_db, float *cepstrum) {
    const double nats = 0.1 * M_LN10; /* of power, from dB */
    for (size_t c = 0; c < HEARING_CEPSTRA; c++) {
        double sum = 0.0;
        for (size_t b = 0; b < HEARING_BANDS; b++)
            sum += band_db[b] * cos(M_PI * (double)(c + 1) * ((double)b + 0.5) / HEARING_BANDS);
        cepstrum[c] = (float)(nats * sqrt(2.0 / HEARING_BANDS) * sum);
    }
}

static void take_mean_away(Hearing *h) {
    double mean[HEARING_CEPSTRA] = {0.0}, n = 0.0;
    for (size_t k = 0; k < h->n; k++) {
        if (hearing_quiet(h, k))
            continue;
        for (size_t c = 0; c < HEARING_CEPSTRA; c++)
            mean[c] += (double)h->cepstrum[k][c];
        n += 1.0;
    }
    for (size_t k = 0; k < h->n && n > 0.0; k++)
        for (size_t c = 0; c < HEARING_CEPSTRA; c++)
            h->cepstrum[k][c] -= (float)(mean[c] / n);
}

static bool hear_timbre(Hearing *h, const float *audio) {
    double band_db[HEARING_BANDS], late[3][HEARING_BANDS];
    const double floor_db = h->voice_db - REACH_DB;
    Ear slow, fast = {0};
    bool fine = ear_open(&slow, h->rate_hz, 0.025, HEARING_BANDS);
    fine = ear_open(&fast, h->rate_hz, 0.010, HEARING_BANDS) && fine;
    for (size_t k = 0; fine && k < h->n + 1; k++) {
        double middle = ((double)k + 0.5) * (double)h->hop;
        ear_listen(&fast, audio, h->frames, middle, floor_db, late[k % 3]);
        double rise = 0.0;
        for (size_t b = 0; k >= 2 && b < HEARING_BANDS; b++)
            rise += fmax(0.0, late[k % 3][b] - late[(k + 1) % 3][b]) / HEARING_BANDS;
        if (k >= 1)
            h->onset[k - 1] = (float)rise;
        if (k == h->n)
            break;
        ear_listen(&slow, audio, h->frames, middle, floor_db, band_db);
        cosines(band_db, h->cepstrum[k]);
    }
    ear_close(&slow);
    ear_close(&fast);
    return fine;
}

/* ---- kinds of sound ---- */

static void put_kind(Hearing *h, double middle, double half, SceneKind kind) {
    double from = (middle - half) / (double)h->hop, to = (middle + half) / (double)h->hop;
    for (size_t k = from > 0.0 ? (size_t)from : 0; (double)k < to && k < h->n; k++)
        if ((double)k + 0.5 >= from && (double)k + 0.5 < to)
            h->kind[k] = (unsigned char)kind;
}

/* With `known` NULL it only learns. */
static SceneKnown pass(Hearing *h, const float *audio, const SceneKnown *known) {
    const SceneParams params = {.sensitivity_db = 0.0f, .shortest_breath_ms = 80.0f};
    Listener *listener = text_take(1, sizeof *listener);
    Scene *scene = text_take(1, sizeof *scene);
    SceneMoment moment = {0};
    VoiceFrame frame;
    listener_prepare(listener, h->rate_hz);
    double hop = (double)listener->sense.hop;
    scene_prepare(scene, h->rate_hz, h->rate_hz / hop);
    scene_set(scene, &params);
    if (known)
        scene_begin_with(scene, known);
    size_t late = scene_late(h->rate_hz / hop, &params) + VOICE_SENSE_DELAY, hops = 0;
    size_t end = h->frames + (late + 1) * listener->sense.hop;
    static const float silence[OCTAVE_BANK_MAX_GROUP];
    for (size_t at = 0; at < end;) {
        size_t n = listener_room(listener), left = at < h->frames ? h->frames - at : end - at;
        n = n < left ? n : left;
        const float *in[] = {at < h->frames ? audio + at : silence};
        if (listener_hear(listener, in, 1, 0, n, &frame)) {
            scene_step(scene, &frame, &moment);
            if (known && hops >= late)
                put_kind(h, ((double)(hops - late) + 0.5) * hop, 0.5 * hop + 1e-9, moment.kind);
            hops++;
        }
        at += n;
    }
    free(listener);
    free(scene);
    return moment.known;
}

/* ---- pitch ---- */

static bool hear_pitch(Hearing *h, const float *audio) {
    const PitchRange range = {60.0, 1100.0};
    const float voiced = 0.25f;
    size_t bytes = 1 << 20;
    void *memory = malloc(bytes);
    Arena arena = arena_over(memory, bytes);
    Pitch *pitch = text_take(1, sizeof *pitch);
    bool fine = memory && pitch_prepare(pitch, h->rate_hz, &range, &arena);
    for (size_t at = 0; fine && at < h->frames;) {
        size_t n = pitch_until(pitch);
        n = n < h->frames - at ? n : h->frames - at;
        at += n;
        if (!pitch_process(pitch, audio + at - n, n))
            continue;
        PitchReading reading = pitch_reading(pitch);
        double middle = (double)at - 1e-3 * PITCH_WINDOW_MS * h->rate_hz;
        size_t k = hearing_hop(h, middle);
        if (middle >= 0.0)
            h->pitch_hz[k] = reading.aperiodicity < voiced ? reading.hz : 0.0f;
    }
    /* A hop that no reading fell on, since the two clocks differ by a little. */
    for (size_t k = 1; k + 1 < h->n; k++)
        if (h->pitch_hz[k] <= 0.0f && h->pitch_hz[k - 1] > 0.0f && h->pitch_hz[k + 1] > 0.0f)
            h->pitch_hz[k] = h->pitch_hz[k - 1];
    free(pitch);
    free(memory);
    return fine;
}

/* ---- the whole ---- */

bool hearing_of(Hearing *h, const float *audio, size_t n, double rate_hz) {
    *h = (Hearing){.rate_hz = rate_hz, .frames = n};
    h->hop = (size_t)lround(0.005 * rate_hz);
    h->hop_s = (double)h->hop / rate_hz;
    h->n = n / h->hop + 1;
    h->cepstrum = text_take(h->n, sizeof *h->cepstrum);
    h->level_db = text_take(h->n, sizeof *h->level_db);
    h->onset = text_take(h->n, sizeof *h->onset);
    h->pitch_hz = text_take(h->n, sizeof *h->pitch_hz);
    h->kind = text_take(h->n, sizeof *h->kind);
    memset(h->kind, SCENE_ROOM, h->n);
    SceneKnown known = pass(h, audio, NULL);
    pass(h, audio, &known);
    hear_level(h, audio);
    settle_levels(h);
    bool fine = hear_timbre(h, audio) && hear_pitch(h, audio);
    take_mean_away(h);
    if (!fine)
        hearing_free(h);
    return fine;
}

void hearing_free(Hearing *h) {
    free(h->cepstrum);
    free(h->level_db);
    free(h->onset);
    free(h->pitch_hz);
    free(h->kind);
    *h = (Hearing){0};
}

size_t hearing_hop(const Hearing *h, double frame) {
    double at = frame / (double)h->hop;
    return at <= 0.0 ? 0 : at >= (double)h->n ? h->n - 1 : (size_t)at;
}

bool hearing_quiet(const Hearing *h, size_t hop) {
    return (double)h->level_db[hop] < h->quiet_db;
}

/* ---- phrases ---- */

static bool is_voice(const Hearing *h, size_t hop) {
    return (h->kind[hop] == SCENE_VOICED || h->kind[hop] == SCENE_VOICELESS) &&
           !hearing_quiet(h, hop);
}

/* The first hop of the rest that begins at or after `k`, the rest being long enough to end a
 * phrase; *next is the first hop of voice after it. */
static size_t end_of_phrase(const Hearing *h, size_t k, size_t *next) {
    size_t rest = (size_t)(0.25 / h->hop_s), end = k, breath = 0;
    const size_t least_breath = 12; /* hops */
    for (; k < h->n; k++) {
        breath += h->kind[k] == SCENE_BREATH && !hearing_quiet(h, k);
        if (!is_voice(h, k))
            continue;
        if (k - end > rest || breath >= least_breath)
            break;
        end = k + 1;
        breath = 0;
    }
    *next = k;
    return end;
}

size_t hearing_phrases(const Hearing *h, HearingSpan **span) {
    const size_t least_sung = 16; /* hops */
    size_t n = 0, k = 0;
    *span = NULL;
    while (k < h->n && !is_voice(h, k))
        k++;
    while (k < h->n) {
        size_t next, end = end_of_phrase(h, k, &next), sung = 0;
        for (size_t i = k; i < end; i++)
            sung += h->kind[i] == SCENE_VOICED;
        if (sung >= least_sung)
            *(HearingSpan *)text_grow(span, &n, sizeof **span) =
                (HearingSpan){k * h->hop, end * h->hop};
        k = next;
    }
    return n;
}

/* ---- edges ---- */

bool hearing_edges(const float *audio, size_t n, double rate_hz, size_t step, double floor_db,
                   float *rise, float *fall) {
    enum { BANDS = 6 };
    const double window_s = 0.005, apart_s = 0.006;
    size_t lag = (size_t)fmax(1.0, round(apart_s * rate_hz / (double)step)), count = n / step + 1;
    double(*band)[BANDS] = text_take(count + lag, sizeof *band);
    Ear ear;
    bool fine = ear_open(&ear, rate_hz, window_s, BANDS);
    for (size_t k = 0; fine && k < count + lag; k++)
        ear_listen(&ear, audio, n, ((double)k - 0.5 * (double)lag) * (double)step, floor_db,
                   band[k]);
    for (size_t k = 0; fine && k < count; k++) {
        double up = 0.0, down = 0.0;
        for (size_t b = 0; b < BANDS; b++) {
            double change = band[k + lag][b] - band[k][b];
            up += fmax(0.0, change) / BANDS;
            down += fmax(0.0, -change) / BANDS;
        }
        rise[k] = (float)up;
        fall[k] = (float)down;
    }
    ear_close(&ear);
    free(band);
    return fine;
}
