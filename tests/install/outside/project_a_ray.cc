// Loads a template and tells where each lens' optical axis lands in its frame.

#include <cstdio>

#include "templates/rig_template.h"

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "usage: project_a_ray TEMPLATE\n");
    return 1;
  }
  const auto body = seamwright::read_template(argv[1]);
  if (!body) {
    std::fprintf(stderr, "%s\n", body.error().line().c_str());
    return 1;
  }
  for (int i = 0; i < body->rig().lens_count(); ++i) {
    const auto& lens = body->rig().lenses[static_cast<std::size_t>(i)];
    const seamwright::Vec3 axis = lens.rig_from_lens * seamwright::Vec3::UnitZ();
    const auto px = lens.project_direction(axis);
    if (!px) return 1;
    std::printf("lens %d sees (%.3f, %.3f, %.3f) at (%.3f, %.3f) px\n", i, axis.x(), axis.y(),
                axis.z(), px->x(), px->y());
  }
  return 0;
}
