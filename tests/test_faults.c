/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The journal while things go wrong: the program killed, the computer switched off, each write and
 * each read failing in turn (tests/faults/disk.c). Afterwards the journal opens and is sound, every
 * take that was reported is there and none of before is gone, and the same command said again comes
 * to what it comes to on a good disk. Oracles: the program's own export on a good disk, byte for
 * byte; what was printed before it died. $FAULTS: how many times it is killed, the short form
 * unless given; from 500 on every step fails in turn and not one in some. */
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include <cmocka.h>

#include "journal/frames.h"
#include "run_program.h"

enum { SHORT = 9, LONG = 500, SHORT_STEPS = 2 };

/* The journal's files as an act left them, and what they say. */
typedef struct left {
    unsigned char digest[FRAMES_DIGEST];
    char *says; /* the export */
} left;

typedef struct act {
    const char *args[8], *settle[8]; /* settle: finishes it when it was stored, but not decoded */
    bool again;                      /* may be said twice */
    bool erases;                     /* takes of before may go */
    char *after;                     /* the export when nothing goes wrong */
    long steps, reads, us;           /* which it takes then */
    size_t n_seen, room_seen;
    left *seen;
} act;

enum { ADD, CORRECT, MERGE, REMOVE, RENAME, FORGET, BACKUP, ACTS };

/* The takes of before are robin's first and wren's; `TAKE` stands for the code of robin's. */
static const act plan[ACTS] = {
    [ADD] = {.args = {"add", "--table", "new.tsv"}, .again = true},
    [CORRECT] = {.args = {"correct", "TAKE", "add", "0.4", "up"},
                 .settle = {"add", "robin", "v/take-00.wav@1-1.8"}},
    [MERGE] = {.args = {"merge", "other.db"}, .again = true},
    [REMOVE] = {.args = {"journal", "remove", "TAKE", "--yes"},
                .settle = {"add", "robin", "v/take-00.wav@2-2.8"},
                .erases = true},
    [RENAME] = {.args = {"journal", "rename", "wren", "finch"},
                .settle = {"add", "finch", "v/take-01.wav@1-1.8"},
                .erases = true},
    [FORGET] = {.args = {"journal", "forget", "wren", "--yes"}, .erases = true},
    [BACKUP] = {.args = {"journal", "backup", "copy.db"}},
};

typedef struct world {
    act acts[ACTS];
    char *before, *take, *disk, *home;
    long rounds;
} world;

typedef struct ending {
    bool killed;
    int code;
    char *out, *err;
} ending;

static void ending_clear(ending *x)
{
    free(x->out);
    free(x->err);
}

static long now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static uint64_t dice(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return *seed >> 33;
}

typedef struct fault {
    const char *kind; /* as in tests/faults/disk.c; NULL: none */
    long at;
    uint64_t seed;
    long kill_us; /* the moment at which the process is killed; 0: it is not */
} fault;

static void set_number_of(const char *name, long value)
{
    char *text = xformat("%ld", value);
    setenv(name, text, 1);
    free(text);
}

static void become(const world *w, const act *a, const fault *f)
{
    const char *argv[9] = {program()};
    for (size_t i = 0; a->args[i]; i++)
        argv[i + 1] = strcmp(a->args[i], "TAKE") == 0 ? w->take : a->args[i];
    if (!freopen("stdout", "w", stdout) || !freopen("stderr", "w", stderr))
        _exit(99);
    if (f->kind) {
        setenv("FAULT", f->kind, 1);
        setenv("FAULT_STEPS", "steps", 1);
        set_number_of("FAULT_AT", f->at);
        set_number_of("FAULT_SEED", (long)f->seed);
        setenv("LD_PRELOAD", w->disk, 1);
    }
    /* The search for leaks, a process beside the one that ends, speaks when that one is killed. */
    if (f->kind || f->kill_us)
        setenv("ASAN_OPTIONS", "verify_asan_link_order=0:detect_leaks=0", 1);
    execv(argv[0], (char *const *)argv);
    _exit(99);
}

