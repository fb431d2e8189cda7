/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A disk that fails and a computer that is switched off, for tests: loaded before the C library
 * (LD_PRELOAD), it counts the steps by which a program changes files whose names hold ".db", and
 * does something at step $FAULT_AT, from 1. $FAULT says what:
 *
 *   count      nothing: the number of steps goes to the file $FAULT_STEPS
 *   kill       the process is killed, a write half done
 *   power      likewise, and of what was not synced any 512 bytes, the file's new length, and what
 *              was made or removed in the folder are lost, each by a throw of dice ($FAULT_SEED)
 *   full, io   the step fails, for want of room or with an I/O error; full+, io+: all later ones,
 *              too
 *   read       the read of that number fails
 *
 * The model of a disk is that of SQLite's own crash tests ("How SQLite Is Tested", 3.2 and 3.3). */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { SECTOR = 512, NAMES = 256, CHANGES = 65536 };

typedef struct change { /* not yet on the disk */
    dev_t dev;
    ino_t ino;
    char path[NAMES];
    off_t at, size_before;
    size_t n;
    unsigned char *was;
} change;

/* A name in a folder, not yet on the disk: made, or else removed and kept as PATH.gone. */
typedef struct entry {
    bool made;
    char path[NAMES];
} entry;

typedef struct disk {
    long steps, reads, at;
    const char *fault;
    uint64_t seed;
    size_t n_changes, n_entries;
    change changes[CHANGES];
    entry entries[NAMES];
} disk;

int open64(const char *path, int flags, ...);
ssize_t pwrite64(int fd, const void *bytes, size_t n, off_t at);
ssize_t pread64(int fd, void *bytes, size_t n, off_t at);
int ftruncate64(int fd, off_t size);

static disk *the_disk(void)
{
    static disk d;
    if (!d.fault) {
        const char *fault = getenv("FAULT"), *at = getenv("FAULT_AT"), *seed = getenv("FAULT_SEED");
        d.fault = fault ? fault : "";
        d.at = at ? strtol(at, NULL, 10) : 0;
        d.seed = seed ? strtoull(seed, NULL, 10) : 1;
    }
    return &d;
}

/* The C library's own function, whatever else is loaded. */
static void *own(const char *name)
{
    void *libc = dlopen("libc.so.6", RTLD_NOW);
    return libc ? dlsym(libc, name) : NULL;
}

#define OWN(type, name) ((type)(uintptr_t)own(name))
typedef int open_fn(const char *, int, ...);
typedef ssize_t write_fn(int, const void *, size_t, off_t);
typedef ssize_t read_fn(int, void *, size_t, off_t);
typedef int truncate_fn(int, off_t);
typedef int file_fn(int);
typedef int name_fn(const char *);

static bool heads(disk *d)
{
    d->seed = d->seed * 6364136223846793005u + 1442695040888963407u;
    return d->seed >> 63;
}

static bool is(const disk *d, const char *fault)
{
    return strcmp(d->fault, fault) == 0;
}

static bool ours(const char *path)
{
    return *the_disk()->fault && strstr(path, ".db") && strlen(path) < NAMES - 8;
}

/* The path of an open file; a folder's stands for the files in it. */
static bool ours_open(int fd, char path[NAMES], bool *folder)
{
    char link[64];
    struct stat st;
    if (!*the_disk()->fault || fstat(fd, &st) != 0)
        return false;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, NAMES - 1);
    path[n > 0 ? n : 0] = '\0';
    *folder = S_ISDIR(st.st_mode);
    return *folder || (S_ISREG(st.st_mode) && ours(path));
}

