#include "daemon/service/jar_standings.h"

#include <utility>

namespace torpor::daemon {

void JarStandings::restored(const std::string& jar) { written_[jar] = {}; }

void JarStandings::touched(const std::string& jar) { unwritten_.insert(jar); }

void JarStandings::changed(const std::string& jar) {
  known_.erase(jar);
  written_.erase(jar);
  unwritten_.insert(jar);
}

void JarStandings::clear() {
  for (const auto& [jar, standing] : known_) unwritten_.insert(jar);
  for (const auto& [jar, written] : written_) unwritten_.insert(jar);
  known_.clear();
  written_.clear();
}

std::optional<rules::Standing> JarStandings::of(const std::string& jar) const {
  const auto known = known_.find(jar);
  if (known != known_.end()) return known->second;
  return known_.emplace(jar, watch_.jar_standing(jar)).first->second;
}

bool JarStandings::is_due(const Written& written, const Written& now) {
  return now.wall - written.wall >= kEvery || now.engine - written.engine >= kEvery;
}

std::vector<JarStandings::Kept> JarStandings::take_changed(Instant wall) {
  const Written now{wall, watch_.now().value_or(wall)};
  std::vector<Kept> taken;
  std::set<std::string> later;
  std::size_t left = kMostAtOnce;
  more_ = false;
  for (const auto& [jar, written] : written_) {
    // Time alone changes how a jar stands: it settles, ages, or nobody watches it any more.
    if (is_due(written, now)) unwritten_.insert(jar);
  }
  for (const std::string& jar : unwritten_) {
    const auto written = written_.find(jar);
    const bool by_time = written != written_.end();
    // What was changed has no time: it is never put off.
    const bool due = !by_time || is_due(written->second, now);
    if (!due || (by_time && left == 0)) {
      more_ = more_ || due;
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
      written_[jar] = now;
    } else {
      written_.erase(jar);
      known_.erase(jar);
    }
  }
  unwritten_ = std::move(later);
  return taken;
}

}  // namespace torpor::daemon
