/* SPDX-License-Identifier: ISC */
/* siskin advise: on takes of the test singer with faults laid in. What is advised is rendered and
 * advised on again: what was found is gone, and nothing new is found. Singers here are others than
 * those that limits and settings were chosen on (seeds below 600). */
#include "quality/material.h"
#include "siskin/edit/envelope.h"
#include "siskin/tests/advise_loop.h"
#include "sung_notes.h"
#include "voice/scale.h"

enum { RATE = 44100, PHRASES = 5 };

/* ---- takes ---- */

/* A voice that nothing has to be done to: close and quiet, no breaths or clicks, phrases alike. */
static SingerParams clean_params(SingerVoice kind, uint64_t seed) {
    SingerParams params = singer_params(kind, RATE, seed);
    params.phrases = PHRASES;
    params.breath_share = 0.0;
    params.gap_clicks = params.word_clicks = 0.0;
    params.level_spread_db = 1.0;
    params.room_db = -90.0;
    return params;
}

static Voice sing(const SingerParams *params) {
    Voice voice = {.rate_hz = params->rate_hz};
    ck_assert(singer_take(params, &voice.take));
    voice.n = voice.take.n;
    voice.labels = voice.take.labels;
    voice.n_labels = voice.take.n_labels;
    voice.audio = calloc(voice.n, sizeof *voice.audio);
    ck_assert_ptr_nonnull(voice.audio);
    singer_mix(&voice.take, ~(1u << SINGER_STEM_CLICKS), voice.audio);
    return voice;
}

static void free_voice(Voice *voice) {
    singer_free(&voice->take);
    free(voice->audio);
}

static void write_audio(const char *path, const float *audio, size_t n, int channels) {
    Sound sound = make_sound(channels, (sf_count_t)n, RATE);
    for (size_t i = 0; i < n * (size_t)channels; i++)
        sound.audio[i] = audio[i / (size_t)channels];
    write_wav(path, &sound);
    free(sound.audio);
}

static void write_singer(const char *path, const SingerParams *params) {
    Voice voice = sing(params);
    write_audio(path, voice.audio, voice.n, 1);
    free_voice(&voice);
}

/* ---- faults, of the singer or laid into the take ---- */

typedef void Sung(SingerParams *params);
typedef void Laid(Voice *voice, uint64_t seed);

static void with_rumble(SingerParams *p) {
    p->rumble_db = p->level_db - 15.0;
}

static void with_breaths(SingerParams *p) {
    p->breath_share = 1.0;
    p->breath_db = (SingerRange){-24.0, -16.0};
}

static void with_noise(SingerParams *p) {
    p->room_db = p->level_db - 40.0;
}

static void with_spread(SingerParams *p) {
    p->level_spread_db = 8.0;
}

static void with_low_hum(SingerParams *p) {
    p->hum_db = p->level_db - 25.0;
}

/* 50 Hz and harmonics, most of them in his range. */
static void with_hum(SingerParams *p) {
    p->hum_db = p->level_db - 40.0;
}

static void with_hiss(SingerParams *p) {
    p->room_db = p->level_db - 30.0;
}

static void lay_dc(Voice *voice, uint64_t seed) {
    (void)seed;
    for (size_t i = 0; i < voice->n; i++)
        voice->audio[i] += 0.01f;
}

/* A burst of air at the start of every third word, 10 dB over the mean of all below 300 Hz. */
static void lay_thumps(Voice *voice, uint64_t seed) {
    enum { LONG = 4000 };
    Random random = random_seeded(seed);
    double rms =
        pow(10.0, 0.5) *
        pow(10.0, signals_band_db(voice->audio, voice->n, voice->rate_hz, 20.0, 300.0) / 20.0);
    size_t words = 0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        size_t at = voice->labels[i].start;
        float burst[LONG];
        if (voice->labels[i].kind != SINGER_WORD || words++ % 3 != 0 || at + LONG > voice->n)
            continue;
        signals_band_noise(burst, LONG, voice->rate_hz, 20.0, 120.0, rms, &random);
        signals_fade_ends(burst, LONG, 240);
        signals_add(voice->audio + at, burst, LONG);
    }
}

/* Clicks of another make than the singer's own. */
static void lay_clicks(Voice *voice, uint64_t seed) {
    Click *clicks = NULL;
    float *audio = calloc(voice->n, sizeof *audio);
    ck_assert_ptr_nonnull(audio);
    memcpy(audio, voice->audio, voice->n * sizeof *audio);
    ck_assert_uint_gt(material_clicks(voice, seed, audio, &clicks), 10);
    free(clicks);
    free(voice->audio);
    voice->audio = audio;
}

static void lay_hot(Voice *voice, uint64_t seed) {
    (void)seed;
    float *hot = calloc(voice->n, sizeof *hot);
    ck_assert_ptr_nonnull(hot);
    ck_assert(material_hot(voice, 10.0, hot));
    free(voice->audio);
    voice->audio = hot;
}

