// How every jar stands, as all that is shown of it reads: worked out by the engine, kept here, and
// written for commands and pages. A keeper's word and an alert count at once; the readings of an
// hour hardly change it. Strand only.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "rules/watch/watch.h"

namespace torpor::daemon {

class JarStandings {
 public:
  // A standing is worked out anew this often while only readings come, by the wall clock or by
  // theirs (an import brings weeks within seconds), and of so many jars at a time: about a
  // millisecond each, for the forecast in it.
  static constexpr Duration kEvery = std::chrono::hours(1);
  static constexpr std::size_t kMostAtOnce = 200;

  // The engine outlives this; it may be replaced in place: then clear().
  explicit JarStandings(const rules::Watch& watch) : watch_(watch) {}

  // An earlier run has written it: it is due, as one that readings have reached an hour ago.
  void restored(const std::string& jar);
  // Readings have reached it.
  void touched(const std::string& jar);
  // A keeper has told something of it, or an alert about it has changed.
  void changed(const std::string& jar);
  // Everything is worked out anew when it is asked for.
  void clear();

  // nullopt: the engine knows no such jar, or it was retired.
  [[nodiscard]] std::optional<rules::Standing> of(const std::string& jar) const;

  struct Kept {
    std::string jar;
    std::optional<rules::Standing> standing;  // nullopt: as of()
    bool differs = true;                      // in what its line says from what was taken before
  };
  // Those to be written since the last call; `wall` and the engine's time say when an hour is over.
  [[nodiscard]] std::vector<Kept> take_changed(Instant wall);
  // More are due than were taken by the last call.
  [[nodiscard]] bool more() const { return more_; }

 private:
  struct Written {
    Instant wall, engine;
  };
  [[nodiscard]] static bool is_due(const Written& written, const Written& now);

  const rules::Watch& watch_;
  mutable std::map<std::string, std::optional<rules::Standing>> known_;
  std::map<std::string, Written> written_;    // when
  std::map<std::string, std::string> lines_;  // as last taken
  std::set<std::string> unwritten_;
  bool more_ = false;
};

}  // namespace torpor::daemon
