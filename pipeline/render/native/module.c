/* The Python module `picturework`: arrays and numbers in, checked; see compiled.py for what each is. */

#define PY_SSIZE_T_CLEAN
#include <Python.h>

#include <string.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "picture.h"

typedef struct {
    Py_buffer *held;
    int count, room, failed;
} Buffers;

/* Return the memory behind an object that must have at least so many bytes; none for None. */
static void *memory(Buffers *buffers, PyObject *object, size_t least, int writable) {
    if (object == Py_None && !writable) return NULL;
    if (buffers->count == buffers->room) { /* there is room for as many as any call needs */
        buffers->failed = 1;
        return NULL;
    }
    Py_buffer *one = &buffers->held[buffers->count];
    if (PyObject_GetBuffer(object, one, writable ? PyBUF_CONTIG : PyBUF_CONTIG_RO)) {
        buffers->failed = 1;
        return NULL;
    }
    buffers->count++;
    if ((size_t)one->len < least) {
        PyErr_Format(PyExc_ValueError, "an array has %zd bytes; %zu are needed", one->len, least);
        buffers->failed = 1;
    }
    return one->buf;
}

static int is_sound(const Axis *axis, int places, int length) {
    for (int at = 0; at < places; at++) {
        int first = axis->first[at];
        if (first < 0 || first > length - axis->taps || (at && first < axis->first[at - 1])) return 0;
    }
    return axis->taps > 0;
}

static Axis axis_of(Buffers *buffers, PyObject *first, PyObject *weights, int taps, int places) {
    return (Axis){memory(buffers, first, sizeof(int32_t) * (size_t)places, 0),
                  memory(buffers, weights, sizeof(float) * (size_t)places * (size_t)taps, 0), taps};
}

/* The kernels of a picture from ((first, weights, taps) for down: sharp, soft; across: sharp, soft).

   Where the soft ones are the very arrays of the sharp ones, no rings are bounded. */
static void read_kernels(Buffers *buffers, Picture *p, PyObject *kernels) {
    PyObject *object[8];
    int length[4];
    if (!PyArg_ParseTuple(kernels, "(OOi)(OOi)(OOi)(OOi)", object, object + 1, length, object + 2, object + 3,
                          length + 1, object + 4, object + 5, length + 2, object + 6, object + 7, length + 3)) {
        buffers->failed = 1;
        return;
    }
    for (int one = 0; one < 4; one++) {
        Axis *axis = one < 2 ? &p->down[one] : &p->across[one - 2];
        int places = one < 2 ? p->out_height : p->out_width, side = one < 2 ? p->height : p->width;
        *axis = axis_of(buffers, object[2 * one], object[2 * one + 1], length[one], places);
        if (!buffers->failed && !is_sound(axis, places, side)) {
            PyErr_SetString(PyExc_ValueError, "weights that lie outside the picture");
            buffers->failed = 1;
        }
        if (buffers->failed) return;
    }
    p->rings = p->down[0].weights != p->down[1].weights || p->across[0].weights != p->across[1].weights;
}

/* A picture from (whether of half, part, size, kernels, brightest, matrices, sharpening, sink, codes_of_root, out). */
static void read_picture(Buffers *buffers, const Frame *frame, Picture *p, PyObject *wanted) {
    PyObject *kernels, *matrices, *taps, *roots, *out;
    if (!PyArg_ParseTuple(wanted, "p(iiii)(ii)OfO(Oifff)iOO", &p->of_half, &p->left, &p->top, &p->width, &p->height, &p->out_width,
                          &p->out_height, &kernels, &p->brightest, &matrices, &taps, &p->window, &p->strength,
                          &p->grain, &p->halo_limit, &p->sink, &roots, &out)) {
        buffers->failed = 1;
        return;
    }
    p->resampled = kernels != Py_None;
    int frame_width = p->of_half ? (frame->width + 1) / 2 : frame->width;
    int frame_height = p->of_half ? (frame->height + 1) / 2 : frame->height;
    int same = p->width == p->out_width && p->height == p->out_height;
    if (p->left < 0 || p->top < 0 || p->width < 1 || p->height < 1 || p->width > frame_width - p->left ||
        p->height > frame_height - p->top || p->out_width < 1 || p->out_height < 1 || p->window < 0 ||
        !(p->resampled || same)) {
        PyErr_SetString(PyExc_ValueError, "a picture of no such shape");
        buffers->failed = 1;
        return;
    }
    size_t pixels = (size_t)p->out_width * (size_t)p->out_height;
    const float *m = memory(buffers, matrices, sizeof p->to_target + sizeof p->luminance, 0);
    p->taps = memory(buffers, taps, sizeof(float), 0);
    p->tap_count = p->taps ? (int)(buffers->held[buffers->count - 1].len / (Py_ssize_t)sizeof(float)) : 0;
    p->codes_of_root = memory(buffers, roots, p->sink == TO_CODES ? FINE + 1 : 0, 0);
    if (p->codes_of_root && buffers->held[buffers->count - 1].len >= CHANNELS * (FINE + 1)) p->root_stride = FINE + 1;
    p->out = memory(buffers, out, pixels * CHANNELS * (p->sink == TO_CODES ? 1 : sizeof(float)), 1);
    if (buffers->failed) return;
    memcpy(p->to_target, m, sizeof p->to_target);
    memcpy(p->luminance, m + 9, sizeof p->luminance);
    if (p->resampled) read_kernels(buffers, p, kernels);
}

