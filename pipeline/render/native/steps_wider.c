/* The steps for processors that hold sixteen numbers at once. Where that is no x86, this is the same as the plain one. */

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__)
#pragma GCC target("avx2,fma,avx512f,avx512vl")
#endif
#define MAKE make_wider
#include "steps.h"
