/* One receiver, to see how large it is. */
#include "halfbit.h"

struct halfbit_receiver receiver;
