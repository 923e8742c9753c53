/* SPDX-License-Identifier: ISC */
/* Reading audio files. */
#include "siskin/render/audio.h"
#include "siskin/render/cut.h"
#include "siskin/render/salvage.h"
#include "siskin/text.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <samplerate.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void note(AudioReader *reader, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void note(AudioReader *reader, const char *format, ...) {
    char line[512];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    text_add(reader->notes, sizeof reader->notes, "%s %s\n", reader->path, line);
}

/* ---- a header that says less than is there: read as if it told all ---- */

struct AudioPatch {
    int fd;
    uint64_t at;
    uint64_t length_at; /* 4 bytes there are `length` */
    unsigned char length[4];
};

static sf_count_t patch_length(void *user) {
    const struct AudioPatch *patch = user;
    struct stat status;
    return fstat(patch->fd, &status) == 0 ? status.st_size : -1;
}

static sf_count_t patch_seek(sf_count_t offset, int whence, void *user) {
    struct AudioPatch *patch = user;
    sf_count_t from = whence == SEEK_SET   ? 0
                      : whence == SEEK_CUR ? (sf_count_t)patch->at
                                           : patch_length(user);
    patch->at = (uint64_t)(from + offset);
    return from + offset;
}

static sf_count_t patch_read(void *to, sf_count_t count, void *user) {
    struct AudioPatch *patch = user;
    ssize_t got = pread(patch->fd, to, (size_t)count, (off_t)patch->at);
    for (ssize_t i = 0; i < got; i++) {
        uint64_t place = patch->at + (uint64_t)i;
        if (place >= patch->length_at && place < patch->length_at + 4)
            ((unsigned char *)to)[i] = patch->length[place - patch->length_at];
    }
    patch->at += got > 0 ? (uint64_t)got : 0;
    return got;
}

static sf_count_t patch_write(const void *from, sf_count_t count, void *user) {
    (void)from, (void)count, (void)user;
    return 0;
}

static sf_count_t patch_tell(void *user) {
    return (sf_count_t)((const struct AudioPatch *)user)->at;
}

static SNDFILE *open_patched(AudioReader *reader, int fd, const Cut *cut, SF_INFO *info) {
    static SF_VIRTUAL_IO io = {patch_length, patch_seek, patch_read, patch_write, patch_tell};
    uint64_t all = reader->bytes - cut->samples_from;
    uint32_t length = all < UINT32_MAX ? (uint32_t)all : UINT32_MAX;
    reader->patch = text_take(1, sizeof *reader->patch);
    *reader->patch = (struct AudioPatch){.fd = fd, .length_at = cut->length_at};
    for (int i = 0; i < 4; i++)
        reader->patch->length[i] = (unsigned char)(length >> 8 * i);
    return sf_open_virtual(&io, SFM_READ, info, reader->patch);
}

/* ---- opening ---- */

static bool is_mpeg(const SF_INFO *info) {
    return (info->format & SF_FORMAT_TYPEMASK) == SF_FORMAT_MPEG;
}

/* Frames that can be read from here on; the place is then the end. */
static uint64_t count_frames(AudioReader *reader) {
    uint64_t frames = 0;
    sf_count_t got;
    while ((got = sf_readf_float(reader->file, reader->interleaved, AUDIO_BLOCK)) > 0)
        frames += (uint64_t)got;
    return frames;
}

/* How far the header of an MP3 may be off: padding, and what the decoder keeps back. */
static const double MPEG_SLACK_S = 1.0, MPEG_NOTE_S = 0.1;

