/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/ffmpeg.h"

#include "base/array.h"
#include "base/process.h"
#include "base/spool.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* A name that another process can open, with ffmpeg's own mark that a path follows: the open file
 * where the system shows it, since a name's ending makes ffmpeg take any bytes for sound. */
static char *input_name(const source *s)
{
    char *open_file = xformat("file:/proc/%ld/fd/%d", (long)getpid(), s->fd);
    if (access(strchr(open_file, '/'), R_OK) == 0)
        return open_file;
    free(open_file);
    return xformat("file:%s", s->shown);
}

static ffmpeg_end run(const source *s, int out, int errors)
{
    char *input = input_name(s);
    const char *const argv[] = {"ffmpeg", "-nostdin",  "-v",  "error", "-protocol_whitelist",
                                "file",   "-i",        input, "-map",  "0:a:0",
                                "-c:a",   "pcm_s24be", "-f",  "au",    "pipe:1",
                                NULL};
    int status = 1;
    process_end end = process_run(argv, "", 0, out, errors, &status);
    free(input);
    struct stat st;
    if (end == PROCESS_MISSING)
        return FFMPEG_MISSING;
    bool good = end == PROCESS_DONE && status == 0 && fstat(out, &st) == 0 && st.st_size > 0;
    return good ? FFMPEG_DONE : FFMPEG_REFUSED;
}

ffmpeg_end ffmpeg_decode(source *s)
{
    int out = spool_file(), errors = open("/dev/null", O_WRONLY | O_CLOEXEC);
    ffmpeg_end end = out >= 0 && errors >= 0 ? run(s, out, errors) : FFMPEG_REFUSED;
    if (errors >= 0)
        close(errors);
    if (end == FFMPEG_DONE) {
        lseek(out, 0, SEEK_SET);
        if (s->fd != STDIN_FILENO)
            close(s->fd);
        s->fd = out;
    } else if (out >= 0) {
        close(out);
    }
    return end;
}
