// What spoils a jar, and whatever was made from it: from the journal's signs, through all that was
// seen, tested, split off and made later, until the entry that told the sign is withdrawn.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

// The first sign that spoils, found in the jar itself.
std::optional<rules::Spoilage> found_in(const Jar& jar) {
  for (const JarEvent& event : jar.events) {
    const auto* seen = std::get_if<culture::Observation>(&event.what);
    const auto* look = seen == nullptr ? nullptr : std::get_if<culture::Look>(seen);
    if (look == nullptr) continue;
    for (const culture::Sign sign : look->signs) {
      if (culture::facts(sign).spoils) {
        return rules::Spoilage{event.at, sign, jar.made.jar, event.entry};
      }
    }
  }
  return std::nullopt;
}

std::vector<std::string> parents_of(const Jar& jar) {
  std::vector<std::string> parents = jar.made.from;
  if (jar.split) parents.push_back(jar.split->from);
  return parents;
}

}  // namespace

std::optional<rules::Spoilage> Ledger::spoilage_of(const Jar& jar) const {
  if (auto own = found_in(jar)) return own;
  // Back through the line, the nearest first.
  std::set<std::string> seen{jar.made.jar};
  std::vector<std::string> generation = parents_of(jar);
  while (!generation.empty()) {
    std::vector<std::string> before;
    for (const std::string& id : generation) {
      if (!seen.insert(id).second) continue;
      const auto parent = jars_.find(id);
      if (parent == jars_.end()) continue;  // a collection
      if (auto found = found_in(parent->second)) {
        found->at = std::max(found->at, jar.closed());
        return found;
      }
      for (std::string& each : parents_of(parent->second)) before.push_back(std::move(each));
    }
    generation = std::move(before);
  }
  return std::nullopt;
}

std::vector<std::string> Ledger::with_descendants(std::vector<std::string> jars) const {
  std::set<std::string> seen(jars.begin(), jars.end());
  for (std::size_t at = 0; at < jars.size(); ++at) {
    for (std::string& made : jars_from(jars[at])) {
      if (seen.insert(made).second) jars.push_back(std::move(made));
    }
  }
  return jars;
}

void Ledger::add_spoilage_inputs(const std::vector<std::string>& jars, Told& told) const {
  std::vector<rules::Input> inputs;
  for (const std::string& id : with_descendants(jars)) {
    const auto jar = jars_.find(id);
    if (jar == jars_.end() || jar->second.retired_at) continue;
    inputs.emplace_back(rules::JarSpoiledInput{id, spoilage_of(jar->second)});
  }
  told.inputs.insert(told.inputs.begin(), inputs.begin(), inputs.end());
}

std::string Ledger::spoiled_warning(const std::string& id) const {
  const auto jar = jars_.find(id);
  const auto spoilage = jar == jars_.end() ? std::nullopt : spoilage_of(jar->second);
  if (!spoilage) return {};
  return fmt::format(
      "{} is not for use. {} Keep it, and what is taken from it, from food and from "
      "other jars.",
      id, rules::spoilage_words(*spoilage, id));
}

}  // namespace torpor::daemon
