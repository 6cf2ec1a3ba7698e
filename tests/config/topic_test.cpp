#include "config/topic.h"

#include <doctest/doctest.h>

namespace torpor::config {
namespace {

TEST_CASE("a topic is good when it can only bring readings") {
  for (const std::string topic :
       {"cellar/s1", "/cellar/s1", "cellar", "loft/{sensor}", "loft/{sensor}/state", "Torpor/x",
        "torpors/x", "a/torpor/x", "a b/ü/한국", "a//b", "a/{", "a/$x"}) {
    CAPTURE(topic);
    CHECK_FALSE(topic_fault(topic).has_value());
  }
  CHECK_FALSE(topic_fault(std::string(1024, 'x')).has_value());
}

TEST_CASE("a topic is refused with its reason") {
  struct {
    std::string topic;
    std::string fault;
  } const rows[] = {
      {"cellar/+",
       "found `cellar/+` with a wildcard (+ or #); expected the exact topic of one "
       "sensor, or {sensor} as one level for several"},
      {"#",
       "found `#` with a wildcard (+ or #); expected the exact topic of one sensor, or {sensor} "
       "as one level for several"},
      {"torpor/cellar/tell",
       "found `torpor/cellar/tell`; topics below torpor/ are this service's "
       "own: let the sensor publish on another topic"},
      {"torpor",
       "found `torpor`; topics below torpor/ are this service's own: let the sensor "
       "publish on another topic"},  // torpor/# matches it too (MQTT 5, 4.7.1.2)
      {"{sensor}/state",
       "found `{sensor}/state`; {sensor} as the first level would also read this "
       "service's own topics below torpor/: put a level before it"},
      {"$SYS/x",
       "found `$SYS/x`; topics that begin with $ belong to the broker: let the sensor "
       "publish on another topic"},
      {"a/s-{sensor}",
       "found `a/s-{sensor}`; {sensor} must be a whole level between slashes, not a "
       "part of `s-{sensor}`"},
      {"a/{id}", "found `a/{id}`; `{id}` is not known; the only word in braces is {sensor}"},
      {"a/{sensor}/{sensor}", "found `a/{sensor}/{sensor}`; expected {sensor} once"},
      {std::string(1025, 'x'), "found a topic of 1025 bytes; expected at most 1024"},
  };
  for (const auto& row : rows) {
    CAPTURE(row.topic);
    CHECK(topic_fault(row.topic).value_or("") == row.fault);
  }
}

TEST_CASE("the sensor's id takes the place of its level") {
  CHECK(topic_of("loft/{sensor}/state", "s4") == "loft/s4/state");
  CHECK(topic_of("loft/state", "s4") == "loft/state");
}

TEST_CASE("JSON Pointers follow RFC 6901") {
  // The pointers of the RFC's section 5 example.
  for (const std::string pointer : {"", "/foo", "/foo/0", "/", "/a~1b", "/c%d", "/e^f", "/g|h",
                                    "/i\\j", "/k\"l", "/ ", "/m~0n"}) {
    CAPTURE(pointer);
    CHECK_FALSE(pointer_fault(pointer).has_value());
  }
  CHECK(pointer_fault("t").value_or("") ==
        "found `t`; expected a JSON Pointer, which begins with /: write `/t`");
  for (const std::string pointer : {"/a~", "/a~2b", "/~/x"}) {
    CAPTURE(pointer);
    CHECK(pointer_fault(pointer).value_or("") ==
          "found `" + std::string(pointer) +
              "`; in a JSON Pointer ~ is written ~0 and / inside a name is written ~1");
  }
}

}  // namespace
}  // namespace torpor::config
