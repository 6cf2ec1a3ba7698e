#include "daemon/jar_standings.h"

#include <utility>

namespace torpor::daemon {

void JarStandings::touched(const std::string& jar) { unwritten_.insert(jar); }

void JarStandings::changed(const std::string& jar) {
  known_.erase(jar);
  written_.erase(jar);
  unwritten_.insert(jar);
}

void JarStandings::clear() {
  for (const auto& [jar, standing] : known_) unwritten_.insert(jar);
  known_.clear();
  written_.clear();
}

std::optional<rules::Standing> JarStandings::of(const std::string& jar) const {
  const auto known = known_.find(jar);
  if (known != known_.end()) return known->second;
  return known_.emplace(jar, watch_.jar_standing(jar)).first->second;
}

std::vector<JarStandings::Kept> JarStandings::take_changed(Instant wall) {
  std::vector<Kept> taken;
  std::set<std::string> later;
  std::size_t left = kMostAtOnce;
  for (const auto& [jar, written] : written_) {
    // Time alone changes how a jar stands: it settles, ages, or nobody watches it any more.
    if (wall - written >= kEvery) unwritten_.insert(jar);
  }
  for (const std::string& jar : unwritten_) {
    const auto written = written_.find(jar);
    const bool by_time = written != written_.end();
    // What was changed has no time: it is never put off.
    if (by_time && (wall - written->second < kEvery || left == 0)) {
      later.insert(jar);
      continue;
    }
    if (by_time) {
      --left;
      known_.erase(jar);
    }
    taken.push_back({jar, of(jar)});
    const auto& standing = taken.back().standing;
    std::string line = standing ? rules::standing_line(*standing) : std::string();
    taken.back().differs = std::exchange(lines_[jar], line) != line;
    if (taken.back().standing) {
      written_[jar] = wall;
    } else {
      written_.erase(jar);
      known_.erase(jar);
    }
  }
  unwritten_ = std::move(later);
  return taken;
}

}  // namespace torpor::daemon
