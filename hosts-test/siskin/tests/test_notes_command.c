/* SPDX-License-Identifier: ISC */
/* siskin notes, and pitch-corrector following a list of notes. */
#include "siskin/edit/note_list.h"
#include "siskin/measure/pitch_name.h"
#include "siskin/tests/measure_take.h"

enum { RATE_HZ = 48000, NOTES = 6, NOTE_FRAMES = RATE_HZ / 2, REST_FRAMES = RATE_HZ / 5 };
enum { NOTE_STEP = NOTE_FRAMES + REST_FRAMES, FRAMES = REST_FRAMES + NOTES * NOTE_STEP };

/* G4 A4 B4 C5 B4 G4, each so many cents off. */
static const double sung_midi[NOTES] = {67, 69, 71, 72, 71, 67};
static const double off_cents[NOTES] = {0, 38, -30, 22, -44, 15};

static size_t note_begins(size_t i) {
    return REST_FRAMES + i * NOTE_STEP;
}

/* A voice-like tone: falling harmonics, faded at both ends. */
static void add_note(float *out, double midi) {
    double hz = 440.0 * exp2((midi - 69.0) / 12.0);
    for (size_t t = 0; t < NOTE_FRAMES; t++) {
        double x = 0.0;
        for (int k = 1; k <= 16; k++)
            x += sin(2.0 * 3.14159265358979323846 * k * hz * (double)t / RATE_HZ) / k;
        out[t] = (float)(0.1 * x);
    }
    signals_fade_ends(out, NOTE_FRAMES, RATE_HZ / 50);
}

static float *sing_notes(void) {
    float *audio = calloc(FRAMES, sizeof *audio);
    ck_assert(audio != NULL);
    for (size_t i = 0; i < NOTES; i++)
        add_note(audio + note_begins(i), sung_midi[i] + 0.01 * off_cents[i]);
    write_mono("take.wav", audio, FRAMES, RATE_HZ);
    return audio;
}

/* The notes of out.wav, each as far from `expected` as `tolerance` cents allows. */
static void check_notes(const double *expected, double tolerance) {
    Measures m = measure_file("out.wav");
    ck_assert_uint_eq(m.n_sung, NOTES);
    for (size_t i = 0; i < NOTES; i++)
        ck_assert_msg(fabs(m.sung[i].midi - expected[i]) <= 0.01 * tolerance,
                      "note %zu is %.3f, not %.3f", i, m.sung[i].midi, expected[i]);
    measures_free(&m);
}

static void render_with(const char *list) {
    write_text("take.notes", list);
    unlink("out.wav");
    int status = run("render --quiet take.wav out.wav pitch-corrector notes=take.notes");
    ck_assert_msg(status == 0, "exit %d\n%s", status, ran.err);
}

START_TEST(a_list_names_each_note_and_what_it_is_off) {
    free(sing_notes());
    ck_assert_int_eq(run("notes --quiet take.wav"), 0);
    write_text("take.notes", ran.out);
    NoteList list;
    HostError error;
    ck_assert_msg(note_list_load(&list, "take.notes", &error), "%s", error.text);
    ck_assert_uint_eq(list.n, NOTES);
    for (size_t i = 0; i < NOTES; i++) {
        double begins = (double)note_begins(i) / RATE_HZ, ends = begins + 0.5;
        ck_assert_double_eq(list.lines[i].midi, sung_midi[i]);
        ck_assert_double_eq_tol(list.lines[i].from_s, begins, 0.05);
        ck_assert_double_eq_tol(list.lines[i].to_s, ends, 0.1);
    }
    note_list_free(&list);
    /* To 3 cents, as the pitch of a note is read. */
    const char *line = strstr(ran.out, " B4 ");
    ck_assert(line != NULL);
    double cents = strtod(strstr(line, "sung ") + strlen("sung "), NULL);
    ck_assert_double_eq_tol(cents, off_cents[2], 3.0);
}
END_TEST

START_TEST(what_is_printed_brings_every_note_to_its_place) {
    free(sing_notes());
    ck_assert_int_eq(run("notes --quiet take.wav"), 0);
    char *list = strdup(ran.out);
    render_with(list);
    free(list);
    check_notes(sung_midi, 6.0);
}
END_TEST

