/* SPDX-License-Identifier: ISC */
#include "singer.h"

#include "signals.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

enum {
    FORMANTS = 5,        /* moved by the score; the higher ones stand still */
    RESONATORS = 40,     /* enough for 0.46 of 60 kHz */
    CONTROL_HZ = 1000,   /* grid on which the score is drawn */
    OVERSAMPLE = 4,      /* of the glottal source */
    DECIMATOR_TAPS = 64, /* at the oversampled rate */
    HOLD = 8,            /* frames between two designs of the tilt */
};

/* ---- What is known of the sounds ---- */

typedef struct {
    char letter;
    SingerKind kind;
    double man[3], woman[3]; /* F1..F3, Hz */
    double level;            /* voicing amplitude, 1 = open vowel */
    double low_s, high_s;    /* how long it lasts */
} Sound;

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

/* Friction: two poles and a zero, Hz for a man; women's lie higher by `raise`. */
typedef struct {
    double pole[2], width[2], zero_hz, zero_width, cut_hz, raise, level_db;
} Friction;

static const Friction friction_s = {{5600, 7000}, {1200, 3500}, 1500, 2500, 1600, 1.12, -11.0};
static const Friction friction_sh = {{3250, 4900}, {650, 2700}, 1500, 1600, 1350, 1.16, -9.9};
static const Friction friction_f = {{7200, 12000}, {5000, 9000}, 900, 2500, 500, 1.08, -20.8};
/* Bursts. The levels are those of a burst of some 10 ms against the vowel; from memory. */
static const Friction burst_t = {{4200, 6500}, {1800, 3000}, 1500, 1500, 1500, 1.15, -12.0};
static const Friction burst_k = {{1900, 4200}, {500, 1800}, 600, 1500, 700, 1.15, -13.0};
static const Friction burst_p = {{900, 2600}, {1800, 6000}, 12000, 12000, 250, 1.10, -16.0};
/* The friction of /z/ alone; with its voicing the whole is near the published -9 dB. */
static const double z_friction_db = -13.0;

static const Sound *sound_of(char letter) {
    for (size_t i = 0; i < sizeof sounds / sizeof *sounds; i++)
        if (sounds[i].letter == letter)
            return &sounds[i];
    return NULL;
}

static bool is_vowel(const Sound *sound) {
    return sound->kind == SINGER_VOICED && sound->level == 1.0;
}

static bool is_burst(SingerKind kind) {
    return kind == SINGER_T || kind == SINGER_K || kind == SINGER_P;
}

const char *singer_kind_name(SingerKind kind) {
    static const char *const names[SINGER_KINDS] = {"voiced", "s",       "sh",   "z",      "f",
                                                    "h",      "closure", "t",    "k",      "p",
                                                    "breath", "click",   "word", "phrase", "gap"};
    return names[kind];
}

/* ---- The plan: what sounds when, in seconds ---- */

typedef struct {
    const Sound *sound; /* NULL: silence */
    SingerKind kind;
    double start_s, end_s;
    double note_hz;
    double effort;            /* amplitude the syllable is sung at, about 1 */
    double level_db;          /* of friction over the vowel */
    size_t vowel;             /* the segment that its level is measured against */
    double attack_s, decay_s; /* of voicing, where a neighbour is not voiced */
    bool soft_start;          /* breathy, slow start */
    double burst_s;           /* of a plosive */
} Segment;

typedef struct {
    size_t first, last; /* segments, last included */
    double start_s, end_s;
    double level_db; /* dBFS */
    bool breath;
    double breath_start_s, breath_end_s, breath_db;
} Phrase;

typedef struct {
    double start_s, end_s;
} Word;

enum { MAX_SEGMENTS = 4000, MAX_PHRASES = 200, MAX_WORDS = 1500, MAX_SCORE = 8000 };

typedef struct {
    const SingerParams *params;
    Random random;
    char score[MAX_SCORE];
    Segment segment[MAX_SEGMENTS];
    Phrase phrase[MAX_PHRASES];
    Word word[MAX_WORDS];
    size_t segments, phrases, words;
    double clock_s, end_s;
    double degree; /* of the scale, where the melody is */
} Plan;

static double in_range(Random *random, SingerRange range) {
    return random_range(random, range.low, range.high);
}

