// The words of alerts: figures, the sentence that says what is the matter, and the line for a
// phone. Pure; times are written in local time.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/watch/alert_life.h"
#include "rules/watch/evaluator.h"

namespace torpor::rules {

// Of a value over a window, the figure of the moment.
using ReadSignal = std::function<Signal(const Term&)>;

// Where and when a sentence is spoken.
struct Scene {
  const Rule& rule;
  const Subject& subject;
  std::string_view place;  // where a jar stands or a sensor hangs; may be empty
  AlertState state = AlertState::standing;
  Instant now;
  const UtcOffset& offset;
  std::string_view reason = {};  // of a doubted sensor, in its judge's words; may be empty
};

// Each quantity that the rule's `when` names, once, in its order.
[[nodiscard]] std::vector<Figure> figures_of(const Rule& rule, Instant now, const ReadSignal& read);

// "cellar/shelf-1: temperature 28.4 °C, above 27 °C for over 2 h." Of several comparisons those
// that hold are named; once eased, "no longer above 27 °C".
[[nodiscard]] std::string what_sentence(const Scene& scene, const ReadSignal& read);

enum class NoticeKind { first, again, over };

// One line for many alerts that are to be said at once. Precondition: one or more.
[[nodiscard]] std::string flood_line(const std::vector<const Alert*>& alerts);

// One line, at most kLongestNotice bytes as long as what and remedy alone leave room: urgency,
// what, since when, jars, the first remedy with its caution.
inline constexpr std::size_t kLongestNotice = 240;  // what common phone clients show unfolded
[[nodiscard]] std::string notice_line(const Alert& alert, NoticeKind kind, Instant now,
                                      const UtcOffset& offset);

}  // namespace torpor::rules
