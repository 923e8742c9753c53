/* SPDX-License-Identifier: ISC */
#include "siskin_advise_rules.h"

#include "siskin_measure_tell.h"
#include "siskin_text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- limits that settings need too ---- */

/* With the voice played at 78 dB SPL: 37.5 dB SPL is the threshold of hearing at 63 Hz, and it is
 * higher below (ISO 226:2003, from memory). */
static const double LOW_END_UNDER_DB = 40.0;
/* The same voice, and the 23..26 dB SPL of a quiet living room at night (common practice); 26.5 dB
 * SPL is also the threshold of hearing at 100 Hz (ISO 226:2003, from memory). */
static const double NOISE_UNDER_DB = 55.0;
/* No figure is published for sung breaths; as the ready chain lead-gently leaves them: common
 * breaths lie 20 dB and more under the voice, and it takes 8 dB off. */
static const double BREATH_UNDER_DB = 30.0;
/* The share of the breaths that is let be, since one in ten may be no breath. */
static const double BREATH_SHARE = 0.1;
/* Singers whose /s/ is as loud as published (Jongman, Wayland and Wong, JASA 108(3), 2000: 11.0 dB
 * under the vowel) read -7 dB here in the upper quarter of all sibilants, at their strongest
 * moment, and -4.8 at most; made 10 dB too hot, from -2.9 on. 5 dB is the least change in level
 * that is heard around 8 kHz (Monson, Lotto and Story, JASA 135, 2014). */
static const double SIBILANT_MOST_DB = -3.0;
static const double SIBILANT_SHARE = 0.75;
/* Clicks in gaps stand 12 dB and more over what surrounds them, those in words 10 to 20 (as they
 * are laid in where the tamer is judged); lower ones, and what is left of mended ones, are hard to
 * tell from the voice's own. */
static const double CLICK_HEIGHT_DB = 12.0;
/* "A couple of dB" is what is ridden by hand (common practice). */
static const double SPREAD_MOST_DB = 2.0;

/* What settings aim for beyond the limit, so that a detector's spread does not undo it. */
static const double MARGIN_DB = 3.0;

/* Defaults of the processors, where the others were chosen beside them. */
static const double UNKNOWN_VOICE_HZ = 40.0;
static const double DE_ESSER_RATIO_DB = -15.5;

/* ---- figures ---- */

/* NAN stays NAN. */
static double db_of(double power) {
    return power <= 0.0 ? -INFINITY : 10.0 * log10(power);
}

/* Loudness adds up the channels, spectra take their mean. */
static double voice_db(const Measures *m) {
    return m->integrated_lufs - db_of((double)m->channels);
}

static double hum_power(const Measures *m, double from_hz, double to_hz) {
    double power = 0.0;
    for (size_t k = 0; m->hum_known && m->hum.found && k < HUM_HARMONICS; k++) {
        double hz = m->hum.mains_hz * (double)(k + 1);
        power += hz >= from_hz && hz < to_hz ? m->hum.power[k] : 0.0;
    }
    return power;
}

/* With its hum, since what a filter leaves of hum is no longer known as such. */
static double rumble_under_db(const Measures *m) {
    double hum = isnan(m->rumble_below_hz) ? 0.0 : hum_power(m, 0.0, m->rumble_below_hz);
    return voice_db(m) - db_of(pow(10.0, 0.1 * m->rumble_db) + hum);
}

static double hum_under_db(const Measures *m, double from_hz, double to_hz) {
    return m->hum_known ? voice_db(m) - db_of(hum_power(m, from_hz, to_hz)) : (double)NAN;
}

static double low_hum_under_db(const Measures *m) {
    return hum_under_db(m, 0.0, m->rumble_below_hz);
}

static double high_hum_under_db(const Measures *m) {
    return hum_under_db(m, m->rumble_below_hz, INFINITY);
}

static double dc_db(const Measures *m) {
    double most = fabs(m->dc[0]);
    if (m->channels > 1)
        most = fmax(most, fabs(m->dc[1]));
    return text_db(most);
}

