/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phones' formats through ffmpeg. Oracles: a tone of known pitch and level, coded as AAC, comes
 * back under any name and by a pipe; without ffmpeg a sentence says what to install. */
#include "base/array.h"
#include "base/process.h"
#include "sound/recording.h"

#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static const char awkward[] = "build/test ffmpeg \xc3\xbc 'a' \"b\" $(c) -d.m4a";

static bool coded(void)
{
    static const char sine[] = "sine=frequency=440:sample_rate=48000:duration=2";
    char *output = xformat("file:%s", awkward);
    const char *const argv[] = {"ffmpeg", "-nostdin", "-y",  "-v",   "error", "-f",   "lavfi", "-i",
                                sine,     "-c:a",     "aac", "-b:a", "128k",  output, NULL};
    int status = 1, null = open("/dev/null", O_RDWR);
    process_end end = process_run(argv, "", 0, null, null, &status);
    close(null);
    free(output);
    return end == PROCESS_DONE && status == 0;
}

/* RMS in dB, and the pitch by crossings of zero, of all that can be read. */
static void check_tone(const char *name)
{
    recording_settings s = recording_defaults();
    recording *r;
    err e = {""};
    if (!recording_open(name, &s, &r, &e))
        fail_msg("%s", e.text);
    for (int again = 0; again < 2; again++) {
        float block[4096], before = 0;
        size_t got = 1, n = 0, crossings = 0;
        double sum = 0;
        while (got) {
            assert_true(recording_read(r, block, 4096, &got, &e));
            for (size_t i = 0; i < got; i++) {
                sum += (double)block[i] * (double)block[i];
                crossings += before < 0 && block[i] >= 0;
                before = block[i];
            }
            n += got;
        }
        double seconds = (double)n / recording_rate_hz(r);
        assert_true(fabs(seconds - 2) < 0.1);
        assert_true(fabs((double)crossings / 2 - 440) < 5);
        /* The generator's amplitude is 1/8. */
        assert_true(fabs(10 * log10(sum / (2.0 * recording_rate_hz(r))) + 21.07) < 0.3);
        assert_true(recording_rewind(r, &e));
    }
    recording_close(r);
}

static void test_a_phones_format(void **state)
{
    (void)state;
    assert_true(coded()); /* `make test` installs ffmpeg */
    check_tone(awkward);
    char *stretch = xformat("%s@0.5-1.5", awkward);
    recording_settings s = recording_defaults();
    recording *r;
    err e = {""};
    assert_true(recording_open(stretch, &s, &r, &e));
    recording_close(r);
    free(stretch);
    int file = open(awkward, O_RDONLY), kept = dup(STDIN_FILENO);
    assert_true(dup2(file, STDIN_FILENO) == STDIN_FILENO);
    check_tone("-");
    dup2(kept, STDIN_FILENO);
    close(kept);
    close(file);
    remove(awkward);
}

static void test_no_sound(void **state)
{
    (void)state;
    static const char path[] = "build/test_ffmpeg.gsm"; /* an ending that means bare sound */
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    fputs("These are words, and no sound at all; they go on for a while.\n", f);
    fclose(f);
    recording_settings s = recording_defaults();
    recording *r;
    err e = {""};
    assert_false(recording_open(path, &s, &r, &e));
    assert_non_null(strstr(e.text, "is not a sound file"));
    char *paths = xstrdup(getenv("PATH"));
    setenv("PATH", "/nowhere", 1);
    assert_false(recording_open(path, &s, &r, &e));
    assert_non_null(strstr(e.text, "install ffmpeg"));
    setenv("PATH", paths, 1);
    free(paths);
    remove(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_sound),
        cmocka_unit_test(test_a_phones_format),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
