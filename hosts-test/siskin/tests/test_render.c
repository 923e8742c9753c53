/* SPDX-License-Identifier: ISC */
/* siskin list and siskin render with one take: what comes out, what is refused, and what is left
 * behind. The processors are test plugins whose output is known in closed form: `gain` (ours) and
 * those of foreign/. */
#include "siskin/render/audio.h"
#include "siskin/tests/run_siskin.h"
#include "siskin/text.h"

/* ---- what comes out ---- */

/* late: out[t] = in[t - d] with reported latency d, so a render must give the take back. */
START_TEST(latency_is_taken_out_to_the_frame) {
    const sf_count_t lengths[] = {1, 99, 4095, 4096, 4097, 33600};
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
        Sound take = noise_file("take.wav", 1, lengths[i], 21 + i);
        ck_assert_ran("render take.wav out.wav urn:foreign:late frames=1000");
        check_same_bits("out.wav", &take);
        ck_assert_ran("render take.wav out.wav urn:foreign:late frames=1 urn:foreign:late "
                      "frames=4096 gain gain=0 urn:foreign:late frames=77");
        check_same_bits("out.wav", &take);
        free(take.audio);
    }
}
END_TEST

START_TEST(mono_and_stereo_keep_their_channels) {
    for (int channels = 1; channels <= 2; channels++) {
        Sound take = noise_file("take.wav", channels, 0, 31);
        ck_assert_ran("render take.wav out.wav gain gain=0");
        check_same_bits("out.wav", &take);
        free(take.audio);
    }
}
END_TEST

START_TEST(every_rate_from_8_to_192_khz_is_kept) {
    const int rates[] = {8000, 16000, 22050, 44100, 48000, 88200, 96000, 176400, 192000};
    for (size_t i = 0; i < sizeof rates / sizeof *rates; i++) {
        Sound take = make_noise(1, 5000, rates[i], 41);
        write_wav("take.wav", &take);
        ck_assert_ran("render take.wav out.wav gain gain=0");
        check_same_bits("out.wav", &take);
        free(take.audio);
    }
}
END_TEST

static void check_gain(const char *words, double db) {
    Sound take = noise_file("take.wav", 1, 0, 51);
    ck_assert_int_eq(run("render take.wav out.wav %s", words), 0);
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] *= (float)pow(10.0, db / 20.0);
    /* Each gain is a float of relative error 2^-24, and so is each product; |out| < 2. */
    check_close("out.wav", &take, 8 * 0x1p-23);
    free(take.audio);
}

START_TEST(processors_work_in_series_with_their_own_controls) {
    check_gain("gain", -6.0); /* its default */
    check_gain("gain gain=6 gain gain=-2", 4.0);
    check_gain("gain gain=-20 gain gain=24 gain gain=-3.5", 0.5);
}
END_TEST

START_TEST(values_may_carry_a_unit_or_be_a_word) {
    check_gain("gain gain=3dB", 3.0);
    check_gain("gain gain=3db", 3.0);
    check_gain("gain gain=12 enabled=off", 0.0);
    check_gain("gain gain=12 enabled=0", 0.0);
}
END_TEST

START_TEST(a_preset_comes_first_and_settings_over_it) {
    check_gain("gain preset=louder", 6.0);
    check_gain("gain preset=Louder", 6.0);
    check_gain("gain preset=urn:siskin:gain:preset:louder", 6.0);
    check_gain("gain preset=same", 0.0);
    check_gain("gain gain=2 preset=louder", 2.0);
}
END_TEST

/* out[t] = in + key, both late by d: only a key that was made as late as what comes before the
 * processor adds up to take + key. */
START_TEST(a_key_is_aligned_with_the_input_it_meets) {
    Sound take = noise_file("take.wav", 1, 0, 61);
    Sound key = noise_file("key.wav", 1, 0, 62);
    ck_assert_ran("render take.wav out.wav urn:foreign:late frames=700 urn:foreign:late "
                  "frames=50 key=key.wav urn:foreign:late frames=3");
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] += key.audio[i];
    check_same_bits("out.wav", &take);
    free(take.audio);
    free(key.audio);
}
END_TEST

START_TEST(a_key_may_be_shorter_or_longer_and_the_take_sets_the_length) {
    Sound take = noise_file("take.wav", 1, 20000, 63);
    Sound shorter = noise_file("short.wav", 1, 5000, 64);
    Sound longer = noise_file("long.wav", 1, 30000, 65);
    ck_assert_ran("render take.wav out.wav urn:foreign:late key=short.wav urn:foreign:late "
                  "key=long.wav");
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] = take.audio[i] + (i < 5000 ? shorter.audio[i] : 0.0f) + longer.audio[i];
    check_close("out.wav", &take, 0x1p-23);
    free(take.audio);
    free(shorter.audio);
    free(longer.audio);
}
END_TEST

