/* The steps of one picture in one sweep: codes of a frame in, codes (or light) of a picture out.

   This is the arithmetic of kernel.py, resize.py, rings.py, colour.py and sharpen.py, which say what each step means
   and why, done a few rows at a time, so that what is worked on stays in a core's own memory. The tests hold both
   against each other. All light is float32; rows are planes of one channel, but for the source's lines (as decoded).

   Lanes: eight output rows (while light is resampled) or eight neighbouring pixels (all that comes after). */

#include "picture.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define INLINE static inline __attribute__((always_inline))

enum { LANES = 8, BLOCK = 64, BAND_ROWS = 64, RING_REACH = 5, LINES_AT_ONCE = 8, EDGE_PX = 2, COUNTS = 4 };

typedef float v8 __attribute__((vector_size(32)));
typedef int32_t v8i __attribute__((vector_size(32)));

static const float DEPTH = 0.05f, VALLEY = 0.3f, TINY = 1e-30f;  /* rings.py */
static const float DARKEST = 0.42f, LIGHTEST = 99.45f;           /* sharpen.py */
static const float KNEE = 6.0f / 29.0f, FOOT = 4.0f / 29.0f;     /* cielab.py */
static const float SLOPE = 3.0f * (6.0f / 29.0f) * (6.0f / 29.0f);
static const float TOLERANCE = 0.001f; /* gamut.py */

INLINE v8 load(const float *at) {
    v8 found;
    memcpy(&found, at, sizeof found);
    return found;
}
INLINE void store(float *at, v8 value) { memcpy(at, &value, sizeof value); }
INLINE v8 all(float value) { return (v8){value, value, value, value, value, value, value, value}; }
INLINE v8 chosen(v8i where, v8 yes, v8 no) { return (v8)((where & (v8i)yes) | (~where & (v8i)no)); }
INLINE v8 smaller(v8 a, v8 b) { return chosen(a < b, a, b); }
INLINE v8 larger(v8 a, v8 b) { return chosen(a > b, a, b); }
INLINE int held(int at, int count) { return at < 0 ? 0 : at >= count ? count - 1 : at; }

INLINE int least(int a, int b) { return a < b ? a : b; }
INLINE int most(int a, int b) { return a > b ? a : b; }
INLINE size_t larger_size(size_t a, size_t b) { return a > b ? a : b; }

/* Eight rows of eight become eight columns of eight. */
INLINE void transpose(v8 r[LANES]) {
#define LOW(a, b) __builtin_shufflevector(a, b, 0, 8, 1, 9, 4, 12, 5, 13)
#define HIGH(a, b) __builtin_shufflevector(a, b, 2, 10, 3, 11, 6, 14, 7, 15)
#define FIRST(a, b) __builtin_shufflevector(a, b, 0, 1, 8, 9, 4, 5, 12, 13)
#define SECOND(a, b) __builtin_shufflevector(a, b, 2, 3, 10, 11, 6, 7, 14, 15)
#define FRONT(a, b) __builtin_shufflevector(a, b, 0, 1, 2, 3, 8, 9, 10, 11)
#define BACK(a, b) __builtin_shufflevector(a, b, 4, 5, 6, 7, 12, 13, 14, 15)
    v8 a0 = LOW(r[0], r[1]), a1 = HIGH(r[0], r[1]), a2 = LOW(r[2], r[3]), a3 = HIGH(r[2], r[3]);
    v8 a4 = LOW(r[4], r[5]), a5 = HIGH(r[4], r[5]), a6 = LOW(r[6], r[7]), a7 = HIGH(r[6], r[7]);
    v8 b0 = FIRST(a0, a2), b1 = SECOND(a0, a2), b2 = FIRST(a1, a3), b3 = SECOND(a1, a3);
    v8 b4 = FIRST(a4, a6), b5 = SECOND(a4, a6), b6 = FIRST(a5, a7), b7 = SECOND(a5, a7);
    r[0] = FRONT(b0, b4), r[1] = FRONT(b1, b5), r[2] = FRONT(b2, b6), r[3] = FRONT(b3, b7);
    r[4] = BACK(b0, b4), r[5] = BACK(b1, b5), r[6] = BACK(b2, b6), r[7] = BACK(b3, b7);
}

/* Floats in a row of light, of L*: whole lanes, and some beyond both rims. */
INLINE int pad_of(const Picture *p) { return p->taps ? most(p->tap_count - 1 + EDGE_PX, p->window) : 0; }
INLINE int stride_of(const Picture *p) { return (p->out_width + LANES - 1) / LANES * LANES + 3 * LANES; }
INLINE int lab_stride_of(const Picture *p) { return stride_of(p) + 2 * pad_of(p) + LANES; }

