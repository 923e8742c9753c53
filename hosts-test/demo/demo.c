/* SPDX-License-Identifier: ISC */
/* siskin-demo: says in one line what one step of the demo did.
 *
 *   siskin-demo STEP LABELS BEFORE AFTER [CLEAN]
 *
 * BEFORE and AFTER are mono or stereo takes, LABELS the test singer's label file, so that the truth
 * is known: the figures are measured here, on the audio, and not taken from the processors' meters.
 * STEP: rumble, clicks, breaths, sibilants, gaps, phrases, return; stem, with the lead as BEFORE;
 * wave, the peaks of AFTER as the path of an SVG, 20 units a second wide, 100 high. */
#include "filter/k_weight.h"
#include "signals.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    double rate_hz;
    size_t n;
    float *audio; /* the channels' mean */
    double alike; /* correlation of the first two channels; 1 of mono */
} Take;

typedef struct {
    char kind[16];
    double start_s, end_s;
} Label;

typedef struct {
    Label *label;
    size_t n;
} Labels;

typedef struct {
    Take before, after;
    Take clean; /* clicks only: the take before, sung without clicks */
    Labels labels;
} Step;

static void die(const char *file, const char *what) {
    fprintf(stderr, "siskin-demo: %s: %s\n", file, what);
    exit(EXIT_FAILURE);
}

static void *room(size_t count, size_t size) {
    void *memory = calloc(count + 1, size);
    if (!memory)
        die("memory", "not enough");
    return memory;
}

static Take read_take(const char *file) {
    SF_INFO info = {0};
    SNDFILE *f = sf_open(file, SFM_READ, &info);
    if (!f)
        die(file, sf_strerror(NULL));
    size_t channels = (size_t)info.channels;
    Take take = {.rate_hz = info.samplerate, .n = (size_t)info.frames};
    float *all = room(take.n * channels, sizeof *all);
    take.audio = room(take.n, sizeof *take.audio);
    if (sf_readf_float(f, all, info.frames) != info.frames)
        die(file, "ends early");
    double both = 0.0, left = 1e-20, right = 1e-20;
    for (size_t i = 0; i < take.n; i++) {
        double l = (double)all[i * channels], r = (double)all[i * channels + (channels > 1)];
        both += l * r, left += l * l, right += r * r;
        for (size_t c = 0; c < channels; c++)
            take.audio[i] += all[i * channels + c] / (float)channels;
    }
    take.alike = both / sqrt(left * right);
    free(all);
    sf_close(f);
    return take;
}

static Labels read_labels(const char *file) {
    FILE *f = fopen(file, "r");
    if (!f)
        die(file, "cannot be read");
    Labels labels = {0};
    char line[256];
    while (fgets(line, sizeof line, f)) {
        Label *grown = realloc(labels.label, (labels.n + 1) * sizeof *grown);
        if (!grown)
            die("memory", "not enough");
        labels.label = grown;
        Label *l = &labels.label[labels.n];
        char *end;
        const char *tab = strchr(line, '\t');
        if (!tab || (size_t)(tab - line) >= sizeof l->kind)
            die(file, "is no label file");
        memset(l->kind, 0, sizeof l->kind);
        memcpy(l->kind, line, (size_t)(tab - line));
        l->start_s = strtod(tab, &end);
        l->end_s = strtod(end, &end);
        labels.n++;
    }
    fclose(f);
    return labels;
}

static bool is(const Label *label, const char *kind) {
    return strcmp(label->kind, kind) == 0;
}

static size_t frame(const Take *take, double s) {
    double at = s * take->rate_hz;
    if (at < 0.0)
        at = 0.0;
    return at > (double)take->n ? take->n : (size_t)at;
}

static double rms_db(const Take *take, double start_s, double end_s) {
    size_t a = frame(take, start_s), b = frame(take, end_s);
    return signals_rms_db(take->audio + a, b - a);
}

/* The take through a band, as a take of its own. */
static Take in_band(const Take *take, double low_hz, double high_hz) {
    Take band = *take;
    band.audio = room(take->n, sizeof *band.audio);
    signals_band_filter(take->audio, band.audio, take->n, take->rate_hz, low_hz, high_hz);
    return band;
}

static double median(double *values, size_t n) {
    return signals_quantile(values, n, 0.5);
}

/* ---- rumble: what lies below every voice ---- */

static void rumble(const Step *s) {
    Take before = in_band(&s->before, 0.0, 45.0), after = in_band(&s->after, 0.0, 45.0);
    double length = (double)before.n / before.rate_hz;
    double b = rms_db(&before, 0.5, length), a = rms_db(&after, 0.5, length);
    printf("rumble      %.0f -> %.0f dBFS, below 45 Hz\n", b, a);
    free(before.audio);
    free(after.audio);
}

/* ---- clicks: the loudest millisecond, over the same moment of the take without clicks ---- */

static double loudest_db(const Take *band, const Label *click) {
    double loudest = -200.0;
    size_t steps = (size_t)((click->end_s - click->start_s) / 0.001) + 4;
    for (size_t k = 0; k < steps; k++) {
        double t = click->start_s - 0.002 + 0.001 * (double)k;
        double level = rms_db(band, t, t + 0.001);
        loudest = level > loudest ? level : loudest;
    }
    return loudest;
}

