/* SPDX-License-Identifier: ISC */
/* Chain files: what busses, sends, keys, faders and pans come to, and what is refused where. */
#include "siskin/tests/run_siskin.h"
#include "siskin/text.h"

static char chains_folder[PATH_MAX]; /* the chains that are shipped */

static void render_chain(const char *text, const char *more) {
    write_text("t.chain", text);
    int status = run("render --chain t.chain take.wav out.wav %s", more);
    ck_assert_msg(status == 0, "%s\nexit %d\n%s", text, status, ran.err);
}

static Sound take_file(void) {
    return noise_file("take.wav", 1, 0, 201);
}

static Sound scaled(const Sound *sound, double gain) {
    Sound copy = make_sound(sound->info.channels, sound->info.frames, sound->info.samplerate);
    for (size_t i = 0; i < samples(sound); i++)
        copy.audio[i] = (float)(gain * (double)sound->audio[i]);
    return copy;
}

static double decibels(double db) {
    return pow(10.0, db / 20.0);
}

/* ---- one bus ---- */

START_TEST(a_bus_is_a_chain_of_processors) {
    Sound take = take_file();
    render_chain("bus lead\nurn:foreign:late frames=700\ngain gain=0\n", "");
    check_same_bits("out.wav", &take);
    render_chain("bus lead\n", "");
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(comments_quotes_and_line_ends_of_any_system_are_read) {
    Sound take = take_file();
    Sound louder = scaled(&take, decibels(6.0));
    render_chain("\xEF\xBB\xBF# a chain\r\n\r\n\tbus   lead   # the lead\r\n"
                 "gain preset=\"the same\" #gain=3\r\n  \"gain\" \"gain=6 dB\"\r\n#",
                 "");
    check_close("out.wav", &louder, 4 * 0x1p-23);
    render_chain("bus lead\ngain gain=6", ""); /* no line end at the end */
    check_close("out.wav", &louder, 4 * 0x1p-23);
    free(take.audio);
    free(louder.audio);
}
END_TEST

START_TEST(the_fader_comes_after_the_processors) {
    Sound take = take_file();
    Sound quieter = scaled(&take, decibels(-7.5));
    render_chain("bus lead\nfader -7.5\ngain gain=0\n", "");
    check_close("out.wav", &quieter, 2 * 0x1p-24);
    render_chain("bus lead\nfader -7.5 dB\n", "");
    check_close("out.wav", &quieter, 2 * 0x1p-24);
    free(take.audio);
    free(quieter.audio);
}
END_TEST

/* Equal power: left^2 + right^2 = take^2 wherever the bus stands, -3.01 dB a side in the middle. */
START_TEST(a_mono_bus_is_panned_with_equal_power) {
    Sound take = take_file();
    for (int pan = -100; pan <= 100; pan += 25) {
        char text[64];
        snprintf(text, sizeof text, "bus lead\npan %d\n", pan);
        render_chain(text, "");
        Sound out = read_sound("out.wav");
        ck_assert_int_eq(out.info.channels, 2);
        double angle = (pan + 100) / 200.0 * M_PI_2;
        for (size_t i = 0; i < samples(&take); i++) {
            double in = (double)take.audio[i];
            ck_assert_double_eq_tol((double)out.audio[2 * i], in * cos(angle), 0x1p-23);
            ck_assert_double_eq_tol((double)out.audio[2 * i + 1], in * sin(angle), 0x1p-23);
            if (pan == -100)
                ck_assert(out.audio[2 * i] == take.audio[i] && out.audio[2 * i + 1] == 0.0f);
            if (pan == 100)
                ck_assert(out.audio[2 * i + 1] == take.audio[i] && out.audio[2 * i] == 0.0f);
        }
        free(out.audio);
    }
    free(take.audio);
}
END_TEST

START_TEST(a_stereo_bus_is_balanced_and_untouched_in_the_middle) {
    Sound take = noise_file("take.wav", 2, 0, 202);
    for (int pan = -100; pan <= 100; pan += 50) {
        char text[64];
        snprintf(text, sizeof text, "bus lead\npan %d\n", pan);
        render_chain(text, "");
        Sound out = read_sound("out.wav");
        double left = pan <= 0 ? 1.0 : cos(pan / 100.0 * M_PI_2);
        double right = pan >= 0 ? 1.0 : cos(-pan / 100.0 * M_PI_2);
        for (size_t i = 0; i < samples(&take); i++) {
            double gain = i % 2 ? right : left;
            ck_assert_double_eq_tol((double)out.audio[i], gain * (double)take.audio[i], 0x1p-23);
        }
        free(out.audio);
    }
    render_chain("bus lead\npan 0\n", "");
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(a_bus_may_be_made_mono_or_stereo) {
    Sound wide = noise_file("take.wav", 2, 0, 203);
    Sound mean = make_sound(1, wide.info.frames, 48000);
    for (size_t i = 0; i < samples(&mean); i++)
        mean.audio[i] = 0.5f * wide.audio[2 * i] + 0.5f * wide.audio[2 * i + 1];
    render_chain("bus lead mono\nurn:foreign:late\n", "");
    check_same_bits("out.wav", &mean);
    Sound take = take_file();
    for (size_t i = 0; i < samples(&take); i++)
        wide.audio[2 * i] = wide.audio[2 * i + 1] = take.audio[i];
    render_chain("bus lead stereo\ngain gain=0\n", "");
    check_same_bits("out.wav", &wide);
    free(wide.audio);
    free(mean.audio);
    free(take.audio);
}
END_TEST

/* ---- several busses ---- */

START_TEST(busses_without_a_pan_are_summed_as_they_are) {
    Sound take = take_file();
    Sound wet = noise_file("wet.wav", 1, 0, 204);
    render_chain("bus lead\nbus room\n", "room=wet.wav");
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] += wet.audio[i];
    check_same_bits("out.wav", &take);
    free(take.audio);
    free(wet.audio);
}
END_TEST

START_TEST(a_send_hears_a_bus_after_its_fader_or_before_its_processors) {
    Sound take = take_file();
    Sound after = scaled(&take, decibels(6.0 - 8.0 - 4.0));
    Sound before = scaled(&take, decibels(-4.0));
    render_chain("bus lead\ngain gain=6\nfader -8\nto none\nbus room\nfrom lead -4\n", "");
    check_close("out.wav", &after, 4 * 0x1p-24);
    render_chain("bus lead\ngain gain=6\nfader -8\nto none\nbus room\nfrom lead.in -4 dB\n", "");
    check_close("out.wav", &before, 2 * 0x1p-24);
    free(take.audio);
    free(after.audio);
    free(before.audio);
}
END_TEST

/* Each path has another latency; aligned to the frame, the parts add up without any error but that
 * of two float additions, which the sum here makes in the same order. */
START_TEST(what_meets_in_a_mix_or_at_a_key_belongs_together) {
    Sound take = take_file();
    Sound wet = noise_file("wet.wav", 1, 0, 205);
    render_chain("bus room\n"
                 "  urn:foreign:late frames=33 key=lead    # wet + lead\n"
                 "  urn:foreign:late frames=1500\n"
                 "bus lead\n"
                 "  from dry\n"
                 "  urn:foreign:late frames=700\n"
                 "bus dry\n"
                 "  urn:foreign:late frames=5\n"
                 "  to none\n"
                 "bus echo\n"
                 "  from dry.in\n"
                 "  urn:foreign:late frames=4000\n",
                 "dry=wet.wav");
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] = ((take.audio[i] + wet.audio[i]) + wet.audio[i]) + wet.audio[i];
    check_same_bits("out.wav", &take);
    free(take.audio);
    free(wet.audio);
}
END_TEST

