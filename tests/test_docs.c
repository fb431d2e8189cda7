/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What README.md, docs/ and the manual tell people to type works: every line of theirs that begins
 * with seamline, every block of R and Python is run, page by page, each in a folder of its own with
 * tiny recordings and a journal. Excepted: make itself and what is for a cluster (blocks that begin
 * ```cluster). Oracles: the exit code; --help, for what is named in passing. */
#include "base/array.h"

#include <glob.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "run_program.h"

static char *root, *folder, *take_code, *flip_time;

/* Exit code of a shell's line; what it printed is in the file out. */
static int shell(const char *line)
{
    const char *const argv[] = {"sh", "-c", line, NULL};
    int out = open("out", O_CREAT | O_TRUNC | O_WRONLY, 0600), code = -1;
    assert_int_equal(process_run(argv, "", 0, out, STDERR_FILENO, &code), PROCESS_DONE);
    close(out);
    return code;
}

static void must(const char *line)
{
    if (shell(line) != 0)
        fail_msg("%s", line);
}

/* The first word that a line prints. */
static char *word_of(const char *line)
{
    must(line);
    char *text = read_file("out");
    text[strcspn(text, " \t\n")] = '\0';
    return text;
}

/* A folder as the examples expect it: all that they read is there under these names. */
static void fresh_folder(bool with_egg)
{
    assert_int_equal(chdir(folder), 0);
    must("chmod -R u+w page 2>/dev/null; rm -rf page && cp -r ready page");
    if (with_egg)
        must("rm -r page/takes && cp -r egg page/takes");
    assert_int_equal(chdir("page"), 0);
    setenv("SEAMLINE_JOURNAL", "journal.db", 1);
}

/* Examples name a take and a flip that a reader would look up: those of the journal here. */
static char *as_here(const char *line)
{
    static const char example[] = "4be27d4ffb", time[] = " 3.25";
    char *text = xstrdup(line), *at;
    if ((at = strstr(text, example))) {
        char *longer = xformat("%.*s%s%s", (int)(at - text), text, take_code, at + strlen(example));
        free(text);
        text = longer;
        if ((at = strstr(text, time))) {
            longer = xformat("%.*s %s%s", (int)(at - text), text, flip_time, at + strlen(time));
            free(text);
            text = longer;
        }
    }
    return text;
}

static void run_line(const char *from, const char *line)
{
    char *text = as_here(line);
    print_message("%s: $ %s\n", from, text);
    int code = shell(text);
    if (code != 0)
        fail_msg("%s: exit %d: %s", from, code, text);
    free(text);
}

static bool has(const char *command)
{
    return shell(command) == 0;
}

/* A block of R or Python, as a program. */
static void run_block(const char *from, const char *language, const char *text)
{
    bool r = strcmp(language, "r") == 0;
    if (r && strstr(text, "library(RSQLite)") && !has("Rscript -e 'library(RSQLite)' 2>/dev/null"))
        return;
    if (!has(r ? "command -v Rscript" : "command -v python3"))
        return;
    write_file("block", text);
    print_message("%s: a block of %s\n", from, language);
    if (!has(r ? "Rscript --vanilla block" : "python3 block"))
        fail_msg("%s: a block of %s fails:\n%s", from, language, text);
}

/* What comes before the next such character, or the rest; NULL when there is no more. */
static char *next_part(char **rest, char end)
{
    char *part = *rest, *at = part ? strchr(part, end) : NULL;
    if (at)
        *at = '\0';
    *rest = at ? at + 1 : NULL;
    return part;
}

/* Runs what a page tells to type; returns how many lines and blocks. */
static size_t run_page(const char *path)
{
    const char *from = path + strlen(root) + 1;
    char *page = read_file(path), *rest = page, *block = NULL, language[16] = "";
    size_t n = 0;
    fresh_folder(strstr(page, "seamline analyse --egg") != NULL);
    for (char *line; (line = next_part(&rest, '\n'));) {
        if (strncmp(line, "```", 3) == 0) {
            if (block) {
                run_block(from, language, block);
                n++;
            }
            free(block);
            block = NULL;
            snprintf(language, sizeof language, "%s", line + 3);
            if (strcmp(language, "r") == 0 || strcmp(language, "python") == 0)
                block = xstrdup("");
        } else if (block) {
            char *longer = xformat("%s%s\n", block, line);
            free(block);
            block = longer;
        } else if (strcmp(language, "sh") == 0 ||
                   (!*language && !strncmp(line, "    seamline ", 13))) {
            run_line(from, line + strspn(line, " "));
            n++;
        }
    }
    assert_null(block);
    free(page);
    return n;
}

