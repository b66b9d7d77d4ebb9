/* A row's lightness sharpened, its colour kept: sharpen.py, `_strip`. */

#ifndef SHARPEN_H
#define SHARPEN_H

#include "work.h"

static const float DARKEST = 0.42f, LIGHTEST = 99.45f;       /* sharpen.py */
static const float KNEE = 6.0f / 29.0f, FOOT = 4.0f / 29.0f; /* cielab.py */
static const float SLOPE = 3.0f * (6.0f / 29.0f) * (6.0f / 29.0f);

/* Without a division: one over the root, from a third of the exponent (within 4 %), then two steps of Householder's. */
INLINE v8 cube_root(v8 x) {
    v8i third = __builtin_convertvector(__builtin_convertvector((v8i)x, v8) * all(-1.0f / 3), v8i);
    v8 y = (v8)(third + 1419967116);
    for (int step = 0; step < 2; step++) {
        v8 off = all(1) - x * y * y * y;
        y += y * off * (all(1.0f / 3) + off * all(2.0f / 9));
    }
    return x * y * y;
}

/* L* of Y, and back. */
INLINE v8 lightness_of(v8 luminance) {
    v8 curved = cube_root(larger(luminance, all(KNEE * KNEE * KNEE)));
    v8 root = chosen(luminance > all(KNEE * KNEE * KNEE), curved, luminance * all(1 / SLOPE) + all(FOOT));
    return root * all(116) - all(16);
}

INLINE v8 luminance_of(v8 lightness) {
    v8 root = (lightness + all(16)) * all(1.0f / 116);
    return chosen(root > all(KNEE), root * root * root, all(SLOPE) * (root - all(FOOT)));
}

/* Rows of L* go on `pad` columns beyond the rims of the picture. */
INLINE void sharpen_row_by(Work *w, int y, int taps, int window) {
    const Picture *p = w->p;
    float *red = row_of(&w->target, 0, y), *green = row_of(&w->target, 1, y), *blue = row_of(&w->target, 2, y);
    int width = p->out_width, reach = reach_by(taps, window), wide = width + 2 * reach;
    int stride = w->target.stride;
    int last = p->out_height - 1, any = 0;
    const float **at_row = w->bench->near_rows + reach;
    for (int at = -reach; at <= reach; at++) {
        at_row[at] = row_of(&w->target, LIGHTNESS, held(y + at, last + 1));
        any |= w->blown_rows[held(y + at, last + 1)];
    }
    float *blur = w->bench->row, *dark = blur + stride, *light = dark + stride, *bright = light + stride;
    for (int x = 0; x < wide; x += LANES) {
        v8 middle = load(at_row[0] + x), blurred = middle * all(p->taps[0]), darkest = middle, lightest = middle;
        for (int at = 1; at <= window; at++) {
            v8 up = load(at_row[-at] + x), under = load(at_row[at] + x);
            darkest = smaller(darkest, smaller(up, under));
            lightest = larger(lightest, larger(up, under));
        }
        for (int at = 1; at < taps; at++) {
            blurred = plus_product(blurred, load(at_row[-at] + x) + load(at_row[at] + x), all(p->taps[at]));
        }
        store(blur + x, blurred), store(dark + x, darkest), store(light + x, lightest);
    }
    for (int at = -reach, first = 1; any && at <= reach; at++) {
        if (!w->blown_rows[held(y + at, last + 1)]) continue;
        for (int x = 0; first && x < wide; x += LANES) store(bright + x, load(at_row[at] + x));
        for (int x = 0; !first && x < wide; x += LANES) store(bright + x, larger(load(bright + x), load(at_row[at] + x)));
        first = 0;
    }
    float fourth_grain = p->grain * p->grain * p->grain * p->grain;
    const float *middle = at_row[0] + reach, *soft = blur + reach, *low = dark + reach, *high = light + reach;
    for (int x = p->kept; x < p->kept_end; x += LANES) {
        v8 lightness = load(middle + x), blurred = load(soft + x) * all(p->taps[0]);
        v8 darkest = load(low + x), lightest = load(high + x), near = all(0); /* the lightest as far as an edge goes */
        for (int at = 1; at < taps; at++) {
            blurred = plus_product(blurred, load(soft + x - at) + load(soft + x + at), all(p->taps[at]));
        }
        for (int at = 1; at <= window; at++) {
            darkest = smaller(darkest, smaller(load(low + x - at), load(low + x + at)));
            lightest = larger(lightest, larger(load(high + x - at), load(high + x + at)));
        }
        for (int at = 0; any && at < 2 * reach + LANES; at += LANES) near = larger(near, load(bright + x + at));
        if (any && any_of(near >= all(LIGHTEST))) {
            near = all(0);
            for (int at = 0; at <= 2 * reach; at++) near = larger(near, load(bright + x + at));
        }
        v8 range = lightest - darkest, fourth = range * range;
        fourth *= fourth;
        v8 added = (lightness - blurred) * (fourth / (fourth + all(fourth_grain))) * all(p->strength);
        range *= all(p->halo_limit);
        v8 lowest = chosen(near >= all(LIGHTEST), darkest, darkest - range);
        v8 bounded = smaller(larger(lightness + added, lowest), lightest + range);
        /* As many times lighter as its luminance becomes: black and blown pixels stay as they are. */
        v8 times = chosen((lightness > all(DARKEST)) & (lightness < all(LIGHTEST)),
                          luminance_of(bounded) / luminance_of(lightness), all(1));
        store(red + x, load(red + x) * times), store(green + x, load(green + x) * times);
        store(blue + x, load(blue + x) * times);
    }
}
/* Most pictures are sharpened by few taps: with their number known beforehand nothing is counted at each pixel. */
INLINE void sharpen_row(Work *w, int y) {
    int taps = w->p->tap_count, window = w->p->window;
    if (window == 1 && taps == 2) {
        sharpen_row_by(w, y, 2, 1);
    } else if (window == 1 && taps == 3) {
        sharpen_row_by(w, y, 3, 1);
    } else {
        sharpen_row_by(w, y, taps, window);
    }
}

#endif
