/* SPDX-License-Identifier: ISC */
/* audio.h: reading and writing audio files in blocks, through libsndfile.
 *
 * Samples are floats, full scale +-1; channels are apart, one array each. */
#ifndef SISKIN_RENDER_AUDIO_H
#define SISKIN_RENDER_AUDIO_H

#include "siskin/safe.h"

#include <sndfile.h>
#include <stdint.h>
#include <time.h>

enum {
    AUDIO_CHANNELS = 2, /* most channels of a file read or written */
    AUDIO_BLOCK = 4096, /* most frames of one audio_read or audio_write */
};

/* ---- reading ---- */

enum { AUDIO_MOST_HOLES = 64 };

/* A stretch of a file that cannot be read. */
typedef struct {
    uint64_t from, frames;
} AudioHole;

typedef struct {
    bool salvage;      /* read what is there of a damaged file */
    double full_scale; /* what stands for 1 in the file; 0: 1 */
} AudioHow;

typedef struct AudioConverter AudioConverter;

typedef struct {
    char *path;
    SNDFILE *file;
    AudioHow how;
    double rate_hz;      /* as it is read */
    double file_rate_hz; /* as it is in the file */
    unsigned channels;   /* 1..AUDIO_CHANNELS */
    uint64_t frames;     /* to be had; at least 1 */
    uint64_t at;         /* frames read so far */
    uint64_t file_frames, file_at;
    uint64_t cleaned;       /* samples that were not finite, and were read as 0 */
    uint64_t first_cleaned; /* frame of the first of them */
    uint64_t too_loud;      /* samples over AUDIO_LOUDEST, which a processor takes for none */
    double peak;            /* of what was read */
    AudioHole hole[AUDIO_MOST_HOLES]; /* what is silent instead, in frames of the file */
    size_t n_holes;
    char notes[2048];        /* what else to know about the file, one a line */
    uint64_t bytes;          /* of the file, when it was opened */
    struct timespec changed; /* and when it was last changed */
    float *interleaved;
    AudioConverter *converter; /* NULL: at its own rate */
    struct AudioPatch *patch;  /* what is read otherwise than it stands in the file, or NULL */
} AudioReader;

#define AUDIO_LOUDEST 1000.0 /* +60 dBFS: common/plugin.h cleans what is louder */

/* Fails on a file that is missing, no plain file, not audio, empty, of more than two channels,
 * damaged, shorter than its header says, or longer; with `salvage` all of what is there of the last
 * three is read. MP3 is counted first, since its header promises too much. */
bool audio_open(AudioReader *reader, const char *path, HostError *error);
bool audio_open_how(AudioReader *reader, const char *path, const AudioHow *how, HostError *error);

/* From now on, before any reading: at this rate instead of its own. */
bool audio_convert(AudioReader *reader, double rate_hz, HostError *error);

/* The next n <= AUDIO_BLOCK frames, silence past the end. Fails when the file is damaged or ends
 * too soon, and tells where. */
bool audio_read(AudioReader *reader, float *const *channel, size_t n, HostError *error);

/* All there is to know about what was read, once it was: a line each. */
const char *audio_notes(AudioReader *reader);

void audio_close(AudioReader *reader); /* fine on a zeroed one, and twice */

/* ---- writing ---- */

typedef enum {
    AUDIO_BY_NAME,
    AUDIO_WAV,
    AUDIO_FLAC,
    AUDIO_AIFF,
    AUDIO_MP3,
    AUDIO_OPUS,
} AudioContainer;
typedef enum {
    AUDIO_BITS_USUAL,
    AUDIO_BITS_FLOAT,
    AUDIO_BITS_24,
    AUDIO_BITS_16,
    AUDIO_CODED
} AudioBits;

typedef struct {
    AudioContainer container; /* AUDIO_BY_NAME: after the file name's extension */
    AudioBits
        bits; /* AUDIO_BITS_USUAL: float for WAV, 24 for FLAC and AIFF, coded for MP3 and Opus */
    bool no_dither; /* 16 bit is dithered unless this is set; other forms never are */
} AudioFormat;

/* What --bits says: float, 24 or 16; without `word` *bits stays. Fails, naming them, on another. */
bool audio_bits_option(const char *word, AudioBits *bits, HostError *error);
/* Replaces AUDIO_BY_NAME and AUDIO_BITS_USUAL. Fails on an extension that says nothing and on a
 * form that the container cannot hold; the text lists what can be had. */
bool audio_resolve_format(AudioFormat *format, const char *path, HostError *error);
/* "float WAV", "16 bit FLAC, dithered". */
const char *audio_format_name(char buffer[48], const AudioFormat *format);
/* ".wav", ".flac", ".aiff", ".mp3" or ".opus". */
const char *audio_extension(AudioContainer container);
/* Whether a name ends like an audio file that can be read. */
bool audio_looks_like(const char *path);

typedef struct {
    SafeFile safe;
    SNDFILE *file;
    AudioFormat format;
    double rate_hz;
    unsigned channels;
    uint64_t at;        /* frames written */
    bool is_rf64;       /* too large for a plain WAV */
    char notes[512];    /* what of the take is not kept, a line each */
    int write_error;    /* errno of the first write that failed, else 0 */
    double peak;        /* largest absolute sample written, before any clipping */
    uint64_t clipped;   /* samples beyond full scale of an integer format */
    uint32_t noise;     /* state of the dither */
    float *interleaved; /* one of these two is used */
    int *integers;
} AudioWriter;

/* What an output is made of. */
typedef struct {
    const AudioReader *take; /* whose place in time, markers and titles are kept */
    uint64_t first;          /* its frame that the output begins with */
    const char *stamp;       /* how it was made, for who asks whether to make it again */
} AudioOrigin;

/* Starts a file of `frames` frames that will be complete or not be there (see safe.h).
 * `format` is resolved. What of `origin` (or NULL) the container cannot hold is told in its notes.
 * The writer may not move in memory until it is committed or discarded. */
bool audio_create(AudioWriter *writer, const char *path, const AudioFormat *format, double rate_hz,
                  unsigned channels, uint64_t frames, const AudioOrigin *origin, HostError *error);

/* Appends n <= AUDIO_BLOCK frames. Fails when the disk is full, and so on. */
bool audio_write(AudioWriter *writer, const float *const *channel, size_t n, HostError *error);

/* Finishes all these files, and `also` (or NULL) with them, or leaves none of them. They are closed
 * either way. */
bool audio_commit(AudioWriter *const *writers, size_t count, SafeFile *also, HostError *error);
void audio_discard(AudioWriter *writer); /* fine on a zeroed one, and after audio_commit */

#endif
