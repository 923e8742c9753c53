/* SPDX-License-Identifier: ISC */
#include "siskin/render/audio.h"

#include "siskin/options.h"
#include "siskin/render/origin.h"
#include "siskin/text.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- formats ---- */

static const struct {
    const char *extension;
    AudioContainer container; /* AUDIO_BY_NAME: can be read, but is not written */
} known_extensions[] = {
    {".wav", AUDIO_WAV},   {".flac", AUDIO_FLAC},   {".aiff", AUDIO_AIFF},
    {".aif", AUDIO_AIFF},  {".wave", AUDIO_WAV},    {".bwf", AUDIO_WAV},
    {".rf64", AUDIO_WAV},  {".w64", AUDIO_BY_NAME}, {".caf", AUDIO_BY_NAME},
    {".aifc", AUDIO_AIFF}, {".ogg", AUDIO_BY_NAME}, {".opus", AUDIO_OPUS},
    {".mp3", AUDIO_MP3},   {".au", AUDIO_BY_NAME},  {".snd", AUDIO_BY_NAME},
};

enum { N_EXTENSIONS = sizeof known_extensions / sizeof *known_extensions };

static int find_extension(const char *path) {
    const char *dot = strrchr(text_base(path), '.');
    for (int i = 0; dot && i < N_EXTENSIONS; i++)
        if (strcasecmp(dot, known_extensions[i].extension) == 0)
            return i;
    return -1;
}

bool audio_looks_like(const char *path) {
    return find_extension(path) >= 0;
}

const char *audio_extension(AudioContainer container) {
    for (int i = 0; i < N_EXTENSIONS; i++)
        if (known_extensions[i].container == container)
            return known_extensions[i].extension;
    return "";
}

bool audio_bits_option(const char *word, AudioBits *bits, HostError *error) {
    static const char *const names[] = {"float", "24", "16"};
    int depth = (int)*bits; /* AUDIO_BITS_FLOAT is 1, and so on */
    bool fine = options_choice(word, "bits", names, sizeof names / sizeof *names, &depth, error);
    *bits = (AudioBits)depth;
    return fine;
}

bool audio_resolve_format(AudioFormat *format, const char *path, HostError *error) {
    int known = find_extension(path);
    if (format->container == AUDIO_BY_NAME && known >= 0)
        format->container = known_extensions[known].container;
    if (format->container == AUDIO_BY_NAME)
        return host_fail(error,
                         "%s: the name does not end in .wav, .flac, .aiff, .mp3 or .opus; rename "
                         "it, or say --format wav, flac, aiff, mp3 or opus",
                         path);
    bool coded = format->container == AUDIO_MP3 || format->container == AUDIO_OPUS;
    if (coded && format->bits != AUDIO_BITS_USUAL && format->bits != AUDIO_CODED)
        return host_fail(error, "%s: --bits is for wav, flac and aiff; this is coded", path);
    if (coded)
        format->bits = AUDIO_CODED;
    if (format->bits == AUDIO_BITS_USUAL)
        format->bits = format->container == AUDIO_WAV ? AUDIO_BITS_FLOAT : AUDIO_BITS_24;
    if (format->container == AUDIO_FLAC && format->bits == AUDIO_BITS_FLOAT)
        return host_fail(error, "%s: FLAC holds no floats; allowed are --bits 24 and 16", path);
    return true;
}

const char *audio_format_name(char buffer[48], const AudioFormat *format) {
    static const char *const containers[] = {"", "WAV", "FLAC", "AIFF", "MP3", "Opus"};
    static const char *const bits[] = {"", "float ", "24 bit ", "16 bit ", ""};
    bool dithered = format->bits == AUDIO_BITS_16 && !format->no_dither;
    snprintf(buffer, 48, "%s%s%s", bits[format->bits], containers[format->container],
             dithered ? ", dithered" : "");
    return buffer;
}

/* ---- writing ---- */

/* libsndfile is given these in place of a file, so that the errno of a failed write is seen however
 * deep inside the encoder, or at closing, it happens. */

static sf_count_t io_length(void *user) {
    const AudioWriter *writer = user;
    struct stat status;
    return fstat(writer->safe.fd, &status) == 0 ? status.st_size : -1;
}

static sf_count_t io_seek(sf_count_t offset, int whence, void *user) {
    const AudioWriter *writer = user;
    return lseek(writer->safe.fd, offset, whence);
}

static sf_count_t io_read(void *to, sf_count_t count, void *user) {
    const AudioWriter *writer = user;
    return read(writer->safe.fd, to, (size_t)count);
}

