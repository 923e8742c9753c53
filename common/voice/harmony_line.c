/* SPDX-License-Identifier: ISC */
#include "voice/harmony_line.h"

#include <math.h>
#include <string.h>

void harmony_line_prepare(HarmonyLine *line, double rate_hz) {
    memset(line, 0, sizeof *line);
    line->ms_per_frame = (float)(1000.0 / rate_hz);
    note_aim_prepare(&line->aim, rate_hz);
}

void harmony_line_reset(HarmonyLine *line) {
    note_aim_reset(&line->aim);
    memset(&line->state, 0, sizeof line->state);
}

void harmony_line_set(HarmonyLine *line, const HarmonyLineParams *params) {
    line->params = *params;
    note_aim_set(&line->aim, &(NoteAimParams){.scale = params->scale,
                                              .tuning_hz = params->tuning_hz,
                                              .strength = 1.0f,
                                              .glide_ms = HARMONY_LINE_GLIDE_MS,
                                              .vibrato = 1.0f});
}

static HarmonyPeriod *period_of(HarmonyLine *line, uint64_t mark) {
    return &line->state.period[mark % PERIOD_MARKS_KEPT];
}

static float interval_over(const HarmonyLine *line, float aim) {
    int note = (int)aim;
    return (float)(scale_step(&line->params.scale, note, line->params.steps) - note);
}

/* Back from a mark through its run, no further than what is still kept. */
static bool before(HarmonyLine *line, uint64_t from, uint64_t *mark) {
    if (period_of(line, *mark)->first || *mark == 0 || from - *mark >= PERIOD_MARKS_KEPT / 2)
        return false;
    double ms =
        (period_of(line, from)->at - period_of(line, *mark - 1)->at) * (double)line->ms_per_frame;
    --*mark;
    return ms < (double)HARMONY_LINE_BACK_MS;
}

/* The periods before a run's first note was known. */
static void give_first_note(HarmonyLine *line, uint64_t from) {
    const HarmonyPeriod now = *period_of(line, from);
    for (uint64_t mark = from; before(line, from, &mark);) {
        period_of(line, mark)->aim = now.aim;
        period_of(line, mark)->interval = now.interval;
    }
}

/* The way that was sung from the note before to that of mark `from`. */
static void give_way_between(HarmonyLine *line, uint64_t from, const HarmonyPeriod *old) {
    const HarmonyPeriod now = *period_of(line, from);
    for (uint64_t mark = from; before(line, from, &mark);) {
        HarmonyPeriod *period = period_of(line, mark);
        float way = (period->note - old->aim) / (now.aim - old->aim);
        if (way <= HARMONY_LINE_LEFT || period->aim != old->aim)
            return;
        way = way > 1.0f ? 1.0f : way;
        period->interval = old->interval + way * (now.interval - old->interval);
        if (way > 0.5f)
            period->aim = now.aim;
    }
}

static void take(HarmonyLine *line, const PeriodMark *mark) {
    uint64_t number = line->state.count++;
    HarmonyPeriod *period = period_of(line, number);
    const HarmonyPeriod old = *period_of(line, number + PERIOD_MARKS_KEPT - 1);
    NoteAimed aimed = note_aim_step(&line->aim, mark->period, mark->likeness, mark->first);
    *period = (HarmonyPeriod){.at = mark->at,
                              .note = aimed.note,
                              .aim = aimed.aim,
                              .drawn = aimed.drawn,
                              .first = mark->first,
                              .away = line->aim.state.side != 0.0f,
                              .grown = line->aim.state.age_ms >= HARMONY_LINE_GROWN_MS};
    if (aimed.aim == 0.0f) {
        float nearest = (float)scale_nearest(&line->params.scale, aimed.centre);
        period->interval = interval_over(line, nearest);
        return;
    }
    period->interval = interval_over(line, aimed.aim);
    if (mark->first)
        return;
    if (old.aim == 0.0f)
        give_first_note(line, number);
    else if (old.aim != aimed.aim)
        give_way_between(line, number, &old);
}

void harmony_line_hear(HarmonyLine *line, const PeriodMarks *marks) {
    while (line->state.count < period_marks_count(marks))
        take(line, period_mark(marks, line->state.count));
}

float harmony_line_semitones(const HarmonyLine *line, uint64_t mark) {
    const HarmonyPeriod *here = &line->state.period[mark % PERIOD_MARKS_KEPT];
    const double until = here->at + (double)(HARMONY_LINE_AHEAD_MS / line->ms_per_frame);
    const double grown = here->at + (double)(HARMONY_LINE_GROWN_AHEAD_MS / line->ms_per_frame);
    float drawn = here->drawn;
    while (++mark < line->state.count) {
        const HarmonyPeriod *next = &line->state.period[mark % PERIOD_MARKS_KEPT];
        if (next->first || next->aim != here->aim || (next->away && next->at > until) ||
            next->at > (next->grown ? grown : until))
            break;
        drawn = next->drawn;
    }
    return here->interval + drawn;
}