static void clicks(const Step *s) {
    Take before = in_band(&s->before, 1000.0, 12000.0), after = in_band(&s->after, 1000.0, 12000.0);
    Take clean = in_band(&s->clean, 1000.0, 12000.0);
    double *excess[2] = {room(s->labels.n, sizeof(double)), room(s->labels.n, sizeof(double))};
    size_t n = 0, caught = 0, hidden = 0;
    for (size_t i = 0; i < s->labels.n; i++) {
        const Label *l = &s->labels.label[i];
        if (!is(l, "click"))
            continue;
        double truth = loudest_db(&clean, l);
        excess[0][n] = loudest_db(&before, l) - truth;
        excess[1][n] = loudest_db(&after, l) - truth;
        if (excess[0][n] < 3.0) { /* the voice is louder there: nobody hears it */
            hidden++;
            continue;
        }
        caught += excess[1][n] <= excess[0][n] - 6.0 || excess[1][n] <= 3.0;
        n++;
    }
    printf("%zu of %zu that were laid in are out, median %.0f -> %.0f dB (%zu more are masked)\n",
           caught, n, median(excess[0], n), round(median(excess[1], n)) + 0.0, hidden);
    free(excess[0]);
    free(excess[1]);
    free(before.audio);
    free(after.audio);
    free(clean.audio);
}

/* ---- breaths: how far down, and whether a word lost anything ---- */

static void breaths(const Step *s) {
    double *down = room(s->labels.n, sizeof *down);
    size_t n = 0, turned = 0;
    double worst = 0.0;
    for (size_t i = 0; i < s->labels.n; i++) {
        const Label *l = &s->labels.label[i];
        double lost =
            rms_db(&s->before, l->start_s, l->end_s) - rms_db(&s->after, l->start_s, l->end_s);
        if (is(l, "breath")) {
            turned += lost >= 6.0;
            down[n++] = lost;
        } else if (is(l, "word") && lost > worst) {
            worst = lost;
        }
    }
    printf("breaths     %zu of %zu down, median %.1f dB; no word loses more than %.2f dB\n", turned,
           n, median(down, n), worst);
    free(down);
}

/* ---- sibilants: their band against the vowels around them ---- */

static double vowels_around_db(const Take *take, const Labels *labels, const Label *sibilant) {
    double sum = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < labels->n; i++) {
        const Label *l = &labels->label[i];
        if (!is(l, "voiced") || l->end_s < sibilant->start_s - 0.7 ||
            l->start_s > sibilant->end_s + 0.7)
            continue;
        sum += pow(10.0, rms_db(take, l->start_s, l->end_s) / 10.0);
        n++;
    }
    return 10.0 * log10(sum / (double)(n ? n : 1) + 1e-20);
}

static void sibilants(const Step *s) {
    Take band[2] = {in_band(&s->before, 3000.0, 12000.0), in_band(&s->after, 3000.0, 12000.0)};
    const Take *whole[2] = {&s->before, &s->after};
    double *ratio[2] = {room(s->labels.n, sizeof(double)), room(s->labels.n, sizeof(double))};
    size_t n = 0;
    for (size_t i = 0; i < s->labels.n; i++) {
        const Label *l = &s->labels.label[i];
        if (!is(l, "s") && !is(l, "sh") && !is(l, "z"))
            continue;
        for (int k = 0; k < 2; k++)
            ratio[k][n] =
                rms_db(&band[k], l->start_s, l->end_s) - vowels_around_db(whole[k], &s->labels, l);
        n++;
    }
    printf("sibilants   %zu; median %.1f -> %.1f dB over the vowels around\n", n,
           median(ratio[0], n), median(ratio[1], n));
    for (int k = 0; k < 2; k++) {
        free(ratio[k]);
        free(band[k].audio);
    }
}

/* ---- gaps: the quietest 50 ms of each ---- */

static double quiet_db(const Take *take, const Label *gap) {
    double quietest = 0.0;
    size_t steps = (size_t)((gap->end_s - gap->start_s) / 0.05);
    for (size_t k = 0; k < steps; k++) {
        double t = gap->start_s + 0.05 * (double)k;
        double level = rms_db(take, t, t + 0.05);
        quietest = level < quietest ? level : quietest;
    }
    return quietest;
}

static void gaps(const Step *s) {
    double *level[2] = {room(s->labels.n, sizeof(double)), room(s->labels.n, sizeof(double))};
    size_t n = 0, closed = 0;
    for (size_t i = 0; i < s->labels.n; i++) {
        const Label *l = &s->labels.label[i];
        if (!is(l, "gap") || l->end_s - l->start_s < 0.3)
            continue;
        double before = quiet_db(&s->before, l), after = quiet_db(&s->after, l);
        n++;
        if (after > before - 10.0)
            continue; /* full of a breath, or shorter than the shortest that is cut */
        level[0][closed] = before;
        level[1][closed++] = after;
    }
    printf("gaps        %zu of %zu down by 10 dB and more, breaths kept", closed, n);
    if (closed)
        printf("; median %.0f -> %.0f dBFS", median(level[0], closed), median(level[1], closed));
    putchar('\n');
    free(level[0]);
    free(level[1]);
}

