#include "daemon/jar_standings.h"

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
  for (const std::string& jar : unwritten_) {
    const auto written = written_.find(jar);
    // What was changed has no time: it is never put off.
    const bool waits = written != written_.end() && (wall - written->second < kEvery || left == 0);
    if (waits) {
      later.insert(jar);
      continue;
    }
    if (written != written_.end()) {
      --left;
      known_.erase(jar);
    }
    written_[jar] = wall;
    taken.push_back({jar, of(jar)});
  }
  unwritten_ = std::move(later);
  return taken;
}

}  // namespace torpor::daemon
