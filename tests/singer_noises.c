/* SPDX-License-Identifier: ISC */
#include "singer_work.h"

#include <stdlib.h>

/* ---- consonants ---- */

/* Friction: two poles and a zero, Hz for a man; women's lie higher by `raise`. */
typedef struct {
    double pole[2], width[2], zero_hz, zero_width, cut_hz, raise, level_db;
} Friction;

static const Friction friction_s = {{5600, 7000}, {1200, 3500}, 1500, 2500, 1600, 1.12, -11.0};
static const Friction friction_sh = {{3250, 4900}, {650, 2700}, 1500, 1600, 1350, 1.16, -9.9};
static const Friction friction_f = {{7200, 12000}, {5000, 9000}, 900, 2500, 500, 1.08, -20.8};
/* Bursts. The levels are those of a burst of some 10 ms against the vowel; from memory. */
static const Friction burst_t = {{4200, 6500}, {1800, 3000}, 1500, 1500, 1500, 1.15, -12.0};
static const Friction burst_k = {{1900, 4200}, {500, 1800}, 600, 1500, 700, 1.15, -13.0};
static const Friction burst_p = {{900, 2600}, {1800, 6000}, 12000, 12000, 250, 1.10, -16.0};
/* The friction of /z/ alone; with its voicing the whole is near the published -9 dB. */
static const double z_friction_db = -13.0;

double singer_published_db(SingerKind kind) {
    switch (kind) {
    case SINGER_S:
        return friction_s.level_db;
    case SINGER_SH:
        return friction_sh.level_db;
    case SINGER_Z:
        return z_friction_db;
    case SINGER_F:
        return friction_f.level_db;
    case SINGER_T:
        return burst_t.level_db;
    case SINGER_K:
        return burst_k.level_db;
    case SINGER_P:
        return burst_p.level_db;
    default:
        return 0.0;
    }
}

typedef struct {
    Resonator pole[2];
    double z1, z2, n0, n1, n2; /* the zero: y = n0 x + n1 x1 + n2 x2 */
    SignalsBiquad cut;
} FrictionFilter;

static FrictionFilter friction_filter(const Friction *f, const SingerParams *params,
                                      Random *random) {
    FrictionFilter filter = {.z1 = 0.0};
    double rate_hz = params->rate_hz;
    double scale = pow(f->raise, params->womanhood) * random_range(random, 0.95, 1.05);
    for (int k = 0; k < 2; k++) {
        double hz = fmin(f->pole[k] * scale, 0.42 * rate_hz);
        singer_resonator_tune(&filter.pole[k], rate_hz, hz,
                              f->width[k] * random_range(random, 0.8, 1.25));
    }
    Resonator zero = {0};
    singer_resonator_tune(&zero, rate_hz, fmin(f->zero_hz * scale, 0.45 * rate_hz), f->zero_width);
    filter.n0 = 1.0;
    filter.n1 = -zero.b;
    filter.n2 = -zero.c;
    filter.cut = signals_high_pass(rate_hz, fmin(f->cut_hz * scale, 0.4 * rate_hz), 0.7);
    return filter;
}

static double friction_step(FrictionFilter *f, double x) {
    double y = f->n0 * x + f->n1 * f->z1 + f->n2 * f->z2;
    f->z2 = f->z1;
    f->z1 = x;
    y = singer_resonator_step(&f->pole[1], singer_resonator_step(&f->pole[0], y));
    return signals_biquad_step(&f->cut, y);
}

