/* SPDX-License-Identifier: ISC */
/* siskin-band: plays along with a take of the test singer, so that the demo's lead stands in a
 * song.
 *
 *   siskin-band LABELS KEY CENTS BAND
 *
 * LABELS is the singer's label file, KEY her key note, 0 C to 11 B, of a major scale, CENTS how far
 * she is over A 440, as siskin measure says. Writes stereo float WAV at 48 kHz: soft chords, a
 * bass, and broken chords an octave up. She keeps no beat, so the band waits for her: a chord
 * changes with a word, a second and more after the one before, and is the one of the key that has
 * most of what she sings meanwhile; the last is the key's own. Plain on purpose: test material. */
#include <math.h>
#include <sndfile.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, MOST = 1024, DEGREES = 6, TONES = 3 };
static const double TWO_PI = 6.28318530717958648;
static const double SHORTEST_S = 1.1, LEAD_IN_S = 0.3, TAIL_S = 3.0, LEVEL = 0.06;

typedef struct {
    double start_s, end_s,
        note; /* semitones over the key note of the singer's own tuning; of notes alone */
} Span;

typedef struct {
    Span note[MOST], word[MOST], phrase[MOST];
    size_t notes, words, phrases;
} Song;

typedef struct {
    double start_s, end_s;
    int chord;
} Change;

/* Triads of a major key, as semitones over its key note, and how much a song likes them: I ii iii
 * IV V vi. */
static const struct {
    int tone[TONES];
    double liked;
} CHORDS[DEGREES] = {{{0, 4, 7}, 0.25}, {{2, 5, 9}, 0.05}, {{4, 7, 11}, -0.1},
                     {{5, 9, 0}, 0.2},  {{7, 11, 2}, 0.2}, {{9, 0, 4}, 0.15}};

static void die(const char *file, const char *what) {
    fprintf(stderr, "siskin-band: %s: %s\n", file, what);
    exit(EXIT_FAILURE);
}

static void add_span(Span *to, size_t *n, Span span) {
    if (*n < MOST)
        to[(*n)++] = span;
}

/* A line: kind, start, end, value, apart by tabs. false: no such line. */
static bool read_line(char *line, Span *span) {
    double *const field[] = {&span->start_s, &span->end_s, &span->note};
    char *at = strchr(line, '\t');
    if (!at)
        return false;
    *at++ = '\0';
    for (int k = 0; k < 3; k++) {
        char *end = at;
        *field[k] = strtod(at, &end);
        if (end == at)
            return false;
        at = end;
    }
    return true;
}

static void read_song(const char *path, double key_note, Song *song) {
    char line[256];
    FILE *f = fopen(path, "r");
    if (!f)
        die(path, "cannot be read");
    while (fgets(line, sizeof line, f)) {
        Span span = {0.0, 0.0, 0.0};
        if (!read_line(line, &span))
            continue;
        if (strcmp(line, "voiced") == 0) {
            span.note = 69.0 + 12.0 * log2(span.note / 440.0) - key_note;
            add_span(song->note, &song->notes, span);
        } else if (strcmp(line, "word") == 0) {
            add_span(song->word, &song->words, span);
        } else if (strcmp(line, "phrase") == 0) {
            add_span(song->phrase, &song->phrases, span);
        }
    }
    fclose(f);
    if (song->phrases == 0)
        die(path, "has no phrase");
}

/* ---- which chord when ---- */

static bool has_tone(int chord, int semitones) {
    for (int k = 0; k < TONES; k++)
        if (CHORDS[chord].tone[k] == ((semitones % 12) + 12) % 12)
            return true;
    return false;
}

static double fits(const Song *song, int chord, const Change *change) {
    double sum = CHORDS[chord].liked * (change->end_s - change->start_s);
    for (size_t i = 0; i < song->notes; i++) {
        const Span *note = &song->note[i];
        double both = fmin(note->end_s, change->end_s) - fmax(note->start_s, change->start_s);
        if (both > 0.0)
            sum += both * (has_tone(chord, (int)rint(note->note)) ? 1.0 : -0.7);
    }
    return sum;
}

static void choose_chords(const Song *song, Change *changes, size_t n) {
    for (size_t i = 0; i < n; i++) {
        double most = -INFINITY;
        for (int chord = 0; chord < DEGREES; chord++) {
            double fit = fits(song, chord, &changes[i]);
            fit -= i > 0 && chord == changes[i - 1].chord ? 0.3 : 0.0;
            if (fit > most) {
                most = fit;
                changes[i].chord = chord;
            }
        }
    }
    changes[n - 1].chord = 0;
}

/* Each phrase begins with a chord; within it one begins with each word that is far enough from the
 * last and from the end. */
static size_t find_changes(const Song *song, Change *changes) {
    size_t n = 0;
    changes[n++].start_s = LEAD_IN_S;
    for (size_t p = 0; p < song->phrases; p++)
        for (size_t w = 0; w < song->words && n < MOST; w++) {
            double at = song->word[w].start_s;
            if (at < song->phrase[p].start_s || at + 0.6 > song->phrase[p].end_s ||
                at - changes[n - 1].start_s < SHORTEST_S)
                continue;
            changes[n++].start_s = at;
        }
    for (size_t i = 0; i < n; i++)
        changes[i].end_s =
            i + 1 < n ? changes[i + 1].start_s : song->phrase[song->phrases - 1].end_s + TAIL_S;
    choose_chords(song, changes, n);
    return n;
}

