/* SPDX-License-Identifier: ISC */
#include "material.h"

#include <glob.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

/* ---- What there is ---- */

typedef struct {
    MaterialSet set;
    const char *name, *package, *pattern; /* of files, joined in order of their names */
    double longest_s; /* of the joined take; some recordings last half an hour */
    size_t skip;      /* files left out at the start */
} Recording;

#define CSOUND "/usr/share/doc/csound-doc/html/examples/"
#define KLETTRES "/usr/share/klettres/"
#define ASTERISK "/usr/share/asterisk/sounds/"

static const Recording recordings[] = {
    {MATERIAL_TUNE, "itsall-f-sung", "csoundqt-examples",
     "/usr/share/csoundqt/Examples/SourceMaterials/AndItsAll.wav", 40.0, 0},
    {MATERIAL_TUNE, "sing-sung", "csound-doc", CSOUND "sing.wav.gz", 40.0, 0},
    {MATERIAL_TUNE, "mathews-m", "csound-doc", CSOUND "Mathews.wav.gz", 40.0, 0},
    {MATERIAL_TUNE, "letters-cs", "klettres-data", KLETTRES "cs/alpha/*.ogg", 40.0, 0},
    {MATERIAL_TUNE, "letters-de", "klettres-data", KLETTRES "de/alpha/*.ogg", 40.0, 0},
    {MATERIAL_TUNE, "letters-nl", "klettres-data", KLETTRES "nl/alpha/*.ogg", 45.0, 0},
    {MATERIAL_TUNE, "speech-16k", "codec2-examples", "/usr/share/codec2/raw/speech_orig_16k.wav",
     30.0, 0},
    {MATERIAL_TUNE, "prompts-en-f", "asterisk-core-sounds-en-g722", ASTERISK "en_US_f_*/*.g722",
     40.0, 40},
    {MATERIAL_HELD, "speaker-test-f", "alsa-utils", "/usr/share/sounds/alsa/[FRS]*.wav", 40.0, 0},
    {MATERIAL_HELD, "female-sung", "csound-doc", CSOUND "singFemale.aif.gz", 40.0, 0},
    {MATERIAL_HELD, "finnegan-m", "csound-doc", CSOUND "finneganswake1.flac.gz", 40.0, 0},
    {MATERIAL_HELD, "fox-m", "csound-doc", CSOUND "fox.wav.gz", 40.0, 0},
    {MATERIAL_HELD, "letters-en", "klettres-data", KLETTRES "en_GB/alpha/*.ogg", 40.0, 0},
    {MATERIAL_HELD, "letters-fr", "klettres-data", KLETTRES "fr/alpha/*.ogg", 40.0, 0},
    {MATERIAL_HELD, "syllables-hu", "klettres-data", KLETTRES "hu/syllab/*.ogg", 40.0, 0},
    {MATERIAL_HELD, "syllables-nl", "klettres-data", KLETTRES "nl/syllab/*.ogg", 45.0, 0},
    {MATERIAL_HELD, "letters-uk", "klettres-data", KLETTRES "uk/alpha/*.ogg", 40.0, 0},
    {MATERIAL_HELD, "prompts-it-m", "asterisk-core-sounds-it-g722", ASTERISK "it_IT_m_*/*.g722",
     40.0, 40},
};

typedef struct {
    MaterialSet set;
    SingerVoice voice;
    double rate_hz;
    unsigned long long seed;
} Sung;

static const Sung singers[] = {
    {MATERIAL_TUNE, SINGER_WOMAN, 48000.0, 101},  {MATERIAL_TUNE, SINGER_MAN, 48000.0, 102},
    {MATERIAL_TUNE, SINGER_WOMAN, 44100.0, 103},  {MATERIAL_TUNE, SINGER_MAN, 44100.0, 104},
    {MATERIAL_TUNE, SINGER_WOMAN, 96000.0, 105},  {MATERIAL_TUNE, SINGER_MAN, 48000.0, 106},
    {MATERIAL_HELD, SINGER_WOMAN, 48000.0, 9001}, {MATERIAL_HELD, SINGER_MAN, 48000.0, 9002},
    {MATERIAL_HELD, SINGER_WOMAN, 44100.0, 9003}, {MATERIAL_HELD, SINGER_MAN, 44100.0, 9004},
    {MATERIAL_HELD, SINGER_WOMAN, 48000.0, 9005}, {MATERIAL_HELD, SINGER_MAN, 96000.0, 9006},
};

/* ---- Reading files ---- */

