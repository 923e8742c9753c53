/* SPDX-License-Identifier: ISC */
/* breath-ducker, hop by hop: its gain begins to move, and its lamp is lit, at the very hops that
 * the finder names on the same audio. A latency that is a hop off moves both. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/breath-ducker/breath-ducker_plugin.c"

#include "plugin_run.h"
#include "run_tcase.h"
#include "singer.h"

static const double RATE_HZ = 48000.0;

static SingerTake sing(void) {
    SingerParams params = singer_params(SINGER_WOMAN, RATE_HZ, 31);
    params.phrases = 4;
    params.room_db = -75.0;
    params.breath_share = 1.0;
    SingerTake take;
    ck_assert(singer_take(&params, &take));
    return take;
}

/* Which hops of the take are to be turned down: hop k, once complete, tells of hop k -
 * VOICE_SENSE_DELAY (voice_sense.h), and the finder of that breath_finder_delay() before it
 * (breath_finder.h). */
static bool *name_hops(const float *in, size_t n, const float *control, size_t *hop, size_t *hops) {
    static BreathDucker units;
    BreathFinderParams params = finder_params(control);
    VoiceFrame frame;
    size_t known = 0;
    listener_prepare(&units.listener, RATE_HZ);
    *hop = units.listener.sense.hop;
    scene_prepare(&units.scene, RATE_HZ, RATE_HZ / (double)*hop);
    breath_finder_prepare(&units.finder, RATE_HZ / (double)*hop);
    scene_set(&units.scene, &params.scene);
    breath_finder_set(&units.finder, &params);
    size_t late = VOICE_SENSE_DELAY + breath_finder_delay(&units.finder, &params);
    bool *down = plugin_run_memory(n / *hop, sizeof *down);
    for (size_t at = 0, step; at < n; at += step) {
        SceneMoment moment;
        step = listener_room(&units.listener);
        step = step < n - at ? step : n - at;
        if (!listener_hear(&units.listener, &in, 1, at, step, &frame))
            continue;
        scene_step(&units.scene, &frame, &moment);
        bool now = breath_finder_step(&units.finder, &moment);
        if (known++ >= late)
            down[known - 1 - late] = now;
    }
    *hops = known - late;
    return down;
}

START_TEST(the_gain_and_the_lamp_follow_the_finder_to_the_hop) {
    SingerTake take = sing();
    PluginUnderTest p = plugin_new(RATE_HZ);
    PluginRun made = plugin_run(&p, take.mix, take.n);
    size_t hop = 0, hops = 0, begun = 0, ended = 0;
    bool *down = name_hops(take.mix, take.n, p.control, &hop, &hops);
    ck_assert_uint_eq(hop % PLUGIN_RUN_STEP, 0);
    for (size_t k = 1; k < hops; k++) {
        size_t at = k * hop;
        ck_assert_float_eq(made.meter[at / PLUGIN_RUN_STEP][BREATH], down[k] ? 1.0f : 0.0f);
        if (down[k] && !down[k - 1]) { /* at rest before, moving from its first frame on */
            ck_assert_float_eq(made.gain[at - 1], 1.0f);
            ck_assert_float_lt(made.gain[at], 1.0f);
            begun++;
        }
        if (!down[k] && down[k - 1]) {
            ck_assert_float_gt(made.gain[at + 1], made.gain[at - 1]);
            ended++;
        }
    }
    ck_assert_uint_ge(begun, 3);
    ck_assert_uint_ge(ended, 3);
    free(down);
    plugin_run_free(&made);
    plugin_free(&p);
    singer_free(&take);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("breath-ducker, hop by hop");
    tcase_add_test(tcase, the_gain_and_the_lamp_follow_the_finder_to_the_hop);
    return run_tcase(tcase, "breath-ducker, hop by hop");
}
