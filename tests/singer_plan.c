/* SPDX-License-Identifier: ISC */
#include "singer_work.h"

#include <stdlib.h>
#include <string.h>

/* ---- what is known of the sounds ---- */

static const Sound sounds[] = {
    {'i', SINGER_VOICED, {270, 2290, 3010}, {310, 2790, 3310}, 1.0, 0.14, 0.45},
    {'y', SINGER_VOICED, {390, 1990, 2550}, {430, 2480, 3070}, 1.0, 0.12, 0.35},
    {'e', SINGER_VOICED, {530, 1840, 2480}, {610, 2330, 2990}, 1.0, 0.14, 0.45},
    {'q', SINGER_VOICED, {660, 1720, 2410}, {860, 2050, 2850}, 1.0, 0.14, 0.50},
    {'a', SINGER_VOICED, {730, 1090, 2440}, {850, 1220, 2810}, 1.0, 0.16, 0.55},
    {'o', SINGER_VOICED, {570, 840, 2410}, {590, 920, 2710}, 1.0, 0.16, 0.55},
    {'w', SINGER_VOICED, {440, 1020, 2240}, {470, 1160, 2680}, 1.0, 0.12, 0.35},
    {'u', SINGER_VOICED, {300, 870, 2240}, {370, 950, 2670}, 1.0, 0.14, 0.45},
    {'v', SINGER_VOICED, {640, 1190, 2390}, {760, 1400, 2780}, 1.0, 0.12, 0.40},
    {'r', SINGER_VOICED, {490, 1350, 1690}, {500, 1640, 1960}, 1.0, 0.14, 0.45},
    {'m', SINGER_VOICED, {270, 1000, 2200}, {300, 1150, 2500}, 0.30, 0.05, 0.10},
    {'n', SINGER_VOICED, {270, 1350, 2500}, {300, 1550, 2850}, 0.30, 0.05, 0.10},
    {'l', SINGER_VOICED, {310, 1050, 2880}, {350, 1200, 3200}, 0.45, 0.05, 0.09},
    {'s', SINGER_S, {330, 1700, 2600}, {380, 1950, 2950}, 0.0, 0.07, 0.18},
    {'c', SINGER_SH, {330, 1850, 2600}, {380, 2150, 2950}, 0.0, 0.07, 0.16},
    {'z', SINGER_Z, {270, 1700, 2600}, {300, 1950, 2950}, 0.15, 0.06, 0.12},
    {'f', SINGER_F, {340, 1100, 2100}, {390, 1250, 2400}, 0.0, 0.06, 0.14},
    {'h', SINGER_H, {500, 1500, 2500}, {570, 1700, 2850}, 0.0, 0.05, 0.10},
    {'t', SINGER_T, {330, 1750, 2700}, {380, 2000, 3050}, 0.0, 0.03, 0.07},
    {'k', SINGER_K, {330, 1900, 2300}, {380, 2200, 2650}, 0.0, 0.03, 0.07},
    {'p', SINGER_P, {330, 950, 2200}, {380, 1100, 2500}, 0.0, 0.02, 0.05},
};

static const Sound *sound_of(char letter) {
    for (size_t i = 0; i < sizeof sounds / sizeof *sounds; i++)
        if (sounds[i].letter == letter)
            return &sounds[i];
    return NULL;
}

const char *singer_kind_name(SingerKind kind) {
    static const char *const names[SINGER_KINDS] = {"voiced", "s",       "sh",   "z",      "f",
                                                    "h",      "closure", "t",    "k",      "p",
                                                    "breath", "click",   "word", "phrase", "gap"};
    return names[kind];
}

/* ---- what sounds when ---- */

double singer_in_range(Random *random, SingerRange range) {
    return random_range(random, range.low, range.high);
}

/* A count with the given mean, 0, 1, 2 ... (geometric: clicks come in clusters). */
size_t singer_some(Random *random, double mean) {
    size_t count = 0;
    while (count < 6 && random_unit(random) < mean / (1.0 + mean))
        count++;
    return count;
}

