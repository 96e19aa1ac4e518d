#include "halfbit_sum.h"

/* As large as the state. */
struct halfbit_sum state;
