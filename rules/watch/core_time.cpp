// Time that was lost, and time that was wrong. What nobody was there to see is stepped in bounded
// work and said once; what was stamped by a wrong clock is moved.
#include <fmt/format.h>

#include <algorithm>

#include "rules/watch/core.h"

namespace torpor::rules {
namespace {

// Whoever watches lets no timer wait for so long.
constexpr Duration kLeap = std::chrono::hours(24);
// By then sensors that are there have spoken.
constexpr Duration kSettlesAfterLeap = std::chrono::minutes(15);
constexpr std::size_t kLongestStanding = 400;  // bytes of a notice

std::string_view first_word(Urgency urgency) {
  return urgency == Urgency::now ? "Now" : urgency == Urgency::today ? "Today" : "This week";
}

std::string span_words(Duration span) {
  const auto hours = std::chrono::round<std::chrono::hours>(span).count();
  return hours < 72 ? fmt::format("{} h", hours) : fmt::format("{} d", (hours + 12) / 24);
}

}  // namespace

void Watch::Core::pass_to(Instant t) {
  if (now_ && t - *now_ > kLeap && next_timer() < t - kLeap) {
    leap_to(t);
  } else {
    run_timers_before(t);
  }
}

// Alerts change at their own times on the way. Hour by hour through models without air, and repeat
// by repeat, it would be the work of weeks.
void Watch::Core::leap_to(Instant t) {
  const Instant from = leap_ ? leap_->from : *now_;
  leap_.reset();
  const auto said = static_cast<std::ptrdiff_t>(effects_.notices.size());
  for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
    if (const auto& track = jars_[jar].track) outdate_track(jar, track->base());
  }
  leap_due_ = t + kSettlesAfterLeap;
  run_timers_before(t);
  advance_to(t);
  for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
    const auto& track = jars_[jar].track;
    if (!track) continue;
    track->outdate(track->base(), settled_horizon(jar));
    effects_.outdated.push_back(outdated_jar(jar));
  }
  leap_ = Leap{from, t, *leap_due_};
  leap_due_.reset();
  for (const auto& [number, open] : alerts_.open()) {
    const bool due = open.alert.state == AlertState::standing && open.notice_due <= t;
    if (due) alerts_.postpone(number, leap_->due);
  }
  flood_until_.reset();
  effects_.notices.erase(effects_.notices.begin() + said, effects_.notices.end());
}

// One line for all that would have been said, once what is back has had the time to say so.
void Watch::Core::say_what_stands() {
  const Leap leap = *std::exchange(leap_, std::nullopt);
  std::vector<std::uint64_t> due;
  for (const auto& [number, open] : alerts_.open()) {
    if (open.alert.state != AlertState::standing || open.notice_due > *now_) continue;
    if (!concerns_no_jar(open) && speaks_for_its_jar(open.alert)) due.push_back(number);
  }
  std::string stands;
  Urgency urgency = Urgency::this_week;
  std::size_t unsaid = 0;
  for (const std::uint64_t number : due) {
    if (!alerts_.take_due_notice(number, *now_)) continue;
    OpenAlert& open = alerts_.at(number);
    const Alert before = open.alert;
    describe(open);
    if (open.alert != before) emit(AlertChangeKind::updated, open.alert);
    urgency = std::min(urgency, open.alert.urgency);
    const std::string line = fmt::format(" {} ({})", open.alert.what, number);
    if (stands.size() + line.size() <= kLongestStanding) {
      stands += line;
    } else {
      ++unsaid;
    }
  }
  if (unsaid > 0) stands += fmt::format(" And {} more: `torpor alerts` lists them.", unsaid);
  effects_.notices.push_back(
      {fmt::format("leap-{}", unix_ms(leap.until)), 0,
       fmt::format("{}: Look at the jars: nobody watched them for {}, from {} on. {}",
                   first_word(urgency), span_words(leap.until - leap.from),
                   clock_text(leap.from, *now_, settings_.utc_offset),
                   stands.empty() ? "Nothing else is to be done."
                                  : fmt::format("What is open now:{}", stands))});
  delivered_.push_back(*now_);
}

