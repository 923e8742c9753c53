/* SPDX-License-Identifier: ISC */
/* The best of several takes. The test singer sings one song three times; into one phrase of one
 * take a fault is laid, and that phrase must never be chosen. */
#include "singer.h"
#include "siskin/edit/comp.h"
#include "siskin/edit/comp_list.h"
#include "siskin/edit/join.h"
#include "siskin/tests/run_siskin.h"

enum { RATE_HZ = 48000, TAKES = 3, PHRASES = 4 };

typedef struct {
    SingerParams params;
    SingerTake take[TAKES];
    Hearing hearing[TAKES];
    Comp comp;
} Session;

static SingerTake sing(const SingerParams *params, size_t t) {
    SingerParams own = *params;
    SingerTake take;
    own.again = 40 + t;
    own.loose_s = 0.02;
    ck_assert(singer_take(&own, &take));
    return take;
}

static Session begin(SingerVoice voice, uint64_t seed) {
    Session s = {.params = singer_params(voice, RATE_HZ, seed)};
    s.params.phrases = PHRASES;
    s.params.gap_clicks = s.params.word_clicks = 0.0;
    for (size_t t = 0; t < TAKES; t++)
        s.take[t] = sing(&s.params, t);
    return s;
}

static void end(Session *s) {
    for (size_t t = 0; t < TAKES; t++) {
        singer_free(&s->take[t]);
        hearing_free(&s->hearing[t]);
    }
    comp_free(&s->comp);
}

static void choose(Session *s) {
    CompTake takes[TAKES];
    for (size_t t = 0; t < TAKES; t++) {
        ck_assert(hearing_of(&s->hearing[t], s->take[t].mix, s->take[t].n, RATE_HZ));
        takes[t] = (CompTake){&s->hearing[t], s->take[t].mix, NULL, 0};
    }
    ck_assert(comp_choose(&s->comp, takes, TAKES));
}

static const SingerLabel *phrase_of(const SingerTake *take, size_t k) {
    for (size_t i = 0; i < take->n_labels; i++)
        if (take->labels[i].kind == SINGER_PHRASE && k-- == 0)
            return &take->labels[i];
    return NULL;
}

/* The section that a phrase lies in. */
static const CompSection *section_of(const Comp *comp, const SingerLabel *phrase) {
    for (size_t i = 0; i < comp->n; i++)
        if (comp->sections[i].end > phrase->start && comp->sections[i].start < phrase->end)
            return &comp->sections[i];
    return NULL;
}

/* ---- faults ---- */

typedef void Plant(Session *s, size_t t, const SingerLabel *phrase);

/* The same phrase, sung `cents` sharp. */
static void sing_sharp(Session *s, size_t t, const SingerLabel *phrase, double cents) {
    SingerParams other = s->params;
    other.note_hz.low *= pow(2.0, cents / 1200.0);
    other.note_hz.high *= pow(2.0, cents / 1200.0);
    SingerTake sharp = sing(&other, t);
    ck_assert_uint_eq(sharp.n, s->take[t].n);
    for (size_t i = phrase->start - 480; i < phrase->end + 480; i++)
        s->take[t].mix[i] = sharp.mix[i];
    singer_free(&sharp);
}

static void plant_sharp(Session *s, size_t t, const SingerLabel *phrase) {
    sing_sharp(s, t, phrase, 45.0);
}

static void plant_other_notes(Session *s, size_t t, const SingerLabel *phrase) {
    sing_sharp(s, t, phrase, 200.0);
}

static void plant_late(Session *s, size_t t, const SingerLabel *phrase) {
    size_t late = (size_t)(0.1 * RATE_HZ);
    float *mix = s->take[t].mix;
    memmove(mix + phrase->start + late - 960, mix + phrase->start - 960,
            (phrase->end - phrase->start + 960) * sizeof *mix);
    memcpy(mix + phrase->start - 960, s->take[t].stem[SINGER_STEM_ROOM] + phrase->start - 960,
           late * sizeof *mix);
}

static void plant_noise(Session *s, size_t t, const SingerLabel *phrase) {
    Random random = random_seeded(17 + t);
    double rms = signals_rms(s->take[t].mix + phrase->start, phrase->end - phrase->start);
    for (size_t i = phrase->start - 9600; i < phrase->end + 9600 && i < s->take[t].n; i++)
        s->take[t].mix[i] += (float)(0.03 * rms * random_normal(&random));
}