/* The frames of an MP3 header count padding and what a decoder needs to start. */
static bool count_mpeg(AudioReader *reader, HostError *error) {
    char is[32], should[32];
    uint64_t frames = count_frames(reader);
    double short_s = ((double)reader->file_frames - (double)frames) / reader->rate_hz;
    if (sf_seek(reader->file, 0, SEEK_SET) != 0)
        return host_fail(error, "cannot read %s: it cannot be read twice", reader->path);
    text_time(is, (double)frames / reader->rate_hz);
    text_time(should, (double)reader->file_frames / reader->rate_hz);
    if (frames == 0)
        return host_fail(error, "%s holds no audio", reader->path);
    if (short_s > MPEG_SLACK_S && !reader->how.salvage)
        return host_fail(error,
                         "%s ends at %s, but its header promises %s; siskin render --salvage "
                         "reads what is there",
                         reader->path, is, should);
    if (short_s > MPEG_NOTE_S)
        note(reader, "ends at %s; its header promises %s", is, should);
    reader->file_frames = frames;
    return true;
}

static bool check_info(AudioReader *reader, const SF_INFO *info, HostError *error) {
    if (info->channels < 1 || info->channels > AUDIO_CHANNELS)
        return host_fail(error, "%s has %d channels; 1 (mono) or 2 (stereo) are allowed",
                         reader->path, info->channels);
    if (info->frames < 1)
        return host_fail(error, "%s holds no audio", reader->path);
    reader->rate_hz = reader->file_rate_hz = info->samplerate;
    reader->channels = (unsigned)info->channels;
    reader->file_frames = (uint64_t)info->frames;
    reader->interleaved = text_take((size_t)AUDIO_BLOCK * reader->channels, sizeof(float));
    if (is_mpeg(info) && !count_mpeg(reader, error))
        return false;
    reader->frames = reader->file_frames;
    return true;
}

/* The holes that a container shows, on the clock of the audio. */
static void take_holes(AudioReader *reader, const Cut *cut) {
    double scale = cut->granules_hz > 0.0 ? reader->rate_hz / cut->granules_hz : 1.0;
    for (size_t i = 0; i < cut->n_holes; i++) {
        uint64_t from = cut->hole[i].from > cut->skipped ? cut->hole[i].from - cut->skipped : 0;
        uint64_t to = cut->hole[i].to > cut->skipped ? cut->hole[i].to - cut->skipped : 0;
        AudioHole *hole = &reader->hole[reader->n_holes++];
        hole->from = (uint64_t)(scale * (double)from);
        hole->frames = (uint64_t)(scale * (double)(to > from ? to - from : 0));
    }
}

/* A decoder leaves out what it cannot read, so that all after it comes early: silence takes its
 * place. Only the sum of what is left out is known; it is shared among the holes by their
 * length. */
static void fill_holes(AudioReader *reader) {
    uint64_t there = count_frames(reader), all = 0;
    uint64_t lost = reader->file_frames > there ? reader->file_frames - there : 0;
    sf_seek(reader->file, 0, SEEK_SET);
    for (size_t i = 0; i < reader->n_holes; i++)
        all += reader->hole[i].frames;
    for (size_t i = 0; i < reader->n_holes; i++)
        reader->hole[i].frames =
            all ? (uint64_t)((double)lost * (double)reader->hole[i].frames / (double)all) : 0;
    if (reader->n_holes == 0)
        reader->file_frames = reader->frames = there;
}

/* What the container shows to be wrong, as an error. */
static bool check_whole(const AudioReader *reader, const Cut *cut, HostError *error) {
    static const char salvage[] = "siskin render --salvage reads what is there";
    char at[32], to[32];
    if (cut->missing)
        return host_fail(error,
                         "%s is cut off: %llu bytes of the samples that its header promises are "
                         "missing; %s",
                         reader->path, (unsigned long long)cut->missing, salvage);
    if (cut->n_holes) {
        const AudioHole *hole = &reader->hole[0];
        text_time(at, (double)hole->from / reader->rate_hz);
        text_time(to, (double)(hole->from + hole->frames) / reader->rate_hz);
        return host_fail(error, "%s is damaged at %s, up to %s%s; %s", reader->path, at, to,
                         cut->n_holes > 1 ? ", and after that" : "", salvage);
    }
    if (cut->no_end)
        return host_fail(error, "%s is cut off: its last page is missing; %s", reader->path,
                         salvage);
    return true;
}

static uint64_t beyond_frames(const AudioReader *reader, const Cut *cut) {
    double bytes = (double)cut->samples / (double)reader->file_frames;
    return cut->samples ? (uint64_t)((double)cut->beyond / bytes) : 0;
}

