/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/report.h"

#include "base/array.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

void report_add(report *r, const char *name, bool still, const marks *m)
{
    array_reserve((void **)&r->lines, &r->room, r->n + 1, sizeof *r->lines);
    r->lines[r->n++] = (report_line){name, still, *m};
}

void report_clear(report *r)
{
    for (size_t i = 0; i < r->n; i++)
        marks_clear(&r->lines[i].marks);
    free(r->lines);
    *r = (report){0};
}

static double share(size_t part, size_t of)
{
    return of ? 100 * (double)part / (double)of : (double)NAN;
}

static double still_rate(const marks *m)
{
    return (double)m->still_false / m->still_minutes;
}

/* The next cell of a row; a dash where there is nothing to take a figure of. */
static void cell(double x, int decimals)
{
    if (isnan(x))
        printf(" - |");
    else
        printf(" %.*f |", decimals, x);
}

static void bold_cell(double x, int decimals)
{
    if (isnan(x))
        cell(x, decimals);
    else
        printf(" **%.*f** |", decimals, x);
}

static void flips_line(const char *name, const marks *m)
{
    double wrong = (double)(m->found_flips - m->matched);
    printf("| %s | %zu | %zu |", name, m->takes, m->true_flips);
    cell(marks_precision(m), 2);
    cell(marks_recall(m), 2);
    bold_cell(marks_f1(m), 2);
    cell(wrong / m->minutes, 1);
    cell(numbers_quantile(&m->time_ms, 0.5), 1);
    cell(numbers_quantile(&m->leap_st, 0.5), 2);
    cell(share(m->reg_right, m->reg_frames), 1);
    puts("");
}

static void still_line(const char *name, const marks *m)
{
    printf("| %s | %zu | %.1f | %zu |", name, m->still_takes, m->still_minutes, m->still_false);
    bold_cell(still_rate(m), 1);
    cell(share(m->reg_right, m->reg_frames), 1);
    printf(" %zu of %zu | %zu | %zu |\n", m->misnamed, m->singles, m->true_flips, m->matched);
}

static void rest_line(const char *name, const marks *m)
{
    printf("| %s |", name);
    cell(share(m->gross[0] + m->gross[1], m->voiced[0] + m->voiced[1]), 2);
    cell(share(m->gross[0], m->voiced[0]), 2);
    cell(share(m->gross[1], m->voiced[1]), 1);
    cell(share(m->false_voiced, m->silent), 1);
    cell(numbers_quantile(&m->cents, 0.5), 2);
    cell(numbers_quantile(&m->level_db, 0.5), 2);
    cell(numbers_quantile(&m->boundary_st, 0.5), 2);
    cell(numbers_quantile(&m->boundary_st, 1), 2);
    printf(" %zu of %zu | %zu |\n", m->told, m->boundaries, m->covered);
}

static void contact_line(const char *name, const marks *m)
{
    const contact_marks *c = &m->contact;
    const agreement *a = &c->agreed;
    printf("| %s |", name);
    cell(fmin(100, 100 * a->egg_s / 60 / m->minutes), 1);
    cell(share(c->usable, c->voiced), 1);
    cell(share(c->lost_usable, c->lost), 1);
    cell(contact_marks_off(c, 0.5), 3);
    cell(contact_marks_off(c, 0.95), 3);
    cell(share(a->same, a->frames), 1);
    printf(" %zu | %zu | %zu |\n", a->egg_flips, a->mic_flips, a->matched);
}

/* Worst first. */
static int by_f1(const void *a, const void *b)
{
    double x = marks_f1(&((const report_line *)a)->marks),
           y = marks_f1(&((const report_line *)b)->marks);
    return (x > y) - (x < y);
}

static int by_false(const void *a, const void *b)
{
    double x = still_rate(&((const report_line *)a)->marks),
           y = still_rate(&((const report_line *)b)->marks);
    return (x < y) - (x > y);
}

typedef void (*print_line)(const char *name, const marks *m);

/* The lines of one kind and their sum. */
static void lines(const report *r, bool still, print_line line)
{
    report_line *part = xmalloc(r->n, sizeof *part);
    marks sum = {0};
    size_t n = 0;
    for (size_t i = 0; i < r->n; i++)
        if (r->lines[i].still == still)
            part[n++] = r->lines[i];
    qsort(part, n, sizeof *part, still ? by_false : by_f1);
    for (size_t i = 0; i < n; i++) {
        line(part[i].name, &part[i].marks);
        marks_add(&sum, &part[i].marks);
    }
    line("all", &sum);
    marks_clear(&sum);
    free(part);
}

