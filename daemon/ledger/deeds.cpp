#include "daemon/ledger/deeds.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/ledger/answer_text.h"
#include "rules/culture/mix.h"
#include "rules/culture/profile.h"
#include "rules/culture/recipe.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

// One jar is lifted by one person; beyond that a g was told as kg.
constexpr Grams kHeaviestDeed{50'000};
// A weighing off by more than this share of the contents is asked about: as the model does.
constexpr double kOddWeighing = 0.25;
// Bowls and spoons keep some: a take may be this much over what the figures leave.
constexpr double kTakeTolerance = 1.05;
// Of a jar all but used up no figure is left to compare with.
constexpr Grams kTooLittle{100};
constexpr double kHighestLevel = 2000;  // mm: a barrel
constexpr Duration kWorkRemembered = std::chrono::hours(14 * 24);

struct ToModel {
  using Event = std::optional<std::variant<culture::Act, culture::Observation>>;
  Event operator()(const TakeOut& take) const { return culture::Act(culture::Take{take.contents}); }
  Event operator()(const RetireJar&) const { return std::nullopt; }
  Event operator()(const culture::AddSugar& add) const { return culture::Act(add); }
  Event operator()(const culture::Open& open) const { return culture::Act(open); }
  Event operator()(const culture::ChangeCover& change) const { return culture::Act(change); }
  template <class Seen>
  Event operator()(const Seen& seen) const {
    return culture::Observation(seen);
  }
};

template <class Part>
const Part* part_of(const JarEvent& event) {
  const auto* act = std::get_if<culture::Act>(&event.what);
  return act != nullptr ? std::get_if<Part>(act) : nullptr;
}

template <class Part>
const Part* seen_in(const JarEvent& event) {
  const auto* seen = std::get_if<culture::Observation>(&event.what);
  return seen != nullptr ? std::get_if<Part>(seen) : nullptr;
}

std::optional<Grams> net_of(const Jar& jar, const culture::Weighing& weighing) {
  if (!weighing.with_vessel) return weighing.weight;
  if (!jar.made.empty) return std::nullopt;
  return Grams(weighing.weight.value() - jar.made.empty->value());
}

std::optional<std::string> weighing_doubt(const Jar& jar, const culture::Weighing& weighing,
                                          Instant at) {
  if (weighing.weight > kHeaviestDeed) {
    return fmt::format("{} is more than one jar weighs; is it {}?", grams_text(weighing.weight),
                       grams_text(Grams(weighing.weight.value() / 1000)));
  }
  if (weighing.weight.value() <= 0.0) return std::string("a jar weighs more than 0 g");
  const auto net = net_of(jar, weighing);
  const auto expected = contents_at(jar, at);
  if (!expected) {
    if (net && net->value() <= 0.0) {
      return fmt::format("{} with the vessel is not more than the empty vessel, {}",
                         grams_text(weighing.weight), grams_text(*jar.made.empty));
    }
    return std::nullopt;
  }
  if (*expected < kTooLittle) return std::nullopt;
  const double most = kOddWeighing * expected->value();
  const bool odd = net ? std::abs(net->value() - expected->value()) > most
                       : weighing.weight.value() < expected->value() - most;
  if (!odd) return std::nullopt;
  const std::string vessel =
      jar.made.empty ? fmt::format(" in a vessel of {}", grams_text(*jar.made.empty)) : "";
  return fmt::format(
      "{} {} the vessel does not fit: about {} of contents{} were expected; was it "
      "weighed {} the vessel, or was something taken or added and not told?",
      grams_text(weighing.weight), weighing.with_vessel ? "with" : "without", grams_text(*expected),
      vessel, weighing.with_vessel ? "without" : "with");
}

std::optional<std::string> take_doubt(const Jar& jar, Grams amount, Instant at) {
  if (amount.value() <= 0.0) return std::string("0 g is nothing taken");
  const auto left = contents_at(jar, at);
  if (!left || amount.value() <= kTakeTolerance * left->value()) return std::nullopt;
  return fmt::format(
      "{} holds about {} by what was told, less than the {} taken; weigh it, or "
      "is the weight or the jar wrong?",
      jar.made.jar, grams_text(*left), grams_text(amount));
}

std::optional<std::string> sugar_doubt_of(Grams sugar) {
  if (sugar.value() <= 0.0) return std::string("0 g of sugar is none added");
  if (sugar <= kHeaviestDeed) return std::nullopt;
  return fmt::format("{} of sugar is more than one jar holds; is it {}?", grams_text(sugar),
                     grams_text(Grams(sugar.value() / 1000)));
}

}  // namespace

std::optional<std::variant<culture::Act, culture::Observation>> model_event(const Deed& deed) {
  return std::visit(ToModel{}, deed);
}

std::optional<DeedFault> deed_fault(const Jar& jar, const Deed& deed, Instant at) {
  if (jar.retired_at && at >= *jar.retired_at) return DeedFault::retired;
  if (at < std::min(jar.closed(), jar.stays.front().from)) return DeedFault::before_the_jar;
  if (std::holds_alternative<RetireJar>(deed)) {
    if (jar.retired_at) return DeedFault::retired;
    if (at < jar.stays.back().from) return DeedFault::moved_later;
  }
  return std::nullopt;
}