/* Floats that begin at a cache line; nothing where there is no room for them. */
static float *zeros(size_t count) {
    size_t bytes = (count * sizeof(float) + 63) / 64 * 64;
    float *found = aligned_alloc(64, bytes);
    return found ? memset(found, 0, bytes) : NULL;
}

/* Rows of a few planes, of which some are held: from `base` up to `filled`. */
typedef struct {
    float *data;
    int planes, stride, rows, base, filled;
} Rows;

INLINE float *row_of(const Rows *rows, int plane, int y) {
    return rows->data + LANES + ((size_t)plane * rows->rows + (size_t)(y - rows->base)) * rows->stride;
}

static int begin_rows(Rows *rows, int planes, int stride, int count) {
    *rows = (Rows){NULL, planes, stride, count, 0, 0};
    rows->data = zeros((size_t)planes * (size_t)count * (size_t)stride + BLOCK);
    return rows->data != NULL;
}

static void drop_rows(Rows *rows, int first) {
    if (first <= rows->base) return;
    size_t kept = (size_t)(rows->filled - first) * (size_t)rows->stride * sizeof(float);
    for (int plane = 0; plane < rows->planes; plane++) {
        float *start = rows->data + (size_t)plane * rows->rows * rows->stride;
        memmove(start, start + (size_t)(first - rows->base) * rows->stride, kept);
    }
    rows->base = first;
}

/* Lines of the frame's light that are held: a ring of them, each as (column, channel), the columns from `left` on. */
typedef struct {
    const Frame *frame;
    float *data;
    int left, width, stride, ring, done;
} Lines;

/* What is worked on for a moment only, by one picture after the other. */
typedef struct {
    float *panel;        /* eight rows resampled downwards: (source column, channel, row) */
    float *room;         /* rows of the rings' arithmetic */
    float *rows;         /* bounded rows of light, or rows of the sharpening */
    uint8_t *row_states; /* of the rings' arithmetic */
} Bench;

typedef struct {
    Picture *p;
    const Lines *lines;
    const Bench *bench;
    Rows resampled; /* planes: sharp red, green, blue, soft red, green, blue */
    Rows lab;       /* planes: f(X) - f(Y), L, f(Z) - f(Y) */
    int pad;        /* columns that L goes on beyond its rim */
    int made;       /* rows that are done */
    uint8_t *blown_rows; /* whether any pixel of a row is blown */
    uint32_t *counts;    /* of codes, for each channel in turn */
} Work;

INLINE const float *line_of(const Lines *lines, int y) {
    return lines->data + (size_t)(y % lines->ring) * lines->stride;
}

INLINE void next_line(Lines *lines) {
    const Frame *f = lines->frame;
    float *restrict line = lines->data + (size_t)(lines->done % lines->ring) * lines->stride;
    size_t start = ((size_t)lines->done * f->width + lines->left) * f->bands;
    const float *red = f->tables, *green = red + f->table_stride, *blue = green + f->table_stride;
    int width = lines->width;
    lines->done++;
    if (f->depth == 4) {
        memcpy(line, (const float *)f->codes + start, (size_t)width * CHANNELS * sizeof(float));
    } else if (f->depth == 1 && f->bands == CHANNELS) {
        const uint8_t *codes = (const uint8_t *)f->codes + start;
        for (int x = 0; x < width * CHANNELS; x += CHANNELS) {
            line[x] = red[codes[x]], line[x + 1] = green[codes[x + 1]], line[x + 2] = blue[codes[x + 2]];
        }
    } else if (f->bands == CHANNELS) {
        const uint16_t *codes = (const uint16_t *)f->codes + start;
        for (int x = 0; x < width * CHANNELS; x += CHANNELS) {
            line[x] = red[codes[x]], line[x + 1] = green[codes[x + 1]], line[x + 2] = blue[codes[x + 2]];
        }
    } else {
        for (int x = 0; x < width; x++) {
            int code = f->depth == 1 ? ((const uint8_t *)f->codes)[start + x] : ((const uint16_t *)f->codes)[start + x];
            line[3 * x] = red[code], line[3 * x + 1] = green[code], line[3 * x + 2] = blue[code];
        }
    }
}

/* Floats between the start of a picture's part of a line and the lanes before it that memory is laid out by. */
INLINE int lead_of(const Work *w) { return (w->p->left - w->lines->left) * CHANNELS % LANES; }