/* A few bytes after the end are nobody's audio. */
static const double BEYOND_LEAST_S = 0.1;

static bool check_end(AudioReader *reader, const Cut *cut, HostError *error) {
    char end[32], more[32];
    double beyond_s = (double)beyond_frames(reader, cut) / reader->rate_hz;
    if (!cut->beyond)
        return true;
    text_time(end, (double)reader->file_frames / reader->rate_hz);
    text_time(more, beyond_s);
    if (beyond_s < BEYOND_LEAST_S || (reader->how.salvage && !cut->is_riff))
        note(reader, "has %llu bytes after its end, which are left out",
             (unsigned long long)cut->beyond);
    else if (!reader->how.salvage)
        return host_fail(error, "%s goes on for %s after %s, where its header says it ends; %s",
                         reader->path, more, end, "siskin render --salvage reads that, too");
    return true;
}

static bool open_sound(AudioReader *reader, int fd, const Cut *cut, HostError *error) {
    SF_INFO info = {0};
    bool patched = reader->how.salvage && cut->beyond && cut->is_riff;
    reader->file =
        patched ? open_patched(reader, fd, cut, &info) : sf_open_fd(fd, SFM_READ, &info, SF_TRUE);
    if (!reader->file) { /* libsndfile has closed fd */
        if (patched)
            close(fd);
        return host_fail(error, "cannot read %s as audio: %s", reader->path, sf_strerror(NULL));
    }
    if (patched)
        note(reader, "says that it ends earlier; all %llu bytes of it are read",
             (unsigned long long)reader->bytes);
    if (!check_info(reader, &info, error))
        return false;
    take_holes(reader, cut);
    if (reader->how.salvage && (cut->n_holes || cut->no_end))
        fill_holes(reader);
    if (reader->how.salvage && (cut->missing || cut->no_end))
        note(reader, "is cut off; what is there is read");
    return reader->how.salvage || check_whole(reader, cut, error);
}

/* Not blocking: a pipe that nobody writes to would be waited for without end. */
static int open_plain(AudioReader *reader, HostError *error) {
    struct stat status;
    int fd = open(reader->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0) {
        host_fail(error, "cannot read %s: %s", reader->path, strerror(errno));
        return -1;
    }
    if (fstat(fd, &status) == 0 && S_ISREG(status.st_mode)) {
        reader->bytes = (uint64_t)status.st_size;
        reader->changed = status.st_mtim;
        return fd;
    }
    host_fail(error, "cannot read %s: it is %s", reader->path,
              S_ISDIR(status.st_mode)    ? "a directory"
              : S_ISFIFO(status.st_mode) ? "a pipe, and a take is read more than once; write it to "
                                           "a file first"
                                         : "not a plain file");
    close(fd);
    return -1;
}

static bool open_file(AudioReader *reader, HostError *error) {
    Cut cut;
    int fd = open_plain(reader, error);
    if (fd < 0)
        return false;
    cut_look(fd, &cut);
    if (cut.missing && !reader->how.salvage) {
        close(fd);
        return check_whole(reader, &cut, error);
    }
    return open_sound(reader, fd, &cut, error) && check_end(reader, &cut, error);
}

bool audio_open_how(AudioReader *reader, const char *path, const AudioHow *how, HostError *error) {
    *reader = (AudioReader){.path = text_copy(path), .how = *how};
    if (open_file(reader, error))
        return true;
    audio_close(reader);
    return false;
}

bool audio_open(AudioReader *reader, const char *path, HostError *error) {
    return audio_open_how(reader, path, &(const AudioHow){0}, error);
}

/* ---- reading ---- */

static void clean(AudioReader *reader, uint64_t first, float *audio, size_t n) {
    float scale = reader->how.full_scale > 0.0 ? (float)(1.0 / reader->how.full_scale) : 1.0f;
    for (size_t i = 0; i < n * reader->channels; i++) {
        if (!isfinite(audio[i])) {
            audio[i] = 0.0f;
            if (reader->cleaned++ == 0)
                reader->first_cleaned = first + i / reader->channels;
            continue;
        }
        audio[i] *= scale;
        double size = fabs((double)audio[i]);
        reader->too_loud += size > AUDIO_LOUDEST;
        reader->peak = fmax(reader->peak, size);
    }
}

