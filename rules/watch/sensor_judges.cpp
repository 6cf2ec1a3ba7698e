#include "rules/watch/sensor_judges.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

namespace torpor::rules {
namespace {

constexpr double kNoSpread = std::numeric_limits<double>::quiet_NaN();
constexpr std::int64_t kHourMs = 3'600'000;
constexpr std::size_t kHoursOfDay = 24;
constexpr int kReadingsCounted = 32;
// Fewer say nothing of a share.
constexpr int kReadingsOfShare = 8;
// Old looks are dropped in lots, as in AirTimeline.
constexpr std::size_t kLooksForgottenAtOnce = 64;

constexpr std::uint16_t kAstray = kImpossible | kJump | kWrongUnit | kTwoDevices;

// In the values of a look.
constexpr auto kPlacesOfJudges = places_in(kJudgeOrder);
constexpr std::size_t place_of(RuleQuantity quantity) {
  return kPlacesOfJudges[static_cast<std::size_t>(quantity)];
}

std::size_t slot_of(Quantity quantity) { return static_cast<std::size_t>(quantity) - 1; }

Surroundings around(const Layout& layout, const SensorSpec& spec) {
  if (spec.senses != Senses::air) return Surroundings::enclosed;
  return is_outside(layout, spec.place) ? Surroundings::weather : Surroundings::open_air;
}

// As an expression of a rule names them; a window never looks at a sensor.
void gather_quantities(const Condition& condition, std::vector<RuleQuantity>& named) {
  const auto of_term = [&](const Term& term) {
    if (const auto* at = std::get_if<QuantityAt>(&term)) named.push_back(at->quantity);
  };
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    of_term(clause->of.term);
    if (clause->of.minus) of_term(*clause->of.minus);
  } else if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    for (const Condition& part : all->parts) gather_quantities(part, named);
  } else if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    for (const Condition& part : any->parts) gather_quantities(part, named);
  } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    gather_quantities(negation->of, named);
  } else {
    gather_quantities(std::get<Lasting>(condition->what).of, named);
  }
}

void since(std::optional<Instant>& began, bool is_so, Instant at) {
  if (!is_so) began.reset();
  if (is_so && !began) began = at;
}

}  // namespace

bool is_of_judges(RuleQuantity quantity) {
  const Source source = source_of(quantity);
  return source == Source::judges || source == Source::judges_since;
}

SensorJudges::Sensor::Sensor(Surroundings around, const SensorSpec& spec)
    : values{Value(Quantity::temperature, around), Value(Quantity::humidity, around)},
      whole(spec.learns_interval ? std::nullopt : std::optional(spec.expected_interval)),
      learns(spec.learns_interval) {}

SensorJudges::SensorJudges(const Layout& layout, const RuleBook& book,
                           const Calibrations& calibrations, Duration reach, bool recorded)
    : reach_(reach), recorded_(recorded) {
  for (const SensorSpec& spec : layout.sensors) {
    ids_.push_back(spec.id);
    sensors_.emplace_back(around(layout, spec), spec);
    const auto known = calibrations.find(spec.id);
    if (known != calibrations.end()) sensors_.back().calibration = known->second;
  }
  find_company(layout);
  for (const Rule& rule : book) {
    std::vector<RuleQuantity> named;
    gather_quantities(rule.when, named);
    if (rule.until) gather_quantities(*rule.until, named);
    for (const RuleQuantity quantity : named) {
      if (is_of_judges(quantity)) read_[place_of(quantity)] = true;
    }
  }
}

