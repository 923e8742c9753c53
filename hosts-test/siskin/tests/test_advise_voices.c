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

/* ---- words that begin without a voice ---- */

enum { FIRST = 20, WORDS = 30, APART = 31000 };

/* One after another, equally loud, in a room 60 dB under them. False: not installed. */
static bool write_words(const char *folder, Sound *all) {
    struct dirent **entries;
    int n = scandir(folder, &entries, is_sound, by_name);
    Random random = random_seeded(1);
    for (int i = 0; i < n; i++) {
        char *path = text_print("%s/%s", folder, entries[i]->d_name);
        size_t from = (size_t)all->info.frames;
        if (i >= FIRST && i < FIRST + WORDS) {
            join(all, path);
            size_t end = (size_t)all->info.frames;
            double rms = signals_rms(all->audio + from, end - from);
            for (size_t k = from; k < end; k++)
                all->audio[k] *= (float)(0.1 / rms);
            all->audio = realloc(all->audio, (end + APART) * sizeof(float));
            ck_assert_ptr_nonnull(all->audio);
            memset(all->audio + end, 0, APART * sizeof(float));
            all->info.frames += APART;
        }
        free(path);
        free(entries[i]);
    }
    if (n >= 0)
        free(entries);
    for (sf_count_t k = 0; k < all->info.frames; k++)
        all->audio[k] += (float)(1e-4 * random_normal(&random));
    return all->info.frames > 0;
}

/* Places where 30 ms within 12 dB of the voice lose over 6 dB from 500 Hz to 3 kHz. */
static size_t count_bites(const Sound *take, const Sound *render) {
    size_t n = (size_t)take->info.frames, step = (size_t)take->info.samplerate / 100, bites = 0;
    float *in = calloc(n, sizeof *in), *out = calloc(n, sizeof *out);
    ck_assert(in && out);
    ck_assert_int_eq(render->info.frames, take->info.frames);
    signals_band_filter(take->audio, in, n, take->info.samplerate, 500.0, 3000.0);
    signals_band_filter(render->audio, out, n, take->info.samplerate, 500.0, 3000.0);
    double voice_db = -20.0; /* as write_words() makes them, gaps apart */
    for (size_t i = 0, run = 0; i + step <= n; i += step) {
        double in_db = signals_rms_db(in + i, step);
        bool lost = in_db > voice_db - 12.0 && signals_rms_db(out + i, step) < in_db - 6.0;
        run = lost ? run + 1 : 0;
        bites += run == 3;
    }
    free(in);
    free(out);
    return bites;
}

/* The reader of Spanish begins some syllables with a loud /x/, which a ducker takes for a breath
 * once a high-pass was there. What bites is left out, and not what only comes before it. */
START_TEST(a_word_that_begins_without_a_voice_is_left_whole) {
    Sound words = {0};
    use_bundles();
    bool there = write_words("/usr/share/klettres/es/syllab", &words);
    ck_assert_msg(there || !getenv("CI"), "no voice of klettres-data in 'es'");
    if (!there)
        return;
    write_wav("take.wav", &words);
    Row row = advise("take");
    printf("syllables that begin without a voice: %s\n", row.chain);
    ck_assert_ptr_nonnull(strstr(row.chain, "rumble-filter"));
    ck_assert_ran("render --chain chains/take.chain take.wav out.wav --quiet");
    Sound out = read_sound("out.wav");
    ck_assert_uint_eq(count_bites(&words, &out), 0);
    free(words.audio);
    free(out.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("advise voices");
    tcase_add_test(tcase, what_is_advised_for_recorded_voices_is_mended_or_told_to_stay);
    tcase_add_test(tcase, a_word_that_begins_without_a_voice_is_left_whole);
    return run_suite(tcase, "siskin advise voices");
}
