/* What is known of a picture while it is made. */

#ifndef WORK_H
#define WORK_H

#include "rows.h"

/* Planes of the rows that are resampled, each as (column, channel), and of those in the target's light. */
enum { SHARP, SOFT, RESAMPLED };
enum { LIGHTNESS = CHANNELS, FINISHED };
enum { EDGE_PX = 2 }; /* sharpen.py */

/* What is worked on for a moment only, by one picture after the other. */
typedef struct {
    float *panel[2];         /* rows resampled downwards, through each kernel: (source column, channel, row) */
    float *row;              /* a few rows of the sharpening, or one of the bounding of rings */
    const float **near_rows; /* rows of L* around the one that is sharpened */
    float *outside, *nothing; /* rows that no picture has: nothing to spare, nothing asked */
} Bench;

/* The bounding of dark rings: what there is above the bound, what is asked of each neighbour, how much all of them ask,
   and what share of that is given; for each eight numbers a bit: whether any is too dark, asks for light, or has to do
   with what asks. */
typedef struct {
    Rows above, asked, of, given;
    uint64_t *dark, *asks, *touched;
} Bounds;

/* The lines that a row of a picture is a weighed sum of: the weights, those of them before the ring of lines begins
   anew, and where in it the first line is. */
typedef struct {
    const float *weights, *turn;
    size_t at;
} Sum;

/* The rows of a picture that are under way through each kernel, from their left on. */
typedef struct {
    Sum sums[2][ROWS];
    float *rows[2][ROWS], *carried[2]; /* what is left of a panel for the next one */
    int at, base[2], x[2];              /* floats that are summed; the first of the panel; the next pixel */
} Course;

typedef struct {
    Picture *p;
    const Lines *lines;
    const Bench *bench;
    Course course;
    int under_way;
    Rows resampled; /* see SHARP, SOFT */
    Rows target;    /* light of the target, not yet sharpened, and L* */
    Bounds bounds;
    int looked;          /* rows that were held against their bound */
    int pad;             /* columns that L* goes on beyond its rims, and rows that sharpening needs around one */
    int made;            /* rows that are done */
    uint8_t *blown_rows; /* whether any pixel of a row is blown */
} Work;

/* Floats in a row: whole lanes, and some beyond both rims. */
INLINE int stride_of(const Picture *p) { return whole_lanes(p->out_width) + 3 * LANES; }
INLINE int light_stride_of(const Picture *p) { return whole_lanes(p->out_width * CHANNELS) + 5 * LANES; }
INLINE int kernels_of(const Picture *p) { return p->resampled + p->rings; }
INLINE int reach_by(int taps, int window) { return most(taps - 1 + EDGE_PX, window); }
INLINE int pad_of(const Picture *p) { return p->taps ? reach_by(p->tap_count, p->window) : 0; }
INLINE int padded_stride_of(const Picture *p) { return stride_of(p) + 2 * pad_of(p) + LANES; }

#endif
