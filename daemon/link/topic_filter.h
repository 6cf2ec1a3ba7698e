// MQTT topics and filters (MQTT 5, section 4.7), and our patterns: a topic in which one whole level
// may be `{sensor}`, the place of the sensor's id.
//
//   filter a/+/c   matches a/b/c, a//c              not a/c, a/b/c/d
//   filter a/#     matches a, a/b, a/b/c            not ab
//   filter #       matches everything but $SYS/...
//   pattern cellar/{sensor}/x is subscribed to as cellar/+/x; cellar/s4/x comes from sensor s4
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace torpor::daemon {

// Whether a topic (no wildcards) is one that a filter subscribes to. A filter that is not well
// formed ('#' before the end, a wildcard that shares its level) matches nothing.
[[nodiscard]] bool topic_matches(std::string_view filter, std::string_view topic);

// Whether a filter is one: 1 to 65,535 bytes, a wildcard only as a whole level, '#' only as the
// last.
[[nodiscard]] bool is_topic_filter(std::string_view filter);

// Whether a message can be published to it: 1 to 65,535 bytes of UTF-8, no wildcard, no control
// character.
[[nodiscard]] bool is_topic(std::string_view topic);

// The filter to subscribe to for a pattern: `{sensor}` becomes `+`.
[[nodiscard]] std::string filter_of(std::string_view pattern);

// The text that stands for `{sensor}` in a topic, or nullopt if the topic is not of this pattern or
// the level is empty. For a pattern without `{sensor}` it is empty when topic and pattern are
// equal. The view is into `topic`.
[[nodiscard]] std::optional<std::string_view> sensor_in(std::string_view pattern,
                                                        std::string_view topic);

}  // namespace torpor::daemon
