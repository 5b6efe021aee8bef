#pragma once

#include "cli/program.h"
