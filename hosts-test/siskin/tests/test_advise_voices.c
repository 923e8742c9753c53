/* SPDX-License-Identifier: ISC */
/* siskin advise on recorded voices: what is advised for each is rendered and measured again.
 *
 * The voices are those of the Debian package klettres-data: of each language one speaker who reads
 * letters and syllables, joined to one take. No limit or setting was chosen on them. They are
 * harder than what is sung: each phrase is a word of half a second, from another file, and with
 * another room where its editor cut or faded it. What is not installed is named and passed over,
 * except where CI is set, where it is a failure. */
#include "siskin/tests/advise_loop.h"
#include "siskin/text.h"

static const char *const languages[] = {"da",  "en",    "he", "lt", "nb",
                                        "nds", "pt_BR", "ru", "tn", "ar"};
enum { N_LANGUAGES = sizeof languages / sizeof *languages };

static int by_name(const struct dirent **a, const struct dirent **b) {
    return strcmp((*a)->d_name, (*b)->d_name);
}

static int is_sound(const struct dirent *entry) {
    const char *dot = strrchr(entry->d_name, '.');
    return dot && (strcmp(dot, ".ogg") == 0 || strcmp(dot, ".wav") == 0);
}

/* The first channel of a file, at the end; files at another rate than the first are left out. */
static void join(Sound *all, const char *path) {
    Sound part = read_sound(path);
    if (all->info.frames == 0)
        all->info = (SF_INFO){.channels = 1, .samplerate = part.info.samplerate};
    if (part.info.samplerate == all->info.samplerate) {
        size_t frames = (size_t)(all->info.frames + part.info.frames);
        all->audio = realloc(all->audio, frames * sizeof(float));
        ck_assert_ptr_nonnull(all->audio);
        for (sf_count_t i = 0; i < part.info.frames; i++)
            all->audio[all->info.frames++] = part.audio[i * part.info.channels];
    }
    free(part.audio);
}

static void join_folder(Sound *all, const char *folder) {
    struct dirent **entries;
    int n = scandir(folder, &entries, is_sound, by_name);
    for (int i = 0; i < n; i++) {
        char *path = text_print("%s/%s", folder, entries[i]->d_name);
        join(all, path);
        free(path);
        free(entries[i]);
    }
    if (n >= 0)
        free(entries);
}

/* As take.wav; false: not installed. */
static bool write_reading(const char *language) {
    static const char *const parts[] = {"alpha", "syllab"};
    Sound all = {0};
    for (size_t i = 0; i < 2; i++) {
        char *folder = text_print("/usr/share/klettres/%s/%s", language, parts[i]);
        join_folder(&all, folder);
        free(folder);
    }
    bool there = all.info.frames > 0;
    if (there)
        write_wav("take.wav", &all);
    else
        printf("%s is not there (package klettres-data): not tried\n", language);
    ck_assert_msg(there || !getenv("CI"), "no voice of klettres-data in '%s'", language);
    free(all.audio);
    return there;
}

/* Nine findings in ten go, none is new, and what stays was told of with the figure it has then.
 * What stays in these is the spread of single words, which no hand on a fader would follow either.
 */
START_TEST(what_is_advised_for_recorded_voices_is_mended_or_told_to_stay) {
    use_bundles();
    Tally tally = {0};
    size_t heard = 0;
    for (size_t i = 0; i < N_LANGUAGES; i++) {
        Row before, after;
        if (!write_reading(languages[i]))
            continue;
        close_loop(languages[i], &tally, &before, &after);
        ck_assert(!strstr(before.chain, "pitch-corrector")); /* nobody sings here */
        heard++;
    }
    printf("recorded voices: %zu of %zu findings stay, %zu are new\n", tally.open, tally.found,
           tally.new);
    fflush(stdout);
    ck_assert_uint_eq(tally.new, 0);
    ck_assert_uint_le(10 * tally.open, tally.found);
    ck_assert(heard < N_LANGUAGES || tally.found >= 30);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("advise voices");
    tcase_add_test(tcase, what_is_advised_for_recorded_voices_is_mended_or_told_to_stay);
    return run_suite(tcase, "siskin advise voices");
}
