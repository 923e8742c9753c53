/* SPDX-License-Identifier: ISC */
#include "siskin/advise/settings.h"

#include "siskin/advise/figures.h"
#include "siskin/measure/controls.h"
#include "siskin/measure/pitch_name.h"
#include "voice/scale.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

/* What settings aim for beyond the limit, so that a detector's spread does not undo it. */
static const double MARGIN_DB = 3.0;

/* A control's own value, and the most it takes. */
static double initial(const char *plugin, const char *symbol) {
    return (double)controls_initial(plugin, symbol);
}

static double greatest(const char *plugin, const char *symbol) {
    return (double)controls_find(plugin, symbol)->maximum;
}

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

static void pass(AdviceSettings *settings, unsigned passes, const char *why, ...)
    __attribute__((format(printf, 3, 4)));

static void pass(AdviceSettings *settings, unsigned passes, const char *why, ...) {
    va_list args;
    settings->passes = passes < ADVICE_MOST_PASSES ? passes : ADVICE_MOST_PASSES;
    va_start(args, why);
    vsnprintf(settings->why_passes, sizeof settings->why_passes, why, args);
    va_end(args);
}

/* Said of a step that only the others made necessary: the take itself tells nothing of it, and the
 * processor's own defaults stay. */
static const char *const BY_TRIAL = "from a trial with the other steps";

/* How much is lacking, and the margin; 0 when nothing is, or nothing is known. */
static double lacking_db(double under_db, double limit_db) {
    return under_db < limit_db ? limit_db - under_db + MARGIN_DB : 0.0;
}

/* All harmonics that hum was found on, with the mains given, so that it acts from the first. */
void settle_hum(const Measures *m, double extra, AdviceSettings *s) {
    size_t highest = 0;
    for (size_t k = 0; m->hum_known && m->hum.found && k < HUM_HARMONICS; k++)
        highest = m->hum.power[k] > 0.0 ? k + 1 : highest;
    if (highest == 0)
        return;
    set(s, "mains", m->hum.mains_hz, "as found");
    set(s, "harmonics", fmax((double)highest, initial("hum-notch", "harmonics")),
        "hum was found up to %.0f Hz", m->hum.mains_hz * (double)highest);
    if (extra > 0.0)
        pass(s, 2, "one left too much");
}

/* As little as does it, and no more than leaves a voice whole. */
void settle_hiss(const Measures *m, double extra, AdviceSettings *s) {
    const double least_db = 6.0, most_db = 20.0;
    double under_db = figure_noise_under_db(m);
    double depth_db = ceil(lacking_db(under_db, ADVICE_HISS_UNDER_DB) + extra);
    depth_db = fmin(most_db, fmax(least_db, depth_db));
    if (isfinite(under_db))
        set(s, "depth", depth_db, "to %.0f dB under the softest phrase", under_db + depth_db);
    else
        set(s, "depth", depth_db, "%s", BY_TRIAL);
}

/* One bell on each, as wide at half its dB; broad and shallow, since a narrow or deep one is heard
 * itself. */
void settle_resonance(const Measures *m, double extra, AdviceSettings *s) {
    static const char *const control[STANDING_PEAKS][3] = {{"freq_1", "gain_1", "width_1"},
                                                           {"freq_2", "gain_2", "width_2"},
                                                           {"freq_3", "gain_3", "width_3"}};
    const double most_db = 6.0;
    const double narrow_q = 4.0, broad_q = 1.0;
    (void)extra; /* no render is judged by it */
    for (size_t i = 0; i < m->n_peaks && i < STANDING_PEAKS; i++) {
        const StandingPeak *peak = &m->peak[i];
        double q = fmin(narrow_q, fmax(broad_q, peak->hz / (peak->high_hz - peak->low_hz)));
        double octaves = 2.0 / M_LN2 * asinh(0.5 / q);
        double cut_db = fmin(most_db, round(peak->height_db));
        set(s, control[i][0], round(peak->hz), "%s", "");
        set(s, control[i][1], -cut_db, "%s", "");
        set(s, control[i][2], 0.01 * round(100.0 * octaves),
            "it stands out by %.0f dB; a cut of more than %.0f dB is heard itself", peak->height_db,
            most_db);
    }
}

