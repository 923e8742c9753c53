/* SPDX-License-Identifier: ISC */
/* siskin-sing: writes a take of the test singer as WAV (32-bit float), and on request its labels as
 * text and its stems as further WAV files. */
#include "signals.h"
#include "singer.h"

#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char usage[] =
    "usage: siskin-sing [options] take.wav\n"
    "  --voice man|woman    whose voice (woman)\n"
    "  --seed N             another singer of that kind, another melody (1)\n"
    "  --rate HZ            8000..192000 (48000)\n"
    "  --phrases N          1..100 phrases (6)\n"
    "  --score TEXT         sing this: words apart by ' ', syllables '-', phrases '/';\n"
    "                       vowels i y e q a o w u v r, consonants s c z f h t k p m n l\n"
    "  --again N            the same song once more by the same singer, another take for each N\n"
    "  --loose MS           how far words of that take are early or late (30)\n"
    "  --hot DB             add this to the sibilants (0)\n"
    "  --rumble DB --hum DB add these to the room, dBFS (none)\n"
    "  --no-breaths --no-clicks --no-room\n"
    "  --labels FILE        one line a sound: kind, start s, end s, value, apart by tabs\n"
    "  --stems PREFIX       also PREFIX-voice.wav, -sibilants, -consonants, -breaths, -clicks, "
    "-room\n";

typedef struct {
    const char *voice, *seed, *rate, *phrases, *score, *again, *loose, *hot, *rumble, *hum, *labels,
        *stems, *path;
    bool no_breaths, no_clicks, no_room;
} Options;

static bool read_options(int argc, char **argv, Options *o) {
    const struct {
        const char *name;
        const char **value;
        bool *flag;
    } table[] = {
        {"--voice", &o->voice, NULL},
        {"--seed", &o->seed, NULL},
        {"--rate", &o->rate, NULL},
        {"--phrases", &o->phrases, NULL},
        {"--score", &o->score, NULL},
        {"--again", &o->again, NULL},
        {"--loose", &o->loose, NULL},
        {"--hot", &o->hot, NULL},
        {"--rumble", &o->rumble, NULL},
        {"--hum", &o->hum, NULL},
        {"--labels", &o->labels, NULL},
        {"--stems", &o->stems, NULL},
        {"--no-breaths", NULL, &o->no_breaths},
        {"--no-clicks", NULL, &o->no_clicks},
        {"--no-room", NULL, &o->no_room},
    };
    for (int i = 1; i < argc; i++) {
        size_t k = 0, count = sizeof table / sizeof *table;
        while (k < count && strcmp(argv[i], table[k].name) != 0)
            k++;
        if (k < count && table[k].flag)
            *table[k].flag = true;
        else if (k < count && i + 1 < argc)
            *table[k].value = argv[++i];
        else if (k == count && argv[i][0] != '-' && !o->path)
            o->path = argv[i];
        else
            return false;
    }
    return o->path != NULL;
}

/* A whole number or decimal within low..high; `text` NULL gives `otherwise`. */
static bool number(const char *what, const char *text, double low, double high, double otherwise,
                   double *value) {
    char *end = NULL;
    *value = text ? strtod(text, &end) : otherwise;
    if (text && (end == text || *end != '\0' || !(*value >= low && *value <= high))) {
        fprintf(stderr, "siskin-sing: %s %s: give a number from %g to %g\n", what, text, low, high);
        return false;
    }
    return true;
}

static bool choose_singer(const Options *o, SingerParams *params) {
    bool man = o->voice && strcmp(o->voice, "man") == 0;
    if (o->voice && !man && strcmp(o->voice, "woman") != 0) {
        fprintf(stderr, "siskin-sing: --voice %s: give man or woman\n", o->voice);
        return false;
    }
    double rate_hz, seed, phrases, again, loose_ms, hot_db, rumble_db, hum_db;
    if (!number("--rate", o->rate, 8000, 192000, 48000, &rate_hz) ||
        !number("--seed", o->seed, 0, 1e15, 1, &seed) ||
        !number("--phrases", o->phrases, 1, 100, 6, &phrases) ||
        !number("--again", o->again, 0, 1e15, 0, &again) ||
        !number("--loose", o->loose, 0, 1000, 30, &loose_ms) ||
        !number("--hot", o->hot, -24, 24, 0, &hot_db) ||
        !number("--rumble", o->rumble, -200, -12, -200, &rumble_db) ||
        !number("--hum", o->hum, -200, -12, -200, &hum_db))
        return false;
    *params = singer_params(man ? SINGER_MAN : SINGER_WOMAN, rate_hz, (uint64_t)seed);
    params->phrases = (size_t)phrases;
    params->score = o->score;
    params->again = (uint64_t)again;
    params->loose_s = 1e-3 * loose_ms;
    params->sibilants_db = hot_db;
    params->rumble_db = rumble_db;
    params->hum_db = hum_db;
    if (o->no_breaths)
        params->breath_share = 0.0;
    if (o->no_clicks)
        params->gap_clicks = params->word_clicks = 0.0;
    if (o->no_room)
        params->room_db = -200.0;
    return true;
}

static bool write_wav(const char *path, const float *audio, size_t n, double rate_hz) {
    SF_INFO info = {
        .samplerate = (int)rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    bool ok = file && sf_writef_float(file, audio, (sf_count_t)n) == (sf_count_t)n;
    if (!ok)
        fprintf(stderr, "siskin-sing: %s: %s\n", path, sf_strerror(file));
    if (file && sf_close(file) != 0)
        ok = false;
    return ok;
}

static bool write_labels(const char *path, const SingerTake *take) {
    FILE *file = fopen(path, "w");
    if (!file) {
        perror(path);
        return false;
    }
    for (size_t i = 0; i < take->n_labels; i++) {
        const SingerLabel *label = &take->labels[i];
        fprintf(file, "%s\t%.6f\t%.6f\t%.2f\n", singer_kind_name(label->kind),
                (double)label->start / take->rate_hz, (double)label->end / take->rate_hz,
                label->value);
    }
    return fclose(file) == 0;
}

static bool write_stems(const char *prefix, const SingerTake *take) {
    static const char *const names[SINGER_STEMS] = {"voice",   "sibilants", "consonants",
                                                    "breaths", "clicks",    "room"};
    for (size_t k = 0; k < SINGER_STEMS; k++) {
        char path[4096];
        if (snprintf(path, sizeof path, "%s-%s.wav", prefix, names[k]) >= (int)sizeof path ||
            !write_wav(path, take->stem[k], take->n, take->rate_hz))
            return false;
    }
    return true;
}

int main(int argc, char **argv) {
    Options options = {0};
    if (!read_options(argc, argv, &options)) {
        fputs(usage, stderr);
        return 2;
    }
    SingerParams params;
    if (!choose_singer(&options, &params))
        return 2;
    SingerTake take;
    if (!singer_take(&params, &take)) {
        fputs("siskin-sing: out of memory, or a score that cannot be sung\n", stderr);
        return 1;
    }
    bool ok = write_wav(options.path, take.mix, take.n, take.rate_hz) &&
              (!options.labels || write_labels(options.labels, &take)) &&
              (!options.stems || write_stems(options.stems, &take));
    singer_free(&take);
    return ok ? 0 : 1;
}
