/* SPDX-License-Identifier: ISC */
/* Controls that move while somebody sings: swept fast, or from end to end at once. */
#include "contract/contract.h"

#include "signals.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STEP = 64 }; /* frames between two values of a sweep: how often hosts hand them on */

/* x from 0 to 1 along a control's range, as its knob would. */
static float along(const HostPort *port, double x) {
    double low = (double)port->minimum, high = (double)port->maximum;
    double value = port->logarithmic ? low * pow(high / low, x) : low + x * (high - low);
    return (float)(port->integer || port->toggled || port->enumeration ? rint(value) : value);
}

/* ---- swept ---- */

static size_t sweep(const HostPort *port, double rate_hz, double cycles_hz, size_t frames,
                    Event *events) {
    size_t count = 0;
    for (size_t t = 0; t < frames; t += STEP) {
        double phase = 2.0 * 3.14159265358979 * cycles_hz * (double)t / rate_hz;
        events[count++] = (Event){t, port->index, along(port, 0.5 - 0.5 * cos(phase))};
    }
    return count;
}

static bool swept_fast(const Subject *subject, HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    Stimulus stimulus = contract_stimulus(subject);
    Event *events = contract_memory(stimulus.frames / STEP + 1, sizeof *events);
    double peak = contract_peak(stimulus.in, plugin->n_in, stimulus.frames);
    stimulus.events = events;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        Response r;
        if (port->role != HOST_CONTROL)
            continue;
        stimulus.n_events = sweep(port, subject->rate_hz, 50.0, stimulus.frames, events);
        if (!contract_play_new(subject, NULL, &stimulus, &r, why))
            return false;
        if (!r.output_finite || r.meter_outside)
            return host_fail(why,
                             "'%s' swept: an output is not finite, or a meter leaves its "
                             "range",
                             port->symbol);
        double out = contract_peak((const float *const *)r.out, plugin->n_out, stimulus.frames);
        if (!(out <= peak * contract_headroom(subject)))
            return host_fail(why, "'%s' swept: an input of peak %g comes out with peak %g",
                             port->symbol, peak, out);
    }
    return true;
}

/* ---- stepped ---- */

/* Runs of one control: at rest at five places from its lowest to its highest (fewer, if it has
 * fewer values), and stepped from end to end every 45 ms. */
enum { AT_REST = 5, STEPPED = AT_REST, N_RUNS };

typedef struct {
    Response run[N_RUNS];
    float *what[N_RUNS]; /* the output, or what was removed; one channel */
    size_t frames;
    bool removed;  /* what: no output */
    size_t span;   /* frames between the least and the largest latency at rest */
    float *passed; /* the input, late by the least of them */
    double apart;  /* largest difference between two runs at rest, at any frame */
} Runs;

static size_t steps(const HostPort *port, double rate_hz, size_t frames, Event *events) {
    size_t apart = (size_t)(0.0451 * rate_hz), count = 0;
    for (size_t at = 0; at < frames; at += apart, count++)
        events[count] = (Event){at, port->index, count % 2 ? port->maximum : port->minimum};
    return count;
}

static double largest_apart(const Runs *runs) {
    double most = 0.0;
    for (size_t t = 0; t < runs->frames; t++) {
        float low = runs->what[0][t], high = low;
        for (size_t i = 1; i < AT_REST; i++) {
            low = fminf(low, runs->what[i][t]);
            high = fmaxf(high, runs->what[i][t]);
        }
        most = fmax(most, (double)high - (double)low);
    }
    return most;
}

static bool play_runs(const Subject *subject, const HostPort *port, Stimulus stimulus, Runs *runs,
                      HostError *why) {
    Event *events = contract_memory(stimulus.frames / STEP + 1, sizeof *events);
    size_t least = SIZE_MAX, most = 0;
    stimulus.events = events;
    for (size_t i = 0; i < N_RUNS; i++) {
        float value = along(port, (double)i / (AT_REST - 1));
        if (i > 0 && i < AT_REST && value == events[0].value) {
            runs->run[i] = runs->run[i - 1];
            continue;
        }
        events[0] = (Event){0, port->index, value};
        stimulus.n_events =
            i == STEPPED ? steps(port, subject->rate_hz, stimulus.frames, events) : 1;
        if (!contract_play_new(subject, NULL, &stimulus, &runs->run[i], why))
            return false;
        least = runs->run[i].latency < least ? runs->run[i].latency : least;
        most = runs->run[i].latency > most ? runs->run[i].latency : most;
    }
    runs->span = most - least;
    /* What was removed shows more than the output, where the latency lets it be told, and where a
     * sound made anew has not its own waves in other places. */
    runs->removed = runs->span == 0 && !contract_may(subject, "sound anew");
    runs->frames = stimulus.frames;
    for (size_t i = 0; i < N_RUNS; i++) {
        runs->what[i] = contract_frames(stimulus.frames);
        for (size_t t = 0; t < stimulus.frames; t++)
            runs->what[i][t] =
                runs->run[i].out[0][t] -
                (runs->removed ? contract_delayed(&stimulus, 0, runs->run[i].latency, t) : 0.0f);
    }
    runs->passed = contract_frames(stimulus.frames);
    for (size_t t = 0; t < stimulus.frames; t++)
        runs->passed[t] = contract_delayed(&stimulus, 0, least, t);
    runs->apart = largest_apart(runs);
    return true;
}

static size_t smaller(size_t a, size_t b) {
    return a < b ? a : b;
}

/* The largest movement between two frames among from..to - 1. */
static double largest_step(const float *audio, size_t from, size_t to) {
    double most = 0.0;
    for (size_t t = from > 0 ? from : 1; t < to; t++)
        most = fmax(most, fabs((double)audio[t] - (double)audio[t - 1]));
    return most;
}

