/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How right check is on voices of known truth: prints the tables of docs/check.md.
 *
 * Takes of every family of the first two test voices, in their rooms, without a fault: what was
 * warned of or failed is a false alarm, but for the noise of the family in a noisy room. Sessions
 * of three takes with pauses between them, with each fault of voice/planted.h and with a second
 * singer.
 *
 * Usage: checks FIRST-SEED LAST-SEED [VOICES]: 1, the first voice alone */
#include "base/array.h"
#include "voice/planted.h"
#include "voice2/choir.h"
#include "voice2/solo.h"

#include <dirent.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { RATE = 48000, WAV16 = SF_FORMAT_WAV | SF_FORMAT_PCM_16 };

static void die(const char *why)
{
    fprintf(stderr, "checks: %s\n", why);
    exit(1);
}

/* Of one check. */
typedef struct count {
    size_t judged, named;
} count;

static bool named(const check_row *row)
{
    return row->result == CHECK_WARN || row->result == CHECK_FAIL;
}

static void add(const char *what, const checkup *found, count by_check[CHECKS])
{
    for (int c = 0; c < CHECKS; c++) {
        const check_row *row = &found->of[c];
        by_check[c].judged += row->result != CHECK_NONE;
        by_check[c].named += named(row);
        if (named(row))
            fprintf(stderr, "%s: %s %g\n", what, check_name_of((check_name)c), row->figure);
    }
}

/* Checks the recordings of a folder and removes it with all that is in it. */
static size_t check_folder(const char *folder, count by_check[CHECKS])
{
    DIR *d = opendir(folder);
    size_t takes = 0;
    for (struct dirent *f; d && (f = readdir(d));) {
        char *path = xformat("%s/%s", folder, f->d_name);
        recording_settings s = recording_defaults();
        checkup found;
        err e;
        if (strstr(f->d_name, ".wav")) {
            if (!checkup_recording(path, &s, &found, &e))
                die(e.text);
            add(path, &found, by_check);
            takes++;
        }
        unlink(path);
        free(path);
    }
    closedir(d);
    rmdir(folder);
    return takes;
}

/* All takes of one singer; how many there were. */
static size_t check_singer(int voice, int family_at, uint64_t seed, count by_check[CHECKS])
{
    char folder[] = "/tmp/checks-XXXXXX";
    err e;
    fprintf(stderr, "voice %d, %s\n", voice, choir_name(voice, family_at));
    if (!mkdtemp(folder) || !choir_write(voice, family_at, seed, folder, &e))
        die("the takes cannot be written");
    return check_folder(folder, by_check);
}

static void false_alarms(uint64_t first, uint64_t last, int voices)
{
    count quiet[CHECKS] = {{0}}, noisy[CHECKS] = {{0}};
    size_t takes = 0;
    for (int voice = 1; voice <= voices; voice++)
        for (int f = 0; f < choir_families(voice); f++) {
            bool room = strcmp(choir_name(voice, f), "noisy-room") == 0;
            for (uint64_t seed = first; seed <= last; seed++)
                takes += check_singer(voice, f, seed, room ? noisy : quiet);
        }
    printf("\n%zu takes without a fault, seeds %d to %d; those in noisy rooms apart.\n"
           "\n| check | judged | named | judged in noisy rooms | named |\n|---|---|---|---|---|\n",
           takes, (int)first, (int)last);
    for (int c = 0; c < CHECKS; c++)
        printf("| `%s` | %zu | %zu | %zu | %zu |\n", check_name_of((check_name)c), quiet[c].judged,
               quiet[c].named, noisy[c].judged, noisy[c].named);
    fflush(stdout);
}

static checkup check(const sound *x)
{
    checkup found;
    err e;
    if (!planted_check(x, WAV16, &found, &e))
        die(e.text);
    return found;
}

static sound copy(const sound *x)
{
    sound y = *x;
    y.samples = xmalloc(y.n, sizeof *y.samples);
    memcpy(y.samples, x->samples, y.n * sizeof *y.samples);
    return y;
}

/* Sessions of some families, one of each voice for each seed. */
static const char *const families[] = {"clear", "vibrato", "breathy", "smooth"};
enum { SOME = sizeof families / sizeof *families };

static void fault_row(const planted *p, const sound *sessions, size_t n, bool exactly)
{
    size_t seen = 0, as = 0;
    for (size_t i = 0; i < n; i++) {
        sound y = copy(&sessions[i]);
        p->by(&y, p->strength);
        checkup found = check(&y);
        seen += named(&found.of[p->names]);
        check_result result = found.of[p->names].result;
        as += exactly ? result == p->as : result >= p->as;
        sound_clear(&y);
    }
    printf("| %s | `%s` | %zu of %zu | %zu |\n", p->what, check_name_of(p->names), seen, n, as);
    fflush(stdout);
}

