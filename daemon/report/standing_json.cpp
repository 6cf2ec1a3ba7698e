#include "daemon/report/standing_json.h"

#include <nlohmann/json.hpp>

#include <array>

#include "sensors/trust.h"

namespace torpor::daemon {
namespace {

using nlohmann::json;

struct DoubtWord {
  Doubt doubt;
  std::string_view word;
};
constexpr std::array kDoubtWords = {
    DoubtWord{kImpossible, "impossible"},
    DoubtWord{kJump, "jump"},
    DoubtWord{kWrongUnit, "wrong-unit"},
    DoubtWord{kStuck, "stuck"},
    DoubtWord{kSaturated, "saturated"},
    DoubtWord{kTwoDevices, "two-devices"},
    DoubtWord{kSilent, "silent"},
    DoubtWord{kLowBattery, "low-battery"},
    DoubtWord{kClockAstray, "clock-astray"},
    DoubtWord{kDisagrees, "disagrees"},
    DoubtWord{kOddOneOut, "odd-one-out"},
    DoubtWord{kDrifts, "drifts"},
    DoubtWord{kLeap, "leap"},
    DoubtWord{kInCheck, "in-check"},
    DoubtWord{kBatteryAstray, "battery-astray"},
};

}  // namespace

std::vector<std::string> doubt_words(std::uint16_t doubts) {
  std::vector<std::string> words;
  for (const DoubtWord& row : kDoubtWords) {
    if ((doubts & row.doubt) != 0) words.emplace_back(row.word);
  }
  return words;
}

std::string ahead_json(const Ahead& ahead) {
  json root = json::object();
  for (const auto& [sensor, by] : ahead) root[sensor] = by.count();
  return root.dump(-1, ' ', false, json::error_handler_t::replace);
}

Ahead ahead_from_json(std::string_view text) {
  Ahead ahead;
  try {
    const json root = json::parse(text);
    for (const auto& [sensor, by] : root.items()) {
      ahead[sensor] = Duration(by.get<std::int64_t>());
    }
  } catch (const json::exception&) {
    return {};
  }
  return ahead;
}

std::string standings_json(const Standings& standings) {
  json root = json::object();
  for (const auto& [sensor, standing] : standings) {
    root[sensor] = {{"doubts", standing.doubts},
                    {"reasons", standing.reasons},
                    {"interval_ms", standing.interval ? json(standing.interval->count()) : json()},
                    {"check", standing.check}};
  }
  return root.dump(-1, ' ', false, json::error_handler_t::replace);
}

Standings standings_from_json(std::string_view text) {
  Standings standings;
  try {
    const json root = json::parse(text);
    for (const auto& [sensor, each] : root.items()) {
      rules::SensorStanding standing;
      standing.doubts = each.at("doubts").get<std::uint16_t>();
      standing.reasons = each.at("reasons").get<std::vector<std::string>>();
      if (!each.at("interval_ms").is_null()) {
        standing.interval = Duration(each.at("interval_ms").get<std::int64_t>());
      }
      standing.check = each.at("check").get<std::string>();
      standings.emplace(sensor, std::move(standing));
    }
  } catch (const json::exception&) {
    return {};
  }
  return standings;
}

}  // namespace torpor::daemon
