#include "compose/render/cell_plan.h"

#include <algorithm>
#include <cstddef>
#include <span>

#include "compose/render/source_grid.h"

namespace seamwright {

namespace {

std::size_t widest_margin(const CellPlan& plan, std::size_t lenses) {
  const auto begin = plan.margin_rad.begin();
  return static_cast<std::size_t>(
      std::max_element(begin, begin + static_cast<std::ptrdiff_t>(lenses)) - begin);
}

// True where no other lens comes near enough anywhere in the cell to have a share.
bool leads_everywhere(const RenderSources& sources, const CellPlan& plan, std::size_t lens) {
  if (!plan.moving.empty() || plan.cover[lens] != Cover::all) return false;
  for (std::size_t i = 0; i < sources.lenses.size(); ++i) {
    if (i == lens || plan.cover[i] == Cover::none) continue;
    const double least_lead = plan.margin_rad[lens] - plan.margin_rad[i] - 2 * plan.reach_rad;
    if (least_lead < 2 * sources.weights.half_width_rad()) return false;
  }
  return true;
}

void give_all(CellPlan& plan, std::size_t lens) {
  plan.alone = true;
  plan.shares_any[lens] = true;
}

bool others_show_it(const RenderSources& sources, const CellPlan& plan, const PairCell& pair) {
  for (std::size_t i = 0; i < sources.lenses.size(); ++i) {
    if (!pair.has(i) && plan.cover[i] != Cover::none) return true;
  }
  return false;
}

// Which lenses of a pair have a share somewhere.
struct AnyShares {
  bool a = false;
  bool b = false;
};

// Shares of a pair's lenses by its seam. `hides`: something may hide a point from one of them.
AnyShares fill_seam_shares(const PairCell& pair, bool hides, CellPlan& plan) {
  AnyShares any;
  RunPlane& of_a = plan.share[pair.lens_a()];
  RunPlane& of_b = plan.share[pair.lens_b()];
  pair.seam_shares(of_a);
  for (int row = 0; row < plan.cell.height; ++row) {
    for (int column = 0; column < plan.cell.width; ++column) {
      const std::size_t i = Cell::index(column, row);
      float& share = of_a[i];
      if (hides) share = static_cast<float>(pair.share_of_a(i, share, 1 - share));
      of_b[i] = 1 - share;
      any.a = any.a || share > 0;
      any.b = any.b || share < 1;
    }
  }
  return any;
}

// Where no third lens sees a cell, and the walk between two is at full strength, their seam alone
// says who has what: if both see all of the cell, or the one that does has it all. False elsewhere.
bool share_along_seam(const RenderSources& sources, CellPlan& plan) {
  if (plan.moving.size() != 1 || !plan.moving.front().whole()) return false;
  const PairCell& pair = plan.moving.front();
  if (others_show_it(sources, plan, pair)) return false;
  const bool a_shows_all = plan.cover[pair.lens_a()] == Cover::all;
  const bool b_shows_all = plan.cover[pair.lens_b()] == Cover::all;
  const bool hides = a_shows_all && b_shows_all && !pair.shown_by_both();
  const auto owner = pair.beside_seam();
  if (owner && !hides && plan.cell.width == Cell::kSize) {
    if (plan.cover[*owner] != Cover::all) return false;
    give_all(plan, *owner);
    return true;
  }
  const AnyShares any = fill_seam_shares(pair, hides, plan);
  if ((any.a && !a_shows_all) || (any.b && !b_shows_all)) return false;
  plan.shares_any[pair.lens_a()] = any.a;
  plan.shares_any[pair.lens_b()] = any.b;
  return true;
}

// True where a lens that sees all of the cell leads the others by so much in every pixel that their
// shares are zero. `margins` is set for lenses that see all of it.
bool leads_in_every_pixel(const RenderSources& sources, const CellPlan& plan, std::size_t lens,
                          std::span<const RunPlane> margins) {
  if (!plan.moving.empty() || plan.cover[lens] != Cover::all) return false;
  const auto lead = static_cast<float>(2 * sources.weights.half_width_rad() + kMarginBound_rad);
  for (std::size_t i = 0; i < sources.lenses.size(); ++i) {
    if (i == lens || plan.cover[i] == Cover::none) continue;
    if (plan.cover[i] == Cover::part) return false;
    for (int row = 0; row < plan.cell.height; ++row) {
      const float* ours = &margins[lens][Cell::index(0, row)];
      const float* theirs = &margins[i][Cell::index(0, row)];
      for (int column = 0; column < plan.cell.width; ++column) {
        if (ours[column] - theirs[column] < lead) return false;
      }
    }
  }
  return true;
}

// Where something hides a point from one lens of a pair, the other has it alone.
void prefer_who_sees(const CellPlan& plan, std::size_t pixel, std::span<double> share) {
  for (const PairCell& pair : plan.moving) {
    const std::size_t a = pair.lens_a();
    const std::size_t b = pair.lens_b();
    if (plan.cover[a] != Cover::all || plan.cover[b] != Cover::all) continue;
    const double sum = share[a] + share[b];
    if (sum <= 0 || pair.shown_by_both()) continue;
    const double of_a = pair.share_of_a(pixel, share[a], share[b]);
    if (of_a == share[a]) continue;  // as nearly everywhere
    share[a] = of_a;
    share[b] = sum - of_a;
  }
}

// Shares of a cell's pixels, each asked for by itself.
class PixelShares {
 public:
  PixelShares(const RenderSources& sources, const CellPlan& plan)
      : sources_(sources), plan_(plan), margins_(sources.lenses.size()) {
    for (std::size_t i = 0; i < margins_.size(); ++i) {
      if (plan.cover[i] == Cover::all)
        fill_margins(sources.lenses[i]->map, sources.raster, plan.cell, margins_[i]);
    }
  }