void SensorJudges::find_company(const Layout& layout) {
  for (const QuantityFacts& row : quantities()) {
    if (row.of_sensor) continue;
    for (std::size_t i = 0; i < layout.sensors.size(); ++i) {
      const SensorSpec& spec = layout.sensors[i];
      const bool fits = spec.jar.empty() && spec.senses == Senses::air &&
                        std::count(spec.measures.begin(), spec.measures.end(), row.quantity) > 0;
      if (!fits) continue;
      const auto known =
          std::find_if(companies_.begin(), companies_.end(), [&](const Company& company) {
            return company.place == spec.place && company.quantity == row.quantity;
          });
      if (known == companies_.end()) {
        companies_.push_back({spec.place, row.quantity, {i}, Agreement(row.quantity, 1)});
      } else {
        known->sensors.push_back(i);
      }
    }
  }
  std::erase_if(companies_, [](const Company& company) { return company.sensors.size() < 2; });
  for (std::size_t at = 0; at < companies_.size(); ++at) {
    Company& company = companies_[at];
    company.agreement = Agreement(company.quantity, company.sensors.size());
    for (std::size_t position = 0; position < company.sensors.size(); ++position) {
      Value& value = sensors_[company.sensors[position]].values[slot_of(company.quantity)];
      value.company = at;
      value.position = position;
    }
  }
}

double SensorJudges::corrected(std::size_t sensor, const Reading& reading) const {
  return torpor::corrected(sensors_[sensor].calibration, reading);
}

double SensorJudges::expected_error(std::size_t sensor, const Reading& reading) const {
  return torpor::expected_error(sensors_[sensor].calibration, reading.quantity,
                                reading.measured_at);
}

Judgement SensorJudges::compare(const Value& value, Instant at, double corrected, bool believed) {
  if (value.company == kNobody) return {};
  Agreement& agreement = companies_[value.company].agreement;
  if (believed) agreement.add(value.position, at, corrected);
  return agreement.of(value.position);
}

std::uint16_t SensorJudges::judge(std::size_t index, const Reading& reading) {
  Sensor& sensor = sensors_[index];
  if (reading.quantity == Quantity::battery) return judge_battery(sensor, reading);
  Value& value = sensor.values[slot_of(reading.quantity)];
  const Instant at = reading.measured_at;
  if (reading.quantity == Quantity::temperature && (!value.newest || at > *value.newest)) {
    sensor.thermometer = reading.value();
  }
  Judgement judgement = value.trust.judge(reading, sensor.thermometer);
  if (value.newest && at <= *value.newest) return judgement.doubts;
  value.newest = at;
  const bool own_clock = !recorded_ && (reading.marks & (kStampedOnArrival | kImported)) == 0;
  sensor.whole.heard(at, reading.received_at, own_clock);
  learn(sensor);
  if (sensor.check && sensor.check->is_out()) {
    // What it said in salt or ice is nothing to compare the air with.
    if (sensor.check->leaves_its_air()) {
      for (Value& each : sensor.values) each.last = {};
    }
    sensor.check.reset();
  }
  const bool checked = sensor.check && at >= sensor.check->start();
  if (checked) {
    // Salt and ice are stiller than any air, and the way there is a leap.
    const std::uint16_t against =
        sensor.check->leaves_its_air() ? std::uint16_t{kImpossible} : kUnbelieved;
    if ((judgement.doubts & against) == 0) {
      sensor.check->add(reading.quantity, at, reading.value());
    }
  }
  if (checked && sensor.check->leaves_its_air()) {
    judgement.doubts = kInCheck | (judgement.doubts & kImpossible);
    judgement.reasons = {sensor.check->words()};
    value.last = judgement;
    return judgement.doubts;
  }
  Judgement beside = compare(value, at, corrected(index, reading), judgement.trusted());
  judgement.doubts = static_cast<std::uint16_t>(judgement.doubts | beside.doubts);
  std::move(beside.reasons.begin(), beside.reasons.end(), std::back_inserter(judgement.reasons));
  value.range.add(at, reading.value());
  sensor.astray = (sensor.astray << 1) | ((judgement.doubts & kAstray) != 0 ? 1U : 0U);
  sensor.judged = std::min(sensor.judged + 1, kReadingsCounted);
  value.last = std::move(judgement);
  const int doubts = sensor.values[0].last.doubts | sensor.values[1].last.doubts;
  since(sensor.stuck, (doubts & (kStuck | kSaturated)) != 0, at);
  since(sensor.disagreeing, (doubts & kDisagrees) != 0, at);
  since(sensor.drifting, (doubts & kDrifts) != 0, at);
  look(sensor, at);
  return value.last.doubts;
}

