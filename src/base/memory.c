/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/memory.h"

#include <stdlib.h>

#ifdef __GLIBC__
#include <malloc.h>

void memory_keep(void)
{
    enum { MIB = 1 << 20 };
    mallopt(M_MMAP_THRESHOLD, 4 * MIB);
    mallopt(M_TRIM_THRESHOLD, 16 * MIB);
}

#else

void memory_keep(void)
{
}

#endif