/* A count with the given mean, 0, 1, 2 ... (geometric: clicks come in clusters). */
static size_t some(Random *random, double mean) {
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

static double published_level_db(SingerKind kind) {
    switch (kind) {
    case SINGER_S:
        return friction_s.level_db;
    case SINGER_SH:
        return friction_sh.level_db;
    case SINGER_Z:
        return z_friction_db;
    case SINGER_F:
        return friction_f.level_db;
    case SINGER_T:
        return burst_t.level_db;
    case SINGER_K:
        return burst_k.level_db;
    case SINGER_P:
        return burst_p.level_db;
    default:
        return 0.0;
    }
}

static bool plan_sound(Plan *plan, const Sound *sound, double note_hz, double effort, bool last) {
    Random *random = &plan->random;
    double tempo = plan->params->tempo;
    double length_s = random_range(random, sound->low_s, sound->high_s) / tempo;
    if (is_vowel(sound) && last) /* the last vowel of a phrase is held */
        length_s *= random_range(random, 1.5, 2.5);
    double closure_s = random_range(random, 0.04, 0.09) / tempo;
    if (is_burst(sound->kind)) {
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
    segment->level_db = published_level_db(sound->kind) + 2.0 * random_normal(random);
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
        if (is_vowel(sound))
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
    double length_s = in_range(random, params->breath_s);
    double before_s = random_range(random, 0.12, 0.6);
    double after_s = random_range(random, 0.03, 0.15);
    double db = in_range(random, params->breath_db);
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

static bool make_plan(Plan *plan, const SingerParams *params) {
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

/* ---- The same plan, sung again ---- */

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

static bool sing_again(Plan *plan) {
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

/* ---- The plan drawn as curves on a 1 ms grid ---- */

typedef struct {
    double pitch;      /* log2 Hz */
    double voicing;    /* amplitude */
    double aspiration; /* amplitude of noise at the glottis, beside that of voicing */
    double formant[FORMANTS];
} Control;

static size_t grid(double s) {
    return (size_t)(s * CONTROL_HZ + 0.5);
}

/* Replaces a curve by its mean under a raised cosine of `width` points: what moves takes time. */
static void smooth(double *curve, size_t stride, size_t n, size_t width, double *scratch) {
    for (size_t i = 0; i < n; i++)
        scratch[i] = curve[i * stride];
    for (size_t i = 0; i < n; i++) {
        double sum = 0.0, weight = 0.0;
        for (size_t k = 0; k <= width; k++) {
            size_t at = i + k;
            if (at < width / 2 || at - width / 2 >= n)
                continue;
            double w = 0.5 - 0.5 * cos(2.0 * pi * ((double)k + 0.5) / (double)(width + 1));
            sum += w * scratch[at - width / 2];
            weight += w;
        }
        curve[i * stride] = sum / weight;
    }
}

static double mixed(double man, double woman, double womanhood) {
    return man * pow(woman / man, womanhood);
}

static void formants_of(const SingerParams *params, const Sound *sound, double note_hz,
                        double *formant) {
    for (int k = 0; k < 3; k++)
        formant[k] = mixed(sound->man[k], sound->woman[k], params->womanhood);
    formant[3] = mixed(3500.0, 4100.0, params->womanhood);
    formant[4] = mixed(4500.0, 5100.0, params->womanhood);
    /* A singer opens the jaw so that the first formant does not fall below the pitch (Sundberg, The
     * Science of the Singing Voice, 1987; from memory). */
    formant[0] = fmax(formant[0], 1.05 * note_hz);
    formant[1] = fmax(formant[1], formant[0] + 200.0);
}

/* Formants and pitch of every grid point: steps first. Silence keeps the next sound's. */
static void draw_steps(const Plan *plan, Control *control, size_t n) {
    size_t at = 0;
    double formant[FORMANTS] = {0.0};
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        const Sound *sound = segment->sound;
        for (size_t k = i; !sound && k < plan->segments; k++)
            sound = plan->segment[k].sound;
        if (sound)
            formants_of(plan->params, sound, segment->note_hz, formant);
        if (sound && segment->kind == SINGER_H) /* /h/ has the shape of its vowel */
            formants_of(plan->params, plan->segment[segment->vowel].sound, segment->note_hz,
                        formant);
        size_t end = i + 1 == plan->segments ? n : grid(segment->end_s);
        for (; at < end && at < n; at++) {
            memcpy(control[at].formant, formant, sizeof formant);
            control[at].pitch = log2(segment->note_hz);
        }
    }
}

static bool is_voiced(const Segment *segment) {
    return segment->kind == SINGER_VOICED || segment->kind == SINGER_Z;
}

/* Does segment i begin where the one before it ends? The first of a phrase does not. */
static bool is_tied(const Plan *plan, size_t i) {
    return i > 0 && i < plan->segments &&
           plan->segment[i].start_s < plan->segment[i - 1].end_s + 1e-6;
}

/* Voiced segments i..end-1 follow each other without a pause; returns end. */
static size_t voiced_run(const Plan *plan, size_t i) {
    size_t end = i;
    while (end < plan->segments && is_voiced(&plan->segment[end]) &&
           (end == i || is_tied(plan, end)))
        end++;
    return end;
}

static double fade(double t, double length) {
    if (t <= 0.0)
        return 0.0;
    return t >= length ? 1.0 : 0.5 - 0.5 * cos(pi * t / length);
}

/* The steps of amplitude within a run are smoothed at the end of draw_voicing; the run's own fades
 * are kept apart so that voicing is exactly nothing outside the label. */
static void draw_voicing(const Plan *plan, Control *control, double *envelope, size_t n) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x766f6963));
    double noise = pow(10.0, plan->params->aspiration_db / 20.0);
    for (size_t i = 0; i < plan->segments;) {
        size_t end = voiced_run(plan, i);
        if (end == i) {
            i++;
            continue;
        }
        const Segment *first = &plan->segment[i], *last = &plan->segment[end - 1];
        /* Nothing sounds before it: the voice may set in slowly. */
        bool open = !is_tied(plan, i) || plan->segment[i - 1].kind == SINGER_GAP;
        bool soft = open && first->soft_start;
        double attack_s = soft ? random_range(&random, 0.04, 0.12) : first->attack_s;
        for (size_t k = i; k < end; k++) {
            const Segment *segment = &plan->segment[k];
            for (size_t at = grid(segment->start_s); at < grid(segment->end_s) && at < n; at++)
                control[at].voicing = segment->sound->level * segment->effort;
        }
        for (size_t at = grid(first->start_s); at < grid(last->end_s) && at < n; at++) {
            double t = (double)at / CONTROL_HZ;
            double rise = fade(t - first->start_s, attack_s);
            double fall = fade(last->end_s - t, last->decay_s);
            /* Letting go of a note: squared, so that it ends quietly. */
            envelope[at] = rise * fall * fall;
            control[at].aspiration = noise * envelope[at];
            if (soft)
                control[at].aspiration += 0.1 * rise * (1.0 - fade(t - first->start_s, 0.16));
        }
        i = end;
    }
}

/* No voice holds a level: a slow unrest of about 1 dB, and each vowel swells and sinks. */
static void draw_unrest(const Plan *plan, double *envelope, size_t n) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x756e7265));
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        double swell_db = random_range(&random, 1.0, 5.0), top = random_range(&random, 0.2, 0.6);
        if (!segment->sound || !is_vowel(segment->sound))
            continue;
        for (size_t at = grid(segment->start_s); at < grid(segment->end_s) && at < n; at++) {
            double x =
                ((double)at / CONTROL_HZ - segment->start_s) / (segment->end_s - segment->start_s);
            double away = x < top ? (top - x) / top : (x - top) / (1.0 - top);
            envelope[at] *= pow(10.0, -swell_db * away * away / 20.0);
        }
    }
    double drift = 0.0;
    for (size_t at = 0; at < n; at++) {
        drift += 0.01 * (14.0 * random_normal(&random) - drift); /* 1 dB deviation, tau 0.1 s */
        envelope[at] *= pow(10.0, drift / 20.0);
    }
}

static void draw_aspiration(const Plan *plan, Control *control, size_t n) {
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        double peak = segment->kind == SINGER_H ? 0.12 : is_burst(segment->kind) ? 0.06 : 0.0;
        double start_s = segment->start_s, end_s = segment->end_s;
        if (is_burst(segment->kind)) /* after the burst, and into the vowel */
            start_s += 0.5 * segment->burst_s;
        for (size_t at = grid(start_s); peak > 0.0 && at < grid(end_s) && at < n; at++) {
            double t = (double)at / CONTROL_HZ;
            double shape = fade(t - start_s, 0.02) * fade(end_s - t, 0.015);
            control[at].aspiration += peak * shape * segment->effort;
        }
    }
}