START_TEST(a_key_may_come_from_before_the_processors_of_its_own_bus) {
    Sound take = take_file();
    render_chain("bus lead\ngain gain=0\nurn:foreign:late frames=900\n"
                 "urn:foreign:late frames=7 key=lead.in\n",
                 "");
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] += take.audio[i];
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(busses_may_be_grouped_under_one_fader) {
    Sound take = take_file();
    Sound one = noise_file("one.wav", 1, 0, 206);
    Sound two = noise_file("two.wav", 1, 0, 207);
    render_chain("bus lead\nbus one\nto backing\nbus two\nto backing\n"
                 "bus backing\ngain gain=0\nfader -10\n",
                 "one=one.wav two=two.wav");
    Sound sum = make_sound(1, take.info.frames, 48000);
    for (size_t i = 0; i < samples(&take); i++)
        sum.audio[i] = take.audio[i] + (float)decibels(-10.0) * (one.audio[i] + two.audio[i]);
    check_close("out.wav", &sum, 4 * 0x1p-24);
    free(take.audio);
    free(one.audio);
    free(two.audio);
    free(sum.audio);
}
END_TEST

START_TEST(the_mix_may_have_processors_and_a_fader) {
    Sound take = take_file();
    Sound louder = scaled(&take, decibels(6.0 - 2.0));
    render_chain("bus mix\ngain gain=6\nfader -2\nbus lead\n", "");
    check_close("out.wav", &louder, 4 * 0x1p-23);
    free(take.audio);
    free(louder.audio);
}
END_TEST

