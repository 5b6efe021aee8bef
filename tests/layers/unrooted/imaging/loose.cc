#include "loose.h"
