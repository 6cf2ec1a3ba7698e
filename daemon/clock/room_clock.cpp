#include "daemon/clock/room_clock.h"

#include <algorithm>
#include <nlohmann/json.hpp>

namespace torpor::daemon {

std::string to_text(const KeptClock& kept) {
  const nlohmann::json json = {
      {"boot", kept.boot},
      {"steady_ms", kept.steady.count()},
      {"time_ms", unix_ms(kept.time)},
      {"unsure_since_ms",
       kept.unsure_since ? nlohmann::json(unix_ms(*kept.unsure_since)) : nlohmann::json()}};
  return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

std::optional<KeptClock> kept_clock_from(std::string_view text) {
  try {
    const auto json = nlohmann::json::parse(text);
    KeptClock kept;
    kept.boot = json.at("boot").get<std::string>();
    kept.steady = Duration(json.at("steady_ms").get<std::int64_t>());
    kept.time = instant_of(json.at("time_ms").get<std::int64_t>());
    if (const auto& since = json.at("unsure_since_ms"); !since.is_null()) {
      kept.unsure_since = instant_of(since.get<std::int64_t>());
    }
    return kept;
  } catch (const nlohmann::json::exception&) {
    return std::nullopt;  // as good as none: the wall clock is all there is
  }
}

bool is_same_start(const KeptClock& kept, const ClockLook& look) {
  return !look.boot.empty() && kept.boot == look.boot && kept.steady <= look.steady;
}

RoomClock::RoomClock(const std::optional<KeptClock>& kept, const ClockLook& first)
    : followed_at_(first.steady) {
  const Instant wall = std::max(first.wall, kEarliest);
  if (!kept) {
    base_ = wall - first.steady;
    unsure_since_ = wall;
  } else if (is_same_start(*kept, first)) {
    base_ = kept->time - kept->steady;
    unsure_since_ = kept->unsure_since;
  } else if (wall + kAgrees >= kept->time &&
             (first.synchronised || wall <= kept->time + kPlausibleRest)) {
    const Instant begins = std::max(wall, kept->time);
    base_ = begins - first.steady;
    unsure_since_ = begins;
  } else {
    // Ahead by more than a rest, or behind what was already stamped: held apart like any leap.
    base_ = kept->time - first.steady;
    unsure_since_ = kept->time;
    unsure_before_ = kept->unsure_since;
  }
  newest_ = carried(first);
}

Instant RoomClock::now(const ClockLook& look) {
  follow(look);
  newest_ = std::max(newest_, carried(look));
  return newest_;
}

void RoomClock::follow(const ClockLook& look) {
  const Duration passed = look.steady - followed_at_;
  if (passed < std::chrono::seconds(1)) return;
  followed_at_ = look.steady;
  const Duration apart = look.wall - carried(look);
  if (std::chrono::abs(apart) > kAgrees) return;
  // A small gap closes with the time that passes; what is left of it stays.
  const Duration most = passed / kDriftPart;
  base_ += std::clamp(apart, -most, most);
}

RoomClock::Seen RoomClock::look(const ClockLook& look) {
  Seen seen;
  static_cast<void>(now(look));
  const Duration by = look.wall - carried(look);
  if (std::chrono::abs(by) <= kAgrees) {
    seen.came_back = apart_.has_value();
    apart_.reset();
    if (!look.synchronised) kept_since_.reset();
    if (look.synchronised && !kept_since_) kept_since_ = look.steady;
    if (kept_since_ && look.steady - *kept_since_ >= kStandsSynchronised) unsure_since_.reset();
    return seen;
  }
  kept_since_.reset();
  if (!apart_ || std::chrono::abs(by - apart_->by) > kAgrees) {
    if (!apart_) seen.stepped = by;
    apart_ = Apart{by, look.steady, apart_ ? apart_->seen_at : newest_, std::nullopt};
  }
  if (!look.synchronised) apart_->synchronised_since.reset();
  if (look.synchronised && !apart_->synchronised_since) apart_->synchronised_since = look.steady;
  const bool server = unsure_since_ && apart_->synchronised_since &&
                      look.steady - *apart_->synchronised_since >= kStandsSynchronised;
  if (look.wall >= kEarliest && (server || look.steady - apart_->since >= kStands)) {
    seen.move = moved(look);
  }
  return seen;
}

ClockMove RoomClock::moved(const ClockLook& look) {
  ClockMove move{unsure_since_.value_or(apart_->seen_at), look.wall - newest_};
  if (move.by < Duration{}) {
    // The run before went by the same wrong time, and nothing can have been stamped after now.
    move.from = std::min({move.from, unsure_before_.value_or(move.from), look.wall});
  }
  base_ = look.wall - look.steady;
  newest_ = look.wall;
  if (look.synchronised) {
    unsure_since_.reset();
  } else {
    unsure_since_ = move.from + move.by;
  }
  unsure_before_.reset();
  apart_.reset();
  return move;
}

KeptClock RoomClock::keep(const ClockLook& look) {
  return {look.boot, look.steady, now(look), unsure_since_};
}

}  // namespace torpor::daemon
