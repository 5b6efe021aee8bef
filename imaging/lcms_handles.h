#pragma once

// Handles of lcms2 that close themselves, within this module.

#include <cstddef>
#include <memory>
#include <span>
#include <type_traits>

#include <lcms2.h>

namespace seamwright {

struct CloseProfile {
  void operator()(void* profile) const { cmsCloseProfile(profile); }
};
using LcmsProfile = std::unique_ptr<void, CloseProfile>;
using LcmsContext = std::shared_ptr<std::remove_pointer_t<cmsContext>>;

/// Own context: no state shared with other threads, nothing printed.
[[nodiscard]] inline LcmsContext silent_context() {
  LcmsContext context(cmsCreateContext(nullptr, nullptr), cmsDeleteContext);
  cmsSetLogErrorHandlerTHR(context.get(), [](cmsContext, cmsUInt32Number, const char*) {});
  return context;
}

/// Null for bytes that are no profile.
[[nodiscard]] inline LcmsProfile open_profile(const LcmsContext& context,
                                              std::span<const std::byte> bytes) {
  return LcmsProfile(cmsOpenProfileFromMemTHR(context.get(), bytes.data(),
                                              static_cast<cmsUInt32Number>(bytes.size())));
}

}  // namespace seamwright
