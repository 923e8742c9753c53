/* SPDX-License-Identifier: ISC */
/* scale_ports.h: how a plugin asks for a scale: the rows of its table of controls, the same
 * wherever there is one. */
#ifndef SISKIN_VOICE_SCALE_PORTS_H
#define SISKIN_VOICE_SCALE_PORTS_H

#include "plugin.h"
#include "voice/scale.h"

static const ScalePoint SCALE_PORT_KEYS[] = {
    {0.0f, "C"},      {1.0f, "C sharp"}, {2.0f, "D"},       {3.0f, "E flat"},
    {4.0f, "E"},      {5.0f, "F"},       {6.0f, "F sharp"}, {7.0f, "G"},
    {8.0f, "A flat"}, {9.0f, "A"},       {10.0f, "B flat"}, {11.0f, "B"},
};
static const ScalePoint SCALE_PORT_NAMES[] = {
    {SCALE_CHROMATIC, "Chromatic"},
    {SCALE_MAJOR, "Major"},
    {SCALE_NATURAL_MINOR, "Natural minor"},
    {SCALE_HARMONIC_MINOR, "Harmonic minor"},
    {SCALE_MELODIC_MINOR, "Melodic minor"},
    {SCALE_MAJOR_PENTATONIC, "Major pentatonic"},
    {SCALE_MINOR_PENTATONIC, "Minor pentatonic"},
    {SCALE_DORIAN, "Dorian"},
    {SCALE_MIXOLYDIAN, "Mixolydian"},
};

#define SCALE_PORT_KEY                                                                             \
    {                                                                                              \
        .symbol = "key", .name = "Key", .group = "Notes",                                          \
        .doc = "The key note of the scale. Without meaning while Scale is chromatic.",             \
        .maximum = 11.0f, .kind = PORT_ENUMERATION, .points = SCALE_PORT_KEYS,                     \
        .n_points = sizeof SCALE_PORT_KEYS / sizeof *SCALE_PORT_KEYS                               \
    }
/* What the scale is for, and the one to begin with. */
#define SCALE_PORT_SCALE(text, first)                                                              \
    {                                                                                              \
        .symbol = "scale", .name = "Scale", .group = "Notes", .doc = (text), .initial = (first),   \
        .maximum = SCALES - 1, .kind = PORT_ENUMERATION, .points = SCALE_PORT_NAMES,               \
        .n_points = sizeof SCALE_PORT_NAMES / sizeof *SCALE_PORT_NAMES                             \
    }
#define SCALE_PORT_TUNING                                                                          \
    {                                                                                              \
        .symbol = "tuning", .name = "Tuning of A", .short_name = "Tuning", .group = "Notes",       \
        .doc = "The pitch of the A over middle C that the band is tuned to.", .minimum = 415.0f,   \
        .initial = 440.0f, .maximum = 466.0f, .unit = UNIT_HZ, .kind = PORT_LOGARITHMIC            \
    }

#endif
