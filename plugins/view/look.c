/* SPDX-License-Identifier: ISC */
#include "view/look.h"

#include <math.h>

static const unsigned RGB[LOOK_COLOURS] = {
    [LOOK_PAPER] = 0xfbfaf5, [LOOK_SHEET] = 0xf2f0e7,     [LOOK_INK] = 0x23241d,
    [LOOK_SOFT] = 0x5d5e52,  [LOOK_GRID] = 0xe2dfd2,      [LOOK_ACCENT] = 0x56650a,
    [LOOK_FILL] = 0xcdd0a3,  [LOOK_ON_ACCENT] = 0xffffff, [LOOK_LINE] = 0x9a2f12,
};

const LookPair look_pairs[] = {
    {LOOK_INK, LOOK_PAPER, 4.5},        {LOOK_INK, LOOK_SHEET, 4.5},
    {LOOK_INK, LOOK_FILL, 4.5},         {LOOK_SOFT, LOOK_PAPER, 4.5},
    {LOOK_SOFT, LOOK_SHEET, 4.5},       {LOOK_LINE, LOOK_SHEET, 4.5},
    {LOOK_ON_ACCENT, LOOK_ACCENT, 4.5}, {LOOK_ACCENT, LOOK_PAPER, 4.5},
    {LOOK_ACCENT, LOOK_SHEET, 4.5},     {LOOK_LINE, LOOK_FILL, 3.0},
    {LOOK_ACCENT, LOOK_FILL, 3.0},
};
const size_t look_n_pairs = sizeof look_pairs / sizeof *look_pairs;

unsigned look_rgb(LookColour colour) {
    return RGB[colour];
}

static double linear(unsigned byte) {
    double v = byte / 255.0;
    return v <= 0.03928 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
}

static double luminance(unsigned rgb) {
    return 0.2126 * linear(rgb >> 16 & 255) + 0.7152 * linear(rgb >> 8 & 255) +
           0.0722 * linear(rgb & 255);
}

double look_contrast(unsigned one, unsigned other) {
    double a = luminance(one), b = luminance(other);
    return (fmax(a, b) + 0.05) / (fmin(a, b) + 0.05);
}