/* Of a short take as if it were half a minute, so that one click makes no rate. */
static double clicks_a_minute(const Measures *m) {
    const double shortest_s = 30.0;
    size_t high = 0;
    for (size_t i = 0; i < m->n_clicks; i++)
        high += m->clicks[i].height_db >= CLICK_HEIGHT_DB;
    return high ? 60.0 * (double)high / fmax(m->length_s, shortest_s) : -INFINITY;
}

static bool needs_riding(const Measures *m) {
    return m->spread_db > SPREAD_MOST_DB;
}

/* How much closer riding brings a breath to the phrase after it: it keeps the gain of the one
 * before. */
static double breath_lift_db(const Measures *m, const MeasureBreath *breath) {
    const MeasurePhrase *before = NULL, *after = NULL;
    for (size_t i = 0; i < m->n_phrases; i++) {
        if (m->phrases[i].start_s < breath->start_s)
            before = &m->phrases[i];
        else if (!after)
            after = &m->phrases[i];
    }
    return before && after ? fmax(0.0, after->lufs - before->lufs) : 0.0;
}

static double breath_under_db(const Measures *m) {
    const size_t fewest = 3; /* one or two may be none */
    double *values = text_take(m->n_breaths, sizeof *values);
    for (size_t i = 0; i < m->n_breaths; i++)
        values[i] =
            m->breaths[i].under_db - (needs_riding(m) ? breath_lift_db(m, &m->breaths[i]) : 0.0);
    double quantile = tell_quantile(values, m->n_breaths, BREATH_SHARE);
    free(values);
    return m->n_breaths >= fewest ? quantile : INFINITY;
}

static double sibilant_quantile_db(const Measures *m, double p) {
    double *values = text_take(m->n_sibilants, sizeof *values);
    for (size_t i = 0; i < m->n_sibilants; i++)
        values[i] = m->sibilants[i].ratio_db;
    double quantile = tell_quantile(values, m->n_sibilants, p);
    free(values);
    return quantile;
}

/* The gain may move between a sibilant and the vowels that it is held against. */
static double sibilant_db(const Measures *m) {
    const size_t fewest = 3;
    double lift_db = needs_riding(m) ? 0.5 * m->spread_db : 0.0;
    return m->n_sibilants >= fewest ? sibilant_quantile_db(m, SIBILANT_SHARE) + lift_db : -INFINITY;
}

static double softest_phrase_db(const Measures *m) {
    double least = INFINITY;
    for (size_t i = 0; i < m->n_phrases; i++)
        least = fmin(least, m->phrases[i].lufs);
    return m->n_phrases ? least - db_of((double)m->channels) : (double)NAN;
}

/* Under the softest phrase, which is brought up most, and the noise with it. */
static double noise_under_db(const Measures *m) {
    return softest_phrase_db(m) - m->gap_db;
}

static double spread_db(const Measures *m) {
    return m->n_phrases == 1 ? -INFINITY : m->spread_db;
}

static double clipped_tops(const Measures *m) {
    return m->flat_tops ? (double)m->flat_tops : -INFINITY;
}

/* One phrase end alone may be a consonant's. */
static double t60_s(const Measures *m) {
    const size_t fewest = 2;
    return m->n_decays >= fewest ? m->t60_s : (double)NAN;
}

static double standing_peak_db(const Measures *m) {
    if (!m->peak.known)
        return (double)NAN;
    return m->peak.found ? m->peak.height_db : -(double)INFINITY;
}

/* Against a key that is guessed, a melody can be as wrong as it likes. */
static double off_pitch_cents(const Measures *m) {
    const double tuned = 0.5, sure = 0.15;
    bool known = m->key_known && m->key.tuning_strength >= tuned && m->key.confidence >= sure;
    return known ? m->off_cents : (double)NAN;
}

/* ---- settings ---- */

static void set(AdviceSettings *settings, const char *control, double value, const char *why, ...)
    __attribute__((format(printf, 4, 5)));

static void set(AdviceSettings *settings, const char *control, double value, const char *why, ...) {
    AdviceSetting *setting = &settings->setting[settings->n++];
    va_list args;
    setting->control = control;
    setting->value = value;
    va_start(args, why);
    vsnprintf(setting->why, sizeof setting->why, why, args);
    va_end(args);
}

