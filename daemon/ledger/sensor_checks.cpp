#include "daemon/ledger/sensor_checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "config/fault.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/telling.h"
#include "daemon/ledger/tokens.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

std::string_view difference_unit(Quantity quantity) {
  return quantity == Quantity::humidity ? "%" : "K";
}

}  // namespace

const SensorChecks::Done* SensorChecks::newest(Quantity quantity, Instant when) const {
  const Done* newest = nullptr;
  for (const Done& each : done) {
    if (each.check.quantity != quantity || each.check.at > when) continue;
    if (newest == nullptr || each.check.at >= newest->check.at) newest = &each;
  }
  return newest;
}

std::string_view bath_name(const CheckMeans& means) {
  if (const Salt* salt = salt_of(means)) return facts(*salt).name;
  return instrument_of(means) != nullptr ? "" : "ice";
}

std::string means_text(const CheckMeans& means) {
  const Instrument* beside = instrument_of(means);
  if (beside == nullptr) return fmt::format("in {}", bath_name(means));
  return fmt::format("against {} {}", shown_number(beside->value, 1),
                     facts(beside->quantity).symbol);
}

std::string bath_names() {
  std::string names;
  for (const SaltFacts& row : salts()) names += fmt::format("{}, ", row.name);
  names.resize(names.size() - 2);
  return names + " or ice";
}

tl::expected<const ToldSensor*, SentenceRefusal> sensor_meant(
    const std::vector<ToldSensor>& sensors, std::string_view id, std::string_view example_before,
    std::string_view example_behind) {
  std::vector<std::string> ids;
  for (const ToldSensor& sensor : sensors) {
    if (same_word(sensor.id, id)) return &sensor;
    ids.push_back(sensor.id);
  }
  if (ids.empty()) {
    return tl::unexpected(refusal(fmt::format("no sensor {}; none is configured", shown(id)), "",
                                  fmt::format("{} s1{}", example_before, example_behind)));
  }
  constexpr std::size_t kMostListed = 12;
  const std::string nearest = config::nearest_word(std::string(id), ids);
  return tl::unexpected(
      refusal(fmt::format("no sensor {} is configured; {}", shown(id),
                          nearest.empty() ? fmt::format("there are {}", listed(ids, kMostListed))
                                          : fmt::format("did you mean {}?", nearest)),
              "",
              fmt::format("{} {}{}", example_before, nearest.empty() ? ids.front() : nearest,
                          example_behind)));
}

std::string check_fault(const ToldSensor& sensor, const CheckMeans& means) {
  const auto measures = [&](Quantity quantity) {
    return std::find(sensor.measures.begin(), sensor.measures.end(), quantity) !=
           sensor.measures.end();
  };
  if (const Instrument* beside = instrument_of(means)) {
    if (measures(beside->quantity)) return {};
    return fmt::format("{} measures no {}, and nothing can be compared", sensor.id,
                       facts(beside->quantity).name);
  }
  const bool salt = salt_of(means) != nullptr;
  if (!salt && !measures(Quantity::temperature)) {
    return fmt::format("{} measures no temperature, and ice tells nothing else", sensor.id);
  }
  if (salt && !measures(Quantity::humidity)) {
    return fmt::format(
        "{} measures no humidity, and a salt tells nothing else; ice would tell of "
        "its temperature",
        sensor.id);
  }
  if (salt && !measures(Quantity::temperature)) {
    return fmt::format("{} measures no temperature, and what a salt gives depends on it",
                       sensor.id);
  }
  return {};
}

std::string done_text(const SensorChecks::Done& done, const LocalTime& zone) {
  const double off = done.check.shown - done.check.expected;
  const std::string found =
      std::abs(off) < 0.05
          ? std::string("read right")
          : fmt::format("read {:.1f} {} too {}", std::abs(off),
                        difference_unit(done.check.quantity), off < 0.0 ? "low" : "high");
  return fmt::format("checked {} on {}: {} (entry {})", means_text(done.means),
                     date_of(done.check.at, zone), found, done.entry);
}

std::string expected_error_text(Quantity quantity, const Correction& correction) {
  const double error = 2.0 * correction.uncertainty;
  return fmt::format("within {:.{}f} {} of the truth{}", error, error < 2.0 ? 1 : 0,
                     difference_unit(quantity),
                     correction.checked_at ? "" : " (never checked; common practice, no source)");
}

}  // namespace torpor::daemon
