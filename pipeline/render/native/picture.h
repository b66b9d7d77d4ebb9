/* What one picture is made of, and the sweep that makes it: compiled for any processor, for wide ones and for wider ones. */

#ifndef PICTURE_H
#define PICTURE_H

#include <stdint.h>

/* Raised with every change of what `make` is given or gives: one that was built before is then left alone. */
enum { EDITION = 6 };
enum { CHANNELS = 3, CODES = 256, FINE = 65535 };
enum { TO_LIGHT, TO_TARGET_LIGHT, TO_CODES };

/* A kernel along one axis: for each place the first source pixel and the weights from there on. */
typedef struct {
    const int32_t *first;
    const float *weights;
    int taps;
    int skipped; /* source pixels before the first that there is */
} Axis;

/* An upright frame: rows of `bands` channels, codes of `depth` bytes, or linear light (float) where that is 4. */
typedef struct {
    const void *codes;
    int depth, bands, width, height;
    const float *tables; /* encoded to linear */
    int table_stride;    /* from the table of one channel to that of the next; 0 where they are alike */
} Frame;

typedef struct Picture {
    int of_half;                  /* made from the frame at half its size */
    int left, top, width, height; /* the part of that which it is made from */
    int out_width, out_height, resampled;
    Axis down[2], across[2]; /* sharp, soft */
    int rings;               /* whether there is a soft kernel that bounds the dark rings of the sharp one */
    float brightest;
    float to_target[9], luminance[3]; /* source light to the target's light, and to Y, which of white is 1 */
    const float *taps;                          /* of the blur, the middle first; none: not sharpened */
    int tap_count, window;
    float strength, grain, halo_limit;
    int sink;
    const uint8_t *codes_of_root; /* target code of each 65535th of a root of light */
    int root_stride;              /* from the codes of one channel to those of the next; 0 where they are alike */
    void *out;
    long outside;           /* found: pixels outside the target's gamut */
    double light[CHANNELS]; /* found: the mean of the target's light that the codes show */
    /* Of a part of a picture (strips.h): its first column in the picture, its own columns that are kept, the picture. */
    int begins, kept, kept_end;
    struct Picture *of;
} Picture;

/* Make all pictures of a frame as far as they lie in one of so many strips of it, which do not need each other. Return 0
   where there is no memory for the work. */
int make_plain(const Frame *frame, Picture *pictures, int count, int strip, int strips);
int make_wide(const Frame *frame, Picture *pictures, int count, int strip, int strips);
int make_wider(const Frame *frame, Picture *pictures, int count, int strip, int strips);

#endif