static bool has(const report *r, bool still)
{
    for (size_t i = 0; i < r->n; i++)
        if (r->lines[i].still == still)
            return true;
    return false;
}

void report_head(unsigned long first_seed, unsigned long last_seed)
{
    printf("# Accuracy\n\nOn two test voices (tests/voice, tests/voice2) that share no code and "
           "whose truth is known; printed by `make accuracy`. Seeds %lu-%lu, one singer a seed, "
           "worst family first.\n\n"
           "A found flip is right when a true one of its direction lies within 60 ms; each is "
           "matched once; doubtful flips do not count. A singer with one register alone is right "
           "when given as one register, by whatever name.\n",
           first_seed, last_seed);
}

static void print_rest(const report *r, const char *voice)
{
    printf("\n## %s: pitch, level and boundary\n\n", voice);
    puts("Gross: missed, or more than 50 cents off; apart for frames within 20 ms of a change of "
         "register. Boundary: found against true pitch, up and down, at the level at which the fit "
         "states it.\n\n"
         "| family | gross, % | away from flips, % | near flips, % | voiced in silence, % | pitch, "
         "median cents | level, median dB | boundary, median st | worst st | told | true one "
         "inside the interval |\n|---|---|---|---|---|---|---|---|---|---|---|");
    lines(r, false, rest_line);
}

static void print_contact(const report *r, const char *voice)
{
    size_t frames = 0;
    for (size_t i = 0; i < r->n; i++)
        frames += r->lines[i].marks.contact.voiced;
    if (!frames)
        return;
    printf("\n## %s: EGG\n\n", voice);
    puts("Told: voice in which the EGG told the register. Usable: frames with the skin's contact, "
         "then those without it. Error of the contact quotient of usable frames. Last the "
         "microphone alone, where the EGG tells.\n\n"
         "| family | told, % | usable, % | usable without contact, % | error of the quotient, "
         "median | 95 % | microphone the same, % | flips by the EGG | by the microphone | the same "
         "|\n|---|---|---|---|---|---|---|---|---|---|");
    lines(r, false, contact_line);
    lines(r, true, contact_line);
}

/* All families together. */
static void print_confidence(const report *r, const char *voice)
{
    marks sum = {0};
    for (size_t i = 0; i < r->n; i++)
        marks_add(&sum, &r->lines[i].marks);
    printf("\n## %s: confidence\n\n"
           "All families together, doubtful flips too. Brier score %.3f, expected calibration "
           "error %.3f; by chance, with so many flips, %.3f.\n\n"
           "| confidence, mean | flips | true, %% |\n|---|---|---|\n",
           voice, marks_brier(&sum), marks_calibration_error(&sum),
           marks_calibration_by_chance(&sum));
    for (int k = MARKS_TENTHS - 1; k >= 0; k--) {
        const confidence_tenth *t = &sum.tenths[k];
        if (t->listed)
            printf("| %.2f | %zu | %.0f |\n", t->confidence / (double)t->listed, t->listed,
                   share(t->matched, t->listed));
    }
    marks_clear(&sum);
}

void report_print(const report *r, const char *voice)
{
    if (has(r, false)) {
        printf("\n## %s: flips and registers\n\n", voice);
        puts("| family | takes | flips | precision | recall | F1 | false a minute | time, median "
             "ms | leap, median st | frames in the right register, % |\n"
             "|---|---|---|---|---|---|---|---|---|---|");
        lines(r, false, flips_line);
    }
    if (has(r, true)) {
        printf("\n## %s: takes without a flip\n\n", voice);
        puts("Each family alone, then beside takes with the singer's own flips, whose number "
             "stands on the right; the false flips are those in takes without any.\n\n"
             "| family | takes | minutes | false flips | a minute | frames in the right register, "
             "% | singers of one register given as the other | flips beside | found |\n"
             "|---|---|---|---|---|---|---|---|---|");
        lines(r, true, still_line);
    }
    if (r->n)
        print_confidence(r, voice);
    if (has(r, false))
        print_rest(r, voice);
    print_contact(r, voice);
}