/* The hole that begins here, or NULL. */
static const AudioHole *hole_at(const AudioReader *reader, uint64_t at) {
    for (size_t i = 0; i < reader->n_holes; i++)
        if (at >= reader->hole[i].from && at < reader->hole[i].from + reader->hole[i].frames)
            return &reader->hole[i];
    return NULL;
}

static uint64_t next_hole(const AudioReader *reader, uint64_t at) {
    uint64_t next = UINT64_MAX;
    for (size_t i = 0; i < reader->n_holes; i++)
        if (reader->hole[i].from > at && reader->hole[i].from < next && reader->hole[i].frames)
            next = reader->hole[i].from;
    return next;
}

static bool fail_damaged(const AudioReader *reader, HostError *error) {
    char at[32], end[32];
    int wrong = sf_error(reader->file);
    text_time(at, (double)reader->file_at / reader->file_rate_hz);
    if (wrong)
        return host_fail(error,
                         "%s is damaged near %s: %s; siskin render --salvage reads "
                         "what is there",
                         reader->path, at, sf_error_number(wrong));
    return host_fail(error,
                     "%s ends at %s, but its header promises %s; siskin render --salvage "
                     "reads what is there",
                     reader->path, at,
                     text_time(end, (double)reader->file_frames / reader->file_rate_hz));
}

/* Up to n frames from the file, at least one; 0: it failed. */
static size_t read_piece(AudioReader *reader, float *to, size_t n, HostError *error) {
    const AudioHole *hole = hole_at(reader, reader->file_at);
    uint64_t end = hole ? hole->from + hole->frames : next_hole(reader, reader->file_at);
    if (end - reader->file_at < n)
        n = (size_t)(end - reader->file_at);
    if (hole) {
        memset(to, 0, n * reader->channels * sizeof *to);
        return n;
    }
    sf_count_t got = sf_readf_float(reader->file, to, (sf_count_t)n);
    bool wrong = sf_error(reader->file) != 0;
    if (got > 0 && !wrong)
        return (size_t)got;
    if (!reader->how.salvage) {
        fail_damaged(reader, error);
        return 0;
    }
    salvage_skip(reader);
    return read_piece(reader, to, n, error);
}

/* n frames, at the file's rate. */
static bool read_frames(AudioReader *reader, float *to, size_t n, HostError *error) {
    for (size_t done = 0; done < n;) {
        float *here = to + done * reader->channels;
        size_t got = read_piece(reader, here, n - done, error);
        if (got == 0)
            return false;
        clean(reader, reader->file_at, here, got);
        reader->file_at += got;
        done += got;
    }
    return true;
}

/* ---- another rate ---- */

struct AudioConverter {
    SRC_STATE *state;
    double ratio;
    bool failed;
    HostError error;
};

static long feed(void *user, float **audio) {
    AudioReader *reader = user;
    uint64_t left = reader->file_frames - reader->file_at;
    size_t n = left < AUDIO_BLOCK ? (size_t)left : AUDIO_BLOCK;
    *audio = reader->interleaved;
    if (reader->converter->failed || n == 0)
        return 0;
    reader->converter->failed =
        !read_frames(reader, reader->interleaved, n, &reader->converter->error);
    return reader->converter->failed ? 0 : (long)n;
}