/* Adds noise of the shape over start..end; the RMS between the fades' midpoints is `rms`. */
static bool render_friction(const Friction *f, const SingerParams *params, SingerStem stem,
                            size_t start, size_t end, double rise_s, double fall_s, double rms,
                            const float *voicing, SingerTake *take, Random *random) {
    size_t n = end - start;
    float *noise = malloc((n + 1) * sizeof *noise);
    if (!noise)
        return false;
    FrictionFilter filter = friction_filter(f, params, random);
    for (size_t i = 0; i < 400; i++)
        (void)friction_step(&filter, random_normal(random));
    double wobble = 0.0, slow = 1.0 - exp(-1.0 / (0.01 * take->rate_hz));
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / take->rate_hz, left = (double)(n - i) / take->rate_hz;
        wobble += slow * (random_normal(random) / sqrt(slow) - wobble);
        double shape =
            singer_fade(t, rise_s) * singer_fade(left, fall_s) * pow(10.0, 0.05 * wobble);
        if (voicing) /* friction of a voiced fricative breathes with the glottis */
            shape *= 1.0 + 0.5 * sin(2.0 * PI * (double)voicing[start] * t);
        noise[i] = (float)(shape * friction_step(&filter, random_normal(random)));
    }
    size_t edge = (size_t)(0.5 * rise_s * take->rate_hz),
           tail = (size_t)(0.5 * fall_s * take->rate_hz);
    double got = n > edge + tail ? signals_rms(noise + edge, n - edge - tail) : 0.0;
    if (got > 0.0) {
        signals_scale(noise, n, rms / got);
        signals_add(take->stem[stem] + start, noise, n);
    }
    free(noise);
    return true;
}

static bool render_consonant(const SingerParams *params, const Segment *segment, double vowel_rms,
                             SingerTake *take, Random *random) {
    size_t start = singer_frame(take, segment->start_s), end = singer_frame(take, segment->end_s);
    double length_s = segment->end_s - segment->start_s;
    double rise_s = fmin(0.02, 0.3 * length_s), fall_s = fmin(0.015, 0.3 * length_s);
    double db = segment->level_db;
    SingerStem stem = SINGER_STEM_SIBILANTS;
    const Friction *f = &friction_s;
    const float *voicing = NULL;
    switch (segment->kind) {
    case SINGER_S:
        break;
    case SINGER_SH:
        f = &friction_sh;
        rise_s *= 0.5;
        break;
    case SINGER_Z:
        voicing = take->f0_hz;
        break;
    case SINGER_F:
        f = &friction_f;
        stem = SINGER_STEM_CONSONANTS;
        break;
    case SINGER_T:
    case SINGER_K:
    case SINGER_P:
        f = segment->kind == SINGER_T ? &burst_t : segment->kind == SINGER_K ? &burst_k : &burst_p;
        stem = SINGER_STEM_CONSONANTS;
        rise_s = 0.0005;
        fall_s = 0.7 * segment->burst_s;
        end = singer_frame(take, segment->start_s + segment->burst_s);
        break;
    default:
        return true;
    }
    if (stem == SINGER_STEM_SIBILANTS)
        db += params->sibilants_db;
    return render_friction(f, params, stem, start, end, rise_s, fall_s,
                           vowel_rms * pow(10.0, db / 20.0), voicing, take, random);
}

bool singer_render_consonants(const Plan *plan, SingerTake *take) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x66726963));
    for (size_t i = 0; i < plan->segments; i++) {
        const Segment *segment = &plan->segment[i];
        const Segment *vowel = &plan->segment[segment->vowel];
        size_t start = singer_frame(take, segment->start_s),
               end = singer_frame(take, segment->end_s);
        double value = segment->kind == SINGER_VOICED ? segment->note_hz : segment->level_db;
        if (segment->kind == SINGER_GAP) /* between two words */
            continue;
        if (segment->kind == SINGER_CLOSURE || segment->kind == SINGER_H)
            value = 0.0;
        if (!singer_label(take, segment->kind, start, end, value))
            return false;
        double vowel_rms = singer_loudest_rms(take, singer_frame(take, vowel->start_s),
                                              singer_frame(take, vowel->end_s));
        if (segment->kind != SINGER_VOICED &&
            !render_consonant(plan->params, segment, vowel_rms, take, &random))
            return false;
    }
    return true;
}

/* ---- breaths and room ---- */

/* The air way of one breath: a falling spectrum and a few peaks, which drift as the mouth moves. */
enum { BREATH_PEAKS = 5 };