START_TEST(stems_are_what_each_bus_gives_to_the_mix) {
    Sound take = take_file();
    Sound wet = noise_file("wet.wav", 2, 0, 208);
    render_chain("bus lead\nfader -1\npan -20\nurn:foreign:late frames=300\n"
                 "bus room\ngain gain=-3\npan 10\nbus only-a-key\nfrom lead\nto none\n",
                 "room=wet.wav --stems");
    ck_assert_int_eq(count_files("."), 6);
    Sound lead = read_sound("out.lead.wav");
    Sound room = read_sound("out.room.wav");
    ck_assert_int_eq(lead.info.channels, 2);
    for (size_t i = 0; i < samples(&lead); i++)
        lead.audio[i] += room.audio[i];
    check_same_bits("out.wav", &lead);
    free(take.audio);
    free(wet.audio);
    free(lead.audio);
    free(room.audio);
}
END_TEST

START_TEST(the_output_is_as_long_as_the_longest_file_that_is_heard) {
    free(noise_file("take.wav", 1, 10000, 209).audio);
    free(noise_file("wet.wav", 1, 15000, 210).audio);
    free(noise_file("key.wav", 1, 20000, 211).audio);
    render_chain("bus lead\nbus room\nurn:foreign:late key=key\nbus key\nto none\n",
                 "room=wet.wav key=key.wav");
    Sound out = read_sound("out.wav");
    ck_assert_int_eq(out.info.frames, 15000);
    free(out.audio);
}
END_TEST

/* ---- what is refused ---- */

static const struct {
    const char *text;
    const char *more; /* after OUT */
    const char *words;
} refusals[] = {
    {"", "", "t.chain|no bus hears the take"},
    {"gain\n", "", "line 1|'gain'|bus lead"},
    {"bus\n", "", "line 1|bus NAME"},
    {"bus lead wide\n", "", "line 1|bus NAME stereo"},
    {"bus none\n", "", "line 1|'none'"},
    {"bus le/ad\n", "", "line 1|'le/ad'|letters"},
    {"bus lead\nbus lead\n", "", "line 2|from line 1"},
    {"bus lead\nfader\n", "", "line 2|-60 to 60 dB"},
    {"bus lead\n\nfader 61\n", "", "line 3|-60 to 60 dB"},
    {"bus lead\nfader 3 ms\n", "", "line 2|-60 to 60 dB"},
    {"bus lead\npan 101\n", "", "line 2|-100 to 100"},
    {"bus lead\npan left\n", "", "line 2|-100 to 100"},
    {"bus lead\nfrom\n", "", "line 2|from BUS"},
    {"bus lead\nfrom lead x\n", "", "line 2|-60 to 60 dB"},
    {"bus lead\nbus room\nfrom leed\n", "", "line 3|'leed'|'lead'"},
    {"bus lead\nto\n", "", "line 2|to BUS"},
    {"bus lead\nto mix\nto none\n", "", "line 3|mix already"},
    {"bus lead\nto rom\nbus room\nfrom lead\n", "", "'rom'|'room'"},
    {"bus lead\nto none\n", "", "nothing reaches the mix"},
    {"bus lead\nto group\nbus group\nto none\n", "", "nothing reaches the mix"},
    {"bus lead\nbus mix\nto none\n", "", "mix"},
    {"bus lead\nbus mix\npan 3\n", "", "mix|pan"},
    {"bus lead\ngain gain=3 keyed\n", "", "line 2|'keyed'|line of its own"},
    {"bus lead\ngain=3\n", "", "line 2|'gain=3'"},
    {"bus lead\ngain gain=\n", "", "line 2|'gain='"},
    {"bus lead\n gain \"gain=3\n", "", "line 2|quote"},
    {"bus lead\ngian\n", "", "line 2|'gian'|'gain'"},
    {"bus lead\n\ngain gain=30\n", "", "line 3|30|-24 to 24 dB"},
    {"bus lead\ngain gian=3\n", "", "line 2|'gian'|'gain'"},
    {"bus lead\ngain preset=lauder\n", "", "line 2|'lauder'|'louder'"},
    {"bus lead\nkeyed\n", "", "line 2|key=BUS|key=none"},
    {"bus lead\nkeyed key=rom\nbus room\nto none\n", "", "line 2|'rom'|'room'"},
    {"bus lead\ngain key=lead.in\n", "", "line 2|gain|key"},
    {"bus lead\nbus room\n", "", "line 2|room=FILE"},
    {"bus lead\nbus room\n", "rom=take.wav", "'rom'|room=FILE"},
    {"bus lead\nbus room\n", "lead=take.wav", "lead|room=FILE"},
    {"bus lead\nbus room\nfrom lead\n", "room=take.wav", "room|none"},
    {"bus lead\nbus room\n", "room=take.wav room=take.wav", "room|twice"},
    {"bus lead\n", "gain", "'gain'|BUS=FILE"},
    /* loops */
    {"bus lead\nbus one\nfrom two\nbus two\nfrom one\n", "", "loop"},
    {"bus lead\nbus one\nfrom lead\nto two\nbus two\nto one\n", "", "loop"},
    {"bus lead\nbus one\nfrom lead\nfrom one\n", "", "one|loop"},
    {"bus lead\nurn:foreign:late key=lead\n", "", "loop"},
    {"bus lead\nurn:foreign:late key=room\nbus room\nfrom lead\n", "", "loop"},
    {"bus lead\nbus room\nfrom lead\nfrom mix\n", "", "loop"},
    /* channels */
    {"bus lead stereo\n\nurn:foreign:late\n", "", "line 3|lead|stereo|take 2"},
    {"bus lead\nurn:foreign:widen\ngain\nurn:foreign:widen\n", "", "line 4|stereo|take 2"},
};

