/* SPDX-License-Identifier: ISC */
/* Lists of events: what a person has marked is left alone, and nothing else changes. */
#include "siskin/edit/events.h"
#include "siskin/tests/page_take.h"

enum { MOST_LIST = 1 << 16 };

static const struct {
    const char *kind, *processor;
    double reach_s; /* as in edit/events.c: how far around the sound the processor may differ */
} kinds[] = {{"breath", "breath-ducker depth=18", 0.1},
             {"sibilant", "de-esser strength=90", 0.05},
             {"click", "transient-tamer", 0.05}};

static void read_list(const char *path, char *text) {
    FILE *file = fopen(path, "r");
    ck_assert_ptr_nonnull(file);
    size_t n = fread(text, 1, MOST_LIST - 1, file);
    text[n] = '\0';
    fclose(file);
}

static void measure_list(const char *path) {
    ck_assert_ran("measure --events --quiet take.wav");
    write_text(path, ran.out);
}

/* Marks the `number`th line of a kind in list.csv; false: there are not so many. */
static bool mark(const char *kind, int number, double *start_s, double *end_s) {
    static char text[MOST_LIST], cell[32];
    read_list("list.csv", text);
    snprintf(cell, sizeof cell, ",%s,", kind);
    char *line = text;
    for (int i = 0; (line = strstr(line, cell)) != NULL && i < number; i++)
        line++;
    if (!line)
        return false;
    char *comma = NULL;
    *start_s = strtod(line + strlen(cell), &comma);
    *end_s = strtod(comma + 1, NULL);
    char *word = strstr(line, ",treat\n");
    ck_assert_ptr_nonnull(word);
    for (size_t i = 0; i < strlen("leave"); i++)
        word[i + 1] = "leave"[i];
    write_text("list.csv", text);
    return true;
}

/* Whether the processor changes the take there by more than rounding. */
static bool acts(const Sound *take, const Sound *out, double from_s, double to_s) {
    for (int64_t i = (int64_t)(from_s * RATE_HZ); i < (int64_t)(to_s * RATE_HZ); i++)
        if (fabs((double)out->audio[i] - (double)take->audio[i]) > 1e-4)
            return true;
    return false;
}

/* Inside the sound the output is the take; where the processor is on again all is as without the
 * list. 20 ms: a switched processor crossfades over so long (DEVELOPERS.md). */
static void check_left(const Sound *take, const Sound *as_usual, double start_s, double end_s,
                       double reach_s) {
    Sound out = read_sound("out.wav");
    int64_t from = (int64_t)ceil(start_s * RATE_HZ), to = (int64_t)floor(end_s * RATE_HZ) + 1;
    int64_t before = (int64_t)((start_s - reach_s - 0.02) * RATE_HZ) - 1;
    int64_t after = (int64_t)((end_s + reach_s + 0.02) * RATE_HZ) + 2;
    ck_assert_int_eq(out.info.frames, take->info.frames);
    ck_assert_mem_eq(out.audio + from, take->audio + from, (size_t)(to - from) * sizeof(float));
    for (int64_t i = 0; i < out.info.frames; i++)
        if (i < before || i > after)
            ck_assert_msg(out.audio[i] == as_usual->audio[i], "frame %lld", (long long)i);
    free(out.audio);
}

START_TEST(what_is_left_comes_out_as_it_came_and_all_else_as_usual) {
    char line[128];
    bundles = "lv2";
    write_singer("take.wav");
    Sound take = read_sound("take.wav");
    measure_list("whole.csv");
    snprintf(line, sizeof line, "render take.wav usual.wav %s", kinds[_i].processor);
    ck_assert_ran(line);
    Sound usual = read_sound("usual.wav");
    snprintf(line, sizeof line, "render take.wav out.wav events=list.csv %s", kinds[_i].processor);
    int acted = 0;
    for (int number = 0; number < 6; number++) {
        static char text[MOST_LIST];
        double start_s, end_s;
        read_list("whole.csv", text);
        write_text("list.csv", text);
        if (!mark(kinds[_i].kind, number, &start_s, &end_s))
            break;
        ck_assert_ran(line);
        ck_assert_str_eq(ran.err, "");
        check_left(&take, &usual, start_s, end_s, kinds[_i].reach_s);
        acted += acts(&take, &usual, start_s, end_s + 0.005);
    }
    ck_assert_int_ge(acted, 2); /* else nothing was there to be left */
    free(take.audio);
    free(usual.audio);
}
END_TEST

