/* SPDX-License-Identifier: ISC */
/* siskin notes: the notes of a take, a line each, as a list that pitch-corrector follows. */
#include "siskin/command.h"
#include "siskin/edit/note_list.h"
#include "siskin/measure/pitch_name.h"
#include "siskin/measure/takes.h"
#include "siskin/options.h"
#include "siskin/text.h"
#include "voice/scale.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Of a drift as sung no more is written down: from about here on listeners hear it
 * (Larrouy-Maestri, Music & Science 2018: half a quarter tone). */
static const double MOST_DRIFT_CENTS = 25.0;
/* Below, what was taken for a note may be none, and it is written down to be left. */
static const double LEAST_CONFIDENCE = 0.5;

typedef struct {
    const char *key, *tuning;
    bool quiet, help;
} Words;

typedef struct {
    Scale scale;
    double tuning_cents; /* of A over 440 Hz */
} Aim;

static void print_help(const Option *options, size_t count) {
    puts("siskin notes TAKE > LIST\n"
         "\n"
         "Prints the notes that are sung, a line each: from, to, the note it shall be, the drift "
         "and\n"
         "vibrato it keeps, how strongly it is drawn there. Change a line, or delete it to leave "
         "that\n"
         "note as sung, and render:\n"
         "\n"
         "  siskin notes take.wav > take.notes\n"
         "  siskin render take.wav out.wav pitch-corrector notes=take.notes\n");
    options_print(options, count);
    puts("\n"
         "Exit status: 0 done, 1 the take cannot be read or nothing is sung in it, 2 the command "
         "line\n"
         "is wrong.");
}

/* ---- the command line ---- */

static const struct {
    const char *name;
    ScaleKind kind;
} scales[] = {
    {"major", SCALE_MAJOR},
    {"minor", SCALE_NATURAL_MINOR},
    {"harmonic-minor", SCALE_HARMONIC_MINOR},
    {"melodic-minor", SCALE_MELODIC_MINOR},
    {"major-pentatonic", SCALE_MAJOR_PENTATONIC},
    {"minor-pentatonic", SCALE_MINOR_PENTATONIC},
    {"dorian", SCALE_DORIAN},
    {"mixolydian", SCALE_MIXOLYDIAN},
};

/* "G-major", "Bb-harmonic-minor". */
static bool read_key(const char *text, Scale *scale) {
    const char *hyphen = strchr(text, '-');
    double midi = 0.0;
    if (!hyphen)
        return false;
    char *tonic = text_print("%.*s4", (int)(hyphen - text), text);
    bool fine = strpbrk(tonic, ".+-") == NULL && pitch_name_read(tonic, &midi);
    free(tonic);
    if (!fine || (*text >= '0' && *text <= '9'))
        return false;
    scale->key = ((int)lround(midi) + 12) % 12;
    for (size_t i = 0; i < sizeof scales / sizeof *scales; i++)
        if (strcasecmp(scales[i].name, hyphen + 1) == 0) {
            scale->kind = scales[i].kind;
            return true;
        }
    return false;
}

static bool read_aim(const Words *words, Aim *aim, HostError *error) {
    double tuning = 440.0;
    *aim = (Aim){.scale.kind = SCALE_CHROMATIC};
    if (words->tuning && (!text_number(words->tuning, &tuning) || tuning < 415.0 || tuning > 466.0))
        return host_fail(error, "--tuning %s: allowed are 415 to 466 Hz", words->tuning);
    aim->tuning_cents = 1200.0 * log2(tuning / 440.0);
    if (!words->key || read_key(words->key, &aim->scale))
        return true;
    host_fail(error, "--key '%s': write a note and a scale, such as Bb-minor; scales are",
              words->key);
    for (size_t i = 0; i < sizeof scales / sizeof *scales; i++)
        text_add(error->text, sizeof error->text, "%s %s", i ? "," : "", scales[i].name);
    return false;
}

/* ---- the list ---- */

static size_t phrase_of(const Measures *m, double at_s) {
    size_t phrase = 0;
    while (phrase < m->n_phrases && m->phrases[phrase].end_s <= at_s)
        phrase++;
    return phrase + 1;
}

static void print_head(const Measures *m, const Aim *aim) {
    char name[24];
    printf("# %zu notes", m->n_sung);
    if (isfinite(m->off_cents))
        printf(", %.0f cents off on average", m->off_cents);
    if (measures_key_sure(m))
        printf("; key: %s (%.2f)", pitch_name_key(name, &m->key.best), m->key.best.p);
    printf(".\n# Drawn to %s.\n"
           "# From, to (s), note, drift (cents), vibrato kept (%%), strength (%%). Change what you "
           "like; a note\n# without a line stays as it was sung.\n",
           aim->scale.kind == SCALE_CHROMATIC ? "the nearest semitone" : "the key you gave");
}

static void print_note(const Measures *m, const SungNote *note, const Aim *aim) {
    char name[24], facts[128] = "";
    double sung = note->midi - 0.01 * aim->tuning_cents;
    double aimed = scale_nearest(&aim->scale, (float)sung) + 0.01 * aim->tuning_cents;
    bool sure = note->confidence >= LEAST_CONFIDENCE;
    double drift = fmin(fmax(note->drift_cents, -MOST_DRIFT_CENTS), MOST_DRIFT_CENTS);
    text_add(facts, sizeof facts, "%+.0f cents", 100.0 * (note->midi - aimed) + 0.0);
    if (fabs(note->drift_cents) >= 1.0)
        text_add(facts, sizeof facts, ", drift %+.0f", note->drift_cents);
    if (note->vibrato_hz > 0.0)
        text_add(facts, sizeof facts, ", vibrato %.0f at %.1f Hz", note->vibrato_cents,
                 note->vibrato_hz);
    printf("%9.3f %9.3f  %-7s %+4.0f %4d %4d   # sung %s; phrase %zu%s\n", note->start_s,
           note->end_s, pitch_name_midi(name, aimed), drift + 0.0, 100, sure ? 100 : 0, facts,
           phrase_of(m, note->start_s), sure ? "" : "; hardly a note, so left");
}

static int list_one(const char *path, const Words *words, const Aim *aim) {
    HostError error;
    Measures measures;
    Progress progress = progress_begin(words->quiet);
    if (!takes_measure(path, &measures, &progress, &error))
        return command_fail("notes", STATUS_FAILED, &error);
    bool fine = measures.n_sung > 0 || host_fail(&error, "%s: no note was found in it", path);
    if (fine) {
        print_head(&measures, aim);
        for (size_t i = 0; i < measures.n_sung; i++)
            print_note(&measures, &measures.sung[i], aim);
    }
    measures_free(&measures);
    return fine ? STATUS_OK : command_fail("notes", STATUS_FAILED, &error);
}

int command_notes(int argc, char **argv) {
    HostError error;
    Words words = {0};
    Aim aim;
    const Option options[] = {
        {"key", "KEY", "draw to a scale, such as Bb-minor (any semitone)", &words.key, NULL},
        {"tuning", "HZ", "where A lies, 415 to 466 (440)", &words.tuning, NULL},
        {"quiet", NULL, "show no progress", NULL, &words.quiet},
        {"help", NULL, "this", NULL, &words.help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("notes", STATUS_USAGE, &error);
    if (words.help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc != 1) {
        host_fail(&error, "name one TAKE; siskin notes --help tells more");
        return command_fail("notes", STATUS_USAGE, &error);
    }
    if (!read_aim(&words, &aim, &error))
        return command_fail("notes", STATUS_USAGE, &error);
    return list_one(argv[0], &words, &aim);
}