// ---- a clock that was wrong ---------------------------------------------------------------------

struct Watch::Core::Shift {
  Instant from;
  Duration by;
  // What was right before the clock went wrong and would come to lie behind it, comes just before.
  [[nodiscard]] Instant stamp(Instant t) const {
    if (t == kAlways || t == kNever) return t;
    if (t >= from) return t + by;
    return by < Duration{} ? std::min(t, from + by) : t;
  }
  // As a person told it.
  [[nodiscard]] Instant told(Instant t) const {
    return t == kAlways || t == kNever || t < from ? t : t + by;
  }
  // What has lasted: nothing lasts through a time that was not watched.
  [[nodiscard]] Instant lasting(Instant t) const {
    if (t == kAlways || t == kNever) return t;
    return by > Duration{} ? t + by : stamp(t);
  }
  void stamp(std::optional<Instant>& t) const {
    if (t) t = stamp(*t);
  }
};

void Watch::Core::apply(const ClockMovedInput& input) {
  if (settings_.clock == Clock::readings || !now_ || input.by == Duration{}) return;
  const Shift shift{input.from, input.by};
  const auto begin_anew = [this] {
    std::vector<JarModelBytes> models;
    for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
      const auto& track = jars_[jar].track;
      // A model that has stepped through the wrong time is of no use.
      if (!track || track->base() > *now_) continue;
      models.push_back({register_.at(jar).id, track->base(), track->base_model().snapshot()});
    }
    const std::string state = snapshot();
    Effects effects = std::move(effects_);
    const Instant wall = wall_;
    if (!this->restore(state, models)) return;  // its own of a moment ago: it fits
    effects_ = std::move(effects);
    wall_ = wall;
    orphans_ = false;
  };
  begin_anew();  // nothing lies, and every window is tracked to its end
  shift_signals(shift);
  shift_alerts(shift);
  shift.stamp(now_);
  begin_anew();
  const Instant cut = std::min(input.from, input.from + input.by);
  for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
    const auto& track = jars_[jar].track;
    if (track) outdate_track(jar, std::min(cut, track->base()));
  }
  for (const auto& [number, open] : alerts_.open()) {
    if (open.alert.raised_at >= cut) emit(AlertChangeKind::updated, open.alert);
  }
}