START_TEST(a_stereo_key_reaches_a_mono_processor_as_its_mean) {
    Sound take = noise_file("take.wav", 1, 0, 66);
    Sound key = noise_file("key.wav", 2, 0, 67);
    ck_assert_ran("render take.wav out.wav urn:foreign:late key=key.wav");
    for (size_t i = 0; i < samples(&take); i++)
        take.audio[i] += 0.5f * key.audio[2 * i] + 0.5f * key.audio[2 * i + 1];
    check_close("out.wav", &take, 0x1p-23);
    free(take.audio);
    free(key.audio);
}
END_TEST

START_TEST(a_tail_lengthens_the_output_by_what_was_asked) {
    Sound take = noise_file("take.wav", 1, 0, 71);
    ck_assert_ran("render take.wav out.wav urn:foreign:late --tail 0.5");
    Sound longer = make_sound(1, take.info.frames + 24000, 48000);
    memcpy(longer.audio, take.audio, samples(&take) * sizeof(float));
    check_same_bits("out.wav", &longer);
    free(take.audio);
    free(longer.audio);
}
END_TEST

START_TEST(a_processor_may_make_mono_stereo) {
    Sound take = noise_file("take.wav", 1, 0, 72);
    ck_assert_ran("render take.wav out.wav urn:foreign:widen gain gain=0");
    Sound wide = make_sound(2, take.info.frames, 48000);
    for (size_t i = 0; i < samples(&take); i++) {
        wide.audio[2 * i] = take.audio[i];
        wide.audio[2 * i + 1] = -take.audio[i];
    }
    check_same_bits("out.wav", &wide);
    ck_assert_ran("render take.wav out.wav gain gain=0 --stereo");
    for (size_t i = 0; i < samples(&take); i++)
        wide.audio[2 * i + 1] = take.audio[i];
    check_same_bits("out.wav", &wide);
    free(take.audio);
    free(wide.audio);
}
END_TEST