typedef struct {
    float *audio;
    size_t n;
    double rate_hz;
} Clip;

static bool clip_append(Clip *clip, const float *audio, size_t n) {
    float *grown = realloc(clip->audio, (clip->n + n + 1) * sizeof *grown);
    if (!grown)
        return false;
    clip->audio = grown;
    memcpy(grown + clip->n, audio, n * sizeof *audio);
    clip->n += n;
    return true;
}

/* The first channel of an open sound file. */
static bool read_sound(SNDFILE *file, const SF_INFO *info, Clip *clip) {
    size_t channels = (size_t)info->channels;
    float *frames = malloc(4096 * channels * sizeof *frames), mono[4096];
    bool ok = frames != NULL;
    clip->rate_hz = info->samplerate;
    for (sf_count_t got; ok && (got = sf_readf_float(file, frames, 4096)) > 0;) {
        for (size_t i = 0; i < (size_t)got; i++)
            mono[i] = frames[i * channels];
        ok = clip_append(clip, mono, (size_t)got);
    }
    free(frames);
    return ok;
}

typedef struct {
    unsigned char *bytes;
    sf_count_t size, at;
} Memory;

static sf_count_t memory_length(void *user) {
    return ((Memory *)user)->size;
}

static sf_count_t memory_seek(sf_count_t offset, int whence, void *user) {
    Memory *memory = user;
    sf_count_t base = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? memory->at : memory->size;
    return memory->at = base + offset;
}

static sf_count_t memory_read(void *to, sf_count_t count, void *user) {
    Memory *memory = user;
    sf_count_t left = memory->size - memory->at;
    count = left < 0 ? 0 : count < left ? count : left;
    memcpy(to, memory->bytes + memory->at, (size_t)count);
    memory->at += count;
    return count;
}

static sf_count_t memory_tell(void *user) {
    return ((Memory *)user)->at;
}

static bool read_gzip(const char *path, Clip *clip) {
    gzFile zip = gzopen(path, "rb");
    Memory memory = {NULL, 0, 0};
    bool ok = zip != NULL;
    for (int got = 1; ok && got > 0;) {
        unsigned char *grown = realloc(memory.bytes, (size_t)memory.size + 65536);
        ok = grown != NULL;
        memory.bytes = ok ? grown : memory.bytes;
        got = ok ? gzread(zip, memory.bytes + memory.size, 65536) : -1;
        memory.size += got > 0 ? got : 0;
        ok = ok && got >= 0;
    }
    if (zip)
        gzclose(zip);
    SF_VIRTUAL_IO io = {memory_length, memory_seek, memory_read, NULL, memory_tell};
    SF_INFO info = {0};
    SNDFILE *file = ok ? sf_open_virtual(&io, SFM_READ, &info, &memory) : NULL;
    ok = file && read_sound(file, &info, clip);
    if (file)
        sf_close(file);
    free(memory.bytes);
    return ok;
}

/* G.722 is read by no library used here; where ffmpeg is installed it does it. */
static bool read_g722(const char *path, Clip *clip) {
    char command[1024];
    if (snprintf(command, sizeof command,
                 "ffmpeg -v quiet -nostdin -f g722 -i '%s' -f f32le -ac 1 - 2>/dev/null",
                 path) >= (int)sizeof command)
        return false;
    FILE *pipe = popen(command, "r");
    if (!pipe)
        return false;
    float block[4096];
    bool ok = true;
    for (size_t got; ok && (got = fread(block, sizeof *block, 4096, pipe)) > 0;)
        ok = clip_append(clip, block, got);
    clip->rate_hz = 16000.0;
    return pclose(pipe) == 0 && ok && clip->n > 0;
}

static bool read_plain(const char *path, Clip *clip) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    bool ok = file && read_sound(file, &info, clip);
    if (file)
        sf_close(file);
    return ok;
}

static bool ends_with(const char *text, const char *end) {
    size_t n = strlen(text), m = strlen(end);
    return n >= m && strcmp(text + n - m, end) == 0;
}

static bool read_any(const char *path, Clip *clip) {
    if (ends_with(path, ".gz"))
        return read_gzip(path, clip);
    return ends_with(path, ".g722") ? read_g722(path, clip) : read_plain(path, clip);
}

/* Takes away what lies below 30 Hz (one of the recordings carries a steady offset). */
static void remove_offset(Clip *clip) {
    SignalsBiquad cut = signals_high_pass(clip->rate_hz, 30.0, 0.7071);
    for (size_t i = 0; i < clip->n; i++)
        clip->audio[i] = (float)signals_biquad_step(&cut, (double)clip->audio[i]);
}

