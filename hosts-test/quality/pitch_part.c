/* SPDX-License-Identifier: ISC */
/* Pitch: voice-shift an octave either way, and pitch-corrector at strength 100, glide 20, the rest
 * at its defaults, on sung takes, whose true pitch is known. What came out is read by pitch.h every
 * 5 ms where the take has been voiced for 25 ms either way.
 *
 * Off: of what should have come out, cents; of corrected notes, their median from the scale's
 * nearest note. Elsewhere: readings over 6 semitones off. Octave faults of the corrector: those of
 * them where what came out repeats with the period read and what went in does not. Envelope: third
 * octaves from 400 Hz to 8 kHz of the whole take, level taken out, root mean square of what they
 * moved. /s/ changed: what differs within /s/ and /sh/, 10 ms off their ends, against what is
 * there. Vibrato kept: how far the pitch that came out follows the pitch sung within notes of 0.4 s
 * and more, by least squares. */
#include "quality/quality.h"

#include "voice/pitch.h"

#include <math.h>
#include <stdlib.h>

enum { BANDS = 13, MOST_NOTE = 4000 };

typedef struct {
    size_t n;
    double *sung, *heard; /* MIDI notes; 0 where either is not voiced */
    size_t *at;           /* frames */
} Curve;

static void curve_free(Curve *curve) {
    free(curve->sung);
    free(curve->heard);
    free(curve->at);
}

static double note_of(double hz) {
    return hz > 0.0 ? 69.0 + 12.0 * log2(hz / 440.0) : 0.0;
}

static bool voiced_around(const Voice *voice, size_t at) {
    size_t wide = (size_t)(0.025 * voice->rate_hz), step = wide / 25 + 1;
    if (at < wide || at + wide >= voice->n)
        return false;
    for (size_t t = at - wide; t < at + wide; t += step)
        if (voice->take.f0_hz[t] <= 0.0f)
            return false;
    return true;
}

/* false: no memory. */
static bool read_curve(const Voice *voice, const float *out, Curve *curve) {
    static unsigned char memory[1 << 17];
    Arena arena = arena_over(memory, sizeof memory);
    Pitch pitch;
    size_t most = (size_t)((double)voice->n / voice->rate_hz * 220.0) + 2;
    size_t late = (size_t)(PITCH_WINDOW_MS * 1e-3 * voice->rate_hz);
    *curve = (Curve){0, calloc(most, sizeof(double)), calloc(most, sizeof(double)),
                     calloc(most, sizeof(size_t))};
    if (!curve->sung || !curve->heard || !curve->at ||
        !pitch_prepare(&pitch, voice->rate_hz, &(PitchRange){45.0, 1500.0}, &arena))
        return false;
    pitch_reset(&pitch);
    for (size_t at = 0, now; at < voice->n && curve->n < most; at += now) {
        now = pitch_until(&pitch);
        now = now < voice->n - at ? now : voice->n - at;
        if (!pitch_process(&pitch, out + at, now) || at + now < late)
            continue;
        PitchReading reading = pitch_reading(&pitch);
        size_t then = at + now - late, k = curve->n++;
        curve->at[k] = then;
        if (voiced_around(voice, then) && reading.aperiodicity < 0.2f) {
            curve->sung[k] = note_of((double)voice->take.f0_hz[then]);
            curve->heard[k] = note_of((double)reading.hz);
        }
    }
    return true;
}

static double envelope_moved(const Voice *voice, const float *out) {
    double moved[BANDS], mean = 0.0, sum = 0.0;
    for (int b = 0; b < BANDS; b++) {
        double low = 400.0 * exp2(b / 3.0), high = low * exp2(1.0 / 3.0);
        moved[b] = signals_band_db(out, voice->n, voice->rate_hz, low, high) -
                   signals_band_db(voice->audio, voice->n, voice->rate_hz, low, high);
        mean += moved[b] / BANDS;
    }
    for (int b = 0; b < BANDS; b++)
        sum += (moved[b] - mean) * (moved[b] - mean) / BANDS;
    return sqrt(sum);
}

static double hiss_changed(const Voice *voice, const float *out) {
    size_t edge = (size_t)(0.01 * voice->rate_hz);
    double difference = 1e-30, power = 1e-20;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *label = &voice->labels[i];
        if (label->kind != SINGER_S && label->kind != SINGER_SH)
            continue;
        for (size_t t = label->start + edge; t + edge < label->end; t++) {
            double x = (double)voice->audio[t], y = (double)out[t];
            difference += (y - x) * (y - x);
            power += x * x;
        }
    }
    return 10.0 * log10(difference / power);
}

/* ---- all voices together ---- */

typedef struct {
    Samples off, faults, envelope, hiss, vibrato;
} Figures;

static void figures_free(Figures *f) {
    samples_free(&f->off);
    samples_free(&f->faults);
    samples_free(&f->envelope);
    samples_free(&f->hiss);
    samples_free(&f->vibrato);
}