typedef struct {
    const char *name, *rule, *processor;
    Sung *sung;
    Laid *laid;
    bool women_only; /* hum of 50 Hz is close under a man's voice: no high-pass parts them */
} Fault;

static const Fault faults[] = {
    {"rumble", "rumble", "rumble-filter", with_rumble, NULL, false},
    {"hum", "low_hum", "rumble-filter", with_low_hum, NULL, true},
    {"dc", "dc", "rumble-filter", NULL, lay_dc, false},
    {"thumps", "thumps", "rumble-filter", NULL, lay_thumps, false},
    {"clicks", "clicks", "transient-tamer", NULL, lay_clicks, false},
    {"breaths", "breaths", "breath-ducker", with_breaths, NULL, false},
    {"hot", "sibilants", "de-esser", NULL, lay_hot, false},
    {"noise", "noise", "gap-trimmer", with_noise, NULL, false},
    {"spread", "riding", "fader @ride", with_spread, NULL, false},
    {"hum in the voice", "hum", "hum-notch", with_hum, NULL, false},
    {"hiss", "hiss", "noise-reducer", with_hiss, NULL, false},
};
/* The last two are other amounts of what is laid in before. */
enum { FAULTS = sizeof faults / sizeof *faults, TOGETHER = FAULTS - 2 };

static const char *sing_with(SingerVoice kind, uint64_t seed, const Fault *from, size_t count) {
    static char what[64];
    SingerParams params = clean_params(kind, seed);
    for (size_t i = 0; i < count; i++)
        if (from[i].sung && !(from[i].women_only && kind == SINGER_MAN))
            from[i].sung(&params);
    if (count > 1)
        params.level_spread_db = 5.0;
    Voice voice = sing(&params);
    for (size_t i = count; i-- > 0;) /* hot sibilants before the clicks, offset at the end */
        if (from[i].laid)
            from[i].laid(&voice, seed);
    write_audio("take.wav", voice.audio, voice.n, 1);
    free_voice(&voice);
    snprintf(what, sizeof what, "%s, %s %d",
             count == 1 ? from->name
             : count    ? "all"
                        : "clean",
             kind == SINGER_MAN ? "man" : "woman", (int)seed);
    return what;
}

/* ---- the loop ---- */

START_TEST(a_clean_take_gets_no_processor_and_stays_as_it_is) {
    use_bundles();
    Tally tally = {0};
    for (uint64_t seed = 601; seed <= 612; seed++) {
        Row before, after;
        const char *what = sing_with(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed, NULL, 0);
        close_loop(what, &tally, &before, &after);
        for (size_t i = 0; i < advice_n_rules; i++)
            tally.new += before.verdict[i] == ADVICE_NEEDED;
        printf("%s: %s\n", what, before.chain);
        if (*before.chain)
            continue;
        Sound take = read_sound("take.wav");
        check_same_bits("out.wav", &take);
        free(take.audio);
    }
    ck_assert_uint_eq(tally.found + tally.new, 0);
}
END_TEST

START_TEST(each_fault_alone_is_found_and_mended) {
    use_bundles();
    Tally tally = {0};
    const Fault *fault = &faults[_i];
    for (uint64_t seed = 621; seed <= 624; seed++) {
        Row before, after;
        SingerVoice kind = seed % 2 && !fault->women_only ? SINGER_MAN : SINGER_WOMAN;
        const char *what = sing_with(kind, seed, fault, 1);
        close_loop(what, &tally, &before, &after);
        size_t i = rule(fault->rule);
        printf("%s: %.1f, then %.1f; %s\n", what, before.figure[i], after.figure[i], before.chain);
        tally.missed += before.verdict[i] != ADVICE_NEEDED;
        ck_assert(before.verdict[i] != ADVICE_NEEDED || strstr(before.chain, fault->processor));
    }
    /* hum-notch learns in the first gap: of loud hum under a take that begins with a word some of
     * that word's stays. */
    ck_assert_uint_le(tally.open, fault->women_only ? 1 : 0);
    ck_assert_uint_eq(tally.new + tally.missed, 0);
    fflush(stdout);
}
END_TEST

/* Phrases lie +-5 dB apart; of five, that may be a spread of 2 dB or less. Nineteen findings in
 * twenty are gone, and none is new. What may stay: the noise of short gaps, since breaths in them
 * are kept. Alone each is always gone. */
