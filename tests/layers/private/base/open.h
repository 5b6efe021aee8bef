#pragma once

#include "base/own.h"
