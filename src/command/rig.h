/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_RIG_H
#define COMMAND_RIG_H

/* What a rig's calibrations in the journal say of the takes that name it. */

#include "command/intake.h"
#include "journal/calibrations.h"

/* Where the rig is named and full scale is not stated: full scale, its day and, unless stated, the
 * distance come from the rig's calibration for the day of t. A rig without any changes nothing. */
bool rig_apply(journal *j, const statement *said, journal_take *t, err *e);

/* A sentence where two calibrations of a rig say that it has probably changed; else NULL. */
char *rig_changed(const journal_calibration *earlier, const journal_calibration *later);

/* *sentence: what is doubtful about the level of t, a take in the journal: its rig was calibrated
 * later, or has changed about that day, or was never calibrated while others were; NULL: nothing.
 */
bool rig_doubt(journal *j, const journal_take *t, char **sentence, err *e);

#endif