bool audio_convert(AudioReader *reader, double rate_hz, HostError *error) {
    int why = 0;
    if (rate_hz == reader->rate_hz)
        return true;
    AudioConverter *converter = text_take(1, sizeof *converter);
    converter->ratio = rate_hz / reader->file_rate_hz;
    reader->converter = converter;
    converter->state =
        src_is_valid_ratio(converter->ratio)
            ? src_callback_new(feed, SRC_SINC_BEST_QUALITY, (int)reader->channels, &why, reader)
            : NULL;
    if (!converter->state)
        return host_fail(error, "%s is at %g Hz, and cannot be brought to %g Hz", reader->path,
                         reader->file_rate_hz, rate_hz);
    note(reader, "is at %g Hz and was brought to %g Hz", reader->file_rate_hz, rate_hz);
    reader->rate_hz = rate_hz;
    reader->frames = (uint64_t)llround((double)reader->file_frames * converter->ratio);
    return true;
}

/* The last frames may not come out of the converter: silence. */
static bool read_converted(AudioReader *reader, float *to, size_t n, HostError *error) {
    AudioConverter *converter = reader->converter;
    size_t done = 0;
    while (done < n) {
        long got = src_callback_read(converter->state, converter->ratio, (long)(n - done),
                                     to + done * reader->channels);
        if (got <= 0)
            break;
        done += (size_t)got;
    }
    memset(to + done * reader->channels, 0, (n - done) * reader->channels * sizeof *to);
    return !converter->failed || host_fail(error, "%s", converter->error.text);
}

bool audio_read(AudioReader *reader, float *const *channel, size_t n, HostError *error) {
    static float converted[AUDIO_BLOCK * AUDIO_CHANNELS];
    size_t there = n;
    float *from = reader->converter ? converted : reader->interleaved;
    if (reader->frames - reader->at < there)
        there = (size_t)(reader->frames - reader->at);
    if (!(reader->converter ? read_converted(reader, from, there, error)
                            : read_frames(reader, from, there, error)))
        return false;
    for (unsigned c = 0; c < reader->channels; c++) {
        for (size_t i = 0; i < there; i++)
            channel[c][i] = from[i * reader->channels + c];
        memset(channel[c] + there, 0, (n - there) * sizeof(float));
    }
    reader->at += there;
    return true;
}

/* ---- what to know of it ---- */

/* The full scale of the smallest whole numbers that hold the peak. */
static double whole_scale(double peak) {
    double scale = 32768.0;
    while (scale < peak)
        scale *= 256.0;
    return scale;
}

static void note_samples(AudioReader *reader) {
    char time[32];
    double all = (double)reader->file_at * reader->channels;
    if (reader->cleaned)
        note(
            reader,
            "has %llu samples (%.2g %%) that are not numbers, the first at %s; they were read as 0",
            (unsigned long long)reader->cleaned, 100.0 * (double)reader->cleaned / all,
            text_time(time, (double)reader->first_cleaned / reader->file_rate_hz));
    if (reader->too_loud)
        note(reader,
             "has %llu samples (%.2g %%) over +60 dBFS, up to %.0f: processors take those for "
             "silence; "
             "if whole numbers were meant, give siskin render --full-scale %.0f",
             (unsigned long long)reader->too_loud, 100.0 * (double)reader->too_loud / all,
             reader->peak, whole_scale(reader->peak));
}

static void note_holes(AudioReader *reader) {
    for (size_t i = 0; i < reader->n_holes; i++) {
        char from[32], to[32];
        const AudioHole *hole = &reader->hole[i];
        if (hole->frames == 0)
            note(reader, "is damaged at %s; little or nothing is missing",
                 text_time(from, (double)hole->from / reader->file_rate_hz));
        else
            note(reader, "is damaged from %s to %s, %llu frames: silent there",
                 text_time(from, (double)hole->from / reader->file_rate_hz),
                 text_time(to, (double)(hole->from + hole->frames) / reader->file_rate_hz),
                 (unsigned long long)hole->frames);
    }
}

const char *audio_notes(AudioReader *reader) {
    note_samples(reader);
    note_holes(reader);
    return reader->notes;
}

void audio_close(AudioReader *reader) {
    if (reader->file)
        sf_close(reader->file);
    if (reader->patch)
        close(reader->patch->fd);
    if (reader->converter && reader->converter->state)
        src_delete(reader->converter->state);
    free(reader->converter);
    free(reader->patch);
    free(reader->path);
    free(reader->interleaved);
    *reader = (AudioReader){0};
}