START_TEST(all_faults_together_are_found_and_mended) {
    use_bundles();
    Tally tally = {0};
    for (uint64_t seed = 631; seed <= 638; seed++) {
        Row before, after;
        SingerVoice kind = seed % 2 ? SINGER_MAN : SINGER_WOMAN;
        const char *what = sing_with(kind, seed, faults, TOGETHER);
        close_loop(what, &tally, &before, &after);
        for (size_t k = 0; k < TOGETHER; k++) {
            size_t i = rule(faults[k].rule);
            bool laid = !(faults[k].women_only && kind == SINGER_MAN);
            if (!laid || faults[k].sung == with_spread || before.verdict[i] == ADVICE_NEEDED)
                continue;
            printf("%s: %s is not found, %g\n", what, faults[k].name, before.figure[i]);
            tally.missed++;
        }
    }
    printf("all together: %zu of %zu findings stay, %zu are missed\n", tally.open, tally.found,
           tally.missed);
    fflush(stdout);
    ck_assert_uint_ge(tally.found, 40);
    ck_assert_uint_le(20 * tally.open, tally.found);
    ck_assert_uint_le(20 * tally.missed, tally.found);
    ck_assert_uint_eq(tally.new, 0);
}
END_TEST

/* ---- pitch ---- */

/* Cents that a note is off. */
typedef double Loose(Random *random);

static double two_in_five_by_32(Random *random) {
    double near = 4.0 * random_normal(random), chance = random_range(random, 0.0, 1.0);
    return chance < 0.2 ? near - 32.0 : chance < 0.4 ? near + 32.0 : near;
}

static double anywhere(Random *random) {
    return random_range(random, -50.0, 50.0);
}

/* Each note of a clean take drawn to so far from its semitone. */
static void sing_loosely(SingerVoice kind, uint64_t seed, Loose *loose) {
    SungNote notes[256];
    SingerParams params = clean_params(kind, seed);
    Voice voice = sing(&params);
    Random random = random_seeded(seed);
    size_t n = sung_notes_truth(&voice.take, notes, 256);
    FILE *list = fopen("loose.notes", "w");
    ck_assert_ptr_nonnull(list);
    for (size_t i = 0; i < n; i++)
        fprintf(list, "%.4f %.4f %.3f\n", notes[i].start_s, notes[i].end_s,
                round(notes[i].midi) + 0.01 * loose(&random));
    fclose(list);
    write_audio("sung.wav", voice.audio, voice.n, 1);
    free_voice(&voice);
    remove("take.wav");
    ck_assert_ran("render --quiet sung.wav take.wav pitch-corrector notes=loose.notes");
}

/* Two notes in five are 32 cents off. Where that is over a quarter of the time it is corrected, and
 * told by how much it was off; and the words stay whole, as harm.h has it, or the step would be
 * left out. */
/* A dimmer's: 60 Hz and harmonics up to 900 Hz, each 1.5 dB under the one before. */
static void lay_buzz(Voice *voice, double db) {
    double sum = 0.0;
    for (int k = 0; k < 15; k++)
        sum += 0.5 * pow(10.0, -0.15 * k);
    for (size_t i = 0; i < voice->n; i++)
        for (int k = 0; k < 15; k++)
            voice->audio[i] += (float)(pow(10.0, (db - 1.5 * k) / 20.0) / sqrt(sum) *
                                       sin(2.0 * M_PI * 60.0 * (k + 1) * (double)i / RATE + k * k));
}

START_TEST(buzz_is_hum_and_no_noise) {
    use_bundles();
    for (uint64_t seed = 671; seed <= 673; seed++) {
        SingerParams params = clean_params(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed);
        Voice voice = sing(&params);
        lay_buzz(&voice, params.level_db - 24.0);
        write_audio("take.wav", voice.audio, voice.n, 1);
        free_voice(&voice);
        Row row = advise("take");
        printf("buzz: noise %.1f, then %.1f dB; %s\n", row.figure[rule("hiss")],
               row.after[rule("hiss")], row.chain);
        fflush(stdout);
        ck_assert_ptr_nonnull(strstr(row.chain, "hum-notch"));
        ck_assert_ptr_null(strstr(row.chain, "noise-reducer"));
        ck_assert_int_eq(row.verdict[rule("hiss")], ADVICE_FINE);
    }
}
END_TEST

START_TEST(loose_singing_is_corrected_and_told) {
    use_bundles();
    Tally tally = {0};
    size_t corrected = 0;
    for (uint64_t seed = 651; seed <= 656; seed++) {
        Row before, after;
        char what[32];
        snprintf(what, sizeof what, "loose %d", (int)seed);
        sing_loosely(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed, two_in_five_by_32);
        close_loop(what, &tally, &before, &after);
        size_t i = rule("pitch");
        printf("%s: %.0f %%, then %.0f; %s\n", what, before.figure[i], after.figure[i],
               before.chain);
        fflush(stdout);
        bool is = before.verdict[i] == ADVICE_NEEDED;
        ck_assert(is == (strstr(before.chain, "pitch-corrector") != NULL));
        ck_assert(!is || after.figure[i] < before.figure[i]);
        corrected += is;
        ck_assert_ran("advise take.wav");
        ck_assert(!is || strstr(ran.out, "as sung, notes are"));
    }
    ck_assert_uint_eq(tally.open + tally.new, 0);
    ck_assert_uint_ge(corrected, 3); /* others have less of it, or tell too little */
}
END_TEST