static void put(Plan *plan, size_t *at, char letter) {
    if (*at + 1 < MAX_SCORE)
        plan->score[(*at)++] = letter;
}

static char pick(Random *random, const char *letters) {
    return letters[random_below(random, strlen(letters))];
}

/* Nonsense with the consonants in about the share they have in running speech; sibilants a little
 * more often, since they are what is to be judged. */
static void compose(Plan *plan) {
    Random *random = &plan->random;
    size_t at = 0;
    for (size_t p = 0; p < plan->params->phrases; p++) {
        size_t words = 2 + random_below(random, 4);
        for (size_t w = 0; w < words; w++) {
            size_t syllables = 1 + random_below(random, 3);
            for (size_t y = 0; y < syllables; y++) {
                if (random_unit(random) < 0.85)
                    put(plan, &at, pick(random, "ssssczzfhhttkkppmmnnnlll"));
                put(plan, &at, pick(random, "iyeqaaoowuvr"));
                if (random_unit(random) < (y + 1 == syllables ? 0.45 : 0.1))
                    put(plan, &at, pick(random, "ssscztttfknnmml"));
                if (y + 1 < syllables)
                    put(plan, &at, '-');
            }
            if (w + 1 < words)
                put(plan, &at, ' ');
        }
        if (p + 1 < plan->params->phrases)
            put(plan, &at, '/');
    }
    plan->score[at] = '\0';
}

/* The next note: a step or a small leap on a major scale within the singer's range. */
static double next_note(Plan *plan) {
    static const int scale[7] = {0, 2, 4, 5, 7, 9, 11};
    const SingerRange *range = &plan->params->note_hz;
    double top = floor(7.0 * log2(range->high / range->low));
    plan->degree += floor(random_range(&plan->random, -2.0, 3.0));
    plan->degree = fmin(fmax(plan->degree, 0.0), fmax(top, 0.0));
    int degree = (int)plan->degree;
    int semitones = 12 * (degree / 7) + scale[degree % 7];
    return fmin(range->low * pow(2.0, semitones / 12.0), range->high);
}

static Segment *add_segment(Plan *plan, const Sound *sound, SingerKind kind, double length_s) {
    if (plan->segments == MAX_SEGMENTS)
        return NULL;
    Segment *segment = &plan->segment[plan->segments++];
    *segment = (Segment){
        .sound = sound, .kind = kind, .start_s = plan->clock_s, .end_s = plan->clock_s + length_s};
    plan->clock_s += length_s;
    return segment;
}

static bool plan_sound(Plan *plan, const Sound *sound, double note_hz, double effort, bool last) {
    Random *random = &plan->random;
    double tempo = plan->params->tempo;
    double length_s = random_range(random, sound->low_s, sound->high_s) / tempo;
    if (singer_is_vowel(sound) && last) /* the last vowel of a phrase is held */
        length_s *= random_range(random, 1.5, 2.5);
    double closure_s = random_range(random, 0.04, 0.09) / tempo;
    if (singer_is_burst(sound->kind)) {
        Segment *closure = add_segment(plan, NULL, SINGER_CLOSURE, closure_s);
        if (!closure)
            return false;
        closure->note_hz = note_hz;
    }
    Segment *segment = add_segment(plan, sound, sound->kind, length_s);
    if (!segment)
        return false;
    segment->note_hz = note_hz;
    segment->effort = effort;
    segment->attack_s = random_range(random, 0.012, 0.03);
    segment->decay_s = random_range(random, 0.02, 0.05);
    segment->soft_start = random_unit(random) < 0.5;
    segment->burst_s = fmin(random_range(random, 0.005, 0.02), 0.6 * length_s);
    segment->level_db = singer_published_db(sound->kind) + 2.0 * random_normal(random);
    return true;
}

