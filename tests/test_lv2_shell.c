/* SPDX-License-Identifier: ISC */
/* What the shell makes of a plugin's meters, with a probe for a plugin: every meter is the input,
 * read as its kind asks. All else that the shell does is asked of whole bundles
 * (hosts-test/contract). */
#define SISKIN_ID "probe"
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/lv2_shell.c"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>

/* ---- the probe ---- */

enum { NOW, PEAK, HELD, LAMP, HERTZ, N_PROBE };
static const PortSpec PROBE[N_PROBE] = {
    [NOW] =
        {.symbol = "now", .minimum = -60.0f, .initial = -40.0f, .maximum = 60.0f, .unit = UNIT_DB},
    [PEAK] = {.symbol = "peak",
              .minimum = -90.0f,
              .maximum = 60.0f,
              .unit = UNIT_DB,
              .meter = METER_PEAK},
    [HELD] = {.symbol = "held",
              .minimum = -90.0f,
              .maximum = 60.0f,
              .unit = UNIT_DB,
              .meter = METER_HELD},
    [LAMP] = {.symbol = "lamp", .maximum = 1.0f, .kind = PORT_TOGGLE, .meter = METER_LAMP},
    [HERTZ] = {.symbol = "hertz",
               .minimum = 100.0f,
               .maximum = 300.0f,
               .unit = UNIT_HZ,
               .meter = METER_PEAK},
};

typedef struct {
    int nothing;
} Probe;

static bool probe_prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    (void)self, (void)rate_hz, (void)channels, (void)arena;
    return true;
}

static void probe_reset(void *self) {
    (void)self;
}

static void probe_set(void *self, const float *values) {
    (void)self, (void)values;
}

static void probe_process(void *self, const Io *io) {
    (void)self;
    float largest = -1000.0f;
    for (size_t i = 0; i < io->n; i++)
        largest = io->in[0][i] > largest ? io->in[0][i] : largest;
    for (unsigned c = 0; c < io->channels; c++)
        memcpy(io->out[c], io->dry[c], io->n * sizeof(float));
    *io->reduction_db = largest > 0.0f ? largest : 0.0f;
    io->meter[NOW] = io->n ? io->in[0][io->n - 1] : io->meter[NOW];
    io->meter[PEAK] = io->meter[HELD] = io->meter[HERTZ] = largest;
    io->meter[LAMP] = largest > 0.0f ? 1.0f : 0.0f;
}

static size_t probe_latency(const void *self, const float *values) {
    (void)self, (void)values;
    return 0;
}

const PluginSpec plugin_spec = {.id = "probe",
                                .meters = PROBE,
                                .n_meters = N_PROBE,
                                .most_reduction_db = 30.0f,
                                .state_size = sizeof(Probe),
                                .prepare = probe_prepare,
                                .reset = probe_reset,
                                .set = probe_set,
                                .process = probe_process,
                                .latency = probe_latency};

/* ---- a host ---- */

enum {
    REDUCTION = 3,
    FIRST = 4,
    AUDIO_IN = FIRST + N_PROBE,
    N_PORTS = AUDIO_IN + 2,
    LONGEST = 1 << 20
};
static const double RATE = 48000.0;
static const double FALL = 12.0 * 256.0 / 48000.0; /* dB a hop of the meters */

static LV2_Handle instance;
static float port[N_PORTS];
static float input[LONGEST], output[LONGEST];
static size_t now; /* frames run */

static void begin(double rate_hz, const LV2_Feature *const *features) {
    const LV2_Descriptor *d = lv2_descriptor(0);
    instance = d->instantiate(d, rate_hz, "", features);
    ck_assert_ptr_nonnull(instance);
    for (uint32_t i = 0; i < N_PORTS; i++)
        d->connect_port(instance, i, &port[i]);
    port[0] = 1.0f;
    port[1] = 0.0f;
    now = 0;
    d->activate(instance);
    for (size_t i = 0; i < LONGEST; i++)
        input[i] = -1000.0f;
}

static void end(void) {
    cleanup(instance);
}

static void run_for(size_t frames) {
    connect_port(instance, AUDIO_IN, input + now);
    connect_port(instance, AUDIO_IN + 1, output + now);
    run(instance, (uint32_t)frames);
    now += frames;
}