static void put_back(disk *d, const change *c)
{
    char gone[NAMES + 8];
    struct stat st;
    snprintf(gone, sizeof gone, "%s.gone", c->path);
    const char *path = stat(c->path, &st) == 0 && st.st_ino == c->ino ? c->path : gone;
    int fd = OWN(open_fn *, "open")(path, O_WRONLY | O_CLOEXEC);
    if (fd < 0 || fstat(fd, &st) != 0 || st.st_ino != c->ino || st.st_dev != c->dev)
        return;
    for (size_t i = 0; i < c->n;) {
        size_t rest = SECTOR - (size_t)(c->at + (off_t)i) % SECTOR,
               n = rest < c->n - i ? rest : c->n - i;
        if (heads(d))
            OWN(write_fn *, "pwrite")(fd, c->was + i, n, c->at + (off_t)i);
        i += n;
    }
    if (st.st_size > c->size_before && heads(d))
        OWN(truncate_fn *, "ftruncate")(fd, c->size_before);
    OWN(file_fn *, "close")(fd);
}

static void switch_off(disk *d)
{
    for (size_t k = d->n_changes; k > 0; k--)
        put_back(d, &d->changes[k - 1]);
    for (size_t k = d->n_entries; k > 0; k--) {
        const entry *x = &d->entries[k - 1];
        char gone[NAMES + 8];
        snprintf(gone, sizeof gone, "%s.gone", x->path);
        bool lost = heads(d);
        if (x->made && lost)
            OWN(name_fn *, "unlink")(x->path);
        if (!x->made && lost && access(x->path, F_OK) != 0)
            rename(gone, x->path);
        if (!x->made)
            OWN(name_fn *, "unlink")(gone);
    }
}

static void end(disk *d)
{
    if (is(d, "power"))
        switch_off(d);
    raise(SIGKILL);
}

/* Counts a step. False: it is to fail, errno says with what. *dies: the process ends with it. */
static bool step(disk *d, bool *dies)
{
    bool now = ++d->steps == d->at, later = d->steps > d->at && d->at > 0;
    bool full = (now && is(d, "full")) || ((now || later) && is(d, "full+"));
    bool io = (now && is(d, "io")) || ((now || later) && is(d, "io+"));
    *dies = now && (is(d, "kill") || is(d, "power"));
    errno = full ? ENOSPC : io ? EIO : errno;
    return !full && !io;
}

static void remember(disk *d, int fd, const char *path, off_t at, size_t n)
{
    struct stat st;
    if (!is(d, "power") || d->n_changes == CHANGES || fstat(fd, &st) != 0)
        return;
    change *c = &d->changes[d->n_changes++];
    *c = (change){.dev = st.st_dev, .ino = st.st_ino, .at = at, .size_before = st.st_size, .n = n};
    snprintf(c->path, sizeof c->path, "%s", path);
    c->was = calloc(n + 1, 1);
    OWN(read_fn *, "pread")(fd, c->was, n, at);
}

static void forget(disk *d, ino_t ino)
{
    size_t kept = 0;
    for (size_t k = 0; k < d->n_changes; k++)
        if (d->changes[k].ino == ino)
            free(d->changes[k].was);
        else
            d->changes[kept++] = d->changes[k];
    d->n_changes = kept;
}

static void remember_entry(disk *d, const char *path, bool made)
{
    if (!is(d, "power") || d->n_entries == NAMES)
        return;
    entry *x = &d->entries[d->n_entries++];
    x->made = made;
    snprintf(x->path, sizeof x->path, "%s", path);
}

/* A folder that is synced: what was made and removed in it stays so. */
static void settle_entries(disk *d)
{
    for (size_t k = 0; k < d->n_entries; k++)
        if (!d->entries[k].made) {
            char gone[NAMES + 8];
            snprintf(gone, sizeof gone, "%s.gone", d->entries[k].path);
            OWN(name_fn *, "unlink")(gone);
        }
    d->n_entries = 0;
}

static int open_any(const char *path, int flags, mode_t mode)
{
    disk *d = the_disk();
    bool makes = flags & O_CREAT && ours(path) && access(path, F_OK) != 0, dies = false;
    if (makes && !step(d, &dies))
        return -1;
    if (dies)
        end(d);
    int fd = OWN(open_fn *, "open")(path, flags, mode);
    if (makes && fd >= 0)
        remember_entry(d, path, true);
    return fd;
}