/* The singer with a burst of air at every second word from 3 s on. */
static void write_thumps(const char *path) {
    enum { LONG = RATE_HZ / 12 };
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, RATE_HZ, 9);
    Random random = random_seeded(931);
    size_t words = 0;
    params.score = "sa-ti-so mu fe-na ma ta/zo-ca le-mi so mu na/ma-lo si le mo ta/na-lo si mu sa";
    ck_assert(singer_take(&params, &take));
    double low_db = signals_band_db(take.mix, take.n, RATE_HZ, 20.0, 300.0);
    Sound sound = make_sound(1, (sf_count_t)take.n, RATE_HZ);
    memcpy(sound.audio, take.mix, take.n * sizeof(float));
    for (size_t i = 0; i < take.n_labels; i++) {
        float burst[LONG];
        size_t at = take.labels[i].start;
        if (take.labels[i].kind != SINGER_WORD || at < (size_t)3 * RATE_HZ || at + LONG > take.n ||
            words++ % 2)
            continue;
        signals_band_noise(burst, LONG, RATE_HZ, 20.0, 120.0, pow(10.0, (low_db + 8.0) / 20.0),
                           &random);
        signals_fade_ends(burst, LONG, RATE_HZ / 200);
        signals_add(sound.audio + at, burst, LONG);
    }
    write_wav(path, &sound);
    free(sound.audio);
    singer_free(&take);
}

static double largest_difference(const Sound *a, const Sound *b, double from_s, double to_s) {
    double largest = 0.0;
    for (int64_t i = (int64_t)(from_s * RATE_HZ); i < (int64_t)(to_s * RATE_HZ); i++)
        if (i >= 0 && i < a->info.frames)
            largest = fmax(largest, fabs((double)a->audio[i] - (double)b->audio[i]));
    return largest;
}

/* rumble-filter does more than thumps: a thump that is left comes out as with thumps=0, the
 * high-pass included. Elsewhere all is as usual, once what the cut still had to give back is gone:
 * exp(-0.3 s / 30 ms) of it is left after 0.3 s. */
START_TEST(a_thump_that_is_left_is_filtered_as_without_thumps) {
    bundles = "lv2";
    write_thumps("take.wav");
    measure_list("list.csv");
    ck_assert_ran("render take.wav usual.wav rumble-filter thumps=15");
    ck_assert_ran("render take.wav without.wav rumble-filter thumps=0");
    Sound usual = read_sound("usual.wav"), without = read_sound("without.wav");
    double start_s, end_s;
    ck_assert(mark("thump", 1, &start_s, &end_s));
    ck_assert_double_gt(largest_difference(&usual, &without, start_s, end_s), 0.01);
    ck_assert_ran("render take.wav out.wav events=list.csv rumble-filter thumps=15");
    ck_assert_str_eq(ran.err, "");
    Sound out = read_sound("out.wav");
    double length_s = (double)out.info.frames / RATE_HZ;
    ck_assert_double_le(largest_difference(&out, &without, start_s, end_s), 1e-5);
    ck_assert_double_le(largest_difference(&out, &usual, 0.0, start_s - 0.07), 0.0);
    ck_assert_double_le(largest_difference(&out, &usual, end_s + 0.35, length_s), 1e-5);
    write_text("t.lane", "0 12\n4 6\n");
    check_refused("render take.wav out.wav events=list.csv rumble-filter thumps=@t.lane", 2,
                  "rumble-filter|thumps=|events=");
    free(usual.audio);
    free(without.audio);
    free(out.audio);
}
END_TEST

START_TEST(a_list_as_it_was_printed_changes_nothing) {
    bundles = "lv2";
    write_singer("take.wav");
    write_text("t.chain", CHAIN);
    measure_list("list.csv");
    ck_assert_ran("render --chain t.chain take.wav usual.wav");
    Sound usual = read_sound("usual.wav");
    ck_assert_ran("render --chain t.chain take.wav out.wav events=list.csv");
    check_same_bits("out.wav", &usual);
    free(usual.audio);
}
END_TEST

/* ---- lists by hand ---- */