START_TEST(what_is_not_a_number_in_a_take_is_silence_and_counted) {
    Sound take = make_noise(1, 10000, 48000, 73);
    take.audio[9] = NAN;
    take.audio[9600] = INFINITY;
    take.audio[9999] = -INFINITY;
    write_wav("take.wav", &take);
    ck_assert_ran("render take.wav out.wav urn:foreign:late --quiet");
    ck_assert_ptr_nonnull(strstr(ran.err, "3 samples"));
    take.audio[9] = take.audio[9600] = take.audio[9999] = 0.0f;
    check_same_bits("out.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(equal_renders_are_equal_files) {
    free(noise_file("take.wav", 2, 0, 74).audio);
    ck_assert_ran("render take.wav a.wav gain gain=1.7");
    ck_assert_ran("render take.wav b.wav gain gain=1.7");
    ck_assert_ran("render take.wav a16.wav gain --bits 16");
    ck_assert_ran("render take.wav b16.wav gain --bits 16");
    ck_assert(same_files("a.wav", "b.wav"));
    ck_assert(same_files("a16.wav", "b16.wav"));
}
END_TEST

/* ---- forms of files ---- */

static void check_form(const char *file, const char *words, int form, double tolerance) {
    Sound take = noise_file("take.wav", 2, 0, 81);
    ck_assert_int_eq(run("render take.wav %s gain gain=0 %s", file, words), 0);
    Sound is = read_sound(file);
    ck_assert_int_eq(is.info.format & (SF_FORMAT_TYPEMASK | SF_FORMAT_SUBMASK), form);
    double error = difference(&is, &take);
    ck_assert_msg(error <= tolerance, "%s: %g, more than %g", file, error, tolerance);
    free(take.audio);
    free(is.audio);
}

START_TEST(files_are_written_in_the_form_asked_for) {
    /* Rounding errs by half a step; dither of up to one step either way adds that. */
    const double step16 = 0x1p-15;
    const double step24 = 0x1p-23;
    check_form("a.wav", "", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0.0);
    check_form("b.wav", "--bits 24", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 0.5 * step24);
    check_form("c.wav", "--bits 16", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1.5 * step16);
    check_form("d.wav", "--bits 16 --no-dither", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 0.5 * step16);
    check_form("e.flac", "", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 0.5 * step24);
    check_form("f.flac", "--bits 16", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1.5 * step16);
    check_form("g.aif", "", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, 0.5 * step24);
    check_form("h.aiff", "--bits float", SF_FORMAT_AIFF | SF_FORMAT_FLOAT, 0.0);
    check_form("i.raw", "--format wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0.0);
    check_form("j.wav", "--format=flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 0.5 * step24);
}
END_TEST

/* A level below one step vanishes by rounding; triangular dither keeps it in the mean, and makes
 * the error's variance 3/12 step^2 whatever the signal (Lipshitz, Wannamaker and Vanderkooy, J.
 * Audio Eng. Soc. 40(5), 1992). Bounds: six standard errors of N values. */
START_TEST(dither_keeps_what_lies_under_one_step) {
    enum { N = 200000 };
    const double levels[] = {0.0, 0.3, 0.5, -0.25};
    for (size_t k = 0; k < sizeof levels / sizeof *levels; k++) {
        Sound take = make_sound(1, N, 48000);
        for (size_t i = 0; i < N; i++)
            take.audio[i] = (float)(levels[k] * 0x1p-15);
        write_wav("take.wav", &take);
        ck_assert_ran("render take.wav out.wav gain gain=0 --bits 16");
        Sound out = read_sound("out.wav");
        double sum = 0.0;
        double square = 0.0;
        for (size_t i = 0; i < N; i++) {
            double error = (double)out.audio[i] * 0x1p15 - levels[k];
            sum += error;
            square += error * error;
        }
        ck_assert_double_le(fabs(sum / N), 6.0 * 0.5 / sqrt(N));
        ck_assert_double_eq_tol(square / N, 0.25, 6.0 * 0.25 * 2.0 / sqrt(N));
        free(take.audio);
        free(out.audio);
    }
}
END_TEST

START_TEST(what_is_over_full_scale_is_clipped_and_counted) {
    Sound take = make_sound(1, 1000, 48000);
    for (size_t i = 0; i < 1000; i++)
        take.audio[i] = i % 100 == 7 ? (i % 200 == 7 ? 1.5f : -1.5f) : 0.25f;
    write_wav("take.wav", &take);
    ck_assert_ran("render take.wav out.wav gain gain=0 --bits 24");
    ck_assert_ptr_nonnull(strstr(ran.err, "10 samples clipped"));
    Sound out = read_sound("out.wav");
    for (size_t i = 0; i < 1000; i++)
        ck_assert_float_eq_tol(out.audio[i], fmaxf(-1.0f, fminf(1.0f, take.audio[i])), 0x1p-22f);
    free(take.audio);
    free(out.audio);
}
END_TEST

START_TEST(the_time_stamp_and_titles_of_a_take_are_kept) {
    Sound take = make_noise(1, 1000, 48000, 82);
    SF_INFO info = {.channels = 1, .samplerate = 48000, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SF_BROADCAST_INFO stamp = {.description = "verse", .time_reference_low = 123456, .version = 1};
    SNDFILE *file = sf_open("take.wav", SFM_WRITE, &info);
    ck_assert_int_eq(sf_command(file, SFC_SET_BROADCAST_INFO, &stamp, sizeof stamp), SF_TRUE);
    sf_set_string(file, SF_STR_TITLE, "second verse");
    sf_writef_float(file, take.audio, 1000);
    sf_close(file);
    ck_assert_ran("render take.wav out.wav gain");
    file = sf_open("out.wav", SFM_READ, &info);
    memset(&stamp, 0, sizeof stamp);
    ck_assert_int_eq(sf_command(file, SFC_GET_BROADCAST_INFO, &stamp, sizeof stamp), SF_TRUE);
    ck_assert_uint_eq(stamp.time_reference_low, 123456);
    ck_assert_str_eq(stamp.description, "verse");
    ck_assert_str_eq(sf_get_string(file, SF_STR_TITLE), "second verse");
    sf_close(file);
    free(take.audio);
}
END_TEST

/* A WAV counts bytes in 32 bits: 2^30 frames of float are one byte too many for it. Only the first
 * frames are written here; the form was chosen for what was announced. */
START_TEST(what_is_too_large_for_a_wav_becomes_rf64) {
    const uint64_t announced[] = {1000, 1ULL << 30};
    const float frames[4] = {0.5f, -0.5f, 0.25f, 0.0f};
    const float *channels[] = {frames};
    for (int i = 0; i < 2; i++) {
        HostError error;
        AudioFormat format = {0};
        AudioWriter writer;
        AudioWriter *const writers[] = {&writer};
        ck_assert(audio_resolve_format(&format, "out.wav", &error));
        ck_assert(audio_create(&writer, "out.wav", &format, 96000, 1, announced[i], NULL, &error));
        ck_assert(audio_write(&writer, channels, 4, &error));
        ck_assert(audio_commit(writers, 1, NULL, &error));
        Sound out = read_sound("out.wav");
        ck_assert_int_eq(out.info.format & SF_FORMAT_TYPEMASK, i ? SF_FORMAT_RF64 : SF_FORMAT_WAV);
        ck_assert_int_eq(out.info.frames, 4);
        ck_assert_mem_eq(out.audio, frames, sizeof frames);
        free(out.audio);
        format.container = AUDIO_AIFF;
        ck_assert(audio_create(&writer, "out.aiff", &format, 96000, 1, announced[i], NULL,
                               &error) == (i == 0));
        if (i)
            ck_assert_ptr_nonnull(strstr(error.text, "4 GB"));
        else
            audio_discard(&writer);
        ck_assert(!exists("out.aiff"));
    }
}
END_TEST

/* ---- what is refused ---- */

static void cut_file(const char *from, const char *to, long bytes) {
    FILE *in = fopen(from, "rb");
    FILE *out = fopen(to, "wb");
    for (long i = 0; i < bytes; i++)
        putc(getc(in), out);
    fclose(in);
    fclose(out);
}

static void prepare_inputs(void) {
    Sound take = noise_file("take.wav", 1, 0, 91);
    Sound other = make_noise(1, 1000, 44100, 92);
    Sound four = make_sound(4, 100, 48000);
    Sound empty = make_sound(1, 1, 48000);
    empty.info.frames = 0;
    free(noise_file("wide.wav", 2, 0, 93).audio);
    write_wav("other.wav", &other);
    write_wav("four.wav", &four);
    write_wav("empty.wav", &empty);
    write_text("text.wav", "this is not audio\n");
    write_sound("take.flac", &take, SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
    write_sound("take.aiff", &take, SF_FORMAT_AIFF | SF_FORMAT_PCM_16);
    cut_file("take.wav", "cut.wav", 60000);
    cut_file("take.flac", "cut.flac", 40000);
    cut_file("take.aiff", "cut.aiff", 40000);
    cut_file("take.wav", "head.wav", 30);
    ck_assert_int_eq(symlink("take.wav", "symbolic.wav"), 0);
    ck_assert_int_eq(link("take.wav", "hard.wav"), 0);
    ck_assert_int_eq(mkdir("folder", 0777), 0);
    free(take.audio);
    free(other.audio);
    free(four.audio);
    free(empty.audio);
}

static const struct {
    const char *line;
    int status;
    const char *words;
} refusals[] = {
    /* the command line */
    {"rendr", 2, "'rendr'|'render'"},
    {"render", 2, "TAKE"},
    {"render take.wav", 2, "TAKE"},
    {"render take.wav o.wav", 2, "processor"},
    {"render take.wav o.wav gain --tial 3", 2, "--tial|--tail"},
    {"render take.wav o.wav gain --tail", 2, "--tail|SECONDS"},
    {"render take.wav o.wav gain --tail x", 2, "--tail|0 to 600"},
    {"render take.wav o.wav gain --tail -1", 2, "--tail|0 to 600"},
    {"render take.wav o.wav gain --bits 12", 2, "12|float, 24, 16"},
    {"render take.wav o.wav gain --format ogg", 2, "ogg|wav, flac, aiff, mp3, opus"},
    {"render take.wav o.wav gain --quiet=1", 2, "--quiet"},
    {"render take.wav o.xyz gain", 2, "o.xyz|.wav, .flac"},
    {"render take.wav o.flac gain --bits float", 2, "FLAC|24"},
    /* processors and controls */
    {"render take.wav o.wav gian", 2, "'gian'|'gain'"},
    {"render take.wav o.wav urn:nobody:home", 2, "urn:nobody:home"},
    {"render take.wav o.wav gain=3", 2, "gain=3"},
    {"render take.wav o.wav gain gian=3", 2, "'gian'|'gain'|enabled, audition, gain"},
    {"render take.wav o.wav gain gain=25", 2, "25|-24 to 24 dB"},
    {"render take.wav o.wav gain gain=-24.01", 2, "-24 to 24 dB"},
    {"render take.wav o.wav gain gain=nan", 2, "nan|-24 to 24 dB"},
    {"render take.wav o.wav gain gain=0x3", 2, "0x3|-24 to 24 dB"},
    {"render take.wav o.wav gain gain=loud", 2, "loud|-24 to 24 dB"},
    {"render take.wav o.wav gain gain=3ms", 2, "3ms|-24 to 24 dB"},
    {"render take.wav o.wav gain gain=", 2, "gain="},
    {"render take.wav o.wav gain gain=1 gain=2", 2, "twice"},
    {"render take.wav o.wav gain audition=2", 2, "Result|Removed"},
    {"render take.wav o.wav gain audition=both", 2, "both|Result|Removed"},
    {"render take.wav o.wav gain enabled=0.5", 2, "0.5|0 and 1"},
    {"render take.wav o.wav gain preset=lauder", 2, "'lauder'|'louder'"},
    {"render take.wav o.wav gain reduction=3", 2, "'reduction'"},
    {"render take.wav o.wav urn:foreign:late frames=2.5", 2, "2.5|whole numbers|0 to 4096"},
    {"render take.wav o.wav gain key=take.wav", 2, "gain|key"},
    {"render wide.wav o.wav urn:foreign:late", 2, "urn:foreign:late|stereo|take 2"},
    {"render take.wav o.wav --stereo urn:foreign:late", 2, "stereo|take 2"},
    {"render take.wav o.wav keyed", 2, "keyed|key=FILE|key=none"},
    /* files */
    {"render nothing.wav o.wav gain", 1, "nothing.wav|No such file"},
    {"render text.wav o.wav gain", 1, "text.wav|audio"},
    {"render head.wav o.wav gain", 1, "head.wav"},
    {"render empty.wav o.wav gain", 1, "empty.wav|no audio"},
    {"render four.wav o.wav gain", 1, "four.wav|4 channels|1 (mono) or 2 (stereo)"},
    {"render cut.wav o.wav gain", 1, "cut.wav|cut off"},
    {"render cut.aiff o.wav gain", 1, "cut.aiff|cut off"},
    {"render cut.flac o.wav gain", 1, "cut.flac"},
    {"render take.wav o.wav keyed key=nothing.wav", 1, "nothing.wav|No such file"},
    {"render take.wav o.wav keyed key=folder", 1, "folder|directory"},
    {"render take.wav take.wav gain", 2, "take.wav|another name"},
    {"render take.wav ./take.wav gain", 2, "take.wav|another name"},
    {"render take.wav symbolic.wav gain", 2, "symbolic.wav|another name"},
    {"render symbolic.wav take.wav gain", 2, "take.wav|another name"},
    {"render take.wav hard.wav gain", 2, "hard.wav|another name"},
    {"render wide.wav take.wav keyed key=take.wav", 2, "take.wav|another name"},
    {"render take.wav o.wav gain --trace take.wav", 2, "take.wav|another name"},
    {"render take.wav o.wav gain --trace o.wav", 2, "o.wav|twice"},
    {"render take.wav folder gain", 2, "folder"},
    {"render take.wav nowhere/o.wav gain", 1, "nowhere/o.wav|No such file"},
    {"render take.wav /dev/null gain --format wav", 1, "/dev/null|plain file"},
    {"render take.wav o.wav gain --bundles nowhere", 1, "nowhere"},
    {"render take.wav o.wav gain --bundles folder", 2, "gain|--bundles"},
    /* plugins that do wrong */
    {"render take.wav o.wav urn:foreign:needy", 1, "urn:foreign:needy|urn:foreign:moon"},
    {"render take.wav o.wav urn:foreign:misbehave fault=1", 1, "Misbehave crashed"},
    {"render take.wav o.wav gain urn:foreign:misbehave fault=1 after=9000", 1, "Misbehave crashed"},
    {"render take.wav o.wav urn:foreign:misbehave fault=2 after=9000", 1, "Misbehave ended"},
    {"render take.wav o.wav urn:foreign:misbehave fault=3 after=9000", 1, "not a number|0:00.2"},
    {"render take.wav o.wav urn:foreign:misbehave fault=4 after=9000", 1, "latency|0 to 7"},
    {"render take.wav o.wav urn:foreign:misbehave fault=5", 1, "impossible latency"},
    {"render take.wav o.wav urn:foreign:misbehave fault=6 --patience 0.5", 1,
     "Misbehave did not come back within 0.5 s"},
};

enum { N_REFUSALS = sizeof refusals / sizeof *refusals };

START_TEST(what_cannot_be_done_is_refused_and_leaves_nothing) {
    prepare_inputs();
    Sound take = read_sound("take.wav");
    int before = count_files(".");
    check_refused(refusals[_i].line, refusals[_i].status, refusals[_i].words);
    ck_assert_msg(count_files(".") == before, "siskin %s left a file", refusals[_i].line);
    check_same_bits("take.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(a_failed_render_leaves_an_older_output_as_it_was) {
    free(noise_file("take.wav", 1, 0, 94).audio);
    Sound old = noise_file("out.wav", 2, 777, 95);
    check_refused("render take.wav out.wav urn:foreign:misbehave fault=3 after=9000", 1, "number");
    check_refused("render take.wav out.wav urn:foreign:misbehave fault=1 after=9000", 1, "crashed");
    check_same_bits("out.wav", &old);
    ck_assert_int_eq(count_files("."), 2);
    free(old.audio);
}
END_TEST

/* A limit on the size of a file stands for a full disk: both are errors of write(). */
START_TEST(a_disk_that_takes_no_more_is_an_error_wherever_it_happens) {
    free(noise_file("take.wav", 1, 50000, 96).audio); /* 200 kB */
    static const struct {
        const char *line;
        rlim_t most;
    } cases[] = {
        {"render take.wav o.wav gain", 50000},  /* on the way */
        {"render take.wav o.wav gain", 200050}, /* within the last block */
        {"render take.wav o.wav gain", 10},     /* in the header */
        {"render take.wav o.flac gain", 50000}, /* inside an encoder */
        {"render take.wav o.wav gain --trace t.csv --trace-step 0.1",
         200500}, /* fits: 10 kB rows */
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        bool fits = i + 1 == sizeof cases / sizeof *cases;
        ck_assert_int_eq(run_limited(cases[i].most, cases[i].line), fits ? 0 : 1);
        if (!fits)
            ck_assert_ptr_nonnull(strstr(ran.err, strerror(EFBIG)));
        ck_assert_int_eq(count_files("."), fits ? 3 : 1);
    }
}
END_TEST

START_TEST(an_output_through_a_link_keeps_the_link) {
    Sound take = noise_file("take.wav", 1, 0, 97);
    ck_assert_int_eq(mkdir("elsewhere", 0777), 0);
    write_text("elsewhere/real.wav", "old");
    ck_assert_int_eq(symlink("elsewhere/real.wav", "out.wav"), 0);
    ck_assert_ran("render take.wav out.wav gain gain=0");
    struct stat status;
    ck_assert_int_eq(lstat("out.wav", &status), 0);
    ck_assert(S_ISLNK(status.st_mode));
    check_same_bits("elsewhere/real.wav", &take);
    free(take.audio);
}
END_TEST

START_TEST(a_take_cut_short_is_refused_in_every_format) {
    static const struct {
        const char *name;
        int format;
    } formats[] = {
        {"wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT},
        {"aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_24},
        {"flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24},
        {"w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24},
        {"rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24},
        {"caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24},
        {"au", SF_FORMAT_AU | SF_FORMAT_PCM_24},
        {"ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS},
        {"opus", SF_FORMAT_OGG | SF_FORMAT_OPUS},
        {"mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III},
    };
    Sound take = make_noise(1, (sf_count_t)3 * 48000, 48000, 97);
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        char name[32];
        struct stat whole;
        snprintf(name, sizeof name, "take.%s", formats[i].name);
        write_sound(name, &take, formats[i].format);
        ck_assert_int_eq(run("render %s out.wav gain", name), 0);
        ck_assert_int_eq(remove("out.wav"), 0);
        ck_assert_int_eq(stat(name, &whole), 0);
        const off_t to[] = {whole.st_size - 2000, whole.st_size / 2, 5};
        /* An MP3 that lacks 0.1 s is as one whose header promises so much too much. */
        for (size_t k = strcmp(formats[i].name, "mp3") == 0; k < 3; k++) {
            ck_assert_int_eq(truncate(name, to[k]), 0);
            ck_assert_int_eq(run("render %s out.wav gain", name), 1);
            ck_assert_msg(strstr(ran.err, name) != NULL, "%s: %s", name, ran.err);
            ck_assert_int_eq(count_files("."), 1);
        }
        ck_assert_int_eq(remove(name), 0);
    }
    free(take.audio);
}
END_TEST

/* Silence that takes no room on the disk: a WAV header before a hole. */
static void make_long_take(uint32_t seconds) {
    Sound none = make_sound(1, 1, 48000);
    const uint32_t data = 2U * 48000U * seconds;
    const uint32_t riff = data + 36;
    write_sound("long.wav", &none, SF_FORMAT_WAV | SF_FORMAT_PCM_16);
    FILE *file = fopen("long.wav", "r+b");
    fseek(file, 4, SEEK_SET);
    fwrite(&riff, 4, 1, file); /* the tests run on little-endian machines, as WAV is */
    fseek(file, 40, SEEK_SET);
    fwrite(&data, 4, 1, file);
    fclose(file);
    ck_assert_int_eq(truncate("long.wav", (off_t)data + 44), 0);
    free(none.audio);
}

static void check_ending(int signal_number) {
    pid_t process = start_program("render long.wav out.wav gain", STDOUT_FILENO, STDERR_FILENO, 0);
    while (count_files(".") < 3) /* until the unfinished file is there */
        usleep(1000);
    ck_assert_int_eq(kill(process, signal_number), 0);
    ck_assert_int_eq(finish_program(process), 1000 + signal_number);
    ck_assert_int_eq(count_files("."), 2);
}

START_TEST(a_signal_leaves_nothing_behind) {
    const int signals[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE};
    make_long_take(3 * 3600);
    Sound old = noise_file("out.wav", 1, 777, 98);
    for (size_t i = 0; i < sizeof signals / sizeof *signals; i++)
        check_ending(signals[i]);
    check_same_bits("out.wav", &old);
    free(old.audio);
}
END_TEST

/* Kilobytes at most in use by the program and its children. */
static long memory_of(const char *line) {
    struct rusage usage;
    int status = 0;
    pid_t process = start_program(line, STDOUT_FILENO, STDERR_FILENO, 0);
    ck_assert_int_eq(wait4(process, &status, 0, &usage), process);
    ck_assert_int_eq(status, 0);
    return usage.ru_maxrss;
}

/* Ten minutes are 58 MB of samples as 16 bit; what the memory may differ by is measured noise of
 * the allocator, far below that. */
START_TEST(memory_does_not_grow_with_the_take) {
    const char *line = "render long.wav out.wav gain keyed key=long.wav urn:foreign:late --quiet "
                       "--bits 16 --trace t.csv";
    make_long_take(1);
    long little = memory_of(line);
    make_long_take(600);
    long much = memory_of(line);
    ck_assert_msg(much < little + 2000, "%ld kB for a second, %ld kB for ten minutes", little,
                  much);
}
END_TEST

/* ---- words ---- */

START_TEST(numbers_are_decimal_and_finite_and_whole_words) {
    static const struct {
        const char *word;
        double value; /* NAN: none */
    } words[] = {{"0", 0},       {"-3.5", -3.5}, {"+2", 2},    {".5", 0.5},   {"1e3", 1000},
                 {"1E-3", 1e-3}, {"", NAN},      {"x", NAN},   {"3x", NAN},   {" 3", NAN},
                 {"3 ", NAN},    {"nan", NAN},   {"inf", NAN}, {"0x10", NAN}, {"1e999", NAN},
                 {"1,5", NAN},   {"-", NAN},     {"--3", NAN}, {"e", NAN},    {"1.2.3", NAN}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        double value = NAN;
        ck_assert_msg(text_number(words[i].word, &value) == !isnan(words[i].value), "'%s'",
                      words[i].word);
        if (!isnan(words[i].value))
            ck_assert_double_eq(value, words[i].value);
    }
}
END_TEST

START_TEST(the_nearest_name_is_the_one_that_was_meant) {
    static const char *const names[] = {"threshold", "ratio", "range", "attack", "release"};
    static const char *const words[][2] = {
        {"treshold", "threshold"}, {"ration", "ratio"}, {"rnage", "range"},  {"atack", "attack"},
        {"realease", "release"},   {"range", "range"},  {"lookahead", NULL}, {"zzz", NULL}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        ck_assert_pstr_eq(text_nearest(words[i][0], names, 5), words[i][1]);
    ck_assert_ptr_null(text_nearest("ratio", names, 0));
}
END_TEST

START_TEST(times_are_told_in_minutes_and_hours) {
    char text[32];
    ck_assert_str_eq(text_time(text, 0.0), "0:00.0");
    ck_assert_str_eq(text_time(text, 59.94), "0:59.9");
    ck_assert_str_eq(text_time(text, 59.96), "1:00.0");
    ck_assert_str_eq(text_time(text, 3599.99), "1:00:00.0");
    ck_assert_str_eq(text_time(text, 10923.4), "3:02:03.4");
}
END_TEST

/* ---- what is told ---- */

START_TEST(quiet_says_nothing) {
    free(noise_file("take.wav", 1, 0, 99).audio);
    ck_assert_ran("render take.wav out.wav gain --quiet");
    ck_assert_str_eq(ran.out, "");
    ck_assert_str_eq(ran.err, "");
}
END_TEST

START_TEST(the_summary_tells_each_processor_with_its_latency) {
    free(noise_file("take.wav", 1, 48000, 100).audio);
    ck_assert_ran("render take.wav out.wav gain urn:foreign:late frames=480 gain");
    ck_assert_ptr_nonnull(strstr(ran.out, "out.wav: 0:01.0, 48000 Hz, mono, float WAV"));
    ck_assert_ptr_nonnull(strstr(ran.out, "gain "));
    ck_assert_ptr_nonnull(strstr(ran.out, "gain 2"));
    ck_assert_ptr_nonnull(strstr(ran.out, "latency 10.0 ms"));
}
END_TEST

/* `late` tells the largest |out| of each run as `reduction`: with the times taken right, a row
 * holds the largest |take| of exactly its own frames, for a processor early and one late in the
 * chain. */
START_TEST(a_trace_is_aligned_with_the_take) {
    enum { STEP = 240 };
    Sound take = noise_file("take.wav", 1, 33333, 101);
    ck_assert_ran("render take.wav out.wav urn:foreign:late frames=777 urn:foreign:late "
                  "frames=3001 --trace t.csv");
    FILE *file = fopen("t.csv", "r");
    char line[256];
    ck_assert_ptr_nonnull(fgets(line, sizeof line, file));
    ck_assert_str_eq(line, "time_s,Late.reduction,Late 2.reduction\n");
    size_t row = 0;
    for (; fgets(line, sizeof line, file); row++) {
        double time = 0.0;
        double value[2] = {0.0};
        float expected = 0.0f;
        char *rest = line;
        time = strtod(rest, &rest);
        for (int k = 0; k < 2; k++) {
            ck_assert_int_eq(*rest, ',');
            value[k] = strtod(rest + 1, &rest);
        }
        ck_assert_int_eq(*rest, '\n');
        for (size_t i = row * STEP; i < (row + 1) * STEP && i < samples(&take); i++)
            expected = fmaxf(expected, fabsf(take.audio[i]));
        ck_assert_double_eq_tol(time, (double)(row * STEP) / 48000.0, 1e-6);
        ck_assert_double_eq_tol(value[0], (double)expected, 1e-6); /* six digits are written */
        ck_assert_double_eq_tol(value[1], (double)expected, 1e-6);
    }
    ck_assert_uint_eq(row, (33333 + STEP - 1) / STEP);
    fclose(file);
    free(take.audio);
}
END_TEST

START_TEST(list_tells_every_processor_of_the_bundles) {
    char folder[PATH_MAX + 16];
    bundles = "lv2";
    ck_assert_ran("list");
    snprintf(folder, sizeof folder, "%s/lv2", build_folder);
    DIR *dir = opendir(folder);
    ck_assert_ptr_nonnull(dir);
    int listed = 0;
    for (const struct dirent *entry; (entry = readdir(dir));) {
        char name[NAME_MAX + 1] = "";
        if (sscanf(entry->d_name, "siskin-%255[^.].lv2", name) != 1)
            continue;
        ck_assert_msg(strstr(ran.out, name) != NULL, "%s is not listed", name);
        listed++;
    }
    closedir(dir);
    ck_assert_int_gt(listed, 0);
}
END_TEST

START_TEST(list_describes_one_processor) {
    ck_assert_ran("list keyed");
    const char *const words[] = {"urn:siskin:keyed#mono",
                                 "1 in, 1 out, 1 key",
                                 "latency   5 ms",
                                 "0 to 24 dB; default 12 dB",
                                 "0 to 3, whole numbers",
                                 "on, off; default off",
                                 "Slow (0), Fast (1); default Fast",
                                 "key_level"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        ck_assert_msg(strstr(ran.out, words[i]) != NULL, "no '%s' in:\n%s", words[i], ran.out);
    ck_assert_ran("list gain --stereo");
    ck_assert_ptr_nonnull(strstr(ran.out, "2 in, 2 out"));
    ck_assert_ptr_nonnull(strstr(ran.out, "preset=louder"));
    ck_assert_ran("list urn:foreign:widen");
    ck_assert_ptr_nonnull(strstr(ran.out, "1 in, 2 out"));
    ck_assert_ran("list --others");
    ck_assert_ptr_nonnull(strstr(ran.out, "urn:foreign:late\n    Late; 1 in, 1 out, key"));
    check_refused("list --others gain", 2, "--others");
    check_refused("list gian", 2, "'gian'|'gain'");
    check_refused("list gain keyed", 2, "NAME");
}
END_TEST

START_TEST(help_is_told_and_is_no_failure) {
    const char *const lines[] = {"--help", "help", "list --help", "render --help", "--version"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        ck_assert_ran(lines[i]);
        ck_assert_str_ne(ran.out, "");
        ck_assert_str_eq(ran.err, "");
    }
    ck_assert_int_eq(run("render --help"), 0);
    ck_assert_ptr_nonnull(strstr(ran.out, "Exit status"));
    ck_assert_int_eq(run(" "), 2);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("siskin");
    tcase_add_test(tcase, latency_is_taken_out_to_the_frame);
    tcase_add_test(tcase, mono_and_stereo_keep_their_channels);
    tcase_add_test(tcase, every_rate_from_8_to_192_khz_is_kept);
    tcase_add_test(tcase, processors_work_in_series_with_their_own_controls);
    tcase_add_test(tcase, values_may_carry_a_unit_or_be_a_word);
    tcase_add_test(tcase, a_preset_comes_first_and_settings_over_it);
    tcase_add_test(tcase, a_key_is_aligned_with_the_input_it_meets);
    tcase_add_test(tcase, a_key_may_be_shorter_or_longer_and_the_take_sets_the_length);
    tcase_add_test(tcase, a_stereo_key_reaches_a_mono_processor_as_its_mean);
    tcase_add_test(tcase, a_tail_lengthens_the_output_by_what_was_asked);
    tcase_add_test(tcase, a_processor_may_make_mono_stereo);
    tcase_add_test(tcase, what_is_not_a_number_in_a_take_is_silence_and_counted);
    tcase_add_test(tcase, equal_renders_are_equal_files);
    tcase_add_test(tcase, files_are_written_in_the_form_asked_for);
    tcase_add_test(tcase, dither_keeps_what_lies_under_one_step);
    tcase_add_test(tcase, what_is_over_full_scale_is_clipped_and_counted);
    tcase_add_test(tcase, the_time_stamp_and_titles_of_a_take_are_kept);
    tcase_add_test(tcase, what_is_too_large_for_a_wav_becomes_rf64);
    tcase_add_loop_test(tcase, what_cannot_be_done_is_refused_and_leaves_nothing, 0, N_REFUSALS);
    tcase_add_test(tcase, a_failed_render_leaves_an_older_output_as_it_was);
    tcase_add_test(tcase, a_disk_that_takes_no_more_is_an_error_wherever_it_happens);
    tcase_add_test(tcase, an_output_through_a_link_keeps_the_link);
    tcase_add_test(tcase, a_take_cut_short_is_refused_in_every_format);
    tcase_add_test(tcase, a_signal_leaves_nothing_behind);
    tcase_add_test(tcase, memory_does_not_grow_with_the_take);
    tcase_add_test(tcase, numbers_are_decimal_and_finite_and_whole_words);
    tcase_add_test(tcase, the_nearest_name_is_the_one_that_was_meant);
    tcase_add_test(tcase, times_are_told_in_minutes_and_hours);
    tcase_add_test(tcase, quiet_says_nothing);
    tcase_add_test(tcase, the_summary_tells_each_processor_with_its_latency);
    tcase_add_test(tcase, a_trace_is_aligned_with_the_take);
    tcase_add_test(tcase, list_tells_every_processor_of_the_bundles);
    tcase_add_test(tcase, list_describes_one_processor);
    tcase_add_test(tcase, help_is_told_and_is_no_failure);
    return run_suite(tcase, "siskin");
}
