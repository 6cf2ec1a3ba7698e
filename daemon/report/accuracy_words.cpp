#include "daemon/report/accuracy_words.h"

#include <fmt/format.h>

#include "daemon/ledger/answer_text.h"

namespace torpor::daemon {

std::vector<std::string> check_words(const SensorView& view, const LocalTime& zone) {
  std::vector<std::string> words;
  for (const SensorAccuracy& each : view.accuracy) {
    if (!each.check) continue;
    const bool slope = each.correction.points == 2;
    words.push_back(fmt::format("{}: {}; corrected since{}, {}", facts(each.quantity).name,
                                done_text(*each.check, zone),
                                slope ? " together with the check before it" : "",
                                expected_error_text(each.quantity, each.correction)));
  }
  return words;
}

std::vector<std::string> unchecked_words(const SensorView& view) {
  std::vector<std::string> words;
  for (const SensorAccuracy& each : view.accuracy) {
    if (each.check) continue;
    words.push_back(fmt::format("{}: {}", facts(each.quantity).name,
                                expected_error_text(each.quantity, each.correction)));
  }
  return words;
}

std::string never_checked_words(std::span<const SensorView> views) {
  constexpr std::size_t kMostListed = 12;
  std::string text;
  for (const QuantityFacts& row : quantities()) {
    std::vector<std::string> ids;
    std::string error;
    for (const SensorView& view : views) {
      for (const SensorAccuracy& each : view.accuracy) {
        if (each.quantity != row.quantity || each.check) continue;
        ids.push_back(view.id);
        error = expected_error_text(each.quantity, each.correction);
      }
    }
    if (ids.empty()) continue;
    text += fmt::format("{}The {} of {} is {}.", text.empty() ? "" : " ", row.name,
                        listed(ids, kMostListed), error);
    if (row.quantity == Quantity::humidity) {
      text += fmt::format(" `torpor tell 'calibrate {} in table salt'` checks one.", ids.front());
    }
  }
  return text;
}

}  // namespace torpor::daemon
