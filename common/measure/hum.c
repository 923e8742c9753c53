/* SPDX-License-Identifier: ISC */
#include "measure/hum.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double LOW_RATE_HZ = 2000.0, WHOLE_HZ = 500.0;
static const double MAINS_HZ[HUM_SERIES] = {50.0, 60.0};
static const double BESIDE_HZ = 10.0;
static const double LOWEST_DB = -160.0, LEVELS_A_DB = 4.0;
static const size_t TONES = (size_t)HUM_SERIES * HUM_HARMONICS;
static const double QUIETEST = 0.2, LOUDEST = 0.95, STANDS_OUT = 4.0;
static const double OFF_SHARE = 0.004, OFF_HZ = 0.2;
static const double LEAST = 1e-11, HELD = 1e-4; /* mean squares: -110, -40 dBFS */
static const double GAP = 10.0;                 /* 10 dB */

enum { FEWEST = 10 }; /* windows */

bool hum_prepare(Hum *hum, double rate_hz, Arena *arena) {
    size_t factor = (size_t)(rate_hz / LOW_RATE_HZ);
    hum->low_rate_hz = rate_hz / (double)factor;
    hum->audio = arena_take(arena, HUM_WINDOW, sizeof(float));
    hum->hann = arena_take(arena, HUM_WINDOW, sizeof(float));
    hum->cut = arena_take(arena, HUM_WINDOW, sizeof(float));
    hum->power = arena_take(arena, HUM_WINDOW / 2 + 1, sizeof(float));
    hum->levels = arena_take(arena, TONES * HUM_ROWS * HUM_LEVELS, sizeof(uint32_t));
    hum->off_hz = arena_take(arena, TONES * HUM_LEVELS, sizeof(float));
    hum->whole = arena_take(arena, HUM_LEVELS, sizeof(uint32_t));
    bool fits = decimator_prepare(&hum->decimator, factor, arena) &&
                fft_prepare(&hum->fft, HUM_WINDOW, arena);
    if (!fits || !hum->audio || !hum->hann || !hum->cut || !hum->power || !hum->levels ||
        !hum->off_hz || !hum->whole)
        return false;
    for (size_t i = 0; i < HUM_WINDOW; i++)
        hum->hann[i] = (float)(0.5 - 0.5 * cos(2.0 * PI * (double)i / HUM_WINDOW));
    hum_reset(hum);
    return true;
}

