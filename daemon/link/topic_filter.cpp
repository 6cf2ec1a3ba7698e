#include "daemon/link/topic_filter.h"

#include <algorithm>

#include "sensors/utf8.h"

namespace torpor::daemon {
namespace {

constexpr std::string_view kSensorLevel = "{sensor}";
constexpr std::size_t kLongestFilter = 65535;  // MQTT 5, 1.5.4

// Takes the levels of a topic or filter one by one. An empty level is a level: "a//b" has three.
class Levels {
 public:
  explicit Levels(std::string_view text) : rest_(text) {}
  [[nodiscard]] bool done() const { return done_; }
  std::string_view next() {
    const auto slash = rest_.find('/');
    const std::string_view level = rest_.substr(0, slash);
    if (slash == std::string_view::npos) {
      done_ = true;
    } else {
      rest_.remove_prefix(slash + 1);
    }
    return level;
  }

 private:
  std::string_view rest_;
  bool done_ = false;
};

}  // namespace

bool is_topic_filter(std::string_view filter) {
  if (filter.empty() || filter.size() > kLongestFilter) return false;
  Levels levels(filter);
  while (!levels.done()) {
    const std::string_view level = levels.next();
    if (level.size() > 1 && level.find_first_of("+#") != std::string_view::npos) return false;
    if (level == "#" && !levels.done()) return false;
  }
  return true;
}

bool is_topic(std::string_view topic) {
  if (topic.empty() || topic.size() > kLongestFilter) return false;
  return find_not_utf8(topic) == std::string_view::npos &&
         std::none_of(topic.begin(), topic.end(), [](char c) {
           return c == '+' || c == '#' || static_cast<unsigned char>(c) < 0x20 || c == 0x7F;
         });
}

bool topic_matches(std::string_view filter, std::string_view topic) {
  if (topic.empty() || !is_topic_filter(filter)) return false;
  // 4.7.2: a filter that begins with a wildcard does not match topics of the server's own.
  if (topic.front() == '$' && (filter.front() == '+' || filter.front() == '#')) return false;
  Levels wanted(filter);
  Levels found(topic);
  while (!wanted.done()) {
    const std::string_view level = wanted.next();
    if (level == "#") return true;  // also when the topic ends here: a/# matches a
    if (found.done()) return false;
    const std::string_view name = found.next();
    if (level != "+" && level != name) return false;
  }
  return found.done();
}

std::string filter_of(std::string_view pattern) {
  std::string filter;
  Levels levels(pattern);
  while (true) {
    const std::string_view level = levels.next();
    filter += level == kSensorLevel ? std::string_view("+") : level;
    if (levels.done()) return filter;
    filter += '/';
  }
}

std::optional<std::string_view> sensor_in(std::string_view pattern, std::string_view topic) {
  std::string_view sensor;
  Levels wanted(pattern);
  Levels found(topic);
  while (!wanted.done()) {
    if (found.done()) return std::nullopt;
    const std::string_view level = wanted.next();
    const std::string_view name = found.next();
    if (level == kSensorLevel) {
      if (name.empty()) return std::nullopt;
      sensor = name;
    } else if (level != name) {
      return std::nullopt;
    }
  }
  if (!found.done()) return std::nullopt;
  return sensor;
}

}  // namespace torpor::daemon
