/* SPDX-License-Identifier: ISC */
#include "siskin/advise/rules.h"

#include "siskin/advise/figures.h"
#include "siskin/advise/settings.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the table ---- */

#define HUM "Hum"
#define NOISE "Noise"
#define ENDS "Ends of the spectrum"
#define HAND "By hand: what no processor here mends"

const AdviceRule advice_rules[] = {
    /* First: with the mains given it needs no gap, and hears the low harmonics whole. */
    {.id = "hum",
     .step = HUM,
     .as_recorded = true,
     .name = "Hum within the voice",
     .processor = "hum-notch",
     .figure = figure_high_hum_under_db,
     .limit = ADVICE_NOISE_UNDER_DB,
     .unit = "dB",
     .source = "threshold of hearing at 100 Hz, ISO 226, voice at 80 dB SPL",
     .says = "%s under the voice",
     .none = "none",
     .unknown = "under 3 s, or too little singing, to tell",
     .todo = "Its harmonics are taken out. Find the cable or the lamp before you sing again.",
     .stays = "The rest comes before the first gap, or is not steady: find the cable or the lamp.",
     .settle = settle_hum},
    {.id = "rumble",
     .step = ENDS,
     .as_recorded = true,
     .name = "Rumble",
     .processor = "rumble-filter",
     .figure = figure_rumble_under_db,
     .limit = ADVICE_LOW_END_UNDER_DB,
     .unit = "dB",
     .source = "threshold of hearing, ISO 226, voice at 78 dB SPL",
     .says = "%s under the voice",
     .none = "none",
     .unknown = "too little singing to tell",
     .todo = "Cut below the sung pitch.",
     .stays = "The rest is too close to the lowest notes for a filter: take the microphone off "
              "what shakes it and sing again.",
     .settle = settle_low_end},
    {.id = "low_hum",
     .step = ENDS,
     .as_recorded = true,
     .name = "Hum below the voice",
     .processor = "rumble-filter",
     .figure = figure_low_hum_under_db,
     .limit = ADVICE_LOW_END_UNDER_DB,
     .unit = "dB",
     .source = "threshold of hearing, ISO 226, voice at 78 dB SPL",
     .says = "%s under the voice",
     .none = "none",
     .unknown = "under 3 s, or too little singing, to tell",
     .todo = "Cut below the sung pitch.",
     .stays = "The rest is too close to the lowest notes for a filter: find the cable or the lamp "
              "and sing again.",
     .settle = settle_low_end},
    {.id = "dc",
     .step = ENDS,
     .as_recorded = true,
     .name = "DC",
     .processor = "rumble-filter",
     .figure = figure_dc_db,
     .at_most = true,
     .limit = -50.0,
     .unit = "dBFS",
     .source = "common practice: a third of a percent of full scale",
     .says = "%s",
     .none = "none",
     .unknown = "",
     .todo = "Cut. The converter may have a fault.",
     .stays = "The converter may have a fault.",
     .settle = settle_low_end},
    {.id = "thumps",
     .step = ENDS,
     .as_recorded = true,
     .name = "Thumps of /p/ and /b/",
     .processor = "rumble-filter",
     .figure = figure_thumps_a_minute,
     .at_most = true,
     .limit = 3.0,
     .unit = "a minute",
     .source = "common practice: one in 20 s; under 30 s counts as 30 s",
     .says = "%s as loud as half the voice's low end",
     .none = "none as loud as half the voice's low end",
     .unknown = "",
     .todo = "Taken down below the voice, as long as each lasts.",
     .stays = "Sing the rest again, a little beside the microphone or behind a pop screen.",
     .settle = settle_low_end},
    /* Behind the ends: rumble is no steady room, and in it no gap is learned from. */
    {.id = "hiss",
     .step = NOISE,
     .as_recorded = true,
     .name = "Noise under the words",
     .processor = "noise-reducer",
     .figure = figure_noise_under_db,
     .gone = "no gap left that is long enough to tell",
     .limit = ADVICE_HISS_UNDER_DB,
     .unit = "dB",
     .source =
         "common practice: compression brings it up by 6 to 10 dB, and 30 dB is plainly heard",
     .says = "%s under the softest phrase",
     .none = "none",
     .unknown = "too little singing, or no gap of 0.25 s, to tell",
     .todo = "Taken down, under the words too.",
     .stays = "More would take the voice with it: sing again where it is quieter.",
     .settle = settle_hiss},
    {.id = "clicks",
     .step = "Mouth noises",
     .name = "Clicks",
     .processor = "transient-tamer",
     .figure = figure_clicks_a_minute,
     .at_most = true,
     .limit = 12.0,
     .unit = "a minute",
     .source = "common practice: one in 5 s, under 30 s counts as 30 s; fewer may be /t/ and /k/",
     .says = "%s stand out by 12 dB",
     .none = "none stand out by 12 dB",
     .unknown = "",
     .todo = "Taken down to what surrounds them.",
     .stays = "Dip the rest by hand: siskin measure --all tells where.",
     .settle = settle_clicks},
    /* Ahead of the breaths: the gaps are told from the room as it was recorded, from the first. */
    {.id = "noise",
     .step = "Gaps",
     .name = "Noise in the gaps",
     .processor = "gap-trimmer",
     .figure = figure_noise_under_db,
     /* Between its fades a short gap is shorter yet. */
     .gone = "no gap left that is long enough to tell",
     .limit = ADVICE_NOISE_UNDER_DB,
     .unit = "dB",
     .source = "common practice: a quiet room at night, voice at 78 dB SPL",
     .says = "%s under the softest phrase",
     .none = "none",
     .unknown = "too little singing, or no gap of 0.25 s, to tell",
     .todo = "Gaps faded down; the noise under the words stays.",
     .stays = "The rest runs into the ends of words: fade it by hand, or sing again where it is "
              "quieter.",
     .settle = settle_gaps},
    {.id = "breaths",
     .step = "Breaths",
     .name = "Breaths",
     .processor = "breath-ducker",
     .figure = figure_breath_under_db,
     .limit = ADVICE_BREATH_UNDER_DB,
     .unit = "dB",
     .source = "common practice; the loudest tenth counts, as riding brings it up",
     .says = "%s under the voice",
     .none = "fewer than three",
     .unknown = "too little singing beside them to tell",
     .todo = "Turned down.",
     .stays = "Turn the rest down by hand: siskin measure --all tells where.",
     .settle = settle_breaths},
    {.id = "sibilants",
     .step = "Sibilants",
     .name = "Sibilants",
     .processor = "de-esser",
     .figure = figure_sibilant_db,
     .at_most = true,
     .limit = ADVICE_SIBILANT_MOST_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "5 dB, the least that is heard (Monson 2014), over published /s/ (Jongman 2000)",
     .says = "%s against the vowels",
     .none = "fewer than three",
     .unknown = "",
     .todo = "The loud ones taken down.",
     .stays = "Turn the rest down by hand: siskin measure --all tells where.",
     .settle = settle_sibilants},
    {.id = "pitch",
     .step = "Pitch",
     .name = "Pitch",
     .processor = "pitch-corrector",
     .moves = true,
     .figure = figure_far_off_percent,
     .at_most = true,
     .limit = ADVICE_FAR_OFF_PERCENT,
     .unit = "%",
     .source = "25 cents are heard as off (Larrouy-Maestri 2018); a quarter of the time: common "
               "practice",
     .says = "%s of the notes' time is over 25 cents off",
     .none = "",
     .unknown = "too little singing to tell, it is not sung, or no scale fits it",
     .todo = "Drawn to the notes; vibrato and scoops stay.",
     .stays = "Set the rest by hand: siskin notes.",
     .settle = settle_pitch},
    {.id = "standing_peak",
     .step = "Room resonance",
     .as_recorded = true,
     .alone = true,
     .name = "Room resonance",
     .processor = "room-cut",
     .figure = figure_standing_peak_db,
     .at_most = true,
     .limit = 6.0,
     .unit = "dB",
     .source = "common practice: what is plainly heard as boxy, 150 Hz to 1 kHz",
     .says = "one stands out by %s",
     .none = "none",
     .unknown = "too little singing to tell",
     .todo = "Taken down. Next time, move away from the wall or the desk.",
     .stays = "siskin measure tells where it lies.",
     .settle = settle_resonance},
    {.id = "riding",
     .step = "Riding",
     .name = "Phrases",
     .processor = ADVICE_RIDE,
     .figure = figure_spread_db,
     .at_most = true,
     .limit = ADVICE_SPREAD_MOST_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice; standard deviation of their loudness",
     .says = "%s apart",
     .none = "only one",
     .unknown = "too little singing to tell",
     .todo = "Each gets a gain of its own, in the ride below.",
     .stays = "The rest is held by the phrases' own peaks: change the gains of the ride."},
    {.id = "clipping",
     .step = HAND,
     .as_recorded = true,
     .name = "Clipping",
     .figure = figure_clipped_tops,
     .at_most = true,
     .limit = 3.0,
     .unit = "flat tops",
     .source = "three frames and more at the very top; a few may be chance",
     .says = "%s",
     .none = "none",
     .unknown = "",
     .todo = "Sing those words again, 6 dB lower; or redraw the tops before anything else."},
    {.id = "room",
     .step = HAND,
     .as_recorded = true,
     .name = "Room",
     .figure = figure_t60_s,
     .at_most = true,
     .limit = 0.5,
     .unit = "s",
     .decimals = 2,
     .source = "common practice: 0.2 to 0.4 s in rooms to record in; read within 20 %",
     .says = "reverberation %s",
     .none = "",
     .unknown = "too few phrases end freely to tell",
     .todo = "Sing closer to the microphone, with blankets behind you and it. A reverb longer than "
             "this covers it."},
    {.id = "no_scale",
     .step = HAND,
     .as_recorded = true,
     .name = "Pitch that fits no scale",
     .figure = figure_no_scale_cents,
     .at_most = true,
     .limit = 20.0,
     .unit = "cents",
     .source = "common practice: a fifth of a semitone; what lies anywhere reads 25 and more",
     .says = "%s off, and no set of semitones fits the whole take",
     .none = "none",
     .unknown = "too little singing to tell, or it is not sung",
     .todo = "By itself a corrector would choose wrong notes. Sing the phrases that lean again "
             "(siskin measure --all tells which), or set the notes by hand: siskin notes."},
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

void advice_judge(Advice *advice, size_t i, const Measures *measures) {
    advice->of[i] = measures;
    advice->figure[i] = advice_rules[i].figure(measures);
    advice->verdict[i] = judge(&advice_rules[i], advice->figure[i]);
}

Advice advice_of(const Measures *measures) {
    Advice advice = {.extra = {0.0}};
    for (size_t i = 0; i < advice_n_rules; i++)
        advice_judge(&advice, i, measures);
    return advice;
}

size_t advice_front(void) {
    size_t n = 0;
    while (n < advice_n_rules && advice_rules[n].as_recorded)
        n++;
    return n;
}

bool advice_wants_front(const Advice *advice) {
    bool wants = false;
    for (size_t i = 0; i < advice_front(); i++)
        wants = wants || advice_wants_processor(advice, i);
    return wants;
}

bool advice_is_tried(size_t i) {
    return advice_rules[i].processor && !advice_rules[i].alone;
}

void advice_go_on(Advice *advice, const Measures *measures) {
    for (size_t i = 0; i < advice_n_rules; i++)
        if (!advice_rules[i].as_recorded)
            advice_judge(advice, i, measures);
}

double advice_found(const Advice *advice, size_t i) {
    return advice->arises[i] ? advice->arisen[i] : advice->figure[i];
}

char *advice_limit(size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    return rule->at_most ? text_print("up to %g is fine", rule->limit)
                         : text_print("%g is enough", rule->limit);
}

/* To so many decimals, and no "-0". */
static double rounded(double value, int decimals) {
    double scale = pow(10.0, decimals);
    return round(value * scale) / scale + 0.0;
}

/* So many decimals that rounding does not take it over the limit. */
static int decimals_of(const AdviceRule *rule, double figure) {
    const int most = 6;
    int decimals = rule->decimals;
    while (decimals < most && judge(rule, rounded(figure, decimals)) != judge(rule, figure))
        decimals++;
    return decimals;
}

char *advice_value(size_t i, double figure) {
    const AdviceRule *rule = &advice_rules[i];
    if (isnan(figure))
        return text_copy(rule->unknown);
    if (isinf(figure))
        return text_copy(rule->none);
    int decimals = decimals_of(rule, figure);
    return text_print("%.*f %s", decimals, rounded(figure, decimals), rule->unit);
}

char *advice_sentence(size_t i, double figure) {
    char *value = advice_value(i, figure);
    if (!isfinite(figure))
        return value;
    char *text = text_print(advice_rules[i].says, value); /* NOLINT: the table's own formats */
    free(value);
    return text;
}

/* What it means that a figure is not known where it was, on the wrong side of the limit. */
static const char *gone(size_t i, AdviceVerdict before, double figure) {
    return before == ADVICE_NEEDED && isnan(figure) ? advice_rules[i].gone : NULL;
}

char *advice_value_after(size_t i, AdviceVerdict before, double figure) {
    const char *text = gone(i, before, figure);
    return text ? text_copy(text) : advice_value(i, figure);
}

char *advice_sentence_after(size_t i, AdviceVerdict before, double figure) {
    const char *text = gone(i, before, figure);
    return text ? text_copy(text) : advice_sentence(i, figure);
}

bool advice_is_mended(size_t i, double figure) {
    AdviceVerdict verdict = judge(&advice_rules[i], figure);
    return verdict == ADVICE_FINE || (verdict == ADVICE_UNKNOWN && advice_rules[i].gone);
}

double advice_shortfall(size_t i, double figure) {
    const AdviceRule *rule = &advice_rules[i];
    if (isnan(figure))
        return INFINITY;
    return fmax(0.0, rule->at_most ? figure - rule->limit : rule->limit - figure);
}

bool advice_is_ride(const AdviceRule *rule) {
    return rule->processor && strcmp(rule->processor, ADVICE_RIDE) == 0;
}

static bool same_processor(size_t a, size_t b) {
    const char *x = advice_rules[a].processor, *y = advice_rules[b].processor;
    return x && y && strcmp(x, y) == 0;
}

AdviceRows advice_rows(size_t i) {
    AdviceRows rows = {i, i};
    while (rows.first > 0 && same_processor(rows.first - 1, i))
        rows.first--;
    while (rows.last + 1 < advice_n_rules && same_processor(rows.last + 1, i))
        rows.last++;
    return rows;
}

bool advice_wants_processor(const Advice *advice, size_t i) {
    AdviceRows rows = advice_rows(i);
    bool wanted = false;
    for (size_t k = rows.first; k <= i; k++)
        wanted = wanted || (advice->verdict[k] == ADVICE_NEEDED && !advice->in_vain[k] &&
                            !advice->harmful[k]);
    return wanted && i == rows.last && advice_rules[i].processor;
}
