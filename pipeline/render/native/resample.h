/* Output rows through a picture's kernels, as many at a time as the processor has lanes: kernel.py, resize.py.

   Down first: neighbours in a line are the lanes. Turned in between, so that across the rows are. */

#ifndef RESAMPLE_H
#define RESAMPLE_H

#include "work.h"

enum { BLOCK = 8 * ROWS, CHUNK = 512 }; /* floats of a line worked on together; of a panel, in a core's own memory */

INLINE int next_count(const Work *w) { return least(w->p->out_height - w->resampled.filled, ROWS); }

/* The frame's line after the last one that the next rows need. */
INLINE int lines_needed(const Work *w) {
    const Picture *p = w->p;
    int last = w->resampled.filled + next_count(w) - 1;
    return p->top + (p->resampled ? p->down[0].first[last] + p->down[0].taps : last + 1);
}

/* How many lines are held at most while the next rows wait for the last of them. */
static int lines_spanned(const Picture *p) {
    int found = ROWS;
    for (int y = 0; p->resampled && y < p->out_height; y++) {
        int last = least(y + ROWS, p->out_height) - 1;
        found = most(found, p->down[0].first[last] + p->down[0].taps - p->down[0].first[y]);
    }
    return found;
}

/* How many floats of a panel are needed at most: those of eight pixels; with them, what is added at once. */
static size_t carried_length(const Picture *p, int kernel) {
    const Axis *axis = &p->across[kernel];
    int found = 0;
    for (int x = 0; p->resampled && x < p->out_width; x++) {
        int last = least(x + LANES, p->out_width) - 1;
        found = most(found, axis->first[last] + axis->taps - axis->first[x]);
    }
    return (size_t)found * CHANNELS * ROWS;
}
static size_t panel_length(const Picture *p, int kernel) { return carried_length(p, kernel) + (CHUNK + 2 * BLOCK) * ROWS; }

/* The first source pixel that counts for a place, of those that there are. */
INLINE int first_of(const Axis *axis, int place) { return axis->first[place] - axis->skipped; }

/* Floats between the start of the tile in which a picture's part of a line begins and that part. */
INLINE int lead_of(const Work *w) { return (w->p->left - w->lines->left) * CHANNELS % TILE; }

INLINE Sum sum_of(const Lines *lines, const Axis *axis, int top, int place) {
    int slot = (top + axis->first[place]) % lines->ring;
    const float *weights = axis->weights + (size_t)place * axis->taps;
    return (Sum){weights, weights + (lines->ring - slot), (size_t)slot * TILE};
}

/* A block of the rows downwards: weighed sums of source lines, turned so that rows are lanes. */
INLINE void down(const Lines *lines, int taps, const Sum sums[ROWS], const float *start, float *panel) {
    float made[ROWS][BLOCK] __attribute__((aligned(64)));
    const float *row[ROWS];
    size_t next = lines->stride; /* tile */
    for (int y = 0; y < ROWS; y++) {
        const float *weight = sums[y].weights, *end = weight + taps;
        const float *turn = sums[y].turn, *line = start + sums[y].at;
        vr sum[BLOCK / ROWS];
        for (int k = 0; k < BLOCK / ROWS; k++) sum[k] = all_rows(0);
        for (;;) {
            for (const float *stop = turn < end ? turn : end; weight < stop; weight++, line += TILE) {
                vr one = all_rows(*weight);
                for (int k = 0; k < BLOCK / ROWS; k++) {
                    sum[k] += one * load_rows(line + k * ROWS / TILE * next + k * ROWS % TILE);
                }
            }
            if (weight == end) break;
            turn = end, line = start;
        }
        for (int k = 0; k < BLOCK / ROWS; k++) store_rows(made[y] + k * ROWS, sum[k]);
        row[y] = made[y];
    }
    for (int part = 0; part < BLOCK; part += LANES) {
        vr r[LANES];
        for (int k = 0; k < LANES; k++) r[k] = load_eight(row + k, part);
        transpose(r);
        for (int k = 0; k < LANES; k++) store_rows(panel + (size_t)(part + k) * ROWS, r[k]);
    }
}