static void run_until(size_t frame, size_t block) {
    while (now < frame)
        run_for(frame - now < block ? frame - now : block);
}

static float shown(size_t meter) {
    return port[FIRST + meter];
}

static void check_near(double got, double expected) {
    ck_assert_msg(fabs(got - expected) < 1e-3, "%.6g after %zu frames, not %.6g", got, now,
                  expected);
}

/* ---- tests ---- */

START_TEST(meters_rest_until_something_runs) {
    begin(RATE, NULL);
    run_for(0);
    ck_assert(shown(NOW) == -40.0f && shown(PEAK) == -90.0f && shown(HELD) == -90.0f);
    ck_assert(shown(LAMP) == 0.0f && shown(HERTZ) == 100.0f && port[REDUCTION] == 0.0f);
    end();
}
END_TEST

START_TEST(a_peak_of_one_frame_shows_at_once_and_falls_by_12_db_a_second) {
    begin(RATE, NULL);
    input[1000] = 20.0f;
    run_until(1023, 64);
    ck_assert(port[REDUCTION] == 0.0f && shown(PEAK) == -90.0f);
    run_until(1024, 64);
    ck_assert(port[REDUCTION] == 20.0f && shown(PEAK) == 20.0f);
    for (size_t hops = 1; hops < 300; hops++) {
        run_until(1024 + 256 * hops, 64);
        check_near((double)port[REDUCTION], fmax(20.0 - FALL * (double)hops, 0.0));
        check_near((double)shown(PEAK), 20.0 - FALL * (double)hops);
    }
    end();
}
END_TEST

START_TEST(a_higher_peak_takes_over_and_a_lower_one_waits) {
    begin(RATE, NULL);
    input[0] = 10.0f;
    input[300] = 9.0f;
    input[600] = 15.0f;
    run_until(512, 512);
    check_near((double)port[REDUCTION], 10.0 - FALL);
    run_until(768, 512);
    ck_assert(port[REDUCTION] == 15.0f);
    end();
}
END_TEST

START_TEST(what_is_held_stays_for_a_second_and_then_falls) {
    begin(RATE, NULL);
    input[100] = 5.0f;
    input[20000] = 3.0f;
    run_until(256 + 48000, 100);
    ck_assert_msg(shown(HELD) == 5.0f, "%g", (double)shown(HELD));
    run_until(256 + 48000 + 48000, 100); /* 187.5 hops a second, of which 188 were held */
    check_near((double)shown(HELD), 5.0 - FALL * 187.0);
    end();
}
END_TEST

START_TEST(a_lamp_is_lit_for_a_tenth_of_a_second) {
    begin(RATE, NULL);
    input[10] = 1.0f;
    run_until(256, 32);
    ck_assert(shown(LAMP) == 1.0f);
    run_until(256 + 4800, 32);
    ck_assert(shown(LAMP) == 1.0f);
    run_until(256 + 4800 + 512, 32);
    ck_assert(shown(LAMP) == 0.0f);
    end();
}
END_TEST

START_TEST(other_units_fall_by_half_their_range_a_second) {
    begin(RATE, NULL);
    input[0] = 300.0f;
    run_until(256, 256);
    ck_assert(shown(HERTZ) == 300.0f);
    run_until(256 + 100 * 256, 256);
    check_near((double)shown(HERTZ), 300.0 - 100.0 * 100.0 * 256.0 / 48000.0);
    run_until((size_t)5 * 48000, 256);
    ck_assert(shown(HERTZ) == 100.0f);
    end();
}
END_TEST

START_TEST(a_value_of_now_is_shown_as_it_is) {
    begin(RATE, NULL);
    input[255] = 7.0f;
    input[511] = -3.0f;
    run_until(256, 17);
    ck_assert(shown(NOW) == 7.0f);
    run_until(512, 17);
    ck_assert(shown(NOW) == -3.0f);
    end();
}
END_TEST

START_TEST(what_is_out_of_range_is_shown_at_its_bound) {
    begin(RATE, NULL);
    input[0] = 1000.0f;
    run_until(256, 64);
    ck_assert(port[REDUCTION] == 30.0f && shown(PEAK) == 60.0f && shown(HERTZ) == 300.0f);
    end();
}
END_TEST