void hum_reset(Hum *hum) {
    decimator_reset(&hum->decimator);
    memset(hum->levels, 0, TONES * HUM_ROWS * HUM_LEVELS * sizeof(uint32_t));
    memset(hum->off_hz, 0, TONES * HUM_LEVELS * sizeof(float));
    memset(hum->whole, 0, HUM_LEVELS * sizeof(uint32_t));
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

static size_t bin_of(const Hum *hum, double hz) {
    return (size_t)lround(hz * HUM_WINDOW / hum->low_rate_hz);
}

/* Of the three bins, which hold 1.5 times the power of the middle one. */
static double tone_power(const Hum *hum, double hz) {
    const float *power = hum->power + bin_of(hum, hz);
    return (double)(power[-1] + power[0] + power[1]) / 1.5;
}

/* How far from f the tone is whose power tone_power reads, in Hz. */
static double tone_off(const Hum *hum, double hz) {
    const float *power = hum->power;
    size_t bin = bin_of(hum, hz);
    size_t top = power[bin - 1] > power[bin] ? bin - 1 : bin;
    top = power[bin + 1] > power[top] ? bin + 1 : top;
    bool above = power[top + 1] > power[top - 1];
    double ratio = sqrt((double)power[above ? top + 1 : top - 1] / fmax((double)power[top], 1e-30));
    double shift = (2.0 * ratio - 1.0) / (ratio + 1.0);
    double at = (double)top + (above ? shift : -shift);
    return at * hum->low_rate_hz / HUM_WINDOW - hz;
}

static uint32_t *levels_of(const Hum *hum, size_t tone, size_t row) {
    return hum->levels + (tone * HUM_ROWS + row) * HUM_LEVELS;
}

/* The bin of a level. */
static size_t count(uint32_t *levels, double power) {
    double at = power > 0.0 ? floor((10.0 * log10(power) - LOWEST_DB) * LEVELS_A_DB) : 0.0;
    at = fmin(fmax(at, 0.0), HUM_LEVELS - 1);
    levels[(size_t)at]++;
    return (size_t)at;
}

static double tone_hz(size_t tone) {
    return MAINS_HZ[tone / HUM_HARMONICS] * (double)(tone % HUM_HARMONICS + 1);
}

/* Mean square of a Hann window's bins, which are 1.5 times as many as the tones they hold. */
static double whole_power(const Hum *hum) {
    double sum = 0.0;
    for (size_t i = 1; i < bin_of(hum, WHOLE_HZ); i++)
        sum += (double)hum->power[i];
    return sum / 1.5;
}

static void measure(Hum *hum) {
    static const double beside[HUM_ROWS] = {0.0, -1.0, 1.0};
    transform(hum);
    for (size_t tone = 0; tone < TONES; tone++)
        for (size_t row = 0; row < HUM_ROWS; row++) {
            double hz = tone_hz(tone) + BESIDE_HZ * beside[row];
            size_t at = count(levels_of(hum, tone, row), tone_power(hum, hz));
            if (row == 0)
                hum->off_hz[tone * HUM_LEVELS + at] += (float)tone_off(hum, hz);
        }
    count(hum->whole, whole_power(hum));
    hum->state.windows++;
}

void hum_process(Hum *hum, const float *in, size_t n) {
    for (size_t i = 0; i < n; i++) {
        if (!decimator_step(&hum->decimator, in[i], &hum->audio[hum->state.filled]))
            continue;
        if (++hum->state.filled < HUM_WINDOW)
            continue;
        measure(hum);
        memmove(hum->audio, hum->audio + HUM_WINDOW / 2, HUM_WINDOW / 2 * sizeof(float));
        hum->state.filled = HUM_WINDOW / 2;
    }
}

/* The bin that a share of the windows fall short of. */
static size_t quantile_bin(const Hum *hum, const uint32_t *levels, double share) {
    uint64_t rank = (uint64_t)((double)(hum->state.windows - 1) * share);
    uint64_t below = 0;
    size_t i = 0;
    while (i < HUM_LEVELS - 1 && below + levels[i] <= rank)
        below += levels[i++];
    return i;
}

/* The power in the middle of that bin. */
static double quantile(const Hum *hum, const uint32_t *levels, double share) {
    size_t i = quantile_bin(hum, levels, share);
    return i == 0 ? 0.0 : pow(10.0, 0.1 * (LOWEST_DB + ((double)i + 0.5) / LEVELS_A_DB));
}

/* Whether the tone of the quietest windows is on its harmonic. */
static bool in_tune(const Hum *hum, size_t tone) {
    const uint32_t *levels = levels_of(hum, tone, 0);
    double sum = 0.0, windows = 0.0;
    for (size_t i = 0; i <= quantile_bin(hum, levels, QUIETEST); i++) {
        sum += (double)hum->off_hz[tone * HUM_LEVELS + i];
        windows += levels[i];
    }
    return fabs(sum) <= (OFF_SHARE * tone_hz(tone) + OFF_HZ) * windows;
}

/* A series without its first tones is another's: 300 Hz is a harmonic of both. */
static HumReading read_series(const Hum *hum, size_t series) {
    HumReading reading = {.mains_hz = MAINS_HZ[series]};
    for (size_t k = 0; k < HUM_HARMONICS; k++) {
        size_t tone = series * HUM_HARMONICS + k;
        double power = quantile(hum, levels_of(hum, tone, 0), QUIETEST);
        double noise = 0.5 * (quantile(hum, levels_of(hum, tone, 1), QUIETEST) +
                              quantile(hum, levels_of(hum, tone, 2), QUIETEST));
        reading.has[k] = power > LEAST && power > STANDS_OUT * noise && in_tune(hum, tone);
        reading.power[k] = reading.has[k] ? power - noise : 0.0;
        reading.total += reading.power[k];
    }
    bool gaps = quantile(hum, hum->whole, LOUDEST) > GAP * quantile(hum, hum->whole, QUIETEST);
    reading.found =
        (reading.has[0] || reading.has[1] || reading.has[2]) && (gaps || reading.total < HELD);
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