static void judge_moved(const Curve *curve, double semitones, Figures *f) {
    for (size_t k = 0; k < curve->n; k++)
        if (curve->sung[k] > 0.0) {
            double off = fabs(curve->heard[k] - curve->sung[k] - semitones);
            samples_add(&f->off, 100.0 * off);
            samples_add(&f->faults, off > 6.0 ? 100.0 : 0.0);
        }
}

/* Slope of heard over sung within one note. */
static double kept(const Curve *curve, size_t from, size_t to) {
    double n = 0.0, sung = 0.0, heard = 0.0, both = 0.0, square = 0.0;
    for (size_t k = from; k < to; k++)
        if (curve->sung[k] > 0.0) {
            n += 1.0;
            sung += curve->sung[k];
            heard += curve->heard[k];
            both += curve->sung[k] * curve->heard[k];
            square += curve->sung[k] * curve->sung[k];
        }
    double spread = square - sung * sung / fmax(n, 1.0);
    /* 5 cents of movement at least */
    return spread > 0.0025 * n ? (both - sung * heard / n) / spread : (double)NAN;
}

static void judge_note(const Voice *voice, const Curve *curve, size_t start, size_t end,
                       Figures *f) {
    double note[MOST_NOTE], s = 1.0 / voice->rate_hz;
    size_t n = 0, from = curve->n, to = 0;
    for (size_t k = 0; k < curve->n; k++)
        if ((double)curve->at[k] * s > (double)start * s + 0.1 &&
            (double)curve->at[k] * s < (double)end * s - 0.02 && curve->sung[k] > 0.0 &&
            n < MOST_NOTE) {
            note[n++] = curve->heard[k];
            from = k < from ? k : from;
            to = k + 1;
        }
    if (n < 5)
        return;
    double middle = signals_quantile(note, n, 0.5);
    samples_add(&f->off, 100.0 * fabs(middle - rint(middle)));
    double follows = (double)(end - start) * s > 0.4 ? kept(curve, from, to) : (double)NAN;
    if (!isnan(follows))
        samples_add(&f->vibrato, 100.0 * follows);
}

/* Voiced labels of one pitch that lie side by side are one note. */
static void judge_notes(const Voice *voice, const Curve *curve, Figures *f) {
    const SingerLabel *begun = NULL;
    size_t end = 0;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *label = &voice->labels[i];
        if (label->kind != SINGER_VOICED)
            continue;
        if (begun && label->start <= end + 1 && label->value == begun->value) {
            end = label->end;
            continue;
        }
        if (begun)
            judge_note(voice, curve, begun->start, end, f);
        begun = label;
        end = label->end;
    }
    if (begun)
        judge_note(voice, curve, begun->start, end, f);
}

static double period_at(double note, double rate_hz) {
    return rate_hz / (440.0 * exp2((note - 69.0) / 12.0));
}

/* How far x differs from itself one period later, over 24 ms around `at`: 0 the same, 1 unrelated,
 * 2 upside down. The period is the best within 1.5 semitones of the note, since the corrector may
 * have moved it by one. */
static double differs(const float *x, size_t n, size_t at, double note, double rate_hz) {
    size_t window = (size_t)(0.024 * rate_hz), from = (size_t)period_at(note + 1.5, rate_hz),
           to = (size_t)ceil(period_at(note - 1.5, rate_hz));
    double least = 2.0;
    for (size_t period = from; period <= to; period++) {
        size_t half = (window + period) / 2;
        if (at < half || at - half + window + period > n)
            continue;
        const float *now = x + at - half, *later = now + period;
        double difference = 0.0, power = 1e-20;
        for (size_t t = 0; t < window; t++) {
            double d = (double)now[t] - (double)later[t];
            difference += d * d;
            power += (double)now[t] * (double)now[t] + (double)later[t] * (double)later[t];
        }
        least = fmin(least, difference / power);
    }
    return least;
}

/* Does x, the voice's own sound or what came out, repeat with the period read at k? An octave down:
 * the double fits better than the period sung. An octave up: what repeats at half the period
 * repeats at the whole one, too, so the half needs only to fit as well but for the odd partials, of
 * which an octave may leave 2.5 % of the power (pitch.h asks 1 %). Given voice-shift an octave up
 * and down in the corrector's place, 97 and 91 % of the readings count as faults. */
static bool repeats_as_read(const Voice *voice, const float *x, const Curve *curve, size_t k) {
    double sung = differs(x, voice->n, curve->at[k], curve->sung[k], voice->rate_hz);
    double read = differs(x, voice->n, curve->at[k], curve->heard[k], voice->rate_hz);
    return read < sung + (curve->heard[k] > curve->sung[k] ? 0.05 : 0.0);
}

/* The reader hears the low band alone and takes the best of all lags: now and then it hears twice
 * the period where breath or a glide makes that fit by chance, or half of it where a formant lifts
 * a harmonic and the odd partials are next to nothing in the voice itself. So the whole band
 * decides, in what came out and in what went in. Returns how many readings were the reader's own.
 *
 * Praat 6.3 (To Pitch (cc), 60 to 1400 Hz) was given the six held-out singers outside of this: of
 * 25014 readings of voice none that was right before the corrector was an octave off after it. */
