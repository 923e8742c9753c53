/* SPDX-License-Identifier: ISC */
#include "siskin/measure/hiss_spots.h"

#include "siskin/measure/controls.h"
#include "siskin/text.h"

#include <math.h>

/* As the plugin has it. */
static const float SIBILANT_VOICE_LOW_HZ = 100.0f, SIBILANT_VOICE_HIGH_HZ = 1500.0f;
/* Under that it is friction that nobody would call a sibilant: /f/ lies 10 dB under /s/ (Jongman,
 * Wayland and Wong, 2000: -20.8 and -11.0 dB re vowel). */
static const float SIBILANT_LEAST_DB = -20.0f;
/* Two so close are one; /sh/ and /z/ are known from 30 ms of friction on (Jongman, 1989). */
static const double SIBILANT_JOIN_S = 0.03, SIBILANT_SHORTEST_S = 0.03;

static BandRatioParams sibilant_bands(void) {
    return (BandRatioParams){.band_low_hz = controls_initial("de-esser", "band_low"),
                             .band_high_hz = controls_initial("de-esser", "band_high"),
                             .voice_low_hz = SIBILANT_VOICE_LOW_HZ,
                             .voice_high_hz = SIBILANT_VOICE_HIGH_HZ};
}

bool hiss_spots_prepare(HissSpots *spots, double rate_hz, unsigned channels, Arena *arena) {
    *spots = (HissSpots){.rate_hz = rate_hz, .channels = channels};
    band_ratio_prepare(&spots->bands, rate_hz);
    const BandRatioParams sibilants = sibilant_bands();
    band_ratio_set(&spots->bands, &sibilants);
    spectral_centre_prepare(&spots->centre, spots->bands.hop_rate);
    spectral_centre_set(&spots->centre, rate_hz, spots->bands.low_hz, spots->bands.high_hz);
    if (!sibilance_prepare(&spots->sibilance, spots->bands.hop_rate, arena))
        return false;
    sibilance_reset(&spots->sibilance);
    sibilance_set(&spots->sibilance, controls_initial("de-esser", "ratio"),
                  spots->bands.missing_db);
    return true;
}

static void hear_step(HissSpots *spots, const BandPowers *powers, uint64_t end, Measures *m) {
    SibilanceNow now =
        sibilance_step(&spots->sibilance, powers->band, powers->voice, powers->whole);
    CentreAndSpread centre =
        spectral_centre_step(&spots->centre, powers->band, powers->slope, powers->curve);
    size_t late = sibilance_latency(&spots->sibilance);
    spots->centres[spots->steps % HISS_SPOTS_CENTRES] = centre.g;
    float g = spots->centres[(spots->steps + HISS_SPOTS_CENTRES - late) % HISS_SPOTS_CENTRES];
    spots->steps++;
    double at_s =
        ((double)end - (double)band_ratio_age(&spots->bands) - (double)(late * spots->bands.hop)) /
        spots->rate_hz;
    bool hissing = !sibilance_in_vowel(now.lasting_db) && now.lasting_db > SIBILANT_LEAST_DB;
    MeasureSibilant *last = m->n_sibilants ? &m->sibilants[m->n_sibilants - 1] : NULL;
    if (hissing && !spots->hissing && !(last && at_s < last->end_s + SIBILANT_JOIN_S)) {
        last = text_grow(&m->sibilants, &m->n_sibilants, sizeof *last);
        *last = (MeasureSibilant){.start_s = fmax(0.0, at_s), .ratio_db = -INFINITY};
    }
    if (hissing && last) {
        last->end_s = at_s;
        if ((double)now.lasting_db > last->ratio_db) {
            last->ratio_db = (double)now.lasting_db;
            last->centre_hz = (double)spectral_centre_hz(spots->rate_hz, g);
        }
    }
    spots->hissing = hissing;
}

void hiss_spots_hear(HissSpots *spots, const float *const *in, size_t n, uint64_t from,
                     Measures *m) {
    const float *left = in[0], *right = in[spots->channels - 1];
    for (size_t at = 0; at < n;) {
        size_t room = band_ratio_room(&spots->bands);
        size_t take = n - at < room ? n - at : room;
        BandPowers powers;
        band_ratio_feed(&spots->bands, left + at, right + at, take);
        at += take;
        if (band_ratio_hop(&spots->bands, &powers))
            hear_step(spots, &powers, from + at, m);
    }
}

void hiss_spots_drop_short(Measures *m) {
    size_t kept = 0;
    for (size_t i = 0; i < m->n_sibilants; i++)
        if (m->sibilants[i].end_s - m->sibilants[i].start_s >= SIBILANT_SHORTEST_S)
            m->sibilants[kept++] = m->sibilants[i];
    m->n_sibilants = kept;
}
