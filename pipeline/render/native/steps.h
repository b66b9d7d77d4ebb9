/* The steps of one picture in one sweep: codes of a frame in, codes (or light) of a picture out.

   This is the arithmetic of kernel.py, resize.py, rings.py, colour.py and sharpen.py, which say what each step means
   and why, done a few rows at a time, so that what is worked on stays in a core's own memory. The tests hold both
   against each other. All light is float32. Lines and what is resampled of them are as decoded, the channels of a pixel
   side by side; from the target's light on, rows are planes of one channel.

   Lanes: output rows (while light is resampled across) or eight neighbouring pixels (all else). */

#include "bound.h"
#include "halve.h"
#include "resample.h"
#include "sharpen.h"
#include "strips.h"

enum { LINES_AT_ONCE = 24, RESAMPLED_ROWS = ROWS + 4 };
enum { TOGETHER = 4 }; /* pixels that are written without counting */

static const float TOLERANCE = 0.001f; /* gamut.py */

/* What light is held to: where it was resampled, to what the frame's encoding can hold. */
INLINE float least_of(const Picture *p) { return p->resampled ? 0 : -INFINITY; }
INLINE float most_of(const Picture *p) { return p->resampled ? p->brightest : INFINITY; }

/* The next row of light, held to what the encoding can hold, in the target's light; L* where it is sharpened. */
INLINE void to_target(Work *w, int y) {
    const Picture *p = w->p;
    const float *m = p->luminance, *t = p->to_target;
    const float *light = row_of(&w->resampled, SHARP, y);
    float *row[CHANNELS], *lightness = row_of(&w->target, LIGHTNESS, y) + w->pad;
    for (int k = 0; k < CHANNELS; k++) row[k] = row_of(&w->target, k, y);
    v8 none = all(least_of(p)), full = all(most_of(p));
    int width = p->out_width, kept = p->kept, kept_end = p->kept_end;
    v8i outside = {0}, blown = {0};
    for (int x = 0; x < width; x += LANES) {
        v8 r, g, b;
        take_apart(light + CHANNELS * x, &r, &g, &b);
        r = smaller(larger(r, none), full), g = smaller(larger(g, none), full), b = smaller(larger(b, none), full);
        v8 one = all(t[0]) * r + all(t[1]) * g + all(t[2]) * b, two = all(t[3]) * r + all(t[4]) * g + all(t[5]) * b;
        v8 three = all(t[6]) * r + all(t[7]) * g + all(t[8]) * b;
        v8i lost = (smaller(smaller(one, two), three) < all(-TOLERANCE)) | (larger(larger(one, two), three) > all(1 + TOLERANCE));
        if (x < kept || x + LANES > kept_end) {
            for (int k = 0; k < LANES; k++) lost[k] = x + k < kept || x + k >= kept_end ? 0 : lost[k];
        }
        outside -= lost;
        store(row[0] + x, one), store(row[1] + x, two), store(row[2] + x, three);
        if (p->taps) {
            v8 shown = lightness_of(all(m[0]) * r + all(m[1]) * g + all(m[2]) * b);
            store(lightness + x, shown);
            blown |= shown >= all(LIGHTEST);
        }
    }
    w->blown_rows[y] = any_of(blown) != 0;
    for (int k = 0; k < LANES; k++) w->p->outside += outside[k];
    for (int x = 1; x <= w->pad; x++) lightness[-x] = lightness[0], lightness[width - 1 + x] = lightness[width - 1];
}

/* The light of the frame itself, held to what its encoding can hold. */
INLINE void write_light(const Work *w, int y) {
    const Picture *p = w->p;
    const float *light = row_of(&w->resampled, SHARP, y) + p->kept * CHANNELS;
    float *line = (float *)p->out + place_in_picture(p, y), lowest = least_of(p), highest = most_of(p);
    for (int x = 0; x < (p->kept_end - p->kept) * CHANNELS; x++) {
        float one = light[x] > lowest ? light[x] : lowest;
        line[x] = one < highest ? one : highest;
    }
}

INLINE void write_target_light(const Work *w, int y) {
    const Picture *p = w->p;
    float *line = (float *)p->out + place_in_picture(p, y);
    for (int k = 0; k < CHANNELS; k++) {
        const float *row = row_of(&w->target, k, y) + p->kept;
        for (int x = 0; x < p->kept_end - p->kept; x++) line[CHANNELS * x + k] = row[x];
    }
}

/* Which step of a root eight lights come to; return the lights, held to what codes can show. */
INLINE v8 find_steps(const float *row, int32_t *place) {
    v8 light = smaller(larger(load(row), all(0)), all(1));
    v8i step = __builtin_convertvector(square_root(light) * all(FINE) + all(0.5f), v8i);
    memcpy(place, &step, sizeof step);
    return light;
}