/* Vibrato grows on a held note; a slow drift never stops. */
static void draw_vibrato(const Plan *plan, Control *control, size_t n, double *scratch) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x7669626f));
    double phase = random_range(&random, 0.0, 2.0 * pi);
    for (size_t at = 0; at < n; at++)
        scratch[at] = 0.0;
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        if (!segment->sound || !is_vowel(segment->sound))
            continue;
        for (size_t at = grid(segment->start_s); at < grid(segment->end_s) && at < n; at++)
            scratch[at] = fade((double)at / CONTROL_HZ - segment->start_s - 0.1, 0.3);
    }
    double drift = 0.0;
    for (size_t at = 0; at < n; at++) {
        double hz = plan->params->vibrato_hz * (1.0 + 0.05 * sin(0.7 * (double)at / CONTROL_HZ));
        phase += 2.0 * pi * hz / CONTROL_HZ;
        drift += 0.004 * (6.0 * random_normal(&random) * 11.0 - drift); /* cents, tau 0.25 s */
        double cents = plan->params->vibrato_cents * scratch[at] * sin(phase) + 0.15 * drift;
        control[at].pitch += cents / 1200.0;
    }
}

static bool draw(const Plan *plan, Control *control, size_t n) {
    double *scratch = calloc(2 * n, sizeof *scratch);
    if (!scratch)
        return false;
    double *envelope = scratch + n;
    const size_t stride = sizeof *control / sizeof(double);
    draw_steps(plan, control, n);
    for (int k = 0; k < FORMANTS; k++)
        smooth(&control[0].formant[k], stride, n, 60, scratch);
    smooth(&control[0].pitch, stride, n, 100, scratch);
    draw_vibrato(plan, control, n, scratch);
    draw_voicing(plan, control, envelope, n);
    smooth(&control[0].voicing, stride, n, 24, scratch);
    draw_unrest(plan, envelope, n);
    for (size_t i = 0; i < n; i++)
        control[i].voicing *= envelope[i];
    draw_aspiration(plan, control, n);
    free(scratch);
    return true;
}

/* ---- The voice ---- */

typedef struct {
    double rate_hz;
    double phase, period_ratio, height; /* of the glottal cycle now running */
    double flow, dulled;                /* last flow, tilt filter */
    double ring[2 * DECIMATOR_TAPS];    /* everything twice, so that the last taps lie in a row */
    size_t write;
} Glottis;

/* y = a x + b y1 + c y2, Klatt 1980 */
typedef struct {
    double a, b, c, y1, y2;
} Resonator;

static void resonator_tune(Resonator *r, double rate_hz, double hz, double width_hz) {
    double radius = exp(-pi * width_hz / rate_hz);
    r->c = -radius * radius;
    r->b = 2.0 * radius * cos(2.0 * pi * hz / rate_hz);
    r->a = 1.0 - r->b - r->c;
}

static double resonator_step(Resonator *r, double x) {
    double y = r->a * x + r->b * r->y1 + r->c * r->y2;
    r->y2 = r->y1;
    r->y1 = y;
    return y;
}

static void decimator_design(double *tap) {
    double sum = 0.0;
    for (int i = 0; i < DECIMATOR_TAPS; i++) {
        double t = (double)i - 0.5 * (DECIMATOR_TAPS - 1);
        double x = pi * t * 0.92 / OVERSAMPLE;
        double window = 0.42 - 0.5 * cos(2.0 * pi * (i + 0.5) / DECIMATOR_TAPS) +
                        0.08 * cos(4.0 * pi * (i + 0.5) / DECIMATOR_TAPS); /* Blackman */
        tap[i] = window * sin(x) / x;
        sum += tap[i];
    }
    for (int i = 0; i < DECIMATOR_TAPS; i++)
        tap[i] /= sum;
}

/* One frame of the source: the slope of the flow, whose RMS does not depend on the pitch.
 * *openness is the flow, 0..1. */
static double glottis_step(Glottis *g, const SingerParams *params, Random *random,
                           const double *tap, double f0_hz, double tilt, double *openness) {
    for (int i = 0; i < OVERSAMPLE; i++) {
        double step = f0_hz * g->period_ratio / (g->rate_hz * OVERSAMPLE);
        g->phase += step;
        if (g->phase >= 1.0) {
            g->phase -= 1.0;
            g->period_ratio = 1.0 + params->jitter * random_normal(random);
            g->height = pow(10.0, params->shimmer_db * random_normal(random) / 20.0);
        }
        double x = g->phase / params->open_quotient;
        double flow = x < 1.0 ? 6.75 * x * x * (1.0 - x) * g->height : 0.0;
        double slope = (flow - g->flow) / step;
        g->flow = flow;
        g->dulled += tilt * (slope - g->dulled);
        g->ring[g->write] = g->ring[g->write + DECIMATOR_TAPS] = g->dulled;
        g->write = (g->write + 1) % DECIMATOR_TAPS;
    }
    double sum = 0.0;
    for (size_t k = 0; k < DECIMATOR_TAPS; k++)
        sum += tap[k] * g->ring[g->write + k];
    *openness = fmin(g->flow, 1.0);
    return sum;
}

static Control control_at(const Control *control, size_t n, double s) {
    double at = s * CONTROL_HZ;
    size_t i = (size_t)at;
    if (i + 1 >= n)
        return control[n - 1];
    double f = at - (double)i;
    const Control *a = &control[i], *b = &control[i + 1];
    Control c = {a->pitch + f * (b->pitch - a->pitch),
                 a->voicing + f * (b->voicing - a->voicing),
                 a->aspiration + f * (b->aspiration - a->aspiration),
                 {0.0}};
    for (int k = 0; k < FORMANTS; k++)
        c.formant[k] = a->formant[k] + f * (b->formant[k] - a->formant[k]);
    return c;
}

/* The resonances that move are tuned every frame: a step every few frames would be heard as a tone
 * at the rate of the steps. The cascade takes the lowest, the highest, the second lowest, the
 * second highest ...: each pair passes about as much as it takes, while twenty high ones in a row
 * would raise what lies between them by hundreds of dB, and the rounding of the low ones with it.
 */
typedef struct {
    Resonator resonator[RESONATORS];
    double radius[FORMANTS];
    size_t count; /* those below 0.46 of the rate */
    double rate_hz;
} Tract;