/* Between two semitones as often as on one, nobody knows which was meant. */
START_TEST(what_fits_no_scale_is_left_to_the_hand) {
    use_bundles();
    sing_loosely(SINGER_WOMAN, 661, anywhere);
    Row row = advise("take");
    ck_assert_int_eq(row.verdict[rule("no_scale")], ADVICE_NEEDED);
    ck_assert_int_eq(row.verdict[rule("pitch")], ADVICE_UNKNOWN);
    ck_assert(!strstr(row.chain, "pitch-corrector"));
    ck_assert_ran("advise take.wav");
    ck_assert_ptr_nonnull(strstr(ran.out, "siskin notes"));
}
END_TEST

/* A scale is set where the key is known, and holds what is sung; of a key and its relative it does
 * not matter which. */
START_TEST(a_scale_is_set_where_it_is_known_and_holds_the_notes) {
    SungNote notes[16];
    static const int scale[8] = {0, 2, 4, 5, 7, 9, 11, 12};
    for (size_t i = 0; i < 16; i++)
        notes[i] = (SungNote){.start_s = (double)i,
                              .end_s = (double)i + 0.5,
                              .midi = 60.0 + scale[i % 8] + 0.3,
                              .confidence = 1.0};
    Measures m = {.channels = 1, .sung = notes, .n_sung = 16, .off_cents = 30.0};
    m.intonation = (Intonation){
        .sung = true, .known = true, .fits = true, .far_off = 0.5, .tuning_cents = 30.0};
    m.key_known = true;
    m.key = (Tonality){
        .tuning_cents = 30.0, .best = {0, TONALITY_MAJOR, 0.9}, .next = {9, TONALITY_MINOR, 0.05}};
    const struct {
        double p, next_p;
        unsigned next;
        int moved; /* semitones, of two notes in sixteen */
        double scale;
    } rows[] = {{0.9, 0.05, 9, 0, SCALE_MAJOR},
                {0.5, 0.3, 9, 0, SCALE_MAJOR},
                {0.5, 0.3, 7, 0, SCALE_CHROMATIC},
                {0.3, 0.2, 9, 0, SCALE_CHROMATIC},
                {0.9, 0.05, 9, 1, SCALE_CHROMATIC}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        AdviceSettings settings = {.passes = 1};
        m.key.best.p = rows[i].p;
        m.key.next = (TonalityKey){rows[i].next, TONALITY_MINOR, rows[i].next_p};
        notes[0].midi = notes[8].midi = 60.3 + rows[i].moved;
        advice_rules[rule("pitch")].settle(&m, 0.0, &settings);
        ck_assert_str_eq(settings.setting[0].control, "scale");
        ck_assert_msg(settings.setting[0].value == rows[i].scale, "%zu: %s", i,
                      settings.setting[0].why);
        bool keyed = strcmp(settings.setting[1].control, "key") == 0;
        ck_assert(keyed == (rows[i].scale != SCALE_CHROMATIC));
        /* 440 * 2^(30 / 1200) */
        ck_assert_str_eq(settings.setting[1 + keyed].control, "tuning");
        ck_assert_double_eq_tol(settings.setting[1 + keyed].value, 447.7, 1e-9);
    }
}
END_TEST

/* ---- what no processor mends ---- */

START_TEST(what_no_processor_mends_is_told_and_gets_none) {
    use_bundles();
    SingerParams params = clean_params(SINGER_MAN, 341);
    Voice voice = sing(&params);
    double top = 0.5 * signals_peak(voice.audio, voice.n);
    for (size_t i = 0; i < voice.n; i++)
        voice.audio[i] = (float)fmax(-top, fmin(top, (double)voice.audio[i]));
    write_audio("take.wav", voice.audio, voice.n, 1);
    free_voice(&voice);
    Row row = advise("take");
    ck_assert_int_eq(row.verdict[rule("clipping")], ADVICE_NEEDED);
    ck_assert_ran("advise take.wav");
    ck_assert_ptr_nonnull(strstr(ran.out, " flat tops; up to 3 is fine."));
    ck_assert_ptr_nonnull(strstr(ran.out, "redraw the tops"));
}
END_TEST

/* A bell of the RBJ cookbook ("Audio EQ cookbook", R. Bristow-Johnson, peaking EQ). */
static void lay_box(Voice *voice, double hz, double db, double q) {
    double w = 2.0 * M_PI * hz / RATE, a = pow(10.0, db / 40.0), alpha = sin(w) / (2.0 * q);
    double x1 = 0.0, x2 = 0.0, y1 = 0.0, y2 = 0.0, a0 = 1.0 + alpha / a;
    for (size_t i = 0; i < voice->n; i++) {
        double x = (double)voice->audio[i];
        double y = ((1.0 + alpha * a) * x - 2.0 * cos(w) * x1 + (1.0 - alpha * a) * x2 +
                    2.0 * cos(w) * y1 - (1.0 - alpha / a) * y2) /
                   a0;
        x2 = x1, x1 = x, y2 = y1, y1 = y;
        voice->audio[i] = (float)y;
    }
}

