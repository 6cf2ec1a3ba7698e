#include "daemon/service/reception.h"

#include <spdlog/spdlog.h>
#include <boost/crc.hpp>

#include <algorithm>
#include <set>
#include <unordered_map>
#include <utility>

#include "daemon/ledger/ledger.h"
#include "daemon/link/topic_filter.h"

namespace torpor::daemon {
namespace {

// Between two log lines about the same fault of the same sensor.
constexpr auto kFaultPause = std::chrono::minutes(10);
// Different faults remembered; a topic with {sensor} lets strangers make up names without end.
constexpr std::size_t kFaultsRemembered = 1000;
// What waited at the broker comes at once, from the moment the link is back.
constexpr auto kBacklogBegins = std::chrono::seconds(5);
// While the clock is not sure, any time of a sensor may be the right one.
constexpr Duration kAnyTimeAhead = std::chrono::days(366 * 200);
constexpr std::string_view kSensorLevel = "{sensor}";

// CRC-64/ECMA-182 of topic and payload: tells a redelivery from a new message that looks alike.
std::uint64_t digest_of(std::string_view topic, std::string_view payload) {
  boost::crc_optimal<64, 0x42F0E1EBA9EA3693ULL, 0, 0, false, false> crc;
  crc.process_bytes(topic.data(), topic.size());
  crc.process_byte(0);
  crc.process_bytes(payload.data(), payload.size());
  return crc.checksum();
}

}  // namespace

struct Reception::Directory {
  // Sensors that read one topic; several when a SenML pack or an object carries several sensors.
  std::unordered_map<std::string, std::vector<config::SensorSettings>> by_topic;
  std::vector<std::string> shared;  // the patterns with {sensor}, to name a stranger
};

Reception::Reception(const std::string& storeroom, rules::Clock clock, const StampsSoFar& so_far,
                     Inbox& inbox, IntakeCounters& counters, ReceptionHandlers handlers)
    : tell_topic_(topic_of(storeroom, "tell")),
      clock_(clock),
      inbox_(inbox),
      counters_(counters),
      handlers_(std::move(handlers)),
      directory_(std::make_shared<Directory>()),
      newest_(so_far.newest) {
  for (const auto& [id, sensor] : so_far.by_sensor) {
    stamped_[id] = {sensor.newest, sensor.interval, {}, false};
  }
}

void Reception::use_sensors(const std::vector<config::SensorSettings>& sensors) {
  auto directory = std::make_shared<Directory>();
  std::set<std::string> patterns;
  for (const auto& sensor : sensors) {
    std::string topic = sensor.topic;
    if (const auto level = topic.find(kSensorLevel); level != std::string::npos) {
      topic.replace(level, kSensorLevel.size(), sensor.spec.id);
      patterns.insert(sensor.topic);
    }
    directory->by_topic[topic].push_back(sensor);
  }
  directory->shared.assign(patterns.begin(), patterns.end());
  const std::lock_guard lock(directory_lock_);
  directory_ = std::move(directory);
}

std::vector<std::string> Reception::filters(const std::vector<config::SensorSettings>& sensors) {
  std::set<std::string> filters;
  for (const auto& sensor : sensors) filters.insert(filter_of(sensor.topic));
  return {filters.begin(), filters.end()};
}

Taken Reception::message(const IncomingMessage& message, Instant wall, bool unsure) {
  if (link_lost_.exchange(false)) link_since_ = wall;
  counters_.messages.fetch_add(1, std::memory_order_relaxed);
  if (message.topic == tell_topic_) return tell(message, wall);
  std::shared_ptr<const Directory> directory;
  {
    const std::lock_guard lock(directory_lock_);
    directory = directory_;
  }
  return reading(*directory, message, wall, unsure);
}

Taken Reception::reading(const Directory& directory, const IncomingMessage& message, Instant wall,
                         bool unsure) {
  const auto found = directory.by_topic.find(std::string(message.topic));
  if (found == directory.by_topic.end()) {
    for (const std::string& pattern : directory.shared) {
      if (const auto stranger = sensor_in(pattern, message.topic)) {
        report_refusal(message, *stranger,
                       {Refusal::unknown_sensor,
                        "no sensor of this id is configured; add it under `sensors`, or stop what "
                        "publishes here"});
        return Taken::go_on;
      }
    }
    counters_.unknown_topic.fetch_add(1, std::memory_order_relaxed);
    return Taken::go_on;
  }
  ReadingsRecord record;
  record.received_at = wall;
  record.redelivered = message.redelivered;
  std::optional<DecodeError> fault;
  std::string faulty_sensor;
  for (const auto& sensor : found->second) {
    auto readings = decode(sensor.payload, sensor.spec.id, message.payload, wall,
                           unsure ? kAnyTimeAhead : kFutureTolerance);
    if (!readings) {
      // On a shared topic a missing field is most often another sensor's message.
      if (!fault || fault->refusal == Refusal::missing_field) {
        fault = std::move(readings.error());
        faulty_sensor = sensor.spec.id;
      }
      continue;
    }
    for (Reading& reading : *readings) {
      if (reading.measured_at <= wall + kFutureTolerance) continue;
      reading.measured_at = wall;
      reading.marks = static_cast<std::uint8_t>(reading.marks | kStampedOnArrival);
    }
    std::move(readings->begin(), readings->end(), std::back_inserter(record.readings));
    if (const auto known = faults_.find(sensor.spec.id); known != faults_.end()) {
      spdlog::info("{}: understood again, after {} refused message(s) not shown", sensor.spec.id,
                   known->second.unreported);
      faults_.erase(known);
    }
  }
  const bool without_time =
      std::any_of(record.readings.begin(), record.readings.end(),
                  [](const Reading& reading) { return (reading.marks & kStampedOnArrival) != 0; });
  if (message.retained && without_time) {
    report_refusal(message, found->second.front().spec.id,
                   {Refusal::retained_without_time,
                    "a retained message without a time of its own may be days old; publish it "
                    "without the retain flag, or with a time"});
    return Taken::go_on;
  }
  // Of several sensors on one topic each finds its own; only a message nobody could read is
  // refused.
  if (record.readings.empty()) {
    if (fault) report_refusal(message, faulty_sensor, *fault);
    return Taken::go_on;
  }
  stamp(record.readings, wall);
  if (without_time) record.digest = digest_of(message.topic, message.payload);
  return keep(std::move(record));
}

// What one message says of one sensor is of one moment.
void Reception::stamp(std::vector<Reading>& readings, Instant wall) {
  const bool by_readings = clock_ == rules::Clock::readings;
  std::map<std::string_view, Instant> stamps;
  for (Reading& reading : readings) {
    if (by_readings && (reading.marks & kStampedOnArrival) == 0) {
      newest_ = std::max(newest_.value_or(reading.measured_at), reading.measured_at);
    }
    // Some forms say how long before the arrival.
    if ((reading.marks & kStampedOnArrival) == 0 || reading.measured_at != wall) continue;
    const auto known = stamps.find(reading.sensor);
    if (known != stamps.end()) {
      reading.measured_at = known->second;
      continue;
    }
    Stamped& sensor = stamped_[reading.sensor];
    Instant at = by_readings ? newest_.value_or(wall) : stamp_of(sensor, wall);
    if (sensor.newest) at = std::max(at, *sensor.newest + Duration(1));
    sensor.newest = at;
    stamps.emplace(reading.sensor, at);
    reading.measured_at = at;
  }
}

void Reception::move_stamps(const ClockMove& move) {
  if (clock_ == rules::Clock::readings) return;
  for (auto& [id, sensor] : stamped_) {
    if (sensor.newest && *sensor.newest >= move.from) *sensor.newest += move.by;
    if (sensor.arrived >= move.from) sensor.arrived += move.by;
  }
  if (link_since_ >= move.from) link_since_ += move.by;
}

// The first one after an outage may have waited if it comes as soon as the link is back; the next
// ones have if they follow faster than the sensor speaks.
Instant Reception::stamp_of(Stamped& sensor, Instant wall) {
  const Instant before = std::exchange(sensor.arrived, wall);
  const bool was_waiting = std::exchange(sensor.waited, false);
  if (!sensor.newest || !sensor.interval) return wall;
  const Duration interval = *sensor.interval;
  const bool begins = before < link_since_ && wall - link_since_ <= kBacklogBegins &&
                      2 * (wall - *sensor.newest) > 3 * interval;
  const bool follows = was_waiting && 4 * (wall - before) < interval;
  if (!(begins || follows) || *sensor.newest + interval > wall) return wall;
  sensor.waited = true;
  return *sensor.newest + interval;
}

Taken Reception::tell(const IncomingMessage& message, Instant wall) {
  TellRecord record{wall,
                    std::string(message.payload.substr(0, kLongestSentence)),
                    message.by,
                    message.response_topic,
                    message.correlation,
                    message.redelivered};
  const auto refuse = [&](const char* answer) {
    counters_.tells_refused.fetch_add(1, std::memory_order_relaxed);
    if (answer != nullptr) handlers_.tell_refused(record, std::string(kNotRecorded) + answer);
    return Taken::go_on;
  };
  if (message.retained) return refuse(nullptr);  // nobody is there to be answered
  if (message.payload.size() > kLongestSentence) {
    return refuse("the sentence is longer than 1024 bytes; tell it in shorter ones");
  }
  switch (judge_rate(record, wall)) {
    case TellRate::Verdict::taken:
      return keep(std::move(record));
    case TellRate::Verdict::refused:
      return refuse(
          "more than 60 sentences came within a minute, or 120 under names that are not in the "
          "journal; this one and those that follow in this minute are not answered one by one: "
          "wait a minute and tell them again");
    case TellRate::Verdict::refused_before:
      break;
  }
  return refuse(nullptr);
}

TellRate::Verdict Reception::judge_rate(const TellRecord& record, Instant wall) {
  const auto verdict = tell_rate_.judge(record.by, record.response_topic, wall);
  if (verdict == TellRate::Verdict::refused) {
    spdlog::warn("too many sentences within a minute{}: the rest of them is refused, unrecorded",
                 record.by.empty() ? "" : " from " + excerpt(record.by));
  }
  if (const std::uint64_t count = tell_rate_.take_refused_before(); count > 0) {
    spdlog::warn("{} sentences over the rate were refused", count);
  }
  return verdict;
}

Taken Reception::keep(InboxPayload payload) {
  const auto appended = inbox_.append(payload);
  if (!appended) {
    handlers_.cannot_keep(appended.error().text);
    return Taken::stop;
  }
  counters_.accepted.fetch_add(1, std::memory_order_relaxed);
  handlers_.accepted(InboxRecord{appended->sequence, std::move(payload)});
  if (appended->kept == Kept::spool_nearly_full) return Taken::stop;
  return handlers_.strand_is_full() ? Taken::stop : Taken::go_on;
}

void Reception::report_refusal(const IncomingMessage& message, std::string_view sensor,
                               const DecodeError& error) {
  counters_.refused[static_cast<std::size_t>(error.refusal)].fetch_add(1,
                                                                       std::memory_order_relaxed);
  const auto now = std::chrono::steady_clock::now();
  auto fault = faults_.find(sensor);
  if (fault != faults_.end() && now - fault->second.reported < kFaultPause) {
    ++fault->second.unreported;
    return;
  }
  if (fault == faults_.end() && faults_.size() >= kFaultsRemembered) return;
  const std::uint64_t unreported = fault == faults_.end() ? 0 : fault->second.unreported;
  spdlog::warn("{}: a message on {} is refused ({}): {}. It was: {}{}", sensor, message.topic,
               refusal_name(error.refusal), error.text, excerpt(message.payload),
               unreported > 0 ? fmt::format(" ({} more since the last report)", unreported) : "");
  faults_.insert_or_assign(std::string(sensor), Fault{now, 0});
}

}  // namespace torpor::daemon
