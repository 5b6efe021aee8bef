#include "imaging/metadata.h"

#include <algorithm>
#include <cmath>
#include <string_view>

#include <fmt/format.h>

#include "base/escaped_markup.h"
#include "base/readable_text.h"
#include "imaging/bigtiff_exif.h"
#include "imaging/exif_date.h"
#include "imaging/exif_reader.h"
#include "imaging/picture_file.h"

namespace seamwright {
namespace {

// Control characters are not allowed in XML 1.0.
std::string escaped(std::string_view text) {
  std::string plain(text);
  std::replace_if(
      plain.begin(), plain.end(), [](char c) { return static_cast<unsigned char>(c) < ' '; }, ' ');
  return escaped_markup(plain);
}

// Degrees with six decimals are 0.1 m on the equator: finer than any heading.
std::string degrees(double value) { return fmt::format("{:.6f}", value); }

// Into [lowest, lowest + 360). The last line is for values that rounding would carry to the end.
double wrapped(double value_deg, double lowest_deg) {
  double turned = std::fmod(value_deg - lowest_deg, 360.0);
  if (turned < 0) turned += 360.0;
  constexpr double kHalfLastDigit = 5e-7;
  return lowest_deg + (turned >= 360.0 - kHalfLastDigit ? 0.0 : turned);
}

constexpr std::string_view kMadeNamespace = "https://seamwright.example/ns/made/1.0/";

class Packet {
 public:
  void add(std::string_view name, std::string_view value) {
    text_ += fmt::format("   <GPano:{0}>{1}</GPano:{0}>\n", name, escaped(value));
  }
  void add(std::string_view name, int value) { add(name, fmt::format("{}", value)); }
  void add_date(std::string_view name, const std::optional<std::string>& exif_date) {
    if (exif_date && is_exif_date(*exif_date)) add(name, iso_date(*exif_date));
  }

  void add(const MadeFrom& made) {
    text_ += fmt::format("   <made:Program>{}</made:Program>\n", escaped(made.program));
    text_ += fmt::format("   <made:Template>{}</made:Template>\n", escaped(made.template_sha256));
    text_ += "   <made:Files>\n    <rdf:Seq>\n";
    for (const MadeFromFile& file : made.files) {
      text_ += fmt::format("     <rdf:li>{} {}</rdf:li>\n", escaped(file.sha256),
                           escaped(readable_text(file.name)));
    }
    text_ += "    </rdf:Seq>\n   </made:Files>\n";
    if (!made.touch.empty()) {
      text_ += "   <made:Touch>\n    <rdf:Seq>\n";
      for (const std::string& line : made.touch) {
        text_ += fmt::format("     <rdf:li>{}</rdf:li>\n", escaped(line));
      }
      text_ += "    </rdf:Seq>\n   </made:Touch>\n";
    }
    namespaces_ = fmt::format("\n    xmlns:made=\"{}\"", kMadeNamespace);
  }

  [[nodiscard]] std::string whole() const {
    return "<?xpacket begin=\"\xEF\xBB\xBF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n"
           "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n"
           " <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n"
           "  <rdf:Description rdf:about=\"\"\n"
           "    xmlns:GPano=\"http://ns.google.com/photos/1.0/panorama/\"" +
           namespaces_ + ">\n" + text_ +
           "  </rdf:Description>\n"
           " </rdf:RDF>\n"
           "</x:xmpmeta>\n"
           "<?xpacket end=\"w\"?>";
  }

 private:
  std::string text_;
  std::string namespaces_;
};

}  // namespace

Result<FrameInfo> read_frame_info(const std::filesystem::path& path) {
  const auto file = find_picture(path);
  if (!file) return tl::unexpected(file.error());
  FrameInfo info =
      file->kind == PictureKind::bigtiff ? read_bigtiff_exif(*file) : read_exif(file->path);
  info.file = path.string();
  return info;
}

PanoramaInfo PanoramaInfo::whole_sphere(int width_px, int height_px) {
  PanoramaInfo info;
  info.full_width_px = info.width_px = width_px;
  info.full_height_px = info.height_px = height_px;
  return info;
}

std::string gpano_xmp(const PanoramaInfo& info) {
  Packet packet;
  packet.add("ProjectionType", "equirectangular");
  packet.add("UsePanoramaViewer", info.use_viewer ? "True" : "False");
  packet.add("PoseHeadingDegrees", degrees(wrapped(info.heading_deg, 0)));
  if (info.pitch_deg) packet.add("PosePitchDegrees", degrees(*info.pitch_deg));
  // The mirror image of [−180, 180) is (−180, 180].
  if (info.roll_deg) packet.add("PoseRollDegrees", degrees(0.0 - wrapped(-*info.roll_deg, -180)));
  packet.add("CroppedAreaImageWidthPixels", info.width_px);
  packet.add("CroppedAreaImageHeightPixels", info.height_px);
  packet.add("FullPanoWidthPixels", info.full_width_px);
  packet.add("FullPanoHeightPixels", info.full_height_px);
  packet.add("CroppedAreaLeftPixels", info.left_px);
  packet.add("CroppedAreaTopPixels", info.top_px);
  if (info.initial_heading_deg) {
    packet.add("InitialViewHeadingDegrees", ((*info.initial_heading_deg % 360) + 360) % 360);
  }
  if (info.initial_pitch_deg) packet.add("InitialViewPitchDegrees", *info.initial_pitch_deg);
  packet.add("StitchingSoftware", info.software);
  if (info.source_photos) packet.add("SourcePhotosCount", *info.source_photos);
  packet.add_date("FirstPhotoDate", info.first_taken_at);
  packet.add_date("LastPhotoDate", info.last_taken_at);
  if (info.made_from) packet.add(*info.made_from);
  return packet.whole();
}

}  // namespace seamwright
