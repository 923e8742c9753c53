/* SPDX-License-Identifier: ISC */
/* controls.h: the controls of our plugins as their tables declare them, known without any bundle.
 *
 * Measuring listens as the plugins do at their defaults, and advice starts from those: neither may
 * have a figure of its own. */
#ifndef SISKIN_MEASURE_CONTROLS_H
#define SISKIN_MEASURE_CONTROLS_H

typedef struct {
    const char *plugin, *symbol;
    float minimum, initial, maximum;
} Control;

extern const Control controls_table[]; /* ends with a plugin of NULL; written by controls.sh */

/* Ends the program when there is no such control: the caller's name is wrong. */
const Control *controls_find(const char *plugin, const char *symbol);
float controls_initial(const char *plugin, const char *symbol);

#endif