/* Eight output rows downwards: weighed sums of source lines, turned so that rows are lanes. */
INLINE void resample_down(Work *w, const Axis *axis, int y, int count, float *restrict panel) {
    const Picture *p = w->p;
    const Lines *lines = w->lines;
    const float *start = lines->data + (size_t)(p->left - lines->left) * CHANNELS - lead_of(w);
    int taps = axis->taps, length = p->width * CHANNELS + lead_of(w);
    for (int at = 0; at < length; at += BLOCK) {
        float made[LANES][BLOCK] __attribute__((aligned(64)));
        for (int row = 0; row < LANES; row++) {
            int place = least(y + row, y + count - 1);
            const float *weights = axis->weights + (size_t)place * taps;
            int slot = (p->top + axis->first[place]) % lines->ring;
            const float *line = start + (size_t)slot * lines->stride + at;
            v8 a = all(0), b = a, c = a, d = a, e = a, f = a, g = a, h = a;
            for (int tap = 0; tap < taps; tap++) {
                v8 weight = all(weights[tap]);
                a += weight * load(line), b += weight * load(line + 8);
                c += weight * load(line + 16), d += weight * load(line + 24);
                e += weight * load(line + 32), f += weight * load(line + 40);
                g += weight * load(line + 48), h += weight * load(line + 56);
                line += lines->stride;
                if (++slot == lines->ring) slot = 0, line = start + at;
            }
            store(made[row], a), store(made[row] + 8, b), store(made[row] + 16, c), store(made[row] + 24, d);
            store(made[row] + 32, e), store(made[row] + 40, f), store(made[row] + 48, g), store(made[row] + 56, h);
        }
        for (int part = 0; part < BLOCK; part += LANES) {
            v8 r[LANES];
            for (int row = 0; row < LANES; row++) r[row] = load(made[row] + part);
            transpose(r);
            for (int k = 0; k < LANES; k++) store(panel + (size_t)(at + part + k) * LANES, r[k]);
        }
    }
}

INLINE void resample_across(Work *w, const Axis *axis, int y, int count, const float *restrict panel, int plane) {
    const Picture *p = w->p;
    int taps = axis->taps, width = p->out_width;
    panel += (size_t)lead_of(w) * LANES;
    for (int x = 0; x < width; x += LANES) {
        v8 made[CHANNELS][LANES];
        for (int k = 0; k < LANES; k += 2) {
            int here = least(x + k, width - 1), next = least(x + k + 1, width - 1);
            const float *weights = axis->weights + (size_t)here * taps, *others = axis->weights + (size_t)next * taps;
            const float *from = panel + (size_t)axis->first[here] * CHANNELS * LANES;
            const float *also = panel + (size_t)axis->first[next] * CHANNELS * LANES;
            v8 red = all(0), green = red, blue = red, red_next = red, green_next = red, blue_next = red;
            for (int tap = 0; tap < taps; tap++, from += CHANNELS * LANES, also += CHANNELS * LANES) {
                v8 weight = all(weights[tap]), other = all(others[tap]);
                red += weight * load(from), red_next += other * load(also);
                green += weight * load(from + LANES), green_next += other * load(also + LANES);
                blue += weight * load(from + 2 * LANES), blue_next += other * load(also + 2 * LANES);
            }
            made[0][k] = red, made[1][k] = green, made[2][k] = blue;
            made[0][k + 1] = red_next, made[1][k + 1] = green_next, made[2][k + 1] = blue_next;
        }
        for (int channel = 0; channel < CHANNELS; channel++) {
            transpose(made[channel]);
            for (int row = 0; row < count; row++) {
                store(row_of(&w->resampled, plane + channel, y + row) + x, made[channel][row]);
            }
        }
    }
}

INLINE int next_count(const Work *w) {
    int left = w->p->out_height - w->resampled.filled;
    return left < LANES ? left : LANES;
}

/* The frame's line after the last one that the next rows need. */
INLINE int lines_needed(const Work *w) {
    const Picture *p = w->p;
    int last = w->resampled.filled + next_count(w) - 1;
    return p->top + (p->resampled ? p->down[0].first[last] + p->down[0].taps : last + 1);
}