static void plant_clipping(Session *s, size_t t, const SingerLabel *phrase) {
    float *mix = s->take[t].mix;
    float top = 0.5f * (float)signals_peak(mix + phrase->start, phrase->end - phrase->start);
    for (size_t i = phrase->start; i < phrase->end; i++)
        mix[i] = fminf(fmaxf(mix[i], -top), top);
}

static void plant_soft(Session *s, size_t t, const SingerLabel *phrase) {
    for (size_t i = phrase->start; i < phrase->end; i++)
        s->take[t].mix[i] *= 0.4f;
}

static void plant_nothing(Session *s, size_t t, const SingerLabel *phrase) {
    for (size_t i = phrase->start - 960; i < phrase->end + 960; i++)
        s->take[t].mix[i] = s->take[t].stem[SINGER_STEM_ROOM][i];
}

static void plant_half(Session *s, size_t t, const SingerLabel *phrase) {
    for (size_t i = (phrase->start * 2 + phrase->end) / 3; i < phrase->end + 960; i++)
        s->take[t].mix[i] = s->take[t].stem[SINGER_STEM_ROOM][i];
}

/* What another song begins its first phrase with, in its place. */
static void plant_words(Session *s, size_t t, const SingerLabel *phrase) {
    SingerParams other = s->params;
    other.seed += 77;
    SingerTake song = sing(&other, t);
    const SingerLabel *first = phrase_of(&song, 0);
    plant_nothing(s, t, phrase);
    for (size_t i = 0; i < phrase->end - phrase->start && first->start + i < first->end; i++)
        s->take[t].mix[phrase->start + i] = song.mix[first->start + i];
    singer_free(&song);
}

static const struct {
    const char *name;
    Plant *plant;
} faults[] = {
    {"sharp", plant_sharp},     {"other notes", plant_other_notes}, {"late", plant_late},
    {"noise", plant_noise},     {"clipping", plant_clipping},       {"soft", plant_soft},
    {"missing", plant_nothing}, {"half of it", plant_half},         {"other words", plant_words},
};

START_TEST(a_faulty_phrase_is_never_chosen) {
    for (size_t f = 0; f < sizeof faults / sizeof *faults; f++) {
        Session s = begin(f % 2 ? SINGER_MAN : SINGER_WOMAN, 9500 + f / 3);
        size_t t = f % TAKES, k = f % PHRASES;
        const SingerLabel *phrase = phrase_of(&s.take[t], k);
        faults[f].plant(&s, t, phrase);
        choose(&s);
        ck_assert_uint_ge(s.comp.n, PHRASES);
        const CompSection *section = section_of(&s.comp, phrase);
        ck_assert_ptr_nonnull(section);
        ck_assert_msg(section->take != t, "%s in phrase %d of take %d: %.2f points", faults[f].name,
                      (int)k + 1, (int)t + 1, section->score[t].points);
        /* and it is told by more than the takes differ anyway */
        double best =
            fmin(section->score[(t + 1) % TAKES].points, section->score[(t + 2) % TAKES].points);
        ck_assert_msg(section->score[t].points >= best + 1.0, "%s: %.2f points against %.2f",
                      faults[f].name, section->score[t].points, best);
        end(&s);
    }
}
END_TEST

/* ---- joining ---- */

static void hear_all(Session *s, JoinTake *takes) {
    for (size_t t = 0; t < TAKES; t++) {
        if (!s->hearing[t].n)
            ck_assert(hearing_of(&s->hearing[t], s->take[t].mix, s->take[t].n, RATE_HZ));
        takes[t] = (JoinTake){&s->hearing[t], {s->take[t].mix, s->take[t].mix}, s->take[t].n};
    }
}

/* Phrases of takes 1, 2, 3, 1 in turn. */
static void turns(const Session *s, JoinPiece *pieces) {
    for (size_t k = 0; k < PHRASES; k++) {
        const SingerLabel *phrase = phrase_of(&s->take[k % TAKES], k);
        pieces[k] = (JoinPiece){phrase->start, phrase->end, k % TAKES};
    }
}

START_TEST(each_phrase_is_the_chosen_one_to_the_sample) {
    Session s = begin(SINGER_WOMAN, 9601);
    /* one room, so that nothing is to be filled */
    for (size_t t = 0; t < TAKES; t++)
        for (size_t i = 0; i < s.take[t].n; i++)
            s.take[t].mix[i] -= s.take[t].stem[SINGER_STEM_ROOM][i];
    JoinTake takes[TAKES];
    JoinPiece pieces[PHRASES];
    HostError error;
    hear_all(&s, takes);
    turns(&s, pieces);
    size_t n = s.take[0].n;
    float *out = calloc(n, sizeof *out);
    ck_assert_msg(join_takes(takes, TAKES, pieces, PHRASES, 1, &out, n, &error), "%s", error.text);
    for (size_t k = 0; k < PHRASES; k++)
        ck_assert(signals_same_bits(out + pieces[k].start, s.take[k % TAKES].mix + pieces[k].start,
                                    pieces[k].end - pieces[k].start));
    free(out);
    end(&s);
}
END_TEST

