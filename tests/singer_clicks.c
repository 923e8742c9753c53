/* SPDX-License-Identifier: ISC */
#include "singer_work.h"

#include <stdlib.h>

static const double click_low_hz = 1000.0, click_high_hz = 12000.0;

static double click_top(double rate_hz) {
    return fmin(click_high_hz, 0.45 * rate_hz);
}

/* One burst at out[at..n): one or two damped resonances and a little noise under them. */
static void click_burst(float *out, size_t n, double rate_hz, double height, double tau_ms,
                        Random *random) {
    double top = click_top(rate_hz);
    double hz = fmin(2000.0 * pow(4.5, random_unit(random)), 0.9 * top);
    bool second = random_unit(random) < 0.6;
    double other = fmin(hz * random_range(random, 1.3, 2.4), top);
    double grain = random_range(random, 0.0, 0.4);
    double rise_s = random_range(random, 0.00005, 0.0004);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate_hz, decay = exp(-1000.0 * t / tau_ms);
        if (decay < 1e-4)
            break;
        double y = sin(2.0 * PI * hz * t) + grain * random_normal(random);
        if (second)
            y += 0.7 * sin(2.0 * PI * other * t + 1.0) * exp(-500.0 * t / tau_ms);
        out[i] += (float)(height * singer_fade(t, rise_s) * decay * y);
    }
}

size_t singer_click(float *out, size_t n, double rate_hz, double peak, uint64_t seed) {
    enum { LONGEST = 192 * 30 };
    float click[LONGEST + 1] = {0.0f}, band[LONGEST + 1];
    Random random = random_seeded(seed);
    size_t bursts = 1 + random_below(&random, 3), at = 0, length = 0;
    size_t longest = (size_t)(0.03 * rate_hz);
    for (size_t k = 0; k < bursts; k++) {
        double tau_ms = 0.2 * pow(9.0, random_unit(&random));
        double height = k ? random_range(&random, 0.4, 1.2) : 1.0;
        click_burst(click + at, longest - at, rate_hz, height, tau_ms, &random);
        size_t end = at + (size_t)(0.005 * tau_ms * rate_hz); /* five time constants */
        length = end > length ? end : length;
        at += (size_t)(random_range(&random, 0.003, 0.009) * rate_hz);
        if (at >= longest)
            break;
    }
    length = length < longest ? length : longest;
    length = length < n ? length : n;
    /* The mouth is too small a cavity to hold much below its resonance. */
    SignalsBiquad cut = signals_high_pass(rate_hz, 1500.0, 0.7071);
    for (size_t i = 0; i < length; i++)
        click[i] = (float)signals_biquad_step(&cut, (double)click[i]);
    size_t edge = length / 8 + 1;
    for (size_t i = 0; i < length; i++)
        if (length - i < edge)
            click[i] *= (float)singer_fade((double)(length - i), (double)edge);
    signals_band_filter(click, band, length, rate_hz, click_low_hz, click_top(rate_hz));
    double got = signals_peak(band, length);
    for (size_t i = 0; i < length && got > 0.0; i++)
        out[i] += click[i] * (float)(peak / got);
    return length;
}

typedef struct {
    const float *around; /* everything but clicks, in the band */
    Random random;
} Clicker;

static bool click_at(Clicker *clicker, size_t at, size_t limit, SingerRange height_db,
                     SingerTake *take) {
    size_t reach = (size_t)(0.025 * take->rate_hz);
    size_t from = at > reach ? at - reach : 0;
    size_t to = at + reach < take->n ? at + reach : take->n;
    double db = singer_in_range(&clicker->random, height_db);
    double level = fmax(singer_rms(clicker->around, from, to), 1e-6);
    uint64_t seed = random_bits(&clicker->random);
    size_t length = singer_click(take->stem[SINGER_STEM_CLICKS] + at, limit - at, take->rate_hz,
                                 level * pow(10.0, db / 20.0), seed);
    return singer_label(take, SINGER_CLICK, at, at + length, db);
}

/* Up to `count` clicks within start..end, at least 80 ms apart, one in each part of it. */
static bool clicks_between(Clicker *clicker, double start_s, double end_s, size_t count,
                           SingerRange height_db, SingerTake *take) {
    for (size_t k = 0; k < count; k++) {
        double part = (end_s - start_s) / (double)count;
        double unit = random_unit(&clicker->random);
        if (part < 0.08)
            return true;
        double at_s = start_s + part * (double)k + unit * (part - 0.05);
        if (!click_at(clicker, singer_frame(take, at_s), take->n, height_db, take))
            return false;
    }
    return true;
}

bool singer_render_clicks(const Plan *plan, SingerTake *take) {
    const SingerParams *params = plan->params;
    float *around = malloc((take->n + 1) * sizeof *around);
    if (!around)
        return false;
    singer_mix(take, ~(1u << SINGER_STEM_CLICKS), around);
    signals_band_filter(around, around, take->n, take->rate_hz, click_low_hz,
                        click_top(take->rate_hz));
    Clicker clicker = {around, random_seeded(params->seed ^ UINT64_C(0x636c6963))};
    bool ok = true;
    double from_s = 0.05;
    for (size_t p = 0; p <= plan->phrases && ok; p++) {
        double to_s = p < plan->phrases ? plan->phrase[p].start_s : plan->end_s;
        ok = clicks_between(&clicker, from_s, to_s - 0.05,
                            singer_some(&clicker.random, params->gap_clicks), params->gap_click_db,
                            take);
        from_s = p < plan->phrases ? plan->phrase[p].end_s + 0.05 : to_s;
    }
    for (size_t i = 0; i < plan->segments && ok; i++) {
        const Segment *segment = &plan->segment[i];
        if (!segment->sound || !singer_is_vowel(segment->sound))
            continue;
        /* About 1.9 vowels a word. */
        size_t count = singer_some(&clicker.random, params->word_clicks / 1.9);
        ok = clicks_between(&clicker, segment->start_s + 0.02, segment->end_s - 0.02, count,
                            params->word_click_db, take);
    }
    free(around);
    return ok;
}
