/* Strips of a frame, swept one after the other: so many columns of every picture as a core's own memory holds the rows of.

   What a pixel becomes depends on others near it. So a part of a picture is worked on a little beyond the columns that
   are kept of it, and every column that is kept is what it would be in one sweep over the whole. */

#ifndef STRIPS_H
#define STRIPS_H

#include "work.h"

enum { RINGS_REACH = 5 }; /* rings.py */

/* From the first column of the frame that any picture needs up to the last, in so many strips of a like width. */
typedef struct {
    int left, right, count;
} Strips;

static Strips strips_of(const Picture *pictures, int count, int strips) {
    Strips found = {INT_MAX, 0, strips};
    for (const Picture *p = pictures; p < pictures + count; p++) {
        int scale = 1 + p->of_half;
        found.left = least(found.left, p->left * scale), found.right = most(found.right, (p->left + p->width) * scale);
    }
    return found;
}

/* How many columns of a picture have their middle before a strip. */
INLINE int columns_before(const Strips *strips, int strip, const Picture *p) {
    if (strip == strips->count) return p->out_width;
    double place = strips->left + (double)(strips->right - strips->left) * strip / strips->count;
    double column = ceil((place / (1 + p->of_half) - p->left) * p->out_width / p->width - 0.5);
    return (int)fmin(fmax(column, 0), p->out_width);
}

/* The part of a picture that keeps its columns from `from` up to `to`. */
static Picture part_of(Picture *p, int from, int to) {
    Picture part = *p;
    int reach = pad_of(p) + (p->rings ? RINGS_REACH : 0), first = p->width, end = 0;
    part.of = p, part.begins = most(from - reach, 0), part.out_width = least(to + reach, p->out_width) - part.begins;
    part.kept = from - part.begins, part.kept_end = to - part.begins, part.outside = 0;
    memset(part.light, 0, sizeof part.light);
    if (!p->resampled) {
        part.left += part.begins, part.width = part.out_width;
        return part;
    }
    for (Axis *axis = part.across; axis < part.across + 2; axis++) {
        axis->first += part.begins, axis->weights += (size_t)part.begins * axis->taps;
        first = least(first, axis->first[0]), end = most(end, axis->first[part.out_width - 1] + axis->taps);
    }
    part.across[0].skipped = part.across[1].skipped = first;
    part.left += first, part.width = end - first;
    return part;
}

/* Cut what a strip holds of all pictures; return of how many it holds anything. */
static int cut(const Strips *strips, int strip, Picture *pictures, int count, Picture *parts) {
    int found = 0;
    for (Picture *p = pictures; p < pictures + count; p++) {
        int from = columns_before(strips, strip, p), to = columns_before(strips, strip + 1, p);
        if (from < to) parts[found++] = part_of(p, from, to);
    }
    return found;
}

/* Where a row of a part begins in the picture, in numbers of it. */
INLINE size_t place_in_picture(const Picture *part, int y) {
    return ((size_t)y * part->of->out_width + part->begins + part->kept) * CHANNELS;
}

/* Add what was found in a part to what is known of its picture. */
static void add_up(const Picture *part) {
    double pixels = (double)part->of->out_width * part->of->out_height;
    part->of->outside += part->outside;
    for (int k = 0; k < CHANNELS; k++) part->of->light[k] += part->light[k] / pixels;
}

#endif
