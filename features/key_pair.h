#pragma once

namespace seamwright {

/// Two keys of the same place, indices into the lists that they were matched in.
struct KeyPair {
  int a = 0;
  int b = 0;
};

}  // namespace seamwright
