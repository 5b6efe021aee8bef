#include "base/flush_folder.h"

#include <fcntl.h>
#include <unistd.h>

#include "base/folder_of.h"

namespace seamwright {

void flush_folder_of(const std::filesystem::path& file) {
  const int descriptor = ::open(folder_of(file).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  ::fsync(descriptor);
  ::close(descriptor);
}

}  // namespace seamwright