/* So many dB an octave take enough off rumble that lies half an octave under the corner: its
 * spectrum is not known, but it falls. Hum may lie closer. */
static double steepness(const Measures *m, double extra_db) {
    const double step = 12.0, octaves = 0.5;
    const double least = initial("rumble-filter", "slope"),
                 steepest = greatest("rumble-filter", "slope");
    double lacking = lacking_db(figure_rumble_under_db(m), ADVICE_LOW_END_UNDER_DB) + extra_db;
    bool hum = lacking_db(figure_low_hum_under_db(m), ADVICE_LOW_END_UNDER_DB) > 0.0;
    return hum ? steepest : fmin(steepest, fmax(least, step * ceil(lacking / octaves / step)));
}

/* A steeper high-pass may come closer to the note, and takes no more off it: 0.1 dB. */
static double corner_share(double slope) {
    return pow(initial("rumble-filter", "margin"), initial("rumble-filter", "slope") / slope);
}

/* As far as the strongest goes: 2 dB a dB, and 18 dB at the voice's low end. */
static void settle_thumps(const Measures *m, AdviceSettings *s) {
    double most_db = -INFINITY, depth_db = initial("rumble-filter", "thumps");
    for (size_t i = 0; i < m->n_thumps; i++)
        most_db = fmax(most_db, m->thumps[i].over_db);
    if (most_db > 0.0)
        set(s, "thumps", fmin(greatest("rumble-filter", "thumps"), ceil(depth_db + 2.0 * most_db)),
            "the strongest stands %.0f dB over the voice's low end", most_db);
}

void settle_low_end(const Measures *m, double extra, AdviceSettings *s) {
    bool known = isfinite(m->low_hz);
    double slope = steepness(m, extra);
    double share = corner_share(slope);
    if (known) {
        set(s, "floor", round(share * m->low_hz), "%.2f of the lowest note, %.0f Hz", share,
            m->low_hz);
        set(s, "ceiling", round(share * m->middle_hz), "%.2f of the middle note, %.0f Hz", share,
            m->middle_hz);
        set(s, "margin", 0.01 * round(100.0 * share), "takes 0.1 dB off the note");
    } else {
        set(s, "floor", initial("rumble-filter", "floor"), "pitch unknown");
        set(s, "ceiling", initial("rumble-filter", "floor"), "the same");
    }
    set(s, "slope", slope, "dB an octave");
    settle_thumps(m, s);
    if (extra > 0.0 && slope >= greatest("rumble-filter", "slope"))
        pass(s, 2, "one left too much");
}

void settle_clicks(const Measures *m, double extra, AdviceSettings *s) {
    const double once_db = 20.0;                        /* of 35 dB, some 15 to 20 stay */
    const double top_hz = 11900.0, beyond_hz = 16000.0; /* clicks are looked for up to 12 kHz */
    double low_hz = INFINITY, high_hz = 0.0, height_db = 0.0;
    if (m->n_clicks == 0)
        return;
    for (size_t i = 0; i < m->n_clicks; i++) {
        low_hz = fmin(low_hz, m->clicks[i].low_hz);
        high_hz = fmax(high_hz, m->clicks[i].high_hz);
        height_db = fmax(height_db, m->clicks[i].height_db);
    }
    set(s, "focus_low", floor(low_hz), "the lowest click");
    set(s, "focus_high", high_hz < top_hz ? ceil(high_hz) : beyond_hz,
        high_hz < top_hz ? "the highest click" : "the highest click goes on beyond 12 kHz");
    set(s, "depth", ceil(height_db + MARGIN_DB), "the tallest stands out by %.1f dB", height_db);
    unsigned passes = height_db > once_db ? 2 : 1;
    if (extra > 0.0)
        pass(s, passes + 1, "one less left too many");
    else if (passes > 1)
        pass(s, passes, "one leaves those over %.0f dB too high", once_db);
}