static void tract_prepare(Tract *tract, double rate_hz, double womanhood) {
    static const double width_hz[FORMANTS] = {70.0, 95.0, 150.0, 220.0, 280.0};
    double spacing = mixed(1000.0, 1150.0, womanhood);
    *tract = (Tract){.rate_hz = rate_hz};
    for (int k = 0; k < FORMANTS; k++)
        tract->radius[k] = exp(-pi * width_hz[k] / rate_hz);
    for (size_t k = 0; k < RESONATORS; k++) {
        double hz = ((double)k + 0.5) * spacing;
        if (hz > 0.46 * rate_hz)
            break;
        resonator_tune(&tract->resonator[k], rate_hz, hz, 150.0 + 0.03 * hz);
        tract->count = k + 1;
    }
}

static double tract_step(Tract *tract, const double *formant, double x) {
    for (size_t k = 0; k < tract->count; k++) {
        Resonator *r = &tract->resonator[k];
        if (k < FORMANTS) {
            double hz = fmin(formant[k], 0.46 * tract->rate_hz);
            r->c = -tract->radius[k] * tract->radius[k];
            r->b = 2.0 * tract->radius[k] * cos(2.0 * pi * hz / tract->rate_hz);
            r->a = 1.0 - r->b - r->c;
        }
        x = resonator_step(r, x);
    }
    return x;
}

/* n frames of the voice at rate_hz. */
static void render_voice_at(const SingerParams *params, const Control *control, size_t points,
                            double rate_hz, float *voice, size_t n) {
    Random pulse = random_seeded(params->seed ^ UINT64_C(0x70756c73));
    Random noise = random_seeded(params->seed ^ UINT64_C(0x61737069));
    double tap[DECIMATOR_TAPS];
    decimator_design(tap);
    Glottis glottis = {.rate_hz = rate_hz, .period_ratio = 1.0, .height = 1.0};
    Tract tract;
    tract_prepare(&tract, rate_hz, params->womanhood);
    double tilt = 0.0, noise_gain = sqrt(rate_hz / 48000.0);
    for (size_t i = 0; i < n; i++) {
        Control now = control_at(control, points, (double)i / rate_hz);
        if (i % HOLD == 0) {
            double hz = params->tilt_hz * (0.3 + 0.7 * fmin(now.voicing, 1.2));
            tilt = 1.0 - exp(-2.0 * pi * hz / (rate_hz * OVERSAMPLE));
        }
        double openness, f0_hz = exp2(now.pitch);
        double source =
            now.voicing * glottis_step(&glottis, params, &pulse, tap, f0_hz, tilt, &openness);
        double modulation = now.voicing > 0.0 ? 0.3 + 1.4 * openness : 1.0;
        source += noise_gain * now.aspiration * modulation * random_normal(&noise);
        voice[i] = (float)tract_step(&tract, now.formant, source);
    }
}

enum { RAISE_TAPS = 64, RAISE_MOST = 4 };

/* Raises the rate by a whole number up to RAISE_MOST: a sinc of 64 points of `in`, Hann window. */
static void raise_rate(const float *in, size_t n, size_t factor, float *out, size_t n_out) {
    double tap[RAISE_MOST][RAISE_TAPS];
    for (size_t phase = 0; phase < factor; phase++)
        for (int k = 0; k < RAISE_TAPS; k++) {
            int before = RAISE_TAPS / 2 - 1 - k;
            double t = (double)phase / (double)factor + before, x = pi * t;
            double sinc = fabs(x) < 1e-12 ? 1.0 : sin(x) / x;
            tap[phase][k] = sinc * (0.5 + 0.5 * cos(2.0 * pi * t / (RAISE_TAPS + 2)));
        }
    for (size_t i = 0; i < n_out; i++) {
        double sum = 0.0;
        for (size_t k = 0; k < RAISE_TAPS; k++) {
            size_t at = i / factor + k; /* of the frame, and RAISE_TAPS / 2 - 1 more */
            if (at >= RAISE_TAPS / 2 - 1 && at - (RAISE_TAPS / 2 - 1) < n)
                sum += tap[i % factor][k] * (double)in[at - (RAISE_TAPS / 2 - 1)];
        }
        out[i] = (float)sum;
    }
}

/* Above 60 kHz the voice is made at a whole fraction of the rate: with more than some thirty
 * resonances in one cascade, the upper ones together would raise the rounding errors of the lower
 * ones by more than double precision bears. A voice has nothing to say up there. */
static bool render_voice(const SingerParams *params, const Control *control, size_t points,
                         SingerTake *take) {
    for (size_t i = 0; i < take->n; i++) {
        Control now = control_at(control, points, (double)i / take->rate_hz);
        take->f0_hz[i] = now.voicing > 0.0 ? (float)exp2(now.pitch) : 0.0f;
    }
    size_t factor = (size_t)ceil(take->rate_hz / 60000.0);
    double rate_hz = take->rate_hz / (double)factor;
    size_t n = take->n / factor + 1;
    if (factor == 1) {
        render_voice_at(params, control, points, rate_hz, take->stem[SINGER_STEM_VOICE], take->n);
        return true;
    }
    float *voice = malloc(n * sizeof *voice);
    if (!voice)
        return false;
    render_voice_at(params, control, points, rate_hz, voice, n);
    raise_rate(voice, n, factor, take->stem[SINGER_STEM_VOICE], take->n);
    free(voice);
    return true;
}

/* ---- Frames, labels, levels ---- */

static size_t frame(const SingerTake *take, double s) {
    size_t at = (size_t)(s * take->rate_hz + 0.5);
    return at < take->n ? at : take->n;
}

static bool label(SingerTake *take, SingerKind kind, size_t start, size_t end, double value) {
    SingerLabel *grown = realloc(take->labels, (take->n_labels + 1) * sizeof *grown);
    if (!grown)
        return false;
    take->labels = grown;
    take->labels[take->n_labels++] = (SingerLabel){kind, start, end, value};
    return true;
}

static double rms_between(const float *audio, size_t start, size_t end) {
    return end > start ? signals_rms(audio + start, end - start) : 0.0;
}

/* RMS of the loudest 30 ms of a vowel: what the published levels of fricatives are given against
 * (there, three pitch periods where the vowel is largest). */
static double loudest_rms(const SingerTake *take, size_t start, size_t end) {
    const float *voice = take->stem[SINGER_STEM_VOICE];
    size_t length = (size_t)(0.03 * take->rate_hz);
    double loudest = rms_between(voice, start, end);
    for (size_t at = start; at + length <= end; at += length / 3)
        loudest = fmax(loudest, signals_rms(voice + at, length));
    return loudest;
}