static void faults(uint64_t first, uint64_t last, int voices)
{
    size_t n = 0, most = (size_t)voices * SOME * (size_t)(last - first + 1);
    sound *sessions = xmalloc(most, sizeof *sessions);
    count without[CHECKS] = {{0}};
    for (int voice = 1; voice <= voices; voice++)
        for (int f = 0; f < SOME; f++)
            for (uint64_t seed = first; seed <= last; seed++) {
                sessions[n] = fault_free_session(voice, families[f], seed, 3, 1.5, 50, RATE);
                planted_scale(&sessions[n], 0.5);
                checkup found = check(&sessions[n++]);
                add(families[f], &found, without);
            }
    size_t alarms = 0;
    for (int c = 0; c < CHECKS; c++)
        alarms += without[c].named;
    printf("\n%zu sessions; without a fault %zu checks of them warned or failed.\n"
           "\n| fault | named by | in | as it is to be |\n|---|---|---|---|\n",
           n, alarms);
    for (size_t k = 0; k < n_planted_faults; k++)
        fault_row(&planted_faults[k], sessions, n, false);
    printf("\n| near the rules | named by | in | as it is to be |\n|---|---|---|---|\n");
    for (size_t k = 0; k < n_planted_near; k++)
        fault_row(&planted_near[k], sessions, n, true);
    for (size_t i = 0; i < n; i++)
        sound_clear(&sessions[i]);
    free(sessions);
}

/* A singer's note, held in the register that it lies in. */
static sound held(soloist who, double st)
{
    who.one.rate_hz = who.two.rate_hz = RATE;
    solo_plan p = {.kind = SOLO_HOLD,
                   .held = st > who.edge_st - 1 ? 2 : 1,
                   .from_st = st,
                   .to_st = st,
                   .from_db = who.middle_db,
                   .to_db = who.middle_db,
                   .seconds = 6};
    solo s = solo_sing(&who, &p, 0);
    sound x = copy(&s.x);
    solo_clear(&s);
    return x;
}

static const int intervals[] = {3, 4, 5, 8, 9, 10, 7, 12};
static const int softer_db[] = {0, 6, 12, 20};
enum { INTERVALS = 8, SOFTER = 4 };

/* The duet at each level: named (1) or not judged (-1). */
static void duets(const sound *one, const sound *other, int found[SOFTER])
{
    for (int k = 0; k < SOFTER; k++) {
        sound both = copy(one);
        fault_other(&both, other, -softer_db[k]);
        planted_scale(&both, 0.5);
        checkup c = check(&both);
        const check_row *row = &c.of[CHECK_TWO_VOICES];
        found[k] = row->result == CHECK_NONE ? -1 : named(row);
        sound_clear(&both);
    }
}

/* Two singers at once, each on a note; the second at four levels. */
static void second_singers(uint64_t first, uint64_t last, int voices)
{
    count seen[INTERVALS][SOFTER] = {{{0}}};
    for (uint64_t seed = first; seed <= last; seed++)
        for (int voice = 1; voice <= voices; voice++)
            for (int k = 0; k < INTERVALS; k++) {
                soloist low = soloist_draw(voice, families[k % SOME], seed);
                sound one = held(low, low.edge_st - 9);
                sound other = held(soloist_draw(voice, families[(k + 1) % SOME], seed + 1),
                                   low.edge_st - 9 + intervals[k]);
                int found[SOFTER];
                duets(&one, &other, found);
                for (int q = 0; q < SOFTER; q++) {
                    seen[k][q].judged += found[q] >= 0;
                    seen[k][q].named += found[q] > 0;
                }
                sound_clear(&one);
                sound_clear(&other);
            }
    size_t of = (size_t)voices * (last - first + 1);
    printf(
        "\nSecond singers, named of %zu for each interval.\n\n| semitones | 0 dB softer | 6 | 12 "
        "| 20 | judged |\n|---|---|---|---|---|---|\n",
        of);
    for (int k = 0; k < INTERVALS; k++) {
        size_t judged = 0;
        printf("| %d |", intervals[k]);
        for (int q = 0; q < SOFTER; q++) {
            printf(" %zu |", seen[k][q].named);
            judged += seen[k][q].judged;
        }
        printf(" %zu of %zu |\n", judged, of * SOFTER);
    }
}

int main(int argc, char **argv)
{
    if (argc < 3)
        die("usage: checks FIRST-SEED LAST-SEED [VOICES]");
    uint64_t first = strtoull(argv[1], NULL, 10), last = strtoull(argv[2], NULL, 10);
    int voices = argc > 3 ? atoi(argv[3]) : 2;
    false_alarms(first, last, voices);
    faults(first, last, voices);
    second_singers(first, last, voices);
    return 0;
}