typedef struct {
    double hz[BREATH_PEAKS], q[BREATH_PEAKS], weight[BREATH_PEAKS], drift[BREATH_PEAKS];
    SignalsBiquad peak[BREATH_PEAKS];
    SignalsBiquad cut;
    double a, b; /* of the two one-poles that make the spectrum fall */
    double body, soft;
} AirWay;

/* No two breaths are alike: how narrow and how strong the peaks are is drawn for each. In one of
 * four the second peak, near 1.6 kHz, is narrow enough to whistle. */
static AirWay air_way(const SingerParams *params, Random *random) {
    static const double centre_hz[BREATH_PEAKS] = {650.0, 1600.0, 2550.0, 3400.0, 4500.0};
    static const double most[BREATH_PEAKS] = {1.2, 2.0, 1.4, 1.0, 1.0};
    double scale = pow(1.1, params->womanhood) * random_range(random, 0.9, 1.1);
    double rate_hz = params->rate_hz, fall_hz = random_range(random, 900.0, 3000.0);
    AirWay way = {.body = 0.0};
    for (int k = 0; k < BREATH_PEAKS; k++) {
        way.hz[k] = centre_hz[k] * scale * random_range(random, 0.88, 1.12);
        way.q[k] = random_range(random, 1.5, 6.0);
        way.weight[k] = most[k] * random_range(random, 0.2, 1.0);
        way.drift[k] = random_range(random, -0.15, 0.15);
    }
    if (random_unit(random) < 0.25)
        way.q[1] = random_range(random, 8.0, 16.0);
    way.cut = signals_high_pass(rate_hz, random_range(random, 180.0, 400.0), 0.6);
    way.a = 1.0 - exp(-2.0 * PI * fall_hz / rate_hz);
    way.b = 1.0 - exp(-2.0 * PI * fmin(6000.0, 0.4 * rate_hz) / rate_hz);
    return way;
}

/* Tunes the peaks for the share x (0..1) of the breath that has passed. */
static void air_way_move(AirWay *way, double rate_hz, double x) {
    for (int k = 0; k < BREATH_PEAKS; k++) {
        double hz = fmin(way->hz[k] * (1.0 + way->drift[k] * (x - 0.5)), 0.45 * rate_hz);
        SignalsBiquad now = signals_band_pass(rate_hz, hz, way->q[k]);
        SignalsBiquad *peak = &way->peak[k];
        peak->b0 = now.b0;
        peak->b1 = now.b1;
        peak->b2 = now.b2;
        peak->a1 = now.a1;
        peak->a2 = now.a2;
    }
}

static double air_way_step(AirWay *way, double noise) {
    double x = signals_biquad_step(&way->cut, noise);
    way->body += way->a * (x - way->body);
    double y = way->body;
    for (int k = 0; k < BREATH_PEAKS; k++) /* a narrow peak passes less of a noise: make up */
        y += way->weight[k] * sqrt(way->q[k] / 2.0) * signals_biquad_step(&way->peak[k], way->body);
    return way->soft += way->b * (y - way->soft);
}

static void breath_noise(const SingerParams *params, float *out, size_t n, Random *random) {
    enum { WARM = 2000 };
    AirWay way = air_way(params, random);
    for (size_t i = 0; i < n + WARM; i++) {
        if (i % 32 == 0)
            air_way_move(&way, params->rate_hz, i < WARM ? 0.0 : (double)(i - WARM) / (double)n);
        double y = air_way_step(&way, random_normal(random));
        if (i >= WARM)
            out[i - WARM] = (float)y;
    }
}

/* Rises, slowly or fast, and stops, mostly faster; wavers as the air does. */
static void breath_shape(float *audio, size_t n, double rate_hz, Random *random) {
    double rise = random_range(random, 0.1, 0.6), fall = random_range(random, 0.08, 0.35);
    double wobble = 0.0, slow = 1.0 - exp(-1.0 / (0.03 * rate_hz));
    for (size_t i = 0; i < n; i++) {
        double t = ((double)i + 0.5) / (double)n;
        wobble += slow * (random_normal(random) / sqrt(slow) - wobble);
        double shape = singer_fade(t, rise) * singer_fade(1.0 - t, fall) * pow(10.0, 0.06 * wobble);
        audio[i] = (float)((double)audio[i] * shape);
    }
}

