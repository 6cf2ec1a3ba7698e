// Where each jar stands and stood, as far as the engine needs to know. The ledger is the record;
// this is what was told to the engine.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "sensors/reading.h"

namespace torpor::rules {

struct JarStay {
  Instant from;  // to the next stay's from, as rules see it
  std::string place;
  Instant told;  // when it was said to begin: `from`, or earlier than rules look back
  friend bool operator==(const JarStay&, const JarStay&) = default;
};

struct JarRecord {
  std::string id;
  std::vector<JarStay> stays;  // by time; never empty
  std::optional<Instant> retired_at;
  bool retired = false;  // retired_at has come

  // nullptr: not placed yet at `t`.
  [[nodiscard]] const JarStay* stay_at(Instant t) const;
  // End of the stay at `t`, or the start of the first one; nullopt: it has no end.
  [[nodiscard]] std::optional<Instant> next_move(Instant t) const;
  // The next moment after `t` at which it moves or retires by what was told in advance.
  [[nodiscard]] std::optional<Instant> next_change(Instant t) const;
};

class JarRegister {
 public:
  // The jar stands at `place` from `from` until its next known move. A retired jar begins anew.
  // Answers its index.
  std::size_t place(std::string_view jar, std::string_view place, Instant from, Instant told);
  [[nodiscard]] std::optional<std::size_t> find(std::string_view jar) const;
  [[nodiscard]] const JarRecord& at(std::size_t index) const { return jars_[index]; }
  [[nodiscard]] JarRecord& at(std::size_t index) { return jars_[index]; }
  [[nodiscard]] std::size_t size() const { return jars_.size(); }

  // Brings the places of now up to date for one jar; false: nothing changed.
  bool settle(std::size_t index, Instant now);
  // Jars standing at a place, and at places below it, as last settled. Sorted by id.
  [[nodiscard]] const std::set<std::string>& jars_at(std::string_view place) const;
  // Places at or below `place` where jars stand.
  [[nodiscard]] std::vector<std::string> occupied_below(std::string_view place) const;
  // Whether any jar stands anywhere.
  [[nodiscard]] bool any_standing() const { return !by_place_.empty(); }
  [[nodiscard]] std::string_view place_of(std::size_t index) const { return standing_[index]; }

  void restore(std::vector<JarRecord> jars);

 private:
  std::vector<JarRecord> jars_;
  std::map<std::string, std::size_t, std::less<>> index_;
  std::vector<std::string> standing_;  // by index; empty: nowhere
  std::map<std::string, std::set<std::string>, std::less<>> by_place_;
};

}  // namespace torpor::rules
