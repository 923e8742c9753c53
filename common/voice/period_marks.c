/* SPDX-License-Identifier: ISC */
#include "voice/period_marks.h"

#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

/* Periodic by YIN's usual threshold, and a little more, since a run is checked by r besides. */
static const float PERIODIC = 0.15f;
/* Of the low band: -75 dBFS; and of what a run has been. */
static const float LEAST_POWER = 3e-8f, LEAST_OF_LOUDEST = 1e-4f;
/* Readings that differ by less are of one note; by more than the second, of another. */
static const float ALIKE = 0.06f, OTHER = 0.2f;
static const double SHORTEST_WINDOW_S = 3e-3;
static const double HIGH_HZ = 2500.0;
/* Of the way to the centre of the energy, by a period: this times its depth; of a period, at
 * most. */
static const double SLIDE = 0.4, SLIDE_MOST = 0.05;

enum { MOST_AT_A_TICK = 2, MOST_AT_ONCE = 64, MOST_LAGS = 112, BESIDE = 3 };

bool period_marks_prepare(PeriodMarks *marks, double rate_hz, double reach_ms, Arena *arena) {
    const PitchRange range = {50.0, 1500.0};
    *marks = (PeriodMarks){.lowest_hz = range.lowest_hz, .highest_hz = range.highest_hz};
    if (!pitch_prepare(&marks->pitch, rate_hz, &range, arena))
        return false;
    size_t ticks = (size_t)fmax(1.0, rint(1e-3 * marks->pitch.low_rate_hz));
    marks->tick = ticks * marks->pitch.decimation;
    marks->smooth = (float)one_pole_coefficient(1000.0 / (2.0 * PI * HIGH_HZ), rate_hz);
    marks->reach = (size_t)(reach_ms * 1e-3 * rate_hz);
    marks->low = arena_take(arena, (size_t)2 * PERIOD_MARKS_LOW, sizeof(float));
    return marks->low != NULL && energy_windows_prepare(&marks->windows, arena);
}

void period_marks_reset(PeriodMarks *marks) {
    pitch_reset(&marks->pitch);
    memset(marks->low, 0, (size_t)2 * PERIOD_MARKS_LOW * sizeof(float));
    memset(&marks->state, 0, sizeof marks->state);
}

void period_marks_set_range(PeriodMarks *marks, double lowest_hz, double highest_hz) {
    marks->lowest_hz = lowest_hz;
    marks->highest_hz = highest_hz;
}

/* ---- the low band ---- */

static const float *low_at(const PeriodMarks *marks, int64_t place) {
    return marks->low + ((size_t)place % PERIOD_MARKS_LOW);
}

/* What pitch.h has made of the last frames. */
static void keep_low(PeriodMarks *marks, size_t values) {
    const float *past = pitch_low_band(&marks->pitch);
    for (size_t i = values; i-- > 0;) {
        size_t to = (size_t)marks->state.newest % PERIOD_MARKS_LOW;
        marks->low[to] = marks->low[to + PERIOD_MARKS_LOW] = past[i];
        marks->state.newest++;
    }
}

/* The frame that a value of the low band is of: pitch.h's low-pass is 8 values long. */
static double frame_of(const PeriodMarks *marks, double place) {
    return (place - 3.0) * (double)marks->pitch.decimation - 0.5;
}

static double place_of(const PeriodMarks *marks, double frame) {
    return (frame + 0.5) / (double)marks->pitch.decimation + 3.0;
}

static double frames_in(const PeriodMarks *marks, double values) {
    return values * (double)marks->pitch.decimation;
}

static void follow_high(PeriodMarks *marks, const float *in, size_t n) {
    float lowered = marks->state.lowered, sum = marks->state.high_now;
    for (size_t i = 0; i < n; i++) {
        lowered = one_pole_step(lowered, in[i], marks->smooth);
        float high = in[i] - lowered;
        sum += high * high;
    }
    marks->state.lowered = lowered;
    marks->state.high_now = sum;
}

static void keep_high(PeriodMarks *marks) {
    size_t tick = (size_t)(marks->state.frames / (int64_t)marks->tick) % PERIOD_MARKS_TICKS;
    marks->state.high[tick] = marks->state.high_now / (float)marks->tick;
    marks->state.high_now = 0.0f;
}

/* Whether there is a sibilant at this place, over a low band of that power. */
static bool hisses(const PeriodMarks *marks, double place, float power) {
    int64_t tick = (int64_t)fmax(0.0, frame_of(marks, place)) / (int64_t)marks->tick;
    float high = 0.0f;
    for (int64_t k = tick > 0 ? tick - 1 : 0; k <= tick + 1; k++)
        high += marks->state.high[k % PERIOD_MARKS_TICKS] / 3.0f;
    return high > PERIOD_MARKS_HISS * power;
}

/* ---- from one mark to the next ---- */

typedef struct {
    double lag;  /* values of the low band, > 0 */
    float r;     /* likeness there */
    float power; /* around the mark that was asked from */
} Step;

static int64_t half_window(const PeriodMarks *marks, double period) {
    return (int64_t)ceil(0.5 * fmax(period, SHORTEST_WINDOW_S * marks->pitch.low_rate_hz));
}

