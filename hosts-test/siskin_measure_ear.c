/* SPDX-License-Identifier: ISC */
#include "siskin_measure_ear.h"

#include "siskin_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The ranges and defaults of the plugins whose units these are. */
static const PitchRange VOICE = {.lowest_hz = 60.0, .highest_hz = 1100.0};
static const BreathFinderParams BREATHS = {
    .sensitivity_db = 0.0f, .shortest_ms = 100.0f, .clear_ms = 0.0f};
static const BandRatioParams SIBILANTS = {.band_low_hz = 4500.0f,
                                          .band_high_hz = 12000.0f,
                                          .voice_low_hz = 100.0f,
                                          .voice_high_hz = 1500.0f};
static const float SIBILANT_GATE_DB = -13.5f;
static const BandLevelsParams CLICKS = {1500.0f, 12000.0f};
static const float CLICK_THRESHOLD_DB = 8.0f, CLICK_DEPTH_DB = 48.0f;
static const double CLICK_MAX_LENGTH_S = 0.012;

/* Under that it is friction that nobody would call a sibilant: /f/ lies 10 dB under /s/ (Jongman,
 * Wayland and Wong, 2000: -20.8 and -11.0 dB re vowel). */
static const float SIBILANT_LEAST_DB = -20.0f;
/* Two so close are one; /sh/ and /z/ are known from 30 ms of friction on (Jongman, 1989). */
static const double SIBILANT_JOIN_S = 0.03, SIBILANT_SHORTEST_S = 0.03;
/* A mouth click is a burst or a few within some 30 ms (Trouvain and Malisz, 2016: one to several).
 */
static const double CLICK_JOIN_S = 0.03;
/* As sung_gate.h has it, once the voice is known: what lies further under it is none. */
static const double UNDER_VOICE_DB = 25.0;

static const double PROFILE_S = 0.4;
static const double FLUSH_S = 0.7; /* more than any detector holds back */

static const double QUIET_S = 0.3;

static const double STEADY = 1.12; /* the pitch within a window */

enum { GUARD_HOPS = 3, MEMORY_BYTES = 1 << 23 };

static bool prepare(Ear *ear, Arena *arena) {
    double rate_hz = ear->rate_hz;
    true_peak_prepare(&ear->peak, ear->channels);
    flat_tops_prepare(&ear->tops, rate_hz, ear->channels);
    listener_prepare(&ear->listener, rate_hz);
    double hops_per_second = rate_hz / (double)ear->listener.sense.hop;
    sung_gate_prepare(&ear->gate, hops_per_second);
    phrase_level_prepare(&ear->phrase, hops_per_second);
    phrase_level_set(&ear->phrase, 1e9); /* the plain mean, however long the phrase */
    for (unsigned c = 0; c < ear->channels; c++)
        k_weight_prepare(&ear->k[c], rate_hz);
    band_profile_prepare(&ear->profile, rate_hz);
    ear->window_hops = (size_t)lround(PROFILE_S * hops_per_second);
    breath_finder_prepare(&ear->breath, rate_hz, hops_per_second);
    breath_finder_set(&ear->breath, &BREATHS);
    ear->breath_late = breath_finder_delay(&ear->breath, &BREATHS);
    band_ratio_prepare(&ear->bands, rate_hz);
    band_ratio_set(&ear->bands, &SIBILANTS);
    spectral_centre_prepare(&ear->centre, ear->bands.hop_rate);
    spectral_centre_set(&ear->centre, rate_hz, ear->bands.low_hz, ear->bands.high_hz);
    return loudness_prepare(&ear->loudness, rate_hz, ear->channels, NULL, arena) &&
           hum_prepare(&ear->hum, rate_hz, arena) &&
           mean_spectrum_prepare(&ear->spectrum, rate_hz, arena) &&
           standing_peaks_prepare(&ear->standing, rate_hz, ear->spectrum.size, arena) &&
           pitch_prepare(&ear->pitch, rate_hz, &VOICE, arena) &&
           pitch_floor_prepare(&ear->voiced, PITCH_HOP_MS, arena) &&
           sibilance_prepare(&ear->sibilance, ear->bands.hop_rate, arena);
}

static void prepare_clicks(Ear *ear) {
    band_levels_prepare(&ear->levels, ear->rate_hz, ear->channels);
    band_levels_set(&ear->levels, &CLICKS);
    double hop_s = (double)ear->levels.hop / ear->rate_hz;
    size_t longest = (size_t)lround(CLICK_MAX_LENGTH_S / hop_s);
    click_finder_prepare(&ear->clicks, hop_s);
    const ClickFinderParams params = {.threshold_db = CLICK_THRESHOLD_DB,
                                      .depth_db = CLICK_DEPTH_DB,
                                      .max_length = longest,
                                      .bands = ear->levels.bands};
    click_finder_set(&ear->clicks, &params);
    click_finder_reset(&ear->clicks);
    ear->click_late = click_finder_latency(longest);
}

