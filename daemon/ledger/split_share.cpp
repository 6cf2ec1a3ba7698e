#include "daemon/ledger/split_share.h"

#include <algorithm>

#include "daemon/ledger/deeds.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

bool was_before(const JarEvent& event, Instant at, std::uint64_t entry) {
  return event.at != at ? event.at < at : event.entry < entry;
}

}  // namespace

Rest rest_of(const Jar& jar, Instant at, std::uint64_t before_entry) {
  Rest rest;
  if (jar.made.topping) rest.on_top = jar.made.topping->value();
  Jar until = jar;
  until.events.clear();
  for (const JarEvent& event : jar.events) {
    if (!was_before(event, at, before_entry)) break;
    if (const auto* act = std::get_if<culture::Act>(&event.what)) {
      const auto grams = contents_at(until, event.at);
      if (const auto* add = std::get_if<culture::AddSugar>(act)) {
        rest.added += add->sugar.value();
        rest.on_top = add->stirred ? 0.0 : rest.on_top + add->sugar.value();
      }
      if (const auto* take = std::get_if<culture::Take>(act); take != nullptr && grams) {
        const double left =
            grams->value() > 0.0
                ? std::clamp(1.0 - take->contents.value() / grams->value(), 0.0, 1.0)
                : 0.0;
        rest.share *= left;
        rest.added *= left;
        rest.on_top *= left;
      }
    }
    until.events.push_back(event);
  }
  if (const auto grams = contents_at(until, at)) rest.grams = grams->value();
  return rest;
}

void take_share(Jar& jar, const Jar& parent) {
  NewJar& made = jar.made;
  made.stage = parent.made.stage;
  made.origin = parent.made.origin;
  made.cooked = parent.made.cooked;
  made.sugar_kind = parent.made.sugar_kind;
  made.rice = made.raw = made.cooked_weight = made.sugar = made.topping = std::nullopt;
  const Rest rest = rest_of(parent, jar.split->at, jar.entry);
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