INLINE void write_codes(Work *w, int y) {
    const Picture *p = w->p;
    int width = p->kept_end - p->kept, stride = w->target.stride;
    int32_t *at = (int32_t *)w->bench->row;
    for (int k = 0; k < CHANNELS; k++) {
        const float *row = row_of(&w->target, k, y) + p->kept;
        int32_t *place = at + (size_t)k * stride;
        v8 sum = all(0);
        int x = 0;
        for (; x + LANES <= width; x += LANES) sum += find_steps(row + x, place + x);
        if (x < width) {
            v8 light = find_steps(row + x, place + x);
            for (int beyond = width - x; beyond < LANES; beyond++) light[beyond] = 0;
            sum += light;
        }
        for (int lane = 0; lane < LANES; lane++) w->p->light[k] += sum[lane];
    }
    const uint8_t *red = p->codes_of_root, *green = red + p->root_stride, *blue = green + p->root_stride;
    const int32_t *of_red = at, *of_green = at + stride, *of_blue = of_green + stride;
    uint8_t *line = (uint8_t *)p->out + place_in_picture(p, y);
    if (y + 1 < p->out_height) expect_to_write((uint8_t *)p->out + place_in_picture(p, y + 1), (size_t)width * CHANNELS);
    int x = 0;
    for (; x + TOGETHER <= width; x += TOGETHER) {
        for (int k = x; k < x + TOGETHER; k++, line += CHANNELS) {
            line[0] = red[of_red[k]], line[1] = green[of_green[k]], line[2] = blue[of_blue[k]];
        }
    }
    for (; x < width; x++, line += CHANNELS) {
        line[0] = red[of_red[x]], line[1] = green[of_green[x]], line[2] = blue[of_blue[x]];
    }
}

/* Finish rows as far as what lies below them is there. */
INLINE void finish_rows(Work *w) {
    const Picture *p = w->p;
    for (; w->made < p->out_height && w->target.filled >= least(w->made + w->pad + 1, p->out_height); w->made++) {
        if (p->taps) sharpen_row(w, w->made);
        if (p->sink == TO_CODES) {
            write_codes(w, w->made);
        } else {
            write_target_light(w, w->made);
        }
    }
}

INLINE int are_lines_there(const Work *w) {
    return w->resampled.filled < w->p->out_height && lines_needed(w) <= w->lines->done;
}

/* Go on with a picture as far as its light goes. */
INLINE void go_on(Work *w) {
    more_light(w);
    int ready = w->p->rings ? bound(w) : w->resampled.filled;
    while (w->target.filled < ready) {
        int y = w->target.filled++;
        if (w->p->sink == TO_LIGHT) {
            write_light(w, y);
        } else {
            to_target(w, y);
            finish_rows(w);
        }
    }
}

/* The next rows of all pictures that the lines are there for; return of how many. All pictures read a piece of the lines
   before the next piece is read, so that each comes into a core's own memory once. */
static int go_on_with_all(Work *works, int count, const Lines *lines) {
    int found = 0, length = (lines->right - lines->left) * CHANNELS;
    for (Work *w = works; w < works + count; w++) {
        w->under_way = w->lines == lines && are_lines_there(w);
        if (w->under_way) begin_course(w);
        found += w->under_way;
    }
    for (int until = CHUNK; found && until < length + CHUNK; until += CHUNK) {
        for (Work *w = works; w < works + count; w++) {
            if (w->under_way) resample(w, until);
        }
    }
    for (Work *w = works; w < works + count; w++) {
        if (w->under_way) go_on(w);
    }
    return found;
}

static int begin(Work *w, Picture *p, const Lines *lines, const Bench *bench) {
    *w = (Work){.p = p, .lines = lines, .bench = bench, .pad = pad_of(p)};
    w->blown_rows = calloc((size_t)p->out_height, 1);
    int room = begin_rows(&w->resampled, p->rings ? RESAMPLED : SOFT, light_stride_of(p), RESAMPLED_ROWS) &
               begin_rows(&w->target, FINISHED, padded_stride_of(p), 2 * w->pad + 2) & (w->blown_rows != NULL);
    for (int k = 0; k < kernels_of(p); k++) {
        w->course.carried[k] = zeros(carried_length(p, k));
        room &= w->course.carried[k] != NULL;
    }
    return room & (p->rings ? begin_bounds(&w->bounds, p) : 1);
}

static void end(Work *w) {
    end_bounds(&w->bounds);
    free(w->course.carried[0]), free(w->course.carried[1]);
    free(w->blown_rows), free(w->resampled.data), free(w->target.data);
}

