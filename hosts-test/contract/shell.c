/* SPDX-License-Identifier: ISC */
/* What the shell adds to every plugin: the reported latency, off, audition; and what follows from
 * there being two channels and one gain. */
#include "contract/contract.h"
#include "contract/whiten.h"

#include "signals.h"

#include <float.h>
#include <lv2/core/lv2.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Half a unit in the last place of 1.0f: the relative error of one rounded operation. */
static const double HALF_ULP = 1.0 / (1 << 24);

static const double CROSSFADE_S = 0.020;

static uint32_t audition_index(const HostPlugin *plugin) {
    const HostPort *port = host_port(plugin, "audition");
    return port ? port->index : 0;
}

static bool has_switches(const Subject *subject, HostError *why) {
    return (subject->plugin->enabled && host_port(subject->plugin, "audition") &&
            subject->plugin->latency) ||
           host_fail(why, "it has no control designated enabled, none named audition, or reports "
                          "no latency");
}

/* ---- latency ---- */

static bool latency_steady(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    if (!has_switches(subject, why))
        return false;
    for (size_t i = 0; i < count; i++) {
        Stimulus stimulus = contract_stimulus(subject);
        Response r;
        if (!contract_play_new(subject, &settings[i], &stimulus, &r, why))
            return false;
        if (!r.latency_whole)
            return host_fail(why, "%s: it reports a latency of %g frames", settings[i].name,
                             (double)r.meter[subject->plugin->latency->index]);
        if (r.events_at_latency_change != SIZE_MAX)
            return host_fail(why,
                             "%s: %zu frames reported before the first frame, %g later, and no "
                             "control moved",
                             settings[i].name, r.latency,
                             (double)r.meter[subject->plugin->latency->index]);
    }
    return true;
}

/* The same controls report the same latency, whatever they were before. */
static bool latency_of_controls_alone(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    HostInstance *old = contract_instance(subject, NULL, why);
    if (!old || !has_switches(subject, why))
        return false;
    Stimulus stimulus = contract_stimulus(subject);
    for (size_t i = 0; i < count; i++) {
        contract_apply(old, &settings[i]);
        Response moved = contract_play(old, &stimulus), fresh;
        if (!contract_play_new(subject, &settings[i], &stimulus, &fresh, why))
            return false;
        float end = moved.meter[subject->plugin->latency->index];
        if (end != (float)fresh.latency)
            return host_fail(why, "%s: %zu frames when new, %g when set while running",
                             settings[i].name, fresh.latency, (double)end);
    }
    host_free(old);
    return true;
}

static double correlation(const float *a, const float *b, size_t n) {
    double sum = 0.0;
    for (size_t t = 0; t < n; t++)
        sum += (double)a[t] * (double)b[t];
    return sum;
}

/* How like a noise the output is, delay frames later: 1 where it is the noise. */
static double likeness(const float *out, const float *noise, size_t n, size_t delay) {
    double rms = signals_rms(noise, n) * signals_rms(out + delay, n);
    return rms > 0.0 ? fabs(correlation(noise, out + delay, n)) / ((double)n * rms) : 0.0;
}

/* What is known of a delay that is to be the reported one, or up to `own` frames more. */
typedef struct {
    size_t n;                     /* frames compared */
    size_t around, reported, own; /* looked for that far on both sides */
} Delay;

/* Is the output like the noise, within what is allowed, as a peak half as high as the highest? A
 * filter that leaves two bands at one level has two such peaks, as late as each band is. */
static bool peaks_within(const float *out, const float *noise, const Delay *d, double highest) {
    bool peak = false;
    for (size_t at = d->reported > 0 ? d->reported : 1; at <= d->reported + d->own; at++) {
        double here = likeness(out, noise, d->n, at);
        peak |= here >= 0.5 * highest && here >= likeness(out, noise, d->n, at - 1) &&
                here >= likeness(out, noise, d->n, at + 1);
    }
    return peak;
}

/* Where within 3 ms of the reported latency the output is most like a noise that went in must be
 * the reported latency; a reason when it is not, or when it is like it nowhere: n independent
 * frames correlate by 1/sqrt(n) at random, six times that is asked for.
 * out has reported + around + n frames. */
