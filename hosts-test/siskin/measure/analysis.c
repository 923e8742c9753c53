/* SPDX-License-Identifier: ISC */
#include "siskin/measure/analysis.h"

#include "siskin/measure/controls.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The ranges and defaults of the plugins whose units these are. */
static const PitchRange VOICE = {.lowest_hz = 60.0, .highest_hz = 1100.0};

static BreathFinderParams breath_params(void) {
    return (BreathFinderParams){
        .scene = {.sensitivity_db = controls_initial("breath-ducker", "sensitivity"),
                  .shortest_breath_ms = controls_initial("breath-ducker", "shortest")},
        .clear_ms = 0.0f};
}

/* A burst's envelope may dip; it is told so late (thumps.h). */
static const double THUMP_JOIN_S = 0.05, THUMP_LATE_S = 0.01;
/* As scene.h has it, once the voice is known: what lies further under it is none. */
static const double UNDER_VOICE_DB = 25.0;

static const double PHRASE_PAUSE_MS = 350.0;
static const double PROFILE_S = 0.4;
static const double FLUSH_S = 0.7; /* more than any detector holds back */

static const double QUIET_S = 0.3;
/* Where gaps were faded, what is left of the room at their ends is not how quiet they are. */
static const float QUIET_OVER_FLOOR_DB = 4.0f;

static const double STEADY = 1.12; /* the pitch within a window */

_Static_assert((int)BAND_CREST_LATE == (int)VOICE_SENSE_DELAY, "a hop is told of so late");

enum { GUARD_HOPS = 3, MEMORY_BYTES = 1 << 23 };

static bool prepare(Analysis *analysis, Arena *arena) {
    double rate_hz = analysis->rate_hz;
    true_peak_prepare(&analysis->peak, analysis->channels);
    clipping_prepare(&analysis->tops, rate_hz, analysis->channels);
    listener_prepare(&analysis->listener, rate_hz);
    double hops_per_second = rate_hz / (double)analysis->listener.sense.hop;
    phrase_level_prepare(&analysis->phrase, hops_per_second);
    phrase_level_set(&analysis->phrase, 1e9); /* the plain mean, however long the phrase */
    phrase_level_split(&analysis->phrase, PHRASE_PAUSE_MS, PHRASE_PAUSE_MS);
    phrase_level_reset(&analysis->phrase);
    for (unsigned c = 0; c < analysis->channels; c++) {
        k_weight_prepare(&analysis->k[c], rate_hz);
        band_crest_prepare(&analysis->profile[c], rate_hz);
    }
    analysis->window_hops = (size_t)lround(PROFILE_S * hops_per_second);
    const BreathFinderParams breaths = breath_params();
    scene_prepare(&analysis->scene, rate_hz, hops_per_second);
    analysis->scene_params = breaths.scene;
    scene_set(&analysis->scene, &breaths.scene);
    breath_finder_prepare(&analysis->breath, hops_per_second);
    breath_finder_set(&analysis->breath, &breaths);
    analysis->breath_late = breath_finder_delay(&analysis->breath, &breaths);
    return loudness_prepare(&analysis->loudness, rate_hz, analysis->channels, NULL, arena) &&
           hum_prepare(&analysis->hum, rate_hz, arena) &&
           mean_spectrum_prepare(&analysis->spectrum, rate_hz, arena) &&
           resonances_prepare(&analysis->standing, rate_hz, analysis->spectrum.size, arena) &&
           pitch_prepare(&analysis->pitch, rate_hz, &VOICE, arena) &&
           pitch_floor_prepare(&analysis->voiced, PITCH_HOP_MS, arena) &&
           thumps_prepare(&analysis->thumps, rate_hz, arena) &&
           pitch_candidates_prepare(&analysis->candidates, rate_hz, arena) &&
           hiss_spots_prepare(&analysis->hisses, rate_hz, analysis->channels, arena);
}

bool analysis_open(Analysis *analysis, double rate_hz, unsigned channels, Measures *measures) {
    memset(analysis, 0, sizeof *analysis);
    analysis->rate_hz = rate_hz;
    analysis->channels = channels;
    analysis->measures = measures;
    analysis->memory = calloc(1, MEMORY_BYTES);
    if (!analysis->memory)
        return false;
    Arena arena = arena_over(analysis->memory, MEMORY_BYTES);
    if (!prepare(analysis, &arena))
        return false;
    click_spots_prepare(&analysis->clicks, rate_hz, channels);
    return true;
}

