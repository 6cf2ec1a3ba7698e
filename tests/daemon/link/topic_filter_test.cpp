#include "daemon/link/topic_filter.h"

#include <string>

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

TEST_CASE("filters match topics as MQTT 5 section 4.7 says") {
  struct Row {
    const char* filter;
    const char* topic;
    bool matches;
  };
  // The first block are the standard's own examples (4.7.1.2, 4.7.1.3, 4.7.2, 4.7.3).
  const Row rows[] = {
      {"sport/tennis/player1/#", "sport/tennis/player1", true},
      {"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
      {"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
      {"sport/#", "sport", true},
      {"#", "a/b", true},
      {"sport/tennis#", "sport/tennis", false},
      {"sport/tennis/#/ranking", "sport/tennis/x/ranking", false},
      {"sport/tennis/+", "sport/tennis/player1", true},
      {"sport/tennis/+", "sport/tennis/player1/ranking", false},
      {"sport/+", "sport", false},
      {"sport/+", "sport/", true},
      {"+", "sport", true},
      {"+/tennis/#", "sport/tennis/x", true},
      {"sport+", "sport", false},
      {"sport/+/player1", "sport/tennis/player1", true},
      {"+/+", "/finance", true},
      {"/+", "/finance", true},
      {"+", "/finance", false},
      {"#", "$SYS/monitor/Clients", false},
      {"+/monitor/Clients", "$SYS/monitor/Clients", false},
      {"$SYS/#", "$SYS/monitor/Clients", true},
      {"ACCOUNTS", "Accounts", false},
      {"cellar/s1", "cellar/s1", true},
      {"cellar/s1", "cellar/s10", false},
      {"cellar/s1", "cellar/s1/x", false},
      {"cellar/s1/x", "cellar/s1", false},
      {"a//c", "a//c", true},
      {"a/+/c", "a//c", true},
      {"", "a", false},
      {"a", "", false},
  };
  for (const Row& row : rows) {
    CAPTURE(row.filter);
    CAPTURE(row.topic);
    CHECK(topic_matches(row.filter, row.topic) == row.matches);
  }
}

TEST_CASE("a topic to publish to has no wildcard, no control character and is UTF-8") {
  for (const char* topic : {"a", "torpor/cellar/answer/x", "a//b", "ä/§"}) CHECK(is_topic(topic));
  for (const std::string& topic :
       {std::string(), std::string("a/#"), std::string("+/a"), std::string("a\nb"),
        std::string("a\0b", 3), std::string("a\x7f"), std::string("\xff"),
        std::string(65536, 'a')}) {
    CHECK_FALSE(is_topic(topic));
  }
}

TEST_CASE("a pattern with {sensor} is subscribed to with one plus") {
  CHECK(filter_of("cellar/{sensor}/x") == "cellar/+/x");
  CHECK(filter_of("{sensor}") == "+");
  CHECK(filter_of("cellar/s1") == "cellar/s1");
  CHECK(filter_of("cellar//{sensor}") == "cellar//+");
  CHECK(filter_of("cellar/{sensor}s") == "cellar/{sensor}s");
}

TEST_CASE("the sensor's id is taken from its level of the topic") {
  CHECK(sensor_in("cellar/{sensor}/x", "cellar/s4/x") == "s4");
  CHECK(sensor_in("{sensor}", "s4") == "s4");
  CHECK(sensor_in("cellar/{sensor}", "cellar/s4") == "s4");
  CHECK(sensor_in("cellar/s4", "cellar/s4") == "");
  CHECK_FALSE(sensor_in("cellar/{sensor}/x", "cellar//x").has_value());
  CHECK_FALSE(sensor_in("cellar/{sensor}/x", "cellar/s4/y").has_value());
  CHECK_FALSE(sensor_in("cellar/{sensor}/x", "cellar/s4").has_value());
  CHECK_FALSE(sensor_in("cellar/{sensor}", "cellar/s4/x").has_value());
  CHECK_FALSE(sensor_in("cellar/{sensor}", "barn/s4").has_value());
}

}  // namespace
}  // namespace torpor::daemon
