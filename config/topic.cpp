#include "config/topic.h"

#include <fmt/core.h>

#include <vector>

#include "config/shown_text.h"

namespace torpor::config {
namespace {

// MQTT allows 65,535 bytes; no sensor needs them, and each message of it would carry them.
constexpr std::size_t kLongestTopic = 1024;

std::vector<std::string_view> levels_of(std::string_view topic) {
  std::vector<std::string_view> levels;
  std::size_t start = 0;
  for (std::size_t slash = topic.find('/'); slash != std::string_view::npos;
       slash = topic.find('/', start)) {
    levels.push_back(topic.substr(start, slash - start));
    start = slash + 1;
  }
  levels.push_back(topic.substr(start));
  return levels;
}

std::optional<std::string> level_fault(std::string_view level) {
  if (level == kSensorLevel) return std::nullopt;
  if (level.find(kSensorLevel) != std::string_view::npos) {
    return fmt::format("{{sensor}} must be a whole level between slashes, not a part of {}",
                       quoted(level));
  }
  if (level.size() > 1 && level.front() == '{' && level.back() == '}') {
    return fmt::format("{} is not known; the only word in braces is {{sensor}}", quoted(level));
  }
  return std::nullopt;
}

}  // namespace

std::optional<std::string> topic_fault(std::string_view topic) {
  if (topic.size() > kLongestTopic) {
    return fmt::format("found a topic of {} bytes; expected at most {}", topic.size(),
                       kLongestTopic);
  }
  if (topic.find_first_of("+#") != std::string_view::npos) {
    return fmt::format(
        "found {} with a wildcard (+ or #); expected the exact topic of one sensor, "
        "or {{sensor}} as one level for several",
        quoted(topic));
  }
  const std::vector<std::string_view> levels = levels_of(topic);
  if (levels.front() == "torpor") {
    return fmt::format(
        "found {}; topics below torpor/ are this service's own: let the sensor "
        "publish on another topic",
        quoted(topic));
  }
  if (levels.front() == kSensorLevel) {
    return fmt::format(
        "found {}; {{sensor}} as the first level would also read this service's own "
        "topics below torpor/: put a level before it",
        quoted(topic));
  }
  if (topic.front() == '$') {
    return fmt::format(
        "found {}; topics that begin with $ belong to the broker: let the sensor "
        "publish on another topic",
        quoted(topic));
  }
  int sensor_levels = 0;
  for (const std::string_view level : levels) {
    if (auto fault = level_fault(level)) {
      return fmt::format("found {}; {}", quoted(topic), *fault);
    }
    if (level == kSensorLevel) ++sensor_levels;
  }
  if (sensor_levels > 1) {
    return fmt::format("found {}; expected {{sensor}} once", quoted(topic));
  }
  return std::nullopt;
}

std::string topic_of(std::string_view topic, std::string_view sensor) {
  std::string out(topic);
  const std::size_t at = out.find(kSensorLevel);
  if (at != std::string::npos) out.replace(at, kSensorLevel.size(), sensor);
  return out;
}

std::optional<std::string> pointer_fault(std::string_view pointer) {
  if (!pointer.empty() && pointer.front() != '/') {
    return fmt::format("found {}; expected a JSON Pointer, which begins with /: write `/{}`",
                       quoted(pointer), shown(pointer));
  }
  for (std::size_t i = 0; i < pointer.size(); ++i) {
    if (pointer[i] != '~') continue;
    if (i + 1 < pointer.size() && (pointer[i + 1] == '0' || pointer[i + 1] == '1')) continue;
    return fmt::format(
        "found {}; in a JSON Pointer ~ is written ~0 and / inside a name is "
        "written ~1",
        quoted(pointer));
  }
  return std::nullopt;
}

}  // namespace torpor::config