/* The value of a control in a chain; NAN: it is not there. */
static double value_in(const char *chain, const char *control) {
    const char *at = strstr(chain, control);
    return at ? strtod(at + strlen(control), NULL) : (double)NAN;
}

/* Boxes of 9 dB are taken down where they are, by a broad cut of 6 dB at most; the measure finds 7
 * of 8 of them within 3 dB (`make quality`), and the rest is not advised on. */
START_TEST(a_box_is_cut_where_it_is_and_broadly) {
    use_bundles();
    size_t cut = 0;
    for (uint64_t seed = 641; seed <= 648; seed++) {
        const double hz = 280.0 + 30.0 * (double)(seed - 641);
        SingerParams params = clean_params(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed);
        params.phrases = 6;
        params.room_db = params.level_db - 45.0; /* as rooms are: noise is a witness, too */
        Voice voice = sing(&params);
        lay_box(&voice, hz, 9.0, 4.0);
        write_audio("take.wav", voice.audio, voice.n, 1);
        free_voice(&voice);
        Row row = advise("take");
        double at_hz = value_in(row.chain, "freq_1="), gain_db = value_in(row.chain, "gain_1=");
        double octaves = value_in(row.chain, "width_1=");
        printf("box of 9 dB at %.0f Hz: %.1f dB; %s\n", hz, row.figure[rule("standing_peak")],
               row.chain);
        fflush(stdout);
        if (isnan(at_hz))
            continue;
        ck_assert(fabs(log2(at_hz / hz)) < 0.25);
        ck_assert(gain_db >= -6.0 && gain_db <= -5.0);
        ck_assert(octaves >= 0.35 && octaves <= 1.4); /* q 4 to 1 */
        cut++;
    }
    ck_assert_uint_ge(cut, 6);
}
END_TEST

/* True peak of take.wav rendered by its chain over its own. */
static double peak_lift_db(void) {
    HostError error;
    Envelope take, out;
    ck_assert_ran("render --quiet --chain chains/take.chain take.wav out.wav");
    ck_assert(envelope_read(&take, "take.wav", &error) && envelope_read(&out, "out.wav", &error));
    double lift_db = envelope_peak_db(&out, 0, out.n) - envelope_peak_db(&take, 0, take.n);
    envelope_free(&take);
    envelope_free(&out);
    return lift_db;
}

/* A high-pass lifts peaks, a bell lowers or lifts them. The fader goes by what comes of both: in
 * steps of 0.1 dB, and under 0.05 dB is no reason. */
START_TEST(the_fader_takes_back_what_peaks_rose_by_and_no_more) {
    use_bundles();
    size_t both = 0;
    for (uint64_t seed = 641; seed <= 644; seed++) {
        SingerParams params = clean_params(seed % 2 ? SINGER_MAN : SINGER_WOMAN, seed);
        params.phrases = 6;
        params.room_db = params.level_db - 45.0;
        params.rumble_db = params.level_db - 25.0;
        Voice voice = sing(&params);
        lay_box(&voice, 400.0, 9.0, 4.0);
        write_audio("take.wav", voice.audio, voice.n, 1);
        free_voice(&voice);
        Row row = advise("take");
        double lift_db = peak_lift_db();
        printf("box and rumble: peaks %+.2f dB; %s\n", lift_db, row.chain);
        fflush(stdout);
        both += strstr(row.chain, "room-cut") && strstr(row.chain, "rumble-filter");
        ck_assert_double_le(lift_db, 0.051);
        ck_assert(!strstr(row.chain, "fader -") || lift_db > -0.101);
    }
    ck_assert_uint_ge(both, 2);
}
END_TEST

/* The bell of a chain that lies within a quarter octave of hz: broad, and 6 dB at most. */
static bool has_bell(const char *chain, double hz) {
    for (int k = 1; k <= 3; k++) {
        char freq[16], gain[16], width[16];
        snprintf(freq, sizeof freq, "freq_%d=", k);
        snprintf(gain, sizeof gain, "gain_%d=", k);
        snprintf(width, sizeof width, "width_%d=", k);
        if (!(fabs(log2(value_in(chain, freq) / hz)) < 0.25))
            continue;
        ck_assert(value_in(chain, gain) >= -6.0 && value_in(chain, gain) <= -3.0);
        ck_assert(value_in(chain, width) >= 0.35 && value_in(chain, width) <= 1.4);
        return true;
    }
    return false;
}

/* Two and three boxes at once, each with a bell and a line of its own. Of six takes with fifteen
 * boxes as many may be missed as of single ones, one in eight; and no bell lies elsewhere. */
