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
   one after the last that is needed. */
typedef struct {
    float *data;
    int left, right, stride, ring, done, end;
} Lines;

INLINE const float *line_of(const Lines *lines, int y) {
    return lines->data + (size_t)(y % lines->ring) * lines->stride;
}

INLINE void next_line(Lines *lines, const Frame *f) {
    float *restrict line = lines->data + (size_t)(lines->done % lines->ring) * lines->stride;
    size_t start = ((size_t)lines->done * f->width + lines->left) * f->bands;
    const float *red = f->tables, *green = red + f->table_stride, *blue = green + f->table_stride;
    int width = lines->right - lines->left;
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

#endif
