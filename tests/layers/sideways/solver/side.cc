#include "features/ties.h"