/* RMS of the voiced parts of a phrase. */
static double phrase_rms(const Plan *plan, const Phrase *phrase, const SingerTake *take) {
    double power = 0.0;
    size_t frames = 0;
    for (size_t i = phrase->first; i <= phrase->last; i++) {
        const Segment *segment = &plan->segment[i];
        if (segment->kind != SINGER_VOICED)
            continue;
        size_t start = frame(take, segment->start_s), end = frame(take, segment->end_s);
        double rms = rms_between(take->stem[SINGER_STEM_VOICE], start, end);
        power += rms * rms * (double)(end - start);
        frames += end - start;
    }
    return frames ? sqrt(power / (double)frames) : 0.0;
}

/* Phrases lie apart by gaps in which the voice stem is silent, so a step of gain is harmless. */
static bool set_levels(const Plan *plan, SingerTake *take) {
    size_t from = 0;
    for (size_t p = 0; p < plan->phrases; p++) {
        const Phrase *phrase = &plan->phrase[p];
        double gain = pow(10.0, phrase->level_db / 20.0) / phrase_rms(plan, phrase, take);
        size_t to = take->n;
        if (p + 1 < plan->phrases)
            to = frame(take, 0.5 * (phrase->end_s + plan->phrase[p + 1].start_s));
        signals_scale(take->stem[SINGER_STEM_VOICE] + from, to - from, gain);
        from = to;
        size_t start = frame(take, phrase->start_s), end = frame(take, phrase->end_s);
        if (!label(take, SINGER_PHRASE, start, end, phrase->level_db))
            return false;
    }
    return true;
}

/* ---- Noises ---- */

typedef struct {
    Resonator pole[2];
    double z1, z2, n0, n1, n2; /* the zero: y = n0 x + n1 x1 + n2 x2 */
    SignalsBiquad cut;
} FrictionFilter;

static FrictionFilter friction_filter(const Friction *f, const SingerParams *params,
                                      Random *random) {
    FrictionFilter filter = {.z1 = 0.0};
    double rate_hz = params->rate_hz;
    double scale = pow(f->raise, params->womanhood) * random_range(random, 0.95, 1.05);
    for (int k = 0; k < 2; k++) {
        double hz = fmin(f->pole[k] * scale, 0.42 * rate_hz);
        resonator_tune(&filter.pole[k], rate_hz, hz, f->width[k] * random_range(random, 0.8, 1.25));
    }
    Resonator zero = {0};
    resonator_tune(&zero, rate_hz, fmin(f->zero_hz * scale, 0.45 * rate_hz), f->zero_width);
    filter.n0 = 1.0;
    filter.n1 = -zero.b;
    filter.n2 = -zero.c;
    filter.cut = signals_high_pass(rate_hz, fmin(f->cut_hz * scale, 0.4 * rate_hz), 0.7);
    return filter;
}

static double friction_step(FrictionFilter *f, double x) {
    double y = f->n0 * x + f->n1 * f->z1 + f->n2 * f->z2;
    f->z2 = f->z1;
    f->z1 = x;
    y = resonator_step(&f->pole[1], resonator_step(&f->pole[0], y));
    return signals_biquad_step(&f->cut, y);
}

/* Adds noise of the shape over start..end; the RMS between the fades' midpoints is `rms`. */
static bool render_friction(const Friction *f, const SingerParams *params, SingerStem stem,
                            size_t start, size_t end, double rise_s, double fall_s, double rms,
                            const float *voicing, SingerTake *take, Random *random) {
    size_t n = end - start;
    float *noise = malloc((n + 1) * sizeof *noise);
    if (!noise)
        return false;
    FrictionFilter filter = friction_filter(f, params, random);
    for (size_t i = 0; i < 400; i++)
        (void)friction_step(&filter, random_normal(random));
    double wobble = 0.0, slow = 1.0 - exp(-1.0 / (0.01 * take->rate_hz));
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / take->rate_hz, left = (double)(n - i) / take->rate_hz;
        wobble += slow * (random_normal(random) / sqrt(slow) - wobble);
        double shape = fade(t, rise_s) * fade(left, fall_s) * pow(10.0, 0.05 * wobble);
        if (voicing) /* friction of a voiced fricative breathes with the glottis */
            shape *= 1.0 + 0.5 * sin(2.0 * pi * (double)voicing[start] * t);
        noise[i] = (float)(shape * friction_step(&filter, random_normal(random)));
    }
    size_t edge = (size_t)(0.5 * rise_s * take->rate_hz),
           tail = (size_t)(0.5 * fall_s * take->rate_hz);
    double got = n > edge + tail ? signals_rms(noise + edge, n - edge - tail) : 0.0;
    if (got > 0.0) {
        signals_scale(noise, n, rms / got);
        signals_add(take->stem[stem] + start, noise, n);
    }
    free(noise);
    return true;
}

static bool render_consonant(const SingerParams *params, const Segment *segment, double vowel_rms,
                             SingerTake *take, Random *random) {
    size_t start = frame(take, segment->start_s), end = frame(take, segment->end_s);
    double length_s = segment->end_s - segment->start_s;
    double rise_s = fmin(0.02, 0.3 * length_s), fall_s = fmin(0.015, 0.3 * length_s);
    double db = segment->level_db;
    SingerStem stem = SINGER_STEM_SIBILANTS;
    const Friction *f = &friction_s;
    const float *voicing = NULL;
    switch (segment->kind) {
    case SINGER_S:
        break;
    case SINGER_SH:
        f = &friction_sh;
        rise_s *= 0.5;
        break;
    case SINGER_Z:
        voicing = take->f0_hz;
        break;
    case SINGER_F:
        f = &friction_f;
        stem = SINGER_STEM_CONSONANTS;
        break;
    case SINGER_T:
    case SINGER_K:
    case SINGER_P:
        f = segment->kind == SINGER_T ? &burst_t : segment->kind == SINGER_K ? &burst_k : &burst_p;
        stem = SINGER_STEM_CONSONANTS;
        rise_s = 0.0005;
        fall_s = 0.7 * segment->burst_s;
        end = frame(take, segment->start_s + segment->burst_s);
        break;
    default:
        return true;
    }
    if (stem == SINGER_STEM_SIBILANTS)
        db += params->sibilants_db;
    return render_friction(f, params, stem, start, end, rise_s, fall_s,
                           vowel_rms * pow(10.0, db / 20.0), voicing, take, random);
}