static void test_pages(void **state)
{
    (void)state;
    glob_t found;
    char *pattern = xformat("%s/docs/*.md", root), *readme = xformat("%s/README.md", root);
    assert_int_equal(glob(pattern, 0, NULL, &found), 0);
    size_t n = run_page(readme);
    for (size_t i = 0; i < found.gl_pathc; i++)
        n += run_page(found.gl_pathv[i]);
    print_message("%zu lines and blocks of %zu pages were run\n", n, found.gl_pathc + 1);
    assert_true(n >= 40);
    globfree(&found);
    free(pattern);
    free(readme);
}

/* The examples of --help, which are those of the manual, in the order of the commands. */
static void test_manual(void **state)
{
    (void)state;
    must("seamline complete -- '' | sed 1d");
    char *names = read_file("out"), *rest = names;
    size_t n = 0;
    for (char *name; (name = strtok_r(rest, "\n", &rest));) {
        char *line = xformat("seamline help %s | sed -n '/^Examples:$/,$s/^  //p'", name);
        must(line);
        free(line);
        char *examples = read_file("out"), *more = examples;
        fresh_folder(false);
        for (char *one; (one = strtok_r(more, "\n", &more)); n++)
            run_line(name, one);
        free(examples);
    }
    print_message("%zu examples were run\n", n);
    assert_true(n >= 30);
    free(names);
}

/* "seamline map SINGER --ranges" in the middle of a sentence: the command and its options exist. */
static void check_span(const char *from, const char *span, const char *all_help)
{
    char command[64] = "", option[64];
    sscanf(span, "seamline %63[a-z]", command);
    char *line = xformat("seamline help %s 2>/dev/null", command);
    const char *help = all_help;
    char *own = NULL;
    if (*command) {
        if (shell(line) != 0)
            fail_msg("%s names a command that is none: %s", from, span);
        help = own = read_file("out");
    }
    for (const char *at = span; (at = strstr(at, "--")); at += 2)
        if ((at == span || at[-1] == ' ') && sscanf(at + 2, "%63[a-z0-9-]", option) == 1) {
            char *wanted = xformat("--%s", option);
            if (!strstr(help, wanted))
                fail_msg("%s names an option that is none: %s", from, span);
            free(wanted);
        }
    free(own);
    free(line);
}

static size_t check_spans(const char *path, const char *all_help)
{
    char *page = read_file(path), *rest = page, *span;
    size_t n = 0;
    bool inside = false, block = false;
    while ((span = next_part(&rest, '`'))) {
        if (!*span && rest && *rest == '`') { /* a fence */
            next_part(&rest, '`');
            block = !block;
            inside = false;
            continue;
        }
        if (inside && !block && (!strncmp(span, "seamline ", 9) || !strncmp(span, "--", 2))) {
            for (char *c = span; (c = strchr(c, '\n'));)
                *c = ' ';
            check_span(path + strlen(root) + 1, span, all_help);
            n++;
        }
        inside = !inside;
    }
    free(page);
    return n;
}

static void test_named_in_passing(void **state)
{
    (void)state;
    glob_t found;
    char *pattern = xformat("%s/docs/*.md", root), *readme = xformat("%s/README.md", root);
    must("for c in $(seamline complete -- '' | sed 1d); do seamline help $c; done");
    char *all_help = read_file("out");
    assert_int_equal(glob(pattern, 0, NULL, &found), 0);
    size_t n = check_spans(readme, all_help);
    for (size_t i = 0; i < found.gl_pathc; i++)
        n += check_spans(found.gl_pathv[i], all_help);
    print_message("%zu commands and options are named\n", n);
    assert_true(n >= 60);
    globfree(&found);
    free(pattern);
    free(readme);
    free(all_help);
}