void settle_breaths(const Measures *m, double extra, AdviceSettings *s) {
    double under_db = figure_breath_under_db(m);
    double moved_db = figure_needs_riding(m) ? MARGIN_DB : 0.0; /* a spread more */
    const double most_db =
        24.0; /* whatever a trial asks for: a consonant taken for one loses it too */
    double depth_db =
        fmin(most_db, ceil(lacking_db(under_db, ADVICE_BREATH_UNDER_DB) + moved_db + extra));
    if (isfinite(under_db))
        set(s, "depth", depth_db, "loud ones to %.0f dB under the voice", under_db + depth_db);
    else
        set(s, "depth", depth_db, "%s", BY_TRIAL);
}

/* The loud ones, q, come down to `aim`: q - strength (q - ratio) = aim. */
void settle_sibilants(const Measures *m, double extra, AdviceSettings *s) {
    const double ratio_db = initial("de-esser", "ratio");
    double moved_db = figure_needs_riding(m) ? MARGIN_DB : 0.0; /* a spread more */
    double aim_db = ADVICE_SIBILANT_MOST_DB - MARGIN_DB - moved_db;
    double loud_db = figure_sibilant_db(m) + extra; /* as the other steps leave them */
    double hottest_db = figure_sibilant_quantile_db(m, 1.0) + extra;
    if (!isfinite(loud_db) || !isfinite(hottest_db))
        return;
    double strength = fmin(1.0, (loud_db - aim_db) / (loud_db - ratio_db));
    set(s, "ratio", ratio_db, "the default");
    set(s, "strength", ceil(100.0 * strength), "brings %.1f dB to %.1f dB", loud_db, aim_db);
    double range_db = strength * (hottest_db - ratio_db);
    set(s, "range", ceil(range_db), "the hottest are at %.1f dB", hottest_db);
    if (extra > 0.0 && range_db > greatest("de-esser", "range"))
        pass(s, 2, "one takes too little off the hottest");
}

/* ---- pitch ---- */

/* The share of the notes' time that lies clearly on semitones outside of a scale. */
static double share_outside(const Measures *m, const Scale *scale) {
    const double least_s = 0.1, least_confidence = 0.5, on = 0.3; /* semitones */
    double outside = 0.0, all = 0.0;
    for (size_t i = 0; i < m->n_sung; i++) {
        const SungNote *note = &m->sung[i];
        double length_s = note->end_s - note->start_s;
        double step = note->midi - 0.01 * intonation_error_cents(&m->intonation, note);
        double off = 0.01 * fabs(intonation_apart_cents(&m->intonation, note));
        int nearest = (int)lround(step - 0.01 * m->key.tuning_cents);
        if (length_s < least_s || note->confidence < least_confidence)
            continue;
        all += length_s;
        outside += off < on && !scale_has(scale, nearest) ? length_s : 0.0;
    }
    return all > 0.0 ? outside / all : 0.0;
}

static ScaleKind kind_of(TonalityMode mode, size_t k) {
    static const ScaleKind kinds[TONALITY_MODES][3] = {
        {SCALE_MAJOR, SCALE_MAJOR, SCALE_MAJOR},
        {SCALE_NATURAL_MINOR, SCALE_HARMONIC_MINOR, SCALE_MELODIC_MINOR},
        {SCALE_DORIAN, SCALE_DORIAN, SCALE_DORIAN}};
    return kinds[mode % TONALITY_MODES][k];
}

/* As of a major key and its relative minor: it does not matter which of the two it is. */
static bool same_notes(const TonalityKey *a, const TonalityKey *b) {
    Scale one = {(int)a->tonic, kind_of(a->mode, 0)}, other = {(int)b->tonic, kind_of(b->mode, 0)};
    bool same = true;
    for (int note = 0; note < 12; note++)
        same = same && scale_has(&one, note) == scale_has(&other, note);
    return same;
}

static bool knows_scale(const Measures *m) {
    const TonalityKey *best = &m->key.best, *next = &m->key.next;
    return measures_key_sure(m) ||
           (m->key_known && best->p + next->p >= TONALITY_SURE && same_notes(best, next));
}

