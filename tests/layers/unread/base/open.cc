#include "base/open.h"
