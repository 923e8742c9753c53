/* SPDX-License-Identifier: ISC */
#include "measure/band_crest.h"

#include "filter/svf.h"

#include <math.h>
#include <string.h>

const double band_crest_edge_hz[BAND_CREST_BANDS - 1] = {200.0, 1000.0, 5000.0};

static const double HIGHEST_EDGE = 0.45; /* of the rate */
static const float BUTTERWORTH_Q = 0.70710678f;
static const float LEAST_POWER = 1e-18f; /* -180 dB: rounding, no signal */

enum { CHUNK = 256 };

static void put(BandCrestSection *section, size_t band, const Svf *svf) {
    section->a1[band] = svf->a1;
    section->a2[band] = svf->a2;
    section->a3[band] = svf->a3;
    section->m0[band] = svf->m0;
    section->m1[band] = svf->m1;
    section->m2[band] = svf->m2;
}

/* Sections 0 and 1 are the lower edge, 2 and 3 the upper one; a band without an edge passes. */
static void design(BandCrest *profile, size_t band, double rate_hz) {
    for (size_t i = 0; i < BAND_CREST_SECTIONS; i++) {
        bool low_edge = i < 2;
        bool none = low_edge ? band == 0 : band == BAND_CREST_BANDS - 1;
        Svf svf = {.m0 = 1.0f};
        if (!none) {
            double hz = band_crest_edge_hz[low_edge ? band - 1 : band];
            double most = HIGHEST_EDGE * rate_hz;
            const SvfParams params = {low_edge ? SVF_HIGH_PASS : SVF_LOW_PASS,
                                      (float)(hz < most ? hz : most), BUTTERWORTH_Q, 0.0f};
            svf_set(&svf, rate_hz, &params);
        }
        put(&profile->section[i], band, &svf);
    }
}

void band_crest_prepare(BandCrest *profile, double rate_hz) {
    for (size_t band = 0; band < BAND_CREST_BANDS; band++)
        design(profile, band, rate_hz);
    band_crest_reset(profile);
}

void band_crest_reset(BandCrest *profile) {
    memset(&profile->state, 0, sizeof profile->state);
}

static void filter(BandCrest *profile, size_t k, Simd *x, size_t n) {
    const BandCrestSection s = profile->section[k];
    Simd ic1 = profile->state.ic1[k], ic2 = profile->state.ic2[k];
    for (size_t i = 0; i < n; i++) {
        Simd v3 = x[i] - ic2;
        Simd v1 = s.a1 * ic1 + s.a2 * v3;
        Simd v2 = ic2 + s.a2 * ic1 + s.a3 * v3;
        ic1 = v1 + v1 - ic1;
        ic2 = v2 + v2 - ic2;
        x[i] = s.m0 * x[i] + s.m1 * v1 + s.m2 * v2;
    }
    profile->state.ic1[k] = ic1;
    profile->state.ic2[k] = ic2;
}

static void take_in(BandCrest *profile, const Simd *x, size_t n) {
    Simd sum = {0.0f, 0.0f, 0.0f, 0.0f};
    for (size_t i = 0; i < n; i++)
        sum += x[i] * x[i];
    for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
        float peak = profile->state.peak[band];
        for (size_t i = 0; i < n; i++)
            peak = fabsf(x[i][band]) > peak ? fabsf(x[i][band]) : peak;
        profile->state.peak[band] = peak;
        profile->state.sum[band] += (double)sum[band];
        profile->state.hop[band] += (double)sum[band];
    }
    profile->state.frames += n;
    profile->state.hop_frames += n;
}

void band_crest_process(BandCrest *profile, const float *in, size_t n) {
    Simd x[CHUNK];
    for (size_t at = 0; at < n; at += CHUNK) {
        size_t take = n - at < CHUNK ? n - at : CHUNK;
        for (size_t i = 0; i < take; i++)
            x[i] = (Simd){in[at + i], in[at + i], in[at + i], in[at + i]};
        for (size_t k = 0; k < BAND_CREST_SECTIONS; k++)
            filter(profile, k, x, take);
        take_in(profile, x, take);
    }
}

void band_crest_window(BandCrest *profile, bool counts) {
    counts = counts && profile->state.frames > 0;
    for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
        double power = profile->state.sum[band] / (double)(profile->state.frames + !counts);
        double peak = (double)profile->state.peak[band];
        if (counts && power > (double)LEAST_POWER) {
            profile->state.crest_db[band] += 10.0 * log10(peak * peak / power);
            profile->state.heard[band]++;
        }
        profile->state.sum[band] = 0.0;
        profile->state.peak[band] = 0.0f;
    }
    profile->state.frames = 0;
}

/* Levels of blocks of hops in a row. */
static void end_block(BandCrest *profile) {
    for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
        double power = profile->state.block[band] / BAND_CREST_BLOCK;
        if (power > (double)LEAST_POWER) {
            double db = 10.0 * log10(power);
            profile->state.block_db[band] += db;
            profile->state.square[band] += db * db;
            profile->state.blocks[band]++;
        }
        profile->state.block[band] = 0.0;
    }
    profile->state.in_block = 0;
}

static void count_hop(BandCrest *profile, const double power[BAND_CREST_BANDS]) {
    for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
        profile->state.power[band] += power[band];
        profile->state.block[band] += power[band];
    }
    profile->state.hops++;
    if (++profile->state.in_block == BAND_CREST_BLOCK)
        end_block(profile);
}

void band_crest_hop(BandCrest *profile, bool counts) {
    if (counts) {
        count_hop(profile, profile->state.late[0]);
    } else {
        memset(profile->state.block, 0, sizeof profile->state.block);
        profile->state.in_block = 0;
    }
    memmove(profile->state.late, profile->state.late + 1,
            sizeof profile->state.late - sizeof *profile->state.late);
    double frames = (double)(profile->state.hop_frames ? profile->state.hop_frames : 1);
    for (size_t band = 0; band < BAND_CREST_BANDS; band++) {
        profile->state.late[BAND_CREST_LATE - 1][band] = profile->state.hop[band] / frames;
        profile->state.hop[band] = 0.0;
    }
    profile->state.hop_frames = 0;
}

double band_crest_level_db(const BandCrest *profile, size_t band) {
    double power =
        profile->state.hops ? profile->state.power[band] / (double)profile->state.hops : 0.0;
    return power > (double)LEAST_POWER ? 10.0 * log10(power) : (double)NAN;
}

double band_crest_spread_db(const BandCrest *profile, size_t band) {
    double n = (double)profile->state.blocks[band], sum = profile->state.block_db[band];
    return n >= 2.0 ? sqrt(fmax(0.0, (profile->state.square[band] - sum * sum / n) / (n - 1.0)))
                    : (double)NAN;
}

double band_crest_level_error_db(const BandCrest *profile, size_t band) {
    const double alike = 10.0; /* blocks in a row that tell the same */
    double n = (double)profile->state.blocks[band] / alike;
    return band_crest_spread_db(profile, band) / sqrt(fmax(1.0, n));
}

double band_crest_spread_error_db(const BandCrest *profile, size_t band) {
    return 0.70710678 * band_crest_level_error_db(profile, band);
}

double band_crest_crest_db(const BandCrest *profile, size_t band) {
    return profile->state.heard[band]
               ? profile->state.crest_db[band] / (double)profile->state.heard[band]
               : (double)NAN;
}
