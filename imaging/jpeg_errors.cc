#include "imaging/jpeg_errors.h"

#include <jerror.h>

namespace seamwright {
namespace {

[[noreturn]] void leave(j_common_ptr jpeg) {
  auto& errors = *reinterpret_cast<JpegErrors*>(jpeg->err);
  (*jpeg->err->format_message)(jpeg, errors.text.data());
  std::longjmp(errors.on_failure, 1);
}

bool means_lost_pixels(int warning) {
  switch (warning) {
    case JWRN_ARITH_BAD_CODE:
    case JWRN_BOGUS_PROGRESSION:
    case JWRN_HIT_MARKER:
    case JWRN_HUFF_BAD_CODE:
    case JWRN_JPEG_EOF:
    case JWRN_MUST_RESYNC:
    case JWRN_NOT_SEQUENTIAL:
      return true;
    default:
      return false;
  }
}

void judge(j_common_ptr jpeg, int level) {
  if (level < 0 && means_lost_pixels(jpeg->err->msg_code)) leave(jpeg);
}

void drop(j_common_ptr) {}

}  // namespace

jpeg_error_mgr* JpegErrors::manager() {
  jpeg_std_error(&base);
  base.error_exit = leave;
  base.emit_message = judge;
  base.output_message = drop;
  return &base;
}

}  // namespace seamwright