/* One syllable of the score; moves *text past it. */
static bool plan_syllable(Plan *plan, const char **text, double effort, bool last) {
    double note_hz = next_note(plan);
    size_t first = plan->segments, vowel = SIZE_MAX;
    for (; **text && !strchr("- /", **text); (*text)++) {
        const Sound *sound = sound_of(**text);
        if (!sound || !plan_sound(plan, sound, note_hz, effort, last))
            return false;
        if (singer_is_vowel(sound))
            vowel = plan->segments - 1;
    }
    for (size_t i = first; i < plan->segments && vowel != SIZE_MAX; i++)
        plan->segment[i].vowel = vowel;
    return vowel != SIZE_MAX;
}

/* Is the syllable at `text` the last of its phrase? */
static bool ends_phrase(const char *text) {
    text += strcspn(text, "- /");
    return *text == '\0' || *text == '/';
}

static bool plan_word(Plan *plan, const char **text) {
    if (plan->words == MAX_WORDS)
        return false;
    Word *word = &plan->word[plan->words++];
    size_t first = plan->segments;
    for (;;) {
        double effort = pow(10.0, random_range(&plan->random, -5.0, 1.0) / 20.0);
        if (!plan_syllable(plan, text, effort, ends_phrase(*text)))
            return false;
        if (**text != '-')
            break;
        (*text)++;
    }
    while (!plan->segment[first].sound) /* the closure before a first burst is not yet the word */
        first++;
    word->start_s = plan->segment[first].start_s;
    word->end_s = plan->clock_s;
    return true;
}

static void plan_breath(Plan *plan, Phrase *phrase) {
    Random *random = &plan->random;
    const SingerParams *params = plan->params;
    double length_s = singer_in_range(random, params->breath_s);
    double before_s = random_range(random, 0.12, 0.6);
    double after_s = random_range(random, 0.03, 0.15);
    double db = singer_in_range(random, params->breath_db);
    double rest_s = random_range(random, 0.25, 1.2);
    phrase->breath = random_unit(random) < params->breath_share;
    if (!phrase->breath) {
        plan->clock_s += rest_s;
        return;
    }
    phrase->breath_db = db;
    phrase->breath_start_s = plan->clock_s + before_s;
    phrase->breath_end_s = phrase->breath_start_s + length_s;
    plan->clock_s = phrase->breath_end_s + after_s;
}

static bool plan_phrase(Plan *plan, const char **text) {
    if (plan->phrases == MAX_PHRASES)
        return false;
    Random *random = &plan->random;
    Phrase *phrase = &plan->phrase[plan->phrases++];
    double spread = plan->params->level_spread_db;
    phrase->level_db = plan->params->level_db + random_range(random, -spread, spread);
    plan_breath(plan, phrase);
    phrase->start_s = plan->clock_s;
    phrase->first = plan->segments;
    for (;;) {
        if (!plan_word(plan, text))
            return false;
        if (**text != ' ')
            break;
        (*text)++;
        if (random_unit(random) < 0.5) { /* else the words are tied */
            Segment *pause =
                add_segment(plan, NULL, SINGER_CLOSURE, random_range(random, 0.03, 0.15));
            if (!pause)
                return false;
            pause->kind = SINGER_GAP;
            pause->note_hz = pause[-1].note_hz;
        }
    }
    phrase->last = plan->segments - 1;
    if (!plan->segment[phrase->first].sound)
        phrase->start_s = plan->segment[phrase->first].end_s;
    phrase->end_s = plan->clock_s;
    /* The end of a phrase is let go slowly. */
    Segment *end = &plan->segment[phrase->last];
    end->decay_s = fmin(random_range(random, 0.08, 0.35), 0.7 * (end->end_s - end->start_s));
    return true;
}

bool singer_plan(Plan *plan, const SingerParams *params) {
    plan->params = params;
    plan->random = random_seeded(params->seed);
    plan->degree = 3.0;
    const char *text = params->score;
    if (!text) {
        compose(plan);
        text = plan->score;
    }
    for (;;) {
        if (!plan_phrase(plan, &text))
            return false;
        if (*text == '\0')
            break;
        text++; /* the '/' */
    }
    plan->end_s = plan->clock_s + random_range(&plan->random, 0.4, 0.8);
    return true;
}