/* All files of a recording behind each other, each with 5 ms fades so that no seam clicks. */
static bool read_recording(const Recording *recording, Clip *whole) {
    glob_t found;
    *whole = (Clip){NULL, 0, 0.0};
    if (glob(recording->pattern, 0, NULL, &found) != 0)
        return false;
    for (size_t i = recording->skip; i < found.gl_pathc; i++) {
        Clip clip = {NULL, 0, 0.0};
        if (read_any(found.gl_pathv[i], &clip) &&
            (whole->n == 0 || clip.rate_hz == whole->rate_hz)) {
            whole->rate_hz = clip.rate_hz;
            remove_offset(&clip);
            signals_fade_ends(clip.audio, clip.n, (size_t)(0.005 * clip.rate_hz));
            (void)clip_append(whole, clip.audio, clip.n);
        }
        free(clip.audio);
        if ((double)whole->n > recording->longest_s * whole->rate_hz)
            break;
    }
    globfree(&found);
    return whole->n > 0;
}

/* ---- Energy ---- */

double material_click_top(double rate_hz) {
    return fmin(12000.0, 0.45 * rate_hz);
}

bool energy_of(const float *audio, size_t n, double rate_hz, double low_hz, double high_hz,
               Energy *energy) {
    SignalsBand band = signals_band(rate_hz, low_hz, high_hz);
    energy->n = n;
    energy->sum = malloc((n + 1) * sizeof *energy->sum);
    if (!energy->sum)
        return false;
    energy->sum[0] = 0.0;
    for (size_t i = 0; i < n; i++) {
        double y = signals_band_step(&band, (double)audio[i]);
        energy->sum[i + 1] = energy->sum[i] + y * y;
    }
    return true;
}

void energy_free(Energy *energy) {
    free(energy->sum);
    *energy = (Energy){NULL, 0};
}

double energy_between(const Energy *energy, size_t start, size_t end) {
    end = end < energy->n ? end : energy->n;
    return start < end ? energy->sum[end] - energy->sum[start] : 0.0;
}

double energy_db(const Energy *energy, size_t start, size_t end) {
    end = end < energy->n ? end : energy->n;
    double power = start < end ? energy_between(energy, start, end) / (double)(end - start) : 0.0;
    return fmax(power > 0.0 ? 10.0 * log10(power) : ENERGY_FLOOR_DB, ENERGY_FLOOR_DB);
}

/* ---- Labels of recorded voices ---- */

static bool add_label(Voice *voice, SingerKind kind, size_t start, size_t end) {
    SingerLabel *grown = realloc(voice->labels, (voice->n_labels + 1) * sizeof *grown);
    if (!grown)
        return false;
    voice->labels = grown;
    grown[voice->n_labels++] = (SingerLabel){kind, start, end, 0.0};
    return true;
}

typedef struct {
    size_t hop, frames; /* 5 ms */
    double *level;      /* dB of each frame's 10 ms, full band */
    double *high, *low; /* dB of its 20 ms above 3 kHz and below 1.5 kHz */
    double speech_db, floor_db;
} Levels;

static void levels_free(Levels *levels) {
    free(levels->level);
}

static double quantile_of_copy(const double *values, size_t n, double p) {
    double *copy = malloc((n + 1) * sizeof *copy);
    if (!copy)
        return ENERGY_FLOOR_DB;
    memcpy(copy, values, n * sizeof *copy);
    double q = signals_quantile(copy, n, p);
    free(copy);
    return q;
}

static bool measure_levels(const Voice *voice, Levels *levels) {
    Energy all = {NULL, 0}, high = {NULL, 0}, low = {NULL, 0};
    levels->hop = (size_t)(0.005 * voice->rate_hz);
    levels->frames = voice->n / levels->hop;
    levels->level = calloc(3 * levels->frames + 1, sizeof *levels->level);
    levels->high = levels->level + levels->frames;
    levels->low = levels->high + levels->frames;
    bool ok = levels->level && energy_of(voice->audio, voice->n, voice->rate_hz, 60, 1e9, &all) &&
              energy_of(voice->audio, voice->n, voice->rate_hz, 3000, 1e9, &high) &&
              energy_of(voice->audio, voice->n, voice->rate_hz, 60, 1500, &low);
    for (size_t i = 0; ok && i < levels->frames; i++) {
        size_t at = i * levels->hop, h = levels->hop;
        size_t from = at > 3 * h / 2 ? at - 3 * h / 2 : 0;
        levels->level[i] = energy_db(&all, at > h / 2 ? at - h / 2 : 0, at + 3 * h / 2);
        levels->high[i] = energy_db(&high, from, at + 5 * h / 2);
        levels->low[i] = energy_db(&low, from, at + 5 * h / 2);
    }
    energy_free(&all);
    energy_free(&high);
    energy_free(&low);
    if (ok) {
        levels->speech_db = quantile_of_copy(levels->level, levels->frames, 0.9);
        levels->floor_db = quantile_of_copy(levels->level, levels->frames, 0.1);
    }
    return ok;
}