/* The next rows of light, through both kernels; or as they are, where nothing is resampled. */
INLINE void more_light(Work *w) {
    const Picture *p = w->p;
    int y = w->resampled.filled, count = next_count(w);
    w->resampled.filled += count;
    if (!p->resampled) {
        for (int row = y; row < y + count; row++) {
            const float *line = line_of(w->lines, p->top + row) + (size_t)(p->left - w->lines->left) * CHANNELS;
            for (int channel = 0; channel < CHANNELS; channel++) {
                float *plane = row_of(&w->resampled, channel, row);
                for (int x = 0; x < p->width; x++) plane[x] = line[CHANNELS * x + channel];
            }
        }
        return;
    }
    for (int kernel = 0; kernel < (p->rings ? 2 : 1); kernel++) {
        resample_down(w, &p->down[kernel], y, count, w->bench->panel);
        resample_across(w, &p->across[kernel], y, count, w->bench->panel, kernel * CHANNELS);
    }
    if (!p->rings) return;
    for (int channel = CHANNELS; channel < 2 * CHANNELS; channel++) {
        for (int row = y; row < y + count; row++) {
            float *soft = row_of(&w->resampled, channel, row), *rim = soft + p->out_width;
            soft[-1] = soft[-2] = soft[0], rim[0] = rim[1] = rim[-1];
        }
    }
}

/* How much darker than their brighter sides eight places are, by the soft kernel: rings.py, `_valleys`. */
INLINE v8 valley(const float *const soft[5], int x) {
    v8 here = load(soft[2] + x);
    v8 before = larger(load(soft[2] + x - 1), load(soft[2] + x - 2));
    v8 after = larger(load(soft[2] + x + 1), load(soft[2] + x + 2));
    v8 up = larger(load(soft[1] + x), load(soft[0] + x)), under = larger(load(soft[3] + x), load(soft[4] + x));
    return larger(larger(smaller(before, after), smaller(up, under)) - here, all(0));
}

INLINE int any_of(v8i where) {
    int64_t part[4];
    memcpy(part, &where, sizeof part);
    return (part[0] | part[1] | part[2] | part[3]) != 0;
}

INLINE v8 sum_beside(const float *row, int x) { return load(row + x - 1) + load(row + x) + load(row + x + 1); }
INLINE v8 spare_of(const float *above, int x) { return larger(load(above + x), all(0)); }
INLINE v8 spare_beside(const float *above, int x) {
    return spare_of(above, x - 1) + spare_of(above, x) + spare_of(above, x + 1);
}
/* What a place can give when so much is asked of it. */
INLINE v8 given_of(const float *above, const float *asked_of, int x) {
    return spare_of(above, x) / larger(load(asked_of + x), all(1));
}

enum { DARK = 1, ASKS = 2, IS_ASKED = 4 };

/* Rows `from` up to `to` of one plane with their dark rings bounded, held to 0..brightest: rings.py, `_bounded`.

   Rows of `room` begin and end with places that are outside the picture: nothing to spare, nothing asked. */