static ending run_act(const world *w, const act *a, fault f)
{
    write_file("stdout", ""); /* it may be killed before it has opened them */
    write_file("stderr", "");
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0)
        become(w, a, &f);
    if (f.kill_us) {
        struct timespec t = {f.kill_us / 1000000, f.kill_us % 1000000 * 1000};
        nanosleep(&t, NULL);
        kill(child, SIGKILL);
    }
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    bool killed = WIFSIGNALED(status);
    if (killed && WTERMSIG(status) != SIGKILL)
        fail_msg("%s was ended by signal %d", a->args[0], WTERMSIG(status));
    return (ending){killed, killed ? -1 : WEXITSTATUS(status), read_file("stdout"),
                    read_file("stderr")};
}

static void shell(const char *line)
{
    if (system(line) != 0)
        fail_msg("%s", line);
}

static void stand(void)
{
    shell("rm -f j.db* copy.db*; cp before.db j.db");
}

static void check_none_lost(const char *before, const char *all, const char *what)
{
    for (const char *at = before; (at = strstr(at, "\ntake\t")); at++) {
        char *row = xformat("%.*s", (int)strcspn(at + 1, "\n") + 1, at);
        char *code = strstr(row, "\t\t");
        assert_non_null(code);
        code[2 + 64] = '\0';
        if (!strstr(all, code))
            fail_msg("%s: take %s of before is gone", what, code + 2);
        free(row);
    }
}

static void check_sound(const char *what)
{
    said s = run("journal", "verify");
    if (s.code != EXIT_DONE || !strstr(s.err, "The journal is sound"))
        fail_msg("%s: verify ends with %d: %s%s", what, s.code, s.out, s.err);
    said_clear(&s);
}

/* Whatever the act had come to: it, or what finishes it, comes to the same as ever. */
static void check_goes_on(const world *w, const act *a, const char *now, const char *what)
{
    act next = *a;
    bool settles = !a->again && strcmp(now, w->before) != 0 && strcmp(now, a->after) != 0;
    if (settles)
        memcpy(next.args, a->settle, sizeof next.args);
    if (!next.args[0] || (!a->again && !settles && strcmp(now, w->before) != 0))
        return;
    unlink("copy.db");
    unlink("copy.db-journal");
    ending x = run_act(w, &next, (fault){0});
    if (x.code != EXIT_DONE)
        fail_msg("%s: said again it ends with %d: %s", what, x.code, x.err);
    ending_clear(&x);
    char *all = all_exported();
    if (strcmp(all, a->after) != 0) {
        write_file("got", all);
        write_file("want", a->after);
        fail_msg("%s: said again it does not come to the same (got and want in %s)", what, w->home);
    }
    free(all);
}

/* An error is one sentence or more and an exit code, and no success where something failed. */
static void check_ending(const act *a, const ending *x, const char *now, const char *what)
{
    check_sentences(x->err);
    if (x->killed)
        return;
    if (x->code != EXIT_DONE && (x->code != EXIT_INPUT || !*x->err))
        fail_msg("%s: exit %d: %s", what, x->code, x->err);
    if (x->code == EXIT_DONE && strcmp(now, a->after) != 0)
        fail_msg("%s: it said that it was done, and is not", what);
}

static void digest_files(unsigned char digest[FRAMES_DIGEST])
{
    static const char *const names[] = {"j.db", "j.db-journal"};
    unsigned char both[2][FRAMES_DIGEST] = {{0}, {0}};
    for (size_t i = 0; i < 2; i++) {
        struct stat st;
        if (stat(names[i], &st) != 0)
            continue;
        char *bytes = read_file(names[i]);
        frames_digest(bytes, (size_t)st.st_size, both[i]);
        free(bytes);
    }
    frames_digest(both, sizeof both, digest);
}

/* What the journal says, which is sound and from which the act goes on to the same end. Files of
 * the same bytes are looked at once: what the program makes of them hangs on nothing else. */
static const char *what_it_says(const world *w, act *a, const char *what)
{
    left now;
    digest_files(now.digest);
    for (size_t i = 0; i < a->n_seen; i++)
        if (memcmp(a->seen[i].digest, now.digest, sizeof now.digest) == 0)
            return a->seen[i].says;
    check_sound(what);
    now.says = all_exported();
    check_goes_on(w, a, now.says, what);
    array_reserve((void **)&a->seen, &a->room_seen, a->n_seen + 1, sizeof *a->seen);
    a->seen[a->n_seen++] = now;
    return now.says;
}

