#include "daemon/ledger/split_share.h"

#include <algorithm>
#include <optional>

#include "daemon/ledger/deeds.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

bool was_before(const JarEvent& event, const Jar& split) {
  return event.at != split.split->at ? event.at < split.split->at : event.entry < split.entry;
}

// The parent's rice and sugar that are left of what was told, and how much that weighs now.
struct Rest {
  double share = 1.0;  // of what was closed in it
  double added = 0.0;  // g of sugar, of which that much is left
  std::optional<double> grams;
};

Rest rest_before(const Jar& parent, const Jar& split) {
  Rest rest;
  Jar until = parent;
  until.events.clear();
  for (const JarEvent& event : parent.events) {
    if (!was_before(event, split)) break;
    if (const auto* act = std::get_if<culture::Act>(&event.what)) {
      const auto grams = contents_at(until, event.at);
      if (const auto* add = std::get_if<culture::AddSugar>(act)) rest.added += add->sugar.value();
      if (const auto* take = std::get_if<culture::Take>(act); take != nullptr && grams) {
        const double left =
            grams->value() > 0.0
                ? std::clamp(1.0 - take->contents.value() / grams->value(), 0.0, 1.0)
                : 0.0;
        rest.share *= left;
        rest.added *= left;
      }
    }
    until.events.push_back(event);
  }
  if (const auto grams = contents_at(until, split.split->at)) rest.grams = grams->value();
  return rest;
}

}  // namespace

void take_share(Jar& jar, const Jar& parent) {
  NewJar& made = jar.made;
  made.stage = parent.made.stage;
  made.origin = parent.made.origin;
  made.cooked = parent.made.cooked;
  made.sugar_kind = parent.made.sugar_kind;
  made.rice = made.raw = made.cooked_weight = made.sugar = made.topping = std::nullopt;
  const Rest rest = rest_before(parent, jar);
  if (!rest.grams || *rest.grams <= 0.0) return;
  const double share = std::min(1.0, jar.split->contents.value() / *rest.grams);
  const auto of = [&](const std::optional<Grams>& told) {
    return told ? std::optional(Grams(told->value() * rest.share * share)) : std::nullopt;
  };
  made.rice = of(parent.made.rice);
  made.raw = of(parent.made.raw);
  made.cooked_weight = of(parent.made.cooked_weight);
  if (!parent.made.sugar) return;
  const double closed_in =
      parent.made.sugar->value() + (parent.made.topping ? parent.made.topping->value() : 0.0);
  made.sugar = Grams((closed_in * rest.share + rest.added) * share);
}

}  // namespace torpor::daemon
