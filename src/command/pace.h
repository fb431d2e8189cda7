/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_PACE_H
#define COMMAND_PACE_H

/* How far a batch is. Each recording is heard and then decoded with others, two kinds of work that
 * take their own time; both are measured as the batch goes. */

#include <stddef.h>

typedef struct pace {
    size_t n;              /* recordings */
    size_t heard, decoded; /* of them */
    double part;           /* of those heard, done by now of what is being decoded */
    double hear_s, decode_s;
    double since_s; /* up to when time is accounted for, by a clock that only goes forward */
} pace;

pace pace_begin(size_t n);
/* The time since the last of these calls was for one more that is heard; for so many that are
 * decoded, which is never more than are heard. */
void pace_heard(pace *p);
void pace_decoded(pace *p, size_t more);
/* So many are done, as far as one may say, of those that are being decoded. */
void pace_decoding(pace *p, double part);

/* The share of the work that is done, 0..1. Until the first recording is decoded that is taken to
 * take as long as hearing it. Nothing to do is all done. */
double pace_share(const pace *p);

#endif
