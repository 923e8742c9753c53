/* SPDX-License-Identifier: ISC */
#include "singer_work.h"

#include <stdlib.h>
#include <string.h>

size_t singer_grid(double s) {
    return (size_t)(s * SINGER_CONTROL_HZ + 0.5);
}

/* Replaces a curve by its mean under a raised cosine of `width` points: what moves takes time. */
static void smooth(double *curve, size_t stride, size_t n, size_t width, double *scratch) {
    for (size_t i = 0; i < n; i++)
        scratch[i] = curve[i * stride];
    for (size_t i = 0; i < n; i++) {
        double sum = 0.0, weight = 0.0;
        for (size_t k = 0; k <= width; k++) {
            size_t at = i + k;
            if (at < width / 2 || at - width / 2 >= n)
                continue;
            double w = 0.5 - 0.5 * cos(2.0 * PI * ((double)k + 0.5) / (double)(width + 1));
            sum += w * scratch[at - width / 2];
            weight += w;
        }
        curve[i * stride] = sum / weight;
    }
}

double singer_mixed(double man, double woman, double womanhood) {
    return man * pow(woman / man, womanhood);
}

static void formants_of(const SingerParams *params, const Sound *sound, double note_hz,
                        double *formant) {
    for (int k = 0; k < 3; k++)
        formant[k] = singer_mixed(sound->man[k], sound->woman[k], params->womanhood);
    formant[3] = singer_mixed(3500.0, 4100.0, params->womanhood);
    formant[4] = singer_mixed(4500.0, 5100.0, params->womanhood);
    /* A singer opens the jaw so that the first formant does not fall below the pitch (Sundberg, The
     * Science of the Singing Voice, 1987; from memory). */
    formant[0] = fmax(formant[0], 1.05 * note_hz);
    formant[1] = fmax(formant[1], formant[0] + 200.0);
}

/* Formants and pitch of every grid point: steps first. Silence keeps the next sound's. */
static void draw_steps(const Plan *plan, Control *control, size_t n) {
    size_t at = 0;
    double formant[SINGER_FORMANTS] = {0.0};
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        const Sound *sound = segment->sound;
        for (size_t k = i; !sound && k < plan->segments; k++)
            sound = plan->segment[k].sound;
        if (sound)
            formants_of(plan->params, sound, segment->note_hz, formant);
        if (sound && segment->kind == SINGER_H) /* /h/ has the shape of its vowel */
            formants_of(plan->params, plan->segment[segment->vowel].sound, segment->note_hz,
                        formant);
        size_t end = i + 1 == plan->segments ? n : singer_grid(segment->end_s);
        for (; at < end && at < n; at++) {
            memcpy(control[at].formant, formant, sizeof formant);
            control[at].pitch = log2(segment->note_hz);
        }
    }
}

static bool is_voiced(const Segment *segment) {
    return segment->kind == SINGER_VOICED || segment->kind == SINGER_Z;
}

/* Does segment i begin where the one before it ends? The first of a phrase does not. */
static bool is_tied(const Plan *plan, size_t i) {
    return i > 0 && i < plan->segments &&
           plan->segment[i].start_s < plan->segment[i - 1].end_s + 1e-6;
}

/* Voiced segments i..end-1 follow each other without a pause; returns end. */
static size_t voiced_run(const Plan *plan, size_t i) {
    size_t end = i;
    while (end < plan->segments && is_voiced(&plan->segment[end]) &&
           (end == i || is_tied(plan, end)))
        end++;
    return end;
}

double singer_fade(double t, double length) {
    if (t <= 0.0)
        return 0.0;
    return t >= length ? 1.0 : 0.5 - 0.5 * cos(PI * t / length);
}

/* The steps of amplitude within a run are smoothed at the end of draw_voicing; the run's own fades
 * are kept apart so that voicing is exactly nothing outside the label. */
static void draw_voicing(const Plan *plan, Control *control, double *envelope, size_t n) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x766f6963));
    double noise = pow(10.0, plan->params->aspiration_db / 20.0);
    for (size_t i = 0; i < plan->segments;) {
        size_t end = voiced_run(plan, i);
        if (end == i) {
            i++;
            continue;
        }
        const Segment *first = &plan->segment[i], *last = &plan->segment[end - 1];
        /* Nothing sounds before it: the voice may set in slowly. */
        bool open = !is_tied(plan, i) || plan->segment[i - 1].kind == SINGER_GAP;
        bool soft = open && first->soft_start;
        double attack_s = soft ? random_range(&random, 0.04, 0.12) : first->attack_s;
        for (size_t k = i; k < end; k++) {
            const Segment *segment = &plan->segment[k];
            for (size_t at = singer_grid(segment->start_s);
                 at < singer_grid(segment->end_s) && at < n; at++)
                control[at].voicing = segment->sound->level * segment->effort;
        }
        for (size_t at = singer_grid(first->start_s); at < singer_grid(last->end_s) && at < n;
             at++) {
            double t = (double)at / SINGER_CONTROL_HZ;
            double rise = singer_fade(t - first->start_s, attack_s);
            double fall = singer_fade(last->end_s - t, last->decay_s);
            /* Letting go of a note: squared, so that it ends quietly. */
            envelope[at] = rise * fall * fall;
            control[at].aspiration = noise * envelope[at];
            if (soft)
                control[at].aspiration +=
                    0.1 * rise * (1.0 - singer_fade(t - first->start_s, 0.16));
        }
        i = end;
    }
}