/* ---- sound ---- */

typedef struct {
    float *frame; /* [n][2] */
    size_t n;
} Sound;

typedef struct {
    double start_s, end_s;
    double note;                         /* MIDI */
    double level, pan;                   /* -1 left .. 1 right */
    double attack_s, decay_s, release_s; /* time constants, but for the attack */
    int partials;
    double slope; /* the k-th is k^-slope as loud */
} Tone;

static double envelope(const Tone *tone, double s) {
    double held = fmin(s, tone->end_s - tone->start_s), over = s - held;
    double rise = fmin(1.0, s / tone->attack_s);
    return rise * rise * (3.0 - 2.0 * rise) * exp(-held / tone->decay_s) *
           exp(-over / tone->release_s);
}

/* Both sides two cents apart, so that nothing stands still. */
static void play(const Sound *sound, const Tone *tone) {
    size_t from = (size_t)(tone->start_s * RATE);
    size_t to = (size_t)((tone->end_s + 6.0 * tone->release_s) * RATE);
    for (size_t t = from; t < to && t < sound->n; t++) {
        double s = (double)(t - from) / RATE, gain = tone->level * envelope(tone, s);
        for (int c = 0; c < 2; c++) {
            double hz = 440.0 * exp2((tone->note + (c ? 0.01 : -0.01) - 69.0) / 12.0), sum = 0.0;
            for (int k = 1; k <= tone->partials; k++)
                sum += sin(TWO_PI * hz * k * s) / pow(k, tone->slope);
            sound->frame[2 * t + c] +=
                (float)(gain * sum * sqrt(0.5 * (1.0 + (c ? 1 : -1) * tone->pan)));
        }
    }
}

/* The tone of that name that lies in the octave from `lowest` on. */
static double in_octave(double note, double lowest) {
    return note - 12.0 * floor((note - lowest) / 12.0);
}

static void play_change(const Sound *sound, const Change *change, double key_note) {
    const int *tone = CHORDS[change->chord].tone;
    const Tone chord = {change->start_s, change->end_s, 0.0, 0.5, 0.0, 0.12, 4.0, 0.3, 5, 1.7};
    const Tone pluck = {0.0, 0.0, 0.0, 0.4, 0.0, 0.004, 0.25, 0.1, 3, 1.5};
    Tone bass = {change->start_s, change->end_s, 0.0, 1.0, 0.0, 0.015, 1.8, 0.08, 3, 2.0};
    bass.note = in_octave(key_note + tone[0], 36.0);
    play(sound, &bass);
    for (int k = 0; k < TONES; k++) {
        Tone one = chord;
        one.note = in_octave(key_note + tone[k], 53.0);
        one.pan = 0.5 * (k - 1);
        play(sound, &one);
    }
    /* whole beats of some 0.36 s */
    const double length = change->end_s - change->start_s;
    const int beats = (int)fmax(2.0, rint(length / 0.36));
    for (int beat = 0; beat < beats; beat++) {
        static const int order[4] = {0, 1, 2, 1};
        Tone one = pluck;
        one.start_s = change->start_s + beat * length / beats;
        one.end_s = one.start_s + length / beats;
        one.note = in_octave(key_note + tone[order[beat % 4]], 65.0);
        one.pan = beat % 2 ? 0.6 : -0.6;
        play(sound, &one);
    }
}

static void write_sound(const char *path, const Sound *sound) {
    SF_INFO info = {.samplerate = RATE, .channels = 2, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    double power = 1e-20;
    for (size_t i = 0; i < 2 * sound->n; i++)
        power += (double)sound->frame[i] * (double)sound->frame[i];
    float gain = (float)(LEVEL / sqrt(power / (2.0 * (double)sound->n)));
    for (size_t i = 0; i < 2 * sound->n; i++)
        sound->frame[i] *= gain;
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    if (!f || sf_writef_float(f, sound->frame, (sf_count_t)sound->n) != (sf_count_t)sound->n ||
        sf_close(f) != 0)
        die(path, "cannot be written");
}

static double number(const char *text, double low, double high) {
    char *end = NULL;
    double value = strtod(text, &end);
    if (end == text || *end || !(value >= low && value <= high))
        die(text, "is no number that fits");
    return value;
}

int main(int argc, char **argv) {
    static Song song;
    static Change changes[MOST];
    if (argc != 5) {
        fputs("usage: siskin-band LABELS KEY CENTS BAND\n", stderr);
        return 2;
    }
    double key_note = 60.0 + number(argv[2], 0.0, 11.0) + 0.01 * number(argv[3], -100.0, 100.0);
    read_song(argv[1], key_note, &song);
    size_t n = find_changes(&song, changes);
    Sound sound = {NULL, (size_t)(changes[n - 1].end_s * RATE) + RATE};
    sound.frame = calloc(2 * sound.n, sizeof *sound.frame);
    if (!sound.frame)
        die("memory", "not enough");
    for (size_t i = 0; i < n; i++)
        play_change(&sound, &changes[i], key_note);
    write_sound(argv[4], &sound);
    free(sound.frame);
    return EXIT_SUCCESS;
}