/* First frame from i on where `level` is above (or not above) the threshold for `least` frames. */
static size_t next_run(const double *level, size_t n, size_t i, double threshold, bool above,
                       size_t least) {
    size_t run = 0;
    for (; i < n; i++) {
        run = (level[i] > threshold) == above ? run + 1 : 0;
        if (run == least)
            return i + 1 - least;
    }
    return n;
}

/* An utterance is what rises over the threshold and is not broken by 120 ms below it, and comes
 * within 25 dB of the speech level at least once. Each is a phrase of one word. The threshold:
 * 38 dB under the speech level (its 90th percentile), but 8 dB over the floor (the 10th). */
static bool label_utterances(Voice *voice, const Levels *levels) {
    double threshold = fmax(levels->speech_db - 38.0, levels->floor_db + 8.0);
    size_t hop = levels->hop, n = levels->frames, gap = 0;
    for (size_t i = 0; i < n;) {
        size_t start = next_run(levels->level, n, i, threshold, true, 3);
        size_t end = next_run(levels->level, n, start, threshold, false, 24);
        double loudest = ENERGY_FLOOR_DB;
        for (size_t k = start; k < end; k++)
            loudest = fmax(loudest, levels->level[k]);
        i = end;
        if (start == end || loudest < levels->speech_db - 25.0)
            continue;
        if (start > gap && !add_label(voice, SINGER_GAP, gap * hop, start * hop))
            return false;
        if (!add_label(voice, SINGER_PHRASE, start * hop, end * hop) ||
            !add_label(voice, SINGER_WORD, start * hop, end * hop))
            return false;
        gap = end;
    }
    return gap == n || add_label(voice, SINGER_GAP, gap * hop, n * hop);
}

/* The rule of an unreviewed measurement on read speech (check value C.1): at least 40 ms in which
 * the energy above 3 kHz exceeds that below 1.5 kHz; here also within 35 dB of the speech level. */
static bool label_sibilants(Voice *voice, const Levels *levels) {
    size_t run = 0;
    for (size_t i = 0; i <= levels->frames; i++) {
        bool hiss = i < levels->frames && levels->high[i] > levels->low[i] &&
                    levels->high[i] > levels->speech_db - 35.0;
        if (!hiss && run >= 8 &&
            !add_label(voice, SINGER_S, (i - run) * levels->hop, i * levels->hop))
            return false;
        run = hiss ? run + 1 : 0;
    }
    return true;
}

static int by_start(const void *a, const void *b) {
    const SingerLabel *x = a, *y = b;
    if (x->start != y->start)
        return x->start < y->start ? -1 : 1;
    return (int)y->kind - (int)x->kind;
}

static bool material_label(Voice *voice) {
    Levels levels = {0};
    bool ok = measure_levels(voice, &levels) && label_utterances(voice, &levels) &&
              label_sibilants(voice, &levels);
    levels_free(&levels);
    if (ok)
        qsort(voice->labels, voice->n_labels, sizeof *voice->labels, by_start);
    return ok;
}

/* ---- Loading a set ---- */

static Voice *new_voice(Material *material) {
    Voice *grown = realloc(material->voices, (material->count + 1) * sizeof *grown);
    if (!grown)
        return NULL;
    material->voices = grown;
    grown[material->count] = (Voice){.n = 0};
    return &grown[material->count++];
}

static bool load_recording(const Recording *recording, void (*notice)(const char *),
                           Material *material) {
    Clip clip;
    if (!read_recording(recording, &clip)) {
        char line[256];
        snprintf(line, sizeof line, "skipped %s: install %s%s", recording->name, recording->package,
                 ends_with(recording->pattern, "g722") ? " and ffmpeg" : "");
        if (notice)
            notice(line);
        free(clip.audio);
        return true;
    }
    Voice *voice = new_voice(material);
    if (!voice) {
        free(clip.audio);
        return false;
    }
    snprintf(voice->name, sizeof voice->name, "%s", recording->name);
    voice->recorded = true;
    voice->rate_hz = clip.rate_hz;
    voice->n = clip.n;
    voice->audio = clip.audio;
    return material_label(voice);
}