void analysis_close(Analysis *analysis) {
    free(analysis->memory);
    free(analysis->hops);
    free(analysis->readings);
    free(analysis->moments);
    memset(analysis, 0, sizeof *analysis);
}

double analysis_hop_s(const Analysis *analysis, size_t hop) {
    /* voice_sense.h: the k-th hop tells of the audio around (k - delay + 1/2) hop */
    return ((double)hop - VOICE_SENSE_DELAY + 0.5) * (double)analysis->listener.sense.hop /
           analysis->rate_hz;
}

double analysis_reading_s(const Analysis *analysis, size_t reading) {
    double hop_s = (double)(analysis->pitch.hop * analysis->pitch.decimation) / analysis->rate_hz;
    return (double)(reading + 1) * hop_s - 1e-3 * PITCH_WINDOW_MS;
}

/* ---- hops: what kind of moment ---- */

/* Room for one more element, doubling. */
static void *more(void *array, size_t count, size_t *room, size_t size) {
    if (count < *room)
        return array;
    *room = *room ? 2 * *room : 4096;
    void *grown = text_take(*room, size);
    if (count)
        memcpy(grown, array, count * size);
    free(array);
    return grown;
}

/* Where phrases begin and end is phrase_level's to say. One that was over before it counted makes
 * room for the next. */
static void follow_phrases(Analysis *analysis, const EarHop *hop) {
    Measures *m = analysis->measures;
    bool sung = hop->sung;
    bool apart = analysis->phrase.state.silent >= analysis->phrase.split;
    size_t now = analysis->n_hops - 1;
    phrase_level_step(&analysis->phrase, hop->k_power, sung);
    if (!sung)
        return;
    if (apart && (m->n_phrases == 0 || analysis->phrase_counts))
        (void)text_grow(&m->phrases, &m->n_phrases, sizeof *m->phrases);
    MeasurePhrase *phrase = &m->phrases[m->n_phrases - 1];
    if (apart)
        phrase->start_s = fmax(0.0, analysis_hop_s(analysis, now));
    phrase->end_s = analysis_hop_s(analysis, now + 1);
    phrase->lufs = loudness_from_power((double)analysis->phrase.state.power);
    analysis->phrase_counts = !analysis->phrase.state.beginning;
}

/* The finder tells of the hop breath_late before this one. */
static void follow_breaths(Analysis *analysis, const SceneMoment *moment) {
    Measures *m = analysis->measures;
    bool down = breath_finder_step(&analysis->breath, moment);
    double hop_s = (double)analysis->listener.sense.hop / analysis->rate_hz;
    double middle_s =
        analysis_hop_s(analysis, analysis->n_hops - 1) - (double)analysis->breath_late * hop_s;
    if (down && !analysis->breathing) {
        MeasureBreath *breath = text_grow(&m->breaths, &m->n_breaths, sizeof *breath);
        breath->start_s = fmax(0.0, middle_s - 0.5 * hop_s);
    }
    if (down)
        m->breaths[m->n_breaths - 1].end_s = middle_s + 0.5 * hop_s;
    analysis->breathing = down;
}

static void finish_hop(Analysis *analysis, const VoiceFrame *frame) {
    analysis->hops =
        more(analysis->hops, analysis->n_hops, &analysis->room_hops, sizeof *analysis->hops);
    EarHop *hop = &analysis->hops[analysis->n_hops++];
    SceneMoment moment;
    scene_step(&analysis->scene, frame, &moment);
    hop->power = frame->power[1] + frame->power[2] + frame->power[3] + frame->power[4];
    hop->sung = moment.sung;
    hop->quiet = moment.likeliest == SCENE_ROOM &&
                 moment.level_db <= moment.known.floor_db + QUIET_OVER_FLOOR_DB;
    hop->k_power = analysis->k_late[0]; /* of the moment that the frame tells of */
    memmove(analysis->k_late, analysis->k_late + 1,
            sizeof analysis->k_late - sizeof *analysis->k_late);
    analysis->k_late[VOICE_SENSE_DELAY - 1] =
        (float)(analysis->k_sum / (double)analysis->listener.sense.hop);
    analysis->k_sum = 0.0;
    follow_phrases(analysis, hop);
    follow_breaths(analysis, &moment);
    analysis->window_sung += hop->sung;
    bool window = analysis->n_hops % analysis->window_hops == 0;
    for (unsigned c = 0; c < analysis->channels; c++) {
        band_crest_hop(&analysis->profile[c], hop->sung);
        if (window)
            band_crest_window(&analysis->profile[c],
                              2 * analysis->window_sung >= analysis->window_hops);
    }
    analysis->window_sung = window ? 0 : analysis->window_sung;
}

