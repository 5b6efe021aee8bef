#include <cstdint>
#include <optional>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "apps/cli/inspect.h"
#include "base/readable_text.h"
#include "features/image_circle.h"
#include "imaging/metadata.h"
#include "imaging/read_image.h"

namespace seamwright {

namespace {

struct FrameFacts {
  std::string file;
  ImageHeader header;
  FrameInfo info;
  std::optional<MadeFrom> made_from;
  std::optional<ImageCircle> circle;
  std::string no_circle;  ///< why there is none
};

// Pixels are read for the circle alone, and no body's frames are larger than this.
constexpr std::int64_t kLargestFrame_px = 200'000'000;

Result<void> find_circle(FrameFacts& facts) {
  const std::int64_t pixels = std::int64_t{facts.header.width} * facts.header.height;
  if (pixels > kLargestFrame_px) {
    facts.no_circle =
        fmt::format("not looked for: larger than {} Mpx, no frame", kLargestFrame_px / 1'000'000);
    return {};
  }
  const auto image = read_image(facts.file);
  if (!image) return tl::unexpected(image.error());
  auto circle = find_image_circle(*image);
  if (circle) {
    facts.circle = *circle;
  } else {
    facts.no_circle = "none found: " + circle.error().what;
  }
  return {};
}

Result<FrameFacts> facts_of(const std::string& file) {
  auto header = read_image_header(file);
  if (!header) return tl::unexpected(header.error());
  auto info = read_frame_info(file);
  if (!info) return tl::unexpected(info.error());
  const auto sphere = read_panorama_info(file);
  FrameFacts facts{.file = file,
                   .header = std::move(*header),
                   .info = std::move(*info),
                   .made_from = sphere && *sphere ? (*sphere)->made_from : std::nullopt,
                   .circle = {},
                   .no_circle = {}};
  if (auto found = find_circle(facts); !found) return tl::unexpected(found.error());
  return facts;
}

std::string_view channels_name(Channels channels) {
  switch (channels) {
    case Channels::grey:
      return "grey";
    case Channels::grey_alpha:
      return "grey with alpha";
    case Channels::rgb:
      return "RGB";
    case Channels::rgba:
      return "RGB with alpha";
  }
  return "unknown";
}

std::string exposure_text(const FrameInfo& info) {
  std::vector<std::string> parts;
  if (info.exposure_s) {
    const double s = *info.exposure_s;
    parts.push_back(s > 0 && s < 0.4 ? fmt::format("1/{:.4g} s", 1 / s) : fmt::format("{:g} s", s));
  }
  if (info.f_number) parts.push_back(fmt::format("f/{:g}", *info.f_number));
  if (info.iso) parts.push_back(fmt::format("ISO {:g}", *info.iso));
  if (info.exposure_bias_ev) parts.push_back(fmt::format("{:+g} EV", *info.exposure_bias_ev));
  if (info.taken_at) parts.push_back(*info.taken_at);
  return parts.empty() ? "not recorded" : fmt::format("{}", fmt::join(parts, ", "));
}

void tell_people(const FrameFacts& facts) {
  const ImageHeader& header = facts.header;
  std::string text;
  text += fmt::format("{}\n", facts.file);
  text += fmt::format("  size       {} x {} px, {}\n", header.width, header.height,
                      channels_name(header.channels));
  text += fmt::format("  depth      {} bits{}, {}, compression {}\n", header.bits_per_sample,
                      header.type == SampleType::f32 ? " float" : "", header.format,
                      header.compression);
  if (header.icc_bytes == 0) {
    text += fmt::format("  profile    none\n");
  } else {
    text += fmt::format("  profile    {} ({} bytes)\n",
                        header.icc_description.empty() ? "without a name" : header.icc_description,
                        header.icc_bytes);
  }
  text += fmt::format("  exposure   {}\n", exposure_text(facts.info));
  if (facts.made_from) {
    text += fmt::format("  made by    {}, template {}\n", facts.made_from->program,
                        facts.made_from->template_sha256);
    for (const MadeFromFile& made : facts.made_from->files) {
      text += fmt::format("  made from  {} {}\n", made.sha256, made.name);
    }
    for (const std::string& term : facts.made_from->touch) {
      text += fmt::format("  touched    {}\n", term);
    }
  }
  if (facts.circle) {
    const ImageCircle& circle = *facts.circle;
    text += fmt::format(
        "  circle     centre {:.2f} {:.2f} px, radius {:.2f} px (rim seen over {:.0f} % of the "
        "turn, {:.2f} px RMS)\n",
        circle.centre_px.x(), circle.centre_px.y(), circle.radius_px, 100 * circle.coverage,
        circle.residual_px);
  } else {
    text += fmt::format("  circle     {}\n", facts.no_circle);
  }
  fmt::print("{}", printable_text(text));
}

template <class T>
nlohmann::json or_null(const std::optional<T>& value) {
  return value ? nlohmann::json(*value) : nlohmann::json(nullptr);
}

nlohmann::json as_json(const FrameFacts& facts) {
  const ImageHeader& header = facts.header;
  const FrameInfo& info = facts.info;
  nlohmann::json object = {
      {"file", facts.file},
      {"format", header.format},
      {"width_px", header.width},
      {"height_px", header.height},
      {"channels", channel_count(header.channels)},
      {"bits_per_sample", header.bits_per_sample},
      {"float", header.type == SampleType::f32},
      {"compression", header.compression},
      {"icc_bytes", header.icc_bytes},
      {"icc_description", header.icc_description},
      {"taken_at", or_null(info.taken_at)},
      {"exposure_s", or_null(info.exposure_s)},
      {"f_number", or_null(info.f_number)},
      {"iso", or_null(info.iso)},
      {"exposure_bias_ev", or_null(info.exposure_bias_ev)},
      {"body_make", or_null(info.body_make)},
      {"body_model", or_null(info.body_model)},
      {"body_serial", or_null(info.body_serial)},
      {"lens_model", or_null(info.lens_model)},
      {"lens_serial", or_null(info.lens_serial)},
      {"circle", nullptr},
      {"made_from", nullptr},
  };
  if (facts.made_from) {
    nlohmann::json files = nlohmann::json::array();
    for (const MadeFromFile& made : facts.made_from->files) {
      files.push_back({{"name", readable_text(made.name)}, {"sha256", made.sha256}});
    }
    object["made_from"] = {{"program", facts.made_from->program},
                           {"template_sha256", facts.made_from->template_sha256},
                           {"files", files}};
  }
  if (facts.circle) {
    const ImageCircle& circle = *facts.circle;
    object["circle"] = {{"centre_u_px", circle.centre_px.x()},
                        {"centre_v_px", circle.centre_px.y()},
                        {"radius_px", circle.radius_px},
                        {"residual_px", circle.residual_px},
                        {"coverage", circle.coverage}};
  }
  return object;
}

}  // namespace

Result<Outcome> inspect_frames(const std::vector<std::string>& files, const Console& console) {
  nlohmann::json frames = nlohmann::json::array();
  for (const std::string& file : files) {
    const auto facts = facts_of(file);
    if (!facts) return tl::unexpected(facts.error());
    if (console.json()) {
      frames.push_back(as_json(*facts));
    } else {
      tell_people(*facts);
    }
  }
  if (console.json()) console.answer({{"command", "inspect"}, {"frames", frames}});
  return Outcome::done;
}

}  // namespace seamwright
