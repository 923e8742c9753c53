/* SPDX-License-Identifier: ISC */
#include "detect/lead_presence.h"

#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/one_pole.h"

#include <string.h>

static const double WIDE_DB = 36.0, NARROW_DB = 12.0;

void lead_presence_prepare(LeadPresence *presence, double rate_hz, unsigned channels) {
    presence->channels = channels;
    presence->lift = (float)(rate_hz / (2.0 * PI * LEAD_TILT_HZ));
    band_levels_prepare(&presence->levels, rate_hz, channels);
    double hops_hz = rate_hz / (double)presence->levels.hop;
    presence->keep = (float)one_pole_coefficient(LEAD_HOLD_MS, hops_hz);
    presence->fall = (float)(1.0 - one_pole_coefficient(LEAD_FALL_MS, hops_hz));
    edge_filter_prepare(&presence->edge, rate_hz, channels);
    lead_presence_set(presence, 0.5, 5000.0);
    lead_presence_reset(presence);
}

void lead_presence_reset(LeadPresence *presence) {
    edge_filter_reset(&presence->edge);
    band_levels_reset(&presence->levels);
    memset(&presence->state, 0, sizeof presence->state);
    presence->state.reference_db = LEAD_QUIET_DB;
}

void lead_presence_set(LeadPresence *presence, double sharpness, double high_hz) {
    edge_filter_set(&presence->edge,
                    &(EdgeFilterParams){.low_hz = 20.0, .pairs = 1, .high_hz = high_hz});
    presence->wide = (float)(WIDE_DB + sharpness * (NARROW_DB - WIDE_DB));
}

static void judge(LeadPresence *presence, const float *power, float *share) {
    const size_t bands = presence->levels.bands;
    float level_db[BAND_LEVELS_ROW] = {0.0f}, loudest = LEAD_QUIET_DB;
    for (size_t b = 0; b < bands; b++) {
        float held = presence->keep * presence->state.held[b];
        presence->state.held[b] = held = maths_larger(held, power[b]);
        level_db[b] = decibel_from_power(held);
        loudest = maths_larger(loudest, level_db[b]);
    }
    float reference = presence->state.reference_db;
    reference = maths_larger(reference + presence->fall * (loudest - reference), loudest);
    presence->state.reference_db = reference;
    const float wide = presence->wide, per_db = 1.5f / wide;
    for (size_t b = 0; b < BAND_LEVELS_ROW; b++) {
        float over = b < bands ? per_db * (level_db[b] - (reference - wide)) : 0.0f;
        share[b] = maths_smaller(maths_larger(over, 0.0f), 1.0f);
    }
}

bool lead_presence_process(LeadPresence *presence, const float *const *key, size_t at, size_t n,
                           float share[BAND_LEVELS_ROW]) {
    float white[LEAD_CHANNELS][LEAD_MOST], power[BAND_LEVELS_ROW];
    const float *from[LEAD_CHANNELS] = {key[0] + at, key[presence->channels - 1] + at};
    float *const to[LEAD_CHANNELS] = {white[0], white[1]};
    edge_filter_process(&presence->edge, from, to, n);
    for (unsigned c = 0; c < presence->channels; c++) {
        float last = presence->state.last[c];
        for (size_t t = 0; t < n; t++) {
            float x = white[c][t];
            white[c][t] = x + presence->lift * (x - last);
            last = x;
        }
        presence->state.last[c] = last;
    }
    from[0] = white[0];
    from[1] = white[1];
    if (!band_levels_process(&presence->levels, from, 0, n, power))
        return false;
    judge(presence, power, share);
    return true;
}
