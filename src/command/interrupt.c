/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/interrupt.h"

#include <signal.h>
#include <stddef.h>

static sigset_t wanted(void)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    return set;
}

void interrupt_hold(void)
{
    sigset_t set = wanted();
    sigprocmask(SIG_BLOCK, &set, NULL);
}

bool interrupt_came(void)
{
    sigset_t set = wanted(), pending;
    int came;
    if (sigpending(&pending) != 0 ||
        (sigismember(&pending, SIGINT) != 1 && sigismember(&pending, SIGTERM) != 1))
        return false;
    sigwait(&set, &came);
    sigprocmask(SIG_UNBLOCK, &set, NULL);
    return true;
}