// Not at every wavering: each change is a date in the history.
void SensorJudges::learn(Sensor& sensor) {
  constexpr double kStep = 1.25;
  if (!sensor.learns) return;
  const auto learned = sensor.whole.learned_interval();
  if (!learned) return;
  if (sensor.interval) {
    const double ratio = static_cast<double>(learned->count()) /
                         static_cast<double>(std::max<std::int64_t>(1, sensor.interval->count()));
    if (ratio < kStep && ratio > 1.0 / kStep) return;
  }
  sensor.interval = learned;
  sensor.interval_changed = true;
}

std::optional<Duration> SensorJudges::interval(std::size_t sensor) const {
  return sensors_[sensor].learns ? sensors_[sensor].interval : std::nullopt;
}

std::optional<Duration> SensorJudges::take_changed_interval(std::size_t index) {
  Sensor& sensor = sensors_[index];
  if (!sensor.interval_changed) return std::nullopt;
  sensor.interval_changed = false;
  return sensor.interval;
}

std::uint16_t SensorJudges::judge_battery(Sensor& sensor, const Reading& reading) {
  sensor.whole.battery(reading.value());
  // Its stamp may lie before what the sensor last said of the air.
  const Instant newest = sensor.looks.empty() ? reading.measured_at : sensor.looks.back().from;
  look(sensor, std::max(reading.measured_at, newest));
  return physically_possible(reading.quantity, reading.value()) ? kNoDoubt : kImpossible;
}

double SensorJudges::began(const std::optional<Instant>& at) {
  return at ? static_cast<double>(unix_ms(*at)) : kNot;
}

double SensorJudges::apart(const Value& value) const {
  if (value.company == kNobody) return kNoSpread;
  const auto difference = companies_[value.company].agreement.difference(value.position);
  return difference ? std::abs(*difference) : kNoSpread;
}

std::span<const SensorJudges::Figure> SensorJudges::figures() {
  using enum RuleQuantity;
  using Judges = SensorJudges;
  static constexpr Figure kFigures[] = {
      {spread, [](const Judges&, const Sensor& s) { return s.values[0].range.spread(); }},
      {humidity_spread, [](const Judges&, const Sensor& s) { return s.values[1].range.spread(); }},
      {disagreement, [](const Judges& all, const Sensor& s) { return all.apart(s.values[0]); }},
      {humidity_disagreement,
       [](const Judges& all, const Sensor& s) { return all.apart(s.values[1]); }},
      {battery, [](const Judges&,
                   const Sensor& s) { return s.whole.battery_percent().value_or(kNoSpread); }},
      {time_stuck, [](const Judges&, const Sensor& s) { return began(s.stuck); }},
      {time_disagreeing, [](const Judges&, const Sensor& s) { return began(s.disagreeing); }},
      {time_drifting, [](const Judges&, const Sensor& s) { return began(s.drifting); }},
      {doubted_readings,
       [](const Judges&, const Sensor& s) {
         return s.judged < kReadingsOfShare ? kNoSpread
                                            : 100.0 * std::popcount(s.astray) / s.judged;
       }},
  };
  static_assert(covers(kFigures, {Source::judges, Source::judges_since}),
                "a row without its figure, or a figure without its row");
  return kFigures;
}

