/* SPDX-License-Identifier: ISC */
/* The ride, which has the whole take at hand.
 *
 * The take: the voice with its breaths, its phrases set 6 dB up and down in turn, the gain changing
 * in the first third of the gap before; takes with fewer than six phrases of 1.5 s or more are left
 * out. It is ridden as siskin ride does, phrases found by siskin measure and nothing told.
 * Loudness of a labelled phrase: blocks of 400 ms that overlap by 75 %, those within 10 dB of the
 * mean of all (ITU-R BS.1770-4). Spread: their standard deviation. Gain: the lane's own, from its
 * least to its largest within a labelled phrase, first to last sound. Peak: true peak of the result
 * over the take's. */
#include "measure/true_peak.h"
#include "quality/phrases.h"
#include "quality/quality.h"
#include "siskin/edit/ride_take.h"
#include "siskin/measure/take.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double UP_DB = 6.0;

typedef struct {
    Samples fall, moves, peak;
} Tally;

/* ---- the take ---- */

static void make_uneven(const Voice *voice, float *audio) {
    double last_db = 0.0, now_db = UP_DB;
    size_t from = 0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind != SINGER_PHRASE)
            continue;
        size_t third = from == 0 ? 0 : (l->start - from) / 3;
        for (size_t t = from; t < l->end; t++) {
            double part = t - from < third ? (double)(t - from) / (double)third : 1.0;
            audio[t] *= (float)pow(10.0, (last_db + part * (now_db - last_db)) / 20.0);
        }
        from = l->end;
        last_db = now_db;
        now_db = -now_db;
    }
    for (size_t t = from; t < voice->n; t++)
        audio[t] *= (float)pow(10.0, last_db / 20.0);
}

/* ---- measures ---- */

static bool spread_of(const Voice *voice, const float *audio, double *spread) {
    Energy energy = {NULL, 0};
    double n = 0.0, sum = 0.0, squares = 0.0;
    bool ok = phrases_energy(voice, audio, &energy);
    for (size_t i = 0; ok && i < voice->n_labels; i++) {
        if (!phrases_counts(voice, &voice->labels[i]))
            continue;
        double db = phrases_loudness(voice, &energy, &voice->labels[i]);
        n += 1.0;
        sum += db;
        squares += db * db;
    }
    *spread = sqrt(fmax(squares / n - sum / n * (sum / n), 0.0));
    energy_free(&energy);
    return ok;
}

static double true_peak_db(const float *audio, size_t n) {
    TruePeak peak;
    true_peak_prepare(&peak, 1);
    true_peak_process(&peak, &audio, n);
    return 20.0 * log10((double)true_peak_true(&peak) + 1e-12);
}

static void judge_moves(const Quality *quality, const Voice *voice, const Lane *lane,
                        Samples *moves) {
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        double least = INFINITY, most = -INFINITY;
        if (l->kind != SINGER_PHRASE)
            continue;
        for (size_t t = l->start; t < l->end; t += (size_t)(0.002 * voice->rate_hz)) {
            double db = lane_value(lane, (double)t / voice->rate_hz);
            least = fmin(least, db);
            most = fmax(most, db);
        }
        samples_add(moves, most - least);
        quality_note(quality, 2, "    phrase %7.3f .. %7.3f s: gain %+5.1f .. %+5.1f dB",
                     (double)l->start / voice->rate_hz, (double)l->end / voice->rate_hz, least,
                     most);
    }
}

/* ---- the ride ---- */

