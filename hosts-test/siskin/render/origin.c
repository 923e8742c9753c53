/* SPDX-License-Identifier: ISC */
#include "siskin/render/origin.h"

#include "siskin/render/cut.h"
#include "siskin/text.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void note_lost(AudioWriter *writer, const char *what) {
    text_add(writer->notes, sizeof writer->notes, "%s: %s\n", writer->safe.path, what);
}

/* ---- the time stamp of a broadcast WAV ---- */

enum {
    HISTORY_MOST = 16000,
    HISTORY_KEPT = 9000, /* libsndfile reads chunks up to 10 KB, and adds a line of its own */
    BEXT_FIXED = 602,    /* bytes of the chunk before the history */
    BEXT_TIME = 338      /* where the time reference stands in it */
};
typedef SF_BROADCAST_INFO_VAR(HISTORY_MOST) Broadcast;

static uint32_t le(const unsigned char *bytes, int n) {
    uint32_t value = 0;
    for (int i = 0; i < n; i++)
        value |= (uint32_t)bytes[i] << 8 * i;
    return value;
}

/* A chunk that is too long for libsndfile. */
static bool read_long_chunk(const char *path, Broadcast *to) {
    unsigned char bytes[BEXT_FIXED + HISTORY_KEPT];
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    size_t n = fd >= 0 ? cut_chunk(fd, "bext", bytes, sizeof bytes) : 0;
    if (fd >= 0)
        close(fd);
    if (n < BEXT_FIXED)
        return false;
    memcpy(to->description, bytes, BEXT_TIME); /* texts, of the same sizes in both */
    to->time_reference_low = le(bytes + BEXT_TIME, 4);
    to->time_reference_high = le(bytes + BEXT_TIME + 4, 4);
    to->version = (short)le(bytes + BEXT_TIME + 8, 2);
    memcpy(to->coding_history, bytes + BEXT_FIXED, n - BEXT_FIXED);
    to->coding_history_size = (uint32_t)(n - BEXT_FIXED);
    return true;
}

static bool get_broadcast(const AudioReader *take, Broadcast *to, bool *cut) {
    bool known = sf_command(take->file, SFC_GET_BROADCAST_INFO, to, sizeof *to) == SF_TRUE;
    *cut = !known || to->coding_history_size > HISTORY_KEPT;
    if (known && *cut)
        to->coding_history_size = HISTORY_KEPT;
    return known || read_long_chunk(take->path, to);
}

static void keep_time_stamp(AudioWriter *writer, const AudioOrigin *origin) {
    Broadcast *stamp = text_take(1, sizeof *stamp);
    bool cut = false;
    if (get_broadcast(origin->take, stamp, &cut)) {
        uint64_t time = (uint64_t)stamp->time_reference_high << 32 | stamp->time_reference_low;
        time += origin->first;
        stamp->time_reference_high = (uint32_t)(time >> 32);
        stamp->time_reference_low = (uint32_t)time;
        if (sf_command(writer->file, SFC_SET_BROADCAST_INFO, stamp, sizeof *stamp) != SF_TRUE)
            note_lost(writer, "this format holds no time stamp: the take's place in its session is "
                              "not kept");
        else if (cut)
            note_lost(writer, "the coding history is cut to 9 KB");
    }
    free(stamp);
}

/* ---- markers ---- */

static size_t cues_size(uint32_t count) {
    return sizeof(uint32_t) + (size_t)count * sizeof(SF_CUE_POINT);
}

/* Those that lie in the output, counted from its start. */
static void shift_cues(SF_CUES *cues, const AudioOrigin *origin) {
    uint32_t kept = 0;
    for (uint32_t i = 0; i < cues->cue_count; i++) {
        SF_CUE_POINT cue = cues->cue_points[i];
        if (cue.sample_offset < origin->first)
            continue;
        cue.sample_offset -= (uint32_t)origin->first;
        if (cue.position >= origin->first)
            cue.position -= (uint32_t)origin->first;
        cues->cue_points[kept++] = cue;
    }
    cues->cue_count = kept;
}

/* Four letters, without an end. */
static void put_id(unsigned char **to, const char *id) {
    for (int i = 0; i < 4; i++)
        *(*to)++ = (unsigned char)id[i];
}

