/* SPDX-License-Identifier: ISC */
#include "quality/material.h"

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
    unsigned skip;    /* files left out at the start */
    bool no_breaths;  /* see Voice */
} Recording;

#define CSOUND "/usr/share/doc/csound-doc/html/examples/"
#define KLETTRES "/usr/share/klettres/"
#define ASTERISK "/usr/share/asterisk/sounds/"

static const Recording recordings[] = {
    {MATERIAL_TUNE, "itsall-f-sung", "csoundqt-examples",
     "/usr/share/csoundqt/Examples/SourceMaterials/AndItsAll.wav", 40.0, 0, false},
    {MATERIAL_TUNE, "sing-sung", "csound-doc", CSOUND "sing.wav.gz", 40.0, 0, false},
    {MATERIAL_TUNE, "mathews-m", "csound-doc", CSOUND "Mathews.wav.gz", 40.0, 0, false},
    {MATERIAL_TUNE, "letters-cs", "klettres-data", KLETTRES "cs/alpha/*.ogg", 40.0, 0, false},
    {MATERIAL_TUNE, "letters-de", "klettres-data", KLETTRES "de/alpha/*.ogg", 40.0, 0, false},
    {MATERIAL_TUNE, "letters-nl", "klettres-data", KLETTRES "nl/alpha/*.ogg", 45.0, 0, false},
    {MATERIAL_TUNE, "speech-16k", "codec2-examples", "/usr/share/codec2/raw/speech_orig_16k.wav",
     30.0, 0, false},
    {MATERIAL_TUNE, "letters-lt", "klettres-data", KLETTRES "lt/alpha/*.ogg", 25.0, 0, true},
    {MATERIAL_TUNE, "letters-ru", "klettres-data", KLETTRES "ru/alpha/*.ogg", 25.0, 0, true},
    {MATERIAL_TUNE, "prompts-en-f", "asterisk-core-sounds-en-g722", ASTERISK "en_US_f_*/*.g722",
     25.0, 40, false},
    {MATERIAL_HELD, "speaker-test-f", "alsa-utils", "/usr/share/sounds/alsa/[FRS]*.wav", 40.0, 0,
     false},
    {MATERIAL_HELD, "female-sung", "csound-doc", CSOUND "singFemale.aif.gz", 40.0, 0, false},
    {MATERIAL_HELD, "finnegan-m", "csound-doc", CSOUND "finneganswake1.flac.gz", 40.0, 0, false},
    {MATERIAL_HELD, "fox-m", "csound-doc", CSOUND "fox.wav.gz", 40.0, 0, false},
    {MATERIAL_HELD, "letters-en", "klettres-data", KLETTRES "en_GB/alpha/*.ogg", 40.0, 0, false},
    {MATERIAL_HELD, "letters-fr", "klettres-data", KLETTRES "fr/alpha/*.ogg", 40.0, 0, true},
    {MATERIAL_HELD, "syllables-hu", "klettres-data", KLETTRES "hu/syllab/*.ogg", 40.0, 0, false},
    {MATERIAL_HELD, "syllables-nl", "klettres-data", KLETTRES "nl/syllab/*.ogg", 45.0, 0, false},
    {MATERIAL_HELD, "letters-uk", "klettres-data", KLETTRES "uk/alpha/*.ogg", 40.0, 0, false},
    {MATERIAL_HELD, "letters-it", "klettres-data", KLETTRES "it/alpha/*.ogg", 25.0, 0, true},
    {MATERIAL_HELD, "letters-pt", "klettres-data", KLETTRES "pt_BR/alpha/*.ogg", 25.0, 0, true},
    {MATERIAL_HELD, "letters-he", "klettres-data", KLETTRES "he/alpha/*.ogg", 25.0, 0, true},
    {MATERIAL_HELD, "prompts-it-m", "asterisk-core-sounds-it-g722", ASTERISK "it_IT_m_*/*.g722",
     25.0, 40, false},
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

/* Inhalations in recordings that have some, found by eye and by level in their spectrograms;
 * seconds within the file. What is fainter, or cannot be told from other noise, is not listed, so
 * these recordings' gaps count neither as breath nor as none outside these. */
typedef struct {
    const char *recording, *file;
    double start_s, end_s;
} HandLabel;

static const HandLabel breaths_heard[] = {
    {"letters-nl", "a-10.ogg", 0.12, 0.36},      {"letters-nl", "a-11.ogg", 0.27, 0.44},
    {"letters-nl", "a-13.ogg", 0.205, 0.51},     {"letters-nl", "a-14.ogg", 0.32, 0.69},
    {"letters-nl", "a-16.ogg", 0.36, 0.66},      {"letters-nl", "a-17.ogg", 0.28, 0.56},
    {"letters-nl", "a-18.ogg", 0.19, 0.53},      {"letters-nl", "a-5.ogg", 0.37, 0.71},
    {"letters-nl", "a-6.ogg", 0.43, 0.67},       {"letters-nl", "a-7.ogg", 0.05, 0.18},
    {"letters-nl", "a-9.ogg", 0.05, 0.32},       {"syllables-nl", "ad-0.ogg", 0.43, 0.59},
    {"syllables-nl", "ad-10.ogg", 0.55, 0.7},    {"syllables-nl", "ad-11.ogg", 0.39, 0.58},
    {"syllables-nl", "ad-15.ogg", 0.28, 0.64},   {"syllables-nl", "ad-17.ogg", 0.52, 0.81},
    {"syllables-nl", "ad-18.ogg", 0.26, 0.67},   {"syllables-nl", "ad-19.ogg", 0.05, 0.52},
    {"syllables-nl", "ad-2.ogg", 1.01, 1.45},    {"syllables-nl", "ad-20.ogg", 0.46, 0.93},
    {"syllables-nl", "ad-22.ogg", 0.62, 0.8},    {"syllables-nl", "ad-23.ogg", 0.05, 0.25},
    {"syllables-nl", "ad-24.ogg", 0.105, 0.205}, {"syllables-nl", "ad-25.ogg", 0.27, 0.74},
    {"syllables-nl", "ad-3.ogg", 0.41, 0.53},    {"syllables-nl", "ad-5.ogg", 0.21, 0.43},
    {"syllables-nl", "ad-6.ogg", 0.07, 0.4},     {"syllables-nl", "ad-7.ogg", 0.09, 0.32},
    {"syllables-nl", "ad-9.ogg", 0.48, 0.71},
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
    FILE *pipe = popen(command, "r"); // NOLINT(cert-env33-c): the path comes from a package
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

/* Labels of the file at `path`, which is about to be appended to `whole`. */
static void label_by_hand(const char *recording, const char *path, const Clip *whole,
                          Voice *voice) {
    const char *file = strrchr(path, '/') ? strrchr(path, '/') + 1 : path;
    for (size_t i = 0; i < sizeof breaths_heard / sizeof *breaths_heard; i++) {
        const HandLabel *l = &breaths_heard[i];
        if (strcmp(l->recording, recording) == 0 && strcmp(l->file, file) == 0) {
            (void)voice_label(voice, SINGER_BREATH,
                              whole->n + (size_t)(l->start_s * whole->rate_hz),
                              whole->n + (size_t)(l->end_s * whole->rate_hz));
            voice->gaps_unknown = true;
        }
    }
}

/* All files of a recording behind each other, each with 5 ms fades so that no seam clicks, and a
 * quarter of a second of silence after it: some are cut so close that they would run together. */
static bool read_recording(const Recording *recording, Clip *whole, Voice *voice) {
    static const float silence[48000];
    glob_t found;
    *whole = (Clip){NULL, 0, 0.0};
    if (glob(recording->pattern, 0, NULL, &found) != 0)
        return false;
    for (size_t i = recording->skip; i < found.gl_pathc; i++) {
        Clip clip = {NULL, 0, 0.0};
        if (read_any(found.gl_pathv[i], &clip) &&
            (whole->n == 0 || clip.rate_hz == whole->rate_hz)) {
            whole->rate_hz = clip.rate_hz;
            size_t rest = (size_t)(0.25 * clip.rate_hz);
            rest = rest < sizeof silence / sizeof *silence ? rest : 0;
            remove_offset(&clip);
            signals_fade_ends(clip.audio, clip.n, (size_t)(0.005 * clip.rate_hz));
            label_by_hand(recording->name, found.gl_pathv[i], whole, voice);
            (void)clip_append(whole, clip.audio, clip.n);
            (void)clip_append(whole, silence, found.gl_pathc > 1 ? rest : 0);
        }
        free(clip.audio);
        if ((double)whole->n > recording->longest_s * whole->rate_hz)
            break;
    }
    globfree(&found);
    return whole->n > 0;
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

static bool read_into(const Recording *recording, Voice *voice) {
    Clip clip;
    if (!read_recording(recording, &clip, voice)) {
        free(clip.audio);
        return false;
    }
    snprintf(voice->name, sizeof voice->name, "%s", recording->name);
    voice->recorded = true;
    voice->no_breaths = recording->no_breaths;
    voice->rate_hz = clip.rate_hz;
    voice->n = clip.n;
    voice->audio = clip.audio;
    return true;
}

static bool load_recording(const Recording *recording, void (*notice)(const char *),
                           Material *material) {
    Voice *voice = new_voice(material);
    if (!voice)
        return false;
    if (!read_into(recording, voice)) {
        char line[256];
        snprintf(line, sizeof line, "skipped %s: install %s%s", recording->name, recording->package,
                 ends_with(recording->pattern, "g722") ? " and ffmpeg" : "");
        if (notice)
            notice(line);
        material->count--;
        return true;
    }
    return material_label(voice);
}

bool material_reader(MaterialSet set, double longest_s, Voice *voice) {
    const char *name = set == MATERIAL_TUNE ? "prompts-en-f" : "prompts-it-m";
    *voice = (Voice){.n = 0};
    for (size_t i = 0; i < sizeof recordings / sizeof *recordings; i++) {
        Recording more = recordings[i];
        more.longest_s = longest_s;
        more.skip += 40;
        if (strcmp(more.name, name) == 0)
            return read_into(&more, voice) && material_label(voice);
    }
    return false;
}

static bool load_sung(const Sung *sung, Material *material) {
    Voice *voice = new_voice(material);
    if (!voice)
        return false;
    SingerParams params = singer_params(sung->voice, sung->rate_hz, sung->seed);
    params.word_clicks = 0.8;
    params.phrases = 10;
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

void voice_free(Voice *voice) {
    if (!voice->recorded && voice->take.labels)
        voice->labels = NULL; /* lent */
    singer_free(&voice->take);
    free(voice->labels);
    free(voice->audio);
    free(voice->breaths);
    *voice = (Voice){.n = 0};
}

void material_free(Material *material) {
    for (size_t i = 0; i < material->count; i++)
        voice_free(&material->voices[i]);
    free(material->voices);
    *material = (Material){NULL, 0};
}