/* Eight pixels of the rows across, from pixel x on; the panel's floats are those from `base` on. */
INLINE void across(const Axis *axis, int x, int last, const float *panel, int base, float *const rows[ROWS]) {
    int taps = axis->taps;
    vr made[CHANNELS * LANES];
    for (int k = 0; k < LANES; k += 2) {
        int here = least(x + k, last), next = least(x + k + 1, last);
        const float *weights = axis->weights + (size_t)here * taps, *others = axis->weights + (size_t)next * taps;
        const float *from = panel + ((ptrdiff_t)first_of(axis, here) * CHANNELS - base) * ROWS;
        const float *also = panel + ((ptrdiff_t)first_of(axis, next) * CHANNELS - base) * ROWS;
        vr red = all_rows(0), green = red, blue = red, red_next = red, green_next = red, blue_next = red;
        for (int tap = 0; tap < taps; tap++, from += CHANNELS * ROWS, also += CHANNELS * ROWS) {
            vr weight = all_rows(weights[tap]), other = all_rows(others[tap]);
            red += weight * load_rows(from), red_next += other * load_rows(also);
            green += weight * load_rows(from + ROWS), green_next += other * load_rows(also + ROWS);
            blue += weight * load_rows(from + 2 * ROWS), blue_next += other * load_rows(also + 2 * ROWS);
        }
        vr *both = made + CHANNELS * k;
        both[0] = red, both[1] = green, both[2] = blue;
        both[3] = red_next, both[4] = green_next, both[5] = blue_next;
    }
    for (int part = 0; part < CHANNELS * LANES; part += LANES) {
        transpose(made + part);
        for (int row = 0; row < LANES; row++) store_eight(rows + row, CHANNELS * x + part, made[part + row]);
    }
}

/* Where nothing is resampled, rows are only counted: no kernel takes part. */
INLINE void begin_course(Work *w) {
    const Picture *p = w->p;
    Course *c = &w->course;
    int y = w->resampled.filled, count = next_count(w);
    c->at = 0;
    for (int k = 0; k < kernels_of(p); k++) {
        c->base[k] = -lead_of(w), c->x[k] = 0;
        for (int row = 0; row < ROWS; row++) {
            c->sums[k][row] = sum_of(w->lines, &p->down[k], p->top, least(y + row, y + count - 1));
            c->rows[k][row] = row_of(&w->resampled, k, y + row);
        }
    }
}

/* Go on with the rows that are under way up to a float of the lines. */
INLINE void resample(Work *w, int until) {
    const Picture *p = w->p;
    Course *c = &w->course;
    int lead = lead_of(w), offset = (p->left - w->lines->left) * CHANNELS - lead, length = p->width * CHANNELS + lead;
    int kernels = kernels_of(p);
    const float *start = w->lines->data + (size_t)(offset / TILE) * w->lines->stride;
    if (c->at >= length || offset + c->at >= until) return;
    for (int k = 0; k < kernels; k++) {
        memcpy(w->bench->panel[k], c->carried[k], (size_t)(c->at - lead - c->base[k]) * ROWS * sizeof(float));
    }
    for (; c->at < length && offset + c->at < until; c->at += BLOCK) {
        for (int k = 0; k < kernels; k++) {
            float *panel = w->bench->panel[k] + (size_t)(c->at - lead - c->base[k]) * ROWS;
            down(w->lines, p->down[k].taps, c->sums[k], start + (size_t)(c->at / TILE) * w->lines->stride, panel);
        }
    }
    int end = least(c->at, length) - lead;
    for (int k = 0; k < kernels; k++) {
        const Axis *axis = &p->across[k];
        const float *panel = w->bench->panel[k];
        int x = c->x[k];
        for (; x < p->out_width; x += LANES) {
            int last = least(x + LANES, p->out_width) - 1;
            if ((first_of(axis, last) + axis->taps) * CHANNELS > end) break;
            across(axis, x, p->out_width - 1, panel, c->base[k], c->rows[k]);
        }
        int first = x < p->out_width ? least(first_of(axis, x) * CHANNELS, end) : end;
        memcpy(c->carried[k], panel + (size_t)(first - c->base[k]) * ROWS, (size_t)(end - first) * ROWS * sizeof(float));
        c->base[k] = first, c->x[k] = x;
    }
}

/* Count the rows that were under way; as they are, where nothing is resampled. */
INLINE void more_light(Work *w) {
    const Picture *p = w->p;
    int y = w->resampled.filled, count = next_count(w), width = p->out_width;
    w->resampled.filled += count;
    for (int row = y; !p->resampled && row < y + count; row++) {
        int from = (p->left - w->lines->left) * CHANNELS;
        take_line(w->lines, p->top + row, from, width * CHANNELS, row_of(&w->resampled, SHARP, row));
    }
    for (int row = y; p->rings && row < y + count; row++) {
        float *soft = row_of(&w->resampled, SOFT, row), *last = soft + (width - 1) * CHANNELS;
        for (int beyond = CHANNELS; beyond <= 2 * CHANNELS; beyond += CHANNELS) {
            memcpy(soft - beyond, soft, CHANNELS * sizeof(float)), memcpy(last + beyond, last, CHANNELS * sizeof(float));
        }
    }
}

#endif
