/* Dark rings beside what is brighter, bounded: rings.py, `_bounded`, a row at a time.

   Few pixels lie below their bound, fewer ask for light. Each eight pixels are looked at once and get a bit where there
   is something to do; after that, only those with a bit are worked on. */

#ifndef BOUND_H
#define BOUND_H

#include "work.h"

static const float DEPTH = 0.05f, VALLEY = 0.3f, TINY = 1e-30f; /* rings.py */

enum { ABOVE_ROWS = 5, ASKED_ROWS = 3, BIT_ROWS = 4, BITS = 64 };
enum { BEHIND = 3 }; /* rows between one that is looked at and one that is done */

INLINE int eights_of(const Picture *p) { return (p->out_width * CHANNELS + LANES - 1) / LANES; }
INLINE int words_of(const Picture *p) { return (eights_of(p) + BITS - 1) / BITS; }
INLINE uint64_t *bits_at(uint64_t *bits, int words, int y) { return bits + (size_t)(y % BIT_ROWS) * words; }

/* Call for each eight of a row that has its bit, in turn. */
#define EACH_EIGHT(bits, words, at) \
    for (int word = 0, at; word < (words); word++) \
        for (uint64_t left = (bits)[word]; left && (at = word * BITS + __builtin_ctzll(left), 1); left &= left - 1)

static int begin_bounds(Bounds *b, const Picture *p) {
    size_t bits = (size_t)words_of(p) * BIT_ROWS;
    b->dark = calloc(bits, sizeof(uint64_t)), b->asks = calloc(bits, sizeof(uint64_t));
    b->touched = calloc(bits, sizeof(uint64_t));
    return begin_rows(&b->above, 1, light_stride_of(p), ABOVE_ROWS) & begin_rows(&b->asked, 1, light_stride_of(p), ASKED_ROWS) &
           begin_rows(&b->of, 1, light_stride_of(p), ASKED_ROWS) &
           begin_rows(&b->given, 1, light_stride_of(p), ASKED_ROWS) & (b->dark && b->asks && b->touched);
}

static void end_bounds(Bounds *b) {
    free(b->above.data), free(b->asked.data), free(b->of.data), free(b->given.data), free(b->dark), free(b->asks), free(b->touched);
}

INLINE const float *above_at(const Work *w, const Bounds *b, int y) {
    return y < 0 || y >= w->p->out_height ? w->bench->outside : row_of(&b->above, 0, y);
}

/* Hold a row against its bound: the darkest of nine by the soft kernel, less a little. */
INLINE void look(Work *w, int y) {
    const Picture *p = w->p;
    Bounds *b = &w->bounds;
    int width = p->out_width * CHANNELS, eights = eights_of(p);
    const float *soft = row_of(&w->resampled, SOFT, y), *sharp = row_of(&w->resampled, SHARP, y);
    const float *up = row_of(&w->resampled, SOFT, held(y - 1, p->out_height));
    const float *under = row_of(&w->resampled, SOFT, held(y + 1, p->out_height));
    uint64_t *dark = bits_at(b->dark, words_of(p), y);
    float *low = w->bench->row + LANES, *above = row_of(&b->above, 0, y);
    memset(bits_at(b->touched, words_of(p), y), 0, words_of(p) * sizeof *dark);
    for (int x = 0; x < width; x += LANES) store(low + x, smaller(smaller(load(soft + x), load(up + x)), load(under + x)));
    memcpy(low - CHANNELS, low, CHANNELS * sizeof *low);
    memcpy(low + width, low + width - CHANNELS, CHANNELS * sizeof *low);
    for (int word = 0; word < words_of(p); word++) {
        uint64_t bits = 0; /* in a register: in memory each would wait for the one before */
        for (int at = word * BITS, end = least(at + BITS, eights), bit = 0; at < end; at++, bit++) {
            int x = at * LANES;
            v8 floor = smaller(smaller(load(low + x - CHANNELS), load(low + x)), load(low + x + CHANNELS));
            v8 found = load(sharp + x) - floor * all(1 - DEPTH);
            store(above + x, found);
            bits |= (uint64_t)(any_of(found < all(0)) != 0) << bit;
        }
        dark[word] = bits;
    }
    for (int x = -CHANNELS; x < 0; x++) above[x] = -1;
    for (int x = width; x < eights * LANES + LANES; x++) above[x] = -1;
}

/* How much darker than their brighter sides eight places are, by the soft kernel: rings.py, `_valleys`. */
INLINE v8 valley(const float *const soft[5], int x) {
    v8 here = load(soft[2] + x);
    v8 before = larger(load(soft[2] + x - CHANNELS), load(soft[2] + x - 2 * CHANNELS));
    v8 after = larger(load(soft[2] + x + CHANNELS), load(soft[2] + x + 2 * CHANNELS));
    v8 up = larger(load(soft[1] + x), load(soft[0] + x)), under = larger(load(soft[3] + x), load(soft[4] + x));
    return larger(larger(smaller(before, after), smaller(up, under)) - here, all(0));
}