static void twice(AdviceSettings *settings, const char *why, ...)
    __attribute__((format(printf, 2, 3)));

static void twice(AdviceSettings *settings, const char *why, ...) {
    va_list args;
    settings->passes = 2;
    va_start(args, why);
    vsnprintf(settings->why_passes, sizeof settings->why_passes, why, args);
    va_end(args);
}

/* How much is lacking, and the margin; 0 when nothing is, or nothing is known. */
static double lacking_db(double under_db, double limit_db) {
    return under_db < limit_db ? limit_db - under_db + MARGIN_DB : 0.0;
}

/* So many dB an octave take enough off rumble that lies half an octave under the corner: its
 * spectrum is not known, but it falls. Hum may lie closer. */
static double steepness(const Measures *m) {
    const double least = 24.0, most = 48.0, step = 12.0, octaves = 0.5;
    double rumble = lacking_db(rumble_under_db(m), LOW_END_UNDER_DB) / octaves;
    bool hum = lacking_db(low_hum_under_db(m), LOW_END_UNDER_DB) > 0.0;
    return hum ? most : fmin(most, fmax(least, step * ceil(rumble / step)));
}

/* A steeper high-pass may come closer to the note, and takes no more off it: 0.1 dB. */
static double corner_share(double slope) {
    const double share = 0.6, gentle = 24.0;
    return pow(share, gentle / slope);
}

static void settle_low_end(const Measures *m, AdviceSettings *s) {
    bool known = isfinite(m->low_hz);
    double slope = steepness(m);
    double share = corner_share(slope);
    if (known) {
        set(s, "floor", round(share * m->low_hz), "%.2f of the lowest note, %.0f Hz", share,
            m->low_hz);
        set(s, "ceiling", round(share * m->middle_hz), "%.2f of the middle note, %.0f Hz", share,
            m->middle_hz);
        set(s, "margin", 0.01 * round(100.0 * share), "as close as costs a note 0.1 dB");
    } else {
        set(s, "floor", UNKNOWN_VOICE_HZ, "no pitch is known");
        set(s, "ceiling", UNKNOWN_VOICE_HZ, "the same");
    }
    set(s, "slope", slope, "%.0f dB less an octave under the corner", slope);
}

static void settle_clicks(const Measures *m, AdviceSettings *s) {
    const double once_db = 20.0;                        /* of 35 dB, some 15 to 20 stay */
    const double top_hz = 11900.0, beyond_hz = 16000.0; /* clicks are looked for up to 12 kHz */
    double low_hz = INFINITY, high_hz = 0.0, height_db = 0.0;
    for (size_t i = 0; i < m->n_clicks; i++) {
        low_hz = fmin(low_hz, m->clicks[i].low_hz);
        high_hz = fmax(high_hz, m->clicks[i].high_hz);
        height_db = fmax(height_db, m->clicks[i].height_db);
    }
    set(s, "focus_low", floor(low_hz), "the lowest band in which a click stands out most");
    set(s, "focus_high", high_hz < top_hz ? ceil(high_hz) : beyond_hz,
        "the highest; what reaches %.0f kHz goes on above it", 1e-3 * top_hz);
    set(s, "depth", ceil(height_db + MARGIN_DB), "the highest click stands %.1f dB over the rest",
        height_db);
    if (height_db > once_db)
        twice(s, "what stands over %.0f dB out is left too high by one pass", once_db);
}

static void settle_breaths(const Measures *m, AdviceSettings *s) {
    double moved_db = needs_riding(m) ? MARGIN_DB : 0.0; /* a spread more */
    double depth_db = lacking_db(breath_under_db(m), BREATH_UNDER_DB) + moved_db;
    set(s, "depth", ceil(depth_db), "brings the loud ones to %.0f dB under the voice",
        breath_under_db(m) + ceil(depth_db));
}

