#pragma once

namespace seamwright {

/// Asks the system to begin writing a file's bytes to the disk, without waiting, so that a later
/// fsync has less to wait for. A hint: nothing happens where the system has no such call.
void begin_write_back(int descriptor);

}  // namespace seamwright
