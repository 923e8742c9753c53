/* SPDX-License-Identifier: ISC */
/* tail_network.h: the tail of a reverberation: 16 delay lines that feed each other.
 *
 *     y_i[t] = (H_i s_i)[t - d_i],   s = A y + B x,   out = C y
 *
 * A is the Hadamard matrix of order 16 over 4: orthogonal, so that without the filters H_i nothing
 * would be lost, and every line feeds all others alike (feedback delay networks: Stautner and
 * Puckette, CMJ 6(1), 1982; Jot and Chaigne, AES 90, 1991). H_i makes line i lose what its length
 * asks for, so that the whole decays as one:
 *
 *     20 lg |H_i(f)| = -60 d_i / (rate T(f)) dB
 *
 * exactly at f = 0, where T is `decay`, and at `damping`, where T is half of it; H_i is a one-pole
 * low-pass. In between each line loses 10 lg(1 + K_i sin^2(pi f / rate)) beside, which is near
 * T = decay / (1 + (f/damping)^2) while a pass loses few dB. What the whole then does is told by
 * tail_network_decay_s: since A spreads the energy evenly, it dies by e^-s a frame where
 *
 *     mean of |H_i|^2 e^(s d_i) = 1
 *
 * as a population does that is born in equal parts and lives for d_i (Lotka's equation). Where T(f)
 * is under 0.2 s, three passes of the longest line, the lines themselves are heard.
 *
 * Delays are 14 to 66 ms, in equal ratio, odd and without a common divisor of any two. Their sum,
 * 0.54 s, is the number of modes a hertz; a tail of over 0.4 s would need more not to ring (three
 * within a mode's width of 2.2/T: Schroeder, JAES 10(3), 1962). So every line is made longer and
 * shorter by up to `motion` times TAIL_MOTION_MS, as sines of 0.2 to 1.3 Hz, and read by four-point
 * Lagrange interpolation. Within a step of TAIL_STEP frames the four points stay and the place
 * between them runs straight. Interpolation has no memory to ring with, but takes some of the top:
 * at 48 kHz the octave at 8 kHz dies 7 % sooner at 4 s, at 22.05 kHz that at 4 kHz 11 % sooner at
 * 0.9 s.
 *
 * B and C have entries of +-1/4 in the signs of four bent functions (Rothaus, J. Comb. Theory A 20,
 * 1976): as unlike as can be to all rows of A, so that no line is heard more than another, and the
 * two sides are orthogonal.
 *
 * The level is that of an exponential tail of energy 1 for each channel of white noise (of two
 * channels that are alike, likewise), whatever the decay. Changes of decay and damping are followed
 * by one-poles of TAIL_SMOOTH_MS, in straight pieces of TAIL_STEP frames on its own count.
 * What is under -240 dBFS in a line is written as 0, so that silence ends exactly.
 *
 * Valid for 8..192 kHz, decay 0.05..30 s, damping over 20 Hz. Latency: the shortest line, 14 ms;
 * what is earlier belongs to the caller. Cost about 130 operations a frame by four at a time. */
#ifndef SISKIN_SOUND_TAIL_NETWORK_H
#define SISKIN_SOUND_TAIL_NETWORK_H

#include "basic/arena.h"
#include "basic/turns.h"

#include <stdbool.h>
#include <stddef.h>

enum { TAIL_LINES = 16, TAIL_STEP = 32, TAIL_CHANNELS = 2 };

#define TAIL_SHORTEST_MS 14.0
#define TAIL_LONGEST_MS 66.0
#define TAIL_MOTION_MS 1.25
#define TAIL_SMOOTH_MS 30.0

typedef struct {
    double decay_s;    /* for 60 dB, where nothing is damped */
    double damping_hz; /* where it is half as long */
    double motion;     /* 0..1 */
} TailParams;

/* What moves smoothly: of each line gain and pole of its filter, then the level of the outputs. */
enum { TAIL_GAIN = 0, TAIL_POLE = TAIL_LINES, TAIL_LEVEL = 2 * TAIL_LINES, TAIL_VALUES };

typedef struct {
    double rate_hz;
    unsigned channels;
    double follow; /* share of the way left that is done in a step */
    TailParams params;
    double goal[TAIL_VALUES];
    double motion_frames; /* goal, peak */
    struct {
        size_t delay, mask; /* frames; length of the ring - 1 */
        float *ring;
        double hz;          /* of its motion */
        Turned begin, turn; /* its sine: where that begins, and a step of it */
    } line[TAIL_LINES];
    struct {
        bool fresh;                                /* nothing has run: goals are met at once */
        bool settled;                              /* values rest */
        size_t at;                                 /* frames of the step done */
        size_t write;                              /* frames written, modulo every ring */
        double value[TAIL_VALUES], motion_frames;  /* as the next step begins */
        float now[TAIL_VALUES], step[TAIL_VALUES]; /* at the start of this step; a frame */
        Turned place[TAIL_LINES];
        double shift_next[TAIL_LINES];
        float shift[TAIL_LINES],
            shift_step[TAIL_LINES]; /* delay beside d_i at the start; a frame */
        float low[TAIL_LINES];      /* of the one-poles */
    } state;
} TailNetwork;

/* channels 1..2. false: the arena is full. */
bool tail_network_prepare(TailNetwork *tail, double rate_hz, unsigned channels, Arena *arena);
void tail_network_reset(TailNetwork *tail);
void tail_network_set(TailNetwork *tail, const TailParams *params);
/* n frames of every channel; in may equal out. */
void tail_network_process(TailNetwork *tail, const float *const *in, float *const *out, size_t n);

/* The reverberation time at `hz` as set, s. Slow: for tests and figures. */
double tail_network_decay_s(const TailNetwork *tail, double hz);

#endif