static bool load_sung(const Sung *sung, Material *material) {
    Voice *voice = new_voice(material);
    if (!voice)
        return false;
    SingerParams params = singer_params(sung->voice, sung->rate_hz, sung->seed);
    params.word_clicks = 0.8;
    params.phrases = 8;
    if (!singer_take(&params, &voice->take))
        return false;
    snprintf(voice->name, sizeof voice->name, "%s %llu at %g kHz",
             sung->voice == SINGER_MAN ? "man" : "woman", sung->seed, sung->rate_hz / 1000.0);
    voice->rate_hz = sung->rate_hz;
    voice->n = voice->take.n;
    voice->labels = voice->take.labels;
    voice->n_labels = voice->take.n_labels;
    voice->audio = malloc((voice->n + 1) * sizeof *voice->audio);
    if (voice->audio)
        singer_mix(&voice->take, ~(1u << SINGER_STEM_CLICKS), voice->audio);
    return voice->audio != NULL;
}

bool material_load(MaterialSet set, void (*notice)(const char *line), Material *material) {
    *material = (Material){NULL, 0};
    bool ok = true;
    for (size_t i = 0; i < sizeof singers / sizeof *singers && ok; i++)
        if (singers[i].set == set)
            ok = load_sung(&singers[i], material);
    for (size_t i = 0; i < sizeof recordings / sizeof *recordings && ok; i++)
        if (recordings[i].set == set)
            ok = load_recording(&recordings[i], notice, material);
    return ok;
}

void material_free(Material *material) {
    for (size_t i = 0; i < material->count; i++) {
        Voice *voice = &material->voices[i];
        if (voice->recorded)
            free(voice->labels);
        else
            singer_free(&voice->take); /* its labels with it */
        free(voice->audio);
    }
    free(material->voices);
    *material = (Material){NULL, 0};
}

/* ---- Clicks ---- */

/* One burst: noise through a resonance, under t^2 exp(-t / tau). Adds to out[0..n). */
static void lay_burst(float *out, size_t n, double rate_hz, double height, Random *random) {
    double top = material_click_top(rate_hz);
    double hz = 1100.0 * pow(0.9 * top / 1100.0, random_unit(random));
    SignalsBiquad tone = signals_band_pass(rate_hz, hz, random_range(random, 0.7, 8.0));
    double tau_s = (double)n / rate_hz / 7.0; /* over after 7 tau: 49 e^-7 is 3 % of the peak */
    for (size_t i = 0; i < n; i++) {
        double x = (double)i / rate_hz / tau_s;
        double y = signals_biquad_step(&tone, random_normal(random));
        out[i] += (float)(height * x * x * exp(-x) * y);
    }
}

/* A click of 1..15 ms at click[0..length); returns its length. */
static size_t lay_shape(float *click, size_t longest, double rate_hz, Random *random) {
    double length_s = 0.001 * pow(15.0, random_unit(random));
    size_t length = (size_t)(length_s * rate_hz);
    length = length < longest ? length : longest;
    size_t bursts = length_s < 0.004 ? 1 : 1 + random_below(random, 3);
    signals_silence(click, length);
    for (size_t k = 0; k < bursts; k++) {
        size_t at = k * length / bursts;
        lay_burst(click + at, length / bursts, rate_hz, k ? random_range(random, 0.3, 1.1) : 1.0,
                  random);
    }
    return length;
}

typedef struct {
    const Voice *voice;
    float *audio;
    Energy band;
    Random random;
    Click *clicks;
    size_t count, room;
} Layer;

static bool keep_click(Layer *layer, size_t start, size_t end, bool in_word, double db) {
    if (layer->count == layer->room) {
        size_t room = 2 * layer->room + 64;
        Click *grown = realloc(layer->clicks, room * sizeof *grown);
        if (!grown)
            return false;
        layer->clicks = grown;
        layer->room = room;
    }
    layer->clicks[layer->count++] = (Click){start, end, in_word, db};
    return true;
}

static bool covered(const Voice *voice, SingerKind kind, size_t from, size_t to) {
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == kind && voice->labels[i].start <= from &&
            voice->labels[i].end >= to)
            return true;
    return false;
}