  [[nodiscard]] std::span<const RunPlane> margins() const { return margins_; }

  void read_seams() {
    steps_.resize(plan_.moving.size());
    seam_share_a_.resize(plan_.moving.size());
    for (std::size_t i = 0; i < steps_.size(); ++i) plan_.moving[i].seam_shares(seam_share_a_[i]);
  }

  // By lens.
  [[nodiscard]] std::span<const double> at(int column, int row) {
    const std::size_t lenses = sources_.lenses.size();
    const std::size_t pixel = Cell::index(column, row);
    for (std::size_t i = 0; i < lenses; ++i) margin_[i] = margin(i, column, row);
    for (std::size_t i = 0; i < steps_.size(); ++i) {
      const PairCell& pair = plan_.moving[i];
      steps_[i] = {.a = pair.lens_a(),
                   .b = pair.lens_b(),
                   .share_a = static_cast<double>(seam_share_a_[i][pixel]),
                   .weight = static_cast<double>(pair.strength(pixel))};
    }
    sources_.weights.at({margin_.data(), lenses}, {share_.data(), lenses}, steps_);
    prefer_who_sees(plan_, pixel, {share_.data(), lenses});
    return {share_.data(), lenses};
  }

 private:
  [[nodiscard]] double margin(std::size_t lens, int column, int row) const {
    const Cell& cell = plan_.cell;
    if (plan_.cover[lens] == Cover::none) return -1;
    if (plan_.cover[lens] == Cover::all)
      return static_cast<double>(margins_[lens][Cell::index(column, row)]);
    return sources_.lenses[lens]->map.margin_rad(
        sources_.raster.direction({cell.x + column + 0.5, cell.y + row + 0.5}));
  }

  const RenderSources& sources_;
  const CellPlan& plan_;
  std::vector<RunPlane> margins_;
  std::vector<PairStep> steps_;
  std::vector<RunPlane> seam_share_a_;
  std::array<double, kMaxLenses> margin_ = {};
  std::array<double, kMaxLenses> share_ = {};
};

void share_by_pixel(const RenderSources& sources, std::size_t best, CellPlan& plan) {
  PixelShares shares(sources, plan);
  if (leads_in_every_pixel(sources, plan, best, shares.margins())) return give_all(plan, best);
  shares.read_seams();
  for (int row = 0; row < plan.cell.height; ++row) {
    for (int column = 0; column < plan.cell.width; ++column) {
      const auto share = shares.at(column, row);
      bool seen = false;
      for (std::size_t i = 0; i < share.size(); ++i) {
        plan.share[i][Cell::index(column, row)] = static_cast<float>(share[i]);
        plan.shares_any[i] |= share[i] > 0;
        seen |= share[i] > 0;
      }
      plan.unseen += seen ? 0 : 1;
    }
  }
}

}  // namespace

// Margins change by at most the angle moved, so the one in the middle of the cell bounds the
// others.
void find_cover(const RenderSources& sources, CellPlan& plan) {
  const Vec3 middle = sources.raster.direction(plan.cell.middle());
  plan.reach_rad = plan.cell.reach_rad(sources.raster);
  for (const PairField& pair : sources.pairs) {
    if (pair.touches(middle, plan.reach_rad))
      plan.moving.emplace_back(pair, sources.raster, plan.cell);
  }
  for (std::size_t i = 0; i < sources.lenses.size(); ++i) {
    const double margin = sources.lenses[i]->map.margin_rad(middle);
    plan.margin_rad[i] = margin;
    plan.cover[i] = margin > plan.reach_rad    ? Cover::all
                    : margin < -plan.reach_rad ? Cover::none
                                               : Cover::part;
  }
}

void share_out(const RenderSources& sources, CellPlan& plan) {
  const std::size_t best = widest_margin(plan, sources.lenses.size());
  if (leads_everywhere(sources, plan, best)) return give_all(plan, best);
  if (!share_along_seam(sources, plan)) share_by_pixel(sources, best, plan);
}

}  // namespace seamwright