bool singer_render_breaths(const Plan *plan, SingerTake *take) {
    Random random = random_seeded(plan->params->seed ^ UINT64_C(0x62726561));
    for (size_t p = 0; p < plan->phrases; p++) {
        const Phrase *phrase = &plan->phrase[p];
        if (!phrase->breath)
            continue;
        size_t start = singer_frame(take, phrase->breath_start_s),
               end = singer_frame(take, phrase->breath_end_s);
        float *audio = take->stem[SINGER_STEM_BREATHS] + start;
        breath_noise(plan->params, audio, end - start, &random);
        breath_shape(audio, end - start, take->rate_hz, &random);
        double rms = pow(10.0, (phrase->level_db + phrase->breath_db) / 20.0);
        signals_scale(audio, end - start, rms / signals_rms(audio, end - start));
        if (!singer_label(take, SINGER_BREATH, start, end, phrase->breath_db))
            return false;
    }
    return true;
}

/* Ventilation and amplifier: noise that falls by some 3 dB an octave with a flat part above. */
void singer_render_room(const SingerParams *params, SingerTake *take) {
    if (params->room_db <= -200.0)
        return;
    Random random = random_seeded(params->seed ^ UINT64_C(0x726f6f6d));
    float *room = take->stem[SINGER_STEM_ROOM];
    double low = 0.0, lower = 0.0;
    double a = 1.0 - exp(-2.0 * PI * 600.0 / params->rate_hz);
    double b = 1.0 - exp(-2.0 * PI * 90.0 / params->rate_hz);
    for (size_t i = 0; i < take->n; i++) {
        double x = random_normal(&random);
        low += a * (x - low);
        lower += b * (x - lower);
        room[i] = (float)(0.12 * x + 0.7 * low + 1.4 * lower);
    }
    signals_scale(room, take->n, pow(10.0, params->room_db / 20.0) / signals_rms(room, take->n));
}

/* Traffic and handling: noise of some 10 to 40 Hz that swells and ebbs. */
bool singer_render_rumble(const SingerParams *params, SingerTake *take) {
    if (params->rumble_db <= -200.0)
        return true;
    float *rumble = malloc((take->n + 1) * sizeof *rumble);
    if (!rumble)
        return false;
    Random random = random_seeded(params->seed ^ UINT64_C(0x72756d62));
    signals_band_noise(rumble, take->n, params->rate_hz, 10.0, 40.0, 1.0, &random);
    for (size_t i = 0; i < take->n; i++) {
        double t = (double)i / params->rate_hz;
        double swell = 1.0 + 0.6 * sin(2.0 * PI * 0.13 * t) * sin(2.0 * PI * 0.031 * t + 1.0);
        rumble[i] = (float)((double)rumble[i] * swell);
    }
    double rms = signals_rms(rumble, take->n);
    signals_scale(rumble, take->n, pow(10.0, params->rumble_db / 20.0) / (rms > 0.0 ? rms : 1.0));
    signals_add(take->stem[SINGER_STEM_ROOM], rumble, take->n);
    free(rumble);
    return true;
}

/* A mains transformer: 50 Hz and its harmonics, the even ones (of the rectifier) stronger. */
void singer_render_hum(const SingerParams *params, SingerTake *take) {
    static const double partial_db[] = {0.0, -3.0, -14.0, -8.0, -18.0, -14.0};
    enum { PARTIALS = sizeof partial_db / sizeof *partial_db };
    if (params->hum_db <= -200.0)
        return;
    double power = 0.0;
    for (size_t k = 0; k < PARTIALS; k++)
        power += pow(10.0, partial_db[k] / 10.0) / 2.0;
    double unit = pow(10.0, params->hum_db / 20.0) / sqrt(power);
    for (size_t k = 0; k < PARTIALS; k++)
        signals_sine_add(take->stem[SINGER_STEM_ROOM], take->n, params->rate_hz,
                         50.0 * (double)(k + 1), unit * pow(10.0, partial_db[k] / 20.0),
                         0.7 * (double)(k * k));
}