START_TEST(boxes_side_by_side_are_all_cut) {
    static const double at_hz[3] = {450.0, 800.0, 260.0};
    use_bundles();
    size_t cut = 0, bells = 0;
    for (uint64_t seed = 651; seed <= 656; seed++) {
        const size_t boxes = seed % 2 ? 2 : 3;
        SingerParams params = clean_params(seed < 654 ? SINGER_MAN : SINGER_WOMAN, seed);
        params.phrases = 6;
        params.room_db = params.level_db - 45.0;
        Voice voice = sing(&params);
        for (size_t b = 0; b < boxes; b++)
            lay_box(&voice, at_hz[b], 8.0, 4.0);
        write_audio("take.wav", voice.audio, voice.n, 1);
        free_voice(&voice);
        Row row = advise("take");
        printf("%zu boxes: %s\n", boxes, row.chain);
        fflush(stdout);
        for (size_t b = 0; b < boxes; b++)
            cut += has_bell(row.chain, at_hz[b]);
        for (const char *at = row.chain; (at = strstr(at, "freq_")) != NULL; at++)
            bells++;
    }
    ck_assert_uint_ge(cut, 13);
    ck_assert_uint_eq(bells, cut);
}
END_TEST

/* Every rule changes its mind at its limit and not before; the limit itself is fine. */
START_TEST(pitch_and_room_are_judged_at_their_limits) {
    Measures m = {.channels = 1, .n_decays = 3};
    const struct {
        double far_off, t60_s;
        AdviceVerdict verdict;
    } rows[] = {{0.25, 0.5, ADVICE_FINE}, {0.26, 0.51, ADVICE_NEEDED}, {NAN, NAN, ADVICE_UNKNOWN}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        m.intonation.known = m.intonation.fits = !isnan(rows[i].far_off);
        m.intonation.far_off = rows[i].far_off;
        m.t60_s = rows[i].t60_s;
        Advice advice = advice_of(&m);
        ck_assert_int_eq(advice.verdict[rule("pitch")], rows[i].verdict);
        ck_assert_int_eq(advice.verdict[rule("room")], rows[i].verdict);
    }
}
END_TEST

/* What is told never contradicts what is decided: a figure next to a limit gets decimals. */
START_TEST(no_figure_is_rounded_over_its_limit) {
    for (size_t i = 0; i < advice_n_rules; i++)
        for (int side = -1; side <= 1; side++) {
            const AdviceRule *rule = &advice_rules[i];
            double figure = rule->limit + 0.0021 * side;
            bool fine = rule->at_most ? figure <= rule->limit : figure >= rule->limit;
            char *value = advice_value(i, figure);
            double told = strtod(value, NULL);
            ck_assert_msg(fine == (rule->at_most ? told <= rule->limit : told >= rule->limit),
                          "%s: %g is told as %s", rule->id, figure, value);
            free(value);
        }
    char *value = advice_value(rule("breaths"), 21.9);
    ck_assert_str_eq(value, "22 dB");
    free(value);
}
END_TEST

/* A trial may ask for a step of which the take itself tells nothing. */
START_TEST(settings_are_numbers_whatever_is_known) {
    Measures nothing = {.channels = 1, .rate_hz = 48000.0};
    nothing.integrated_lufs = nothing.rumble_db = nothing.rumble_below_hz = (double)NAN;
    nothing.gap_db = nothing.spread_db = nothing.t60_s = (double)NAN;
    nothing.low_hz = nothing.middle_hz = (double)NAN;
    for (size_t i = 0; i < advice_n_rules; i++)
        for (int k = 0; advice_rules[i].settle && k < 2; k++) {
            AdviceSettings settings = {.passes = 1};
            advice_rules[i].settle(&nothing, 5.0 * k, &settings);
            for (size_t n = 0; n < settings.n; n++) {
                const AdviceSetting *setting = &settings.setting[n];
                ck_assert_msg(isfinite(setting->value), "%s %s", advice_rules[i].id,
                              setting->control);
                ck_assert_msg(!strstr(setting->why, "nan") && !strstr(setting->why, "inf"), "%s",
                              setting->why);
            }
        }
}
END_TEST

/* ---- the chain file ---- */

static size_t count_of(const char *text, const char *word) {
    size_t n = 0;
    for (const char *at = text; (at = strstr(at, word)); at += strlen(word))
        n++;
    return n;
}

START_TEST(every_rule_is_told_of_and_only_statements_stand_outside_comments) {
    use_bundles();
    sing_with(SINGER_WOMAN, 342, faults, TOGETHER);
    ck_assert_int_eq(rename("take.wav", "a\nde-esser b.wav"), 0);
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    ck_assert_int_eq(rename("a\nde-esser b.wav", "takes/a\nde-esser b.wav"), 0);
    ck_assert_ran("advise --into chains takes");
    ck_assert_int_eq(count_files("chains"), 1);
    ck_assert_int_eq(rename("takes/a\nde-esser b.wav", "take.wav"), 0);
    ck_assert_int_eq(rename("chains/a\nde-esser b.chain", "named.chain"), 0);
    ck_assert_ran("advise take.wav");
    for (size_t i = 0; i < advice_n_rules; i++)
        ck_assert_msg(strstr(ran.out, advice_rules[i].name) != NULL, "%s", advice_rules[i].name);
    size_t statements = 0;
    for (const char *at = ran.out; *at; at = strchr(at, '\n') + 1) {
        ck_assert_uint_le(strcspn(at, "\n"), 200);
        if (*at == '#' || *at == '\n' || strncmp(at, "lane ride line\n", 15) == 0)
            continue;
        ck_assert(strncmp(at, statements ? "  " : "bus lead\n", statements ? 2 : 9) == 0);
        statements++;
    }
    ck_assert_uint_ge(statements, 7);
    ck_assert_ran("render --quiet --chain named.chain take.wav out.wav");
}
END_TEST