static bool write_file(const char *path, const Voice *voice, const float *audio) {
    SF_INFO info = {.samplerate = (int)voice->rate_hz,
                    .channels = 1,
                    .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    bool ok = file && sf_writef_float(file, audio, (sf_count_t)voice->n) == (sf_count_t)voice->n;
    return file && sf_close(file) == 0 && ok;
}

static bool ride_of(const Voice *voice, const float *audio, Ride *ride) {
    const RideParams params = {
        .range_db = RIDE_RANGE_DB, .strength = 1.0, .target_lufs = (double)NAN};
    char path[] = "/tmp/siskin-quality-XXXXXX";
    HostError error = {""};
    Measures measures;
    int fd = mkstemp(path);
    bool ok = fd >= 0 && write_file(path, voice, audio) &&
              measure_take(path, &measures, NULL, NULL, &error);
    if (ok) {
        ok = ride_take(ride, &measures, &params, &error);
        measures_free(&measures);
    }
    if (fd >= 0) {
        close(fd);
        unlink(path);
    }
    if (!ok)
        fprintf(stderr, "siskin-quality: %s: %s\n", voice->name, error.text);
    return ok && ride->n > 0;
}

static bool judge(Quality *quality, const Voice *voice, float *audio, Tally *tally) {
    double before, after;
    Ride ride;
    Lane lane;
    make_uneven(voice, audio);
    if (!spread_of(voice, audio, &before) || !ride_of(voice, audio, &ride))
        return false;
    ride_lane(&ride, &lane);
    double peak_db = true_peak_db(audio, voice->n);
    for (size_t t = 0; t < voice->n; t++)
        audio[t] *= (float)pow(10.0, lane_value(&lane, (double)t / voice->rate_hz) / 20.0);
    bool ok = spread_of(voice, audio, &after);
    for (size_t i = 0; i < ride.n; i++)
        quality_note(quality, 2, "    ridden %7.3f .. %7.3f s (sung %7.3f .. %7.3f): %+5.1f dB",
                     ride.phrases[i].from_s, ride.phrases[i].to_s, ride.phrases[i].start_s,
                     ride.phrases[i].end_s, ride.phrases[i].gain_db);
    samples_add(&tally->fall, 100.0 * (1.0 - after / before));
    samples_add(&tally->peak, true_peak_db(audio, voice->n) - peak_db);
    judge_moves(quality, voice, &lane, &tally->moves);
    quality_note(quality, 1, "  %-22s ride    %3zu phrases (%zu found), spread %5.2f -> %5.2f dB",
                 voice->name, phrases_of(voice), ride.n, before, after);
    ride_free(&ride);
    lane_free(&lane);
    return ok;
}

static Figure quantile(Tally *tally, size_t offset, double p) {
    return (Figure){samples_quantile((Samples *)((char *)&tally[0] + offset), p),
                    samples_quantile((Samples *)((char *)&tally[1] + offset), p)};
}

static void rows(Quality *quality) {
    Tally tally[2];
    memset(tally, 0, sizeof tally);
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Voice made;
        if (!material_breaths(quality->material, voice, 6000ull + i, &made))
            continue;
        float *audio = malloc((made.n + 1) * sizeof *audio);
        if (audio && phrases_of(&made) >= 6) {
            memcpy(audio, made.audio, made.n * sizeof *audio);
            quality->broken |= !judge(quality, &made, audio, &tally[voice->recorded]);
        }
        quality->broken |= !audio;
        free(audio);
        voice_free(&made);
    }
    quality_row(quality, "ride, phrases 6 dB up and down: spread falls by, mean", "%",
                (Figure){samples_mean(&tally[0].fall), samples_mean(&tally[1].fall)},
                QUALITY_AT_LEAST, 85.0);
    quality_row(quality, "ride: gain moves within a phrase, median", "dB",
                quantile(tally, offsetof(Tally, moves), 0.5), QUALITY_AT_MOST, 0.5);
    quality_row(quality, "ride: the same, 95th percentile", "dB",
                quantile(tally, offsetof(Tally, moves), 0.95), QUALITY_AT_MOST, 1.5);
    quality_row(quality, "ride: true peak over the take's, worst", "dB",
                quantile(tally, offsetof(Tally, peak), 1.0), QUALITY_AT_MOST, 0.0);
    for (int k = 0; k < 2; k++) {
        samples_free(&tally[k].fall);
        samples_free(&tally[k].moves);
        samples_free(&tally[k].peak);
    }
}

extern const QualityPart quality_ride;
const QualityPart quality_ride = {.name = "ride", .bundle = NULL, .run = rows, .voices = true};