/* ---- spectra ---- */

/* Hops up to `hop` that are quiet, in a row. */
static size_t quiet_run(const Analysis *analysis, long hop) {
    size_t run = 0;
    if (hop >= (long)analysis->n_hops)
        hop = (long)analysis->n_hops - 1;
    while (hop - (long)run >= VOICE_SENSE_SMOOTHED && analysis->hops[hop - (long)run].quiet)
        run++;
    return run;
}

/* Of hops first..last - 1, those that are sung. */
static long count_sung(const Analysis *analysis, long first, long last) {
    long sung = 0;
    for (long i = first; i < last; i++)
        sung += i >= 0 && i < (long)analysis->n_hops && analysis->hops[i].sung;
    return sung;
}

/* Readings of the pitch within a quarter of a window around its middle: their mean when all are
 * voiced and none is far from the first, 0 when none is voiced, -1 otherwise. */
static double window_pitch(const Analysis *analysis, double middle_s, double reach_s) {
    double step_s = analysis_reading_s(analysis, 1) - analysis_reading_s(analysis, 0);
    long first = lround((middle_s - reach_s - analysis_reading_s(analysis, 0)) / step_s);
    long last = lround((middle_s + reach_s - analysis_reading_s(analysis, 0)) / step_s);
    double low = INFINITY, high = 0.0, sum = 0.0;
    if (first < 0 || last >= (long)analysis->n_readings)
        return -1.0;
    for (long i = first; i <= last; i++) {
        low = fmin(low, (double)analysis->readings[i]);
        high = fmax(high, (double)analysis->readings[i]);
        sum += (double)analysis->readings[i];
    }
    return high == 0.0 ? 0.0 : high < STEADY * low ? sum / (double)(last - first + 1) : -1.0;
}

/* The same window for what stands through all of them. */
static void feed_standing(Analysis *analysis, bool silent) {
    double size_s = (double)analysis->spectrum.size / analysis->rate_hz;
    double middle_s = (double)analysis->window_end / analysis->rate_hz - 0.5 * size_s;
    double f0_hz = window_pitch(analysis, middle_s, 0.25 * size_s);
    if (f0_hz > 0.0)
        resonances_voice(&analysis->standing, analysis->spectrum.power, f0_hz,
                         analysis->spectrum.state.windows);
    else if (silent && window_pitch(analysis, middle_s, 0.5 * size_s) == 0.0)
        resonances_noise(&analysis->standing, analysis->spectrum.power);
}

/* The window is `size` frames up to window_end. It is sung when three quarters of its middle half,
 * which its weight is in, are, and of vowels alone when all is; and quiet when all of it is, with a
 * guard behind it, and has been for longer than any sibilant lasts or a room rings on: in a take
 * without gaps, what is quiet among the rest is no noise floor. */
static void judge_window(Analysis *analysis) {
    double hop = (double)analysis->listener.sense.hop;
    double size = (double)analysis->spectrum.size, end = (double)analysis->window_end;
    long first = lround((end - size) / hop) + VOICE_SENSE_DELAY;
    long last = lround(end / hop) + VOICE_SENSE_DELAY;
    long quarter = (last - first) / 4;
    size_t quiet_hops = (size_t)(QUIET_S * analysis->rate_hz / hop);
    mean_spectrum_count(&analysis->spectrum, SPECTRUM_ALL);
    if (quiet_run(analysis, last + GUARD_HOPS) >= quiet_hops)
        mean_spectrum_count(&analysis->spectrum, SPECTRUM_QUIET);
    long sung = count_sung(analysis, first + quarter, last - quarter);
    if (4 * sung >= 3 * (last - first - 2 * quarter))
        mean_spectrum_count(&analysis->spectrum, SPECTRUM_SUNG);
    if (sung == last - first - 2 * quarter)
        mean_spectrum_count(&analysis->spectrum, SPECTRUM_VOWEL);
    feed_standing(analysis, count_sung(analysis, first - GUARD_HOPS, last + GUARD_HOPS) == 0);
}