INLINE void bound_rings(Work *w, int plane, int from, int to, float *const *out) {
    const Picture *p = w->p;
    int width = p->out_width, height = p->out_height, stride = w->resampled.stride, first = from - 3, count = to - from + 6;
    float *above = w->bench->room + LANES, *asked = above + (size_t)count * stride, *of = asked + (size_t)count * stride;
    float *across = of + (size_t)count * stride;
    uint8_t *state = w->bench->row_states;
    v8 most = all(p->brightest);
    for (int at = 0; at < count; at++) {
        int y = first + at;
        state[at] = 0;
        float *over = above + (size_t)at * stride;
        if (y < 0 || y >= height) {
            for (int x = -LANES; x < stride - LANES; x++) over[x] = -1;
            continue;
        }
        const float *soft = row_of(&w->resampled, plane + CHANNELS, y), *sharp = row_of(&w->resampled, plane, y);
        const float *up = row_of(&w->resampled, plane + CHANNELS, held(y - 1, height));
        const float *under = row_of(&w->resampled, plane + CHANNELS, held(y + 1, height));
        for (int x = 0; x < width; x += LANES) {
            store(across + x, smaller(smaller(load(soft + x), load(up + x)), load(under + x)));
        }
        across[-1] = across[0], across[width] = across[width - 1];
        v8i dark = {0};
        for (int x = 0; x < width; x += LANES) {
            v8 floor = smaller(smaller(load(across + x - 1), load(across + x)), load(across + x + 1));
            v8 found = load(sharp + x) - floor * all(1 - DEPTH);
            store(over + x, found);
            dark |= found < all(0);
        }
        over[-1] = -1;
        for (int x = width; x < stride - LANES; x++) over[x] = -1;
        state[at] = any_of(dark) ? DARK : 0;
    }
    for (int at = 1; at < count - 1; at++) {
        int y = first + at;
        if (!(state[at] & DARK)) continue;
        const float *soft[5], *over[3];
        for (int k = 0; k < 5; k++) soft[k] = row_of(&w->resampled, plane + CHANNELS, held(y + k - 2, height));
        for (int k = 0; k < 3; k++) over[k] = above + (size_t)(at + k - 1) * stride;
        float *row = asked + (size_t)at * stride;
        memset(row - LANES, 0, (size_t)stride * sizeof(float));
        for (int x = 0; x < width; x += LANES) {
            v8 lack = -load(over[1] + x);
            if (!any_of(lack > all(0))) continue;
            v8 need = lack - all(VALLEY) * valley(soft, x);
            if (!any_of(need > all(0))) continue;
            v8 spare = spare_beside(over[0], x) + spare_beside(over[1], x) + spare_beside(over[2], x);
            store(row + x, larger(need, all(0)) / larger(spare, all(TINY)));
            state[at] |= ASKS;
        }
        for (int x = width; x < width + LANES; x++) row[x] = 0;
    }
    memset(across - LANES, 0, (size_t)stride * sizeof(float)); /* a row that asks for nothing */
    for (int at = 2; at < count - 2; at++) {
        float *row = of + (size_t)at * stride;
        const float *asks[3];
        for (int k = 0; k < 3; k++) {
            int does = state[at + k - 1] & ASKS;
            asks[k] = does ? asked + (size_t)(at + k - 1) * stride : across;
            if (does) state[at] |= IS_ASKED;
        }
        if (!(state[at] & IS_ASKED)) {
            memset(row - LANES, 0, (size_t)stride * sizeof(float));
            continue;
        }
        row[-1] = 0;
        for (int x = 0; x < width + LANES; x += LANES) {
            store(row + x, sum_beside(asks[0], x) + sum_beside(asks[1], x) + sum_beside(asks[2], x));
        }
    }
    for (int at = 3; at < count - 3; at++) {
        const float *sharp = row_of(&w->resampled, plane, first + at), *asks = asked + (size_t)at * stride;
        const float *over[3], *asked_of[3];
        for (int k = 0; k < 3; k++) {
            over[k] = above + (size_t)(at + k - 1) * stride, asked_of[k] = of + (size_t)(at + k - 1) * stride;
        }
        float *row = out[at - 3];
        for (int x = 0; x < width; x += LANES) {
            v8 light = load(sharp + x);
            if (state[at] & IS_ASKED) {
                v8 times = load(asked_of[1] + x);
                if (any_of(times > all(0))) light -= given_of(over[1], asked_of[1], x) * times;
            }
            if (state[at] & ASKS) {
                v8 asks_for = load(asks + x);
                if (any_of(asks_for > all(0))) {
                    v8 given = all(0);
                    for (int k = 0; k < 3; k++) {
                        given += given_of(over[k], asked_of[k], x - 1) + given_of(over[k], asked_of[k], x) +
                                 given_of(over[k], asked_of[k], x + 1);
                    }
                    light += asks_for * given;
                }
            }
            store(row + x, smaller(larger(light, all(0)), most));
        }
    }
}

INLINE v8 cube_root(v8 x) {
    v8i third = __builtin_convertvector(__builtin_convertvector((v8i)x, v8) * all(1.0f / 3), v8i);
    v8 y = (v8)(third + 709958130); /* a third of the exponent: within 4 %; then two steps of Halley's method */
    for (int step = 0; step < 2; step++) {
        v8 cube = y * y * y;
        y = y * (cube + x + x) / (cube + cube + x);
    }
    return y;
}

INLINE v8 root_of(v8 relative) {
    v8 curved = cube_root(larger(relative, all(KNEE * KNEE * KNEE)));
    return chosen(relative > all(KNEE * KNEE * KNEE), curved, relative * all(1 / SLOPE) + all(FOOT));
}

INLINE v8 relative_of(v8 root) { return chosen(root > all(KNEE), root * root * root, all(SLOPE) * (root - all(FOOT))); }

