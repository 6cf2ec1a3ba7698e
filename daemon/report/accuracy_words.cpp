#include "daemon/report/accuracy_words.h"

#include <fmt/format.h>

#include "daemon/ledger/answer_text.h"

namespace torpor::daemon {

std::vector<SensorAccuracy> accuracy_of(const Ledger& ledger, const rules::SensorSpec& sensor,
                                        Instant now) {
  const auto calibration = ledger.calibrations().find(sensor.id);
  const auto checks = ledger.sensor_checks().find(sensor.id);
  std::vector<SensorAccuracy> accuracy;
  for (const Quantity quantity : sensor.measures) {
    SensorAccuracy each;
    each.quantity = quantity;
    each.correction = calibration == ledger.calibrations().end()
                          ? Calibration().at(quantity, now)
                          : calibration->second.at(quantity, now);
    const SensorChecks::Done* newest =
        checks == ledger.sensor_checks().end() ? nullptr : checks->second.newest(quantity, now);
    if (newest != nullptr) each.check = *newest;
    accuracy.push_back(each);
  }
  return accuracy;
}

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