/* Slides of four seconds, of three singers; robin on two days. */
static void write_scenario(void)
{
    static const struct {
        const char *file, *singer, *date;
        double from, to, level;
    } sung[] = {{"take-00", "robin", "2025-03-04", 54, 68, -32},
                {"take-01", "robin", "2025-03-11", 54, 68, -22},
                {"wren-0", "wren", "2025-02-03", 55, 69, -30},
                {"wren-1", "wren", "2025-02-10", 55, 69, -24},
                {"owl-0", "owl", "2025-02-03", 53, 67, -30},
                {"owl-1", "owl", "2025-02-10", 53, 67, -24},
                {"chest", "robin", "2025-03-04", 50, 56, -28},
                {"falsetto", "robin", "2025-03-04", 68, 71, -28}};
    FILE *f = fopen("scenario.tsv", "w");
    assert_non_null(f);
    fputs("file\tsinger\tdate\tkind\tfrom_st\tto_st\tlevel_db\tto_"
          "db\tseconds\tvowel\tfamily\tsex\tseed\t"
          "boundary_st\tboundary_slope\tboundary_db\tspread\thysteresis\tleap_st\theld\n",
          f);
    for (size_t i = 0; i < sizeof sung / sizeof *sung; i++)
        fprintf(f,
                "%s.wav\t%s\t%s\tupdown\t%g\t%g\t%g\t%g\t4\ta\tclear\tman\t3\t62\t0.2\t-26\t0."
                "4\t2\t4\t\n",
                sung[i].file, sung[i].singer, sung[i].date, sung[i].from, sung[i].to, sung[i].level,
                sung[i].level);
    assert_int_equal(fclose(f), 0);
}

/* What the examples read besides takes: a lesson, a calibrator's tone, a table, other journals. */
static void write_the_rest(void)
{
    must("cp takes/take-00.wav lesson.wav");
    must("python3 -c \"import math,struct,wave;w=wave.open('calibrator.wav','wb');"
         "w.setparams((1,2,16000,0,'NONE',''));"
         "w.writeframes(b''.join(struct.pack('<h',int(9000*math.sin(i/16000*6283.19))) "
         "for i in range(48000)))\"");
    write_file("studio.tsv", "file\tsinger\tdate\thold\tvary\tvowel\n"
                             "takes/take-00.wav\tfinch\t2025-03-04\tlevel\tpitch\ta\n");
    must("seamline add wren wren-0.wav --date 2025-02-03 --vowel a --hold level --vary pitch && "
         "seamline add wren wren-1.wav --date 2025-02-10 --vowel a --hold level --vary pitch && "
         "seamline add owl owl-0.wav --date 2025-02-03 --vowel a && "
         "seamline add owl owl-1.wav --date 2025-02-10 --vowel a && "
         "cp journal.db shard-1.db && cp journal.db shard-2.db && "
         "mkdir journals && cp shard-?.db journals");
    must("seamline add robin takes/take-00.wav --date 2025-03-04 --vowel a --hold level --vary "
         "pitch && seamline add robin takes/take-01.wav --date 2025-03-11 --vowel a");
    must("seamline analyse --tracks takes/*.wav > tracks.tsv");
    take_code = word_of("seamline takes robin | tail -n 1");
    char *line = xformat("seamline correct %s | tail -n 1 | cut -f 2", take_code);
    flip_time = word_of(line);
    free(line);
    assert_true(*flip_time >= '0' && *flip_time <= '9');
}

static int enter(void **state)
{
    root = realpath(".", NULL);
    char *voice = from_environment("TESTVOICE", "build/testvoice");
    if (!voice || enter_new_folder(state) != 0)
        return -1;
    folder = *state;
    char *path =
        xformat("%.*s:%s", (int)(strrchr(program(), '/') - program()), program(), getenv("PATH"));
    setenv("PATH", path, 1);
    unsetenv("DISPLAY");
    unsetenv("WAYLAND_DISPLAY");
    write_scenario();
    char *render = xformat("'%s' render scenario.tsv ready && mkdir ready/takes && "
                           "mv ready/take-*.wav ready/takes && '%s' family clear 3 all egg && "
                           "mkdir egg && mv all/take-0[01].wav egg",
                           voice, voice);
    must(render);
    assert_int_equal(chdir("ready"), 0);
    setenv("SEAMLINE_JOURNAL", "journal.db", 1);
    write_the_rest();
    free(render);
    free(path);
    free(voice);
    return chdir("..");
}

static int leave(void **state)
{
    free(root);
    free(take_code);
    free(flip_time);
    return leave_folder(state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pages),
        cmocka_unit_test(test_manual),
        cmocka_unit_test(test_named_in_passing),
    };
    return cmocka_run_group_tests_name("docs", tests, enter, leave);
}