START_TEST(louder_breaths_are_turned_down_by_as_much_more) {
    use_bundles();
    double depth[2];
    for (int i = 0; i < 2; i++) {
        SingerParams params = clean_params(SINGER_WOMAN, 343);
        params.breath_share = 1.0;
        params.breath_db = (SingerRange){-24.0 + 6.0 * i, -24.0 + 6.0 * i};
        write_singer("take.wav", &params);
        Row row = advise("take");
        const char *at = strstr(row.chain, "breath-ducker depth=");
        ck_assert_ptr_nonnull(at);
        depth[i] = strtod(strchr(at, '=') + 1, NULL);
    }
    ck_assert_double_eq_tol(depth[1] - depth[0], 6.0, 2.0);
}
END_TEST

/* But for the target of riding, which is a loudness. */
START_TEST(neither_gain_nor_a_second_channel_changes_what_is_advised) {
    use_bundles();
    sing_with(SINGER_WOMAN, 344, faults, TOGETHER);
    Sound take = read_sound("take.wav");
    size_t n = samples(&take);
    Row first = advise("take");
    write_audio("two.wav", take.audio, n, 2);
    Row two = advise("two");
    signals_scale(take.audio, n, 0.5);
    write_audio("soft.wav", take.audio, n, 1);
    Row soft = advise("soft");
    free(take.audio);
    for (size_t i = 0; i < advice_n_rules; i++) {
        if (i == rule("dc"))
            continue;
        ck_assert_int_eq(first.verdict[i], two.verdict[i]);
        ck_assert_int_eq(first.verdict[i], soft.verdict[i]);
        if (isfinite(first.figure[i])) {
            ck_assert_double_eq_tol(first.figure[i], two.figure[i], 0.5);
            ck_assert_double_eq_tol(first.figure[i], soft.figure[i], 0.5);
        }
    }
}
END_TEST

START_TEST(a_take_that_tells_nothing_gets_a_chain_that_renders) {
    use_bundles();
    Tally tally = {0};
    const sf_count_t lengths[] = {48000, 1};
    for (size_t i = 0; i < 2; i++) {
        Row before, after;
        Sound sound = make_sound(2, lengths[i], 48000);
        write_wav("take.wav", &sound);
        free(sound.audio);
        close_loop("silence", &tally, &before, &after);
        ck_assert_str_eq(before.chain, "");
        ck_assert_ran("advise take.wav");
        ck_assert_ptr_null(strstr(ran.out, " nan"));
        ck_assert_ptr_null(strstr(ran.out, "inf "));
    }
    ck_assert_uint_eq(tally.found + tally.new, 0);
}
END_TEST

/* ---- several takes, and errors ---- */

START_TEST(folders_are_advised_on_take_by_take_and_failures_are_told) {
    use_bundles();
    SingerParams params = clean_params(SINGER_MAN, 345);
    params.phrases = 2;
    ck_assert_int_eq(mkdir("takes", 0777), 0);
    write_singer("takes/one.wav", &params);
    write_singer("takes/two.wav", &params);
    check_refused("advise takes", 2, "--into|--csv");
    ck_assert_ran("advise --csv takes");
    ck_assert_uint_eq(count_of(ran.out, "\n"), 3);
    ck_assert_ptr_nonnull(strstr(ran.out, ",none,no,"));
    ck_assert_ran("advise --json takes");
    ck_assert_uint_eq(count_of(ran.out, "\"take\": "), 2);
    ck_assert_uint_eq(count_of(ran.out, "\"needed\": "), 2 * advice_n_rules);
    ck_assert_ptr_nonnull(strstr(ran.out, "\"chain\": \"\""));
    ck_assert_ran("advise --into chains takes");
    ck_assert_ptr_nonnull(strstr(ran.out, "chains/one.chain: nothing is needed"));
    ck_assert_int_eq(count_files("chains"), 2);
    write_text("takes/broken.wav", "no audio");
    check_refused("advise --into other takes", 1, "broken.wav");
    ck_assert_int_eq(count_files("other"), 2);
    ck_assert_int_eq(unlink("takes/broken.wav"), 0);
    ck_assert_int_eq(rename("takes/two.wav", "takes/one.flac"), 0);
    check_refused("advise --into third takes", 1, "one.wav|another take");
}
END_TEST