void Watch::Core::shift_signals(const Shift& shift) {
  std::vector<bool> own_clock;
  for (Sensor& sensor : sensors_) {
    SensorTrack& track = sensor.track;
    std::vector<Reading> newest, trusted;
    bool on_arrival = false;
    for (const QuantityFacts& row : quantities()) {
      if (const auto& reading = track.newest(row.quantity)) {
        newest.push_back(*reading);
        on_arrival = on_arrival || (reading->marks & kStampedOnArrival) != 0;
      }
      if (const auto& reading = track.newest_trusted(row.quantity)) trusted.push_back(*reading);
    }
    own_clock.push_back(!on_arrival);
    for (auto* readings : {&newest, &trusted}) {
      for (Reading& reading : *readings) {
        reading.received_at = shift.told(reading.received_at);
        if (on_arrival) reading.measured_at = shift.stamp(reading.measured_at);
      }
    }
    std::vector<SensorTrack::Spoken> spoken = track.spoken();
    if (on_arrival) {
      for (SensorTrack::Spoken& each : spoken) each.at = shift.stamp(each.at);
    }
    shift.stamp(track.first_known);
    track.restore(std::move(spoken), newest, trusted);
  }
  judges_.shift(own_clock, [&shift](Instant t) { return shift.stamp(t); });
  for (Air& air : airs_) {
    std::vector<AirReading> kept = air.timeline.kept();
    bool on_arrival = false;
    for (AirReading& each : kept) {
      if (own_clock[air.timeline.speakers()[each.speaker]]) continue;
      on_arrival = true;
      each.at = shift.stamp(each.at);
    }
    std::stable_sort(kept.begin(), kept.end(),
                     [](const AirReading& a, const AirReading& b) { return a.at < b.at; });
    std::optional<Instant> newest = air.timeline.newest();
    if (on_arrival) shift.stamp(newest);
    for (const AirReading& each : kept) newest = newest ? std::max(*newest, each.at) : each.at;
    air.timeline.restore(kept, newest);
    LatelyAir::Saved lately = air.lately.save();
    if (lately.settled) {
      lately.settled = std::chrono::floor<std::chrono::hours>(shift.stamp(*lately.settled));
      air.lately.restore(lately);
    }
    if (!on_arrival) continue;
    for (auto& [window, track] : air.tracks) {
      std::vector<WindowTrack::Step> steps;
      const std::int64_t at_from = track.value_at(shift.from);
      bool gap = shift.by > Duration{};
      const auto put = [&steps](Instant from, std::int64_t value) {
        while (!steps.empty() && steps.back().from >= from) steps.pop_back();
        steps.push_back({from, value});
      };
      for (const WindowTrack::Step& step : track.steps()) {
        if (gap && step.from >= shift.from) {
          gap = false;  // of the time that was left out nothing is known
          put(shift.from, WindowTrack::kUnknown);
          if (step.from > shift.from) put(shift.from + shift.by, at_from);
        }
        put(shift.stamp(step.from), step.value);
      }
      if (gap) {
        put(shift.from, WindowTrack::kUnknown);
        put(shift.from + shift.by, at_from);
      }
      track.restore(steps);
    }
  }
  for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
    JarRecord& record = register_.at(jar);
    for (JarStay& stay : record.stays) {
      stay.from = shift.told(stay.from);
      stay.told = shift.told(stay.told);
    }
    std::stable_sort(record.stays.begin(), record.stays.end(),
                     [](const JarStay& a, const JarStay& b) { return a.from < b.from; });
    if (record.retired_at) record.retired_at = shift.told(*record.retired_at);
    jars_[jar].headspace_at = shift.stamp(jars_[jar].headspace_at);
  }
  for (LinkEvent& event : link_) event.at = shift.stamp(event.at);
  for (auto* figures : {&disk_free_, &clock_steps_}) {
    for (BoardFigure& figure : *figures) figure.at = shift.stamp(figure.at);
  }
}

void Watch::Core::shift_alerts(const Shift& shift) {
  for (const auto& instance : instances_) {
    if (instance->gone) continue;
    RuleInstance::Saved saved = instance->machine.save();
    if (saved.start) saved.start = shift.told(*saved.start);
    if (saved.settled) saved.settled = shift.lasting(*saved.settled);
    saved.settled_due = shift.lasting(saved.settled_due);
    saved.frozen = shift.lasting(saved.frozen);
    std::vector<RuleInstance::Entry> log;
    for (RuleInstance::Entry& entry : saved.log) {
      entry.from = shift.lasting(entry.from);
      entry.state.met_since = shift.lasting(entry.state.met_since);
      for (LastingState& each : entry.state.lastings) each.since = shift.lasting(each.since);
      while (!log.empty() && log.back().from >= entry.from) log.pop_back();
      log.push_back(std::move(entry));
    }
    saved.log = std::move(log);
    instance->machine.restore(std::move(saved));
    instance->due = shift.lasting(instance->due);
  }
  std::vector<std::uint64_t> numbers;
  for (const auto& [number, open] : alerts_.open()) numbers.push_back(number);
  for (const std::uint64_t number : numbers) {
    OpenAlert& open = alerts_.at(number);
    Alert& alert = open.alert;
    alert.since = shift.stamp(alert.since);
    alert.raised_at = shift.stamp(alert.raised_at);
    for (auto* moment : {&alert.eased_at, &alert.seen_at, &alert.deferred_until, &alert.worst_at,
                         &open.last_notice}) {
      shift.stamp(*moment);
    }
    open.notice_due = shift.stamp(open.notice_due);
  }
  for (Instant& t : delivered_) t = shift.stamp(t);
  shift.stamp(flood_until_);
  if (leap_) {
    for (Instant* t : {&leap_->from, &leap_->until, &leap_->due}) *t = shift.stamp(*t);
  }
}

}  // namespace torpor::rules
