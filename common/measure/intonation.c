/* SPDX-License-Identifier: ISC */
#include "measure/intonation.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double COUNTS_FROM_S = 0.1; /* a shorter note is a passing one */
static const double STEADY_FROM_S = 0.2, STEADY_CENTS_A_SECOND = 200.0;
static const double STILL_FROM_S = 0.15, STILL_CENTS_A_SECOND = 60.0; /* counts half */
static const double DRIFT_STEP = 4.0, LEAST_DRIFT = 25.0;
enum { DRIFT_STEPS = 50 };             /* 200 cents either way */
static const double CHANCE = 3.0;      /* of n |Z|^2 */
static const double CHANCE_440 = 1.35; /* of n V^2 */
static const double ANYWHERE = 25.0;   /* mean distance of anything from the nearest semitone */
static const double MEAN_SIZE = 0.798; /* sqrt(2 / pi): of a normal error, in deviations */
static const double MANY = 8.0;        /* notes that make half sure */

typedef struct {
    double re, im, weight, squares; /* sums */
} Circle;

static double length_of(const SungNote *note) {
    return note->end_s - note->start_s;
}

static double middle_of(const SungNote *note) {
    return 0.5 * (note->start_s + note->end_s);
}

static bool counts(const SungNote *note) {
    return length_of(note) >= COUNTS_FROM_S;
}

static Circle turn_by(const SungNote *notes, size_t n, double from_s, double cents_a_second) {
    Circle circle = {0.0, 0.0, 0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        if (!counts(&notes[i]))
            continue;
        double cents = 100.0 * notes[i].midi - cents_a_second * (middle_of(&notes[i]) - from_s);
        double weight = length_of(&notes[i]);
        circle.re += weight * cos(2.0 * PI * cents / 100.0);
        circle.im += weight * sin(2.0 * PI * cents / 100.0);
        circle.weight += weight;
        circle.squares += weight * weight;
    }
    return circle;
}

/* How many notes of one length would be as much evidence (Kish, Survey Sampling, 1965). */
static double count_of(const Circle *circle) {
    return circle->weight * circle->weight / circle->squares;
}

static double strength_of(const Circle *circle) {
    return hypot(circle->re, circle->im) / circle->weight;
}

static double evidence_of(const Circle *circle) {
    double strength = strength_of(circle);
    return count_of(circle) * strength * strength;
}

static void find_shares(const SungNote *notes, size_t n, double voiced_s, Intonation *in) {
    for (size_t i = 0; voiced_s > 0.0 && i < n; i++) {
        double length_s = length_of(&notes[i]), share = length_s / voiced_s;
        double slope = fabs(notes[i].drift_cents) / length_s, moves = slope / STILL_CENTS_A_SECOND;
        bool steady = length_s >= STEADY_FROM_S && slope < STEADY_CENTS_A_SECOND;
        in->steady += steady ? share : 0.0;
        in->clear += steady ? share * notes[i].confidence : 0.0;
        if (length_s >= STILL_FROM_S)
            in->still += share * notes[i].confidence / (1.0 + moves * moves);
    }
}

static Circle find_drift(const SungNote *notes, size_t n, Intonation *in) {
    double span_s = middle_of(&notes[n - 1]) - in->from_s;
    Circle still = turn_by(notes, n, in->from_s, 0.0), best = still;
    for (int i = -DRIFT_STEPS; i <= DRIFT_STEPS; i++) {
        double drift = DRIFT_STEP * i;
        if (fabs(drift) < LEAST_DRIFT || !(span_s > 0.0))
            continue;
        Circle circle = turn_by(notes, n, in->from_s, drift / span_s);
        if (evidence_of(&circle) < evidence_of(&still) + INTONATION_GAIN ||
            evidence_of(&circle) <= evidence_of(&best))
            continue;
        best = circle;
        in->drift_cents = drift;
        in->cents_a_second = drift / span_s;
    }
    return best;
}

double intonation_apart_cents(const Intonation *in, const SungNote *note) {
    double drifted = in->cents_a_second * (middle_of(note) - in->from_s);
    return remainder(100.0 * note->midi - drifted - in->tuning_cents, 100.0);
}

double intonation_error_cents(const Intonation *in, const SungNote *note) {
    return intonation_apart_cents(in, note) + in->cents_a_second * (middle_of(note) - in->from_s);
}

/* Mean size of the errors, and the error of that mean. */
static void measure_errors(const SungNote *notes, size_t n, double count, Intonation *in) {
    double mean = 0.0, square = 0.0, far = 0.0, weight = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (!counts(&notes[i]))
            continue;
        double size = fabs(intonation_error_cents(in, &notes[i]));
        mean += length_of(&notes[i]) * size;
        square += length_of(&notes[i]) * size * size;
        far += size > INTONATION_FAR_CENTS ? length_of(&notes[i]) : 0.0;
        weight += length_of(&notes[i]);
    }
    in->far_off = far / weight;
    in->off_cents = mean / weight;
    in->give_cents = sqrt(fmax(0.0, square / weight - in->off_cents * in->off_cents) / count);
}

/* What folding at half a semitone hides. */
static void unfold(const Circle *circle, Intonation *in) {
    double count = count_of(circle), evidence = evidence_of(circle);
    double along = circle->re / circle->weight;
    in->at_least = evidence < CHANCE;
    in->fits = !in->at_least || (along > 0.0 && count * along * along >= CHANCE_440);
    if (in->at_least) {
        in->off_cents = fmax(in->off_cents, ANYWHERE);
        return;
    }
    double r2 = fmin(1.0, (evidence - 1.0) / (count - 1.0));
    double deviation = 100.0 / (2.0 * PI) * sqrt(-log(r2));
    in->off_cents = fmax(in->off_cents, MEAN_SIZE * deviation);
}

static bool is_sung(const Intonation *in, const Circle *circle) {
    return in->steady >= INTONATION_STEADY || in->still >= INTONATION_STILL ||
           (in->clear >= INTONATION_CLEAR && evidence_of(circle) >= INTONATION_AGREES);
}

void intonation_find(const SungNote *notes, size_t n, double voiced_s, Intonation *intonation) {
    Intonation in = {.sung = false};
    size_t many = 0;
    double sure = 0.0;
    *intonation = in;
    for (size_t i = 0; i < n; i++)
        if (counts(&notes[i])) {
            many++;
            sure += notes[i].confidence;
        }
    if (many == 0)
        return;
    find_shares(notes, n, voiced_s, &in);
    in.from_s = middle_of(&notes[0]);
    Circle circle = find_drift(notes, n, &in);
    in.sung = is_sung(&in, &circle);
    in.known = in.sung && many >= INTONATION_FEWEST;
    if (!in.known) {
        *intonation = (Intonation){
            .sung = in.sung, .steady = in.steady, .clear = in.clear, .still = in.still};
        return;
    }
    in.tuning_cents = 100.0 * atan2(circle.im, circle.re) / (2.0 * PI);
    measure_errors(notes, n, count_of(&circle), &in);
    unfold(&circle, &in);
    in.confidence = sure / (double)many * (double)many / ((double)many + MANY);
    *intonation = in;
}