/* Takes 2 and 3 have rooms 6 and 12 dB softer. After joining, room tone beside phrases of any take
 * is as loud, within 1 dB. */
START_TEST(rooms_are_matched_within_a_decibel) {
    Session s = begin(SINGER_MAN, 9602);
    for (size_t t = 0; t < TAKES; t++) {
        float less = (float)pow(10.0, -6.0 * (double)t / 20.0) - 1.0f;
        for (size_t i = 0; i < s.take[t].n; i++)
            s.take[t].mix[i] += less * s.take[t].stem[SINGER_STEM_ROOM][i];
    }
    JoinTake takes[TAKES];
    JoinPiece pieces[PHRASES];
    HostError error;
    hear_all(&s, takes);
    turns(&s, pieces);
    size_t n = s.take[0].n;
    float *out = calloc(n, sizeof *out);
    ck_assert_msg(join_takes(takes, TAKES, pieces, PHRASES, 1, &out, n, &error), "%s", error.text);
    /* What was added within each phrase is the difference to its take. */
    double room = signals_rms_db(s.take[0].stem[SINGER_STEM_ROOM], n);
    for (size_t k = 0; k < PHRASES; k++) {
        double own =
            signals_rms_db(s.take[0].stem[SINGER_STEM_ROOM], n) - 6.0 * (double)(k % TAKES);
        double added =
            signals_difference_db(out + pieces[k].start, s.take[k % TAKES].mix + pieces[k].start,
                                  pieces[k].end - pieces[k].start);
        double sum = 10.0 * log10(pow(10.0, 0.1 * own) + pow(10.0, 0.1 * added));
        ck_assert_msg(fabs(sum - room) <= 1.0, "phrase %d: room at %.2f dB, not %.2f", (int)k + 1,
                      sum, room);
    }
    free(out);
    end(&s);
}
END_TEST

START_TEST(takes_without_a_common_rest_are_not_joined) {
    Session s = begin(SINGER_WOMAN, 9603);
    JoinTake takes[TAKES];
    HostError error;
    hear_all(&s, takes);
    const SingerLabel *phrase = phrase_of(&s.take[0], 1);
    size_t middle = (phrase->start + phrase->end) / 2, n = s.take[0].n;
    /* within a vowel */
    while (s.take[0].f0_hz[middle - 4800] <= 0.0f || s.take[0].f0_hz[middle + 4800] <= 0.0f ||
           s.take[0].f0_hz[middle] <= 0.0f)
        middle += 480;
    const JoinPiece pieces[] = {{0, middle, 0}, {middle, n, 1}};
    float *out = calloc(n, sizeof *out);
    ck_assert(!join_takes(takes, TAKES, pieces, 2, 1, &out, n, &error));
    ck_assert_ptr_nonnull(strstr(error.text, "share no rest of 60 ms"));
    free(out);
    end(&s);
}
END_TEST

/* ---- the command ---- */

static void write_takes(const Session *s) {
    for (size_t t = 0; t < TAKES; t++) {
        char path[16];
        snprintf(path, sizeof path, "take%d.wav", (int)t + 1);
        Sound sound = make_sound(1, (sf_count_t)s->take[t].n, RATE_HZ);
        memcpy(sound.audio, s->take[t].mix, s->take[t].n * sizeof(float));
        write_wav(path, &sound);
        free(sound.audio);
    }
}