void record_deed(Jar& jar, const Deed& deed, Instant at, std::uint64_t entry) {
  if (std::holds_alternative<RetireJar>(deed)) {
    jar.retired_at = at;
    jar.stays.back().to = at;
    return;
  }
  auto what = model_event(deed);
  if (!what) return;
  const auto later = [](const JarEvent& a, const JarEvent& b) {
    return a.at != b.at ? a.at < b.at : a.entry < b.entry;
  };
  JarEvent event{at, entry, std::move(*what)};
  jar.events.insert(std::upper_bound(jar.events.begin(), jar.events.end(), event, later),
                    std::move(event));
}

std::optional<Cover> cover_at(const Jar& jar, Instant at) {
  std::optional<Cover> cover = jar.made.cover;
  for (const JarEvent& event : jar.events) {
    if (event.at > at) break;
    if (const auto* change = part_of<culture::ChangeCover>(event)) cover = change->cover;
  }
  return cover;
}

std::optional<Grams> contents_at(const Jar& jar, Instant at) {
  std::optional<double> grams;
  if (jar.split) {
    grams = jar.split->contents.value();
  } else if (jar.made.rice && jar.made.sugar) {
    grams = jar.made.rice->value() + jar.made.sugar->value() +
            (jar.made.topping ? jar.made.topping->value() : 0.0);
  }
  for (const JarEvent& event : jar.events) {
    if (event.at > at) break;
    if (const auto* weighing = seen_in<culture::Weighing>(event)) {
      if (const auto net = net_of(jar, *weighing)) grams = net->value();
    } else if (grams) {
      if (const auto* add = part_of<culture::AddSugar>(event)) *grams += add->sugar.value();
      if (const auto* take = part_of<culture::Take>(event)) {
        *grams = std::max(0.0, *grams - take->contents.value());
      }
    }
  }
  return grams ? std::optional(Grams(*grams)) : std::nullopt;
}

bool works_at(const Jar& jar, Instant at) {
  using culture::Sign;
  const auto is_work = [](Sign sign) {
    return sign == Sign::bubbling || sign == Sign::rising || sign == Sign::pressure;
  };
  return std::any_of(jar.events.begin(), jar.events.end(), [&](const JarEvent& event) {
    const auto* look = seen_in<culture::Look>(event);
    return look != nullptr && event.at <= at && event.at > at - kWorkRemembered &&
           std::any_of(look->signs.begin(), look->signs.end(), is_work);
  });
}

bool worked_in_sugar(const Jar& jar, Instant at) {
  using culture::Sign;
  constexpr Duration kSettles = std::chrono::hours(14 * 24);
  constexpr Celsius kCellar{15.0};
  if (jar.parent_worked_in_sugar) return true;
  static const culture::Profile kUsual;
  const culture::Parameters& set = kUsual.sets[culture::kLikely];
  culture::JarRecipe recipe = jar.recipe();
  double mixed_in = recipe.sugar.value_or(Grams(0.0)).value();
  for (const JarEvent& event : jar.events) {
    if (event.at > at) break;
    if (const auto* act = std::get_if<culture::Act>(&event.what)) {
      if (const auto* add = std::get_if<culture::AddSugar>(act)) mixed_in += add->sugar.value();
    }
    const auto* look = seen_in<culture::Look>(event);
    if (look == nullptr || event.at < jar.closed() + kSettles) continue;
    const bool gas = std::any_of(look->signs.begin(), look->signs.end(), [](Sign sign) {
      return sign == Sign::bubbling || sign == Sign::pressure;
    });
    if (!gas || !culture::has_mix(recipe)) continue;
    recipe.sugar = Grams(mixed_in);
    const culture::Chemistry chemistry(set, kCellar);
    if (culture::water_buffer(culture::body_mix(recipe, set), chemistry) > 0.0) return true;
  }
  return false;
}

std::optional<std::string> doubt_about(const Jar& jar, const Deed& deed, Instant at) {
  if (const auto* add = std::get_if<culture::AddSugar>(&deed)) return sugar_doubt_of(add->sugar);
  if (const auto* take = std::get_if<TakeOut>(&deed)) return take_doubt(jar, take->contents, at);
  if (const auto* weighing = std::get_if<culture::Weighing>(&deed)) {
    return weighing_doubt(jar, *weighing, at);
  }
  if (const auto* level = std::get_if<culture::Level>(&deed)) {
    if (level->millimetres > 0 && level->millimetres <= kHighestLevel) return std::nullopt;
    return fmt::format("a level of {} fits no jar; it is the height of what is in it",
                       length_text(level->millimetres));
  }
  if (const auto* headspace = std::get_if<culture::Headspace>(&deed)) {
    if (headspace->humidity.value() <= 100.0) return std::nullopt;
    return fmt::format("{} % is more than air can hold",
                       shown_number(headspace->humidity.value(), 0));
  }
  return std::nullopt;
}

}  // namespace torpor::daemon
