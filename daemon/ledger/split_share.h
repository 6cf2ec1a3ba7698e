// What a jar holds that was split off from another: its share of that jar's rice and sugar by what
// was told of it. Its water and its work are the model's to know (jar_life.h).
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// What is left of what was told of a jar up to an entry.
struct Rest {
  double share = 1.0;           // of what was closed in it
  double added = 0.0;           // g of sugar added since that is left
  double on_top = 0.0;          // g of all its sugar that was not stirred in
  std::optional<double> grams;  // all of it; nullopt: rice or sugar was not told
};
[[nodiscard]] Rest rest_of(const Jar& jar, Instant at, std::uint64_t before_entry);

// Fills stage, origin, rice and sugar of `jar.made` from the parent as it was just before the
// split. What is not known of the parent stays unknown. The topping comes over stirred: it counts
// as sugar. Precondition: jar.split and jar.entry are set.
void take_share(Jar& jar, const Jar& parent);

}  // namespace torpor::daemon
