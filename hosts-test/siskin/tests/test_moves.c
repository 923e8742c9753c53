/* SPDX-License-Identifier: ISC */
/* Lanes in chains: controls, faders and pans that move, and the frames on which they do. */
#include "siskin/tests/run_siskin.h"

enum { RATE_HZ = 48000, FRAMES = 33600 };

static double decibels(double db) {
    return pow(10.0, db / 20.0);
}

static void render_chain(const char *text) {
    write_text("t.chain", text);
    int status = run("render --chain t.chain take.wav out.wav");
    ck_assert_msg(status == 0, "%s\nexit %d\n%s", text, status, ran.err);
}

static Sound take_file(int channels) {
    return noise_file("take.wav", channels, FRAMES, 911);
}

/* What comes out, frame by frame, is `gain_db` of what went in. */
static void check_gain(const Sound *take, double (*gain_db)(int64_t frame), double tolerance_db) {
    Sound out = read_sound("out.wav");
    ck_assert_int_eq(out.info.frames, take->info.frames);
    unsigned channels = (unsigned)take->info.channels;
    for (size_t i = 0; i < samples(take); i++) {
        double expected = (double)take->audio[i] * decibels(gain_db((int64_t)(i / channels)));
        double bound = fabs(expected) * (decibels(tolerance_db) - 1.0) + 0x1p-23;
        ck_assert_msg(fabs((double)out.audio[i] - expected) <= bound, "frame %zu: %.9g, not %.9g",
                      i / channels, (double)out.audio[i], expected);
    }
    free(out.audio);
}

/* 0.1 s, 0.2 s and 0.35 s are whole frames at 48 kHz. */
static double steps(int64_t frame) {
    return frame < 9600 ? -3.0 : frame < 16800 ? 6.0 : 0.0;
}

START_TEST(a_step_lands_on_its_frame) {
    for (int channels = 1; channels <= 2; channels++) {
        Sound take = take_file(channels);
        render_chain("bus lead\n gain gain=@moves\nlane moves\n 0.1 -3\n 0.2 6\n 0.35 0\n");
        check_gain(&take, steps, 0.0);
        render_chain("bus lead\n fader @moves\nlane moves hold\n 0.1 -3\n 0.2 6\n 0.35 0\n");
        check_gain(&take, steps, 0.0);
        free(take.audio);
    }
}
END_TEST

/* `late` delays by 700 frames and says so: what moves behind it still belongs to the take. */
START_TEST(latency_is_taken_out_of_what_moves) {
    Sound take = take_file(1);
    render_chain("bus lead\n urn:foreign:late frames=700\n gain gain=@moves\n"
                 "lane moves\n 0.1 -3\n 0.2 6\n 0.35 0\n");
    check_gain(&take, steps, 0.0);
    render_chain("bus lead\n urn:foreign:late frames=700\n fader @moves\n"
                 "lane moves\n 0.1 -3\n 0.2 6\n 0.35 0\n");
    check_gain(&take, steps, 0.0);
    free(take.audio);
}
END_TEST

static double slope(int64_t frame) {
    double at_s = (double)frame / RATE_HZ;
    return at_s < 0.1 ? -6.0 : at_s < 0.5 ? -6.0 + (at_s - 0.1) / 0.4 * 12.0 : 6.0;
}

/* 12 dB in 0.4 s are 0.04 dB in the 64 frames of a step: a control lies behind by that at most, a
 * fader is off by 0.04^2 / 70 dB. */
START_TEST(a_line_is_straight_in_decibels) {
    Sound take = take_file(2);
    render_chain("bus lead\n gain gain=@m\nlane m line\n 0.1 -6\n 0.5 6\n");
    check_gain(&take, slope, 0.041);
    render_chain("bus lead\n fader @m\nlane m line\n 0 0.1 -6\n 0.5 0.6 6\n");
    check_gain(&take, slope, 0.0001);
    free(take.audio);
}
END_TEST

/* Equal power all along: left^2 + right^2 is the take's. */
START_TEST(a_pan_moves_with_equal_power) {
    Sound take = take_file(1);
    render_chain("bus lead\n pan @p\n fader @f\nlane p line\n 0 -100\n 0.6 100\nlane f\n 0 -6\n");
    Sound out = read_sound("out.wav");
    ck_assert_int_eq(out.info.channels, 2);
    for (size_t i = 0; i < samples(&take); i++) {
        double at = fmin(1.0, (double)i / (0.6 * RATE_HZ));
        double in = (double)take.audio[i] * decibels(-6.0);
        ck_assert_double_eq_tol((double)out.audio[2 * i], in * cos(at * M_PI_2), 1e-6);
        ck_assert_double_eq_tol((double)out.audio[2 * i + 1], in * sin(at * M_PI_2), 1e-6);
    }
    free(out.audio);
    free(take.audio);
}
END_TEST