/* One period at 50 Hz. */
static const double ANEW_S = 20e-3;

/* The fastest that a gain may move because a control did: a time constant of 1 ms. */
static const double FASTEST_S = 1e-3;

/* In singing. Where a control moves a gain between g0 and g1 with that time constant, what was
 * removed, (1 - g) x, moves from one frame to the next by (1 - g) dx, no more than with the control
 * at rest somewhere on the way, and by dg x, no more than |g1 - g0| |x| / (tau rate). Looked at in
 * the 2 ms after every step, against what moves at rest within 5 ms of it, and half as much again
 * for what a detector overshoots; also against what moved in the same run in the 5 ms before, since
 * a detector that remembers the steps before may be at work where it never is at rest. Where the
 * latency moves, too, any frame between the old place and the new may be heard, also as it came in:
 * a detector that is moved on before it has heard enough leaves alone what it turns down at rest;
 * and of a sound made anew a whole period of the lowest voice, since its periods come at other
 * times. */
static bool no_step_in_singing(const Subject *subject, const HostPort *port, HostError *why) {
    Runs runs;
    if (!play_runs(subject, port, contract_stimulus(subject), &runs, why))
        return false;
    Event *events = contract_memory(runs.frames / STEP + 1, sizeof *events);
    size_t count = steps(port, subject->rate_hz, runs.frames, events);
    size_t near = (size_t)(2e-3 * subject->rate_hz),
           wide = (size_t)(5e-3 * subject->rate_hz) + runs.span;
    if (contract_may(subject, "sound anew"))
        wide += (size_t)(ANEW_S * subject->rate_hz);
    double move = runs.apart / (FASTEST_S * subject->rate_hz);
    for (size_t i = 1; i + 1 < count; i++) {
        size_t at = events[i].frame;
        double stepped = largest_step(runs.what[STEPPED], at, at + near), at_rest = 0.0;
        for (size_t k = 0; k < AT_REST; k++)
            at_rest = fmax(at_rest, largest_step(runs.what[k], at > wide ? at - wide : 0,
                                                 smaller(at + wide, runs.frames)));
        at_rest = fmax(at_rest, largest_step(runs.what[STEPPED], at > wide ? at - wide : 0, at));
        if (runs.span > 0)
            at_rest = fmax(at_rest, largest_step(runs.passed, at > wide ? at - wide : 0,
                                                 smaller(at + near, runs.frames)));
        if (!(stepped <= 1.5 * at_rest + move))
            return host_fail(why,
                             "'%s' stepped: what is %s moves by %.3g between two frames at "
                             "%zu; %.3g at rest, and %.3g for the move",
                             port->symbol, runs.removed ? "removed" : "put out", stepped, at,
                             at_rest, move);
    }
    return true;
}

/* In a tone with nothing above 2 kHz, whatever sounds above 8 kHz is a click. A gain that turns
 * towards another with a time constant tau breaks the slope by |g1 - g0| |x| / tau; above f that
 * leaves a pulse of no more than |g1 - g0| |x| / (2 pi f tau). */
static bool no_click_in_tone(const Subject *subject, const HostPort *port, HostError *why) {
    Stimulus stimulus = contract_stimulus(subject);
    size_t frames = stimulus.frames, settled = (size_t)(0.3 * subject->rate_hz);
    float *tone = contract_frames(frames);
    Runs runs;
    signals_harmonics(tone, frames, subject->rate_hz, 200.0, 2000.0, -6.0, 0.1);
    signals_fade_ends(tone, frames, settled / 2);
    for (size_t c = 0; c < subject->plugin->n_in; c++) {
        stimulus.in[c] = tone;
        stimulus.key[c] = stimulus.key[c] ? tone : NULL;
    }
    if (!play_runs(subject, port, stimulus, &runs, why))
        return false;
    double peak[N_RUNS], at_rest = 0.0;
    for (size_t i = 0; i < N_RUNS; i++) {
        float *high = contract_frames(frames);
        signals_band_filter(runs.run[i].out[0], high, frames, subject->rate_hz, 8000.0, 1e9);
        signals_band_filter(high, high, frames, subject->rate_hz, 8000.0, 1e9);
        peak[i] = signals_peak(high + settled, frames - settled);
        at_rest = i < AT_REST ? fmax(at_rest, peak[i]) : at_rest;
    }
    double bound = at_rest + runs.apart / (2.0 * 3.14159265358979 * 8000.0 * FASTEST_S);
    return peak[STEPPED] <= bound ||
           host_fail(why,
                     "'%s' stepped: a click of %.3g above 8 kHz in a tone below 2 kHz, where %.3g "
                     "is allowed",
                     port->symbol, peak[STEPPED], bound);
}

static bool for_each_control(const Subject *subject,
                             bool (*fine)(const Subject *, const HostPort *, HostError *),
                             HostError *why) {
    const HostPlugin *plugin = subject->plugin;
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (contract_own_control(plugin, &plugin->ports[i]) &&
            !fine(subject, &plugin->ports[i], why))
            return false;
    return true;
}

static bool stepped_in_singing(const Subject *subject, HostError *why) {
    return for_each_control(subject, no_step_in_singing, why);
}

static bool stepped_in_tone(const Subject *subject, HostError *why) {
    return for_each_control(subject, no_click_in_tone, why);
}

const Promise contract_moves[] = {
    {"controls may be swept 50 times a second", swept_fast, false, false, NEEDS_NOTHING},
    {"controls step without a click in singing", stepped_in_singing, false, true, NEEDS_NOTHING},
    {"controls step without a click in a tone", stepped_in_tone, false, true, NEEDS_NOTHING},
    {.name = NULL},
};
