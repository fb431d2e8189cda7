/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_EXPORT_ROW_H
#define COMMAND_EXPORT_ROW_H

/* A row of the table that export prints: all columns of all kinds of record, those of its own kind
 * filled in. */

#include "base/table.h"
#include "voice/track.h"

/* clang-format off */
#define EXPORT_COLUMNS(one) \
    one(record) one(singer) one(notes) one(take) one(date) one(date_from) one(rig) \
    one(full_scale_db) one(distance_cm) one(file) one(start_s) one(end_s) one(sound) one(name) \
    one(vowel) one(hold) one(vary) one(declared) one(seconds) one(voiced_s) one(clipped) \
    one(dc) one(peak) one(leq_db) one(laeq_db) one(lzeq_db) one(lcfmax_db) one(lcsmax_db) \
    one(microphone) one(egg) one(channel) one(egg_channel) one(settings) one(version) \
    one(removed) one(number) one(action) one(time_s) one(to_s) one(direction) \
    one(pitch_before_st) one(pitch_after_st) one(level_before_db) one(level_after_db) \
    one(span_ms) one(confidence) one(leap_cents) one(level_step_db) one(spectral_step_db) \
    one(irregular_cycles) one(seam_jnd) one(kind) one(stated) one(part) one(answer) \
    one(pitch_st) one(voicing) one(level_db) one(reg) one(p_m2) one(doubled)
/* to the right of the harmonics */
#define EXPORT_LATER(one) one(check) one(result) one(figure) one(unit) one(remedy) \
    one(calibration) one(reads_db) one(steady_db) one(made) \
    one(contact_quotient) one(contact_quotient_peaks) one(contact_closing) one(contact_opening) \
    one(contact_level_db) one(egg_clarity)
/* clang-format on */
#define EXPORT_AT(name) AT_##name,
enum export_column {
    EXPORT_COLUMNS(EXPORT_AT) EXPORT_PLAIN,
    HARMONIC = EXPORT_PLAIN, /* harmonics 1 to TRACK_HARMONICS, then the noise about each */
    NOISE = HARMONIC + TRACK_HARMONICS,
    EXPORT_LAST = NOISE + TRACK_HARMONICS - 1,
    EXPORT_LATER(EXPORT_AT) EXPORT_ALL
};

typedef struct export_cell {
    enum { EMPTY, TEXT, NUMBER, COUNT } kind;
    const char *text;
    double value;
    int decimals;
} export_cell;

typedef struct export_row {
    export_cell cells[EXPORT_ALL];
} export_row;

char *export_columns(void); /* their names parted by blanks; the caller frees */

/* An empty row of that kind of record; texts are borrowed until it is written. */
void row_begin(export_row *r, const char *record, const char *singer, const char *take);
void set_text(export_row *r, int at, const char *text);
void set_number(export_row *r, int at, double value, int decimals);
void set_count(export_row *r, int at, long value);
void row_write(const export_row *r, table_writer *w);

#endif
