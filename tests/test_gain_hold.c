/* SPDX-License-Identifier: ISC */
#include "detect/gain_hold.h"
#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { STEPS = 3000, LATE = 20 };
static SceneKind at_once[STEPS], decided[STEPS]; /* voiced stands for sung */
static bool hisses[STEPS];

static SceneMoment moment(int i) {
    return (SceneMoment){.likeliest = at_once[i],
                         .sung = at_once[i] == SCENE_VOICED,
                         .hisses = hisses[i],
                         .kind = i < LATE ? SCENE_ROOM : decided[i - LATE]};
}

static bool is_sung(int i) {
    return at_once[i] == SCENE_VOICED;
}

/* What sounds at step i, when step `now` is the newest. */
static SceneKind sound_at(int i, int now, int behind) {
    SceneKind kind = i + LATE <= now && LATE <= behind ? decided[i] : at_once[i];
    if (is_sung(i))
        return SCENE_VOICED;
    return kind == SCENE_VOICED ? SCENE_VOICELESS : kind;
}

/* The rule of the header, by looking at the whole sequence. */
static bool may_move(int now, int behind) {
    int there = now - behind, next = there < 0 ? 0 : there, last = there - 1, breath = there;
    if (there < 0)
        breath = -1;
    while (next <= now && !is_sung(next))
        next++;
    while (last >= 0 && !is_sung(last))
        last--;
    while (breath >= 0 && sound_at(breath, now, behind) != SCENE_BREATH)
        breath--;
    SceneKind sounds = there < 0 ? SCENE_ROOM : sound_at(there, now, behind);
    if (sounds == SCENE_VOICELESS)
        return !hisses[there] && last >= 0 && next <= now && next - last <= behind;
    if (sounds == SCENE_ROOM)
        return next <= now && (breath < 0 || there - breath > GAIN_HOLD_TAIL);
    return sounds == SCENE_VOICED;
}

/* Kinds that last up to `longest` steps, decided as they are at once but for one in ten. */
static void fill(int longest, Random *random) {
    int left = 0;
    SceneKind now = SCENE_ROOM;
    for (int i = 0; i < STEPS; i++) {
        if (left-- == 0) {
            now = (SceneKind)random_below(random, SCENE_KINDS);
            left = (int)random_below(random, (size_t)longest);
        }
        decided[i] = now;
        at_once[i] = random_below(random, 10) ? now : (SceneKind)random_below(random, SCENE_KINDS);
        hisses[i] = random_below(random, 4) == 0;
    }
}

START_TEST(it_follows_the_rule_for_any_sequence_and_delay) {
    Random random = random_seeded(51);
    printf("seed 51\n");
    const size_t behinds[] = {0, 1, 5, 34, 34, GAIN_HOLD_MAX};
    for (int k = 0; k < 6; k++) {
        GainHold hold;
        gain_hold_prepare(&hold, behinds[k], LATE);
        fill(k % 2 ? 120 : 20, &random);
        for (int i = 0; i < STEPS; i++) {
            SceneMoment now = moment(i);
            ck_assert_int_eq(gain_hold_step(&hold, &now), may_move(i, (int)behinds[k]));
        }
    }
}
END_TEST

START_TEST(nothing_moves_before_the_first_voice) {
    const SceneMoment room = {.likeliest = SCENE_ROOM, .kind = SCENE_ROOM};
    const SceneMoment noise = {.likeliest = SCENE_VOICELESS, .kind = SCENE_ROOM};
    const SceneMoment voice = {.likeliest = SCENE_VOICED, .kind = SCENE_ROOM, .sung = true};
    GainHold hold;
    gain_hold_prepare(&hold, 34, LATE);
    for (int i = 0; i < 200; i++)
        ck_assert(!gain_hold_step(&hold, i % 2 ? &room : &noise));
    gain_hold_reset(&hold);
    ck_assert(!gain_hold_step(&hold, &room));
    ck_assert(gain_hold_step(&hold, &voice)); /* ahead of it there was the room */
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("gain_hold");
    tcase_add_test(tcase, it_follows_the_rule_for_any_sequence_and_delay);
    tcase_add_test(tcase, nothing_moves_before_the_first_voice);
    return run_tcase(tcase, "gain_hold");
}
