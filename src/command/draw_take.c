/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/draw_take.h"

enum { FRAMES_AT_ONCE = 4000 };

bool draw_take(const track_store *store, size_t take, const flips *found, const char *level_scale,
               double a4_hz, const picture *where, err *e)
{
    if (take >= track_store_takes(store))
        return true;
    const take_labels labels = {track_store_name(store, take), level_scale, a4_hz};
    size_t n = track_store_frames(store, take);
    take_frames f = take_frames_new(n);
    bool ok = true;
    for (size_t first = 0; ok && first < n; first += FRAMES_AT_ONCE) {
        track *t;
        size_t here = n - first < FRAMES_AT_ONCE ? n - first : FRAMES_AT_ONCE;
        ok = track_store_read(store, take, first, here, &t, e);
        if (!ok)
            break;
        take_frames_add(&f, t, first);
        track_free(t);
    }
    ok = ok && take_draw(&f, found, &labels, where, e);
    take_frames_clear(&f);
    return ok;
}