/* ---- phrases: loudness (K-weighted) and how far apart they lie ---- */

static double spread_db(const Take *take, const Labels *labels) {
    Take weighted = *take;
    weighted.audio = room(take->n, sizeof *weighted.audio);
    KWeight k = {0};
    k_weight_prepare(&k, take->rate_hz);
    k_weight_process(&k, take->audio, weighted.audio, take->n);
    double sum = 0.0, squares = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < labels->n; i++) {
        const Label *l = &labels->label[i];
        if (!is(l, "phrase"))
            continue;
        double level = rms_db(&weighted, l->start_s, l->end_s);
        sum += level;
        squares += level * level;
        n++;
    }
    free(weighted.audio);
    double mean = sum / (double)n;
    return sqrt(fmax(0.0, squares / (double)n - mean * mean));
}

static void phrases(const Step *s) {
    printf("phrases     %.1f -> %.1f dB apart in loudness (standard deviation)\n",
           spread_db(&s->before, &s->labels), spread_db(&s->after, &s->labels));
}

/* ---- returns and stems: under the words, and in the gaps ---- */

typedef struct {
    double words_db, gaps_db;
} Places;

/* The first 600 ms of a gap hold the release; what comes after it is the bloom. */
static Places places(const Take *take, const Labels *labels) {
    double energy[2] = {0.0}, length[2] = {0.0};
    for (size_t i = 0; i < labels->n; i++) {
        const Label *l = &labels->label[i];
        int place = is(l, "word") ? 0 : is(l, "gap") ? 1 : -1;
        double start_s = l->start_s + (place == 1 ? 0.6 : 0.0);
        if (place < 0 || start_s >= l->end_s || l->start_s <= 0.0)
            continue;
        energy[place] += (l->end_s - start_s) * pow(10.0, rms_db(take, start_s, l->end_s) / 10.0);
        length[place] += l->end_s - start_s;
    }
    if (length[0] <= 0.0 || length[1] <= 0.0 || energy[0] <= 0.0 || energy[1] <= 0.0)
        die("return", "has no words, no gaps, or no sound");
    return (Places){10.0 * log10(energy[0] / length[0]), 10.0 * log10(energy[1] / length[1])};
}

static void wet_return(const Step *s) {
    Places before = places(&s->before, &s->labels), after = places(&s->after, &s->labels);
    printf("%.1f dB down under the words, %.1f dB in the gaps after them\n",
           before.words_db - after.words_db, before.gaps_db - after.gaps_db);
}

static void stem(const Step *s) {
    Places lead = places(&s->before, &s->labels), here = places(&s->after, &s->labels);
    printf("against the lead's words %+.1f dB under them, %+.1f dB in gaps; sides %.2f alike\n",
           here.words_db - lead.words_db, here.gaps_db - lead.words_db, s->after.alike);
}

/* ---- a picture ---- */

static void wave(const Step *s) {
    const Take *take = &s->after;
    const double units_per_s = 20.0;
    const size_t columns = (size_t)((double)take->n / take->rate_hz * units_per_s);
    float *peak = room(columns, sizeof *peak);
    for (size_t i = 0; i < take->n; i++) {
        size_t at = (size_t)((double)i / take->rate_hz * units_per_s);
        if (at < columns)
            peak[at] = fmaxf(peak[at], fabsf(take->audio[i]));
    }
    printf("M0 50");
    for (size_t i = 0; i < columns; i++)
        printf("L%zu %.1f", i, 50.0 - 50.0 * (double)fminf(peak[i], 1.0f));
    for (size_t i = columns; i-- > 0;)
        printf("L%zu %.1f", i, 50.0 + 50.0 * (double)fminf(peak[i], 1.0f));
    puts("Z");
    free(peak);
}

int main(int argc, char **argv) {
    static const struct {
        const char *name;
        void (*say)(const Step *);
    } steps[] = {{"rumble", rumble},       {"clicks", clicks}, {"breaths", breaths},
                 {"sibilants", sibilants}, {"gaps", gaps},     {"phrases", phrases},
                 {"return", wet_return},   {"stem", stem},     {"wave", wave}};
    if (argc == 5 || argc == 6) {
        for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
            if (strcmp(argv[1], steps[i].name) != 0)
                continue;
            if (steps[i].say == clicks && argc != 6)
                break;
            Step step = {.labels = read_labels(argv[2]),
                         .before = read_take(argv[3]),
                         .after = read_take(argv[4])};
            if (argc == 6)
                step.clean = read_take(argv[5]);
            steps[i].say(&step);
            free(step.labels.label);
            free(step.before.audio);
            free(step.after.audio);
            free(step.clean.audio);
            return EXIT_SUCCESS;
        }
    }
    fprintf(stderr,
            "usage: siskin-demo rumble|clicks|breaths|sibilants|gaps|phrases|return|stem|wave "
            "LABELS BEFORE AFTER [CLEAN]\n");
    return 2;
}
