/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/note_tics.h"

#include "base/array.h"
#include "base/note.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { TICS_LONGEST = 1 << 20 };

void note_tics_send(gnuplot *g, const char *variable, double lo_st, double hi_st, double a4_hz,
                    note_names names)
{
    static const bool white[12] = {1, 0, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1};
    double tuning = 12 * log2(a4_hz / 440);
    char *tics = xstrdup("set ytics (");
    const char *comma = "";
    for (long note = lround(ceil(lo_st - tuning)); (double)note + tuning <= hi_st; note++) {
        long key = ((note % 12) + 12) % 12;
        char name[NOTE_NAME_SIZE] = "";
        if (!white[key])
            continue;
        if (names == NAME_ALL || (names == NAME_FEW && (key == 0 || key == 5)))
            note_nearest((double)note, 440, name);
        char *longer = xformat("%s%s\"%s\" %.6f", tics, comma, name, (double)note + tuning);
        free(tics);
        tics = longer;
        comma = ", ";
    }
    char *whole = xformat("%s)", tics);
    gnuplot_text(g, variable, whole, TICS_LONGEST);
    free(whole);
    free(tics);
}