/* ---- the same, sung again ---- */

typedef struct {
    double at_s, shift_s;
} Shift;

/* Straight between shifts, which stand in the order of their times. */
static double shifted(const Shift *shift, size_t n, double s) {
    size_t next = 0;
    while (next < n && shift[next].at_s <= s)
        next++;
    if (next == 0 || next == n)
        return s + shift[next ? n - 1 : 0].shift_s;
    const Shift *a = &shift[next - 1], *b = &shift[next];
    return s + a->shift_s + (s - a->at_s) / (b->at_s - a->at_s) * (b->shift_s - a->shift_s);
}

/* Where each word begins, and where each phrase ends. A stretch becomes at most 0.35 longer or
 * shorter than it was. */
static size_t draw_shifts(const Plan *plan, Random *random, Shift *shift) {
    const double most = 0.35, loose_s = plan->params->loose_s;
    size_t n = 0, phrase = 0;
    for (size_t i = 0; i <= plan->words; i++) {
        double start_s = i < plan->words ? plan->word[i].start_s : plan->end_s;
        for (int end = 1; end >= 0; end--) {
            double at_s = end ? plan->phrase[phrase].end_s : start_s;
            if (end && (phrase == plan->phrases || at_s > start_s))
                continue;
            phrase += end != 0;
            double last_s = n ? shift[n - 1].shift_s : 0.0;
            double room_s = most * (at_s - (n ? shift[n - 1].at_s : 0.0));
            double wish_s = random_range(random, -loose_s, loose_s);
            shift[n++] = (Shift){at_s, fmin(fmax(wish_s, last_s - room_s), last_s + room_s)};
        }
    }
    return n;
}

static void shift_all(Plan *plan, const Shift *shift, size_t n) {
    for (size_t i = 0; i < plan->segments; i++) {
        plan->segment[i].start_s = shifted(shift, n, plan->segment[i].start_s);
        plan->segment[i].end_s = shifted(shift, n, plan->segment[i].end_s);
    }
    for (size_t i = 0; i < plan->words; i++) {
        plan->word[i].start_s = shifted(shift, n, plan->word[i].start_s);
        plan->word[i].end_s = shifted(shift, n, plan->word[i].end_s);
    }
    for (size_t p = 0; p < plan->phrases; p++) {
        Phrase *phrase = &plan->phrase[p];
        phrase->start_s = shifted(shift, n, phrase->start_s);
        phrase->end_s = shifted(shift, n, phrase->end_s);
        phrase->breath_start_s = shifted(shift, n, phrase->breath_start_s);
        phrase->breath_end_s = shifted(shift, n, phrase->breath_end_s);
    }
    plan->end_s = shifted(shift, n, plan->end_s);
}

/* Sounds within a word: the border of two moves by up to a tenth of the shorter one. */
static void move_borders(Plan *plan, Random *random) {
    for (size_t i = 0, word = 0; i + 1 < plan->segments; i++) {
        Segment *a = &plan->segment[i], *b = &plan->segment[i + 1];
        double border_s = a->end_s;
        while (word + 1 < plan->words && plan->word[word + 1].start_s < border_s + 1e-6)
            word++;
        if (b->start_s > border_s + 1e-6 || border_s > plan->word[word].end_s - 1e-6 ||
            border_s < plan->word[word].start_s + 1e-6)
            continue;
        double shorter_s = fmin(border_s - a->start_s, b->end_s - border_s);
        a->end_s = b->start_s = border_s + random_range(random, -0.1, 0.1) * shorter_s;
    }
}

bool singer_plan_again(Plan *plan) {
    Random random = random_seeded(plan->params->again);
    Shift *shift = calloc(plan->words + plan->phrases + 2, sizeof *shift);
    if (!shift)
        return false;
    shift_all(plan, shift, draw_shifts(plan, &random, shift));
    move_borders(plan, &random);
    for (size_t p = 0; p < plan->phrases; p++)
        plan->phrase[p].level_db += random_range(&random, -1.0, 1.0);
    free(shift);
    return true;
}