START_TEST(a_phrase_with_clicks_is_not_chosen_and_the_list_says_why) {
    Session s = begin(SINGER_WOMAN, 9701);
    const SingerLabel *phrase = phrase_of(&s.take[1], 2);
    double peak = signals_peak(s.take[1].mix + phrase->start, phrase->end - phrase->start);
    for (size_t k = 0; k < 4; k++) {
        size_t at = phrase->start + (k + 1) * (phrase->end - phrase->start) / 6;
        singer_click(s.take[1].mix + at, 2400, RATE_HZ, 0.5 * peak, 90 + k);
    }
    write_takes(&s);
    ck_assert_ran("comp --quiet take1.wav take2.wav take3.wav out.wav");
    ck_assert_str_eq(ran.out, "");
    ck_assert_ran("comp take1.wav take2.wav take3.wav out.wav");
    const char *third = strstr(ran.out, "# phrase 3");
    ck_assert_ptr_nonnull(third);
    const char *take = strstr(third, "#   take 2");
    ck_assert_ptr_nonnull(take);
    ck_assert_msg(strncmp(take, "#   take 2:", 11) == 0, "chosen: %s", third);
    ck_assert_ptr_nonnull(strstr(take, "clicks: "));
    ck_assert(strstr(take, "clicks: ") < strchr(take, '\n'));
    end(&s);
}
END_TEST

START_TEST(an_edited_list_is_done) {
    Session s = begin(SINGER_MAN, 9702);
    write_takes(&s);
    ck_assert_ran("comp take1.wav take2.wav take3.wav out.wav");
    write_text("out.list", ran.out);
    ck_assert_ran("comp take1.wav take2.wav take3.wav again.wav --by out.list");
    Sound out = read_sound("out.wav"), again = read_sound("again.wav");
    ck_assert_int_eq(out.info.frames, again.info.frames);
    /* Times are written to a thousandth: a cut may move by a hop. */
    ck_assert_double_le(signals_difference_db(out.audio, again.audio, (size_t)out.info.frames),
                        -60.0);
    free(out.audio);
    free(again.audio);
    write_text("own.list", "0 1000 2  # all of it\n");
    ck_assert_ran("comp take1.wav take2.wav take3.wav own.wav --by own.list");
    Sound own = read_sound("own.wav");
    ck_assert(signals_same_bits(own.audio, s.take[1].mix, s.take[1].n));
    free(own.audio);
    end(&s);
}
END_TEST

START_TEST(mono_and_stereo_at_other_rates_go_together) {
    Session s = begin(SINGER_WOMAN, 9703);
    write_takes(&s);
    Sound sound = make_sound(2, (sf_count_t)s.take[0].n, 44100);
    for (size_t i = 0; i < 2 * s.take[0].n; i++)
        sound.audio[i] = s.take[0].mix[i / 2];
    write_wav("other.wav", &sound);
    free(sound.audio);
    ck_assert_ran("comp --quiet take1.wav other.wav out.wav");
    Sound out = read_sound("out.wav");
    ck_assert_int_eq(out.info.channels, 2);
    ck_assert_int_eq(out.info.samplerate, RATE_HZ);
    free(out.audio);
    end(&s);
}
END_TEST

START_TEST(what_cannot_be_comped_is_named) {
    Sound sound = make_sound(1, RATE_HZ, RATE_HZ);
    write_wav("silence.wav", &sound);
    write_wav("silence2.wav", &sound);
    free(sound.audio);
    write_text("bad.list", "0 1 3\n");
    write_text("half.list", "0 0.5 1.5\n");
    write_text("point.list", "0 1\n");
    check_refused("comp silence.wav out.wav", 2, "two takes or more");
    check_refused("comp silence.wav silence2.wav silence.wav", 2, "give another name");
    check_refused("comp silence.wav silence2.wav out.txt", 2, "does not end in");
    check_refused("comp --quiet silence.wav absent.wav out.wav", 1, "absent.wav");
    check_refused("comp --quiet silence.wav silence2.wav out.wav", 1, "no phrase was found");
    check_refused("comp silence.wav silence2.wav out.wav --by bad.list", 1,
                  "take 3; there are 1 to 2");
    check_refused("comp silence.wav silence2.wav out.wav --by half.list", 1, "take 1.5");
    check_refused("comp silence.wav silence2.wav out.wav --by point.list", 1, "FROM TO TAKE");
    ck_assert_int_ne(access("out.wav", F_OK), 0);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("comp");
    tcase_add_test(tcase, a_faulty_phrase_is_never_chosen);
    tcase_add_test(tcase, each_phrase_is_the_chosen_one_to_the_sample);
    tcase_add_test(tcase, rooms_are_matched_within_a_decibel);
    tcase_add_test(tcase, takes_without_a_common_rest_are_not_joined);
    tcase_add_test(tcase, a_phrase_with_clicks_is_not_chosen_and_the_list_says_why);
    tcase_add_test(tcase, an_edited_list_is_done);
    tcase_add_test(tcase, mono_and_stereo_at_other_rates_go_together);
    tcase_add_test(tcase, what_cannot_be_comped_is_named);
    return run_suite(tcase, "comp");
}