enum { N_REFUSALS = sizeof refusals / sizeof *refusals };

START_TEST(what_makes_no_chain_is_refused_where_it_stands) {
    char line[512];
    free(take_file().audio);
    write_text("t.chain", refusals[_i].text);
    snprintf(line, sizeof line, "render --chain t.chain take.wav out.wav %s", refusals[_i].more);
    check_refused(line, 2, refusals[_i].words);
    ck_assert_int_eq(count_files("."), 2);
}
END_TEST

START_TEST(a_chain_file_that_cannot_be_read_is_named) {
    free(take_file().audio);
    ck_assert_int_eq(mkdir("folder", 0777), 0);
    check_refused("render --chain no.chain take.wav out.wav", 2, "no.chain|No such file");
    check_refused("render --chain folder take.wav out.wav", 2, "folder|directory");
    check_refused("render --chain take.wav take.wav out.wav", 2, "take.wav, line 1|line of text");
    write_text("t.chain", "bus lead\n");
    check_refused("render --chain t.chain take.wav t.chain --format wav", 2, "t.chain");
}
END_TEST

START_TEST(more_busses_or_processors_than_there_is_room_for_are_refused) {
    char text[8192] = "";
    free(take_file().audio);
    for (int i = 0; i < 40; i++)
        text_add(text, sizeof text, "bus b%d\n", i);
    write_text("t.chain", text);
    check_refused("render --chain t.chain take.wav out.wav", 2, "line 32|32 busses");
    text[0] = '\0';
    text_add(text, sizeof text, "bus lead\n");
    for (int i = 0; i < 70; i++)
        text_add(text, sizeof text, "gain\n");
    write_text("t.chain", text);
    check_refused("render --chain t.chain take.wav out.wav", 2, "line 66|64 processors");
}
END_TEST

/* ---- the chains that are shipped ---- */

/* Each must load, and leave a take whose length is kept and whose samples are numbers. Busses that
 * want a file are fed with a wet return or the dry lead. */
