#include <array>
#include <cmath>
#include <set>
#include <string>

#include <fmt/format.h>

#include "base/file.h"
#include "templates/covariance_check.h"
#include "templates/rig_template.h"
#include "templates/shot_keys.h"
#include "templates/strict_map.h"
#include "templates/template_keys.h"
#include "templates/versioned.h"

namespace seamwright {

namespace {

std::size_t index_of(int i) { return static_cast<std::size_t>(i); }

FringeTerms read_fringe(const StrictValue& value) {
  const StrictMap map(value, {"a0", "a1", "a2"});
  return {map.at("a0").number(), map.at("a1").number(), map.at("a2").number()};
}

VignettingTerms read_vignetting(const StrictValue& value) {
  const StrictMap map(value, {"v1", "v2", "v3"});
  return {map.at("v1").number(), map.at("v2").number(), map.at("v3").number()};
}

LensCurve read_curve(const StrictValue& value) {
  std::vector<std::string_view> names;
  for (int i = 0; i < kLensCurveCount; ++i) names.push_back(curve_name(static_cast<LensCurve>(i)));
  return static_cast<LensCurve>(value.choice(names));
}

Quat read_rotation(const StrictValue& value, bool is_first) {
  const Vec3 rotation_deg = value.vector3();
  if (is_first && rotation_deg.norm() > 1e-9) {
    value.refuse("the first lens is turned", "lens 0 fixes the rig's orientation: give [0, 0, 0]");
  }
  return quat_from_rotation_vector(rotation_deg * rad_from_deg(1.0));
}

/// Hands a lens' own complaint on with the line of the key it names.
void check_lens(const Lens& lens, const StrictMap& map, const LensTermNames& names) {
  const std::optional<Error> error = lens.validate();
  if (!error) return;
  const std::string key = renamed_term(error->field.substr(0, error->field.find('/')),
                                       kLensTermNames, names);  // of "aspect/shear"
  const StrictValue& at = map.has(key) ? map.at(key) : map.self();
  at.refuse(error->what, error->remedy);
}

MountedLens read_lens(const StrictValue& value, const PupilUnit& unit, const Lens& frame,
                      bool is_first, const LensTermNames& names) {
  const StrictMap map(value, lens_keys(unit, names));
  MountedLens mounted;
  mounted.lens = frame;
  mounted.lens.curve = read_curve(map.at("curve"));
  for (int term = 0; term < kLensTermCount; ++term) {
    mounted.lens.terms[index_of(term)] = map.at(names[index_of(term)]).number();
  }
  mounted.lens.theta_max_rad = rad_from_deg(map.at("theta_max_deg").number());
  mounted.rig_from_lens = read_rotation(map.at("rotation_deg"), is_first);
  mounted.pupil = map.at(unit.pupil_key()).vector3();
  mounted.pupil_travel = map.at(unit.travel_key()).number();
  mounted.lens.red = read_fringe(map.at("fringe_red"));
  mounted.lens.blue = read_fringe(map.at("fringe_blue"));
  mounted.lens.vignetting = read_vignetting(map.at("vignetting"));
  check_lens(mounted.lens, map, names);
  return mounted;
}

Rig read_rig(const StrictMap& map, const LensTermNames& names) {
  const std::vector<StrictValue> size = map.at("frame_size_px").list();
  if (size.size() != 2)
    map.at("frame_size_px").refuse("is not [width, height]", "give two numbers");
  Lens frame;
  frame.width_px = size[0].whole(1, kFrameLimit_px);
  frame.height_px = size[1].whole(1, kFrameLimit_px);

  const StrictValue lenses = map.at("lenses");
  const std::vector<StrictValue> values = lenses.list();
  Rig rig;
  // All lenses share the unit of the first; another one is then an error with its own line.
  rig.metric = values.empty() || values[0].yaml().find(kBaselines.pupil_key()) == nullptr;
  for (const StrictValue& value : values) {
    rig.lenses.push_back(
        read_lens(value, rig.metric ? kMetres : kBaselines, frame, rig.lenses.empty(), names));
  }
  if (const auto error = rig.validate()) lenses.refuse(error->what, error->remedy);
  return rig;
}

/// One row of the lower triangle: `- lens0.focal_px: [...]`.
void read_covariance_row(const StrictValue& value, const std::set<std::string>& known,
                         TermCovariance& covariance) {
  if (value.yaml().kind != YamlValue::Kind::map || value.yaml().children.size() != 1) {
    value.refuse("is not one row of the covariance", "write '- lens0.focal_px: [...]'");
  }
  const YamlValue& entry = value.yaml().children[0];
  const StrictValue row(entry, value.file(), value.field());
  if (known.count(entry.key) == 0) {
    row.refuse(fmt::format("{} is no term of this rig", shown(entry.key)),
               "name terms like lens0.focal_px, lens1.rotation_x_rad or lens1.pupil_x");
  }
  for (const std::string& name : covariance.names) {
    if (name == entry.key) {
      row.refuse(fmt::format("the term {} has two rows", shown(name)), "remove one of the two");
    }
  }
  const auto count = covariance.names.size();
  const std::vector<double> numbers = row.numbers(count + 1);
  for (std::size_t j = 0; j <= count; ++j) {
    const auto r = static_cast<Eigen::Index>(count);
    const auto c = static_cast<Eigen::Index>(j);
    covariance.values(r, c) = covariance.values(c, r) = numbers[j];
  }
  covariance.names.push_back(entry.key);  // as the file has it
}

TermCovariance read_covariance(const StrictValue& value, const Rig& rig,
                               const LensTermNames& names) {
  const std::vector<StrictValue> rows = value.list();
  const std::set<std::string> known = covariance_term_names(rig.lens_count(), names);
  if (rows.size() > known.size())
    value.refuse("has more rows than the rig has terms", "correct it");
  TermCovariance covariance;
  const auto size = static_cast<Eigen::Index>(rows.size());
  covariance.values = Eigen::MatrixXd::Zero(size, size);
  for (const StrictValue& row : rows) read_covariance_row(row, known, covariance);
  if (const auto why = why_no_covariance(covariance.values)) {
    value.refuse(*why, "restore the covariance as it was learned, or write [] for none");
  }
  for (std::string& name : covariance.names) name = renamed_term(name, names, kLensTermNames);
  return covariance;
}

SolutionQuality read_quality(const StrictValue& value, const SeamErrorNames& seam) {
  const StrictMap map(value, quality_keys(seam));
  constexpr int kMost = 1'000'000'000;
  SolutionQuality quality;
  quality.shots = map.at("shots").whole(0, kMost);
  quality.ties = map.at("ties").whole(0, kMost);
  quality.ties_rejected = map.at("ties_rejected").whole(0, kMost);
  quality.rms_px = map.at("rms_px").number();
  quality.max_px = map.at("max_px").number();
  quality.inlier_share = map.at("inlier_share").number();
  quality.residual_spread = map.at("residual_spread").number();
  quality.expected_seam_parallax_px = map.at(seam.parallax).number();
  quality.expected_seam_sideways_px = map.at(seam.sideways).number();
  quality.flex_sigma_rad = rad_from_deg(map.at("flex_sigma_deg").number());
  return quality;
}

std::vector<TemplateSource> read_sources(const StrictValue& value) {
  std::vector<TemplateSource> sources;
  for (const StrictValue& item : value.list()) {
    const StrictMap map(item, {"file", "sha256"});
    sources.push_back({map.at("file").text(), map.at("sha256").sha256()});
  }
  return sources;
}

constexpr std::array<std::string_view, 3> kBodyFilesKeys = {"layout", "quarter_turns",
                                                            "exif_lenses"};
constexpr std::array<std::string_view, 2> kSerialKeys = {"body_serial", "lens_serials"};

std::vector<std::string> read_lens_names(const StrictValue& value) {
  std::vector<std::string> names;
  for (const StrictValue& item : value.list()) {
    names.push_back(item.text());
    if (std::count(names.begin(), names.end(), names.back()) > 1) {
      item.refuse("is the name of two lenses", "leave 'exif_lenses' out where they have one name");
    }
  }
  return names;
}

BodyFiles read_body_files(const StrictMap& map, std::size_t lens_count) {
  BodyFiles files;
  const auto check_count = [&](const char* key, std::size_t count) {
    if (count == lens_count) return;
    map.at(key).refuse(fmt::format("has {} entries for {} lenses", count, lens_count),
                       "give one a lens, or leave it out");
  };
  if (map.has("layout")) {
    files.layout = static_cast<FrameLayout>(
        map.at("layout").choice({kLayoutNames.begin(), kLayoutNames.end()}));
  }
  if (map.has("quarter_turns")) {
    for (const StrictValue& turn : map.at("quarter_turns").list()) {
      files.quarter_turns.push_back(turn.whole(-3, 3));
    }
    check_count("quarter_turns", files.quarter_turns.size());
  }
  if (map.has("exif_lenses")) {
    files.exif_lenses = read_lens_names(map.at("exif_lenses"));
    check_count("exif_lenses", files.exif_lenses.size());
  }
  if (map.has("body_serial")) files.body_serial = map.at("body_serial").text();
  if (map.has("lens_serials")) {
    for (const StrictValue& serial : map.at("lens_serials").list()) {
      files.lens_serials.push_back(serial.text());
    }
    check_count("lens_serials", files.lens_serials.size());
  }
  return files;
}

/// What a version says of the body's files.
enum class TellsOfFiles { nothing, lenses, serials };

/// What sets a version apart.
struct TemplateVersion {
  const LensTermNames& terms;
  TellsOfFiles files;
  const SeamErrorNames& seam;
};

RigTemplate read_template_with(const StrictValue& document, const TemplateVersion& version) {
  std::vector<std::string> keys = {"format",     "version",       "body",
                                   "mirrored",   "frame_size_px", "lenses",
                                   "covariance", "quality",       "learned_from"};
  const bool tells_files = version.files != TellsOfFiles::nothing;
  if (tells_files) keys.insert(keys.end(), kBodyFilesKeys.begin(), kBodyFilesKeys.end());
  if (version.files == TellsOfFiles::serials)
    keys.insert(keys.end(), kSerialKeys.begin(), kSerialKeys.end());
  const StrictMap map(document, keys);
  RigTemplate value;
  value.body = map.at("body").text();
  value.mirrored = map.at("mirrored").flag();
  value.solution.rig = read_rig(map, version.terms);
  value.solution.covariance =
      read_covariance(map.at("covariance"), value.solution.rig, version.terms);
  value.solution.quality = read_quality(map.at("quality"), version.seam);
  value.learned_from = read_sources(map.at("learned_from"));
  if (tells_files) value.files = read_body_files(map, value.solution.rig.lenses.size());
  return value;
}

RigTemplate read_template_1(const StrictValue& document) {
  return read_template_with(document,
                            {kFirstTermNames, TellsOfFiles::nothing, kFirstSeamErrorNames});
}

RigTemplate read_template_2(const StrictValue& document) {
  return read_template_with(document,
                            {kLensTermNames, TellsOfFiles::nothing, kFirstSeamErrorNames});
}

RigTemplate read_template_3(const StrictValue& document) {
  return read_template_with(document, {kLensTermNames, TellsOfFiles::lenses, kFirstSeamErrorNames});
}

RigTemplate read_template_4(const StrictValue& document) {
  return read_template_with(document,
                            {kLensTermNames, TellsOfFiles::serials, kFirstSeamErrorNames});
}

RigTemplate read_template_5(const StrictValue& document) {
  return read_template_with(document, {kLensTermNames, TellsOfFiles::serials, kSeamErrorNames});
}

/// One reader a version, each giving today's RigTemplate: an old file is lifted by its own reader.
constexpr std::array kTemplateReaders = {VersionReader<RigTemplate>{1, &read_template_1},
                                         VersionReader<RigTemplate>{2, &read_template_2},
                                         VersionReader<RigTemplate>{3, &read_template_3},
                                         VersionReader<RigTemplate>{4, &read_template_4},
                                         VersionReader<RigTemplate>{5, &read_template_5}};

}  // namespace

Result<RigTemplate> parse_template(std::string_view yaml, const std::string& name) {
  return parse_versioned<RigTemplate>(yaml, name, kTemplateFormat, kTemplateReaders);
}

Result<RigTemplate> read_template(const std::filesystem::path& path) {
  const Result<std::string> text = read_file(path, kYamlLimitBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_template(*text, path.string());
}

}  // namespace seamwright
