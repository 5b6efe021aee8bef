#include "solver/solution.h"
