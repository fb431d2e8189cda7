/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_NUMBER_H
#define BASE_NUMBER_H

/* Numbers as text, with a decimal point that is a point in every locale. */

#include <stdbool.h>
#include <stddef.h>

/* The whole of `text` is one finite decimal number ("-3", "0.5", "1e-3"); false, with *value
 * untouched, for anything else: blanks, "", hexadecimal, inf, nan, out of range of a double. */
bool number_read(const char *text, double *value);

enum { NUMBER_SIZE = 400 };
/* With a fixed count of decimals (0..17); never "-0.0". NaN is "", infinities "inf", "-inf". */
void number_fixed(double value, int decimals, char text[NUMBER_SIZE]);
/* The shortest of up to 10 significant digits: "94", "0.005". NaN and infinities as above. */
void number_short(double value, char text[NUMBER_SIZE]);

#endif