static void feed_spectrum(Analysis *analysis, const float *in, size_t n) {
    for (size_t at = 0; at < n;) {
        size_t room = mean_spectrum_room(&analysis->spectrum);
        size_t take = n - at < room ? n - at : room;
        if (take == room && analysis->window_waits)
            judge_window(analysis); /* half a window later: by now its end is known */
        if (mean_spectrum_feed(&analysis->spectrum, in + at, take)) {
            analysis->window_waits = true;
            analysis->window_end = analysis->frames + at + take;
        }
        at += take;
    }
}

/* ---- each kind of sound ---- */

static void add_k_power(Analysis *analysis, const float *const *in, size_t at, size_t n) {
    float y[OCTAVE_BANK_MAX_GROUP];
    for (unsigned c = 0; c < analysis->channels; c++) {
        k_weight_process(&analysis->k[c], in[c] + at, y, n);
        for (size_t i = 0; i < n; i++)
            analysis->k_sum += (double)(y[i] * y[i]);
    }
}

static void hear_voice(Analysis *analysis, const float *const *in, size_t n) {
    VoiceFrame frame;
    for (size_t at = 0; at < n;) {
        size_t room = listener_room(&analysis->listener);
        size_t take = n - at < room ? n - at : room;
        add_k_power(analysis, in, at, take);
        for (unsigned c = 0; c < analysis->channels; c++)
            band_crest_process(&analysis->profile[c], in[c] + at, take);
        if (listener_hear(&analysis->listener, in, analysis->channels, at, take, &frame))
            finish_hop(analysis, &frame);
        at += take;
    }
}

static void hear_thump_step(Analysis *analysis, double at_s) {
    Measures *m = analysis->measures;
    bool thumping = thumps_now(&analysis->thumps);
    MeasureThump *last = m->n_thumps ? &m->thumps[m->n_thumps - 1] : NULL;
    if (thumping && !analysis->thumping && !(last && at_s < last->end_s + THUMP_JOIN_S)) {
        last = text_grow(&m->thumps, &m->n_thumps, sizeof *last);
        *last = (MeasureThump){.start_s = fmax(0.0, at_s), .over_db = -INFINITY};
    }
    if (thumping && last) {
        last->end_s = at_s;
        last->over_db = fmax(last->over_db, (double)thumps_level_db(&analysis->thumps));
    }
    analysis->thumping = thumping;
}

/* `from`: frames heard before. */
static void hear_thumps(Analysis *analysis, const float *in, size_t n, uint64_t from) {
    for (size_t at = 0; at < n;) {
        size_t room = thumps_until(&analysis->thumps);
        size_t take = n - at < room ? n - at : room;
        bool step = thumps_process(&analysis->thumps, in + at, take);
        at += take;
        if (step)
            hear_thump_step(analysis, (double)(from + at) / analysis->rate_hz - THUMP_LATE_S);
    }
}

/* What thumps is told against the voice as known a reading ago, as in rumble-filter. */
static void hear_pitch(Analysis *analysis, const float *in, size_t n, uint64_t from) {
    for (size_t at = 0; at < n;) {
        size_t room = pitch_until(&analysis->pitch);
        size_t take = n - at < room ? n - at : room;
        hear_thumps(analysis, in + at, take, from + at);
        if (pitch_process(&analysis->pitch, in + at, take)) {
            PitchReading reading = pitch_reading(&analysis->pitch);
            float lowest_hz = pitch_floor_step(&analysis->voiced, &reading);
            thumps_voice(&analysis->thumps, lowest_hz,
                         pitch_floor_voiced_hz(&analysis->voiced) > 0.0f);
            analysis->readings = more(analysis->readings, analysis->n_readings,
                                      &analysis->room_readings, sizeof *analysis->readings);
            analysis->readings[analysis->n_readings++] = pitch_floor_voiced_hz(&analysis->voiced);
        }
        at += take;
    }
}

