/* SPDX-License-Identifier: ISC */
#include "siskin/edit/ride.h"

#include "measure/loudness.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double SOFT_S = 0.03, SOFT_DB = 6.0, LONGEST_MOVE_S = 1.0;
/* Consonants before the first and behind the last sung moment of a phrase belong to it. */
static const double BEGINNING_S = 0.25, ENDING_S = 0.12;
static const double LEAST_PART_S = 1.5, DIP_DB = 10.0, APART_DB = 8.0, DIP_S = 0.04;
static const double MOST_DOWN_DB = 3.0, SILENT_LUFS = -100.0;
static const double STEP_DB = 0.1; /* of a gain, as a person would write it */

static size_t hops_in(const Envelope *envelope, double seconds) {
    double hops = seconds / envelope->hop_s;
    return hops < 1.0 ? 1 : (size_t)lround(hops);
}

/* ---- levels ---- */

/* Mean power of the hops within the times that have `least` and more. */
static double mean_power(const Envelope *envelope, double from_s, double to_s, double least) {
    double sum = 0.0, n = 0.0;
    size_t last = envelope_hop(envelope, to_s);
    for (size_t i = envelope_hop(envelope, from_s); i < last; i++) {
        if ((double)envelope->power[i] < least)
            continue;
        sum += (double)envelope->power[i];
        n += 1.0;
    }
    return n > 0.0 ? sum / n : 0.0;
}

static double gated_lufs(const Envelope *envelope, double from_s, double to_s) {
    double gate = 0.1 * mean_power(envelope, from_s, to_s, 0.0); /* -10 LU */
    return loudness_from_power(mean_power(envelope, from_s, to_s, gate));
}

/* The hop with the least power in the `width` hops around it, from first..last - 1. */
static size_t softest(const Envelope *envelope, size_t first, size_t last, size_t width,
                      double *power) {
    size_t at = first;
    *power = INFINITY;
    for (size_t i = first; i < last; i++) {
        size_t from = i > width / 2 ? i - width / 2 : 0;
        size_t to = from + width < envelope->n ? from + width : envelope->n;
        double sum = 0.0, n = (double)(to - from);
        for (size_t k = from; k < to; k++)
            sum += (double)envelope->power[k];
        if (to > from && sum / n < *power) {
            *power = sum / n;
            at = i;
        }
    }
    return at;
}

/* ---- phrases that touch ---- */

/* What has no level is no phrase: its time goes to its neighbours. */
static void add_phrase(Ride *ride, const Envelope *envelope, double start_s, double end_s) {
    double lufs = gated_lufs(envelope, start_s, end_s);
    if (!(lufs > SILENT_LUFS))
        return;
    RidePhrase *phrase = text_grow(&ride->phrases, &ride->n, sizeof *phrase);
    *phrase = (RidePhrase){.start_s = start_s, .end_s = end_s, .lufs = lufs};
}

/* Where a phrase is best parted, or NAN. */
static double dip_of(const Envelope *envelope, double start_s, double end_s) {
    double power = 0.0;
    if (end_s - start_s < 2.0 * LEAST_PART_S)
        return (double)NAN;
    size_t first = envelope_hop(envelope, start_s + LEAST_PART_S);
    size_t last = envelope_hop(envelope, end_s - LEAST_PART_S);
    size_t at = softest(envelope, first, last, hops_in(envelope, DIP_S), &power);
    double at_s = ((double)at + 0.5) * envelope->hop_s;
    double before = gated_lufs(envelope, start_s, at_s), after = gated_lufs(envelope, at_s, end_s);
    bool is_dip = loudness_from_power(power) < fmin(before, after) - DIP_DB;
    return is_dip && fabs(before - after) >= APART_DB ? at_s : (double)NAN;
}

static void part_phrase(Ride *ride, const Envelope *envelope, const RidePhrase *phrase) {
    size_t first = ride->n;
    double start_s = phrase->start_s;
    for (;;) {
        double at_s = dip_of(envelope, start_s, phrase->end_s);
        if (isnan(at_s))
            break;
        /* The first half may hold another dip; a phrase is parted in a few places at most. */
        double again_s = dip_of(envelope, start_s, at_s);
        double first_s = isnan(again_s) ? at_s : again_s;
        add_phrase(ride, envelope, start_s, first_s);
        start_s = first_s;
    }
    add_phrase(ride, envelope, start_s, phrase->end_s);
    if (isnan(phrase->lufs))
        return;
    double off = phrase->lufs - gated_lufs(envelope, phrase->start_s, phrase->end_s);
    for (size_t i = first; i < ride->n; i++)
        ride->phrases[i].lufs += off;
}

/* ---- where the gain moves ---- */

/* Between the end of one phrase and the start of the next: the softest stretch. */
static void place_move(const Envelope *envelope, RidePhrase *before, RidePhrase *after) {
    size_t width = hops_in(envelope, SOFT_S), most = hops_in(envelope, LONGEST_MOVE_S) / 2;
    double gap_s = after->start_s - before->end_s;
    double from_s = before->end_s + fmin(ENDING_S, 0.25 * gap_s);
    double to_s = after->start_s - fmin(BEGINNING_S, 0.4 * gap_s);
    size_t first = envelope_hop(envelope, from_s) + 1; /* the next whole hop */
    size_t last = envelope_hop(envelope, to_s);
    double power = 0.0;
    if (last < first + width) { /* they touch */
        size_t middle = (first + last) / 2;
        first = middle > width / 2 ? middle - width / 2 : 0;
        last = first + width < envelope->n ? first + width : envelope->n;
    }
    size_t at = softest(envelope, first, last, width, &power);
    double limit = power * pow(10.0, SOFT_DB / 10.0);
    size_t from = at, to = at + 1;
    while (from > first && at - from < most &&
           (at - from < width / 2 || (double)envelope->power[from - 1] <= limit))
        from--;
    while (to < last && to - at < most &&
           (to - at < width / 2 || (double)envelope->power[to] <= limit))
        to++;
    before->to_s = (double)from * envelope->hop_s;
    after->from_s = (double)to * envelope->hop_s;
}

