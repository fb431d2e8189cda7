/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/process.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

static void write_all(int fd, const char *bytes, size_t n)
{
    while (n > 0) {
        ssize_t done = write(fd, bytes, n);
        if (done < 0 && errno == EINTR)
            continue;
        if (done <= 0)
            return;
        bytes += done;
        n -= (size_t)done;
    }
}

/* The child gets the signals' default actions back: an ignored SIGPIPE would be inherited. */
static int spawn(const char *const argv[], int in, int out, int error, pid_t *pid)
{
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    sigset_t defaults;
    posix_spawn_file_actions_init(&files);
    posix_spawn_file_actions_adddup2(&files, in, STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&files, out, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&files, error, STDERR_FILENO);
    sigemptyset(&defaults);
    sigaddset(&defaults, SIGPIPE);
    posix_spawnattr_init(&attributes);
    posix_spawnattr_setsigdefault(&attributes, &defaults);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGDEF);
    int failed = posix_spawnp(pid, argv[0], &files, &attributes, (char *const *)argv, environ);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&files);
    return failed;
}

static process_end wait_for(pid_t pid, int *exit_status)
{
    int status = 0;
    while (waitpid(pid, &status, 0) < 0)
        if (errno != EINTR)
            return PROCESS_FAILED;
    errno = 0;
    if (!WIFEXITED(status))
        return PROCESS_FAILED;
    *exit_status = WEXITSTATUS(status);
    return PROCESS_DONE;
}

process_end process_run(const char *const argv[], const char *input, size_t n, int out, int error,
                        int *exit_status)
{
    int ends[2];
    if (pipe(ends) != 0)
        return PROCESS_FAILED;
    fcntl(ends[0], F_SETFD, FD_CLOEXEC);
    fcntl(ends[1], F_SETFD, FD_CLOEXEC);
    struct sigaction ignore = {.sa_handler = SIG_IGN}, before;
    sigemptyset(&ignore.sa_mask);
    sigaction(SIGPIPE, &ignore, &before);
    pid_t pid = 0;
    int failed = spawn(argv, ends[0], out, error, &pid);
    close(ends[0]);
    if (!failed)
        write_all(ends[1], input, n);
    close(ends[1]);
    sigaction(SIGPIPE, &before, NULL);
    if (!failed)
        return wait_for(pid, exit_status);
    errno = failed;
    return failed == ENOENT ? PROCESS_MISSING : PROCESS_FAILED;
}