static void check_shipped(const char *name) {
    char path[PATH_MAX + NAME_MAX + 2];
    snprintf(path, sizeof path, "%s/%s", chains_folder, name);
    for (int channels = 1; channels <= 2; channels++) {
        free(noise_file("take.wav", channels, 48000, 220).audio);
        char line[PATH_MAX * 2];
        snprintf(line, sizeof line, "render --chain %s take.wav out.wav", path);
        if (run("%s", line) == 2 && strstr(ran.err, "=FILE")) {
            char bus[64] = "";
            ck_assert_int_eq(sscanf(strstr(ran.err, "bus "), "bus %63s", bus), 1);
            snprintf(line, sizeof line, "render --chain %s take.wav out.wav %s=take.wav", path,
                     bus);
            run("%s", line);
        }
        ck_assert_msg(ran.status == 0, "%s: %s", name, ran.err);
        Sound out = read_sound("out.wav");
        ck_assert_int_eq(out.info.frames, 48000);
        free(out.audio);
    }
}

START_TEST(a_ready_chain_is_found_by_its_name_unless_a_file_has_it) {
    bundles = "lv2";
    Sound take = take_file();
    ck_assert_ran("render --chain lead-gently take.wav out.wav");
    ck_assert_ran("render --chain lead-gently.chain take.wav out.wav");
    ck_assert_ran("list");
    ck_assert_ptr_nonnull(strstr(ran.out, "lead-gently"));
    write_text("lead-gently", "bus lead\n");
    ck_assert_ran("render --chain lead-gently take.wav out.wav");
    check_same_bits("out.wav", &take);
    check_refused("render --chain ./lead-hard take.wav out.wav", 2, "./lead-hard|No such file");
    check_refused("render --chain lead-soft take.wav out.wav", 2, "lead-soft|No such file");
    free(take.audio);
}
END_TEST

START_TEST(every_shipped_chain_renders_mono_and_stereo_takes) {
    bundles = "lv2";
    DIR *dir = opendir(chains_folder);
    int checked = 0;
    ck_assert_ptr_nonnull(dir);
    for (const struct dirent *entry; (entry = readdir(dir));) {
        size_t length = strlen(entry->d_name);
        if (length < 6 || strcmp(entry->d_name + length - 6, ".chain") != 0)
            continue;
        check_shipped(entry->d_name);
        checked++;
    }
    closedir(dir);
    ck_assert_int_ge(checked, 4);
}
END_TEST

int main(void) {
    if (!realpath("hosts-test/siskin/chains", chains_folder)) {
        fputs("run this from the top of the tree\n", stderr);
        return EXIT_FAILURE;
    }
    TCase *tcase = tcase_create("chain");
    tcase_add_test(tcase, a_bus_is_a_chain_of_processors);
    tcase_add_test(tcase, comments_quotes_and_line_ends_of_any_system_are_read);
    tcase_add_test(tcase, the_fader_comes_after_the_processors);
    tcase_add_test(tcase, a_mono_bus_is_panned_with_equal_power);
    tcase_add_test(tcase, a_stereo_bus_is_balanced_and_untouched_in_the_middle);
    tcase_add_test(tcase, a_bus_may_be_made_mono_or_stereo);
    tcase_add_test(tcase, busses_without_a_pan_are_summed_as_they_are);
    tcase_add_test(tcase, a_send_hears_a_bus_after_its_fader_or_before_its_processors);
    tcase_add_test(tcase, what_meets_in_a_mix_or_at_a_key_belongs_together);
    tcase_add_test(tcase, a_key_may_come_from_before_the_processors_of_its_own_bus);
    tcase_add_test(tcase, busses_may_be_grouped_under_one_fader);
    tcase_add_test(tcase, the_mix_may_have_processors_and_a_fader);
    tcase_add_test(tcase, stems_are_what_each_bus_gives_to_the_mix);
    tcase_add_test(tcase, the_output_is_as_long_as_the_longest_file_that_is_heard);
    tcase_add_loop_test(tcase, what_makes_no_chain_is_refused_where_it_stands, 0, N_REFUSALS);
    tcase_add_test(tcase, a_chain_file_that_cannot_be_read_is_named);
    tcase_add_test(tcase, more_busses_or_processors_than_there_is_room_for_are_refused);
    tcase_add_test(tcase, a_ready_chain_is_found_by_its_name_unless_a_file_has_it);
    tcase_add_test(tcase, every_shipped_chain_renders_mono_and_stereo_takes);
    return run_suite(tcase, "siskin chain");
}