/* The scale of the key, where it is known and holds the notes; else any semitone. And why. */
static Scale scale_of(const Measures *m, char why[128]) {
    const double most_outside = 0.03;
    const Scale any = {0, SCALE_CHROMATIC};
    Scale scale = any;
    double least = 1.0;
    char key[64], name[24], next[24];
    if (!knows_scale(m)) {
        snprintf(why, 128, "any semitone, since the key is %s", measures_key_text(key, m));
        return any;
    }
    for (size_t k = 0; k < 3; k++) {
        Scale tried = {(int)m->key.best.tonic, kind_of(m->key.best.mode, k)};
        double outside = share_outside(m, &tried);
        if (outside < least) {
            least = outside;
            scale = tried;
        }
    }
    pitch_name_key(name, &m->key.best);
    if (least > most_outside)
        snprintf(why, 128, "any semitone, since %.0f %% of the notes' time is outside %s",
                 100.0 * least, name);
    else if (measures_key_sure(m))
        snprintf(why, 128, "%s, sure to %.2f", name, m->key.best.p);
    else
        snprintf(why, 128, "%s or %s, whose notes are the same", name,
                 pitch_name_key(next, &m->key.next));
    return least > most_outside ? any : scale;
}

/* In the middle of its drift; A 440 where that alone makes sense of the notes. */
static double tuning_of(const Measures *m, const Scale *scale) {
    if (m->intonation.at_least)
        return 0.0;
    double cents =
        scale->kind == SCALE_CHROMATIC ? m->intonation.tuning_cents : m->key.tuning_cents;
    return cents + 0.5 * m->intonation.drift_cents;
}

/* What is more than 25 cents off goes to within 5; after a trial that left too much, all the way. A
 * take that lies a little beside 440 Hz was meant to be there, as one sung to music is. */
void settle_pitch(const Measures *m, double extra, AdviceSettings *s) {
    const double beside_cents = 15.0, room = 1.25;
    char why[128];
    Scale scale = scale_of(m, why);
    double tuning = tuning_of(m, &scale);
    set(s, "scale", scale.kind, "%s", why);
    if (scale.kind != SCALE_CHROMATIC)
        set(s, "key", scale.key, "semitones over C");
    if (fabs(tuning) > beside_cents)
        set(s, "tuning", 0.1 * round(4400.0 * exp2(tuning / 1200.0)),
            "the take is tuned so; sung to music at 440 Hz, take this out");
    if (extra > 0.0 && figure_far_off_percent(m) > ADVICE_FAR_OFF_PERCENT)
        set(s, "strength", greatest("pitch-corrector", "strength"), "less left too much");
    else if (isfinite(m->off_cents))
        set(s, "strength", initial("pitch-corrector", "strength"),
            "the default; as sung, notes are %.0f cents off on average%s", m->off_cents,
            m->intonation.at_least ? ", or more" : "");
    if (room * m->high_hz > initial("pitch-corrector", "highest"))
        set(s, "highest", round(room * m->high_hz), "the highest note is %.0f Hz", m->high_hz);
    if (m->low_hz / room < initial("pitch-corrector", "lowest"))
        set(s, "lowest", round(m->low_hz / room), "the lowest note is %.0f Hz", m->low_hz);
}

void settle_gaps(const Measures *m, double extra, AdviceSettings *s) {
    const double fade_share = 0.2, beyond_db = 10.0;
    const double fade_ms = initial("gap-trimmer", "fade_out");
    const double least_db = initial("gap-trimmer", "threshold");
    const double over_db = 12.0, most_db = -30.0; /* what goes on may fall by 6 */
    double under_db = figure_noise_under_db(m), t60 = figure_t60_s(m);
    double threshold_db = over_db - under_db; /* re the softest singing */
    double lacking = ceil(fmax(0.0, ADVICE_NOISE_UNDER_DB - under_db) + beyond_db + extra);
    if (!isfinite(under_db)) {
        set(s, "floor", -lacking, "%s", BY_TRIAL);
        return;
    }
    set(s, "floor", -lacking, "noise to %.0f dB under the softest phrase", under_db + lacking);
    set(s, "threshold", ceil(fmax(least_db, fmin(most_db, threshold_db))),
        "%.0f dB over the noise, if words allow", over_db);
    if (fade_share * 1e3 * t60 > fade_ms)
        set(s, "fade_out", round(fade_share * 1e3 * t60), "reverberation %.2f s", t60);
}