/* Returns how many takes were reported. */
static size_t try(const world *w, act *a, fault f, bool *went_wrong)
{
    char *what = xformat("%s %s, %s %ld, seed %lu, killed after %ld us", a->args[0], a->args[1],
                         f.kind ? f.kind : "step", f.at, (unsigned long)f.seed, f.kill_us);
    stand();
    ending x = run_act(w, a, f);
    *went_wrong = x.killed || x.code != EXIT_DONE;
    const char *now = what_it_says(w, a, what);
    size_t reported = check_there(x.out, now, what);
    if (!a->erases)
        check_none_lost(w->before, now, what);
    check_ending(a, &x, now, what);
    ending_clear(&x);
    free(what);
    return reported;
}

static void read_steps(act *a)
{
    char *text = read_file("steps");
    assert_int_equal(sscanf(text, "%ld %ld", &a->steps, &a->reads), 2);
    free(text);
    assert_true(a->steps > 5 && a->reads > 5);
}

/* On a good disk: what each act comes to, and in how many steps. */
static void rehearse(world *w)
{
    for (int k = 0; k < ACTS; k++) {
        act *a = &w->acts[k];
        *a = plan[k];
        stand();
        ending x = run_act(w, a, (fault){.kind = "count"});
        if (x.code != EXIT_DONE)
            fail_msg("%s %s: %d, %s", a->args[0], a->args[1], x.code, x.err);
        ending_clear(&x);
        read_steps(a);
        a->after = all_exported();
        stand();
        long start = now_us();
        x = run_act(w, a, (fault){0});
        a->us = now_us() - start;
        ending_clear(&x);
    }
}

static void test_on_a_good_disk(void **state)
{
    world *w = *state;
    rehearse(w);
    for (int k = 0; k < ACTS; k++) {
        const act *a = &w->acts[k];
        print_message("%s %s: %ld steps, %ld reads, %.0f ms\n", a->args[0], a->args[1], a->steps,
                      a->reads, 1e-3 * (double)a->us);
        assert_int_equal(strcmp(a->after, w->before) == 0, k == BACKUP);
    }
}

static size_t states_seen(const world *w)
{
    size_t n = 0;
    for (int k = 0; k < ACTS; k++)
        n += w->acts[k].n_seen;
    return n;
}

/* add, correct and merge in turn; where `kind` is NULL at a moment of their time, otherwise at one
 * of their steps. */
static void kill_often(world *w, const char *kind)
{
    uint64_t seed = 1;
    size_t reported = 0, died = 0, states = states_seen(w);
    for (long round = 0; round < w->rounds; round++) {
        act *a = &w->acts[round % 3];
        bool wrong;
        fault f = {.kind = kind, .seed = seed};
        if (kind)
            f.at = 1 + (long)(dice(&seed) % (uint64_t)a->steps);
        else
            f.kill_us = 1 + (long)(dice(&seed) % (uint64_t)a->us);
        reported += try(w, a, f, &wrong);
        died += wrong;
    }
    print_message("%s: %ld rounds of add, correct and merge, died in %zu, %zu takes reported, %zu "
                  "new states of the journal, seed 1\n",
                  kind ? kind : "moments", w->rounds, died, reported, states_seen(w) - states);
    assert_true(died > 0 && (!kind || 2 * died >= (size_t)w->rounds));
}

static void test_killed_at_any_moment(void **state)
{
    kill_often(*state, NULL);
}

static void test_killed_at_any_step(void **state)
{
    kill_often(*state, "kill");
}

static void test_switched_off(void **state)
{
    kill_often(*state, "power");
}

