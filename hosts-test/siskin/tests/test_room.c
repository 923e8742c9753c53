/* SPDX-License-Identifier: ISC */
/* What is played ahead: siskin render knows the whole take, so noise-reducer and smooth-compressor
 * work from the first frame on. The clean voice is the truth, and a take sung twice. */
#include "singer.h"
#include "siskin/tests/run_siskin.h"

enum { RATE = 48000 };

/* A test singer who begins with a word, and the same in white noise 25 dB under her. */
static Sound sing(int channels) {
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, RATE, 801);
    params.phrases = 3;
    params.breath_share = 0.0;
    params.room_db = -90.0;
    ck_assert(singer_take(&params, &take));
    float *mix = calloc(take.n, sizeof *mix);
    ck_assert_ptr_nonnull(mix);
    singer_mix(&take, ~(1u << SINGER_STEM_CLICKS), mix);
    size_t begin = 0;
    while (begin < take.n && fabsf(mix[begin]) < 0.02f)
        begin++;
    Sound sound = make_sound(channels, (sf_count_t)take.n - (sf_count_t)begin, RATE);
    for (size_t i = 0; i < samples(&sound); i++)
        sound.audio[i] = mix[begin + i / (size_t)channels];
    free(mix);
    singer_free(&take);
    return sound;
}

static void write_noisy(const char *path, const Sound *clean) {
    Random random = random_seeded(6);
    Sound noisy = make_sound(clean->info.channels, clean->info.frames, RATE);
    double level = 0.0;
    for (size_t i = 0; i < samples(clean); i++)
        level += (double)clean->audio[i] * (double)clean->audio[i];
    level = sqrt(level / (double)samples(clean)) * pow(10.0, -25.0 / 20.0) * sqrt(3.0);
    for (size_t i = 0; i < samples(clean); i++)
        noisy.audio[i] = clean->audio[i] + (float)random_range(&random, -level, level);
    write_wav(path, &noisy);
    free(noisy.audio);
}

/* SI-SDR (Le Roux et al., ICASSP 2019) of the first two seconds. */
static double clarity_db(const char *path, const Sound *clean) {
    Sound sound = read_sound(path);
    size_t n = (size_t)2 * RATE * (size_t)clean->info.channels;
    double dot = 0.0, own = 0.0, rest = 0.0;
    for (size_t i = 0; i < n; i++) {
        dot += (double)sound.audio[i] * (double)clean->audio[i];
        own += (double)clean->audio[i] * (double)clean->audio[i];
    }
    for (size_t i = 0; i < n; i++) {
        double off = (double)sound.audio[i] - dot / own * (double)clean->audio[i];
        rest += off * off;
    }
    free(sound.audio);
    return 10.0 * log10(dot * dot / own / rest);
}

/* As a host plays it nothing is known before the first gap, and what comes before it stays. */
START_TEST(noise_is_down_from_the_first_word_on) {
    bundles = "lv2";
    for (int channels = 1; channels <= 2; channels++) {
        Sound clean = sing(channels);
        write_noisy("noisy.wav", &clean);
        double before = clarity_db("noisy.wav", &clean);
        ck_assert_ran("render --live noisy.wav live.wav noise-reducer depth=15");
        ck_assert_ran("render noisy.wav out.wav noise-reducer depth=15");
        double live = clarity_db("live.wav", &clean), out = clarity_db("out.wav", &clean);
        ck_assert_msg(live <= before + 0.5 && out >= before + 3.0,
                      "%.1f dB; live %.1f, room ahead %.1f", before, live, out);
        free(clean.audio);
    }
}
END_TEST

/* What stands ahead of it changes what it hears, and begins anew itself. */
START_TEST(what_stands_ahead_is_as_if_nothing_had_been_played) {
    bundles = "lv2";
    Sound clean = sing(1);
    write_noisy("noisy.wav", &clean);
    ck_assert_ran("render noisy.wav one.wav hum-notch rumble-filter");
    ck_assert_ran("render noisy.wav two.wav hum-notch rumble-filter noise-reducer depth=0");
    Sound one = read_sound("one.wav");
    check_same_bits("two.wav", &one);
    ck_assert_ran("render noisy.wav out.wav hum-notch rumble-filter noise-reducer depth=15");
    /* The filter turns phases: the truth is turned with it. */
    write_wav("clean.wav", &clean);
    ck_assert_ran("render clean.wav turned.wav hum-notch rumble-filter");
    Sound turned = read_sound("turned.wav");
    ck_assert(clarity_db("out.wav", &turned) >= clarity_db("one.wav", &turned) + 3.0);
    free(one.audio), free(clean.audio), free(turned.audio);
}
END_TEST

/* Seconds 1 to 3 rendered alone are those of the whole. */
static void check_part(const char *take, const char *plugin) {
    char line[128];
    snprintf(line, sizeof line, "render %s whole.wav %s", take, plugin);
    ck_assert_ran(line);
    snprintf(line, sizeof line, "render %s part.wav %s --from 1 --to 3", take, plugin);
    ck_assert_ran(line);
    Sound whole = read_sound("whole.wav"), part = read_sound("part.wav");
    ck_assert_int_eq(part.info.frames, (sf_count_t)2 * RATE);
    ck_assert_mem_eq(part.audio, whole.audio + RATE, samples(&part) * sizeof(float));
    free(whole.audio), free(part.audio);
}