int open(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t mode = flags & O_CREAT ? va_arg(args, mode_t) : 0;
    va_end(args);
    return open_any(path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t mode = flags & O_CREAT ? va_arg(args, mode_t) : 0;
    va_end(args);
    return open_any(path, flags, mode);
}

ssize_t pwrite(int fd, const void *bytes, size_t n, off_t at)
{
    disk *d = the_disk();
    char path[NAMES];
    bool folder, dies = false;
    if (!ours_open(fd, path, &folder))
        return OWN(write_fn *, "pwrite")(fd, bytes, n, at);
    if (!step(d, &dies))
        return -1;
    remember(d, fd, path, at, n);
    if (dies) {
        OWN(write_fn *, "pwrite")(fd, bytes, n / 2, at);
        end(d);
    }
    return OWN(write_fn *, "pwrite")(fd, bytes, n, at);
}

ssize_t pwrite64(int fd, const void *bytes, size_t n, off_t at)
{
    return pwrite(fd, bytes, n, at);
}

ssize_t pread(int fd, void *bytes, size_t n, off_t at)
{
    disk *d = the_disk();
    char path[NAMES];
    bool folder;
    if (ours_open(fd, path, &folder) && ++d->reads == d->at && is(d, "read")) {
        errno = EIO;
        return -1;
    }
    return OWN(read_fn *, "pread")(fd, bytes, n, at);
}

ssize_t pread64(int fd, void *bytes, size_t n, off_t at)
{
    return pread(fd, bytes, n, at);
}

int ftruncate(int fd, off_t size)
{
    disk *d = the_disk();
    char path[NAMES];
    bool folder, dies = false;
    struct stat st;
    if (!ours_open(fd, path, &folder) || fstat(fd, &st) != 0)
        return OWN(truncate_fn *, "ftruncate")(fd, size);
    if (!step(d, &dies))
        return -1;
    if (dies)
        end(d);
    if (size < st.st_size)
        remember(d, fd, path, size, (size_t)(st.st_size - size));
    return OWN(truncate_fn *, "ftruncate")(fd, size);
}

int ftruncate64(int fd, off_t size)
{
    return ftruncate(fd, size);
}

static int sync_with(int fd, const char *name)
{
    disk *d = the_disk();
    char path[NAMES];
    bool folder, dies = false;
    struct stat st;
    if (!ours_open(fd, path, &folder) || fstat(fd, &st) != 0)
        return OWN(file_fn *, name)(fd);
    if (!step(d, &dies))
        return -1;
    if (dies)
        end(d);
    if (folder)
        settle_entries(d);
    else
        forget(d, st.st_ino);
    return OWN(file_fn *, name)(fd);
}

int fsync(int fd)
{
    return sync_with(fd, "fsync");
}

int fdatasync(int fd)
{
    return sync_with(fd, "fdatasync");
}

int unlink(const char *path)
{
    disk *d = the_disk();
    bool dies = false;
    if (!ours(path) || access(path, F_OK) != 0)
        return OWN(name_fn *, "unlink")(path);
    if (!step(d, &dies))
        return -1;
    if (dies)
        end(d);
    if (!is(d, "power"))
        return OWN(name_fn *, "unlink")(path);
    char gone[NAMES + 8];
    snprintf(gone, sizeof gone, "%s.gone", path);
    remember_entry(d, path, false);
    return rename(path, gone);
}

__attribute__((destructor)) static void tell_steps(void)
{
    const disk *d = the_disk();
    const char *name = getenv("FAULT_STEPS");
    FILE *f = name && is(d, "count") ? fopen(name, "w") : NULL;
    if (!f)
        return;
    fprintf(f, "%ld %ld\n", d->steps, d->reads);
    fclose(f);
}