INLINE void light_to_lab(Work *w, float *red, float *green, float *blue, int y) {
    const Picture *p = w->p;
    const float *m = p->to_xyz, *t = p->straight;
    float *first = row_of(&w->lab, 0, y), *lightness = row_of(&w->lab, 1, y) + w->pad, *third = row_of(&w->lab, 2, y);
    int width = p->out_width;
    v8i outside = {0}, blown = {0};
    for (int x = 0; x < width; x += LANES) {
        v8 r = load(red + x), g = load(green + x), b = load(blue + x);
        v8i lost = {0};
        for (int k = 0; k < 9; k += CHANNELS) {
            v8 one = all(t[k]) * r + all(t[k + 1]) * g + all(t[k + 2]) * b;
            lost |= (one < all(-TOLERANCE)) | (one > all(1 + TOLERANCE));
        }
        if (x + LANES > width) {
            for (int k = width - x; k < LANES; k++) lost[k] = 0;
        }
        outside -= lost;
        v8 fx = root_of(all(m[0]) * r + all(m[1]) * g + all(m[2]) * b);
        v8 fy = root_of(all(m[3]) * r + all(m[4]) * g + all(m[5]) * b);
        v8 fz = root_of(all(m[6]) * r + all(m[7]) * g + all(m[8]) * b);
        store(first + x, fx - fy), store(third + x, fz - fy);
        v8 light = fy * all(116) - all(16);
        store(lightness + x, light);
        blown |= light >= all(LIGHTEST);
    }
    for (int k = 0; k < LANES; k++) w->blown_rows[y] |= blown[k] != 0;
    for (int k = 0; k < LANES; k++) w->p->outside += outside[k];
    for (int x = 1; x <= w->pad; x++) lightness[-x] = lightness[0], lightness[width - 1 + x] = lightness[width - 1];
}

INLINE void more_lab(Work *w, int to) {
    const Picture *p = w->p;
    int from = w->lab.filled, width = p->out_width, stride = w->resampled.stride;
    w->lab.filled = to;
    float *out[CHANNELS][BAND_ROWS];
    if (p->resampled) {
        float *bounded = w->bench->rows;
        for (int channel = 0; channel < CHANNELS; channel++) {
            for (int y = 0; y < to - from; y++) out[channel][y] = bounded + ((size_t)channel * BAND_ROWS + y) * stride;
            if (p->rings) {
                bound_rings(w, channel, from, to, out[channel]);
                continue;
            }
            for (int y = from; y < to; y++) {
                const float *row = row_of(&w->resampled, channel, y);
                for (int x = 0; x < width; x += LANES) {
                    store(out[channel][y - from] + x, smaller(larger(load(row + x), all(0)), all(p->brightest)));
                }
            }
        }
    } else {
        for (int channel = 0; channel < CHANNELS; channel++) {
            for (int y = from; y < to; y++) out[channel][y - from] = row_of(&w->resampled, channel, y);
        }
    }
    for (int y = from; y < to; y++) {
        float *red = out[0][y - from], *green = out[1][y - from], *blue = out[2][y - from];
        if (p->sink == TO_LIGHT) {
            float *line = (float *)p->out + (size_t)y * width * CHANNELS;
            for (int x = 0; x < width; x++) line[3 * x] = red[x], line[3 * x + 1] = green[x], line[3 * x + 2] = blue[x];
        } else {
            light_to_lab(w, red, green, blue, y);
        }
    }
    drop_rows(&w->resampled, to - RING_REACH < 0 ? 0 : to - RING_REACH);
}