static bool noise_in_time(const float *out, const float *noise, const Delay *d, HostError *why) {
    double most = -1.0;
    size_t found = 0;
    for (size_t at = d->reported > d->around ? d->reported - d->around : 0;
         at <= d->reported + d->around; at++) {
        double here = likeness(out, noise, d->n, at);
        found = here > most ? at : found;
        most = fmax(here, most);
    }
    if (most <= 6.0 / sqrt((double)d->n))
        return host_fail(why,
                         "%zu frames reported, but within 3 ms of that the output is not like the "
                         "input (likeness %.3f)",
                         d->reported, most);
    bool as_said = found >= d->reported && found <= d->reported + d->own;
    return as_said || (d->own > 0 && peaks_within(out, noise, d, most)) ||
           host_fail(why, "%zu frames reported, %zu measured", d->reported, found);
}

/* The same for a plugin that takes noise away: the voice is what comes through, and whitened it is
 * as sharp in time. */
static bool voice_in_time(const float *out, const float *in, const Delay *d, HostError *why) {
    size_t all = d->reported + d->around + d->n;
    float *in_new = contract_frames(d->n), *out_new = contract_frames(all);
    memcpy(in_new, in, d->n * sizeof *in);
    memcpy(out_new, out, all * sizeof *out);
    Whiten predictor = whiten_of(in, d->n);
    whiten(&predictor, in_new, d->n);
    whiten(&predictor, out_new, all);
    return noise_in_time(out_new, in_new, d, why);
}

/* Frames that a filter may be late by itself: the delay that goes with any low-pass is part of its
 * sound, and no host could make up for it at all frequencies. 60 us, a little more than a
 * fourth-order Butterworth low-pass at 8 kHz has below its corner: 2.61 / (2 pi 8000) = 52 us; or 4
 * frames, as bands are that sum to an all-pass at an eighth of the rate: 2.83 / (2 pi / 8) =
 * 3.6. */
static size_t own_delay(const Subject *subject) {
    return contract_may(subject, "filter") ? (size_t)fmax(4.0, ceil(60e-6 * subject->rate_hz)) : 0;
}

/* A noise 10 dB under the take passes through with it. Whatever gains and filters do to it, the
 * direct path is where the output looks most like the noise that went in, or the voice, where a
 * plugin leaves no noise: that delay must be the reported one, to the frame. */
static bool latency_as_measured(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    if (contract_may(subject, "sound anew"))
        return true;
    Subject every = *subject;
    every.thorough = true; /* the whole take: a latency may be half a second */
    Stimulus stimulus = contract_stimulus(&every);
    size_t frames = stimulus.frames, from = frames / 4;
    size_t n = frames / 2 < 32768 ? frames / 2 : 32768, around = (size_t)(3e-3 * subject->rate_hz);
    float *noise = contract_frames(frames), *in = contract_frames(frames);
    Random random = random_seeded(contract_seed() + 3);
    /* At high rates louder, so that there is as much of it in the band that a low-pass leaves. */
    double level = 0.3 * fmax(1.0, sqrt(subject->rate_hz / 48000.0));
    signals_noise(noise, frames, level * signals_rms(stimulus.in[0], frames), &random);
    memcpy(in, stimulus.in[0], frames * sizeof *in);
    signals_add(in, noise, frames);
    for (size_t c = 0; c < subject->plugin->n_in; c++)
        stimulus.in[c] = in;
    for (size_t i = 0; i < count; i++) {
        Response r;
        HostError reason;
        if (!contract_play_new(subject, &settings[i], &stimulus, &r, why))
            return false;
        Delay d = {n, around, r.latency, own_delay(subject)};
        if (from + d.reported + around + n > frames)
            return host_fail(why, "%s: a latency of %zu frames", settings[i].name, d.reported);
        if (!noise_in_time(r.out[0] + from, noise + from, &d, &reason) &&
            !voice_in_time(r.out[0] + from, in + from, &d, &reason))
            return host_fail(why, "%s: %s", settings[i].name, reason.text);
    }
    return true;
}

/* ---- off ---- */

static bool delayed_exactly(const Stimulus *stimulus, const Response *r, size_t channels,
                            size_t from, HostError *why, const char *what) {
    for (size_t c = 0; c < channels; c++)
        for (size_t t = from; t < stimulus->frames; t++) {
            float expected = contract_delayed(stimulus, c, r->latency, t);
            if (!signals_same_bits(&expected, &r->out[c][t], 1))
                return host_fail(why,
                                 "%s: frame %zu of output %zu is %.9g, the input %zu frames "
                                 "earlier %.9g",
                                 what, t, c, (double)r->out[c][t], r->latency, (double)expected);
        }
    return true;
}