static sf_count_t io_write(const void *from, sf_count_t count, void *user) {
    AudioWriter *writer = user;
    sf_count_t done = (sf_count_t)safe_write(&writer->safe, from, (size_t)count);
    if (done < count && !writer->write_error)
        writer->write_error = errno;
    return done;
}

static sf_count_t io_tell(void *user) {
    return io_seek(0, SEEK_CUR, user);
}

/* A WAV or AIFF counts its bytes in 32 bits. RF64 (EBU Tech 3306) is the WAV that does not. */
static bool choose_form(AudioWriter *writer, uint64_t frames, int *form, HostError *error) {
    static const int containers[] = {0,
                                     SF_FORMAT_WAV,
                                     SF_FORMAT_FLAC,
                                     SF_FORMAT_AIFF,
                                     SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III,
                                     SF_FORMAT_OGG | SF_FORMAT_OPUS};
    static const int bits[] = {0, SF_FORMAT_FLOAT, SF_FORMAT_PCM_24, SF_FORMAT_PCM_16, 0};
    static const unsigned bytes[] = {0, 4, 3, 2, 1};
    const uint64_t room_for_headers = 1 << 20;
    AudioContainer container = writer->format.container;
    uint64_t size = frames * writer->channels * bytes[writer->format.bits] + room_for_headers;
    *form = containers[container] | bits[writer->format.bits];
    writer->is_rf64 = size > UINT32_MAX && container == AUDIO_WAV;
    if (writer->is_rf64)
        *form = SF_FORMAT_RF64 | bits[writer->format.bits];
    if (size > UINT32_MAX && container == AUDIO_AIFF)
        return host_fail(error,
                         "%s: an AIFF file ends at 4 GB; write a .wav, which goes on as RF64",
                         writer->safe.path);
    return true;
}

/* Rates of ISO/IEC 11172-3 and 13818-3, and of RFC 7845. */
static bool check_rate(const AudioFormat *format, const char *path, double rate_hz,
                       HostError *error) {
    static const double mp3[] = {8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 0};
    static const double opus[] = {8000, 12000, 16000, 24000, 48000, 0};
    const double *rates = format->container == AUDIO_MP3    ? mp3
                          : format->container == AUDIO_OPUS ? opus
                                                            : NULL;
    char list[128] = "";
    for (size_t i = 0; rates && rates[i] > 0.0; i++) {
        if (rates[i] == rate_hz)
            return true;
        text_add(list, sizeof list, "%s%g", i ? ", " : "", rates[i]);
    }
    return !rates || host_fail(error, "%s: %s takes no %g Hz; allowed are %s", path,
                               format->container == AUDIO_MP3 ? "MP3" : "Opus", rate_hz, list);
}

/* Near the best that each has: a lead is coded once, and listened to closely. */
static void set_quality(SNDFILE *file) {
    double quality = 0.9;
    sf_command(file, SFC_SET_VBR_ENCODING_QUALITY, &quality, sizeof quality);
}

bool audio_create(AudioWriter *writer, const char *path, const AudioFormat *format, double rate_hz,
                  unsigned channels, uint64_t frames, const AudioOrigin *origin, HostError *error) {
    static SF_VIRTUAL_IO io = {io_length, io_seek, io_read, io_write, io_tell};
    SF_INFO info = {.samplerate = (int)lrint(rate_hz), .channels = (int)channels};
    *writer = (AudioWriter){
        .format = *format, .rate_hz = rate_hz, .channels = channels, .noise = 0x9E3779B9};
    if (!check_rate(format, path, rate_hz, error) || !safe_open(&writer->safe, path, error))
        return false;
    if (!choose_form(writer, frames, &info.format, error)) {
        audio_discard(writer);
        return false;
    }
    writer->file = sf_open_virtual(&io, SFM_WRITE, &info, writer);
    if (!writer->file) {
        host_fail(error, "cannot write %s: %s", path,
                  writer->write_error ? strerror(writer->write_error) : sf_strerror(NULL));
        audio_discard(writer);
        return false;
    }
    /* The peak chunk holds the time of writing: without it equal renders are equal files. */
    sf_command(writer->file, SFC_SET_ADD_PEAK_CHUNK, NULL, SF_FALSE);
    if (origin)
        origin_keep(writer, origin);
    if (format->bits == AUDIO_CODED)
        set_quality(writer->file);
    size_t samples = (size_t)AUDIO_BLOCK * channels;
    if (format->bits == AUDIO_BITS_FLOAT || format->bits == AUDIO_CODED)
        writer->interleaved = text_take(samples, sizeof(float));
    else
        writer->integers = text_take(samples, sizeof(int));
    return true;
}

