// What was heard on each topic of a broker, and the entry of `sensors:` that would read it: the end
// of what `torpor listen` prints. Pure; guesses stand in sensors/format_guess.h.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "config/settings.h"
#include "sensors/format_guess.h"

namespace torpor::daemon {

class HeardTopics {
 public:
  // `settings` must outlive it: what is configured already, and where a sensor could hang.
  explicit HeardTopics(const config::Settings& settings) : settings_(settings) {}

  void add(std::string_view topic, std::string_view payload, bool retained, Instant received_at);
  [[nodiscard]] bool empty() const { return topics_.empty(); }
  // For each topic who reads it already, or the entry that would, or why none can. Wrapped to
  // `width` but for the entries, which are for the configuration file.
  [[nodiscard]] std::string text(int width) const;

 private:
  struct Heard {
    std::size_t messages = 0, retained = 0;
    std::optional<Instant> last;  // of those that were not retained
    std::vector<Duration> gaps;
    std::optional<FormatGuess> guess;  // of the newest message that could be read
    std::string why_not;               // of the newest other
    // Of the configured sensor that takes this topic: what it read, or why not.
    const config::SensorSettings* reader = nullptr;
    std::string read;
  };

  [[nodiscard]] const config::SensorSettings* reader_of(std::string_view topic) const;
  [[nodiscard]] std::string block(const std::string& topic, const Heard& heard,
                                  std::vector<std::string>& ids, int width) const;
  [[nodiscard]] std::string place() const;

  const config::Settings& settings_;
  std::map<std::string, Heard> topics_;
  std::size_t passed_over_ = 0;  // messages on topics beyond the most that are remembered
};

// An id for the sensor behind a topic: its last level that is one and does not only say what is
// measured, different from those `taken`, case apart.
[[nodiscard]] std::string id_for(std::string_view topic, const std::vector<std::string>& taken);

}  // namespace torpor::daemon
