// A short history for the engine, written as a line of text, and what came of it, likewise. Times
// are minutes from a fixed midnight UTC, so that a table of stories can be read.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "rules/watch/watch.h"

namespace torpor::rules {

// 2026-03-02T00:00:00Z, a Monday.
inline constexpr Instant kMidnight = instant_of(1772409600000);
[[nodiscard]] Instant minute(double n);

// The checked rule; fails the test when it is at fault.
[[nodiscard]] Rule a_rule(std::string name, std::string concerns, std::string when,
                          std::string until = "", std::string urgency = "today");

// Sensors "s" in cellar, "s1" in cellar/shelf-1, "s2" in cellar/shelf-2 and "o" outside, all of
// air; values hold for 30 minutes.
[[nodiscard]] Layout a_cellar();
[[nodiscard]] WatchSettings settings_of(RuleBook book, Layout layout = a_cellar());

[[nodiscard]] Reading a_reading(std::string sensor, Quantity quantity, double value, Instant at);

// Steps parted by ";", each "<minute> <what>..." with what:
//   s:t28     sensor s measures 28 degC now; s:h60 likewise humidity
//   s:t28@90  the same, measured at minute 90
//   s:x       an impossible temperature
//   +B-1=cellar/shelf-1[@90]   a jar is placed there   -B-1   it is retired
//   !B-1   green growth was found in it (entry 7)    ~B-1   that was withdrawn
//   seen  lost  back  tick
// All readings of a step are one message.
[[nodiscard]] Effects tell(Watch& watch, std::string_view story);

// "120 raised warm cellar; 131 eased warm cellar": time, kind, rule, subject.
[[nodiscard]] std::string changes_text(const Effects& effects);
// "120.001" for a millisecond after the 120th minute is written 120+1ms.
[[nodiscard]] std::string minute_text(Instant t);

}  // namespace torpor::rules
