/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The manual, completion in bash, and what make install puts where. Oracles: mandoc's own check of
 * a page; bash with the completion loaded; --help, which names the same options; the folder after
 * uninstall, which is as before install. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "run_program.h"

static char *root; /* of the checkout, from which make runs */

/* What a shell prints on stdout, with the program as $P and the checkout as $ROOT. */
static char *shell(const char *line)
{
    const char *const argv[] = {"bash", "-c", line, NULL};
    int out = open("shell", O_RDWR | O_CREAT | O_TRUNC, 0600), code = -1;
    assert_int_equal(process_run(argv, "", 0, out, STDERR_FILENO, &code), PROCESS_DONE);
    close(out);
    if (code)
        fail_msg("exit %d: %s", code, line);
    return read_file("shell");
}

static void check_shell(const char *line, const char *want)
{
    char *got = shell(line);
    if (strcmp(got, want) != 0)
        fail_msg("%s\nprinted: %s\nnot: %s", line, got, want);
    free(got);
}

static bool has_program(const char *name)
{
    char *line = xformat("command -v %s || true", name), *path = shell(line);
    bool has = *path != '\0';
    free(line);
    free(path);
    return has;
}

/* The names of all commands, one after the other. */
static char *command_names(void)
{
    return shell("\"$P\" --help | sed -n '/^Commands:/,/^$/s/^  \\([a-z]*\\) .*/\\1/p'");
}

/* Every option that --help names is on the page, and so is every example. */
static void check_page(const char *name)
{
    char *page_line = xformat("\"$P\" help --man %s", name);
    char *list_line = xformat("\"$P\" help %s | grep -o '^  *\\(-., \\)\\?--[a-z0-9-]*' | "
                              "sed 's/.*--//; s/-/\\\\-/g'",
                              name);
    char *page = shell(page_line), *list = shell(list_line), *rest = list;
    assert_true(strncmp(page, ".TH SEAMLINE", 12) == 0);
    assert_non_null(strstr(page, "\n.SH EXIT STATUS\n"));
    size_t n = 0;
    for (char *option; (option = strtok_r(rest, "\n", &rest)); n++) {
        char *bold = xformat("\\fB\\-\\-%s\\fR", option);
        if (!strstr(page, bold))
            fail_msg("the page of %s has no %s", name, bold);
        free(bold);
    }
    assert_true(n >= 6);
    assert_true(!*name || strstr(page, "\n.SH EXAMPLES\n.nf\nseamline "));
    free(page);
    free(list);
    free(page_line);
    free(list_line);
}

static void test_pages(void **state)
{
    (void)state;
    char *names = command_names(), *rest = names;
    size_t n = 0;
    check_page("");
    for (char *name; (name = strtok_r(rest, "\n", &rest)); n++)
        check_page(name);
    print_message("%zu pages\n", n + 1);
    assert_true(n >= 18);
    free(names);
}

static void test_pages_by_mandoc(void **state)
{
    (void)state;
    assert_true(has_program("mandoc")); /* `make test` installs it */
    check_shell("for c in '' $(\"$P\" complete -- '' | sed 1d); do \"$P\" help --man $c | "
                "mandoc -Tlint -W warning || exit 1; done",
                "");
    check_shell("\"$P\" help --man correct | mandoc -Tascii | sed 's/.\x08//g' | grep -c 'add TIME "
                "up|down '",
                "1\n");
}

/* help NAME and NAME --help are one. */
static void test_help(void **state)
{
    (void)state;
    said a = run("help", "map"), b = run("map", "--help");
    assert_string_equal(a.out, b.out);
    assert_non_null(strstr(a.out, "\nExamples:\n  seamline map "));
    said_clear(&a);
    said_clear(&b);
    check_refused(run("help", "mpa"), EXIT_USAGE, "did you mean map?");
}

static void test_versions(void **state)
{
    (void)state;
    static const char *const names[] = {"seamline 0", "libsndfile", "fftw",    "GSL",
                                        "SQLite 3",   "jansson",    "libsoxr", "nettle"};
    said s = run("--version");
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        assert_non_null(strstr(s.out, names[i]));
    said_clear(&s);
}

/* Words as bash parts them, the last one being typed. */
static void check_completed(const char *words, const char *want)
{
    char *line = xformat(". \"$ROOT/data/seamline.bash\"; COMP_WORDS=(\"$P\" %s); "
                         "COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); _seamline; "
                         "printf '%%s|' \"${COMPREPLY[@]}\"; echo",
                         words);
    char *expected = xformat("%s\n", want);
    check_shell(line, expected);
    free(expected);
    free(line);
}