static void read_frame(Buffers *buffers, Frame *frame, PyObject *codes, PyObject *tables) {
    if (frame->width < 1 || frame->height < 1 || !(frame->depth == 1 || frame->depth == 2 || frame->depth == 4) ||
        !(frame->bands == 1 || frame->bands == CHANNELS) || (frame->depth == 4 && frame->bands == 1)) {
        PyErr_SetString(PyExc_ValueError, "a frame of no such shape");
        buffers->failed = 1;
        return;
    }
    int codes_in_table = frame->depth == 2 ? 65536 : CODES;
    size_t table_bytes = sizeof(float) * (size_t)codes_in_table;
    frame->codes = memory(buffers, codes, (size_t)frame->width * frame->height * frame->bands * frame->depth, 0);
    frame->tables = memory(buffers, tables, frame->depth == 4 ? 0 : table_bytes, 0);
    if (!buffers->failed && frame->tables) {
        size_t given = (size_t)buffers->held[buffers->count - 1].len;
        frame->table_stride = given >= CHANNELS * table_bytes ? codes_in_table : 0;
    }
}

static PyObject *numbers(const Picture *pictures, Py_ssize_t count) {
    PyObject *found = PyList_New(count);
    for (Py_ssize_t one = 0; found && one < count; one++) {
        const double *light = pictures[one].light;
        PyObject *number = Py_BuildValue("l(ddd)", pictures[one].outside, light[0], light[1], light[2]);
        if (!number) {
            Py_CLEAR(found);
            break;
        }
        PyList_SET_ITEM(found, one, number);
    }
    return found;
}

enum { BUFFERS_OF_FRAME = 2, BUFFERS_OF_PICTURE = 16 };

typedef int Way(const Frame *frame, Picture *pictures, int count, int strip, int strips);

/* The way for what this processor holds at once, of so many numbers at most. */
static Way *widest(int numbers) {
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__)
    int is_wide = __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma");
    int is_wider = is_wide && __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl");
    if (is_wider && numbers >= 16) return make_wider;
    if (is_wide && numbers >= 8) return make_wide;
#endif
    (void)numbers;
    return make_plain;
}

/* make((codes, depth, bands, width, height), tables, [picture, ...], strip, strips) */
static PyObject *made_by(PyObject *arguments, Way *way) {
    Frame frame = {0};
    PyObject *codes, *tables, *wanted;
    int strip, strips;
    if (!PyArg_ParseTuple(arguments, "(Oiiii)OO!ii", &codes, &frame.depth, &frame.bands, &frame.width, &frame.height,
                          &tables, &PyList_Type, &wanted, &strip, &strips)) {
        return NULL;
    }
    if (strip < 0 || strip >= strips) return PyErr_Format(PyExc_ValueError, "no strip %d of %d", strip, strips);
    Py_ssize_t count = PyList_GET_SIZE(wanted);
    Picture *pictures = PyMem_Calloc((size_t)count + 1, sizeof(Picture));
    Buffers buffers = {.room = BUFFERS_OF_FRAME + BUFFERS_OF_PICTURE * (int)count};
    buffers.held = PyMem_Calloc((size_t)buffers.room, sizeof(Py_buffer));
    PyObject *found = NULL;
    if (!pictures || !buffers.held) {
        PyErr_NoMemory();
    } else {
        read_frame(&buffers, &frame, codes, tables);
        for (Py_ssize_t one = 0; one < count && !buffers.failed; one++) {
            read_picture(&buffers, &frame, &pictures[one], PyList_GET_ITEM(wanted, one));
        }
        if (!buffers.failed) {
            int done;
            Py_BEGIN_ALLOW_THREADS
            done = way(&frame, pictures, (int)count, strip, strips);
            Py_END_ALLOW_THREADS
            found = done ? numbers(pictures, count) : PyErr_NoMemory();
        }
    }
    for (int one = 0; one < buffers.count; one++) PyBuffer_Release(&buffers.held[one]);
    PyMem_Free(buffers.held);
    PyMem_Free(pictures);
    return found;
}

static PyObject *py_make(PyObject *self, PyObject *arguments) {
    (void)self;
    return made_by(arguments, widest(16));
}

static PyObject *py_make_eight(PyObject *self, PyObject *arguments) {
    (void)self;
    return made_by(arguments, widest(8));
}

static PyObject *py_make_plain(PyObject *self, PyObject *arguments) {
    (void)self;
    return made_by(arguments, make_plain);
}

static PyMethodDef methods[] = {
    {"make", py_make, METH_VARARGS, "Make pictures of a frame as far as they lie in a strip; return of each how many pixels of that lie outside its target's gamut, and how much they add to its mean light."},
    {"make_eight", py_make_eight, METH_VARARGS, "The same, as on a processor that holds no more than eight numbers at once."},
    {"make_plain", py_make_plain, METH_VARARGS, "The same, as on a processor that knows nothing wide."},
    {NULL, NULL, 0, NULL},
};
static struct PyModuleDef module = {PyModuleDef_HEAD_INIT, "picturework", NULL, -1, methods, NULL, NULL, NULL, NULL};

/* A frame's pictures take some hundred megabytes, again and again. Given back to the system each time, a tenth of the
   work would be its clearing of pages. */
static void keep_memory(void) {
#ifdef __GLIBC__
    mallopt(M_MMAP_THRESHOLD, 1 << 30);
    mallopt(M_TRIM_THRESHOLD, 1 << 30);
    mallopt(M_TOP_PAD, 64 << 20);
    mallopt(M_ARENA_MAX, 1); /* what one thread gives back, the next one takes */
#endif
}

PyMODINIT_FUNC PyInit_picturework(void) {
    keep_memory();
    PyObject *made = PyModule_Create(&module);
    if (made && PyModule_AddIntConstant(made, "EDITION", EDITION)) Py_CLEAR(made);
    return made;
}
