/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/date.h"

#include "sound/source.h"

#include <ctype.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

static int digits(const char *text, int n)
{
    int value = 0;
    for (int i = 0; i < n; i++) {
        if (!isdigit((unsigned char)text[i]))
            return -1;
        value = 10 * value + text[i] - '0';
    }
    return value;
}

static bool calendar_day(int year, int month, int day)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    if (year < 1 || month < 1 || month > 12 || day < 1)
        return false;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return day <= days[month - 1] + (leap && month == 2);
}

bool date_valid(const char *text)
{
    return strlen(text) == DATE_SIZE - 1 && text[4] == '-' && text[7] == '-' &&
           calendar_day(digits(text, 4), digits(text + 5, 2), digits(text + 8, 2));
}

/* Of the civil calendar, years from March so that a leap day is the last of its year. */
double date_days(const char *date)
{
    int month = digits(date + 5, 2), day = digits(date + 8, 2);
    int from_march = (month + 9) % 12, y = digits(date, 4) - (month <= 2);
    long before = 365L * y + y / 4 - y / 100 + y / 400;
    return (double)(before + (153 * from_march + 2) / 5 + day - 1 - 719468L);
}

/* Recorders write YYYY-MM-DD with one of - _ : / . and blank between, perhaps with a time behind
 * (EBU Tech 3285, OriginationDate); a year alone is no day. */
static bool take_recorded(const char *text, size_t n, char date[DATE_SIZE])
{
    if (n < DATE_SIZE - 1 || !strchr("-_:/. ", text[4]) || text[7] != text[4])
        return false;
    memcpy(date, text, DATE_SIZE - 1);
    date[DATE_SIZE - 1] = '\0';
    date[4] = date[7] = '-';
    return date_valid(date);
}

static bool recorded(int fd, char date[DATE_SIZE])
{
    SF_INFO info = {0};
    SF_BROADCAST_INFO broadcast = {0};
    SNDFILE *sound = sf_open_fd(fd, SFM_READ, &info, SF_FALSE);
    if (!sound)
        return false;
    const char *text = sf_get_string(sound, SF_STR_DATE);
    bool found = sf_command(sound, SFC_GET_BROADCAST_INFO, &broadcast, sizeof broadcast) &&
                 take_recorded(broadcast.origination_date, sizeof broadcast.origination_date, date);
    found = found || (text && take_recorded(text, strlen(text), date));
    sf_close(sound);
    return found;
}

static void write_day(time_t when, char date[DATE_SIZE])
{
    struct tm day;
    if (!localtime_r(&when, &day) || !strftime(date, DATE_SIZE, "%Y-%m-%d", &day))
        strcpy(date, "1970-01-01");
}

date_origin date_of_recording(const char *name, char date[DATE_SIZE])
{
    char *path;
    double start_s, end_s;
    struct stat st;
    source from;
    err e;
    source_parts(name, &path, &start_s, &end_s);
    bool file = stat(path, &st) == 0 && S_ISREG(st.st_mode);
    date_origin origin = DATE_MODIFIED;
    if (file && source_open(path, &from, &e)) {
        origin = recorded(from.fd, date) ? DATE_RECORDED : DATE_MODIFIED;
        source_close(&from);
    }
    if (origin == DATE_MODIFIED)
        write_day(file ? st.st_mtime : time(NULL), date);
    free(path);
    return origin;
}