static bool off_is_delayed_input(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    if (!has_switches(subject, why))
        return false;
    for (size_t i = 0; i < count; i++) {
        for (size_t late = 0; late < 2; late++) { /* off from the start, or later */
            Stimulus stimulus = contract_stimulus(subject);
            Event off = {late ? stimulus.frames / 3 : 0, subject->plugin->enabled->index, 0.0f};
            size_t fade = (size_t)ceil(CROSSFADE_S * subject->rate_hz);
            Response r;
            stimulus.events = &off;
            stimulus.n_events = 1;
            if (!contract_play_new(subject, &settings[i], &stimulus, &r, why) ||
                !delayed_exactly(&stimulus, &r, subject->plugin->n_out, late ? off.frame + fade : 0,
                                 why, settings[i].name))
                return false;
        }
    }
    return true;
}

static size_t latency_at(const Subject *subject, const HostPort *port, float value) {
    size_t latency = 0;
    HostInstance *instance = contract_instance(subject, NULL, NULL);
    if (!instance)
        return 0;
    host_set(instance, port->symbol, value, NULL);
    host_run(instance, 0, NULL, NULL, NULL);
    host_latency(instance, &latency, NULL);
    host_free(instance);
    return latency;
}

/* Off, while the control goes from its lowest to its highest and back: two crossfades after each
 * move (one may have to wait for another) the input comes with the latency that is reported then.
 */
static bool off_follows(const Subject *subject, const HostPort *port, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    size_t third = stimulus.frames / 3, fades = (size_t)ceil(2.0 * CROSSFADE_S * subject->rate_hz);
    const float values[] = {port->minimum, port->maximum, port->minimum};
    Event events[4] = {{0, subject->plugin->enabled->index, 0.0f}};
    for (size_t i = 0; i < 3; i++)
        events[1 + i] = (Event){i * third, port->index, values[i]};
    stimulus.events = events;
    stimulus.n_events = 4;
    Response r;
    if (!contract_play_new(subject, NULL, &stimulus, &r, why))
        return false;
    for (size_t i = 0; i < 3; i++) {
        size_t latency = latency_at(subject, port, values[i]);
        for (size_t t = i * third + fades; t < (i + 1) * third; t++) {
            float expected = contract_delayed(&stimulus, 0, latency, t);
            if (!signals_same_bits(&expected, &r.out[0][t], 1))
                return host_fail(why,
                                 "'%s' moved to %g: frame %zu is %.9g, the input %zu frames "
                                 "earlier %.9g",
                                 port->symbol, (double)values[i], t, (double)r.out[0][t], latency,
                                 (double)expected);
        }
    }
    return true;
}

static bool off_follows_latency(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    if (!has_switches(subject, why))
        return false;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        if (contract_own_control(plugin, port) &&
            latency_at(subject, port, port->minimum) != latency_at(subject, port, port->maximum) &&
            !off_follows(subject, port, why))
            return false;
    }
    return true;
}

/* ---- crossfades ---- */

/* The weight of a crossfade that a switch at frame `events[k].frame` turns the other way. */
typedef struct {
    long length, at;
    bool up;
} Weight;

static double weight_step(Weight *w, bool up) {
    w->up = up;
    if (w->up && w->at < w->length)
        w->at++;
    else if (!w->up && w->at > 0)
        w->at--;
    return (double)w->at / (double)w->length;
}

/* Switches of one control at odd times: at rest, within a crossfade, and twice within one. */
static size_t switches(const Subject *subject, uint32_t port, bool first, Event *events) {
    static const double seconds[] = {0.3013, 0.5027, 0.509, 0.8, 0.803, 0.806, 1.1, 1.5, 1.5101};
    bool up = first;
    for (size_t i = 0; i < sizeof seconds / sizeof *seconds; i++) {
        up = !up;
        events[i] = (Event){(size_t)(seconds[i] * subject->rate_hz), port, up ? 1.0f : 0.0f};
    }
    return sizeof seconds / sizeof *seconds;
}