/* A send hears the bus behind its fader, a stem what goes to the mix. */
START_TEST(sends_and_stems_hear_the_fader_move) {
    Sound take = take_file(1);
    write_text("t.chain", "bus lead\n fader @m\n to none\nbus other\n from lead\n"
                          "lane m\n 0.1 -3\n 0.2 6\n 0.35 0\n");
    ck_assert_ran("render --chain t.chain --stems take.wav out.wav");
    check_gain(&take, steps, 0.0);
    Sound out = read_sound("out.wav");
    check_same_bits("out.other.wav", &out);
    free(out.audio);
    free(take.audio);
}
END_TEST

START_TEST(a_lane_may_be_a_file_beside_the_chain) {
    Sound take = take_file(1);
    ck_assert_int_eq(mkdir("chains", 0777), 0);
    write_text("chains/moves.lane", "0.1 -3\n0.2 6\n0.35 0\n");
    write_text("chains/t.chain",
               "bus lead\n gain gain=@moves.lane\n fader @still\nlane still\n0 0\n");
    ck_assert_ran("render --chain chains/t.chain take.wav out.wav");
    check_gain(&take, steps, 0.0);
    ck_assert_ran("render take.wav out.wav gain gain=@chains/moves.lane");
    check_gain(&take, steps, 0.0);
    free(take.audio);
}
END_TEST

/* What a file was made with includes its lanes. */
START_TEST(a_lane_that_changed_is_no_reason_to_skip) {
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    Sound take = noise_file("takes/a.wav", 1, FRAMES, 912);
    write_text("moves.lane", "0 -3\n");
    for (int i = 0; i < 3; i++) {
        if (i == 2)
            write_text("moves.lane", "0 -4\n");
        ck_assert_ran("render takes out --skip-done gain gain=@moves.lane");
        ck_assert_msg(strstr(ran.out, i == 1 ? "0 rendered, 1 skipped" : "1 rendered, 0 skipped") !=
                          NULL,
                      "%d: %s", i, ran.out);
    }
    free(take.audio);
}
END_TEST

static const struct {
    const char *chain, *words;
} refusals[] = {
    {"bus lead\n fader @ride\n", "there is no lane 'ride' in the chain|cannot read"},
    {"bus lead\n fader @\n", "line 2|after the @ comes the name"},
    {"bus lead\n fader @a\nlane a\n", "line 3|lane a has no line"},
    {"bus lead\n fader @a\nlane a\n 1 2\n 0.5 2\n", "line 5|0.5 comes after 1"},
    {"bus lead\n fader @a\nlane a\n 0 61\n", "line 1|lane a takes the fader of bus lead to 61"},
    {"bus lead\n pan @a\nlane a\n 0 -101\n", "the pan of bus lead to -101"},
    {"bus lead\n gain gain=@a\nlane a\n 0 3\n 2 25\n", "line 2|lane a at 2 s|-24|24"},
    {"bus lead\n gain volume=@a\nlane a\n 0 3\n", "line 2|no control 'volume'"},
    {"lane a\n 0 3\nbus lead\nlane a\n 0 3\n", "line 4|lane a is there already, from line 1"},
    {"lane a sideways\n", "line 1|lane NAME line"},
    {"bus lead\n 0 3\n", "line 2|'0' belongs to a lane"},
    {"lane a\n 0 3\nbus lead\n 1 3\n", "line 4|'1' belongs to a lane"},
};
enum { N_REFUSALS = sizeof refusals / sizeof *refusals };

START_TEST(what_makes_no_lane_is_refused_where_it_stands) {
    Sound take = take_file(1);
    write_text("t.chain", refusals[_i].chain);
    check_refused("render --chain t.chain take.wav out.wav", 2, refusals[_i].words);
    ck_assert_int_ne(access("out.wav", F_OK), 0);
    free(take.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("moves");
    tcase_add_test(tcase, a_step_lands_on_its_frame);
    tcase_add_test(tcase, latency_is_taken_out_of_what_moves);
    tcase_add_test(tcase, a_line_is_straight_in_decibels);
    tcase_add_test(tcase, a_pan_moves_with_equal_power);
    tcase_add_test(tcase, sends_and_stems_hear_the_fader_move);
    tcase_add_test(tcase, a_lane_may_be_a_file_beside_the_chain);
    tcase_add_test(tcase, a_lane_that_changed_is_no_reason_to_skip);
    tcase_add_loop_test(tcase, what_makes_no_lane_is_refused_where_it_stands, 0, N_REFUSALS);
    return run_suite(tcase, "moves");
}