static size_t judge_faults(const Voice *voice, const float *out, const Curve *curve, Figures *f) {
    size_t of_reader = 0;
    for (size_t k = 0; k < curve->n; k++) {
        if (curve->sung[k] <= 0.0)
            continue;
        bool off = fabs(curve->heard[k] - curve->sung[k]) > 6.0;
        bool fault = off && repeats_as_read(voice, out, curve, k) &&
                     !repeats_as_read(voice, voice->audio, curve, k);
        of_reader += off && !fault;
        samples_add(&f->faults, fault ? 100.0 : 0.0);
    }
    return of_reader;
}

/* One setting over all sung voices; semitones NAN: notes are judged. */
static void judge(Quality *quality, const QualityRun *setting, double semitones, Figures *f) {
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        if (voice->recorded)
            continue;
        float *out = calloc(voice->n + 1, sizeof *out);
        QualityRun run = *setting;
        Curve curve = {0};
        run.rate_hz = voice->rate_hz;
        run.in = voice->audio;
        run.out = out;
        run.n = voice->n;
        if (out && quality_render(quality, &run) && read_curve(voice, out, &curve)) {
            if (isnan(semitones)) {
                judge_notes(voice, &curve, f);
                size_t of_reader = judge_faults(voice, out, &curve, f);
                quality_note(quality, 1, "  %-22s %zu octave faults are the reader's own",
                             voice->name, of_reader);
            } else {
                judge_moved(&curve, semitones, f);
            }
            samples_add(&f->envelope, envelope_moved(voice, out));
            samples_add(&f->hiss, hiss_changed(voice, out));
            quality_note(quality, 1, "  %-22s %s: envelope %.2f dB, /s/ %.1f dB, so far off %.1f",
                         voice->name, run.plugin, envelope_moved(voice, out),
                         hiss_changed(voice, out), samples_quantile(&f->off, 0.5));
        } else {
            quality->broken = true;
        }
        curve_free(&curve);
        free(out);
    }
}

static void row(Quality *quality, const char *what, const char *unit, double figure,
                QualityBound bound, double target) {
    quality_row(quality, what, unit, (Figure){figure, (double)NAN}, bound, target);
}

static void shifted(Quality *quality, float semitones, const char *off, const char *faults,
                    const char *envelope) {
    const QualitySetting setting = {"semitones", semitones};
    Figures f = {0};
    judge(quality, &(QualityRun){.plugin = "voice-shift", .settings = &setting, .n_settings = 1},
          (double)semitones, &f);
    row(quality, off, "cents", samples_quantile(&f.off, 0.5), QUALITY_AT_MOST, 8.0);
    row(quality, faults, "%", samples_mean(&f.faults), QUALITY_AT_MOST, 3.0);
    row(quality, envelope, "dB", samples_quantile(&f.envelope, 1.0), QUALITY_AT_MOST, 4.0);
    figures_free(&f);
}

static void corrected(Quality *quality) {
    const QualitySetting settings[] = {{"strength", 100.0f}, {"glide", 20.0f}};
    Figures f = {0};
    judge(quality,
          &(QualityRun){.plugin = "pitch-corrector", .settings = settings, .n_settings = 2},
          (double)NAN, &f);
    row(quality, "pitch corrector: notes off, median", "cents", samples_quantile(&f.off, 0.5),
        QUALITY_AT_MOST, 6.0);
    row(quality, "pitch corrector: notes off, 90 %", "cents", samples_quantile(&f.off, 0.9),
        QUALITY_AT_MOST, 10.0);
    row(quality, "pitch corrector: octave faults", "%", samples_mean(&f.faults), QUALITY_AT_MOST,
        0.0);
    row(quality, "pitch corrector: envelope moved, most", "dB", samples_quantile(&f.envelope, 1.0),
        QUALITY_AT_MOST, 1.5);
    row(quality, "pitch corrector: /s/ changed, most", "dB", samples_quantile(&f.hiss, 1.0),
        QUALITY_AT_MOST, -40.0);
    row(quality, "pitch corrector: vibrato kept, median", "%", samples_quantile(&f.vibrato, 0.5),
        QUALITY_AT_LEAST, 90.0);
    figures_free(&f);
}

static void rows(Quality *quality) {
    shifted(quality, 12.0f, "voice shift: off, octave up", "voice shift: elsewhere, octave up",
            "voice shift: envelope moved, octave up, most");
    shifted(quality, -12.0f, "voice shift: off, octave down", "voice shift: elsewhere, octave down",
            "voice shift: envelope moved, octave down, most");
    corrected(quality);
}

extern const QualityPart quality_pitch;
const QualityPart quality_pitch = {
    .name = "pitch", .bundle = "pitch-corrector", .run = rows, .voices = true};
