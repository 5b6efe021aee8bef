#pragma once

#include "apps/cli/program.h"
