/* SPDX-License-Identifier: ISC */
#include "siskin/measure/click_spots.h"

#include "siskin/measure/controls.h"
#include "siskin/text.h"

#include <math.h>

static const float CLICK_DEPTH_DB = 48.0f; /* as the plugin has it */
/* A mouth click is a burst or a few within some 30 ms (Trouvain and Malisz, 2016: one to several).
 */
static const double CLICK_JOIN_S = 0.03;

static BandLevelsParams click_bands(void) {
    return (BandLevelsParams){controls_initial("transient-tamer", "focus_low"),
                              controls_initial("transient-tamer", "focus_high")};
}

static float click_threshold_db(void) {
    return controls_initial("transient-tamer", "threshold");
}

void click_spots_prepare(ClickSpots *spots, double rate_hz, unsigned channels) {
    *spots = (ClickSpots){.rate_hz = rate_hz};
    band_levels_prepare(&spots->levels, rate_hz, channels);
    const BandLevelsParams bands = click_bands();
    band_levels_set(&spots->levels, &bands);
    double hop_s = (double)spots->levels.hop / rate_hz;
    size_t longest =
        (size_t)lround(1e-3 * (double)controls_initial("transient-tamer", "max_length") / hop_s);
    click_finder_prepare(&spots->clicks, hop_s);
    const ClickFinderParams params = {.threshold_db = click_threshold_db(),
                                      .depth_db = CLICK_DEPTH_DB,
                                      .max_length = longest,
                                      .bands = spots->levels.bands};
    click_finder_set(&spots->clicks, &params);
    click_finder_reset(&spots->clicks);
    spots->late = click_finder_latency(longest);
}

/* A click is a run of hops that the finder wants to cut; its band is the one to be cut most. */
static void hear_hop(ClickSpots *spots, Measures *m) {
    size_t coming = spots->clicks.history.known;
    if (coming < spots->late)
        return;
    size_t hop = coming - spots->late;
    const float *cut = click_finder_cut(&spots->clicks, hop);
    size_t band = 0;
    for (size_t b = 1; b < spots->levels.bands; b++)
        band = cut[b] > cut[band] ? b : band;
    double height_db =
        fmin((double)cut[band], (double)click_finder_over_silence(&spots->clicks, hop, band));
    bool clicking = cut[band] > 0.0f;
    double at_s = ((double)hop + 0.5) * (double)spots->levels.hop / spots->rate_hz;
    if (clicking && (m->n_clicks == 0 || at_s > spots->last_s + CLICK_JOIN_S))
        (void)text_grow(&m->clicks, &m->n_clicks, sizeof *m->clicks);
    if (clicking)
        spots->last_s = at_s;
    if (clicking && height_db > m->clicks[m->n_clicks - 1].height_db)
        m->clicks[m->n_clicks - 1] = (MeasureClick){
            .at_s = at_s,
            .low_hz = (double)spots->levels.edge_hz[band],
            .high_hz = (double)spots->levels.edge_hz[band + 1],
            .height_db = height_db,
        };
}

void click_spots_hear(ClickSpots *spots, const float *const *in, size_t n, Measures *m) {
    float power[BAND_LEVELS_ROW];
    for (size_t at = 0; at < n;) {
        size_t room = band_levels_room(&spots->levels);
        size_t take = n - at < room ? n - at : room;
        if (band_levels_process(&spots->levels, in, at, take, power)) {
            click_finder_step(&spots->clicks, power);
            hear_hop(spots, m);
        }
        at += take;
    }
}

void click_spots_drop_low(Measures *m) {
    size_t kept = 0;
    for (size_t i = 0; i < m->n_clicks; i++)
        if (m->clicks[i].height_db >= (double)click_threshold_db())
            m->clicks[kept++] = m->clicks[i];
    m->n_clicks = kept;
}