static void test_completion(void **state)
{
    (void)state;
    check_completed("pro", "progress|");
    check_completed("--form", "--format|");
    check_completed("map --se", "--sessions|");
    check_completed("map --format ''", "tsv|json|text|");
    check_completed("map --format '=' j", "json|");
    check_completed("map --format '='", "tsv|json|text|");
    check_completed("add x y --register ''", "M1|M2|");
    check_completed("add x y --hold ''", "pitch|level|register|none|");
    check_completed("add x y --hold level,re", "level,register|");
    check_completed("journal re", "recover|rename|remove|restore|");
    check_completed("journal verify ''", "|");
    check_completed("correct x ''", "add|move|remove|confirm|withdraw|");
    check_completed("help spl", "split|");
    check_completed("xyzzy ''", "|");
    check_completed("map --a4 ''", "|");
    check_completed("-- map --se", "|");
}

/* Names may hold anything: they are quoted for the line, and nothing in them runs. */
static void test_completion_of_singers(void **state)
{
    (void)state;
    static const char *const names[] = {"robin", "Bj\xC3\xB6rk two", "$(touch ran)`touch ran`;'"};
    for (size_t i = 0; i < 3; i++)
        check_done(run("add", names[i], "slide.wav"));
    check_completed("map ro", "robin|");
    check_completed("takes Bj", "Bj\xC3\xB6rk\\ two|");
    check_completed("map --vowel a wr", "|");
    check_completed("map '\"ro'", "robin|");
    check_completed("compare robin rob", "robin|");
    check_completed("journal rename ro", "robin|");
    check_completed("map --journal none.db ''", "|");
    check_completed("map robin ''", "|");
    char *all =
        shell(". \"$ROOT/data/seamline.bash\"; COMP_WORDS=(\"$P\" map ''); COMP_CWORD=2; "
              "_seamline; eval \"\\\"$P\\\" takes ${COMPREPLY[0]}\" | tail -n 1 | cut -f 2");
    assert_string_equal(all, "slide.wav\n");
    free(all);
    assert_int_equal(access("ran", F_OK), -1);
    char *takes = shell("\"$P\" complete -- correct '' | sed 1d | sort"),
         *want =
             shell("for s in robin 'Bj\xC3\xB6rk two' '$(touch ran)`touch ran`;'\"'\"; do \"$P\" "
                   "takes \"$s\" | tail -n 1 | cut -f 1; done | sort");
    assert_string_equal(takes, want);
    free(takes);
    free(want);
}

static const char *listing = "cd dest 2>/dev/null && find . -type f | LC_ALL=C sort";

static void test_install(void **state)
{
    (void)state;
    free(shell("mkdir -p dest; unset MAKEFLAGS MAKELEVEL; cd \"$ROOT\" && make -s do-install "
               "BUILD=\"$(dirname \"$P\")\" DESTDIR=\"$OLDPWD/dest\" PREFIX=/opt/x >&2"));
    char *names = command_names(), *rest = names, *files = shell(listing);
    for (char *name; (name = strtok_r(rest, "\n", &rest));) {
        char *page = xformat("./opt/x/share/man/man1/seamline-%s.1\n", name);
        if (!strstr(files, page))
            fail_msg("not installed: %s", page);
        free(page);
    }
    assert_non_null(strstr(files, "./opt/x/share/man/man1/seamline.1\n"));
    assert_non_null(strstr(files, "./opt/x/share/bash-completion/completions/seamline\n"));
    assert_null(strstr(files, "complete.1"));
    free(files);
    free(names);
    check_shell("dest/opt/x/bin/seamline --version | head -n 1 | cut -d ' ' -f 1", "seamline\n");
    free(shell("unset MAKEFLAGS MAKELEVEL; cd \"$ROOT\" && make -s uninstall "
               "DESTDIR=\"$OLDPWD/dest\" PREFIX=/opt/x >&2"));
    check_shell(listing, "");
}

static int enter(void **state)
{
    root = realpath(".", NULL);
    if (enter_new_folder(state) != 0)
        return -1;
    setenv("ROOT", root, 1);
    setenv("LC_ALL", "C.UTF-8", 1);
    setenv("P", program(), 1);
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    free(shell("python3 -c \"import math,struct,wave;w=wave.open('slide.wav','wb');"
               "w.setparams((1,2,16000,0,'NONE',''));"
               "w.writeframes(b''.join(struct.pack('<h',int(9000*math.sin(i/16000*1400))) "
               "for i in range(16000)))\""));
    return 0;
}

static int leave(void **state)
{
    free(root);
    return leave_folder(state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pages),      cmocka_unit_test(test_pages_by_mandoc),
        cmocka_unit_test(test_help),       cmocka_unit_test(test_versions),
        cmocka_unit_test(test_completion), cmocka_unit_test(test_completion_of_singers),
        cmocka_unit_test(test_install),
    };
    return cmocka_run_group_tests_name("manual", tests, enter, leave);
}
