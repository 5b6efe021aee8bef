#include "base/write_back.h"

#include <fcntl.h>

namespace seamwright {

void begin_write_back([[maybe_unused]] int descriptor) {
#ifdef SYNC_FILE_RANGE_WRITE
  constexpr off64_t kToTheEnd = 0;
  sync_file_range(descriptor, 0, kToTheEnd, SYNC_FILE_RANGE_WRITE);
#endif
}

}  // namespace seamwright