INLINE v8 sum_beside(const float *row, int x) {
    return load(row + x - CHANNELS) + load(row + x) + load(row + x + CHANNELS);
}
INLINE v8 spare_of(const float *above, int x) { return larger(load(above + x), all(0)); }
INLINE v8 spare_beside(const float *above, int x) {
    return spare_of(above, x - CHANNELS) + spare_of(above, x) + spare_of(above, x + CHANNELS);
}

/* What the dark pixels of a row need, as a share of what their neighbours have to spare. */
INLINE void ask(Work *w, int y) {
    const Picture *p = w->p;
    Bounds *b = &w->bounds;
    int width = p->out_width * CHANNELS, height = p->out_height, words = words_of(p);
    uint64_t *asks = bits_at(b->asks, words, y), any = 0;
    const float *soft[5], *above[3];
    for (int k = 0; k < 5; k++) soft[k] = row_of(&w->resampled, SOFT, held(y + k - 2, height));
    for (int k = 0; k < 3; k++) above[k] = above_at(w, b, y + k - 1);
    float *asked = row_of(&b->asked, 0, y);
    /* The row is nought but for what the one asked whose place it takes. */
    if (y >= ASKED_ROWS) {
        EACH_EIGHT(bits_at(b->asks, words, y - ASKED_ROWS), words, at) store(asked + at * LANES, all(0));
    }
    memset(asks, 0, (size_t)words * sizeof *asks);
    EACH_EIGHT(bits_at(b->dark, words, y), words, at) {
        int x = at * LANES;
        v8 need = -load(above[1] + x) - all(VALLEY) * valley(soft, x);
        if (x + LANES > width) {
            for (int k = width - x; k < LANES; k++) need[k] = 0;
        }
        if (!any_of(need > all(0))) continue;
        v8 spare = spare_beside(above[0], x) + spare_beside(above[1], x) + spare_beside(above[2], x);
        store(asked + x, larger(need, all(0)) / larger(spare, all(TINY)));
        asks[word] |= left & -left;
        any = 1;
    }
    if (!any) return;
    for (int row = most(y - 1, 0); row <= least(y + 1, height - 1); row++) {
        uint64_t *touched = bits_at(b->touched, words, row);
        for (int word = 0; word < words; word++) {
            touched[word] |= asks[word] | asks[word] << 1 | asks[word] >> 1;
            if (word > 0) touched[word] |= asks[word - 1] >> (BITS - 1);
            if (word < words - 1) touched[word] |= asks[word + 1] << (BITS - 1);
        }
    }
}

INLINE const float *asked_at(const Work *w, const Bounds *b, int y) {
    return y < 0 || y >= w->p->out_height ? w->bench->nothing : row_of(&b->asked, 0, y);
}

/* Where a row is touched, how much its pixels are asked for in all, and the share of it that they can give. */
INLINE void sum_asked(Work *w, int y) {
    Bounds *b = &w->bounds;
    const float *first = asked_at(w, b, y - 1), *second = asked_at(w, b, y), *third = asked_at(w, b, y + 1);
    const float *above = row_of(&b->above, 0, y);
    float *of = row_of(&b->of, 0, y), *given = row_of(&b->given, 0, y);
    EACH_EIGHT(bits_at(b->touched, words_of(w->p), y), words_of(w->p), at) {
        int x = at * LANES;
        v8 sum = sum_beside(first, x) + sum_beside(second, x) + sum_beside(third, x);
        store(of + x, sum);
        store(given + x, spare_of(above, x) / larger(sum, all(1)));
    }
}

/* Take from a row the light that it gives, and give it what it asked for. */
INLINE void give(Work *w, int y) {
    const Bounds *b = &w->bounds;
    int words = words_of(w->p);
    const float *asked = asked_at(w, b, y), *of = row_of(&b->of, 0, y), *given[3];
    for (int k = 0; k < 3; k++) {
        int row = y + k - 1;
        given[k] = row < 0 || row >= w->p->out_height ? w->bench->nothing : row_of(&b->given, 0, row);
    }
    float *light = row_of(&w->resampled, SHARP, y);
    EACH_EIGHT(bits_at(b->touched, words, y), words, at) {
        int x = at * LANES;
        store(light + x, load(light + x) - load(given[1] + x) * load(of + x));
    }
    EACH_EIGHT(bits_at(b->asks, words, y), words, at) {
        int x = at * LANES;
        v8 sum = sum_beside(given[0], x) + sum_beside(given[1], x) + sum_beside(given[2], x);
        store(light + x, load(light + x) + load(asked + x) * sum);
    }
}

/* Go on with all that can be known of the rows that are there; return the first row that is not done. */
INLINE int bound(Work *w) {
    int height = w->p->out_height, filled = w->resampled.filled, from = w->looked;
    int to = filled == height ? height + BEHIND : filled - 1;
    for (int y = from; y < to; y++) {
        if (y < height) look(w, y);
        if (y >= 1 && y - 1 < height) ask(w, y - 1);
        if (y >= 2 && y - 2 < height) sum_asked(w, y - 2);
        if (y >= BEHIND && y - BEHIND < height) give(w, y - BEHIND);
    }
    w->looked = most(from, to);
    return most(w->looked - BEHIND, 0);
}

#endif