/* Between two signals a and b whose crossfade moves by 1/L a frame, the output is
 * a + w (b - a), so that from one frame to the next it moves by no more than the signals
 * themselves do plus |b - a| / L: at 20 ms nothing that could click. It is computed in three
 * rounded operations on numbers no larger than |a| + |b|, and w itself is rounded: 4 half units. */
static bool crossfades(const Stimulus *stimulus, const Response *r, const float *const *zero,
                       const float *const *one, size_t channels, bool up, double rate_hz,
                       HostError *why) {
    for (size_t c = 0; c < channels; c++) {
        Weight w = {.length = lrint(CROSSFADE_S * rate_hz)};
        size_t next = 0;
        bool now = up;
        w.at = up ? w.length : 0;
        for (size_t t = 0; t < stimulus->frames; t++) {
            for (; next < stimulus->n_events && stimulus->events[next].frame == t; next++)
                now = stimulus->events[next].value > 0.0f;
            double weight = weight_step(&w, now);
            double a = (double)zero[c][t], b = (double)one[c][t];
            double expected = a + weight * (b - a);
            double error = fabs((double)r->out[c][t] - expected);
            if (!(error <= 4.0 * HALF_ULP * (fabs(a) + fabs(b)) + (double)FLT_MIN))
                return host_fail(why,
                                 "frame %zu of output %zu is %.9g; %.4f of the way from %.9g to "
                                 "%.9g is %.9g",
                                 t, c, (double)r->out[c][t], weight, a, b, expected);
        }
    }
    return true;
}

static bool enabled_crossfades(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    if (!has_switches(subject, why))
        return false;
    for (size_t i = 0; i < count; i++) {
        Event events[16];
        Stimulus stimulus = contract_stimulus(subject);
        Response on, r;
        float *dry[CONTRACT_CHANNELS];
        if (!contract_play_new(subject, &settings[i], &stimulus, &on, why))
            return false;
        for (size_t c = 0; c < subject->plugin->n_out; c++) {
            dry[c] = contract_frames(stimulus.frames);
            for (size_t t = 0; t < stimulus.frames; t++)
                dry[c][t] = contract_delayed(&stimulus, c, on.latency, t);
        }
        stimulus.events = events;
        stimulus.n_events = switches(subject, subject->plugin->enabled->index, true, events);
        if (!contract_play_new(subject, &settings[i], &stimulus, &r, why) ||
            !crossfades(&stimulus, &r, (const float *const *)dry, (const float *const *)on.out,
                        subject->plugin->n_out, true, subject->rate_hz, why))
            return false;
    }
    return true;
}

/* ---- audition ---- */

static bool play_removed(const Subject *subject, const Setting *setting, Stimulus stimulus,
                         Response *removed, HostError *why) {
    Event removed_only = {0, audition_index(subject->plugin), 1.0f};
    stimulus.events = &removed_only;
    stimulus.n_events = 1;
    return contract_play_new(subject, setting, &stimulus, removed, why);
}

/* removed = input - result in one rounded subtraction, so that adding the result again misses the
 * input by at most half a unit in the last place of removed (or, flushed to zero, by less than the
 * smallest normal number). */
static bool result_and_removed(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    if (!has_switches(subject, why))
        return false;
    for (size_t i = 0; i < count; i++) {
        Stimulus stimulus = contract_stimulus(subject);
        Response result, removed;
        if (!contract_play_new(subject, &settings[i], &stimulus, &result, why) ||
            !play_removed(subject, &settings[i], stimulus, &removed, why))
            return false;
        for (size_t c = 0; c < subject->plugin->n_out; c++)
            for (size_t t = 0; t < stimulus.frames; t++) {
                double input = (double)contract_delayed(&stimulus, c, result.latency, t);
                double sum = (double)result.out[c][t] + (double)removed.out[c][t];
                double bound = HALF_ULP * fabs((double)removed.out[c][t]) + (double)FLT_MIN;
                if (!(fabs(sum - input) <= bound))
                    return host_fail(why,
                                     "%s: frame %zu of output %zu: result %.9g and removed %.9g "
                                     "do not make %.9g",
                                     settings[i].name, t, c, (double)result.out[c][t],
                                     (double)removed.out[c][t], input);
            }
    }
    return true;
}

