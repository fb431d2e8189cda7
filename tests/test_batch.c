/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A batch of recordings on a terminal: how far it is and how long it takes still, Ctrl-C typed on a
 * pseudo-terminal again and again, and the same command, which goes on from there; changes that are
 * stopped while registers are decoded anew. Oracles: the export of a journal into which the batch
 * went without a stop, or without the change, byte for byte; the clock. $BATCH: how many
 * recordings, a short form unless given. */
#include <math.h>
#include <poll.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>

#include <cmocka.h>

#include "run_program.h"

enum { SHORT = 72, SINGERS = 6, STOPS = 4, LINES = 20000 };
enum { MUCH = 96 }; /* takes of a singer, whose registers take longer than all else */

static const char table_name[] = "batch.tsv";

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static size_t batch_size(void)
{
    const char *text = getenv("BATCH");
    return text ? strtoul(text, NULL, 10) : SHORT;
}

/* What the terminal showed: every line of progress, and when. */
typedef struct seen {
    double at_s, left_s; /* left_s NaN: it does not say */
    size_t heard;
} seen;

typedef struct showing {
    pid_t child;
    int master;
    char *text; /* all that came so far */
    size_t n, room, n_lines;
    seen lines[LINES];
    double start_s, end_s, stopped_s; /* stopped_s: when Ctrl-C was typed */
    int status;
} showing;

/* add --table on a terminal of its own, which is its stdin and stderr; rows go to "printed". */
static showing *begin_batch(void)
{
    showing *s = xcalloc(1, sizeof *s);
    s->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (s->master < 0 || grantpt(s->master) != 0 || unlockpt(s->master) != 0) {
        free(s);
        return NULL;
    }
    s->start_s = now_s();
    s->child = fork();
    assert_true(s->child >= 0);
    if (s->child)
        return s;
    setsid();
    int slave = open(ptsname(s->master), O_RDWR); /* becomes the session's terminal */
    int out = open("printed", O_RDWR | O_CREAT | O_TRUNC, 0600);
    dup2(slave, STDIN_FILENO);
    dup2(out, STDOUT_FILENO);
    dup2(slave, STDERR_FILENO);
    execl(program(), "seamline", "add", "--table", table_name, (char *)NULL);
    _exit(99);
}

/* "1 h 2 min", "1 min 20 s", "35 s" before " left"; NaN when it is not there. */
static double left_in(const char *line)
{
    const char *at = strstr(line, "heard, ");
    double sum = 0, value;
    char unit[8];
    int used;
    if (!at || !strstr(at, " left"))
        return (double)NAN;
    for (at += 7; sscanf(at, "%lf %7[a-z]%n", &value, unit, &used) == 2; at += used)
        sum += value * (strcmp(unit, "h") == 0 ? 3600 : strcmp(unit, "min") == 0 ? 60 : 1);
    return sum;
}

/* Takes in what has come; each line of progress begins with a return. */
static void take_in(showing *s, const char *bytes, size_t n)
{
    array_reserve((void **)&s->text, &s->room, s->n + n + 1, 1);
    memcpy(s->text + s->n, bytes, n);
    s->n += n;
    s->text[s->n] = '\0';
    const char *last = strrchr(s->text, '\r'), *bar = last ? strstr(last, "] ") : NULL;
    if (!bar || s->n_lines == LINES)
        return;
    s->lines[s->n_lines++] = (seen){now_s(), left_in(last), strtoul(bar + 2, NULL, 10)};
}

/* Reads until it has ended. Types Ctrl-C `times` when so many are heard, or after `stop_s`. */
static void watch(showing *s, size_t stop_at, double stop_s, int times)
{
    char bytes[4096];
    for (bool open = true; open;) {
        struct pollfd p = {.fd = s->master, .events = POLLIN};
        if (poll(&p, 1, 20) > 0) {
            ssize_t got = read(s->master, bytes, sizeof bytes);
            open = got > 0;
            if (open)
                take_in(s, bytes, (size_t)got);
        }
        size_t heard = s->n_lines ? s->lines[s->n_lines - 1].heard : 0;
        if (times && s->stopped_s == 0 && (heard >= stop_at || now_s() - s->start_s > stop_s)) {
            s->stopped_s = now_s();
            for (int i = 0; i < times; i++)
                assert_int_equal(write(s->master, "\003", 1), 1);
        }
    }
    assert_int_equal(waitpid(s->child, &s->status, 0), s->child);
    s->end_s = now_s();
    close(s->master);
}