static void hear_candidates(Analysis *analysis, const float *in, size_t n) {
    for (size_t i = 0; i < n; i++) {
        if (!pitch_candidates_step(&analysis->candidates, in[i]))
            continue;
        analysis->moments = more(analysis->moments, analysis->n_moments, &analysis->room_moments,
                                 sizeof *analysis->moments);
        analysis->moments[analysis->n_moments++] = analysis->candidates.state.moment;
    }
}

/* ---- all together ---- */

static void make_mid(Analysis *analysis, const float *const *in, size_t n) {
    const float *left = in[0], *right = in[analysis->channels - 1];
    for (size_t i = 0; i < n; i++)
        analysis->mid[i] = 0.5f * left[i] + 0.5f * right[i] - analysis->dc;
}

/* Those that find sounds, and so tell of the past. */
static void detect(Analysis *analysis, const float *const *in, size_t n, uint64_t from) {
    make_mid(analysis, in, n);
    hear_voice(analysis, in, n);
    hear_pitch(analysis, analysis->mid, n, from);
    hear_candidates(analysis, analysis->mid, n);
    hiss_spots_hear(&analysis->hisses, in, n, from, analysis->measures);
    click_spots_hear(&analysis->clicks, in, n, analysis->measures);
}

void analysis_hear(Analysis *analysis, const float *const *in, size_t n) {
    loudness_process(&analysis->loudness, in, n);
    true_peak_process(&analysis->peak, in, n);
    clipping_process(&analysis->tops, in, n);
    detect(analysis, in, n, analysis->frames);
    hum_process(&analysis->hum, analysis->mid, n);
    feed_spectrum(analysis, analysis->mid, n);
    analysis->frames += n;
}

/* Phrases that were taken for some before the voice was known. */
static void drop_faint_phrases(Analysis *analysis) {
    Measures *m = analysis->measures;
    double mean = 0.0;
    size_t kept = 0;
    for (size_t i = 0; i < m->n_phrases; i++)
        mean += pow(10.0, 0.1 * m->phrases[i].lufs) / (double)m->n_phrases;
    for (size_t i = 0; i < m->n_phrases; i++)
        if (m->phrases[i].lufs > 10.0 * log10(mean) - UNDER_VOICE_DB)
            m->phrases[kept++] = m->phrases[i];
    m->n_phrases = kept;
}

/* Sounds that begin in the silence after the take are none. */
static void drop_late(Analysis *analysis) {
    Measures *m = analysis->measures;
    double end_s = (double)analysis->frames / analysis->rate_hz;
    if (m->n_phrases && !analysis->phrase_counts)
        m->n_phrases--;
    for (size_t i = 0; i < m->n_phrases; i++)
        m->phrases[i].end_s = fmin(m->phrases[i].end_s, end_s);
    while (m->n_breaths && m->breaths[m->n_breaths - 1].start_s >= end_s)
        m->n_breaths--;
    while (m->n_sibilants && m->sibilants[m->n_sibilants - 1].start_s >= end_s)
        m->n_sibilants--;
    while (m->n_thumps && m->thumps[m->n_thumps - 1].start_s >= end_s)
        m->n_thumps--;
    while (m->n_clicks && m->clicks[m->n_clicks - 1].at_s >= end_s)
        m->n_clicks--;
}

void analysis_finish(Analysis *analysis) {
    static const float silence[ANALYSIS_BLOCK];
    const float *in[] = {silence, silence};
    uint64_t from = analysis->frames;
    true_peak_process(&analysis->peak, in, TRUE_PEAK_TAPS);
    for (uint64_t left = (uint64_t)(FLUSH_S * analysis->rate_hz); left;) {
        size_t n = left < ANALYSIS_BLOCK ? (size_t)left : ANALYSIS_BLOCK;
        detect(analysis, in, n, from);
        from += n;
        left -= n;
    }
    if (analysis->window_waits)
        judge_window(analysis);
    drop_late(analysis);
    drop_faint_phrases(analysis);
    hiss_spots_drop_short(analysis->measures);
    click_spots_drop_low(analysis->measures);
}