/* What all pictures need at most of one kind of lines. */
static int begin_lines(Lines *lines, const Picture *pictures, int count, int of_half) {
    *lines = (Lines){.left = INT_MAX, .done = INT_MAX, .ring = 2 * LINES_AT_ONCE};
    for (const Picture *p = pictures; p < pictures + count; p++) {
        if (p->of_half != of_half) continue;
        lines->left = least(lines->left, p->left), lines->right = most(lines->right, p->left + p->width);
        lines->done = least(lines->done, p->top), lines->end = most(lines->end, p->top + p->height);
        lines->ring = most(lines->ring, lines_spanned(p) + LINES_AT_ONCE);
    }
    return lines->right > 0;
}

static int begin_ring(Lines *lines) {
    size_t tiles = (size_t)((lines->right - lines->left) * CHANNELS + BLOCK) / TILE + 2;
    lines->stride = (size_t)(lines->ring | 1) * TILE; /* odd: tiles do not crowd into a few places of the cache */
    lines->data = zeros(tiles * lines->stride), lines->line = zeros(tiles * TILE);
    return lines->data && lines->line;
}

/* What all pictures need at most to be worked on. */
static int begin_bench(Bench *bench, const Picture *pictures, int count) {
    size_t panel[2] = {0, 0}, row = 0, light = 0;
    int pad = 0;
    for (const Picture *p = pictures; p < pictures + count; p++) {
        for (int k = 0; k < 2; k++) panel[k] = larger_size(panel[k], panel_length(p, k));
        row = larger_size(row, (size_t)padded_stride_of(p)), pad = most(pad, pad_of(p));
        light = larger_size(light, (size_t)light_stride_of(p));
    }
    for (int k = 0; k < 2; k++) bench->panel[k] = zeros(panel[k]);
    bench->row = zeros(larger_size(4 * row, light) + 2 * LANES);
    bench->near_rows = calloc((size_t)(2 * pad + 1), sizeof(float *));
    float *outside = zeros(light + 2 * LANES), *nothing = zeros(light + 2 * LANES);
    for (size_t x = 0; outside && x < light + 2 * LANES; x++) outside[x] = -1;
    bench->outside = outside ? outside + LANES : NULL, bench->nothing = nothing ? nothing + LANES : NULL;
    return bench->panel[0] && bench->panel[1] && bench->row && bench->near_rows && outside && nothing;
}

static void end_bench(Bench *bench) {
    free(bench->panel[0]), free(bench->panel[1]), free(bench->row), free(bench->near_rows);
    if (bench->outside) free(bench->outside - LANES);
    if (bench->nothing) free(bench->nothing - LANES);
}

/* One sweep over a strip of the frame, which makes that part of every picture. */
static int sweep_strip(const Frame *frame, Picture *parts, int count) {
    Lines lines, half;
    float *halving = NULL;
    Bench bench = {0};
    begin_lines(&lines, parts, count, 0);
    int halves = begin_lines(&half, parts, count, 1), room = begin_bench(&bench, parts, count);
    if (halves) {
        lines.left = least(lines.left, most(first_column(&half), 0));
        lines.right = most(lines.right, least(first_column(&half) + columns(&half), frame->width));
        lines.done = least(lines.done, most(2 * half.done - BEFORE, 0));
        lines.end = most(lines.end, least(2 * half.end - 2 + AFTER, frame->height));
        halving = halving_room(&half);
        room &= begin_ring(&half) & (halving != NULL);
    }
    room &= begin_ring(&lines);
    Work *works = calloc((size_t)count, sizeof(Work));
    room = room && works;
    for (int one = 0; works && one < count; one++) {
        room &= begin(&works[one], &parts[one], parts[one].of_half ? &half : &lines, &bench);
    }
    while (room && lines.done < lines.end) {
        for (int more = 0; more < LINES_AT_ONCE && lines.done < lines.end; more++) next_line(&lines, frame);
        while (halves && is_next_half_there(&half, &lines, frame->height)) next_half_line(&half, &lines, frame, halving);
        while (go_on_with_all(works, count, &lines)) continue;
        while (halves && go_on_with_all(works, count, &half)) continue;
    }
    for (int one = 0; works && one < count; one++) end(&works[one]);
    end_bench(&bench);
    free(works), free(lines.data), free(lines.line), free(half.data), free(half.line), free(halving);
    return room;
}

int MAKE(const Frame *frame, Picture *pictures, int count, int strip, int strips) {
    Picture *parts = calloc((size_t)count + 1, sizeof(Picture));
    if (!parts) return 0;
    for (Picture *p = pictures; p < pictures + count; p++) {
        p->outside = 0;
        for (int k = 0; k < CHANNELS; k++) p->light[k] = 0;
    }
    Strips all_strips = strips_of(pictures, count, strips);
    int found = cut(&all_strips, strip, pictures, count, parts), room = !found || sweep_strip(frame, parts, found);
    for (int part = 0; room && part < found; part++) add_up(&parts[part]);
    free(parts);
    return room;
}