/* The loud ones, q, come down to `aim`: q - strength (q - ratio) = aim. */
static void settle_sibilants(const Measures *m, AdviceSettings *s) {
    double moved_db = needs_riding(m) ? MARGIN_DB : 0.0; /* a spread more */
    double aim_db = SIBILANT_MOST_DB - MARGIN_DB - moved_db, loud_db = sibilant_db(m);
    double hottest_db = sibilant_quantile_db(m, 1.0);
    double strength = fmin(1.0, (loud_db - aim_db) / (loud_db - DE_ESSER_RATIO_DB));
    set(s, "ratio", DE_ESSER_RATIO_DB, "a common /s/ begins to be cut 1 dB under its top");
    set(s, "strength", ceil(100.0 * strength), "brings those at %.1f dB to %.1f dB", loud_db,
        aim_db);
    set(s, "range", ceil(strength * (hottest_db - DE_ESSER_RATIO_DB)),
        "what the hottest, at %.1f dB, then needs", hottest_db);
}

static void settle_gaps(const Measures *m, AdviceSettings *s) {
    const double fade_share = 0.2, fade_ms = 80.0, beyond_db = 10.0;
    const double over_db = 12.0, least_db = -45.0, most_db = -30.0; /* what goes on may fall by 6 */
    double threshold_db = over_db - noise_under_db(m);              /* re the softest singing */
    double lacking = NOISE_UNDER_DB - noise_under_db(m) + beyond_db;
    double t60 = t60_s(m);
    set(s, "floor", -ceil(lacking), "leaves the noise %.0f dB under the softest phrase",
        noise_under_db(m) + ceil(lacking));
    set(s, "threshold", ceil(fmax(least_db, fmin(most_db, threshold_db))),
        "%.0f dB over the noise, as far as words allow", over_db);
    if (fade_share * 1e3 * t60 > fade_ms)
        set(s, "fade_out", round(fade_share * 1e3 * t60), "the room takes %.2f s to die away", t60);
}

static void settle_riding(const Measures *m, AdviceSettings *s) {
    const double left_db = 0.5 * SPREAD_MOST_DB, lost = 1.5; /* within phrases nothing moves */
    const double pace_ms = 300.0, fastest_ms = 150.0, wide_db = 2.5; /* once evens that by half */
    const double share = 0.6; /* of the way, each of two; no more, or noise is lifted with it */
    double mean = 0.0, most = 0.0;
    for (size_t i = 0; i < m->n_phrases; i++)
        mean += m->phrases[i].lufs / (double)m->n_phrases;
    for (size_t i = 0; i < m->n_phrases; i++)
        most = fmax(most, fabs(m->phrases[i].lufs - mean));
    double strength = fmin(1.0, lost * (1.0 - left_db / m->spread_db));
    set(s, "hold_average", 0.0, "the take's own average is known");
    set(s, "target", 0.1 * round(10.0 * mean), "LUFS of the mean phrase");
    bool wide = m->spread_db > wide_db;
    set(s, "range", ceil((wide ? share : 1.0) * strength * most),
        "the phrase farthest off is off by %.1f dB", most);
    set(s, "strength", ceil(100.0 * strength), "leaves about %.0f dB of spread", left_db);
    set(s, "pace", round(fmax(fastest_ms, fmin(pace_ms, pace_ms * SPREAD_MOST_DB / m->spread_db))),
        "ms; faster for what lies further apart");
    if (wide)
        twice(s, "what spreads by more than %.1f dB is evened by half at a time", wide_db);
}

/* ---- the table ---- */

#define ENDS "Ends of the spectrum"
#define HAND "By hand: what no processor here mends"
#define UNSUNG "too little is sung, or there are no gaps of 0.25 s that are quieter"