/* No voice holds a level: a slow unrest of about 1 dB, and each vowel swells and sinks. */
static void draw_unrest(const Plan *plan, double *envelope, size_t n) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x756e7265));
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        double swell_db = random_range(&random, 1.0, 5.0), top = random_range(&random, 0.2, 0.6);
        if (!segment->sound || !singer_is_vowel(segment->sound))
            continue;
        for (size_t at = singer_grid(segment->start_s); at < singer_grid(segment->end_s) && at < n;
             at++) {
            double x = ((double)at / SINGER_CONTROL_HZ - segment->start_s) /
                       (segment->end_s - segment->start_s);
            double away = x < top ? (top - x) / top : (x - top) / (1.0 - top);
            envelope[at] *= pow(10.0, -swell_db * away * away / 20.0);
        }
    }
    double drift = 0.0;
    for (size_t at = 0; at < n; at++) {
        drift += 0.01 * (14.0 * random_normal(&random) - drift); /* 1 dB deviation, tau 0.1 s */
        envelope[at] *= pow(10.0, drift / 20.0);
    }
}

static void draw_aspiration(const Plan *plan, Control *control, size_t n) {
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        double peak = segment->kind == SINGER_H        ? 0.12
                      : singer_is_burst(segment->kind) ? 0.06
                                                       : 0.0;
        double start_s = segment->start_s, end_s = segment->end_s;
        if (singer_is_burst(segment->kind)) /* after the burst, and into the vowel */
            start_s += 0.5 * segment->burst_s;
        for (size_t at = singer_grid(start_s); peak > 0.0 && at < singer_grid(end_s) && at < n;
             at++) {
            double t = (double)at / SINGER_CONTROL_HZ;
            double shape = singer_fade(t - start_s, 0.02) * singer_fade(end_s - t, 0.015);
            control[at].aspiration += peak * shape * segment->effort;
        }
    }
}

/* Vibrato grows on a held note; a slow drift never stops. */
static void draw_vibrato(const Plan *plan, Control *control, size_t n, double *scratch) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x7669626f));
    double phase = random_range(&random, 0.0, 2.0 * PI);
    for (size_t at = 0; at < n; at++)
        scratch[at] = 0.0;
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        if (!segment->sound || !singer_is_vowel(segment->sound))
            continue;
        for (size_t at = singer_grid(segment->start_s); at < singer_grid(segment->end_s) && at < n;
             at++)
            scratch[at] = singer_fade((double)at / SINGER_CONTROL_HZ - segment->start_s - 0.1, 0.3);
    }
    double drift = 0.0;
    for (size_t at = 0; at < n; at++) {
        double hz =
            plan->params->vibrato_hz * (1.0 + 0.05 * sin(0.7 * (double)at / SINGER_CONTROL_HZ));
        phase += 2.0 * PI * hz / SINGER_CONTROL_HZ;
        drift += 0.004 * (6.0 * random_normal(&random) * 11.0 - drift); /* cents, tau 0.25 s */
        double cents = plan->params->vibrato_cents * scratch[at] * sin(phase) + 0.15 * drift;
        control[at].pitch += cents / 1200.0;
    }
}

bool singer_draw(const Plan *plan, Control *control, size_t n) {
    double *scratch = calloc(2 * n, sizeof *scratch);
    if (!scratch)
        return false;
    double *envelope = scratch + n;
    const size_t stride = sizeof *control / sizeof(double);
    draw_steps(plan, control, n);
    for (int k = 0; k < SINGER_FORMANTS; k++)
        smooth(&control[0].formant[k], stride, n, 60, scratch);
    smooth(&control[0].pitch, stride, n, 100, scratch);
    draw_vibrato(plan, control, n, scratch);
    draw_voicing(plan, control, envelope, n);
    smooth(&control[0].voicing, stride, n, 24, scratch);
    draw_unrest(plan, envelope, n);
    for (size_t i = 0; i < n; i++)
        control[i].voicing *= envelope[i];
    draw_aspiration(plan, control, n);
    free(scratch);
    return true;
}