static double margin(double period) {
    return fmax(2.0, ceil(PERIOD_MARKS_SEARCH * period));
}

static float sum_of_products(const float *a, const float *b, size_t n) {
    size_t whole = n / 8 * 8;
    float sum = maths_dot(a, b, whole);
    for (size_t i = whole; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Where between the lags r is highest, from r[-BESIDE..BESIDE] around the highest of them. Half-way
 * to the next lags by Lagrange's interpolation of the fifth degree, then a parabola: of one through
 * whole lags the error is 8 times as large, and it adds up along the chain. */
static double refine(const float *r) {
    double here = (double)r[0], beside[2];
    for (int k = 0; k < 2; k++) {
        const float *a = r - k;
        beside[k] = (150.0 * ((double)a[0] + (double)a[1]) - 25.0 * ((double)a[-1] + (double)a[2]) +
                     3.0 * ((double)a[-2] + (double)a[3])) /
                    256.0;
    }
    double bend = beside[1] - 2.0 * here + beside[0], slope = beside[1] - beside[0];
    return bend < 0.0 ? fmax(-0.5, fmin(0.5, 0.25 * slope / bend)) : 0.0;
}

/* The period after the mark at `place` (direction 1) or before it (-1), expected to be `period`
 * long. */
static Step look(const PeriodMarks *marks, double place, double period, int direction) {
    const int64_t from = (int64_t)floor(place + 0.5), half = half_window(marks, period);
    const int64_t about = (int64_t)floor(period + 0.5), wide = (int64_t)margin(period);
    const int64_t least = about - wide - BESIDE;
    const size_t n = (size_t)(2 * half + 1), lags = (size_t)(2 * (wide + BESIDE) + 1);
    size_t best = BESIDE;
    const float *x = low_at(marks, from - half);
    float r[MOST_LAGS] = {0.0f}, own = sum_of_products(x, x, n);
    for (size_t i = 0; i < lags; i++) {
        const float *y = low_at(marks, from - half + direction * (least + (int64_t)i));
        float other = sum_of_products(y, y, n);
        r[i] = sum_of_products(x, y, n) / sqrtf(own * other + 1e-30f);
        best = i > BESIDE && r[i] > r[best] && i + BESIDE < lags ? i : best;
    }
    return (Step){(double)least + (double)best + refine(r + best), r[best], own / (float)n};
}

/* A lag that no note has: a chain of short periods, whose lags are few, would be drawn on to 0,
 * where all is alike. */
static bool too_short(const PeriodMarks *marks, double lag) {
    return lag < PERIOD_MARKS_SHORTEST * marks->pitch.low_rate_hz / PERIOD_MARKS_HIGHEST_HZ;
}

/* The newest place from which the next mark can be looked for. */
static double newest_place(const PeriodMarks *marks, double period) {
    return (double)(marks->state.newest - 2 - BESIDE - half_window(marks, period)) - period -
           margin(period);
}

static EnergyCentre centre_about(const PeriodMarks *marks, double place, double period) {
    double whole = floor(place);
    return energy_centre(&marks->windows, low_at(marks, (int64_t)whole), place - whole, period);
}

/* From where the chain would have the next mark. */
static double slide(const PeriodMarks *marks, double place, double period) {
    EnergyCentre centre = centre_about(marks, place, period);
    double share = SLIDE * centre.depth * centre.after;
    return period * fmax(-SLIDE_MOST, fmin(SLIDE_MOST, share));
}

static void push(PeriodMarks *marks, double place, double period, float likeness, bool first) {
    marks->state.slid = first ? 0.0 : marks->state.slid + place - marks->state.mark - period;
    marks->state.kept[marks->state.count % PERIOD_MARKS_KEPT] =
        (PeriodMark){.at = frame_of(marks, place),
                     .period = frames_in(marks, period),
                     .slid = frames_in(marks, marks->state.slid),
                     .likeness = likeness,
                     .first = first};
    marks->state.count++;
    marks->state.mark = place;
    marks->state.period = period;
}

static void end_run(PeriodMarks *marks) {
    marks->state.kept[(marks->state.count - 1) % PERIOD_MARKS_KEPT].last = true;
    marks->state.in_run = false;
    marks->state.alike = marks->state.unlike = 0;
}

/* Marks forwards for as much sound as there is; false: the run is over. */
static bool go_on(PeriodMarks *marks, int most) {
    while (most-- > 0 && marks->state.mark <= newest_place(marks, marks->state.period)) {
        Step step = look(marks, marks->state.mark, marks->state.period, 1);
        marks->state.loudest = maths_larger(marks->state.loudest, step.power);
        if (!(step.r >= PERIOD_MARKS_LEAST) || too_short(marks, step.lag) ||
            step.power < LEAST_POWER || step.power < LEAST_OF_LOUDEST * marks->state.loudest ||
            hisses(marks, marks->state.mark + step.lag, step.power))
            return false;
        double to = slide(marks, marks->state.mark, step.lag);
        push(marks, marks->state.mark + step.lag + to, step.lag, step.r, false);
    }
    return true;
}

/* ---- where a run begins ---- */

/* The last place from which the next mark can be looked for where a period's energy is centred;
 * where that is too old to be of use, the first that is. */
static double first_place(const PeriodMarks *marks, double period, double usable) {
    double newest = newest_place(marks, period), place = newest - 0.5 * period;
    place += period * centre_about(marks, place, period).after;
    double oldest = place_of(marks, usable) + 0.5 * period + 0.01;
    return fmin(newest, fmax(oldest, place));
}

/* A run that begins where the last one ended, within a period and a half, goes on with it: a
 * consonant or a knock had broken the chain, not the voice. */
static bool join(PeriodMarks *marks, double place, double period) {
    if (marks->state.count == 0 || place - marks->state.mark > 1.6 * period)
        return false;
    marks->state.kept[(marks->state.count - 1) % PERIOD_MARKS_KEPT].last = false;
    return true;
}

static void begin(PeriodMarks *marks) {
    double period = marks->pitch.low_rate_hz / (double)marks->state.last_hz;
    double place[MOST_AT_ONCE], lag[MOST_AT_ONCE],
        oldest = (double)marks->state.newest - 0.5 * PERIOD_MARKS_LOW;
    float likeness[MOST_AT_ONCE];
    size_t n = 0;
    double usable = (double)(marks->state.frames - (int64_t)marks->reach);
    if (marks->state.count > 0) /* the run before is not marked twice */
        usable = fmax(usable, period_mark(marks, marks->state.count - 1)->at);
    place[0] = first_place(marks, period, usable);
    Step step = look(marks, place[0], period, 1);
    if (!(step.r >= PERIOD_MARKS_BEGIN) || too_short(marks, step.lag) || step.power < LEAST_POWER ||
        hisses(marks, place[0], step.power) || frame_of(marks, place[0] - 0.5 * period) < usable)
        return;
    likeness[0] = step.r;
    marks->state.loudest = step.power;
    period = step.lag;
    for (double p = period; n + 1 < MOST_AT_ONCE; n++) {
        step = look(marks, place[n], p, -1);
        double before = place[n] - step.lag + slide(marks, place[n], step.lag);
        if (!(step.r >= PERIOD_MARKS_LEAST) || too_short(marks, step.lag) ||
            step.power < LEAST_OF_LOUDEST * marks->state.loudest ||
            hisses(marks, before, step.power) ||
            frame_of(marks, before - 0.5 * step.lag) < usable || before - 2.0 * step.lag < oldest)
            break;
        place[n + 1] = before;
        likeness[n + 1] = step.r;
        lag[n + 1] = p = step.lag;
    }
    lag[0] = period;
    bool joined = join(marks, place[n], lag[n]);
    push(marks, place[n], joined ? place[n] - marks->state.mark : lag[n], likeness[n], !joined);
    for (; n > 0; n--)
        push(marks, place[n - 1], lag[n], likeness[n - 1], false);
    marks->state.period = period;
    marks->state.in_run = true;
    if (!go_on(marks, MOST_AT_ONCE))
        end_run(marks);
}

/* ---- readings ---- */

static void take_reading(PeriodMarks *marks) {
    PitchReading reading = pitch_reading(&marks->pitch);
    bool periodic = reading.aperiodicity < PERIODIC && reading.power > LEAST_POWER &&
                    reading.hz >= (float)marks->lowest_hz && reading.hz <= (float)marks->highest_hz;
    float last = marks->state.last_hz;
    bool alike = periodic && fabsf(reading.hz - last) < ALIKE * last;
    marks->state.last_hz = periodic ? reading.hz : 0.0f;
    marks->state.alike = alike ? marks->state.alike + 1 : 0;
    float run_hz = (float)(marks->pitch.low_rate_hz / fmax(2.0, marks->state.period));
    bool unlike = periodic && fabsf(reading.hz - run_hz) > OTHER * run_hz;
    marks->state.unlike = unlike ? marks->state.unlike + 1 : 0;
}

static void step_tick(PeriodMarks *marks) {
    if (marks->state.read)
        take_reading(marks);
    if (marks->state.in_run) {
        if (marks->state.unlike >= 3 || !go_on(marks, MOST_AT_A_TICK))
            end_run(marks);
    } else if (marks->state.read && marks->state.alike >= 1) {
        begin(marks);
    }
    marks->state.read = false;
}

bool period_marks_process(PeriodMarks *marks, const float *in, size_t n) {
    const size_t decimation = marks->pitch.decimation;
    size_t before = marks->state.filled, after = before + n;
    follow_high(marks, in, n);
    for (size_t at = 0; at < n;) {
        size_t now = pitch_until(&marks->pitch);
        now = now < n - at ? now : n - at;
        size_t values = (before + at + now) / decimation - (before + at) / decimation;
        marks->state.read |= pitch_process(&marks->pitch, in + at, now);
        keep_low(marks, values);
        at += now;
    }
    marks->state.filled = after;
    if (after < marks->tick)
        return false;
    marks->state.filled = 0;
    keep_high(marks);
    marks->state.frames += (int64_t)marks->tick;
    step_tick(marks);
    return true;
}