const AdviceRule advice_rules[] = {
    {.id = "rumble",
     .step = ENDS,
     .as_recorded = true,
     .name = "Rumble",
     .processor = "rumble-filter",
     .figure = rumble_under_db,
     .limit = LOW_END_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "threshold of hearing, ISO 226, voice at 78 dB SPL",
     .says = "what lies below the voice is %s under it",
     .none = "there is nothing below the voice",
     .unknown = "nothing is sung",
     .todo = "A high-pass under the sung pitch takes it out.",
     .settle = settle_low_end},
    {.id = "low_hum",
     .step = ENDS,
     .as_recorded = true,
     .name = "Hum below the voice",
     .processor = "rumble-filter",
     .figure = low_hum_under_db,
     .limit = LOW_END_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "threshold of hearing, ISO 226, voice at 78 dB SPL",
     .says = "mains hum below the voice is %s under it",
     .none = "there is no mains hum below the voice",
     .unknown = "the take is shorter than 3 s, or nothing is sung",
     .todo = "The same high-pass takes it out.",
     .settle = settle_low_end},
    {.id = "dc",
     .step = ENDS,
     .as_recorded = true,
     .name = "DC",
     .processor = "rumble-filter",
     .figure = dc_db,
     .at_most = true,
     .limit = -50.0,
     .unit = "dBFS",
     .decimals = 1,
     .source = "common practice: a third of a percent of full scale",
     .says = "the wave's mean is off zero by %s",
     .none = "the wave has none",
     .unknown = "",
     .todo = "The same high-pass takes it out; look for a fault in the converter.",
     .settle = settle_low_end},
    {.id = "clicks",
     .step = "Mouth noises",
     .name = "Clicks",
     .processor = "transient-tamer",
     .figure = clicks_a_minute,
     .at_most = true,
     .limit = 12.0,
     .unit = "a minute",
     .decimals = 1,
     .source = "common practice: one in five seconds; fewer are mended by hand, and may be bursts "
               "of /t/ and /k/",
     .says = "%s stand 12 dB and more out of what surrounds them",
     .none = "none stand 12 dB out of what surrounds them",
     .unknown = "",
     .todo = "They are taken down to what surrounds them.",
     .settle = settle_clicks},
    /* Ahead of the breaths, since the holes that a breath-ducker digs into the noise would pass for
     * the room, and the noise beside them for breath. */
    {.id = "noise",
     .step = "Gaps",
     .name = "Noise in the gaps",
     .processor = "gap-trimmer",
     .figure = noise_under_db,
     .limit = NOISE_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice: a quiet room at night, voice at 78 dB SPL",
     .says = "half of the time it is more than %s under the softest phrase",
     .none = "the gaps are silent",
     .unknown = UNSUNG,
     .todo = "Gaps are faded down; what is under the words stays.",
     .settle = settle_gaps},
    {.id = "breaths",
     .step = "Breaths",
     .name = "Breaths",
     .processor = "breath-ducker",
     .figure = breath_under_db,
     .limit = BREATH_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice",
     .says = "one in ten lies less than %s under the voice, as riding leaves them",
     .none = "none were found, or two at most",
     .unknown = "no phrase lies beside them",
     .todo = "They are turned down, not out: a voice that never breathes sounds wrong.",
     .settle = settle_breaths},
    {.id = "sibilants",
     .step = "Sibilants",
     .name = "Sibilants",
     .processor = "de-esser",
     .figure = sibilant_db,
     .at_most = true,
     .limit = SIBILANT_MOST_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "about 5 dB, the least that is heard there (Monson 2014), over published /s/ "
               "(Jongman 2000)",
     .says = "one in four lies over %s re the vowels, 4.5 to 12 kHz, as riding leaves them",
     .none = "fewer than three were found",
     .unknown = "",
     .todo = "Those that stand out are taken down.",
     .settle = settle_sibilants},
    {.id = "riding",
     .step = "Riding",
     .name = "Phrases",
     .processor = "phrase-leveller",
     .figure = spread_db,
     .at_most = true,
     .limit = SPREAD_MOST_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice: a couple of dB",
     .says = "their loudness spreads by %s (standard deviation)",
     .none = "there is one alone",
     .unknown = "nothing is sung",
     .todo = "Each is brought towards the mean, ahead of any compressor.",
     .settle = settle_riding},
    {.id = "clipping",
     .step = HAND,
     .as_recorded = true,
     .name = "Clipping",
     .figure = clipped_tops,
     .at_most = true,
     .limit = 3.0,
     .unit = "flat tops",
     .decimals = 0,
     .source = "three frames and more at the very top; a few may be chance",
     .says = "the wave has %s",
     .none = "the wave has no flat tops",
     .unknown = "",
     .todo = "Sing those words again, 6 dB lower; or redraw the tops from what lies beside them, "
             "ahead of everything else."},
    {.id = "hum",
     .step = HAND,
     .as_recorded = true,
     .name = "Hum within the voice's range",
     .figure = high_hum_under_db,
     .limit = NOISE_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "threshold of hearing at 100 Hz, ISO 226, voice at 80 dB SPL",
     .says = "mains hum where the voice is lies %s under it",
     .none = "there is no mains hum where the voice is",
     .unknown = "the take is shorter than 3 s, or nothing is sung",
     .todo = "Find the cable or the lamp and sing again; or set a narrow dip on each harmonic, "
             "which the voice hardly misses."},
    {.id = "room",
     .step = HAND,
     .as_recorded = true,
     .name = "Room",
     .figure = t60_s,
     .at_most = true,
     .limit = 0.5,
     .unit = "s",
     .decimals = 2,
     .source = "common practice: 0.2 to 0.4 s in rooms to record in; read within 20 %",
     .says = "phrases die away as in a room with a reverberation time of %s",
     .none = "",
     .unknown = "fewer than two phrases end freely",
     .todo = "Sing closer to the microphone, with blankets behind you and it. The reverb you add "
             "should be longer than this one, so that it covers it."},
    {.id = "standing_peak",
     .step = HAND,
     .as_recorded = true,
     .name = "Room resonance",
     .figure = standing_peak_db,
     .at_most = true,
     .limit = 6.0,
     .unit = "dB",
     .decimals = 0,
     .source = "common practice: what is plainly heard as boxy",
     .says =
         "one frequency between 150 Hz and 1 kHz stands out of the voice by %s, whatever is sung",
     .none = "no frequency between 150 Hz and 1 kHz stands out, whatever is sung",
     .unknown = "too little was sung, or too few notes",
     .todo = "Take it down with one band of an equaliser: siskin measure tells its centre and its "
             "width. Move away from the wall or the desk before you sing again."},
    {.id = "pitch",
     .step = HAND,
     .as_recorded = true,
     .name = "Pitch",
     .figure = off_pitch_cents,
     .at_most = true,
     .limit = 25.0,
     .unit = "cents",
     .decimals = 0,
     .source = "common practice: a quarter of a semitone",
     .says = "steady notes are off those of the key by %s in the mean",
     .none = "",
     .unknown = "too little steady singing to tell a key from, or it is speech",
     .todo = "siskin measure --all tells which phrases lean, and which way: sing those again, or "
             "tune them by hand, ahead of everything else."},
};

