/* SPDX-License-Identifier: ISC */
#include "measure/hum.h"

#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;
static const double LOW_RATE_HZ = 2000.0, LOW_PASS_HZ = 700.0;
static const double MAINS_HZ[HUM_SERIES] = {50.0, 60.0};
static const double BESIDE_HZ = 10.0;
static const double LOWEST_DB = -160.0, LEVELS_A_DB = 4.0;
static const size_t LEVELS = (size_t)HUM_SERIES * HUM_HARMONICS * HUM_ROWS * HUM_LEVELS;
static const double QUANTILE = 0.2, STANDS_OUT = 4.0;
/* For second-order sections that make a Butterworth filter of order 4. */
static const float SECTION_Q[2] = {0.54119610f, 1.3065630f};

enum { FEWEST = 10 }; /* windows */

/* |H|^2 of the low-pass, whose sections are bilinear: Butterworth in tan(pi f / rate). */
static double low_pass_gain(double rate_hz, double hz) {
    double ratio = tan(PI * hz / rate_hz) / tan(PI * LOW_PASS_HZ / rate_hz);
    return 1.0 / (1.0 + pow(ratio, 8.0));
}

bool hum_prepare(Hum *hum, double rate_hz, Arena *arena) {
    hum->rate_hz = rate_hz;
    hum->decimation = (size_t)(rate_hz / LOW_RATE_HZ);
    hum->low_rate_hz = rate_hz / (double)hum->decimation;
    for (size_t i = 0; i < 2; i++) {
        const SvfParams params = {SVF_LOW_PASS, (float)LOW_PASS_HZ, SECTION_Q[i], 0.0f};
        svf_set(&hum->low_pass[i], rate_hz, &params);
    }
    for (size_t s = 0; s < HUM_SERIES; s++)
        for (size_t k = 0; k < HUM_HARMONICS; k++)
            hum->gain[s][k] = low_pass_gain(rate_hz, MAINS_HZ[s] * (double)(k + 1));
    hum->audio = arena_take(arena, HUM_WINDOW, sizeof(float));
    hum->hann = arena_take(arena, HUM_WINDOW, sizeof(float));
    hum->cut = arena_take(arena, HUM_WINDOW, sizeof(float));
    hum->power = arena_take(arena, HUM_WINDOW / 2 + 1, sizeof(float));
    hum->levels = arena_take(arena, LEVELS, sizeof(uint32_t));
    bool fits = fft_prepare(&hum->fft, HUM_WINDOW, arena);
    if (!fits || !hum->audio || !hum->hann || !hum->cut || !hum->power || !hum->levels)
        return false;
    for (size_t i = 0; i < HUM_WINDOW; i++)
        hum->hann[i] = (float)(0.5 - 0.5 * cos(2.0 * PI * (double)i / HUM_WINDOW));
    hum_reset(hum);
    return true;
}

void hum_reset(Hum *hum) {
    svf_reset(&hum->low_pass[0]);
    svf_reset(&hum->low_pass[1]);
    memset(hum->levels, 0, LEVELS * sizeof(uint32_t));
    memset(&hum->state, 0, sizeof hum->state);
}

/* A sine of amplitude a gives a sum(w) / 2 = a N / 4 in its bin; its mean square is a^2 / 2. */
static void transform(Hum *hum) {
    const float scale = 8.0f / ((float)HUM_WINDOW * (float)HUM_WINDOW);
    for (size_t i = 0; i < HUM_WINDOW; i++)
        hum->cut[i] = hum->hann[i] * hum->audio[i];
    fft_power(&hum->fft, hum->cut, hum->power);
    for (size_t i = 0; i <= HUM_WINDOW / 2; i++)
        hum->power[i] *= scale;
}

/* Of the three bins, which hold 1.5 times the power of the middle one. */
static double tone_power(const Hum *hum, double hz) {
    size_t bin = (size_t)lround(hz * HUM_WINDOW / hum->low_rate_hz);
    const float *power = hum->power + bin;
    return (double)(power[-1] + power[0] + power[1]) / 1.5;
}

static uint32_t *levels_of(const Hum *hum, size_t series, size_t k, size_t row) {
    return hum->levels + ((series * HUM_HARMONICS + k) * HUM_ROWS + row) * HUM_LEVELS;
}

static void count(uint32_t *levels, double power) {
    double bin = power > 0.0 ? floor((10.0 * log10(power) - LOWEST_DB) * LEVELS_A_DB) : 0.0;
    bin = bin > 0.0 ? bin : 0.0;
    levels[bin < HUM_LEVELS ? (size_t)bin : HUM_LEVELS - 1]++;
}

static void measure(Hum *hum) {
    static const double beside[HUM_ROWS] = {0.0, -1.0, 1.0};
    transform(hum);
    for (size_t series = 0; series < HUM_SERIES; series++)
        for (size_t k = 0; k < HUM_HARMONICS; k++)
            for (size_t row = 0; row < HUM_ROWS; row++) {
                double hz = MAINS_HZ[series] * (double)(k + 1) + BESIDE_HZ * beside[row];
                count(levels_of(hum, series, k, row), tone_power(hum, hz) / hum->gain[series][k]);
            }
    hum->state.windows++;
}

void hum_process(Hum *hum, const float *in, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float x = svf_step(&hum->low_pass[1], svf_step(&hum->low_pass[0], in[i]));
        if (++hum->state.skipped < hum->decimation)
            continue;
        hum->state.skipped = 0;
        hum->audio[hum->state.filled++] = x;
        if (hum->state.filled < HUM_WINDOW)
            continue;
        measure(hum);
        memmove(hum->audio, hum->audio + HUM_WINDOW / 2, HUM_WINDOW / 2 * sizeof(float));
        hum->state.filled = HUM_WINDOW / 2;
    }
}

/* The power that a fifth of the windows fall short of: the middle of its bin. */
static double quantile(const Hum *hum, size_t series, size_t k, size_t row) {
    const uint32_t *levels = levels_of(hum, series, k, row);
    uint64_t rank = (uint64_t)((double)(hum->state.windows - 1) * QUANTILE);
    uint64_t below = 0;
    size_t i = 0;
    while (i < HUM_LEVELS - 1 && below + levels[i] <= rank)
        below += levels[i++];
    return i == 0 ? 0.0 : pow(10.0, 0.1 * (LOWEST_DB + ((double)i + 0.5) / LEVELS_A_DB));
}

/* A series without its first tones is another's: 300 Hz is a harmonic of both. */
static HumReading read_series(const Hum *hum, size_t series) {
    HumReading reading = {.mains_hz = MAINS_HZ[series]};
    for (size_t k = 0; k < HUM_HARMONICS; k++) {
        double tone = quantile(hum, series, k, 0);
        double noise = 0.5 * (quantile(hum, series, k, 1) + quantile(hum, series, k, 2));
        reading.has[k] = tone > STANDS_OUT * noise;
        reading.power[k] = reading.has[k] ? tone - noise : 0.0;
        reading.total += reading.power[k];
    }
    reading.found = reading.has[0] || reading.has[1] || reading.has[2];
    return reading;
}

bool hum_reading(const Hum *hum, HumReading *reading) {
    if (hum->state.windows < FEWEST)
        return false;
    HumReading low = read_series(hum, 0);
    HumReading high = read_series(hum, 1);
    bool take_high = high.found && (!low.found || high.total > low.total);
    *reading = take_high ? high : low;
    if (!reading->found)
        *reading = (HumReading){.mains_hz = 0.0};
    return true;
}