static bool audition_crossfades(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    contract_settings(subject, settings);
    if (!has_switches(subject, why))
        return false;
    Event events[16];
    Stimulus stimulus = contract_stimulus(subject);
    Response result, removed, r;
    if (!contract_play_new(subject, &settings[0], &stimulus, &result, why) ||
        !play_removed(subject, &settings[0], stimulus, &removed, why))
        return false;
    stimulus.events = events;
    stimulus.n_events = switches(subject, audition_index(subject->plugin), false, events);
    return contract_play_new(subject, &settings[0], &stimulus, &r, why) &&
           crossfades(&stimulus, &r, (const float *const *)result.out,
                      (const float *const *)removed.out, subject->plugin->n_out, false,
                      subject->rate_hz, why);
}

/* ---- bounds ---- */

/* What filters ring over their input, and what riding adds: 12 dB, and what the controls may add
 * beside. */
double contract_headroom(const Subject *subject) {
    return pow(10.0, (contract_most_gain_db(subject) + 12.0) / 20.0);
}

static bool output_bounded(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    double bound = contract_headroom(subject);
    for (size_t loud = 0; loud < 2; loud++) {
        Stimulus stimulus = contract_stimulus(subject);
        Random random = random_seeded(contract_seed() + 9);
        for (size_t c = 0; c < subject->plugin->n_in && loud; c++) {
            float *noise = contract_frames(stimulus.frames);
            for (size_t t = 0; t < stimulus.frames; t++)
                noise[t] = random_unit(&random) < 0.5 ? -1.0f : 1.0f;
            stimulus.in[c] = noise;
        }
        double peak = contract_peak(stimulus.in, subject->plugin->n_in, stimulus.frames);
        for (size_t i = 0; i < count; i++) {
            Response r;
            if (!contract_play_new(subject, &settings[i], &stimulus, &r, why))
                return false;
            double out =
                contract_peak((const float *const *)r.out, subject->plugin->n_out, stimulus.frames);
            if (!(out <= peak * bound))
                return host_fail(why, "%s: an input of peak %g comes out with peak %g, over %g dB",
                                 settings[i].name, peak, out, 20.0 * log10(bound));
            if (r.meter_outside)
                return host_fail(why, "%s: the meter '%s' leaves its range %g to %g",
                                 settings[i].name, r.meter_outside->symbol,
                                 (double)r.meter_outside->minimum,
                                 (double)r.meter_outside->maximum);
        }
    }
    return true;
}

/* ---- two channels ---- */

/* Plays left and right and the key as given; result in *r. */
static bool play_pair(const Subject *subject, const Setting *setting, const float *left,
                      const float *right, Response *r, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    stimulus.in[0] = left;
    stimulus.in[1] = right;
    return contract_play_new(subject, setting, &stimulus, r, why);
}

/* What may come over from the other channel of a plugin that computes both at once: of the log2 N
 * stages of an FFT each rounds by 2^-24 (Higham, Accuracy and Stability of Numerical Algorithms,
 * 2002, section 24.1); with N up to 2^16 that is -120 dB. Nothing of any other. */
static double comes_over(const Subject *subject, const float *audio, size_t frames) {
    return contract_may(subject, "share") ? 0x1p-20 * signals_peak(audio, frames) : 0.0;
}

static bool near(const Response *a, const Response *b, size_t frames, double allowed) {
    for (size_t c = 0; c < 2; c++)
        for (size_t t = 0; t < frames; t++)
            if (!(fabs((double)a->out[c][t] - (double)b->out[c][t]) <= allowed))
                return false;
    return true;
}

static bool swapped(const Subject *subject, const Setting *setting, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    Response a, b;
    if (!contract_play_new(subject, setting, &stimulus, &a, why))
        return false;
    Stimulus other = stimulus;
    for (size_t c = 0; c < 2; c++) {
        other.in[c] = stimulus.in[1 - c];
        other.key[c] = stimulus.key[1 - c];
    }
    if (!contract_play_new(subject, setting, &other, &b, why))
        return false;
    Response turned = {.out = {b.out[1], b.out[0]}};
    const double allowed = fmax(comes_over(subject, stimulus.in[0], stimulus.frames),
                                comes_over(subject, stimulus.in[1], stimulus.frames));
    if (allowed > 0.0)
        return near(&a, &turned, stimulus.frames, allowed) ||
               host_fail(why, "%s: left and right changed over: another image", setting->name);
    return contract_same(subject, &a, &turned, stimulus.frames, why,
                         "%s: left and right changed over", setting->name);
}