static bool render_consonants(const Plan *plan, SingerTake *take) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x66726963));
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        const Segment *vowel = &plan->segment[segment->vowel];
        size_t start = frame(take, segment->start_s), end = frame(take, segment->end_s);
        double value = segment->kind == SINGER_VOICED ? segment->note_hz : segment->level_db;
        if (segment->kind == SINGER_GAP) /* between two words */
            continue;
        if (segment->kind == SINGER_CLOSURE || segment->kind == SINGER_H)
            value = 0.0;
        if (!label(take, segment->kind, start, end, value))
            return false;
        double vowel_rms =
            loudest_rms(take, frame(take, vowel->start_s), frame(take, vowel->end_s));
        if (segment->kind != SINGER_VOICED &&
            !render_consonant(plan->params, segment, vowel_rms, take, &random))
            return false;
    }
    return true;
}

/* ---- Breaths and room ---- */

/* The air way of one breath: a falling spectrum and a few peaks, which drift as the mouth moves. */
enum { BREATH_PEAKS = 5 };

typedef struct {
    double hz[BREATH_PEAKS], q[BREATH_PEAKS], weight[BREATH_PEAKS], drift[BREATH_PEAKS];
    SignalsBiquad peak[BREATH_PEAKS];
    SignalsBiquad cut;
    double a, b; /* of the two one-poles that make the spectrum fall */
    double body, soft;
} AirWay;

/* No two breaths are alike: how narrow and how strong the peaks are is drawn for each. In one of
 * four the second peak, near 1.6 kHz, is narrow enough to whistle. */
static AirWay air_way(const SingerParams *params, Random *random) {
    static const double centre_hz[BREATH_PEAKS] = {650.0, 1600.0, 2550.0, 3400.0, 4500.0};
    static const double most[BREATH_PEAKS] = {1.2, 2.0, 1.4, 1.0, 1.0};
    double scale = pow(1.1, params->womanhood) * random_range(random, 0.9, 1.1);
    double rate_hz = params->rate_hz, fall_hz = random_range(random, 900.0, 3000.0);
    AirWay way = {.body = 0.0};
    for (int k = 0; k < BREATH_PEAKS; k++) {
        way.hz[k] = centre_hz[k] * scale * random_range(random, 0.88, 1.12);
        way.q[k] = random_range(random, 1.5, 6.0);
        way.weight[k] = most[k] * random_range(random, 0.2, 1.0);
        way.drift[k] = random_range(random, -0.15, 0.15);
    }
    if (random_unit(random) < 0.25)
        way.q[1] = random_range(random, 8.0, 16.0);
    way.cut = signals_high_pass(rate_hz, random_range(random, 180.0, 400.0), 0.6);
    way.a = 1.0 - exp(-2.0 * pi * fall_hz / rate_hz);
    way.b = 1.0 - exp(-2.0 * pi * fmin(6000.0, 0.4 * rate_hz) / rate_hz);
    return way;
}

/* Tunes the peaks for the share x (0..1) of the breath that has passed. */
static void air_way_move(AirWay *way, double rate_hz, double x) {
    for (int k = 0; k < BREATH_PEAKS; k++) {
        double hz = fmin(way->hz[k] * (1.0 + way->drift[k] * (x - 0.5)), 0.45 * rate_hz);
        SignalsBiquad now = signals_band_pass(rate_hz, hz, way->q[k]);
        SignalsBiquad *peak = &way->peak[k];
        peak->b0 = now.b0;
        peak->b1 = now.b1;
        peak->b2 = now.b2;
        peak->a1 = now.a1;
        peak->a2 = now.a2;
    }
}

static double air_way_step(AirWay *way, double noise) {
    double x = signals_biquad_step(&way->cut, noise);
    way->body += way->a * (x - way->body);
    double y = way->body;
    for (int k = 0; k < BREATH_PEAKS; k++) /* a narrow peak passes less of a noise: make up */
        y += way->weight[k] * sqrt(way->q[k] / 2.0) * signals_biquad_step(&way->peak[k], way->body);
    return way->soft += way->b * (y - way->soft);
}

static void breath_noise(const SingerParams *params, float *out, size_t n, Random *random) {
    enum { WARM = 2000 };
    AirWay way = air_way(params, random);
    for (size_t i = 0; i < n + WARM; i++) {
        if (i % 32 == 0)
            air_way_move(&way, params->rate_hz, i < WARM ? 0.0 : (double)(i - WARM) / (double)n);
        double y = air_way_step(&way, random_normal(random));
        if (i >= WARM)
            out[i - WARM] = (float)y;
    }
}

/* Rises, slowly or fast, and stops, mostly faster; wavers as the air does. */
static void breath_shape(float *audio, size_t n, double rate_hz, Random *random) {
    double rise = random_range(random, 0.1, 0.6), fall = random_range(random, 0.08, 0.35);
    double wobble = 0.0, slow = 1.0 - exp(-1.0 / (0.03 * rate_hz));
    for (size_t i = 0; i < n; i++) {
        double t = ((double)i + 0.5) / (double)n;
        wobble += slow * (random_normal(random) / sqrt(slow) - wobble);
        double shape = fade(t, rise) * fade(1.0 - t, fall) * pow(10.0, 0.06 * wobble);
        audio[i] = (float)((double)audio[i] * shape);
    }
}

static bool render_breaths(const Plan *plan, SingerTake *take) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x62726561));
    for (size_t p = 0; p < plan->phrases; p++) {
        const Phrase *phrase = &plan->phrase[p];
        if (!phrase->breath)
            continue;
        size_t start = frame(take, phrase->breath_start_s), end = frame(take, phrase->breath_end_s);
        float *audio = take->stem[SINGER_STEM_BREATHS] + start;
        breath_noise(plan->params, audio, end - start, &random);
        breath_shape(audio, end - start, take->rate_hz, &random);
        double rms = pow(10.0, (phrase->level_db + phrase->breath_db) / 20.0);
        signals_scale(audio, end - start, rms / signals_rms(audio, end - start));
        if (!label(take, SINGER_BREATH, start, end, phrase->breath_db))
            return false;
    }
    return true;
}

/* Ventilation and amplifier: noise that falls by some 3 dB an octave with a flat part above. */
static void render_room(const SingerParams *params, SingerTake *take) {
    if (params->room_db <= -200.0)
        return;
    Random random = random_seeded(params->seed ^ UINT64_C(0x726f6f6d));
    float *room = take->stem[SINGER_STEM_ROOM];
    double low = 0.0, lower = 0.0;
    double a = 1.0 - exp(-2.0 * pi * 600.0 / params->rate_hz);
    double b = 1.0 - exp(-2.0 * pi * 90.0 / params->rate_hz);
    for (size_t i = 0; i < take->n; i++) {
        double x = random_normal(&random);
        low += a * (x - low);
        lower += b * (x - lower);
        room[i] = (float)(0.12 * x + 0.7 * low + 1.4 * lower);
    }
    signals_scale(room, take->n, pow(10.0, params->room_db / 20.0) / signals_rms(room, take->n));
}