bool ear_open(Ear *ear, double rate_hz, unsigned channels, Measures *measures) {
    memset(ear, 0, sizeof *ear);
    ear->rate_hz = rate_hz;
    ear->channels = channels;
    ear->measures = measures;
    ear->memory = calloc(1, MEMORY_BYTES);
    if (!ear->memory)
        return false;
    Arena arena = arena_over(ear->memory, MEMORY_BYTES);
    if (!prepare(ear, &arena))
        return false;
    sibilance_reset(&ear->sibilance);
    sibilance_set(&ear->sibilance, SIBILANT_GATE_DB, ear->bands.missing_db);
    prepare_clicks(ear);
    return true;
}

void ear_close(Ear *ear) {
    free(ear->memory);
    free(ear->hops);
    free(ear->readings);
    memset(ear, 0, sizeof *ear);
}

double ear_hop_s(const Ear *ear, size_t hop) {
    /* voice_sense.h: the k-th hop tells of the audio around (k - delay + 1/2) hop */
    return ((double)hop - VOICE_SENSE_DELAY + 0.5) * (double)ear->listener.sense.hop / ear->rate_hz;
}

double ear_reading_s(const Ear *ear, size_t reading) {
    double hop_s = (double)(ear->pitch.hop * ear->pitch.decimation) / ear->rate_hz;
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
static void follow_phrases(Ear *ear, const EarHop *hop) {
    Measures *m = ear->measures;
    bool sung = hop->kind == MOMENT_SUNG;
    bool apart = ear->phrase.state.silent >= ear->phrase.split;
    size_t now = ear->n_hops - 1;
    phrase_level_step(&ear->phrase, hop->k_power, sung);
    if (!sung)
        return;
    if (apart && (m->n_phrases == 0 || ear->phrase_counts))
        (void)text_grow(&m->phrases, &m->n_phrases, sizeof *m->phrases);
    MeasurePhrase *phrase = &m->phrases[m->n_phrases - 1];
    if (apart)
        phrase->start_s = fmax(0.0, ear_hop_s(ear, now));
    phrase->end_s = ear_hop_s(ear, now + 1);
    phrase->lufs = loudness_from_power((double)ear->phrase.state.power);
    ear->phrase_counts = !ear->phrase.state.beginning;
}

/* The finder tells of the hop breath_late before this one. */
static void follow_breaths(Ear *ear, const VoiceFrame *frame) {
    Measures *m = ear->measures;
    bool down = breath_finder_step(&ear->breath, frame);
    double hop_s = (double)ear->listener.sense.hop / ear->rate_hz;
    double middle_s = ear_hop_s(ear, ear->n_hops - 1) - (double)ear->breath_late * hop_s;
    if (down && !ear->breathing) {
        MeasureBreath *breath = text_grow(&m->breaths, &m->n_breaths, sizeof *breath);
        breath->start_s = fmax(0.0, middle_s - 0.5 * hop_s);
    }
    if (down)
        m->breaths[m->n_breaths - 1].end_s = middle_s + 0.5 * hop_s;
    ear->breathing = down;
}

static void finish_hop(Ear *ear, const VoiceFrame *frame) {
    ear->hops = more(ear->hops, ear->n_hops, &ear->room_hops, sizeof *ear->hops);
    EarHop *hop = &ear->hops[ear->n_hops++];
    hop->power = frame->power[1] + frame->power[2] + frame->power[3] + frame->power[4];
    hop->kind = (unsigned char)sung_gate_step(&ear->gate, frame);
    hop->k_power = ear->k_late[0]; /* of the moment that the frame tells of */
    memmove(ear->k_late, ear->k_late + 1, sizeof ear->k_late - sizeof *ear->k_late);
    ear->k_late[VOICE_SENSE_DELAY - 1] = (float)(ear->k_sum / (double)ear->listener.sense.hop);
    ear->k_sum = 0.0;
    follow_phrases(ear, hop);
    follow_breaths(ear, frame);
    ear->window_sung += hop->kind == MOMENT_SUNG;
    if (ear->n_hops % ear->window_hops == 0) {
        band_profile_window(&ear->profile, 2 * ear->window_sung >= ear->window_hops);
        ear->window_sung = 0;
    }
}

/* ---- spectra ---- */

/* Hops up to `hop` that are quiet, in a row. */
static size_t quiet_run(const Ear *ear, long hop) {
    size_t run = 0;
    if (hop >= (long)ear->n_hops)
        hop = (long)ear->n_hops - 1;
    while (hop - (long)run >= VOICE_SENSE_SMOOTHED &&
           ear->hops[hop - (long)run].kind == MOMENT_QUIET)
        run++;
    return run;
}

/* Of hops first..last - 1, those that are sung. */
static long count_sung(const Ear *ear, long first, long last) {
    long sung = 0;
    for (long i = first; i < last; i++)
        sung += i >= 0 && i < (long)ear->n_hops && ear->hops[i].kind == MOMENT_SUNG;
    return sung;
}

/* Readings of the pitch within a quarter of a window around its middle: their mean when all are
 * voiced and none is far from the first, 0 when none is voiced, -1 otherwise. */
static double window_pitch(const Ear *ear, double middle_s, double reach_s) {
    double step_s = ear_reading_s(ear, 1) - ear_reading_s(ear, 0);
    long first = lround((middle_s - reach_s - ear_reading_s(ear, 0)) / step_s);
    long last = lround((middle_s + reach_s - ear_reading_s(ear, 0)) / step_s);
    double low = INFINITY, high = 0.0, sum = 0.0;
    if (first < 0 || last >= (long)ear->n_readings)
        return -1.0;
    for (long i = first; i <= last; i++) {
        low = fmin(low, (double)ear->readings[i]);
        high = fmax(high, (double)ear->readings[i]);
        sum += (double)ear->readings[i];
    }
    return high == 0.0 ? 0.0 : high < STEADY * low ? sum / (double)(last - first + 1) : -1.0;
}

/* The same window for what stands through all of them. */
static void feed_standing(Ear *ear, bool silent) {
    double size_s = (double)ear->spectrum.size / ear->rate_hz;
    double middle_s = (double)ear->window_end / ear->rate_hz - 0.5 * size_s;
    double f0_hz = window_pitch(ear, middle_s, 0.25 * size_s);
    if (f0_hz > 0.0)
        standing_peaks_voice(&ear->standing, ear->spectrum.power, f0_hz,
                             ear->spectrum.state.windows);
    else if (silent && window_pitch(ear, middle_s, 0.5 * size_s) == 0.0)
        standing_peaks_noise(&ear->standing, ear->spectrum.power);
}

/* The window is `size` frames up to window_end. It is sung when three quarters of its middle half,
 * which its weight is in, are; and quiet when all of it is, with a guard behind it, and has been
 * for longer than any sibilant lasts or a room rings on: in a take without gaps, what is quiet
 * among the rest is no noise floor. */
static void judge_window(Ear *ear) {
    double hop = (double)ear->listener.sense.hop;
    double size = (double)ear->spectrum.size, end = (double)ear->window_end;
    long first = lround((end - size) / hop) + VOICE_SENSE_DELAY;
    long last = lround(end / hop) + VOICE_SENSE_DELAY;
    long quarter = (last - first) / 4;
    size_t quiet_hops = (size_t)(QUIET_S * ear->rate_hz / hop);
    mean_spectrum_count(&ear->spectrum, EAR_ALL);
    if (quiet_run(ear, last + GUARD_HOPS) >= quiet_hops)
        mean_spectrum_count(&ear->spectrum, EAR_QUIET);
    if (4 * count_sung(ear, first + quarter, last - quarter) >= 3 * (last - first - 2 * quarter))
        mean_spectrum_count(&ear->spectrum, EAR_SUNG);
    feed_standing(ear, count_sung(ear, first - GUARD_HOPS, last + GUARD_HOPS) == 0);
}

static void feed_spectrum(Ear *ear, const float *in, size_t n) {
    for (size_t at = 0; at < n;) {
        size_t room = mean_spectrum_room(&ear->spectrum);
        size_t take = n - at < room ? n - at : room;
        if (take == room && ear->window_waits)
            judge_window(ear); /* half a window later: by now its end is known */
        if (mean_spectrum_feed(&ear->spectrum, in + at, take)) {
            ear->window_waits = true;
            ear->window_end = ear->frames + at + take;
        }
        at += take;
    }
}

/* ---- each kind of sound ---- */

static void add_k_power(Ear *ear, const float *const *in, size_t at, size_t n) {
    float y[OCTAVE_BANK_MAX_GROUP];
    for (unsigned c = 0; c < ear->channels; c++) {
        k_weight_process(&ear->k[c], in[c] + at, y, n);
        for (size_t i = 0; i < n; i++)
            ear->k_sum += (double)(y[i] * y[i]);
    }
}

static void hear_voice(Ear *ear, const float *const *in, size_t n) {
    VoiceFrame frame;
    for (size_t at = 0; at < n;) {
        size_t room = listener_room(&ear->listener);
        size_t take = n - at < room ? n - at : room;
        add_k_power(ear, in, at, take);
        band_profile_process(&ear->profile, ear->mid + at, take);
        if (listener_hear(&ear->listener, in, ear->channels, at, take, &frame))
            finish_hop(ear, &frame);
        at += take;
    }
}

static void hear_pitch(Ear *ear, const float *in, size_t n) {
    for (size_t at = 0; at < n;) {
        size_t room = pitch_until(&ear->pitch);
        size_t take = n - at < room ? n - at : room;
        if (pitch_process(&ear->pitch, in + at, take)) {
            PitchReading reading = pitch_reading(&ear->pitch);
            pitch_floor_step(&ear->voiced, &reading);
            ear->readings =
                more(ear->readings, ear->n_readings, &ear->room_readings, sizeof *ear->readings);
            ear->readings[ear->n_readings++] = pitch_floor_voiced_hz(&ear->voiced);
        }
        at += take;
    }
}

static void hear_sibilant_step(Ear *ear, const BandPowers *powers, uint64_t end) {
    Measures *m = ear->measures;
    SibilanceNow now = sibilance_step(&ear->sibilance, powers->band, powers->voice);
    CentreAndSpread centre =
        spectral_centre_step(&ear->centre, powers->band, powers->slope, powers->curve);
    size_t late = sibilance_latency(&ear->sibilance);
    ear->centres[ear->steps % EAR_CENTRES] = centre.g;
    float g = ear->centres[(ear->steps + EAR_CENTRES - late) % EAR_CENTRES];
    ear->steps++;
    double at_s =
        ((double)end - (double)band_ratio_age(&ear->bands) - (double)(late * ear->bands.hop)) /
        ear->rate_hz;
    bool hissing = !sibilance_in_vowel(now.lasting_db) && now.lasting_db > SIBILANT_LEAST_DB;
    MeasureSibilant *last = m->n_sibilants ? &m->sibilants[m->n_sibilants - 1] : NULL;
    if (hissing && !ear->hissing && !(last && at_s < last->end_s + SIBILANT_JOIN_S)) {
        last = text_grow(&m->sibilants, &m->n_sibilants, sizeof *last);
        *last = (MeasureSibilant){.start_s = fmax(0.0, at_s), .ratio_db = -INFINITY};
    }
    if (hissing && last) {
        last->end_s = at_s;
        if ((double)now.lasting_db > last->ratio_db) {
            last->ratio_db = (double)now.lasting_db;
            last->centre_hz = (double)spectral_centre_hz(ear->rate_hz, g);
        }
    }
    ear->hissing = hissing;
}

static void hear_sibilants(Ear *ear, const float *const *in, size_t n, uint64_t from) {
    const float *left = in[0], *right = in[ear->channels - 1];
    for (size_t at = 0; at < n;) {
        size_t room = band_ratio_room(&ear->bands);
        size_t take = n - at < room ? n - at : room;
        BandPowers powers;
        band_ratio_feed(&ear->bands, left + at, right + at, take);
        at += take;
        if (band_ratio_hop(&ear->bands, &powers))
            hear_sibilant_step(ear, &powers, from + at);
    }
}

/* A click is a run of hops that the finder wants to cut; its band is the one to be cut most. */
static void hear_click_hop(Ear *ear) {
    Measures *m = ear->measures;
    size_t coming = ear->clicks.history.known;
    if (coming < ear->click_late)
        return;
    size_t hop = coming - ear->click_late;
    const float *cut = click_finder_cut(&ear->clicks, hop);
    size_t band = 0;
    for (size_t b = 1; b < ear->levels.bands; b++)
        band = cut[b] > cut[band] ? b : band;
    bool clicking = cut[band] > 0.0f;
    double at_s = ((double)hop + 0.5) * (double)ear->levels.hop / ear->rate_hz;
    if (clicking && (m->n_clicks == 0 || at_s > ear->click_s + CLICK_JOIN_S))
        (void)text_grow(&m->clicks, &m->n_clicks, sizeof *m->clicks);
    if (clicking)
        ear->click_s = at_s;
    if (clicking && (double)cut[band] > m->clicks[m->n_clicks - 1].height_db)
        m->clicks[m->n_clicks - 1] = (MeasureClick){
            .at_s = at_s,
            .low_hz = (double)ear->levels.edge_hz[band],
            .high_hz = (double)ear->levels.edge_hz[band + 1],
            .height_db = (double)cut[band],
        };
}

static void hear_clicks(Ear *ear, const float *const *in, size_t n) {
    float power[BAND_LEVELS_ROW];
    for (size_t at = 0; at < n;) {
        size_t room = band_levels_room(&ear->levels);
        size_t take = n - at < room ? n - at : room;
        if (band_levels_process(&ear->levels, in, at, take, power)) {
            click_finder_step(&ear->clicks, power);
            hear_click_hop(ear);
        }
        at += take;
    }
}

/* ---- all together ---- */

static void make_mid(Ear *ear, const float *const *in, size_t n) {
    const float *left = in[0], *right = in[ear->channels - 1];
    for (size_t i = 0; i < n; i++)
        ear->mid[i] = 0.5f * left[i] + 0.5f * right[i];
}

/* Those that find sounds, and so tell of the past. */
static void detect(Ear *ear, const float *const *in, size_t n, uint64_t from) {
    make_mid(ear, in, n);
    hear_voice(ear, in, n);
    hear_pitch(ear, ear->mid, n);
    hear_sibilants(ear, in, n, from);
    hear_clicks(ear, in, n);
}

void ear_hear(Ear *ear, const float *const *in, size_t n) {
    loudness_process(&ear->loudness, in, n);
    true_peak_process(&ear->peak, in, n);
    flat_tops_process(&ear->tops, in, n);
    detect(ear, in, n, ear->frames);
    hum_process(&ear->hum, ear->mid, n);
    feed_spectrum(ear, ear->mid, n);
    ear->frames += n;
}

/* Phrases that were taken for some before the voice was known. */
static void drop_faint_phrases(Ear *ear) {
    Measures *m = ear->measures;
    double mean = 0.0;
    size_t kept = 0;
    for (size_t i = 0; i < m->n_phrases; i++)
        mean += pow(10.0, 0.1 * m->phrases[i].lufs) / (double)m->n_phrases;
    for (size_t i = 0; i < m->n_phrases; i++)
        if (m->phrases[i].lufs > 10.0 * log10(mean) - UNDER_VOICE_DB)
            m->phrases[kept++] = m->phrases[i];
    m->n_phrases = kept;
}

/* What stands out of no band by the threshold is not worth the name. */
static void drop_low_clicks(Measures *m) {
    size_t kept = 0;
    for (size_t i = 0; i < m->n_clicks; i++)
        if (m->clicks[i].height_db >= (double)CLICK_THRESHOLD_DB)
            m->clicks[kept++] = m->clicks[i];
    m->n_clicks = kept;
}

static void drop_short_sibilants(Measures *m) {
    size_t kept = 0;
    for (size_t i = 0; i < m->n_sibilants; i++)
        if (m->sibilants[i].end_s - m->sibilants[i].start_s >= SIBILANT_SHORTEST_S)
            m->sibilants[kept++] = m->sibilants[i];
    m->n_sibilants = kept;
}

/* Sounds that begin in the silence after the take are none. */
static void drop_late(Ear *ear) {
    Measures *m = ear->measures;
    double end_s = (double)ear->frames / ear->rate_hz;
    if (m->n_phrases && !ear->phrase_counts)
        m->n_phrases--;
    for (size_t i = 0; i < m->n_phrases; i++)
        m->phrases[i].end_s = fmin(m->phrases[i].end_s, end_s);
    while (m->n_breaths && m->breaths[m->n_breaths - 1].start_s >= end_s)
        m->n_breaths--;
    while (m->n_sibilants && m->sibilants[m->n_sibilants - 1].start_s >= end_s)
        m->n_sibilants--;
    while (m->n_clicks && m->clicks[m->n_clicks - 1].at_s >= end_s)
        m->n_clicks--;
}

void ear_finish(Ear *ear) {
    static const float silence[EAR_BLOCK];
    const float *in[] = {silence, silence};
    uint64_t from = ear->frames;
    true_peak_process(&ear->peak, in, TRUE_PEAK_TAPS);
    for (uint64_t left = (uint64_t)(FLUSH_S * ear->rate_hz); left;) {
        size_t n = left < EAR_BLOCK ? (size_t)left : EAR_BLOCK;
        detect(ear, in, n, from);
        from += n;
        left -= n;
    }
    if (ear->window_waits)
        judge_window(ear);
    drop_late(ear);
    drop_faint_phrases(ear);
    drop_short_sibilants(ear->measures);
    drop_low_clicks(ear->measures);
}
