#include "rules/watch/layout.h"

#include <algorithm>

namespace torpor::rules {

namespace {
struct SensesName {
  Senses senses;
  std::string_view name;
};
constexpr SensesName kSensesNames[] = {
    {Senses::air, "air"},
    {Senses::headspace, "headspace"},
    {Senses::glass, "glass"},
    {Senses::culture, "culture"},
};
}  // namespace

std::string_view senses_name(Senses senses) {
  for (const SensesName& row : kSensesNames) {
    if (row.senses == senses) return row.name;
  }
  return "air";
}

std::optional<Senses> senses_named(std::string_view name) {
  for (const SensesName& row : kSensesNames) {
    if (row.name == name) return row.senses;
  }
  return std::nullopt;
}

SensorSpec with_learned(SensorSpec configured, const SensorSpec& dated) {
  if (configured.learns_interval) configured.expected_interval = dated.expected_interval;
  if (configured.learns_hold) configured.hold = dated.hold;
  configured.learns_interval = configured.learns_hold = false;
  return configured;
}

std::string_view parent_place(std::string_view path) {
  const auto slash = path.rfind('/');
  return slash == std::string_view::npos ? std::string_view{} : path.substr(0, slash);
}

bool is_at_or_below(std::string_view path, std::string_view ancestor) {
  if (path.size() == ancestor.size()) return path == ancestor;
  return !ancestor.empty() && path.size() > ancestor.size() &&
         path.substr(0, ancestor.size()) == ancestor && path[ancestor.size()] == '/';
}

bool is_outside(const Layout& layout, std::string_view place) {
  return std::any_of(layout.places.begin(), layout.places.end(), [&](const PlaceSpec& spec) {
    return spec.outside && is_at_or_below(place, spec.path);
  });
}

}  // namespace torpor::rules