/* Traffic and handling: noise of some 10 to 40 Hz that swells and ebbs. */
static bool render_rumble(const SingerParams *params, SingerTake *take) {
    if (params->rumble_db <= -200.0)
        return true;
    float *rumble = malloc((take->n + 1) * sizeof *rumble);
    if (!rumble)
        return false;
    Random random = random_seeded(params->seed ^ UINT64_C(0x72756d62));
    signals_band_noise(rumble, take->n, params->rate_hz, 10.0, 40.0, 1.0, &random);
    for (size_t i = 0; i < take->n; i++) {
        double t = (double)i / params->rate_hz;
        double swell = 1.0 + 0.6 * sin(2.0 * pi * 0.13 * t) * sin(2.0 * pi * 0.031 * t + 1.0);
        rumble[i] = (float)((double)rumble[i] * swell);
    }
    double rms = signals_rms(rumble, take->n);
    signals_scale(rumble, take->n, pow(10.0, params->rumble_db / 20.0) / (rms > 0.0 ? rms : 1.0));
    signals_add(take->stem[SINGER_STEM_ROOM], rumble, take->n);
    free(rumble);
    return true;
}

/* A mains transformer: 50 Hz and its harmonics, the even ones (of the rectifier) stronger. */
static void render_hum(const SingerParams *params, SingerTake *take) {
    static const double partial_db[] = {0.0, -3.0, -14.0, -8.0, -18.0, -14.0};
    enum { PARTIALS = sizeof partial_db / sizeof *partial_db };
    if (params->hum_db <= -200.0)
        return;
    double power = 0.0;
    for (size_t k = 0; k < PARTIALS; k++)
        power += pow(10.0, partial_db[k] / 10.0) / 2.0;
    double unit = pow(10.0, params->hum_db / 20.0) / sqrt(power);
    for (size_t k = 0; k < PARTIALS; k++)
        signals_sine_add(take->stem[SINGER_STEM_ROOM], take->n, params->rate_hz,
                         50.0 * (double)(k + 1), unit * pow(10.0, partial_db[k] / 20.0),
                         0.7 * (double)(k * k));
}

/* ---- Clicks ---- */

static const double click_low_hz = 1000.0, click_high_hz = 12000.0;

static double click_top(double rate_hz) {
    return fmin(click_high_hz, 0.45 * rate_hz);
}

/* One burst at out[at..n): one or two damped resonances and a little noise under them. */
static void click_burst(float *out, size_t n, double rate_hz, double height, double tau_ms,
                        Random *random) {
    double top = click_top(rate_hz);
    double hz = fmin(2000.0 * pow(4.5, random_unit(random)), 0.9 * top);
    bool second = random_unit(random) < 0.6;
    double other = fmin(hz * random_range(random, 1.3, 2.4), top);
    double grain = random_range(random, 0.0, 0.4);
    double rise_s = random_range(random, 0.00005, 0.0004);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate_hz, decay = exp(-1000.0 * t / tau_ms);
        if (decay < 1e-4)
            break;
        double y = sin(2.0 * pi * hz * t) + grain * random_normal(random);
        if (second)
            y += 0.7 * sin(2.0 * pi * other * t + 1.0) * exp(-500.0 * t / tau_ms);
        out[i] += (float)(height * fade(t, rise_s) * decay * y);
    }
}

size_t singer_click(float *out, size_t n, double rate_hz, double peak, uint64_t seed) {
    enum { LONGEST = 192 * 30 };
    float click[LONGEST + 1] = {0.0f}, band[LONGEST + 1];
    Random random = random_seeded(seed);
    size_t bursts = 1 + random_below(&random, 3), at = 0, length = 0;
    size_t longest = (size_t)(0.03 * rate_hz);
    for (size_t k = 0; k < bursts; k++) {
        double tau_ms = 0.2 * pow(9.0, random_unit(&random));
        double height = k ? random_range(&random, 0.4, 1.2) : 1.0;
        click_burst(click + at, longest - at, rate_hz, height, tau_ms, &random);
        size_t end = at + (size_t)(0.005 * tau_ms * rate_hz); /* five time constants */
        length = end > length ? end : length;
        at += (size_t)(random_range(&random, 0.003, 0.009) * rate_hz);
        if (at >= longest)
            break;
    }
    length = length < longest ? length : longest;
    length = length < n ? length : n;
    /* The mouth is too small a cavity to hold much below its resonance. */
    SignalsBiquad cut = signals_high_pass(rate_hz, 1500.0, 0.7071);
    for (size_t i = 0; i < length; i++)
        click[i] = (float)signals_biquad_step(&cut, (double)click[i]);
    size_t edge = length / 8 + 1;
    for (size_t i = 0; i < length; i++)
        if (length - i < edge)
            click[i] *= (float)fade((double)(length - i), (double)edge);
    signals_band_filter(click, band, length, rate_hz, click_low_hz, click_top(rate_hz));
    double got = signals_peak(band, length);
    for (size_t i = 0; i < length && got > 0.0; i++)
        out[i] += click[i] * (float)(peak / got);
    return length;
}

typedef struct {
    const float *around; /* everything but clicks, in the band */
    Random random;
} Clicker;

static bool click_at(Clicker *clicker, size_t at, size_t limit, SingerRange height_db,
                     SingerTake *take) {
    size_t reach = (size_t)(0.025 * take->rate_hz);
    size_t from = at > reach ? at - reach : 0;
    size_t to = at + reach < take->n ? at + reach : take->n;
    double db = in_range(&clicker->random, height_db);
    double level = fmax(rms_between(clicker->around, from, to), 1e-6);
    uint64_t seed = random_bits(&clicker->random);
    size_t length = singer_click(take->stem[SINGER_STEM_CLICKS] + at, limit - at, take->rate_hz,
                                 level * pow(10.0, db / 20.0), seed);
    return label(take, SINGER_CLICK, at, at + length, db);
}

/* Up to `count` clicks within start..end, at least 80 ms apart, one in each part of it. */
static bool clicks_between(Clicker *clicker, double start_s, double end_s, size_t count,
                           SingerRange height_db, SingerTake *take) {
    for (size_t k = 0; k < count; k++) {
        double part = (end_s - start_s) / (double)count;
        double unit = random_unit(&clicker->random);
        if (part < 0.08)
            return true;
        double at_s = start_s + part * (double)k + unit * (part - 0.05);
        if (!click_at(clicker, frame(take, at_s), take->n, height_db, take))
            return false;
    }
    return true;
}