/* One gain for both channels: where the right channel is half the left, it stays half the left.
 * Halving is exact in every operation, so the outputs must be equal to the bit, apart from what is
 * flushed to zero. What bends the waveform acts on samples, and is not asked. */
static bool halves(const Subject *subject, const Setting *setting, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    float *half = contract_frames(stimulus.frames);
    for (size_t t = 0; t < stimulus.frames; t++)
        half[t] = 0.5f * stimulus.in[0][t];
    const double allowed = fmax((double)FLT_MIN, comes_over(subject, half, stimulus.frames));
    Response r;
    if (!play_pair(subject, setting, stimulus.in[0], half, &r, why))
        return false;
    for (size_t t = 0; t < stimulus.frames; t++)
        if (fabs(0.5 * (double)r.out[0][t] - (double)r.out[1][t]) > allowed)
            return host_fail(why,
                             "%s: frame %zu: left %.9g, right %.9g, where the right input is half "
                             "the left",
                             setting->name, t, (double)r.out[0][t], (double)r.out[1][t]);
    return true;
}

static bool image_stays(const Subject *subject, HostError *why) {
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    bool bends = contract_may(subject, "bend");
    if (subject->plugin->n_in != 2 || contract_may(subject, "spread"))
        return true;
    for (size_t i = 0; i < count; i++) {
        Stimulus stimulus = contract_stimulus(subject);
        Response r;
        if (!swapped(subject, &settings[i], why) ||
            (!bends && !halves(subject, &settings[i], why)) ||
            !play_pair(subject, &settings[i], stimulus.in[0], contract_frames(stimulus.frames), &r,
                       why))
            return false;
        if (signals_peak(r.out[1], stimulus.frames) >
            comes_over(subject, stimulus.in[0], stimulus.frames))
            return host_fail(why, "%s: sound on the left alone comes out on the right too",
                             settings[i].name);
    }
    return true;
}

/* ---- the key ---- */

static bool no_key_is_silent_key(const Subject *subject, HostError *why) {
    if (subject->plugin->n_key == 0)
        return true;
    Setting settings[CONTRACT_MAX_SETTINGS];
    size_t count = contract_settings(subject, settings);
    bool heard = false;
    for (size_t i = 0; i < count; i++) {
        Stimulus with = contract_stimulus(subject), silent = with, without = with;
        for (size_t c = 0; c < subject->plugin->n_key; c++) {
            silent.key[c] = contract_frames(silent.frames);
            without.key[c] = NULL;
        }
        Response a, b, c;
        if (!contract_play_new(subject, &settings[i], &with, &a, why) ||
            !contract_play_new(subject, &settings[i], &silent, &b, why) ||
            !contract_play_new(subject, &settings[i], &without, &c, why) ||
            !contract_same(subject, &b, &c, silent.frames, why, "%s: silent key against none",
                           settings[i].name))
            return false;
        heard |= !contract_same(subject, &a, &b, silent.frames, NULL, "key");
    }
    return heard || host_fail(why, "at %zu settings the key changes nothing", count);
}

const Promise contract_shell[] = {
    {"the latency is reported before the first frame and stays", latency_steady, true, false,
     NEEDS_NOTHING},
    {"the latency depends on the controls alone", latency_of_controls_alone, false, false,
     NEEDS_NOTHING},
    {"the latency reported is the latency measured", latency_as_measured, true, false,
     NEEDS_NOTHING},
    {"off is the delayed input, bit for bit", off_is_delayed_input, true, false, NEEDS_NOTHING},
    {"off follows the latency when a control moves it", off_follows_latency, true, false,
     NEEDS_NOTHING},
    {"switching off and on crossfades over 20 ms", enabled_crossfades, true, false, NEEDS_NOTHING},
    {"result and removed make the delayed input", result_and_removed, true, false, NEEDS_NOTHING},
    {"audition crossfades over 20 ms", audition_crossfades, true, false, NEEDS_NOTHING},
    {"the output is bounded by the input", output_bounded, true, false, NEEDS_NOTHING},
    {"the image does not move", image_stays, false, false, NEEDS_NOTHING},
    {"no key is a silent key", no_key_is_silent_key, true, false, NEEDS_NOTHING},
    {.name = NULL},
};