static void end(showing *s)
{
    free(s->text);
    free(s);
}

/* The journal is sound, and every take that was printed is in it. */
static size_t check_kept(void)
{
    said s = run("journal", "verify");
    if (s.code != EXIT_DONE)
        fail_msg("verify: %s%s", s.out, s.err);
    said_clear(&s);
    char *rows = read_file("printed"), *all = all_exported();
    size_t n = check_there(rows, all, "printed");
    free(rows);
    free(all);
    return n;
}

/* Of singers name-0, name-1 and so on. */
static void write_batch(const char *to, size_t n, const char *name, size_t singers)
{
    FILE *f = fopen(to, "w");
    assert_non_null(f);
    fputs("file\tsinger\tdate\tvowel\n", f);
    for (size_t k = 0; k < n; k++)
        fprintf(f, "v/take-%02zu.wav@%.2f-%.2f\t%s-%zu\t2024-%02zu-%02zu\ta\n", k % 8,
                0.3 + 0.01 * (double)(k / 8), 2.7 + 0.01 * (double)(k / 8), name, k * singers / n,
                1 + k / 28 % 12, 1 + k % 28);
    assert_int_equal(fclose(f), 0);
}

static int enter(void **state)
{
    char *voice = from_environment("TESTVOICE", "build/testvoice");
    if (!voice || enter_new_folder(state) != 0)
        return -1;
    char *line = xformat("%s family clear 7 v >/dev/null", voice);
    int code = system(line);
    free(line);
    free(voice);
    write_batch(table_name, batch_size(), "singer", SINGERS);
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    setenv("COLUMNS", "80", 1);
    return code == 0 ? 0 : -1;
}

static showing *show(size_t stop_at, double stop_s, int times)
{
    showing *s = begin_batch();
    if (!s) {
        print_message("no pseudo-terminals here\n");
        skip();
    }
    watch(s, stop_at, stop_s, times);
    return s;
}

/* How many times as much time as it took was told to be left: the mean in logs over all lines that
 * were shown more than a second before the end. */
static double told_over_true(const showing *s, size_t *n)
{
    double sum = 0;
    *n = 0;
    for (size_t i = 0; i < s->n_lines; i++) {
        double left_s = s->end_s - s->lines[i].at_s;
        if (isnan(s->lines[i].left_s) || left_s < 1)
            continue;
        sum += log(fmax(s->lines[i].left_s, 0.5) / left_s);
        ++*n;
    }
    return *n ? exp(sum / (double)*n) : (double)NAN;
}

static char *whole; /* the export without a stop */

static void test_without_a_stop(void **state)
{
    fresh(state);
    showing *s = show(0, 0, 0);
    size_t n = batch_size(), told, rows = check_kept();
    if (!WIFEXITED(s->status) || WEXITSTATUS(s->status) != EXIT_DONE)
        fail_msg("it did not end well: %s", s->text);
    assert_int_equal(rows, n);
    double ratio = told_over_true(s, &told);
    print_message("%zu recordings in %.1f s; %zu lines of progress, of which %zu told a time left, "
                  "%.2f times the true one\n",
                  n, s->end_s - s->start_s, s->n_lines, told, ratio);
    /* What is drawn twice a second need not show the last of them. */
    assert_true(s->n_lines > 3 && s->lines[s->n_lines - 1].heard >= n - n / SINGERS);
    for (size_t i = 1; i < s->n_lines; i++)
        assert_true(s->lines[i].heard >= s->lines[i - 1].heard);
    assert_non_null(strstr(s->text, " s left"));
    /* a machine that does other work by turns may be off by so much */
    assert_true(told < 10 || (ratio > 1.0 / 3 && ratio < 3));
    whole = all_exported();
    end(s);
}

/* Stopped with Ctrl-C at `stop_at` recordings; true when it was stopped and not done before.
 * *amid: one more where it was amid the recordings of a singer. */