static bool render_clicks(const Plan *plan, SingerTake *take) {
    const SingerParams *params = plan->params;
    float *around = malloc((take->n + 1) * sizeof *around);
    if (!around)
        return false;
    singer_mix(take, ~(1u << SINGER_STEM_CLICKS), around);
    signals_band_filter(around, around, take->n, take->rate_hz, click_low_hz,
                        click_top(take->rate_hz));
    Clicker clicker = {around, random_seeded(params->seed ^ UINT64_C(0x636c6963))};
    bool ok = true;
    double from_s = 0.05;
    for (size_t p = 0; p <= plan->phrases && ok; p++) {
        double to_s = p < plan->phrases ? plan->phrase[p].start_s : plan->end_s;
        ok = clicks_between(&clicker, from_s, to_s - 0.05,
                            some(&clicker.random, params->gap_clicks), params->gap_click_db, take);
        from_s = p < plan->phrases ? plan->phrase[p].end_s + 0.05 : to_s;
    }
    for (size_t i = 0; i < plan->segments && ok; i++) {
        const Segment *segment = &plan->segment[i];
        if (!segment->sound || !is_vowel(segment->sound))
            continue;
        /* About 1.9 vowels a word. */
        size_t count = some(&clicker.random, params->word_clicks / 1.9);
        ok = clicks_between(&clicker, segment->start_s + 0.02, segment->end_s - 0.02, count,
                            params->word_click_db, take);
    }
    free(around);
    return ok;
}

/* ---- The whole ---- */

static int by_start(const void *a, const void *b) {
    const SingerLabel *x = a, *y = b;
    if (x->start != y->start)
        return x->start < y->start ? -1 : 1;
    return (int)y->kind - (int)x->kind; /* phrases and words before their sounds */
}

static bool label_words_and_gaps(const Plan *plan, SingerTake *take) {
    bool ok = true;
    for (size_t i = 0; i < plan->words && ok; i++)
        ok = label(take, SINGER_WORD, frame(take, plan->word[i].start_s),
                   frame(take, plan->word[i].end_s), 0.0);
    double from_s = 0.0;
    for (size_t p = 0; p <= plan->phrases && ok; p++) {
        double to_s = p < plan->phrases ? plan->phrase[p].start_s : plan->end_s;
        ok = label(take, SINGER_GAP, frame(take, from_s), frame(take, to_s), 0.0);
        from_s = p < plan->phrases ? plan->phrase[p].end_s : to_s;
    }
    return ok;
}

static bool allocate(SingerTake *take, double rate_hz, double length_s) {
    take->rate_hz = rate_hz;
    take->n = (size_t)(length_s * rate_hz + 0.5);
    take->mix = calloc(take->n + 1, (2 + SINGER_STEMS) * sizeof *take->mix);
    if (!take->mix)
        return false;
    for (size_t k = 0; k < SINGER_STEMS; k++)
        take->stem[k] = take->mix + (k + 1) * take->n;
    take->f0_hz = take->mix + (SINGER_STEMS + 1) * take->n;
    return true;
}

static bool render(const Plan *plan, SingerTake *take) {
    if (!allocate(take, plan->params->rate_hz, plan->end_s))
        return false;
    size_t points = grid(plan->end_s) + 1;
    Control *control = calloc(points, sizeof *control);
    bool ok = control && draw(plan, control, points);
    ok = ok && render_voice(plan->params, control, points, take);
    if (ok)
        render_room(plan->params, take);
    free(control);
    ok = ok && set_levels(plan, take) && render_consonants(plan, take) &&
         render_breaths(plan, take) && render_clicks(plan, take) &&
         render_rumble(plan->params, take) && label_words_and_gaps(plan, take);
    if (!ok)
        return false;
    render_hum(plan->params, take);
    singer_mix(take, ~0u, take->mix);
    qsort(take->labels, take->n_labels, sizeof *take->labels, by_start);
    return true;
}

bool singer_take(const SingerParams *params, SingerTake *take) {
    *take = (SingerTake){.n = 0};
    Plan *plan = calloc(1, sizeof *plan);
    SingerParams drawn = *params;
    bool ok = plan && make_plan(plan, params) && (!params->again || sing_again(plan));
    if (ok && params->again) {
        drawn.seed = params->again;
        plan->params = &drawn;
    }
    ok = ok && render(plan, take);
    free(plan);
    if (!ok)
        singer_free(take);
    return ok;
}

void singer_free(SingerTake *take) {
    free(take->mix);
    free(take->labels);
    *take = (SingerTake){.n = 0};
}

void singer_mix(const SingerTake *take, unsigned mask, float *out) {
    signals_silence(out, take->n);
    for (unsigned k = 0; k < SINGER_STEMS; k++)
        if (mask >> k & 1u)
            signals_add(out, take->stem[k], take->n);
}

SingerParams singer_params(SingerVoice voice, double rate_hz, uint64_t seed) {
    Random random = random_seeded(seed ^ UINT64_C(0x706572736f6e));
    bool woman = voice == SINGER_WOMAN;
    double low_hz =
        woman ? random_range(&random, 175.0, 240.0) : random_range(&random, 90.0, 135.0);
    return (SingerParams){
        .rate_hz = rate_hz,
        .seed = seed,
        .phrases = 6,
        .womanhood = (woman ? 1.0 : 0.0) + random_range(&random, -0.15, 0.15),
        .note_hz = {low_hz, low_hz * random_range(&random, 1.7, 2.4)},
        .open_quotient = random_range(&random, 0.5, 0.7),
        .tilt_hz = random_range(&random, 1500.0, 4000.0),
        .aspiration_db = random_range(&random, -38.0, -28.0),
        .jitter = random_range(&random, 0.002, 0.006),
        .shimmer_db = random_range(&random, 0.15, 0.35),
        .vibrato_hz = random_range(&random, 5.0, 6.2),
        .vibrato_cents = random_range(&random, 25.0, 80.0),
        .tempo = random_range(&random, 0.85, 1.3),
        .level_db = random_range(&random, -26.0, -16.0),
        .level_spread_db = 4.0,
        .sibilants_db = 0.0,
        .breath_share = 0.85,
        .breath_s = {0.15, 1.0},
        .breath_db = {-38.0, -17.0},
        .gap_clicks = 1.0,
        .word_clicks = 0.5,
        .gap_click_db = {15.0, 35.0},
        .word_click_db = {10.0, 20.0},
        .room_db = random_range(&random, -75.0, -62.0),
        .rumble_db = -200.0,
        .hum_db = -200.0,
    };
}