/* Cents in the key of G, in which they all are; in that of F a B goes to the B flat. */
START_TEST(a_key_draws_to_its_scale) {
    free(sing_notes());
    ck_assert_int_eq(run("notes --quiet --key G-major take.wav"), 0);
    ck_assert(strstr(ran.out, " B4 ") && !strstr(ran.out, " Bb4 "));
    ck_assert_int_eq(run("notes --quiet --key F-major take.wav"), 0);
    ck_assert(strstr(ran.out, " Bb4 ") && !strstr(ran.out, " B4 "));
    ck_assert_int_eq(run("notes --quiet --key H-major take.wav"), 2);
    ck_assert_int_eq(run("notes --quiet --key G-jolly take.wav"), 2);
    ck_assert(strstr(ran.err, "harmonic-minor"));
}
END_TEST

static char *list_of(const double *midi, size_t without) {
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    for (size_t i = 0; i < NOTES; i++) {
        double begins = (double)note_begins(i) / RATE_HZ;
        if (i != without)
            fprintf(file, "%.3f %.3f %.2f\n", begins, begins + 0.5, midi[i]);
    }
    fclose(file);
    return text;
}

START_TEST(an_edited_line_moves_its_note_and_no_other) {
    double wanted[NOTES];
    free(sing_notes());
    memcpy(wanted, sung_midi, sizeof wanted);
    wanted[3] = 74.0;  /* a whole tone up */
    wanted[4] = 70.75; /* a quarter of a semitone under */
    char *list = list_of(wanted, NOTES);
    render_with(list);
    free(list);
    check_notes(wanted, 6.0);
}
END_TEST

START_TEST(a_note_without_a_line_stays_bit_for_bit) {
    float *take = sing_notes();
    char *list = list_of(sung_midi, 4);
    render_with(list);
    free(list);
    Sound out = read_sound("out.wav");
    ck_assert_int_eq(out.info.frames, FRAMES);
    size_t from = note_begins(4) - REST_FRAMES / 4, n = NOTE_FRAMES + REST_FRAMES / 2;
    ck_assert(signals_same_bits(take + from, out.audio + from, n));
    free(out.audio);
    free(take);
}
END_TEST

/* What is between two notes that touch belongs to both: nothing in between is farther from the
 * voice's own pitch than the greater of the two corrections. */
START_TEST(lanes_of_touching_notes_meet_within_their_joint) {
    NoteList list;
    HostError error;
    Lane lanes[NOTE_LANES];
    write_text("take.notes", "1 2 60\n2 3 64 0 50\n4 4.05 62\n");
    ck_assert_msg(note_list_load(&list, "take.notes", &error), "%s", error.text);
    note_list_lanes(&list, lanes);
    const Lane *target = &lanes[NOTE_LANE_TARGET], *strength = &lanes[NOTE_LANE_STRENGTH];
    ck_assert_double_eq(lane_value(target, 1.9), 60.0);
    ck_assert_double_eq(lane_value(target, 1.96), 60.0);
    ck_assert_double_eq_tol(lane_value(target, 2.0), 62.0, 1e-9);
    ck_assert_double_eq(lane_value(target, 2.04), 64.0);
    ck_assert_double_eq(lane_value(strength, 0.9), 0.0);
    ck_assert_double_eq(lane_value(strength, 1.0), 100.0);
    ck_assert_double_eq(lane_value(strength, 2.0), 100.0);
    ck_assert_double_eq(lane_value(strength, 3.0), 100.0);
    ck_assert_double_eq(lane_value(strength, 3.5), 0.0);
    ck_assert_double_eq(lane_value(strength, 4.02), 100.0);
    ck_assert_double_eq(lane_value(strength, 9.0), 0.0);
    ck_assert_double_eq(lane_value(&lanes[NOTE_LANE_VIBRATO], 0.0), 100.0);
    ck_assert_double_eq(lane_value(&lanes[NOTE_LANE_VIBRATO], 2.5), 50.0);
    ck_assert_double_eq(lane_value(&lanes[NOTE_LANE_VIBRATO], 3.5), 100.0);
    for (size_t i = 0; i < NOTE_LANES; i++)
        lane_free(&lanes[i]);
    note_list_free(&list);
}
END_TEST

START_TEST(a_drift_is_a_slope_about_the_note) {
    NoteList list;
    HostError error;
    Lane lanes[NOTE_LANES];
    write_text("take.notes", "1 2 60 -40\n");
    ck_assert_msg(note_list_load(&list, "take.notes", &error), "%s", error.text);
    note_list_lanes(&list, lanes);
    ck_assert_double_eq_tol(lane_value(&lanes[NOTE_LANE_TARGET], 1.0), 60.2, 1e-9);
    ck_assert_double_eq_tol(lane_value(&lanes[NOTE_LANE_TARGET], 1.75), 59.9, 1e-9);
    for (size_t i = 0; i < NOTE_LANES; i++)
        lane_free(&lanes[i]);
    note_list_free(&list);
}
END_TEST