/* Uniform in [-0.5, 0.5): Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003,
 * the generator with shifts 13, 17, 5. */
static double uniform(uint32_t *state) {
    uint32_t x = *state;
    x ^= x << 13;
    x ^= x >> 17;
    x ^= x << 5;
    *state = x;
    return x * 0x1p-32 - 0.5;
}

/* Rounds to `bits` bits, left-justified in an int as libsndfile takes them. Dither: the sum of two
 * uniform values of one step each, which makes mean and variance of the error independent of the
 * signal (Lipshitz, Wannamaker and Vanderkooy, "Quantization and dither: a theoretical survey",
 * J. Audio Eng. Soc. 40(5), 1992, section 4). */
static int quantize(AudioWriter *writer, double sample, int bits, bool dither) {
    double steps = ldexp(1.0, bits - 1);
    double value = sample * steps;
    if (dither)
        value += uniform(&writer->noise) + uniform(&writer->noise);
    value = floor(value + 0.5);
    if (fabs(sample) > 1.0) /* +1 itself is one step over, a thing no one can hear or help */
        writer->clipped++;
    value = fmin(fmax(value, -steps), steps - 1.0);
    return (int)value * (1 << (32 - bits));
}

static bool fail_overflow(const AudioWriter *writer, uint64_t frame, HostError *error) {
    char at[32];
    return host_fail(error,
                     "cannot write %s: from %s on it is beyond any number; turn a fader down",
                     writer->safe.path, text_time(at, (double)frame / writer->rate_hz));
}

bool audio_write(AudioWriter *writer, const float *const *channel, size_t n, HostError *error) {
    int bits = writer->format.bits == AUDIO_BITS_16 ? 16 : 24;
    bool dither = bits == 16 && !writer->format.no_dither;
    for (size_t i = 0; i < n; i++) {
        for (unsigned c = 0; c < writer->channels; c++) {
            float sample = channel[c][i];
            if (!isfinite(sample))
                return fail_overflow(writer, writer->at + i, error);
            writer->peak = fmax(writer->peak, fabs((double)sample));
            size_t at = i * writer->channels + c;
            /* A coder may be given more than full scale; who decodes cuts it. */
            writer->clipped += writer->format.bits == AUDIO_CODED && fabsf(sample) > 1.0f;
            if (writer->interleaved)
                writer->interleaved[at] = sample;
            else
                writer->integers[at] = quantize(writer, (double)sample, bits, dither);
        }
    }
    sf_count_t wrote = writer->interleaved
                           ? sf_writef_float(writer->file, writer->interleaved, (sf_count_t)n)
                           : sf_writef_int(writer->file, writer->integers, (sf_count_t)n);
    if (wrote != (sf_count_t)n || writer->write_error)
        return host_fail(error, "cannot write %s: %s", writer->safe.path,
                         writer->write_error ? strerror(writer->write_error)
                                             : sf_strerror(writer->file));
    writer->at += n;
    return true;
}

/* The encoder's last bytes and the header are written here. */
static bool finish(AudioWriter *writer, HostError *error) {
    int failed = sf_close(writer->file);
    writer->file = NULL;
    if (failed || writer->write_error)
        return host_fail(error, "cannot write %s: %s", writer->safe.path,
                         writer->write_error ? strerror(writer->write_error)
                                             : sf_error_number(failed));
    return true;
}

bool audio_commit(AudioWriter *const *writers, size_t count, SafeFile *also, HostError *error) {
    SafeFile *files[SAFE_MOST] = {NULL};
    bool fine = count < SAFE_MOST || host_fail(error, "too many files at once");
    for (size_t i = 0; i < count && fine; i++) {
        fine = finish(writers[i], error);
        files[i] = &writers[i]->safe;
    }
    if (fine && also)
        files[count] = also;
    if (fine)
        fine = safe_commit(files, count + (also != NULL), error);
    for (size_t i = 0; i < count; i++)
        audio_discard(writers[i]);
    return fine;
}

void audio_discard(AudioWriter *writer) {
    if (writer->file)
        sf_close(writer->file);
    writer->file = NULL;
    safe_discard(&writer->safe);
    free(writer->interleaved);
    free(writer->integers);
    writer->interleaved = NULL;
    writer->integers = NULL;
}
