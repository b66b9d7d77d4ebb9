/* Rows and lines that are held for as long as something still needs them: each in a ring. */

#ifndef ROWS_H
#define ROWS_H

#include "lanes.h"
#include "picture.h"

/* Rows of a few planes; the last `rows` of those up to `filled` are there. Each may be read a few lanes beyond its rims. */
typedef struct {
    float *data;
    int planes, stride, rows, filled;
} Rows;

INLINE float *row_of(const Rows *rows, int plane, int y) {
    return rows->data + LANES + ((size_t)plane * rows->rows + (size_t)(y % rows->rows)) * rows->stride;
}

static int begin_rows(Rows *rows, int planes, int stride, int count) {
    *rows = (Rows){NULL, planes, stride, count, 0};
    rows->data = zeros((size_t)planes * (size_t)count * (size_t)stride + 2 * LANES);
    return rows->data != NULL;
}

/* Lines of light, each as (column, channel), the columns from `left` up to `right`; `done` is the next one, `end` the
   one after the last that is needed. Weighed sums go down the lines, so memory does too: as (tile, line, float), a tile
   one cache line wide. `line` is the one that is made. */
enum { TILE = 16 };
typedef struct {
    float *data, *line;
    int left, right, ring, done, end;
    size_t stride; /* from a tile to the next */
} Lines;

/* The tile of a line that holds a float. */
INLINE const float *tile_of(const Lines *lines, int y, int at) {
    return lines->data + (size_t)(at / TILE) * lines->stride + (size_t)(y % lines->ring) * TILE;
}

INLINE void put_line(const Lines *lines, int y) {
    float *at = lines->data + (size_t)(y % lines->ring) * TILE;
    for (int x = 0; x < (lines->right - lines->left) * CHANNELS; x += TILE, at += lines->stride) {
        store(at, load(lines->line + x)), store(at + LANES, load(lines->line + x + LANES));
    }
}

/* Some floats of a line, side by side. */
INLINE void take_line(const Lines *lines, int y, int from, int count, float *into) {
    for (int at = from, some; at < from + count; at += some) {
        some = least(TILE - at % TILE, from + count - at);
        memcpy(into + at - from, tile_of(lines, y, at) + at % TILE, (size_t)some * sizeof(float));
    }
}

INLINE void next_line(Lines *lines, const Frame *f) {
    float *restrict line = lines->line;
    size_t start = ((size_t)lines->done * f->width + lines->left) * f->bands;
    const float *red = f->tables, *green = red + f->table_stride, *blue = green + f->table_stride;
    int width = lines->right - lines->left;
    if (lines->done + 1 < f->height) {
        size_t next = start + (size_t)f->width * f->bands;
        expect_to_read((const uint8_t *)f->codes + next * f->depth, (size_t)width * f->bands * f->depth);
    }
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
    put_line(lines, lines->done++);
}

#endif