static void put_le(unsigned char **to, uint32_t value) {
    for (int i = 0; i < 4; i++)
        *(*to)++ = (unsigned char)(value >> 8 * i);
}

/* Names of markers, which libsndfile reads but does not write: the list "adtl" of labels
 * ("Multimedia Programming Interface and Data Specifications 1.0", IBM and Microsoft, 1991). */
static void keep_cue_names(AudioWriter *writer, const SF_CUES *cues) {
    enum { HEAD = 12, MOST = sizeof cues->cue_points->name + 2 };
    unsigned char *list = text_take((size_t)cues->cue_count * (HEAD + MOST) + 4, 1);
    unsigned char *to = list, *last = NULL;
    put_id(&to, "adtl");
    for (uint32_t i = 0; i < cues->cue_count; i++) {
        const SF_CUE_POINT *cue = &cues->cue_points[i];
        size_t length = strnlen(cue->name, sizeof cue->name - 1) + 1;
        if (length == 1)
            continue;
        put_id(&to, "labl");
        length += length % 2;
        last = to; /* its size */
        put_le(&to, (uint32_t)(4 + length));
        put_le(&to, (uint32_t)cue->indx);
        memcpy(to, cue->name, strnlen(cue->name, length - 1));
        to += length;
    }
    if (last && (to - list) % 4) { /* libsndfile pads to 4 bytes, which nobody could read again */
        uint32_t size = le(last, 4) + 2;
        put_le(&last, size);
        to += 2;
    }
    const SF_CHUNK_INFO chunk = {
        .id = "LIST", .id_size = 4, .datalen = (unsigned)(to - list), .data = list};
    if (to > list + 4 && sf_set_chunk(writer->file, &chunk) != SF_ERR_NO_ERROR)
        note_lost(writer, "the names of markers are not kept");
    free(list);
}

/* WAV alone holds markers and their names; AIFF the markers. */
static void write_cues(AudioWriter *writer, const SF_CUES *cues) {
    bool is_wav = writer->format.container == AUDIO_WAV && !writer->is_rf64;
    bool holds = is_wav || writer->format.container == AUDIO_AIFF;
    char line[96];
    if (holds && sf_command(writer->file, SFC_SET_CUE, (void *)cues,
                            (int)cues_size(cues->cue_count)) == SF_TRUE) {
        if (is_wav)
            keep_cue_names(writer, cues);
        return;
    }
    snprintf(line, sizeof line, "this format holds none of the take's %u markers", cues->cue_count);
    note_lost(writer, line);
}

static void keep_cues(AudioWriter *writer, const AudioOrigin *origin) {
    uint32_t count = 0;
    if (sf_command(origin->take->file, SFC_GET_CUE_COUNT, &count, sizeof count) != SF_TRUE ||
        !count)
        return;
    /* SF_CUES itself has room for a hundred. */
    size_t size = cues_size(count);
    SF_CUES *cues = text_take(1, size > sizeof *cues ? size : sizeof *cues);
    if (sf_command(origin->take->file, SFC_GET_CUE, cues, (int)size) == SF_TRUE) {
        shift_cues(cues, origin);
        if (cues->cue_count)
            write_cues(writer, cues);
    }
    free(cues);
}

/* ---- all of it ---- */

void origin_keep(AudioWriter *writer, const AudioOrigin *origin) {
    keep_time_stamp(writer, origin);
    keep_cues(writer, origin);
    for (int id = SF_STR_FIRST; id <= SF_STR_LAST; id++) {
        const char *text = sf_get_string(origin->take->file, id);
        if (text && id != SF_STR_SOFTWARE)
            sf_set_string(writer->file, id, text);
    }
    if (origin->stamp)
        sf_set_string(writer->file, SF_STR_SOFTWARE, origin->stamp);
}

bool origin_is(const char *path, const char *stamp) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    const char *text = file ? sf_get_string(file, SF_STR_SOFTWARE) : NULL;
    /* libsndfile appends its own name. */
    bool same = text && strncmp(text, stamp, strlen(stamp)) == 0;
    if (file)
        sf_close(file);
    return same;
}
