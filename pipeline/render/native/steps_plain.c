/* The steps for any processor. */

#define MAKE make_plain
#include "steps.h"