/* One row of L*, sharpened: sharpen.py, `_strip`. Rows of L* go on `pad` columns beyond the rim. */
INLINE void sharpen_row(Work *w, int y, float *restrict made) {
    const Picture *p = w->p;
    int width = p->out_width, wide = width + 2 * w->pad, stride = w->lab.stride, last = p->out_height - 1;
    const float *here = row_of(&w->lab, 1, y);
    if (!p->taps) {
        memcpy(made, here + w->pad, (size_t)width * sizeof(float));
        return;
    }
    float *blur = w->bench->rows, *dark = blur + stride, *light = dark + stride, *blown = light + stride;
    for (int x = 0; x < wide; x += LANES) {
        v8 middle = load(here + x), blurred = middle * all(p->taps[0]), darkest = middle, lightest = middle;
        for (int at = 1; at < p->tap_count || at <= p->window; at++) {
            v8 up = load(row_of(&w->lab, 1, y - at < 0 ? 0 : y - at) + x);
            v8 under = load(row_of(&w->lab, 1, y + at > last ? last : y + at) + x);
            if (at < p->tap_count) blurred += (up + under) * all(p->taps[at]);
            if (at <= p->window) {
                darkest = smaller(darkest, smaller(up, under));
                lightest = larger(lightest, larger(up, under));
            }
        }
        store(blur + x, blurred), store(dark + x, darkest), store(light + x, lightest);
    }
    int reach = w->pad, any = 0;
    for (int at = -reach; at <= reach; at++) {
        int beside = held(y + at, last + 1);
        if (!w->blown_rows[beside]) continue;
        if (!any) memset(blown, 0, (size_t)stride * sizeof(float));
        any = 1;
        const float *row = row_of(&w->lab, 1, beside);
        for (int x = 0; x < wide; x += LANES) {
            store(blown + x, chosen(load(row + x) >= all(LIGHTEST), all(1), load(blown + x)));
        }
    }
    float fourth_grain = p->grain * p->grain * p->grain * p->grain;
    const float *middle = here + reach, *soft = blur + reach, *low = dark + reach, *high = light + reach;
    for (int x = 0; x < width; x += LANES) {
        v8 lightness = load(middle + x), blurred = load(soft + x) * all(p->taps[0]);
        v8 darkest = load(low + x), lightest = load(high + x), near = all(0);
        for (int at = 1; at < p->tap_count; at++) {
            blurred += (load(soft + x - at) + load(soft + x + at)) * all(p->taps[at]);
        }
        for (int at = 1; at <= p->window; at++) {
            darkest = smaller(darkest, smaller(load(low + x - at), load(low + x + at)));
            lightest = larger(lightest, larger(load(high + x - at), load(high + x + at)));
        }
        if (any) {
            for (int at = -reach; at <= reach; at++) near = larger(near, load(blown + reach + x + at));
        }
        v8 range = lightest - darkest, fourth = range * range;
        fourth *= fourth;
        v8 added = (lightness - blurred) * (fourth / (fourth + all(fourth_grain))) * all(p->strength);
        range *= all(p->halo_limit);
        v8 lowest = chosen(near > all(0), darkest, darkest - range);
        v8 bounded = smaller(larger(lightness + added, lowest), lightest + range);
        store(made + x, chosen((lightness > all(DARKEST)) & (lightness < all(LIGHTEST)), bounded, lightness));
    }
}

INLINE void finish_row(Work *w, int y, float *restrict lightness, float *restrict rows) {
    const Picture *p = w->p;
    int width = p->out_width, stride = w->lab.stride;
    const float *first = row_of(&w->lab, 0, y), *third = row_of(&w->lab, 2, y), *m = p->to_target;
    sharpen_row(w, y, lightness);
    for (int x = 0; x < width; x += LANES) {
        v8 fy = (load(lightness + x) + all(16)) * all(1.0f / 116);
        v8 X = relative_of(fy + load(first + x)), Y = relative_of(fy), Z = relative_of(fy + load(third + x));
        for (int k = 0; k < CHANNELS; k++) {
            store(rows + k * stride + x, all(m[3 * k]) * X + all(m[3 * k + 1]) * Y + all(m[3 * k + 2]) * Z);
        }
    }
    if (p->sink == TO_TARGET_LIGHT) {
        float *line = (float *)p->out + (size_t)y * width * CHANNELS;
        for (int x = 0; x < width; x++) {
            for (int k = 0; k < CHANNELS; k++) line[CHANNELS * x + k] = rows[k * stride + x];
        }
        return;
    }
    uint8_t *line = (uint8_t *)p->out + (size_t)y * width * CHANNELS;
    for (int k = 0; k < CHANNELS; k++) {
        float *row = rows + k * stride;
        int32_t *at = (int32_t *)lightness; /* done with */
        for (int x = 0; x < width; x++) {
            float light = row[x] < 0 ? 0 : row[x] > 1 ? 1 : row[x];
            at[x] = (int32_t)(sqrtf(light) * FINE + 0.5f);
        }
        const uint8_t *codes = p->codes_of_root + (size_t)k * p->root_stride;
        /* Neighbours are often alike, and a number that was just written is slow to read: four tables in turn. */
        uint32_t *counts = w->counts + (size_t)k * COUNTS * CODES;
        for (int x = 0; x < width; x++) {
            uint8_t code = codes[at[x]];
            line[CHANNELS * x + k] = code;
            counts[(size_t)(x % COUNTS) * CODES + code]++;
        }
    }
}

/* Finish rows as far as what lies below them is there. */
INLINE void finish_rows(Work *w) {
    const Picture *p = w->p;
    int height = p->out_height, stride = w->lab.stride;
    float *lightness = w->bench->rows + (size_t)4 * stride, *rows = lightness + stride;
    if (p->sink == TO_LIGHT) {
        w->lab.base = w->made = w->lab.filled;
        return;
    }
    while (w->made < height) {
        int end = least(w->made + BAND_ROWS, height);
        if (w->lab.filled < least(end + w->pad, height)) return;
        for (; w->made < end; w->made++) finish_row(w, w->made, lightness, rows);
        drop_rows(&w->lab, most(end - w->pad, 0));
    }
}

