#include "daemon/report/alert_words.h"

#include <algorithm>

namespace torpor::daemon {

std::string_view alert_state_words(rules::AlertState state) {
  switch (state) {
    case rules::AlertState::standing:
      return "standing";
    case rules::AlertState::eased:
      return "eased";
    case rules::AlertState::ended:
      return "ended";
  }
  return "standing";
}

std::string alert_when_words(const rules::Alert& alert, const LocalTime& zone) {
  std::string words = "since " + zone.to_text(alert.since);
  if (alert.ended_at) {
    words += ", ended " + zone.to_text(*alert.ended_at);
  } else if (alert.eased_at && alert.state == rules::AlertState::eased) {
    words += ", eased " + zone.to_text(*alert.eased_at);
  }
  return words;
}

std::string alert_seen_words(const rules::Alert& alert) {
  if (alert.deferred_until) return "deferred";
  if (!alert.seen_at) return "unseen";
  return alert.seen_by.empty() ? "seen" : "seen by " + alert.seen_by;
}

std::vector<const AlertView*> alerts_to_show(const std::vector<AlertView>& alerts,
                                             std::size_t most) {
  std::vector<const AlertView*> shown;
  for (const AlertView& alert : alerts) shown.push_back(&alert);
  std::stable_sort(shown.begin(), shown.end(), [](const AlertView* a, const AlertView* b) {
    const bool a_stands = a->alert.state == rules::AlertState::standing;
    const bool b_stands = b->alert.state == rules::AlertState::standing;
    if (a_stands != b_stands) return a_stands;
    if (a_stands) return leads(standing_alert(a->alert), standing_alert(b->alert));
    return a->alert.number > b->alert.number;
  });
  shown.resize(std::min(shown.size(), most));
  return shown;
}

}  // namespace torpor::daemon
