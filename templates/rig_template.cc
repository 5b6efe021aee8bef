#include "templates/rig_template.h"
