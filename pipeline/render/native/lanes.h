/* Eight numbers at once, sixteen while light is resampled where the processor holds as many: the arithmetic that every
   step is written in. */

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

/* Light is resampled for as many rows at once as the processor holds numbers together. */
#ifdef __AVX512F__
enum { ROWS = 16 };
typedef float vr __attribute__((vector_size(64)));
#else
enum { ROWS = 8 };
typedef v8 vr;
#endif

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

/* A number of each row; eight numbers of a row, and of the eighth row after it where rows are sixteen. */
INLINE vr load_rows(const float *at) {
    vr found;
    memcpy(&found, at, sizeof found);
    return found;
}
INLINE void store_rows(float *at, vr value) { memcpy(at, &value, sizeof value); }
#ifdef __AVX512F__
INLINE vr all_rows(float value) { return (vr)_mm512_set1_ps(value); }
INLINE vr load_eight(const float *const row[ROWS], int at) {
    __m512d first = _mm512_castps_pd(_mm512_castps256_ps512((__m256)load(row[0] + at)));
    return (vr)_mm512_insertf64x4(first, (__m256d)load(row[LANES] + at), 1);
}
INLINE void store_eight(float *const row[ROWS], int at, vr value) {
    store(row[0] + at, (v8)_mm512_castps512_ps256((__m512)value));
    store(row[LANES] + at, (v8)_mm512_extractf64x4_pd((__m512d)value, 1));
}
#define LOW(a, b) __builtin_shufflevector(a, b, 0, 16, 1, 17, 4, 20, 5, 21, 8, 24, 9, 25, 12, 28, 13, 29)
#define HIGH(a, b) __builtin_shufflevector(a, b, 2, 18, 3, 19, 6, 22, 7, 23, 10, 26, 11, 27, 14, 30, 15, 31)
#define FIRST(a, b) __builtin_shufflevector(a, b, 0, 1, 16, 17, 4, 5, 20, 21, 8, 9, 24, 25, 12, 13, 28, 29)
#define SECOND(a, b) __builtin_shufflevector(a, b, 2, 3, 18, 19, 6, 7, 22, 23, 10, 11, 26, 27, 14, 15, 30, 31)
#define FRONT(a, b) __builtin_shufflevector(a, b, 0, 1, 2, 3, 16, 17, 18, 19, 8, 9, 10, 11, 24, 25, 26, 27)
#define BACK(a, b) __builtin_shufflevector(a, b, 4, 5, 6, 7, 20, 21, 22, 23, 12, 13, 14, 15, 28, 29, 30, 31)
#else
INLINE vr all_rows(float value) { return all(value); }
INLINE vr load_eight(const float *const row[ROWS], int at) { return load(row[0] + at); }
INLINE void store_eight(float *const row[ROWS], int at, vr value) { store(row[0] + at, value); }
#define LOW(a, b) __builtin_shufflevector(a, b, 0, 8, 1, 9, 4, 12, 5, 13)
#define HIGH(a, b) __builtin_shufflevector(a, b, 2, 10, 3, 11, 6, 14, 7, 15)
#define FIRST(a, b) __builtin_shufflevector(a, b, 0, 1, 8, 9, 4, 5, 12, 13)
#define SECOND(a, b) __builtin_shufflevector(a, b, 2, 3, 10, 11, 6, 7, 14, 15)
#define FRONT(a, b) __builtin_shufflevector(a, b, 0, 1, 2, 3, 8, 9, 10, 11)
#define BACK(a, b) __builtin_shufflevector(a, b, 4, 5, 6, 7, 12, 13, 14, 15)
#endif

/* Eight rows of eight become eight columns of eight, in each half where rows are sixteen. */
INLINE void transpose(vr r[LANES]) {
    vr a0 = LOW(r[0], r[1]), a1 = HIGH(r[0], r[1]), a2 = LOW(r[2], r[3]), a3 = HIGH(r[2], r[3]);
    vr a4 = LOW(r[4], r[5]), a5 = HIGH(r[4], r[5]), a6 = LOW(r[6], r[7]), a7 = HIGH(r[6], r[7]);
    vr b0 = FIRST(a0, a2), b1 = SECOND(a0, a2), b2 = FIRST(a1, a3), b3 = SECOND(a1, a3);
    vr b4 = FIRST(a4, a6), b5 = SECOND(a4, a6), b6 = FIRST(a5, a7), b7 = SECOND(a5, a7);
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