static Lane lane_of(const char *text, const char *take, const char *processor) {
    HostError error = {""};
    Events events;
    write_text("list.csv", text);
    ck_assert_msg(events_load(&events, "list.csv", &error), "%s", error.text);
    Lane lane = events_lane(&events, take, processor);
    events_free(&events);
    return lane;
}

static void check_lane(Lane *lane, const double *points, size_t n) {
    ck_assert_uint_eq(lane->n, n);
    for (size_t i = 0; i < n; i++) {
        ck_assert_double_eq_tol(lane->points[i].at_s, points[2 * i], 1e-12);
        ck_assert_double_eq(lane->points[i].value, points[2 * i + 1]);
    }
    lane_free(lane);
}

/* breath-ducker: off 120 ms before, on again 100 ms after. What is treated keeps half of what lies
 * between, and its switch back 20 ms before that. */
START_TEST(a_sound_that_is_left_leaves_its_neighbours_their_half) {
    Lane lane = lane_of("kind,start_s,end_s,do\nbreath,1,1.5,leave\nbreath,3,3.5,treat\n", "t.wav",
                        "breath-ducker");
    check_lane(&lane, (const double[]){0, 1, 0.88, 0, 1.6, 1}, 3);
    lane = lane_of("kind,start_s,end_s,do\nbreath,0.5,0.96,treat\nbreath,1,1.5,LEAVE\n"
                   "breath,1.56,2,treat\nclick,1.51,1.51,treat\n",
                   "t.wav", "breath-ducker");
    check_lane(&lane, (const double[]){0, 1, 0.96, 0, 1.53, 1}, 3);
    lane = lane_of("kind,start_s,end_s,do\nbreath,2,2.5,leave\nbreath,0.1,1.9,leave\n", "t.wav",
                   "breath-ducker");
    check_lane(&lane, (const double[]){0, 0, 2.6, 1}, 2);
    lane = lane_of("kind,start_s,end_s,do\nbreath,2,2.5,leave\n", "t.wav", "de-esser");
    check_lane(&lane, NULL, 0);
    lane = lane_of("kind,start_s,end_s,do\nbreath,2,2.5,leave\n", "t.wav", NULL);
    check_lane(&lane, NULL, 0);
}
END_TEST

/* As spreadsheets write them: a mark of the byte order, other ends of lines, columns moved,
 * quotes. */
START_TEST(a_list_may_come_from_a_spreadsheet) {
    Lane lane = lane_of("\xEF\xBB\xBF\"do\",note,\"end_s\",\"start_s\",\"kind\"\r\n"
                        "leave,\"a \"\"b\"\", c\",0:02.5,2,breath\r\n,,,,\r\n\r\n",
                        "t.wav", "breath-ducker");
    check_lane(&lane, (const double[]){0, 1, 1.88, 0, 2.6, 1}, 3);
}
END_TEST

/* One list of several takes; a name that begins like a formula stands in it behind a '. */
START_TEST(each_take_finds_its_own_lines) {
    static const char list[] = "take,kind,start_s,end_s,do\n\"old/a.wav\",breath,1,2,leave\n"
                               "\"'=b.wav\",breath,3,4,leave\n";
    Lane lane = lane_of(list, "new/a.wav", "breath-ducker");
    check_lane(&lane, (const double[]){0, 1, 0.88, 0, 2.1, 1}, 3);
    lane = lane_of(list, "=b.wav", "breath-ducker");
    check_lane(&lane, (const double[]){0, 1, 2.88, 0, 4.1, 1}, 3);
    lane = lane_of(list, "c.wav", "breath-ducker");
    check_lane(&lane, NULL, 0);
    /* Another file of that name is there: the line is of that. */
    ck_assert_int_eq(mkdir("old", 0777), 0);
    write_text("old/a.wav", "");
    lane = lane_of(list, "new/a.wav", "breath-ducker");
    check_lane(&lane, NULL, 0);
}
END_TEST

static const struct {
    const char *list, *words;
} refusals[] = {
    {"", "list.csv is empty"},
    {"kind,start_s,end_s\n", "line 1|no column 'do'|siskin measure --events"},
    {"kind;start_s;end_s;do\n", "line 1|no column 'kind'"},
    {"kind,start_s,end_s,do\nbreath,1,2,keep\n", "line 2|'keep' is neither treat nor leave"},
    {"kind,start_s,end_s,do\nbreath,1,2\n", "line 2|column 'do'"},
    {"kind,start_s,end_s,do\nbreath,-1,2,leave\n", "line 2|'-1' is no time"},
    {"kind,start_s,end_s,do\nbreath,3,2,leave\n", "line 2|'2' is no time after 3"},
    {"kind,start_s,end_s,do\n\"breath,3,2,leave\n", "line 2|quote"},
};