START_TEST(a_wrong_line_is_named) {
    static const struct {
        const char *text, *said;
    } wrong[] = {
        {"0.5 1 E4\n1 0.9 E4\n", "line 2: a note must end"},
        {"0.5 1 E4\n0.9 2 E4\n", "line 2: it begins"},
        {"0.5 1 H4\n", "line 1: 'H4' is no note"},
        {"0.5 1 E4 300\n", "a drift of '300'"},
        {"0.5 1 E4 0 201\n", "a vibrato of '201'"},
        {"0.5 1 E4 0 100 -1\n", "a strength of '-1'"},
        {"0.5 1\n", "write: FROM TO NOTE"},
        {"x 1 E4\n", "'x' is no time"},
        {"# nothing\n", "no line such as"},
    };
    free(sing_notes());
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        write_text("take.notes", wrong[i].text);
        ck_assert_int_ne(run("render take.wav no.wav pitch-corrector notes=take.notes"), 0);
        ck_assert_msg(strstr(ran.err, wrong[i].said) != NULL, "'%s': %s", wrong[i].text, ran.err);
        ck_assert(!exists("no.wav"));
    }
    write_text("take.notes", "0.5 1 E4\n");
    ck_assert_int_ne(run("render take.wav no.wav pitch-corrector notes=take.notes target=60"), 0);
    ck_assert(strstr(ran.err, "notes= moves the target already"));
    ck_assert_int_ne(run("render take.wav no.wav de-esser notes=take.notes"), 0);
    ck_assert(strstr(ran.err, "no control 'notes'"));
}
END_TEST

START_TEST(names_of_notes_are_read_as_they_are_written) {
    static const struct {
        const char *word;
        double midi;
    } names[] = {{"C4", 60.0},   {"F#4", 66.0}, {"Gb4", 66.0}, {"E4-12", 63.88}, {"A4+7", 69.07},
                 {"66.5", 66.5}, {"B3", 59.0},  {"Cb4", 59.0}, {"C-1+50", 0.5}};
    double midi = 0.0;
    char buffer[24];
    for (size_t i = 0; i + 1 < sizeof names / sizeof *names; i++) {
        ck_assert_msg(pitch_name_read(names[i].word, &midi), "%s", names[i].word);
        ck_assert_double_eq_tol(midi, names[i].midi, 1e-9);
        ck_assert(pitch_name_read(pitch_name_midi(buffer, midi), &midi));
        ck_assert_double_eq_tol(midi, names[i].midi, 1e-9);
    }
    static const char *const wrong[] = {"C-1+50", "H4", "C",   "C4x", "C4+200",
                                        "",       "0",  "128", "C99"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        ck_assert_msg(!pitch_name_read(wrong[i], &midi), "%s", wrong[i]);
}
END_TEST

/* key= is a signal to most, and a note to those that know a scale. */
START_TEST(a_key_note_is_set_by_name_and_by_number) {
    free(sing_notes());
    ck_assert_ran("render take.wav a.wav pitch-corrector key=D scale=Major");
    write_text("d.chain", "bus lead\n  pitch-corrector key=2 scale=1\n");
    ck_assert_ran("render --chain d.chain take.wav b.wav");
    Sound a = read_sound("a.wav");
    check_same_bits("b.wav", &a);
    ck_assert_int_ne(run("render take.wav c.wav pitch-corrector key=H"), 0);
    ck_assert(strstr(ran.err, "key=H is not a value it knows"));
    free(a.audio);
}
END_TEST

int main(void) {
    bundles = "lv2";
    TCase *tcase = tcase_create("notes");
    tcase_add_test(tcase, a_list_names_each_note_and_what_it_is_off);
    tcase_add_test(tcase, what_is_printed_brings_every_note_to_its_place);
    tcase_add_test(tcase, a_key_draws_to_its_scale);
    tcase_add_test(tcase, an_edited_line_moves_its_note_and_no_other);
    tcase_add_test(tcase, a_note_without_a_line_stays_bit_for_bit);
    tcase_add_test(tcase, lanes_of_touching_notes_meet_within_their_joint);
    tcase_add_test(tcase, a_drift_is_a_slope_about_the_note);
    tcase_add_test(tcase, a_wrong_line_is_named);
    tcase_add_test(tcase, a_key_note_is_set_by_name_and_by_number);
    tcase_add_test(tcase, names_of_notes_are_read_as_they_are_written);
    return run_suite(tcase, "notes");
}