static bool touched(const Voice *voice, SingerKind kind, size_t from, size_t to) {
    for (size_t i = 0; i < voice->n_labels; i++)
        if (voice->labels[i].kind == kind && voice->labels[i].start < to &&
            voice->labels[i].end > from)
            return true;
    return false;
}

/* Inside a word: 20 ms within a voiced sound, or in a recording within a word but off sibilants,
 * where the click band is neither silent nor more than 25 dB under its level over the word. */
static bool inside_word(const Layer *layer, size_t start, size_t end) {
    const Voice *voice = layer->voice;
    size_t margin = (size_t)(0.02 * voice->rate_hz);
    size_t from = start > margin ? start - margin : 0, to = end + margin;
    if (!voice->recorded)
        return covered(voice, SINGER_VOICED, from, to);
    if (!covered(voice, SINGER_WORD, from, to) || touched(voice, SINGER_S, from, to))
        return false;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *word = &voice->labels[i];
        if (word->kind == SINGER_WORD && word->start <= from && word->end >= to)
            return energy_db(&layer->band, from, to) >
                   energy_db(&layer->band, word->start, word->end) - 25.0;
    }
    return false;
}

static bool inside_gap(const Layer *layer, size_t start, size_t end) {
    size_t margin = (size_t)(0.03 * layer->voice->rate_hz);
    return covered(layer->voice, SINGER_GAP, start > margin ? start - margin : 0, end + margin);
}

static bool lay_at(Layer *layer, size_t at) {
    enum { LONGEST = 192 * 16 };
    float click[LONGEST], band[LONGEST];
    const Voice *voice = layer->voice;
    double rate_hz = voice->rate_hz;
    size_t length = lay_shape(click, LONGEST, rate_hz, &layer->random);
    double word_db = random_range(&layer->random, 10.0, 20.0);
    double gap_db = random_range(&layer->random, 12.0, 35.0);
    if (at + length >= voice->n)
        return true;
    bool in_word = inside_word(layer, at, at + length);
    if (!in_word && !inside_gap(layer, at, at + length))
        return true;
    size_t reach = (size_t)(0.025 * rate_hz);
    double around_db = energy_db(&layer->band, at > reach ? at - reach : 0, at + reach);
    double db = in_word ? word_db : gap_db;
    signals_band_filter(click, band, length, rate_hz, 1000.0, material_click_top(rate_hz));
    double peak = signals_peak(band, length);
    if (!(peak > 0.0))
        return true;
    signals_scale(click, length, pow(10.0, (around_db + db) / 20.0) / peak);
    signals_add(layer->audio + at, click, length);
    return keep_click(layer, at, at + length, in_word, db);
}

static bool lay_singers_own(Layer *layer) {
    const Voice *voice = layer->voice;
    if (voice->recorded)
        return true;
    signals_add(layer->audio, voice->take.stem[SINGER_STEM_CLICKS], voice->n);
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *l = &voice->labels[i];
        if (l->kind == SINGER_CLICK &&
            !keep_click(layer, l->start, l->end, !touched(voice, SINGER_GAP, l->start, l->end),
                        l->value))
            return false;
    }
    return true;
}

static bool free_around(const Layer *layer, size_t at, size_t reach) {
    for (size_t i = 0; i < layer->count; i++)
        if (layer->clicks[i].start < at + reach && layer->clicks[i].end + reach > at)
            return false;
    return true;
}

static int by_click(const void *a, const void *b) {
    const Click *x = a, *y = b;
    return (x->start > y->start) - (x->start < y->start);
}

size_t material_clicks(const Voice *voice, unsigned long long seed, float *audio, Click **clicks) {
    Layer layer = {.voice = voice, .audio = audio, .random = random_seeded(seed)};
    bool ok = energy_of(voice->audio, voice->n, voice->rate_hz, 1000.0,
                        material_click_top(voice->rate_hz), &layer.band) &&
              lay_singers_own(&layer);
    size_t step = (size_t)(0.25 * voice->rate_hz), reach = (size_t)(0.1 * voice->rate_hz);
    for (size_t at = step / 2; ok && at + step < voice->n; at += step) {
        size_t place = at + (size_t)(random_unit(&layer.random) * 0.5 * (double)step);
        if (free_around(&layer, place, reach))
            ok = lay_at(&layer, place);
    }
    energy_free(&layer.band);
    *clicks = layer.clicks;
    if (layer.count)
        qsort(layer.clicks, layer.count, sizeof *layer.clicks, by_click);
    return ok ? layer.count : 0;
}