START_TEST(what_makes_no_list_is_refused_where_it_stands) {
    free(noise_file("take.wav", 1, 0, 920).audio);
    write_text("list.csv", refusals[_i].list);
    check_refused("render take.wav out.wav events=list.csv gain", 2, refusals[_i].words);
    ck_assert(!exists("out.wav"));
}
END_TEST

START_TEST(what_cannot_be_done_as_listed_is_told) {
    bundles = "lv2";
    free(noise_file("take.wav", 1, 0, 921).audio);
    write_text("list.csv", "take,kind,start_s,end_s,do\ntake.wav,breath,0.2,0.3,leave\n"
                           "take.wav,click,0.4,0.4,leave\ntake.wav,click,0.5,0.5,leave\n");
    check_refused("render take.wav out.wav events=none.csv de-esser", 2, "none.csv");
    check_refused("render take.wav out.wav events=list.csv events=list.csv de-esser", 2, "twice");
    check_refused("render take.wav out.wav events=list.csv breath-ducker enabled=on", 2,
                  "breath-ducker|enabled=|events=");
    ck_assert_ran("render take.wav out.wav events=list.csv breath-ducker");
    ck_assert_ptr_nonnull(strstr(ran.err, "leaves 2 that no processor here treats"));
    ck_assert_ptr_nonnull(strstr(ran.err, "a click at 0.4000 s"));
    ck_assert_ran("render take.wav out.wav events=list.csv breath-ducker transient-tamer");
    ck_assert_str_eq(ran.err, "");
    free(noise_file("other.wav", 1, 0, 922).audio);
    ck_assert_ran("render other.wav out.wav events=list.csv breath-ducker transient-tamer");
    ck_assert_ptr_nonnull(strstr(ran.err, "list.csv has no line of other.wav"));
}
END_TEST

/* What an output was made with includes the list; what it says of other takes does not matter. */
START_TEST(a_list_that_changed_is_no_reason_to_skip) {
    static const struct {
        const char *list, *told;
    } runs[] = {{"take,kind,start_s,end_s,do\na.wav,breath,0.2,0.3,treat\n", "1 rendered"},
                {"take,kind,start_s,end_s,do\na.wav,breath,0.2,0.3,treat\nb.wav,click,1,1,leave\n",
                 "1 skipped"},
                {"take,kind,start_s,end_s,do\na.wav,breath,0.2,0.3,leave\n", "1 rendered"},
                {"take,kind,start_s,end_s,do\na.wav,breath,0.2,0.31,leave\n", "1 rendered"}};
    bundles = "lv2";
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    free(noise_file("takes/a.wav", 1, 0, 923).audio);
    for (size_t i = 0; i < sizeof runs / sizeof *runs; i++) {
        write_text("list.csv", runs[i].list);
        ck_assert_ran("render takes out --skip-done events=list.csv breath-ducker");
        ck_assert_msg(strstr(ran.out, runs[i].told) != NULL, "%zu: %s", i, ran.out);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("events");
    tcase_add_loop_test(tcase, what_is_left_comes_out_as_it_came_and_all_else_as_usual, 0, 3);
    tcase_add_test(tcase, a_thump_that_is_left_is_filtered_as_without_thumps);
    tcase_add_test(tcase, a_list_as_it_was_printed_changes_nothing);
    tcase_add_test(tcase, a_sound_that_is_left_leaves_its_neighbours_their_half);
    tcase_add_test(tcase, a_list_may_come_from_a_spreadsheet);
    tcase_add_test(tcase, each_take_finds_its_own_lines);
    tcase_add_loop_test(tcase, what_makes_no_list_is_refused_where_it_stands, 0,
                        sizeof refusals / sizeof *refusals);
    tcase_add_test(tcase, what_cannot_be_done_as_listed_is_told);
    tcase_add_test(tcase, a_list_that_changed_is_no_reason_to_skip);
    return run_suite(tcase, "lists of events");
}
