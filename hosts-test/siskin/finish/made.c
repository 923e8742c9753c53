/* SPDX-License-Identifier: ISC */
#include "siskin/finish/made.h"

#include "siskin/files.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct {
    uint64_t recipe, content, before;
} Record;

static char *record_path(const char *folder, const char *name) {
    return text_print("%s/" MADE_RECORDS "/%s", folder, name);
}

/* "NAME NUMBER" at *at, which goes on behind it. */
static bool read_number(const char **at, const char *name, uint64_t *number) {
    size_t length = strlen(name);
    char *end = NULL;
    if (strncmp(*at, name, length) != 0 || (*at)[length] != ' ')
        return false;
    *number = strtoull(*at + length + 1, &end, 16);
    *at = end + (*end == '\n');
    return *end == '\n';
}

static bool read_record(const char *folder, const char *name, Record *record) {
    char text[128] = "";
    const char *at = text;
    char *path = record_path(folder, name);
    FILE *file = fopen(path, "r");
    free(path);
    if (!file)
        return false;
    text[fread(text, 1, sizeof text - 1, file)] = '\0';
    fclose(file);
    return read_number(&at, "recipe", &record->recipe) &&
           read_number(&at, "content", &record->content) &&
           read_number(&at, "before", &record->before);
}

static bool write_record(const char *folder, const char *name, const Record *record,
                         HostError *error) {
    char *path = record_path(folder, name);
    char *text =
        text_print("recipe %016" PRIx64 "\ncontent %016" PRIx64 "\nbefore %016" PRIx64 "\n",
                   record->recipe, record->content, record->before);
    bool fine = safe_put_text(path, text, error);
    free(text);
    free(path);
    return fine;
}

uint64_t made_content(const char *path) {
    enum { CHUNK = 1 << 16 };
    FILE *file = fopen(path, "rb");
    if (!file)
        return 0;
    uint64_t hash = TEXT_HASH_BEGIN;
    char *bytes = text_take(CHUNK, 1);
    for (size_t n; (n = fread(bytes, 1, CHUNK, file)) > 0;)
        hash = text_hash(hash, bytes, n);
    bool fine = !ferror(file);
    free(bytes);
    fclose(file);
    return fine ? hash : 0;
}

MadeState made_state(const char *folder, const char *name, uint64_t recipe) {
    Record record;
    char *path = text_print("%s/%s", folder, name);
    bool there = access(path, F_OK) == 0;
    uint64_t content = there ? made_content(path) : 0;
    free(path);
    if (!there)
        return MADE_NOT;
    if (!read_record(folder, name, &record))
        return MADE_FOREIGN;
    if (content == record.content)
        return record.recipe == recipe ? MADE_DONE : MADE_OLD;
    return content && content == record.before ? MADE_OLD : MADE_EDITED;
}

static bool make_way(const char *folder, const char *name, HostError *error) {
    char *records = text_print("%s/" MADE_RECORDS, folder);
    bool fine = files_make_way(folder, MADE_RECORDS "/", error) &&
                files_make_way(records, name, error) && files_make_way(folder, name, error);
    free(records);
    return fine;
}

bool made_put(const char *folder, const char *name, const char *from, uint64_t recipe,
              HostError *error) {
    char *path = text_print("%s/%s", folder, name);
    const Record record = {recipe, made_content(from), made_content(path)};
    bool fine = make_way(folder, name, error) && write_record(folder, name, &record, error);
    if (fine && rename(from, path) != 0)
        fine = host_fail(error, "cannot write %s: %s", path, strerror(errno));
    free(path);
    return fine;
}

bool made_put_text(const char *folder, const char *name, const char *text, uint64_t recipe,
                   HostError *error) {
    char *from = text_print("%s/" MADE_RECORDS "/%s.new", folder, name);
    bool fine = make_way(folder, name, error) && safe_put_text(from, text, error) &&
                made_put(folder, name, from, recipe, error);
    free(from);
    return fine;
}

bool made_may_write(const char *folder, const char *name, HostError *error) {
    MadeState state = made_state(folder, name, 0);
    if (state == MADE_EDITED)
        return host_fail(error, "%s/%s was changed since siskin finish made it; move it away",
                         folder, name);
    if (state == MADE_FOREIGN)
        return host_fail(error, "%s/%s was not made by siskin finish; move it away", folder, name);
    return true;
}
