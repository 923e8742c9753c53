/* SPDX-License-Identifier: ISC */
#include "siskin/advise/rules.h"

#include "siskin/advise/figures.h"
#include "siskin/advise/settings.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

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
     .figure = figure_rumble_under_db,
     .limit = ADVICE_LOW_END_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "threshold of hearing, ISO 226, voice at 78 dB SPL",
     .says = "what lies below the voice is %s under it",
     .none = "there is nothing below the voice",
     .unknown = "nothing is sung",
     .todo = "A high-pass under the sung pitch takes it out.",
     .stays = "What is left is too close under the lowest notes for a filter: move the microphone "
              "off what shakes it, and sing again.",
     .settle = settle_low_end},
    {.id = "low_hum",
     .step = ENDS,
     .as_recorded = true,
     .name = "Hum below the voice",
     .processor = "rumble-filter",
     .figure = figure_low_hum_under_db,
     .limit = ADVICE_LOW_END_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "threshold of hearing, ISO 226, voice at 78 dB SPL",
     .says = "mains hum below the voice is %s under it",
     .none = "there is no mains hum below the voice",
     .unknown = "the take is shorter than 3 s, or nothing is sung",
     .todo = "The same high-pass takes it out.",
     .stays = "What is left is too close under the lowest notes for a filter: find the cable or "
              "the lamp, and sing again.",
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
     .decimals = 1,
     .source = "common practice: a third of a percent of full scale",
     .says = "the wave's mean is off zero by %s",
     .none = "the wave has none",
     .unknown = "",
     .todo = "The same high-pass takes it out; look for a fault in the converter.",
     .stays = "Look for a fault in the converter.",
     .settle = settle_low_end},
    {.id = "clicks",
     .step = "Mouth noises",
     .name = "Clicks",
     .processor = "transient-tamer",
     .figure = figure_clicks_a_minute,
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
     .stays = "siskin measure --all tells where those are that are left: dip them by hand.",
     .settle = settle_clicks},
    /* Ahead of the breaths: the gaps are told from the room as it was recorded, from the first. */
    {.id = "noise",
     .step = "Gaps",
     .name = "Noise in the gaps",
     .processor = "gap-trimmer",
     .figure = figure_noise_under_db,
     /* Between its fades a short gap is shorter yet. */
     .gone = "no gap is left that is long enough between its fades to tell",
     .limit = ADVICE_NOISE_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice: a quiet room at night, voice at 78 dB SPL",
     .says = "half of the time it is more than %s under the softest phrase",
     .none = "the gaps are silent",
     .unknown = UNSUNG,
     .todo = "Gaps are faded down; what is under the words stays.",
     .stays = "What is left cannot be parted from the ends of words: fade it by hand, or sing "
              "again where it is quieter.",
     .settle = settle_gaps},
    {.id = "breaths",
     .step = "Breaths",
     .name = "Breaths",
     .processor = "breath-ducker",
     .figure = figure_breath_under_db,
     .limit = ADVICE_BREATH_UNDER_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice",
     .says = "one in ten lies less than %s under the voice, as riding leaves them",
     .none = "none were found, or two at most",
     .unknown = "no phrase lies beside them",
     .todo = "They are turned down, not out: a voice that never breathes sounds wrong.",
     .stays = "siskin measure --all tells where those are that are left: turn them down by hand.",
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
     .source = "about 5 dB, the least that is heard there (Monson 2014), over published /s/ "
               "(Jongman 2000)",
     .says = "one in four lies over %s re the vowels, 4.5 to 12 kHz, as riding leaves them",
     .none = "fewer than three were found",
     .unknown = "",
     .todo = "Those that stand out are taken down.",
     .stays = "siskin measure --all tells where those are that are left: turn them down by hand.",
     .settle = settle_sibilants},
    {.id = "riding",
     .step = "Riding",
     .name = "Phrases",
     .processor = ADVICE_RIDE,
     .figure = figure_spread_db,
     .at_most = true,
     .limit = ADVICE_SPREAD_MOST_DB,
     .unit = "dB",
     .decimals = 1,
     .source = "common practice: a couple of dB",
     .says = "their loudness spreads by %s (standard deviation)",
     .none = "there is one alone",
     .unknown = "nothing is sung",
     .todo = "Each gets a gain of its own, by a lane of the fader, ahead of any compressor.",
     .stays = "What is left is held by the phrases' own peaks: change the gains in the lane."},
    {.id = "clipping",
     .step = HAND,
     .as_recorded = true,
     .name = "Clipping",
     .figure = figure_clipped_tops,
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
     .figure = figure_high_hum_under_db,
     .limit = ADVICE_NOISE_UNDER_DB,
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
     .figure = figure_t60_s,
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
     .figure = figure_standing_peak_db,
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
     .figure = figure_off_pitch_cents,
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
    Advice advice = {.extra = {0.0}};
    for (size_t i = 0; i < advice_n_rules; i++)
        judge_rule(&advice, i, measures);
    return advice;
}

void advice_go_on(Advice *advice, const Measures *measures) {
    for (size_t i = 0; i < advice_n_rules; i++)
        if (!advice_rules[i].as_recorded)
            judge_rule(advice, i, measures);
}

double advice_found(const Advice *advice, size_t i) {
    return advice->arises[i] ? advice->arisen[i] : advice->figure[i];
}

char *advice_limit(size_t i) {
    const AdviceRule *rule = &advice_rules[i];
    return text_print("%s %.*f %s %s fine", rule->at_most ? "up to" : "from", rule->decimals,
                      rule->limit, rule->unit, rule->at_most ? "is" : "on is");
}

char *advice_sentence(size_t i, double figure) {
    const AdviceRule *rule = &advice_rules[i];
    if (isnan(figure))
        return text_copy(rule->unknown);
    if (isinf(figure))
        return text_copy(rule->none);
    char *value = text_print("%.*f %s", rule->decimals, figure, rule->unit);
    char *text = text_print(rule->says, value); /* NOLINT: the table's own formats */
    free(value);
    return text;
}

char *advice_sentence_after(size_t i, AdviceVerdict before, double figure) {
    const char *gone = advice_rules[i].gone;
    bool is_gone = before == ADVICE_NEEDED && isnan(figure) && gone;
    return is_gone ? text_copy(gone) : advice_sentence(i, figure);
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
