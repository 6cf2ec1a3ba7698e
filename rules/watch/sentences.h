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
  const Alert* alert = nullptr;  // that is spoken of, for what it was at its worst
};

// Each quantity that the rule's `when` names, once, in its order.
[[nodiscard]] std::vector<Figure> figures_of(const Rule& rule, Instant now, const ReadSignal& read);

// "cellar/shelf-1: temperature 28.4 °C, above 27 °C for over 2 h." Of several comparisons those
// that hold are named; once eased, "no longer above 27 °C".
[[nodiscard]] std::string what_sentence(const Scene& scene, const ReadSignal& read);

// The first figure of a rule's `when` if it is now further than `before` was, on the side that
// raises it; nullopt: it is not, is unknown, is a duration that runs or a value over a window.
[[nodiscard]] std::optional<Figure> worst_of(const Rule& rule, const std::optional<Figure>& before,
                                             const ReadSignal& read);

// True if `when` is false at this moment, however long anything in it is asked to last: somebody
// may have seen to it, though the alert stands until its `until` has lasted.
[[nodiscard]] bool no_longer_holds(const Rule& rule, Instant now, const ReadSignal& read);

// "A, B and 2 more": at most `most` of them by name.
[[nodiscard]] std::string listed(const std::vector<std::string>& ids, std::size_t most);

// `sooner`: said again because its urgency has risen.
enum class NoticeKind { first, again, sooner, over };

// One line for many alerts that are to be said at once. Precondition: one or more.
[[nodiscard]] std::string flood_line(const std::vector<const Alert*>& alerts);

// One line, at most kLongestNotice bytes as long as what and remedy alone leave room: urgency,
// what, since when, jars, the first remedy with its caution.
inline constexpr std::size_t kLongestNotice = 240;  // what common phone clients show unfolded
// `likewise`: the subjects of other alerts of the rule that are said with it.
[[nodiscard]] std::string notice_line(const Alert& alert, NoticeKind kind, Instant now,
                                      const UtcOffset& offset,
                                      const std::vector<std::string>& likewise = {});

}  // namespace torpor::rules
