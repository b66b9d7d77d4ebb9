/* Lines of a frame at half its size: halved.py. */

#ifndef HALVE_H
#define HALVE_H

#include "rows.h"

enum { HALF_TAPS = 6, BEFORE = 2, AFTER = 4 }; /* source pixels from twice the place on: so many before, and up to there */

static const float HALF_WEIGHTS[HALF_TAPS] = {-3 / 64.0f, 5 / 64.0f, 30 / 64.0f, 30 / 64.0f, 5 / 64.0f, -3 / 64.0f};

/* The columns that a half line is made from, with the rims that are repeated where they lie outside the frame. */
INLINE int first_column(const Lines *half) { return 2 * half->left - BEFORE; }
INLINE int columns(const Lines *half) { return 2 * (half->right - half->left) + BEFORE + AFTER - 2; }

/* Room for a line that was brought down, rims repeated. */
static float *halving_room(const Lines *half) { return zeros((size_t)columns(half) * CHANNELS + 3 * TILE); }

INLINE int is_next_half_there(const Lines *half, const Lines *lines, int height) {
    return half->done < half->end && least(2 * half->done + AFTER, height) <= lines->done;
}

INLINE void next_half_line(Lines *half, const Lines *lines, const Frame *f, float *room) {
    int y = half->done++, first = first_column(half), count = columns(half);
    int from = most(first, 0), to = least(first + count, f->width);
    int at = (from - lines->left) * CHANNELS, lead = at % TILE;
    const float *source[HALF_TAPS];
    for (int tap = 0; tap < HALF_TAPS; tap++) source[tap] = tile_of(lines, held(2 * y - BEFORE + tap, f->height), at);
    float *line = room + TILE; /* what lies in the first tile before the columns that are needed stands before it */
    float *down = line + (size_t)(from - first) * CHANNELS, *end = line + (size_t)(to - first) * CHANNELS;
    for (int x = -lead; x < (to - from) * CHANNELS; x += TILE) {
        v8 sum = all(0), more = all(0);
        for (int tap = 0; tap < HALF_TAPS; tap++, source[tap - 1] += lines->stride) {
            sum += all(HALF_WEIGHTS[tap]) * load(source[tap]), more += all(HALF_WEIGHTS[tap]) * load(source[tap] + LANES);
        }
        store(down + x, sum), store(down + x + LANES, more);
    }
    for (float *at = down - CHANNELS; at >= line; at -= CHANNELS) memcpy(at, down, CHANNELS * sizeof(float));
    for (float *at = end; at < line + (size_t)count * CHANNELS; at += CHANNELS) {
        memcpy(at, end - CHANNELS, CHANNELS * sizeof(float));
    }
    /* Four numbers at once, a pixel and one that is none: what comes next is written over it. */
    float *made = half->line;
    for (int x = 0; x < half->right - half->left; x++, line += 2 * CHANNELS, made += CHANNELS) {
        v4 sum = {0};
        for (int tap = 0; tap < HALF_TAPS; tap++) sum += HALF_WEIGHTS[tap] * load_four(line + CHANNELS * tap);
        sum = from_0_to_1(sum);
        memcpy(made, &sum, sizeof sum);
    }
    put_line(half, y);
}

#endif