/* Go on with a picture as far as the lines go that are there. */
INLINE void go_on(Work *w) {
    int height = w->p->out_height;
    while (w->resampled.filled < height && lines_needed(w) <= w->lines->done) {
        more_light(w);
        while (w->lab.filled < height) {
            int to = least(w->lab.filled + BAND_ROWS, height);
            if (w->resampled.filled < least(to + RING_REACH, height)) break;
            more_lab(w, to);
            finish_rows(w);
        }
    }
}

static int begin(Work *w, Picture *p, const Lines *lines, const Bench *bench) {
    *w = (Work){.p = p, .lines = lines, .bench = bench, .pad = pad_of(p)};
    p->outside = 0;
    w->blown_rows = calloc((size_t)p->out_height, 1);
    w->counts = calloc((size_t)CHANNELS * COUNTS * CODES, sizeof(uint32_t));
    return w->blown_rows && w->counts &&
           begin_rows(&w->resampled, 2 * CHANNELS, stride_of(p), BAND_ROWS + 3 * RING_REACH + 2 * LANES) &&
           begin_rows(&w->lab, CHANNELS, lab_stride_of(p), 2 * BAND_ROWS + 2 * w->pad);
}

/* How many lines of the frame are held at most while the next rows wait for the last of them. */
static int span_of(const Picture *p) {
    int most = LANES;
    for (int y = 0; p->resampled && y < p->out_height; y++) {
        int next = least(y + LANES, p->out_height) - 1;
        int span = p->down[0].first[next] + p->down[0].taps - p->down[0].first[y];
        most = span > most ? span : most;
    }
    return most;
}

/* What all pictures need at most: lines that are held, room to work. */
static int begin_all(Lines *lines, Bench *bench, const Picture *pictures, int count, int *last) {
    size_t panel = 0, room = 0, rows = 0, states = BAND_ROWS + 6;
    int right = 0;
    *last = 0;
    lines->left = lines->frame->width, lines->done = lines->frame->height;
    for (const Picture *p = pictures; p < pictures + count; p++) {
        size_t stride = (size_t)stride_of(p), lab = (size_t)lab_stride_of(p) * 10, light = stride * CHANNELS * BAND_ROWS;
        lines->left = least(lines->left, p->left), right = most(right, p->left + p->width);
        lines->done = least(lines->done, p->top), *last = most(*last, p->top + p->height);
        lines->ring = most(lines->ring, span_of(p) + LINES_AT_ONCE);
        panel = larger_size(panel, ((size_t)p->width * CHANNELS + LANES + BLOCK) * LANES);
        room = larger_size(room, stride * (3 * states + 2));
        rows = larger_size(rows, lab > light ? lab : light);
    }
    lines->width = right - lines->left;
    /* An odd number of cache lines: the same column of many lines does not crowd into a few places of the cache. */
    lines->stride = ((lines->width * CHANNELS + LANES + BLOCK) / 16 | 1) * 16 + 32;
    lines->data = zeros((size_t)lines->ring * lines->stride);
    bench->panel = zeros(panel);
    bench->room = zeros(room + BLOCK);
    bench->rows = zeros(rows + BLOCK);
    bench->row_states = calloc(states, 1);
    return lines->data && bench->panel && bench->room && bench->rows && bench->row_states;
}

int MAKE(const Frame *frame, Picture *pictures, int count) {
    Lines lines = {.frame = frame};
    Bench bench = {0};
    int last, room = begin_all(&lines, &bench, pictures, count, &last);
    Work *works = calloc((size_t)count, sizeof(Work));
    for (int one = 0; works && one < count; one++) room &= begin(&works[one], &pictures[one], &lines, &bench);
    if (works && room) {
        while (lines.done < last) {
            for (int more = 0; more < LINES_AT_ONCE && lines.done < last; more++) next_line(&lines);
            for (int one = 0; one < count; one++) go_on(&works[one]);
        }
    }
    for (int one = 0; works && one < count; one++) {
        for (int k = 0; works[one].counts && k < CHANNELS * COUNTS * CODES; k++) {
            pictures[one].counts[k / (COUNTS * CODES) * CODES + k % CODES] += works[one].counts[k];
        }
        free(works[one].counts), free(works[one].blown_rows), free(works[one].resampled.data), free(works[one].lab.data);
    }
    free(lines.data), free(bench.panel), free(bench.room), free(bench.rows), free(bench.row_states);
    room = room && works;
    free(works);
    return room;
}