/* One frame in some thousand counts; a view looks 25 times a second, and must not see less than
 * what a peak falls by until then: 0.04 s of 12 dB a second, and the hop that it takes to show. */
START_TEST(a_view_at_25_hz_misses_no_event) {
    Random random = random_seeded(4);
    enum { LOOK = 1920 };
    begin(RATE, NULL);
    for (size_t look = 0; look < 200; look++) {
        float height = (float)random_range(&random, 1.0, 25.0);
        size_t at = now + random_below(&random, LOOK - 256);
        input[at] = height;
        run_until(now + LOOK, 1 + random_below(&random, 500));
        ck_assert_msg((double)port[REDUCTION] >= (double)height - 12.0 * (LOOK + 256) / RATE,
                      "%g of %g dB at look %zu", (double)port[REDUCTION], (double)height, look);
    }
    end();
}
END_TEST

START_TEST(blocks_do_not_matter) {
    enum { LOOK = 999, LOOKS = 100 };
    static float expected[LOOKS][N_PORTS];
    for (size_t way = 0; way < 4; way++) {
        static const size_t block[] = {512, 1, 37, 999};
        Random random = random_seeded(9);
        begin(44100.0, NULL);
        for (size_t i = 0; i < (size_t)LOOK * LOOKS; i++)
            input[i] =
                random_below(&random, 500) ? -20.0f : (float)random_range(&random, -20.0, 60.0);
        for (size_t look = 0; look < LOOKS; look++) {
            run_until((look + 1) * LOOK, block[way]);
            if (way == 0)
                memcpy(expected[look], port, sizeof port);
            for (size_t i = REDUCTION; i < AUDIO_IN; i++)
                ck_assert_msg(port[i] == expected[look][i],
                              "meter %zu at look %zu in blocks of %zu", i, look, block[way]);
        }
        end();
    }
}
END_TEST

START_TEST(activation_brings_meters_back_to_rest) {
    begin(RATE, NULL);
    input[100] = 20.0f;
    run_until(1000, 64);
    activate(instance);
    run_for(0);
    ck_assert(shown(PEAK) == -90.0f && shown(HELD) == -90.0f && shown(NOW) == -40.0f &&
              port[REDUCTION] == 0.0f);
    run_until(1000 + 156, 64); /* its hops begin anew, too: this would have been the end of one */
    ck_assert(shown(NOW) == -40.0f);
    end();
}
END_TEST

/* As an offline renderer asks for. */
START_TEST(momentary_meters_tell_of_the_last_run_alone) {
    const LV2_Feature momentary = {LAYOUT_MOMENTARY, NULL}, *const features[] = {&momentary, NULL};
    begin(RATE, features);
    input[100] = 20.0f;
    input[399] = 6.0f;
    run_for(130);
    ck_assert(port[REDUCTION] == 20.0f && shown(PEAK) == 20.0f && shown(HELD) == 20.0f &&
              shown(LAMP) == 1.0f);
    run_for(200);
    ck_assert(port[REDUCTION] == 0.0f && shown(HELD) == -90.0f && shown(LAMP) == 0.0f);
    run_for(70);
    ck_assert(port[REDUCTION] == 6.0f && shown(NOW) == 6.0f);
    end();
}
END_TEST

int main(void) {
    TCase *tc = tcase_create("meters");
    tcase_add_test(tc, meters_rest_until_something_runs);
    tcase_add_test(tc, a_peak_of_one_frame_shows_at_once_and_falls_by_12_db_a_second);
    tcase_add_test(tc, a_higher_peak_takes_over_and_a_lower_one_waits);
    tcase_add_test(tc, what_is_held_stays_for_a_second_and_then_falls);
    tcase_add_test(tc, a_lamp_is_lit_for_a_tenth_of_a_second);
    tcase_add_test(tc, other_units_fall_by_half_their_range_a_second);
    tcase_add_test(tc, a_value_of_now_is_shown_as_it_is);
    tcase_add_test(tc, what_is_out_of_range_is_shown_at_its_bound);
    tcase_add_test(tc, a_view_at_25_hz_misses_no_event);
    tcase_add_test(tc, blocks_do_not_matter);
    tcase_add_test(tc, activation_brings_meters_back_to_rest);
    tcase_add_test(tc, momentary_meters_tell_of_the_last_run_alone);
    return run_tcase(tc, "lv2_shell");
}
