#include <cmath>
#include <exception>
#include <limits>

#include <exiv2/exiv2.hpp>

#include "base/readable_text.h"
#include "imaging/exif_reader.h"
#include "imaging/metadata.h"
#include "imaging/picture_file.h"
#include "imaging/tiff_handle.h"

namespace seamwright {
namespace {

std::string tiff_packet(const std::filesystem::path& path) {
  const auto handle = TiffHandle::open(path, "rm");
  if (!handle) return {};
  std::uint32_t size = 0;
  const char* bytes = nullptr;
  if (TIFFGetField(handle->get(), TIFFTAG_XMLPACKET, &size, &bytes) != 1) return {};
  return {bytes, size};
}

std::string packet_of(const PictureFile& file) {
  if (file.kind == PictureKind::tiff || file.kind == PictureKind::bigtiff) {
    return tiff_packet(file.path);
  }
  const auto image = Exiv2::ImageFactory::open(file.path.string());
  if (image.get() == nullptr) return {};
  image->readMetadata();
  return image->xmpPacket();
}

std::optional<std::string> text(const Exiv2::XmpData& xmp, const std::string& name) {
  const auto at = xmp.findKey(Exiv2::XmpKey("Xmp.GPano." + name));
  if (at == xmp.end() || at->count() == 0) return {};
  return at->toString();
}

// Nothing where it is no number, or none that is finite.
std::optional<double> number(const Exiv2::XmpData& xmp, const std::string& name) {
  const auto value = text(xmp, name);
  if (!value) return {};
  try {
    const double found = std::stod(*value);
    return std::isfinite(found) ? std::optional(found) : std::nullopt;
  } catch (const std::exception&) {
    return {};
  }
}

// Nothing beyond what an int holds, too.
std::optional<int> whole(const Exiv2::XmpData& xmp, const std::string& name) {
  const auto found = number(xmp, name);
  if (!found || std::abs(*found) > std::numeric_limits<int>::max()) return {};
  return static_cast<int>(*found);
}

// "2024-05-14T09:00:20…" as EXIF writes it.
std::optional<std::string> exif_date(std::optional<std::string> iso) {
  constexpr std::size_t kLength = 19;
  if (!iso || iso->size() < kLength || (*iso)[10] != 'T') return {};
  iso->resize(kLength);
  (*iso)[4] = (*iso)[7] = ':';
  (*iso)[10] = ' ';
  return iso;
}

std::optional<MadeFrom> made_from(const Exiv2::XmpData& xmp) {
  MadeFrom made;
  bool found = false;
  for (const Exiv2::Xmpdatum& datum : xmp) {
    if (datum.groupName() != "made") continue;
    found = true;
    if (datum.tagName() == "Program") made.program = datum.toString();
    if (datum.tagName() == "Template") made.template_sha256 = datum.toString();
    if (datum.tagName() == "Touch") {
      for (long i = 0; i < datum.count(); ++i) made.touch.push_back(datum.toString(i));
    }
    if (datum.tagName() != "Files") continue;
    for (long i = 0; i < datum.count(); ++i) {
      const std::string line = datum.toString(i);
      const std::size_t space = line.find(' ');
      if (space == std::string::npos) continue;
      made.files.push_back({bytes_of_readable(line.substr(space + 1)), line.substr(0, space)});
    }
  }
  if (!found) return {};
  return made;
}

PanoramaInfo info_of(const Exiv2::XmpData& xmp) {
  PanoramaInfo info;
  info.full_width_px = whole(xmp, "FullPanoWidthPixels").value_or(0);
  info.full_height_px = whole(xmp, "FullPanoHeightPixels").value_or(0);
  info.left_px = whole(xmp, "CroppedAreaLeftPixels").value_or(0);
  info.top_px = whole(xmp, "CroppedAreaTopPixels").value_or(0);
  info.width_px = whole(xmp, "CroppedAreaImageWidthPixels").value_or(0);
  info.height_px = whole(xmp, "CroppedAreaImageHeightPixels").value_or(0);
  info.use_viewer = text(xmp, "UsePanoramaViewer") != "False";
  info.heading_deg = number(xmp, "PoseHeadingDegrees").value_or(0);
  info.pitch_deg = number(xmp, "PosePitchDegrees");
  info.roll_deg = number(xmp, "PoseRollDegrees");
  info.source_photos = whole(xmp, "SourcePhotosCount");
  info.first_taken_at = exif_date(text(xmp, "FirstPhotoDate"));
  info.last_taken_at = exif_date(text(xmp, "LastPhotoDate"));
  info.made_from = made_from(xmp);
  return info;
}

}  // namespace

Result<std::optional<PanoramaInfo>> read_panorama_info(const std::filesystem::path& path) {
  const auto file = find_picture(path);
  if (!file) return tl::unexpected(file.error());
  // Sets the metadata library up, with its lock and without its messages.
  static_cast<void>(exif_orientation({}));
  try {
    const std::string packet = packet_of(*file);
    Exiv2::XmpData xmp;
    if (packet.empty() || Exiv2::XmpParser::decode(xmp, packet) != 0) return std::nullopt;
    if (text(xmp, "ProjectionType") != "equirectangular") return std::nullopt;
    return info_of(xmp);
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

bool says_panorama(const std::filesystem::path& path) {
  const auto sphere = read_panorama_info(path);
  return sphere && *sphere;
}

}  // namespace seamwright
