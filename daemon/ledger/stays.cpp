#include "daemon/ledger/stays.h"

#include <algorithm>
#include <utility>

namespace torpor::daemon {

namespace {

bool holds(const Stay& stay, Instant t) { return stay.from <= t && (!stay.to || t < *stay.to); }

}  // namespace

Instant Jar::closed() const {
  if (made.closed) return *made.closed;
  return stays.empty() ? registered_at : stays.front().from;
}

rules::culture::JarRecipe recipe_of(const NewJar& made, Instant closed) {
  rules::culture::JarRecipe recipe;
  recipe.rice = made.rice;
  recipe.raw = made.raw;
  recipe.cooked_weight = made.cooked_weight;
  recipe.cooked = made.cooked;
  recipe.sugar = made.sugar;
  recipe.topping = made.topping;
  recipe.sugar_kind = made.sugar_kind;
  recipe.empty_vessel = made.empty;
  recipe.volume_ml = made.volume_ml;
  recipe.mouth_mm = made.mouth_mm;
  recipe.cover = made.cover;
  recipe.closed = closed;
  return recipe;
}

rules::culture::JarRecipe Jar::recipe() const {
  rules::culture::JarRecipe recipe = recipe_of(made, closed());
  recipe.parent_worked_in_sugar = parent_worked_in_sugar;
  return recipe;
}

const Stay* Jar::stay_at(Instant t) const {
  const auto found =
      std::find_if(stays.begin(), stays.end(), [&](const Stay& stay) { return holds(stay, t); });
  return found == stays.end() ? nullptr : &*found;
}

std::optional<MoveFault> move_fault(const Jar& jar, std::string_view place, Instant at) {
  if (jar.retired_at && at >= *jar.retired_at) return MoveFault::retired;
  const Stay* stay = jar.stay_at(at);
  if (stay == nullptr) return MoveFault::before_the_jar;
  if (stay->place == place) return MoveFault::already_there;
  return std::nullopt;
}

const Stay& record_move(Jar& jar, std::string place, Instant at) {
  const auto stay = std::find_if(jar.stays.begin(), jar.stays.end(),
                                 [&](const Stay& known) { return holds(known, at); });
  if (stay->from == at) {
    stay->place = std::move(place);
    return *stay;
  }
  Stay moved{std::move(place), at, stay->to};
  stay->to = at;
  return *jar.stays.insert(stay + 1, std::move(moved));
}

}  // namespace torpor::daemon