static void place_moves(Ride *ride, const Envelope *envelope) {
    ride->phrases[0].from_s = 0.0;
    ride->phrases[ride->n - 1].to_s = envelope->length_s;
    for (size_t i = 0; i + 1 < ride->n; i++)
        place_move(envelope, &ride->phrases[i], &ride->phrases[i + 1]);
}

/* All that a phrase's gain acts on, the moves at both of its ends with it. */
static void find_peaks(Ride *ride, const Envelope *envelope) {
    ride->peak_db = envelope_peak_db(envelope, 0, envelope->n);
    for (size_t i = 0; i < ride->n; i++) {
        RidePhrase *phrase = &ride->phrases[i];
        size_t first = i > 0 ? envelope_hop(envelope, ride->phrases[i - 1].to_s) : 0;
        size_t last =
            i + 1 < ride->n ? envelope_hop(envelope, ride->phrases[i + 1].from_s) + 1 : envelope->n;
        phrase->peak_db = envelope_peak_db(envelope, first, last);
    }
}

/* ---- gains ---- */

static double gain_for(const Ride *ride, const RidePhrase *phrase, const RideParams *params,
                       double target_lufs) {
    double wish = params->strength * (target_lufs - phrase->lufs);
    double gain = fmax(-params->range_db, fmin(params->range_db, wish));
    gain = fmin(gain, ride->peak_db - phrase->peak_db);
    return floor(gain / STEP_DB) * STEP_DB; /* down: a bound stays one */
}

/* The mean by sung time; lowered, by a little, to what every phrase can reach. */
static double own_target(const Ride *ride, const RideParams *params) {
    double sum = 0.0, time = 0.0, lowest = INFINITY;
    for (size_t i = 0; i < ride->n; i++) {
        double length = ride->phrases[i].end_s - ride->phrases[i].start_s;
        sum += length * ride->phrases[i].lufs;
        time += length;
    }
    double mean = sum / time;
    for (size_t i = 0; i < ride->n; i++) {
        const RidePhrase *phrase = &ride->phrases[i];
        double reach = phrase->lufs + fmin(params->range_db, ride->peak_db - phrase->peak_db);
        lowest = fmin(lowest, reach);
    }
    return fmax(fmin(mean, lowest), mean - MOST_DOWN_DB);
}

static double spread_of(const Ride *ride, double share) {
    double sum = 0.0, squares = 0.0, n = (double)ride->n;
    for (size_t i = 0; i < ride->n; i++)
        sum += ride->phrases[i].lufs + share * ride->phrases[i].gain_db;
    for (size_t i = 0; i < ride->n; i++) {
        double off = ride->phrases[i].lufs + share * ride->phrases[i].gain_db - sum / n;
        squares += off * off;
    }
    return ride->n > 1 ? sqrt(squares / (n - 1.0)) : 0.0;
}

static void set_gains(Ride *ride, const RideParams *params) {
    const double near_db = 1.5 * STEP_DB;
    ride->target_lufs = isnan(params->target_lufs) ? own_target(ride, params) : params->target_lufs;
    ride->result_peak_db = -INFINITY;
    for (size_t i = 0; i < ride->n; i++) {
        RidePhrase *phrase = &ride->phrases[i];
        phrase->gain_db = gain_for(ride, phrase, params, ride->target_lufs);
        phrase->held =
            fabs(phrase->gain_db - params->strength * (ride->target_lufs - phrase->lufs)) > near_db;
        ride->result_peak_db = fmax(ride->result_peak_db, phrase->peak_db + phrase->gain_db);
    }
    ride->spread_db = spread_of(ride, 0.0);
    ride->left_db = spread_of(ride, 1.0);
}

void ride_plan(Ride *ride, const Envelope *envelope, const RidePhrase *phrases, size_t n,
               const RideParams *params) {
    *ride = (Ride){.peak_db = -INFINITY, .result_peak_db = -INFINITY};
    for (size_t i = 0; i < n; i++)
        part_phrase(ride, envelope, &phrases[i]);
    if (ride->n == 0)
        return;
    place_moves(ride, envelope);
    find_peaks(ride, envelope);
    set_gains(ride, params);
}

void ride_free(Ride *ride) {
    free(ride->phrases);
    *ride = (Ride){0};
}

void ride_lane(const Ride *ride, Lane *lane) {
    *lane = (Lane){.name = text_copy("ride"), .line = true};
    lane->points = text_take(2 * ride->n + 1, sizeof *lane->points);
    for (size_t i = 0; i < ride->n; i++) {
        const RidePhrase *phrase = &ride->phrases[i];
        lane->points[lane->n++] = (LanePoint){phrase->from_s, phrase->gain_db};
        lane->points[lane->n++] = (LanePoint){phrase->to_s, phrase->gain_db};
    }
}
