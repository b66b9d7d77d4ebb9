/* Eight numbers at once: the arithmetic that every step is written in, whatever the processor has for it. */

#ifndef LANES_H
#define LANES_H

#include <limits.h>
#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#ifdef __AVX2__
#include <immintrin.h>
#endif

#define INLINE static inline __attribute__((always_inline))

enum { LANES = 8 };

typedef float v8 __attribute__((vector_size(32)));
typedef int32_t v8i __attribute__((vector_size(32)));
typedef float v4 __attribute__((vector_size(16)));

INLINE v8 load(const float *at) {
    v8 found;
    memcpy(&found, at, sizeof found);
    return found;
}
INLINE v4 load_four(const float *at) {
    v4 found;
    memcpy(&found, at, sizeof found);
    return found;
}
INLINE void store(float *at, v8 value) { memcpy(at, &value, sizeof value); }
INLINE v8 all(float value) { return (v8){value, value, value, value, value, value, value, value}; }
INLINE v8 chosen(v8i where, v8 yes, v8 no) { return (v8)((where & (v8i)yes) | (~where & (v8i)no)); }

#ifdef __AVX2__
INLINE v8 smaller(v8 a, v8 b) { return (v8)_mm256_min_ps((__m256)a, (__m256)b); }
INLINE v8 larger(v8 a, v8 b) { return (v8)_mm256_max_ps((__m256)a, (__m256)b); }
INLINE v4 from_0_to_1(v4 x) { return (v4)_mm_min_ps(_mm_max_ps((__m128)x, _mm_setzero_ps()), _mm_set1_ps(1)); }
INLINE v8 square_root(v8 x) { return (v8)_mm256_sqrt_ps((__m256)x); }
INLINE v8 plus_product(v8 sum, v8 a, v8 b) { return (v8)_mm256_fmadd_ps((__m256)a, (__m256)b, (__m256)sum); }
INLINE int any_of(v8i where) { return _mm256_movemask_ps((__m256)where); }
#else
INLINE v8 smaller(v8 a, v8 b) { return chosen(a < b, a, b); }
INLINE v8 larger(v8 a, v8 b) { return chosen(a > b, a, b); }
INLINE v4 from_0_to_1(v4 x) {
    for (int k = 0; k < 4; k++) x[k] = fminf(fmaxf(x[k], 0), 1);
    return x;
}
INLINE v8 square_root(v8 x) {
    for (int k = 0; k < LANES; k++) x[k] = sqrtf(x[k]);
    return x;
}
INLINE v8 plus_product(v8 sum, v8 a, v8 b) { return sum + a * b; }
INLINE int any_of(v8i where) {
    int64_t part[4];
    memcpy(part, &where, sizeof part);
    return (part[0] | part[1] | part[2] | part[3]) != 0;
}
#endif

INLINE int held(int at, int count) { return at < 0 ? 0 : at >= count ? count - 1 : at; }
INLINE int least(int a, int b) { return a < b ? a : b; }
INLINE int most(int a, int b) { return a > b ? a : b; }
INLINE size_t larger_size(size_t a, size_t b) { return a > b ? a : b; }
INLINE int whole_lanes(int count) { return (count + LANES - 1) / LANES * LANES; }

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

/* Eight pixels of three channels, one after the other, become eight of each channel. */
INLINE void take_apart(const float *at, v8 *red, v8 *green, v8 *blue) {
    v8 a = load(at), b = load(at + 8), c = load(at + 16);
    v8 first = __builtin_shufflevector(a, b, 0, 1, 2, 3, 12, 13, 14, 15);
    v8 second = __builtin_shufflevector(a, c, 4, 5, 6, 7, 8, 9, 10, 11);
    v8 third = __builtin_shufflevector(b, c, 0, 1, 2, 3, 12, 13, 14, 15);
    v8 late = __builtin_shufflevector(second, third, 2, 3, 9, 10, 6, 7, 13, 14);
    v8 early = __builtin_shufflevector(first, second, 1, 2, 8, 9, 5, 6, 12, 13);
    *red = __builtin_shufflevector(first, late, 0, 3, 8, 10, 4, 7, 12, 14);
    *green = __builtin_shufflevector(early, late, 0, 2, 9, 11, 4, 6, 13, 15);
    *blue = __builtin_shufflevector(early, third, 1, 3, 8, 11, 5, 7, 12, 15);
}

/* What will be needed soon: strips of rows lie too far apart for a processor to guess where the next one begins. */
enum { CACHE_LINE = 64 };
INLINE void expect_to_read(const void *from, size_t bytes) {
    for (size_t at = 0; at < bytes; at += CACHE_LINE) __builtin_prefetch((const char *)from + at, 0);
}
INLINE void expect_to_write(void *from, size_t bytes) {
    for (size_t at = 0; at < bytes; at += CACHE_LINE) __builtin_prefetch((char *)from + at, 1);
}

/* Floats that begin at a cache line; nothing where there is no room for them. */
static float *zeros(size_t count) {
    size_t bytes = (count * sizeof(float) + 63) / 64 * 64;
    float *found = aligned_alloc(64, bytes);
    return found ? memset(found, 0, bytes) : NULL;
}

#endif
