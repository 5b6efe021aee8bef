#include "base/open.h"
#include "base/own.h"
