/* Lines of a frame at half its size: halved.py. */

#ifndef HALVE_H
#define HALVE_H

#include "rows.h"

enum { HALF_TAPS = 6, BEFORE = 2, AFTER = 4 }; /* source pixels from twice the place on: so many before, and up to there */

static const float HALF_WEIGHTS[HALF_TAPS] = {-3 / 64.0f, 5 / 64.0f, 30 / 64.0f, 30 / 64.0f, 5 / 64.0f, -3 / 64.0f};

/* Room to halve a line: one brought down, rims repeated, and its even and its odd columns. */
typedef struct {
    float *line, *even, *odd;
} Halving;

/* The columns that a half line is made from, with the rims that are repeated where they lie outside the frame. */
INLINE int first_column(const Lines *half) { return 2 * half->left - BEFORE; }
INLINE int columns(const Lines *half) { return 2 * (half->right - half->left) + BEFORE + AFTER - 2; }

static int begin_halving(Halving *h, const Lines *half) {
    size_t room = (size_t)columns(half) * CHANNELS + 4 * LANES;
    h->line = zeros(room), h->even = zeros(room), h->odd = zeros(room);
    return h->line && h->even && h->odd;
}

INLINE int is_next_half_there(const Lines *half, const Lines *lines, int height) {
    return half->done < half->end && least(2 * half->done + AFTER, height) <= lines->done;
}

INLINE void next_half_line(Lines *half, const Lines *lines, const Frame *f, const Halving *h) {
    int y = half->done++, first = first_column(half), count = columns(half);
    int from = most(first, 0), to = least(first + count, f->width);
    const float *source[HALF_TAPS];
    for (int tap = 0; tap < HALF_TAPS; tap++) {
        source[tap] = line_of(lines, held(2 * y - BEFORE + tap, f->height)) + (size_t)(from - lines->left) * CHANNELS;
    }
    float *down = h->line + (size_t)(from - first) * CHANNELS, *end = h->line + (size_t)(to - first) * CHANNELS;
    for (int x = 0; x < (to - from) * CHANNELS; x += LANES) {
        v8 sum = all(0);
        for (int tap = 0; tap < HALF_TAPS; tap++) sum += all(HALF_WEIGHTS[tap]) * load(source[tap] + x);
        store(down + x, sum);
    }
    for (float *at = down - CHANNELS; at >= h->line; at -= CHANNELS) memcpy(at, down, CHANNELS * sizeof(float));
    for (float *at = end; at < h->line + (size_t)count * CHANNELS; at += CHANNELS) {
        memcpy(at, end - CHANNELS, CHANNELS * sizeof(float));
    }
    const float *restrict pair = h->line;
    float *restrict even = h->even, *restrict odd = h->odd;
    for (int x = 0; x < count / 2; x++, pair += 2 * CHANNELS, even += CHANNELS, odd += CHANNELS) {
        for (int k = 0; k < CHANNELS; k++) even[k] = pair[k], odd[k] = pair[CHANNELS + k];
    }
    float *made = half->data + (size_t)(y % half->ring) * half->stride;
    for (int x = 0; x < (half->right - half->left) * CHANNELS; x += LANES) {
        v8 sum = all(0);
        for (int pair = 0; pair < HALF_TAPS / 2; pair++) {
            sum += all(HALF_WEIGHTS[2 * pair]) * load(h->even + x + CHANNELS * pair);
            sum += all(HALF_WEIGHTS[2 * pair + 1]) * load(h->odd + x + CHANNELS * pair);
        }
        store(made + x, smaller(larger(sum, all(0)), all(1)));
    }
}

#endif
