/* The steps for processors that work on eight numbers at once. Where that is no x86, this is the same as the plain one. */

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__)
#pragma GCC target("avx2,fma")
#endif
#define MAKE make_wide
#include "steps.h"