// Only what some rule reads is worked out: the spread changes with every reading.
void SensorJudges::look(Sensor& sensor, Instant at) {
  Look now;
  now.from = at;
  now.values.fill(kNoSpread);
  for (const Figure& each : figures()) {
    const std::size_t place = place_of(each.quantity);
    if (read_[place]) now.values[place] = each.of(*this, sensor);
  }
  std::vector<Look>& looks = sensor.looks;
  const auto same = [](double a, double b) { return a == b || (std::isnan(a) && std::isnan(b)); };
  if (!looks.empty() &&
      std::equal(now.values.begin(), now.values.end(), looks.back().values.begin(), same)) {
    return;
  }
  // Temperature and humidity of one moment, or a quantity that came a little late.
  while (!looks.empty() && looks.back().from >= at) looks.pop_back();
  looks.push_back(now);
  if (looks.size() > kLooksForgottenAtOnce && looks[kLooksForgottenAtOnce].from < at - reach_) {
    looks.erase(looks.begin(), looks.begin() + kLooksForgottenAtOnce - 1);
  }
}

Signal SensorJudges::signal(std::size_t sensor, RuleQuantity quantity, Instant t) const {
  const std::vector<Look>& looks = sensors_[sensor].looks;
  const auto after = std::upper_bound(looks.begin(), looks.end(), t,
                                      [](Instant at, const Look& each) { return at < each.from; });
  Signal signal{kNoSpread, false, {}, after == looks.end() ? kNever : after->from};
  if (after == looks.begin()) return signal;
  const double value = (after - 1)->values[place_of(quantity)];
  if (source_of(quantity) != Source::judges_since) {
    signal.value = value;
  } else if (value == kNot) {
    signal.value = 0.0;
  } else if (!std::isnan(value)) {
    signal.ramps = true;
    signal.origin = instant_of(static_cast<std::int64_t>(value));
  }
  return signal;
}

SensorStanding SensorJudges::standing(std::size_t index, Instant now) const {
  const Sensor& sensor = sensors_[index];
  SensorStanding standing;
  const auto take = [&standing](const Judgement& judgement) {
    standing.doubts = static_cast<std::uint16_t>(standing.doubts | judgement.doubts);
    for (const std::string& reason : judgement.reasons) {
      const bool known = std::find(standing.reasons.begin(), standing.reasons.end(), reason) !=
                         standing.reasons.end();
      if (!known) standing.reasons.push_back(reason);
    }
  };
  if (sensor.check) standing.check = sensor.check->words();
  if (sensor.check && sensor.check->leaves_its_air()) {
    standing.doubts = kInCheck;
  } else {
    for (const Value& value : sensor.values) take(value.last);
  }
  take(sensor.whole.at(now));
  standing.interval = sensor.whole.learned_interval();
  return standing;
}

void SensorJudges::begin_check(std::size_t sensor, const CheckMeans& means, Instant start) {
  sensors_[sensor].check = GuidedCheck(means, start);
}

std::optional<GuidedCheck> SensorJudges::take_finished(std::size_t index) {
  Sensor& sensor = sensors_[index];
  if (!sensor.check || !sensor.check->take_end()) return std::nullopt;
  return sensor.check;
}

void SensorJudges::DayRange::add(Instant at, double value) {
  const std::int64_t hour = unix_ms(at) / kHourMs;
  if (hours.empty() || hours.back().hour < hour) hours.push_back({hour, value, value});
  hours.back().lowest = std::min(hours.back().lowest, value);
  hours.back().highest = std::max(hours.back().highest, value);
  const auto old = std::find_if(hours.begin(), hours.end(), [&](const Hour& each) {
    return each.hour + static_cast<std::int64_t>(kHoursOfDay) >= hour;
  });
  if (old != hours.begin()) hours.erase(hours.begin(), old);
}

double SensorJudges::DayRange::spread() const {
  if (hours.size() < kHoursOfDay) return kNoSpread;
  double lowest = hours.front().lowest, highest = hours.front().highest;
  for (const Hour& hour : hours) {
    lowest = std::min(lowest, hour.lowest);
    highest = std::max(highest, hour.highest);
  }
  return highest - lowest;
}

}  // namespace torpor::rules