START_TEST(a_part_is_as_in_the_whole) {
    bundles = "lv2";
    Sound clean = sing(1);
    write_noisy("noisy.wav", &clean);
    check_part("noisy.wav", "noise-reducer");
    free(clean.audio);
}
END_TEST

/* The gain of the first second from `start` on, dB. */
static double gain_db(const char *path, const Sound *in, size_t start) {
    Sound out = read_sound(path);
    const size_t n = (size_t)RATE * (size_t)in->info.channels;
    const size_t at = start * (size_t)in->info.channels;
    double gain = signals_rms_db(out.audio + at, n) - signals_rms_db(in->audio + at, n);
    free(out.audio);
    return gain;
}

/* A take sung twice, 3 s of rest between: the second time its level is known anyway. Rest and
 * release (160 ms, 0.96 s of it) leave 60 % * exp(-3 / 0.96) = 3 % of the reduction before: 0.2 dB
 * of 8; the mean of the second time is itself 0.1 dB off. */
START_TEST(the_first_word_is_compressed_as_when_the_voice_is_known) {
    bundles = "lv2";
    for (int channels = 1; channels <= 2; channels++) {
        Sound once = sing(channels);
        const size_t again = (size_t)once.info.frames + (size_t)3 * RATE;
        Sound twice = make_sound(channels, (sf_count_t)again + once.info.frames, RATE);
        memcpy(twice.audio, once.audio, samples(&once) * sizeof(float));
        memcpy(twice.audio + again * (size_t)channels, once.audio, samples(&once) * sizeof(float));
        write_wav("twice.wav", &twice);
        ck_assert_ran("render --live twice.wav live.wav smooth-compressor");
        ck_assert_ran("render twice.wav out.wav smooth-compressor");
        double live = gain_db("live.wav", &twice, again) - gain_db("live.wav", &twice, 0);
        double out = gain_db("out.wav", &twice, again) - gain_db("out.wav", &twice, 0);
        ck_assert_msg(fabs(live) >= 1.0 && fabs(out) <= 0.5,
                      "second time against first: live %.2f dB, voice ahead %.2f dB", live, out);
        free(once.audio), free(twice.audio);
    }
}
END_TEST

/* The compressor hears the voice through noise-reducer, which then learns the room all the same;
 * with ratio 1 it is not there, whichever stands first. */
START_TEST(who_learns_the_voice_leaves_who_learns_the_room_alone) {
    bundles = "lv2";
    Sound clean = sing(1);
    write_noisy("noisy.wav", &clean);
    ck_assert_ran("render noisy.wav one.wav noise-reducer depth=15");
    ck_assert_ran("render noisy.wav two.wav noise-reducer depth=15 smooth-compressor ratio=1");
    ck_assert_ran("render noisy.wav three.wav smooth-compressor ratio=1 noise-reducer depth=15");
    Sound one = read_sound("one.wav");
    check_same_bits("two.wav", &one);
    check_same_bits("three.wav", &one);
    free(one.audio), free(clean.audio);
}
END_TEST

START_TEST(a_compressed_part_is_as_in_the_whole) {
    bundles = "lv2";
    Sound clean = sing(1);
    write_wav("clean.wav", &clean);
    check_part("clean.wav", "smooth-compressor");
    free(clean.audio);
}
END_TEST

START_TEST(where_nobody_sings_the_compressor_is_as_in_a_host) {
    bundles = "lv2";
    free(noise_file("take.wav", 1, RATE / 4, 7).audio);
    ck_assert_ran("render take.wav out.wav smooth-compressor");
    ck_assert_ran("render --live take.wav live.wav smooth-compressor");
    Sound live = read_sound("live.wav");
    check_same_bits("out.wav", &live);
    free(live.audio);
}
END_TEST

/* A quarter of a second holds no rest that is long enough. */
START_TEST(without_a_rest_it_is_as_in_a_host) {
    bundles = "lv2";
    free(noise_file("take.wav", 1, RATE / 4, 7).audio);
    ck_assert_ran("render take.wav out.wav noise-reducer");
    ck_assert_ran("render --live take.wav live.wav noise-reducer");
    Sound live = read_sound("live.wav");
    check_same_bits("out.wav", &live);
    free(live.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("room");
    tcase_add_test(tcase, noise_is_down_from_the_first_word_on);
    tcase_add_test(tcase, what_stands_ahead_is_as_if_nothing_had_been_played);
    tcase_add_test(tcase, a_part_is_as_in_the_whole);
    tcase_add_test(tcase, without_a_rest_it_is_as_in_a_host);
    tcase_add_test(tcase, the_first_word_is_compressed_as_when_the_voice_is_known);
    tcase_add_test(tcase, who_learns_the_voice_leaves_who_learns_the_room_alone);
    tcase_add_test(tcase, a_compressed_part_is_as_in_the_whole);
    tcase_add_test(tcase, where_nobody_sings_the_compressor_is_as_in_a_host);
    return run_suite(tcase, "siskin render: what is played ahead");
}
