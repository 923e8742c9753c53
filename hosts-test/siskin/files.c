/* SPDX-License-Identifier: ISC */
#include "siskin/files.h"

#include "siskin/render/audio.h"
#include "siskin/text.h"

#include <dirent.h>
#include <errno.h>
#include <libgen.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

bool files_is_folder(const char *path) {
    struct stat status;
    return stat(path, &status) == 0 && S_ISDIR(status.st_mode);
}

const char *files_trim(char *folder) {
    for (size_t n = folder ? strlen(folder) : 0; n > 1 && folder[n - 1] == '/'; n--)
        folder[n - 1] = '\0';
    return folder;
}

bool files_make_folder(const char *path, HostError *error) {
    if (mkdir(path, 0777) == 0 || (errno == EEXIST && files_is_folder(path)))
        return true;
    return host_fail(error, "cannot make the folder %s: %s", path, strerror(errno));
}

uint64_t files_key(const char *path) {
    struct stat status;
    if (stat(path, &status) == 0) {
        const uint64_t numbers[] = {(uint64_t)status.st_dev, (uint64_t)status.st_ino};
        return text_hash(TEXT_HASH_BEGIN, numbers, sizeof numbers);
    }
    char *copy = text_copy(path);
    const char *folder = dirname(copy), *base = text_base(path);
    char *real = realpath(folder, NULL);
    const char *known = real ? real : folder;
    uint64_t hash = text_hash(TEXT_HASH_BEGIN, known, strlen(known) + 1);
    hash = text_hash(hash, base, strlen(base));
    free(real);
    free(copy);
    return hash;
}

bool files_make_way(const char *folder, const char *name, HostError *error) {
    bool fine = true;
    for (const char *slash = strchr(name, '/'); fine && slash; slash = strchr(slash + 1, '/')) {
        char *path = text_print("%s/%.*s", folder, (int)(slash - name), name);
        fine = files_make_folder(path, error);
        free(path);
    }
    return fine;
}

static bool add_all(FilesList *list, const char *folder, const char *inside, bool deep,
                    const char *but, HostError *error);

/* `inside`: the part of the path below the folder, "" or "a/b/". */
static bool add_entry(FilesList *list, const char *folder, const char *inside, const char *entry,
                      bool deep, const char *but, HostError *error) {
    struct stat status;
    bool fine = true;
    char *name = text_print("%s%s", inside, entry);
    char *path = text_print("%s/%s", folder, name);
    if (files_is_folder(path)) {
        bool link = lstat(path, &status) != 0 || S_ISLNK(status.st_mode);
        char *below = text_print("%s/", name);
        if (deep && !link && !(but && safe_same_file(path, but)))
            fine = add_all(list, folder, below, deep, but, error);
        free(below);
    } else if (audio_looks_like(entry)) {
        *(char **)text_grow(&list->name, &list->n, sizeof *list->name) = text_copy(name);
    }
    free(path);
    free(name);
    return fine;
}

static bool add_all(FilesList *list, const char *folder, const char *inside, bool deep,
                    const char *but, HostError *error) {
    char *path = *inside ? text_print("%s/%s", folder, inside) : text_copy(folder);
    DIR *dir = opendir(path);
    bool fine = dir || host_fail(error, "cannot read %s: %s", path, strerror(errno));
    for (const struct dirent *entry; dir && fine && (entry = readdir(dir));)
        if (entry->d_name[0] != '.')
            fine = add_entry(list, folder, inside, entry->d_name, deep, but, error);
    if (dir)
        closedir(dir);
    free(path);
    return fine;
}

static int by_name(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

bool files_list(FilesList *list, const char *folder, bool deep, const char *but, HostError *error) {
    *list = (FilesList){0};
    if (!add_all(list, folder, "", deep, but, error))
        return false;
    if (list->n == 0)
        return host_fail(error, "%s holds no takes (files such as .wav, .flac, .aiff)", folder);
    qsort(list->name, list->n, sizeof *list->name, by_name);
    return true;
}

void files_free(FilesList *list) {
    for (size_t i = 0; i < list->n; i++)
        free(list->name[i]);
    free(list->name);
    *list = (FilesList){0};
}

char *files_renamed(const char *folder, const char *name, const char *extension) {
    const char *base = text_base(name);
    const char *dot = strrchr(base, '.');
    int length = dot && dot != base ? (int)(dot - name) : (int)strlen(name);
    return text_print("%s/%.*s%s", folder, length, name, extension);
}