/* Each step of each act fails in turn; in the short form some of them. */
static void fail_in_turn(world *w, const char *kind)
{
    size_t tried = 0, refused = 0, states = states_seen(w);
    for (int k = 0; k < ACTS; k++) {
        act *a = &w->acts[k];
        long n = strcmp(kind, "read") == 0 ? a->reads : a->steps;
        long stride = w->rounds >= LONG ? 1 : 1 + n / SHORT_STEPS;
        for (long at = 1 + (w->rounds >= LONG ? 0 : k % stride); at <= n; at += stride) {
            bool wrong;
            try(w, a, (fault){.kind = kind, .at = at}, &wrong);
            tried++;
            refused += wrong;
        }
    }
    print_message("%s: %zu steps failed in turn, %zu times the command said so, %zu new states of "
                  "the journal\n",
                  kind, tried, refused, states_seen(w) - states);
    assert_true(2 * refused >= tried);
}

static void test_disk_full(void **state)
{
    fail_in_turn(*state, "full");
}

static void test_disk_stays_full(void **state)
{
    fail_in_turn(*state, "full+");
}

static void test_write_error(void **state)
{
    fail_in_turn(*state, "io");
}

static void test_writes_keep_failing(void **state)
{
    fail_in_turn(*state, "io+");
}

static void test_read_error(void **state)
{
    fail_in_turn(*state, "read");
}

static char *beside_program(const char *name)
{
    char *path = xstrdup(program()), *slash = strrchr(path, '/');
    assert_non_null(slash);
    *slash = '\0';
    char *beside = xformat("%s/%s", path, name);
    free(path);
    return beside;
}

/* What stands before each act, in before.db and other.db. */
static void prepare(world *w)
{
    char *voice = beside_program("testvoice"), *line = xformat("%s family clear 7 v", voice);
    shell(line);
    free(line);
    free(voice);
    write_file("new.tsv", "file\tsinger\tdate\tvowel\n"
                          "v/take-02.wav@1-1.8\trobin\t2024-03-01\ta\n"
                          "v/take-03.wav@1-1.8\twren\t2024-03-01\ta\n"
                          "v/take-04.wav@1-1.8\tjay\t2024-03-01\ta\n");
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    check_done(run("add", "robin", "v/take-00.wav@1-1.8", "v/take-00.wav@2-2.8", "--date",
                   "2024-01-01", "--vowel", "a"));
    check_done(run("add", "wren", "v/take-01.wav@1-1.8", "--date", "2024-01-01", "--vowel", "a"));
    w->before = all_exported();
    said s = run("takes", "robin");
    table *t = table_of(&s);
    w->take = xstrdup(cell(t, 0, "take"));
    table_free(t);
    said_clear(&s);
    shell("cp j.db before.db");
    setenv("SEAMLINE_JOURNAL", "other.db", 1);
    check_done(run("add", "robin", "v/take-05.wav@1-1.8", "--date", "2024-02-01", "--vowel", "a"));
    check_done(run("add", "magpie", "v/take-06.wav@1-1.8", "--date", "2024-02-01"));
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
}

static int begin(void **state)
{
    world *w = xcalloc(1, sizeof *w);
    const char *rounds = getenv("FAULTS");
    w->rounds = rounds ? strtol(rounds, NULL, 10) : SHORT;
    if (enter_new_folder((void **)&w->home) != 0)
        return -1;
    w->disk = beside_program("failing_disk.so");
    *state = w;
    prepare(w);
    return 0;
}

static int finish(void **state)
{
    world *w = *state;
    for (int k = 0; k < ACTS; k++) {
        act *a = &w->acts[k];
        for (size_t i = 0; i < a->n_seen; i++)
            free(a->seen[i].says);
        free(a->seen);
        free(a->after);
    }
    free(w->before);
    free(w->take);
    free(w->disk);
    void *home = w->home;
    free(w);
    return leave_folder(&home);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_on_a_good_disk),     cmocka_unit_test(test_killed_at_any_moment),
        cmocka_unit_test(test_killed_at_any_step), cmocka_unit_test(test_switched_off),
        cmocka_unit_test(test_disk_full),          cmocka_unit_test(test_disk_stays_full),
        cmocka_unit_test(test_write_error),        cmocka_unit_test(test_writes_keep_failing),
        cmocka_unit_test(test_read_error),
    };
    return cmocka_run_group_tests(tests, begin, finish);
}