START_TEST(what_cannot_be_is_refused_in_one_line) {
    use_bundles();
    SingerParams params = clean_params(SINGER_MAN, 346);
    params.phrases = 1;
    write_singer("a.wav", &params);
    write_text("file", "x");
    check_refused("advise", 2, "name a TAKE");
    check_refused("advise --cvs a.wav", 2, "--cvs|did you mean --csv");
    check_refused("advise missing.wav", 1, "missing.wav");
    check_refused("advise --into file a.wav", 1, "file");
    check_refused("advise --bundles nowhere a.wav", 1, "nowhere");
    ck_assert_ran("advise --help");
    ck_assert_ran("--help");
    ck_assert_ptr_nonnull(strstr(ran.out, "advise"));
}
END_TEST

/* A chain that cannot be written leaves nothing, and the older one as it was. */
START_TEST(a_chain_is_whole_or_not_there) {
    use_bundles();
    SingerParams params = clean_params(SINGER_MAN, 347);
    params.phrases = 1;
    write_singer("a.wav", &params);
    ck_assert_int_eq(mkdir("chains", 0777), 0);
    write_text("chains/a.chain", "older");
    ck_assert_int_eq(run_limited(100, "advise --into chains a.wav"), 1);
    ck_assert_int_eq(count_files("chains"), 1);
    check_refused("advise --quiet --into chains a.wav", 1, "chains/a.chain|edited|--overwrite");
    ck_assert_ran("advise --quiet --overwrite --into chains a.wav");
    ck_assert_str_eq(ran.out, "");
    ck_assert_ran("advise --quiet --into chains a.wav");
    /* an edit at its start, and one below all that was advised */
    for (int i = 0; i < 2; i++) {
        ck_assert_ran("advise --quiet --overwrite --into chains a.wav");
        FILE *file = fopen("chains/a.chain", i == 0 ? "r+" : "a");
        fputs(i == 0 ? "# My" : "  fader -3\n", file);
        fclose(file);
        check_refused("advise --quiet --into chains a.wav", 1, "chains/a.chain|edited|--overwrite");
    }
}
END_TEST

/* The trial is a file in a folder of its own, which is there while it lasts. */
START_TEST(a_trial_that_is_stopped_leaves_nothing) {
    use_bundles();
    sing_with(SINGER_WOMAN, 348, faults, TOGETHER);
    ck_assert_int_eq(mkdir("aside", 0700), 0);
    ck_assert_int_eq(setenv("TMPDIR", "aside", 1), 0);
    int null = open("/dev/null", O_WRONLY);
    pid_t process = start_program("advise --quiet take.wav", null, null, 0);
    while (count_files("aside") == 0 && waitpid(process, NULL, WNOHANG) == 0)
        usleep(1000);
    ck_assert_int_eq(count_files("aside"), 1);
    kill(process, SIGTERM);
    ck_assert_int_eq(finish_program(process), 1000 + SIGTERM);
    ck_assert_int_eq(count_files("aside"), 0);
    close(null);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("advise");
    tcase_add_test(tcase, no_figure_is_rounded_over_its_limit);
    tcase_add_test(tcase, settings_are_numbers_whatever_is_known);
    tcase_add_test(tcase, a_clean_take_gets_no_processor_and_stays_as_it_is);
    tcase_add_loop_test(tcase, each_fault_alone_is_found_and_mended, 0, FAULTS);
    tcase_add_test(tcase, all_faults_together_are_found_and_mended);
    tcase_add_test(tcase, buzz_is_hum_and_no_noise);
    tcase_add_test(tcase, loose_singing_is_corrected_and_told);
    tcase_add_test(tcase, what_fits_no_scale_is_left_to_the_hand);
    tcase_add_test(tcase, a_scale_is_set_where_it_is_known_and_holds_the_notes);
    tcase_add_test(tcase, what_no_processor_mends_is_told_and_gets_none);
    tcase_add_test(tcase, a_box_is_cut_where_it_is_and_broadly);
    tcase_add_test(tcase, boxes_side_by_side_are_all_cut);
    tcase_add_test(tcase, the_fader_takes_back_what_peaks_rose_by_and_no_more);
    tcase_add_test(tcase, pitch_and_room_are_judged_at_their_limits);
    tcase_add_test(tcase, every_rule_is_told_of_and_only_statements_stand_outside_comments);
    tcase_add_test(tcase, louder_breaths_are_turned_down_by_as_much_more);
    tcase_add_test(tcase, neither_gain_nor_a_second_channel_changes_what_is_advised);
    tcase_add_test(tcase, a_take_that_tells_nothing_gets_a_chain_that_renders);
    tcase_add_test(tcase, folders_are_advised_on_take_by_take_and_failures_are_told);
    tcase_add_test(tcase, what_cannot_be_is_refused_in_one_line);
    tcase_add_test(tcase, a_chain_is_whole_or_not_there);
    tcase_add_test(tcase, a_trial_that_is_stopped_leaves_nothing);
    return run_suite(tcase, "siskin advise");
}
