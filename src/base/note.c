/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/note.h"

#include "base/number.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

double note_from_hz(double hz)
{
    return hz > 0 ? 69 + 12 * log2(hz / 440) : (double)NAN;
}

double note_to_hz(double st)
{
    return 440 * exp2((st - 69) / 12);
}

static double on_scale(double st, double a4_hz)
{
    return st - 12 * log2(a4_hz / 440);
}

static void print(double scale_st, long nearest, char name[NOTE_NAME_SIZE])
{
    static const char *const names[12] = {"C",  "C#", "D",  "D#", "E",  "F",
                                          "F#", "G",  "G#", "A",  "A#", "B"};
    long octave = (nearest >= 0 ? nearest / 12 : -((11 - nearest) / 12)) - 1;
    const char *letter = names[((nearest % 12) + 12) % 12];
    long cents = lround(100 * (scale_st - (double)nearest));
    if (cents == 0)
        snprintf(name, NOTE_NAME_SIZE, "%s%ld", letter, octave);
    else
        snprintf(name, NOTE_NAME_SIZE, "%s%ld%+ldc", letter, octave, cents);
}

void note_name(double st, double a4_hz, char name[NOTE_NAME_SIZE])
{
    name[0] = '\0';
    if (isfinite(st) && fabs(st) < 1000)
        print(on_scale(st, a4_hz), lround(on_scale(st, a4_hz)), name);
}

void note_nearest(double st, double a4_hz, char name[NOTE_NAME_SIZE])
{
    name[0] = '\0';
    if (isfinite(st) && fabs(st) < 1000) {
        long nearest = lround(on_scale(st, a4_hz));
        print((double)nearest, nearest, name);
    }
}

/* "#", "b" and their signs in UTF-8 move *at on. */
static int read_accidental(const char **at)
{
    static const struct {
        const char *sign;
        int st;
    } signs[] = {{"#", 1}, {"b", -1}, {"\xE2\x99\xAF", 1}, {"\xE2\x99\xAD", -1}};
    for (size_t i = 0; i < sizeof signs / sizeof *signs; i++)
        if (strncmp(*at, signs[i].sign, strlen(signs[i].sign)) == 0) {
            *at += strlen(signs[i].sign);
            return signs[i].st;
        }
    return 0;
}

/* "+23c"; nothing is 0 cents. */
static bool read_cents(const char *text, double *cents)
{
    char digits[8];
    size_t n = strlen(text);
    *cents = 0;
    if (n == 0)
        return true;
    if ((*text != '+' && *text != '-') || text[n - 1] != 'c' || n - 1 >= sizeof digits)
        return false;
    snprintf(digits, sizeof digits, "%.*s", (int)(n - 1), text);
    return number_read(digits, cents);
}

static bool read_name(const char *text, double *st)
{
    static const char letters[] = "C D EF G A B";
    const char *letter = *text ? strchr(letters, toupper((unsigned char)*text)) : NULL;
    if (!letter || *letter == ' ')
        return false;
    const char *at = text + 1;
    int semitone = (int)(letter - letters) + read_accidental(&at);
    int sign = *at == '-' ? -1 : 1;
    at += *at == '-';
    if (*at < '0' || *at > '9' || (sign < 0 && *at != '1'))
        return false;
    int octave = sign * (*at++ - '0');
    double cents;
    if (!read_cents(at, &cents))
        return false;
    *st = 12 * (octave + 1) + semitone + cents / 100;
    return true;
}

static bool is_unit(const char *text, const char *unit)
{
    for (; *text && tolower((unsigned char)*text) == *unit; text++, unit++)
        ;
    return !*text && !*unit;
}

bool note_read(const char *text, note_typed *out)
{
    char digits[32];
    double value;
    *out = (note_typed){(double)NAN, false};
    if (read_name(text, &out->st)) {
        out->named = true;
        return true;
    }
    size_t n = strspn(text, "+-.0123456789");
    if (n >= sizeof digits)
        return false;
    snprintf(digits, sizeof digits, "%.*s", (int)n, text);
    const char *unit = text + n + strspn(text + n, " ");
    if (!number_read(digits, &value))
        return false;
    if (is_unit(unit, "hz") && value > 0)
        out->st = note_from_hz(value);
    else if (!*unit || is_unit(unit, "st"))
        out->st = value;
    return !isnan(out->st);
}

double note_meant(const note_typed *n, double a4_hz)
{
    return n->named ? n->st + note_from_hz(a4_hz) - 69 : n->st;
}