static bool stop_once(size_t stop_at, int times, size_t *amid)
{
    showing *s = show(stop_at, 60, times);
    bool killed = WIFSIGNALED(s->status), done = !killed && WEXITSTATUS(s->status) == EXIT_DONE;
    const char *told = strstr(s->text, "Stopped with ");
    size_t rows = check_kept(), heard = told ? strtoul(told + 13, NULL, 10) : 0;
    if (killed ? times < 2 || WTERMSIG(s->status) != SIGINT : !done && !told)
        fail_msg("it ended with status %d: %s", s->status, s->text);
    print_message("Ctrl-C at %zu: ended after %.2f s with %zu heard%s, %zu printed\n", stop_at,
                  s->end_s - s->stopped_s, heard, killed ? " or more, by the signal" : "", rows);
    assert_true(killed || done || (heard >= stop_at && strstr(told, "goes on from there.")));
    *amid += heard % (batch_size() / SINGERS) != 0;
    end(s);
    return !done;
}

static void test_stopped_again_and_again(void **state)
{
    size_t n = batch_size(), stopped = 0, amid = 0;
    fresh(state);
    for (size_t round = 0; round < STOPS; round++)
        stopped += stop_once(n * (2 * round + 1) / (2 * STOPS), round == 1 ? 3 : 1, &amid);
    assert_true(stopped >= 2 && amid >= 1);
    showing *s = show(0, 0, 0);
    if (!WIFEXITED(s->status) || WEXITSTATUS(s->status) != EXIT_DONE)
        fail_msg("it did not end well: %s", s->text);
    assert_int_equal(check_kept(), n);
    assert_non_null(strstr(s->text, "were in the journal already"));
    end(s);
    char *all = all_exported();
    assert_string_equal(all, whole);
    free(all);
    free(whole);
}

static double children_s(void)
{
    struct rusage u;
    assert_int_equal(getrusage(RUSAGE_CHILDREN, &u), 0);
    return (double)u.ru_utime.tv_sec + 1e-6 * (double)u.ru_utime.tv_usec;
}

/* Runs the program with a Ctrl-C that came before and waits to be heard; returns what it says. */
static char *run_stopped(const char *const *args)
{
    int status;
    pid_t child = fork();
    assert_true(child >= 0);
    if (!child) {
        sigset_t set;
        sigemptyset(&set);
        sigaddset(&set, SIGINT);
        sigprocmask(SIG_BLOCK, &set, NULL);
        raise(SIGINT);
        dup2(open("stderr", O_RDWR | O_CREAT | O_TRUNC, 0600), STDERR_FILENO);
        execv(program(), (char *const *)args);
        _exit(99);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == EXIT_INPUT);
    return read_file("stderr");
}

/* Each change first with Ctrl-C, which leaves the journal as it was and takes less time than to
 * decode the registers, then without. */
static void test_changes_are_stopped(void **state)
{
    (void)state;
    write_batch("much.tsv", MUCH, "much", 1);
    check_done(run("add", "--table", "much.tsv"));
    said s = run("takes", "much-0");
    table *t = table_of(&s);
    const char *take = cell(t, 0, "take");
    const char *const acts[][7] = {{"seamline", "correct", take, "add", "1.2", "up"},
                                   {"seamline", "journal", "remove", take, "--yes"},
                                   {"seamline", "journal", "restore", take}};
    for (size_t k = 0; k < sizeof acts / sizeof *acts; k++) {
        char *before = all_exported();
        double start_s = children_s();
        char *told = run_stopped(acts[k]);
        double stopped_s = children_s() - start_s;
        assert_string_equal(told, "seamline: Stopped while the registers of much-0 were "
                                  "decoded: the journal is as it was.\n");
        free(told);
        char *after = all_exported();
        assert_string_equal(after, before);
        free(after);
        start_s = children_s();
        check_done(run_list(acts[k] + 1));
        double whole_s = children_s() - start_s;
        after = all_exported();
        assert_string_not_equal(after, before);
        free(after);
        free(before);
        print_message("%s %s: stopped after %.2f s of %.2f\n", acts[k][1], acts[k][2], stopped_s,
                      whole_s);
        assert_true(stopped_s < 0.5 * whole_s);
    }
    table_free(t);
    said_clear(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_without_a_stop),
        cmocka_unit_test(test_stopped_again_and_again),
        cmocka_unit_test(test_changes_are_stopped),
    };
    return cmocka_run_group_tests_name("batch", tests, enter, leave_folder);
}