const size_t advice_n_rules = sizeof advice_rules / sizeof *advice_rules;

_Static_assert(sizeof advice_rules / sizeof *advice_rules <= ADVICE_MOST_RULES, "more room");

/* ---- judging ---- */

static AdviceVerdict judge(const AdviceRule *rule, double figure) {
    if (isnan(figure))
        return ADVICE_UNKNOWN;
    bool fine = rule->at_most ? figure <= rule->limit : figure >= rule->limit;
    return fine ? ADVICE_FINE : ADVICE_NEEDED;
}

static void judge_rule(Advice *advice, size_t i, const Measures *measures) {
    advice->of[i] = measures;
    advice->figure[i] = advice_rules[i].figure(measures);
    advice->verdict[i] = judge(&advice_rules[i], advice->figure[i]);
}

Advice advice_of(const Measures *measures) {
    Advice advice;
    for (size_t i = 0; i < advice_n_rules; i++)
        judge_rule(&advice, i, measures);
    return advice;
}

void advice_go_on(Advice *advice, const Measures *measures) {
    for (size_t i = 0; i < advice_n_rules; i++)
        if (!advice_rules[i].as_recorded)
            judge_rule(advice, i, measures);
}

static bool same_processor(size_t a, size_t b) {
    const char *x = advice_rules[a].processor, *y = advice_rules[b].processor;
    return x && y && strcmp(x, y) == 0;
}

bool advice_wants_processor(const Advice *advice, size_t i) {
    if (!advice_rules[i].processor || (i + 1 < advice_n_rules && same_processor(i, i + 1)))
        return false;
    bool wanted = false;
    for (size_t k = i + 1; k-- > 0 && same_processor(k, i);)
        wanted = wanted || advice->verdict[k] == ADVICE_NEEDED;
    return wanted;
}
