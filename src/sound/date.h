/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_DATE_H
#define SOUND_DATE_H

/* The day a recording was made, as far as its file knows. */

#include <stdbool.h>

enum { DATE_SIZE = 11 }; /* YYYY-MM-DD */

typedef enum date_origin {
    DATE_STATED,   /* somebody said so */
    DATE_RECORDED, /* the recorder wrote it into the file */
    DATE_MODIFIED  /* the day the file was last written, in local time; today for a pipe */
} date_origin;

/* "YYYY-MM-DD" and a day of the calendar. */
bool date_valid(const char *text);
/* Days since 1970-01-01 of a valid one. */
double date_days(const char *date);

/* `name` as in sound/recording.h. DATE_MODIFIED and today when the file cannot be read. */
date_origin date_of_recording(const char *name, char date[DATE_SIZE]);

#endif
