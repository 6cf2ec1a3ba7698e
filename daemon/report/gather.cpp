#include "daemon/report/gather.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <set>

#include "daemon/report/accuracy_words.h"
#include "daemon/report/alert_json.h"
#include "daemon/report/exposure_rows.h"
#include "daemon/report/jar_line.h"
#include "daemon/report/jar_standing_json.h"
#include "rules/air/psychrometrics.h"

namespace torpor::daemon {
namespace {

// The service keeps a jar's standing at least once an hour while it runs.
constexpr Duration kStandingKept = std::chrono::hours(2);
// Of a stretch as long as this every step is shown if they fit; of a longer one a day's extremes.
// As far back as the model has a checkpoint a day, it can begin anywhere at little cost.
constexpr Duration kSteppedWhole = kCheckpointsKept;
constexpr Duration kWeek = std::chrono::days(7);

// The newest reading of a quantity at `now`, whoever measured it before.
std::optional<Reading> newest(const Reader& history, std::string_view sensor, Quantity quantity,
                              Instant now) {
  return history.last_before(sensor, quantity, now + Duration(1));
}

// The newest trusted value that still holds, as the engine and the exposure see it: an untrusted
// reading neither says anything nor ends what was said before it.
std::optional<rules::HeldValue> held(const Reader& history, const rules::SensorSpec& sensor,
                                     Quantity quantity, const Calibrations& calibrations,
                                     Instant now) {
  auto reading = newest(history, sensor.id, quantity, now);
  while (reading && now < reading->measured_at + sensor.hold) {
    const Instant measured_at = reading->measured_at;
    if (reading->trusted()) {
      return rules::HeldValue{corrected(calibrations, *reading), measured_at,
                              measured_at + sensor.hold};
    }
    reading = history.last_before(sensor.id, quantity, measured_at);
  }
  return std::nullopt;
}

tl::expected<std::vector<AlertView>, Error> read_alerts(const Reader& history, bool open_only) {
  std::vector<AlertView> views;
  for (const StoredAlert& stored : history.alerts(open_only)) {
    auto view = alert_from_json(stored.body);
    if (!view) {
      return tl::unexpected(
          Error{ErrorKind::corrupt, fmt::format("alert {}: {}", stored.number, view.error())});
    }
    views.push_back(std::move(*view));
  }
  return views;
}

bool lists(const rules::Alert& alert, const std::string& jar) {
  return alert.subject == rules::Subject{rules::SubjectKind::jar, jar} ||
         std::find(alert.jars.begin(), alert.jars.end(), jar) != alert.jars.end();
}

bool touches(const rules::Alert& alert, Instant from, Instant to) {
  return alert.since <= to && (!alert.ended_at || *alert.ended_at >= from);
}

// Where the last kDetailedWeeks of the weeks that touch [from, to) begin.
Instant detailed_from(Instant from, Instant to) {
  const Instant grid = std::chrono::floor<std::chrono::days>(from);
  const std::int64_t begun = (to - grid + kWeek - Duration(1)) / kWeek;
  const auto detailed = static_cast<std::int64_t>(kDetailedWeeks);
  return std::max(from, grid + std::max<std::int64_t>(0, begun - detailed) * kWeek);
}

template <class Row>
void retired_last(std::vector<Row>& rows) {
  std::stable_partition(rows.begin(), rows.end(), [](const Row& row) {
    return row.standing.state != rules::culture::State::retired;
  });
}

bool retired(const Jar& jar, Instant now) { return jar.retired_at && *jar.retired_at <= now; }

}  // namespace

Instant shown_now(const config::Settings& settings, const Reader& history,
                  const ClockLook& clocks) {
  if (settings.clock == rules::Clock::wall) {
    const auto note = history.note(kClockNote);
    const auto kept = note ? kept_clock_from(*note) : std::nullopt;
    const bool goes_on = kept && is_same_start(*kept, clocks);
    return goes_on ? kept->time + (clocks.steady - kept->steady) : clocks.wall;
  }
  const auto newest = history.newest_measured();
  const Ahead ahead = ahead_from_json(history.note(kAheadNote).value_or(""));
  if (!newest || (ahead.empty() && *newest <= clocks.wall)) return newest.value_or(clocks.wall);
  std::optional<Instant> now;
  for (const std::string& sensor : history.known_sensors()) {
    const auto by = ahead.find(sensor);
    for (const QuantityFacts& row : quantities()) {
      const auto reading = history.last_before(sensor, row.quantity, Instant::max());
      if (!reading) continue;
      const Instant time = reading->measured_at - (by == ahead.end() ? Duration{} : by->second);
      now = std::max(now, std::optional(std::min(time, reading->received_at)));
    }
  }
  return now.value_or(*newest);
}

std::optional<Duration> silent_for(const config::Settings& settings, const Reader& history,
                                   Instant now) {
  const auto newest = history.newest_measured();
  if (!newest) return std::nullopt;
  if (settings.clock == rules::Clock::readings) return std::nullopt;
  Duration longest_hold{};
  for (const config::SensorSettings& sensor : settings.sensors) {
    longest_hold = std::max(longest_hold, sensor.spec.hold);
  }
  return now - *newest > longest_hold ? std::optional(now - *newest) : std::nullopt;
}

std::set<std::uint64_t> numbers_in(std::string_view list) {
  std::set<std::uint64_t> numbers;
  while (!list.empty()) {
    const std::size_t comma = std::min(list.find(','), list.size());
    std::uint64_t number = 0;
    const auto [end, error] = std::from_chars(list.data(), list.data() + comma, number);
    if (error == std::errc()) numbers.insert(number);
    list.remove_prefix(std::min(comma + 1, list.size()));
  }
  return numbers;
}

tl::expected<Ledger, Error> ledger_of(const Reader& history) {
  Ledger ledger;
  const std::set<std::uint64_t> left_out = numbers_in(history.note(kLeftOutNote).value_or(""));
  for (const JournalEntry& entry : history.journal()) {
    if (auto replayed = ledger.replay(entry); !replayed && !left_out.contains(entry.number)) {
      return tl::unexpected(Error{ErrorKind::corrupt, replayed.error()});
    }
  }
  return ledger;
}

AirFigures air_figures(const rules::Layout& layout, std::string_view place,
                       std::span<const rules::SensorAir> air, Instant now) {
  AirFigures figures;
  const rules::SpokenAir spoken = rules::spoken_air(rules::speakers_for(layout, place), air, now);
  figures.temperature = spoken.temperature;
  if (spoken.temperature_speaker) {
    figures.sensor = layout.sensors[*spoken.temperature_speaker].id;
    figures.measured_at = air[*spoken.temperature_speaker].temperature->measured_at;
  }
  if (spoken.humidity_speaker && spoken.humidity && spoken.humid_temperature) {
    figures.humidity = spoken.humidity;
    figures.humidity_sensor = layout.sensors[*spoken.humidity_speaker].id;
    const Pascal pressure =
        rules::air::vapour_pressure(*spoken.humid_temperature, *spoken.humidity);
    figures.vapour_pressure = pressure;
    figures.absolute_humidity = rules::air::absolute_humidity(*spoken.humid_temperature, pressure);
    if (pressure.value() > 0) figures.dew_point = rules::air::dew_point(pressure);
  }
  return figures;
}

Gathering::Gathering(const config::Settings& settings, const Reader& history, const Ledger& ledger,
                     Instant now)
    : settings_(&settings),
      history_(&history),
      ledger_(&ledger),
      now_(now),
      layout_(settings.layout()),
      placements_(history.placements()),
      stood_air_(history, layout_.places, placements_, ledger.calibrations()),
      standings_(standings_from_json(history.note(kStandingsNote).value_or(""))) {
  for (rules::SensorSpec& sensor : layout_.sensors) {
    const auto dated = std::find_if(placements_.rbegin(), placements_.rend(),
                                    [&](const auto& each) { return each.spec.id == sensor.id; });
    if (dated != placements_.rend()) sensor = rules::with_learned(sensor, dated->spec);
    const auto& calibrations = ledger.calibrations();
    air_.push_back({held(history, sensor, Quantity::temperature, calibrations, now),
                    held(history, sensor, Quantity::humidity, calibrations, now)});
  }
  for (const auto& [id, jar] : ledger.jars()) {
    const Stay* stay = retired(jar, now) ? nullptr : jar.stay_at(now);
    if (stay != nullptr) standing_[stay->place].push_back(id);
  }
}

const AirFigures& Gathering::air_at(const std::string& place) const {
  const auto known = air_at_.find(place);
  if (known != air_at_.end()) return known->second;
  return air_at_.emplace(place, air_figures(layout_, place, air_, now_)).first->second;
}

tl::expected<Gathering, Error> Gathering::of(const config::Settings& settings,
                                             const Reader& history, const Ledger& ledger,
                                             Instant now) {
  Gathering gathering(settings, history, ledger, now);
  auto alerts = read_alerts(history, true);
  if (!alerts) return tl::unexpected(alerts.error());
  gathering.open_alerts_ = std::move(*alerts);
  return gathering;
}

std::vector<std::uint64_t> Gathering::alerts_about(const rules::Subject& subject) const {
  std::vector<std::uint64_t> numbers;
  for (const AlertView& view : open_alerts_) {
    const rules::Alert& alert = view.alert;
    const bool above = subject.kind == rules::SubjectKind::place &&
                       alert.subject.kind == rules::SubjectKind::place &&
                       rules::is_at_or_below(subject.id, alert.subject.id);
    const bool listed = subject.kind == rules::SubjectKind::jar && lists(alert, subject.id);
    if (alert.subject == subject || above || listed) numbers.push_back(alert.number);
  }
  return numbers;
}

JarLife Gathering::life_of(const Jar& jar, std::span<const Jar> split_line) const {
  return JarLife(jar, split_line, stood_air_, settings_->cultures.for_stage(jar.made.stage));
}

JarView Gathering::jar(const Jar& jar) const {
  const std::vector<Jar> line = ledger_->split_line(jar);
  return view_of(jar, life_of(jar, line).at(now_), now_);
}

std::optional<rules::Standing> Gathering::kept_standing(const Jar& jar) const {
  if (retired(jar, now_)) return std::nullopt;
  const auto kept = history_->note(standing_note(jar.made.jar));
  if (!kept) return std::nullopt;
  auto standing = jar_standing_from_json(*kept);
  if (!standing || now_ > standing->as_of + kStandingKept) return std::nullopt;
  return std::move(*standing);
}

rules::Standing Gathering::worked_out_standing(const Jar& jar, const JarView& view,
                                               const rules::culture::Verdict& verdict) const {
  std::vector<rules::StandingAlert> alerts;
  if (!view.past && !retired(jar, now_)) {
    for (const AlertView& each : open_alerts_) {
      const bool stands = each.alert.state == rules::AlertState::standing;
      if (stands && lists(each.alert, view.jar)) alerts.push_back(standing_alert(each.alert));
    }
  }
  rules::StandingScene scene;
  scene.jar = view.jar;
  scene.place = view.place;
  scene.verdict = &verdict;
  scene.as_of = view.as_of;
  scene.spoilage = ledger_->spoilage_of(jar);
  if (scene.spoilage && scene.spoilage->at > view.as_of) scene.spoilage.reset();
  scene.gas_tight = !rules::culture::facts(verdict.figures.cover).vents_gas;
  scene.alerts = alerts;
  rules::Standing standing = rules::standing_of(scene);
  if (view.past) {
    standing.deed.reset();
    standing.next.reset();
    standing.urgency.reset();
    standing.next_date.reset();
  }
  return standing;
}

void Gathering::fill(JarRow& row, const Jar& jar) const {
  row.jar = jar.made.jar;
  row.stage = jar.made.stage;
  if (retired(jar, now_)) return;
  if (const Stay* stay = jar.stay_at(now_)) {
    row.place = stay->place;
    row.air = air_at(stay->place);
  }
  row.alerts = alerts_about({rules::SubjectKind::jar, row.jar});
}

JarView Gathering::view_of(const Jar& jar, const rules::culture::JarModel& model,
                           Instant as_of) const {
  JarView view;
  fill(view, jar);
  view.closed = jar.closed();
  view.retired_at = jar.retired_at;
  view.as_of = as_of;
  view.past = as_of < now_ && !retired(jar, now_);
  view.figures = model.figures();
  view.unknown = rules::culture::unknowable(model.recipe());
  if (view.closed < now_) view.coverage_percent = view.figures.coverage_percent;
  auto kept = view.past ? std::nullopt : kept_standing(jar);
  view.standing = kept ? std::move(*kept) : worked_out_standing(jar, view, model.verdict());
  return view;
}

std::vector<JarView> Gathering::jars() const {
  std::vector<JarView> views;
  for (const auto& [id, known] : ledger_->jars()) views.push_back(jar(known));
  retired_last(views);
  return views;
}

std::vector<JarRow> Gathering::jar_rows() const {
  std::vector<JarRow> rows;
  for (const auto& [id, known] : ledger_->jars()) {
    auto kept = kept_standing(known);
    if (!kept) {
      rows.push_back(jar(known));
      continue;
    }
    JarRow& row = rows.emplace_back();
    fill(row, known);
    if (known.closed() < now_) row.coverage_percent = kept->coverage_percent;
    row.standing = std::move(*kept);
  }
  retired_last(rows);
  return rows;
}

PlaceView Gathering::view_of(const rules::PlaceSpec& place) const {
  PlaceView view;
  view.path = place.path;
  view.outside = place.outside;
  view.as_of = now_;
  view.air = air_at(place.path);
  for (const rules::SensorSpec& sensor : layout_.sensors) {
    if (sensor.place == place.path) view.sensors.push_back(sensor.id);
  }
  const auto standing = standing_.find(place.path);
  if (standing != standing_.end()) view.jars = standing->second;
  view.alerts = alerts_about({rules::SubjectKind::place, place.path});
  return view;
}

std::vector<PlaceView> Gathering::places() const {
  std::vector<PlaceView> views;
  views.reserve(layout_.places.size());
  for (const rules::PlaceSpec& place : layout_.places) views.push_back(view_of(place));
  return views;
}

std::optional<PlaceView> Gathering::place(std::string_view path) const {
  for (const rules::PlaceSpec& place : layout_.places) {
    if (place.path == path) return view_of(place);
  }
  return std::nullopt;
}

std::optional<SensorView> Gathering::sensor(std::string_view id) const {
  for (const rules::SensorSpec& spec : layout_.sensors) {
    if (spec.id == id) return view_of(spec);
  }
  return std::nullopt;
}

SensorView Gathering::view_of(const rules::SensorSpec& spec) const {
  SensorView view;
  view.id = spec.id;
  view.place = spec.place;
  view.jar = spec.jar;
  view.senses = spec.senses;
  view.as_of = now_;
  view.expected_interval = spec.expected_interval;
  view.hold = spec.hold;
  for (const QuantityFacts& fact : quantities()) {
    const auto reading = newest(*history_, spec.id, fact.quantity, now_);
    if (!reading) continue;
    view.readings.push_back({fact.quantity, corrected(ledger_->calibrations(), *reading),
                             reading->value(), reading->measured_at, reading->trusted()});
    if (fact.of_sensor) continue;
    const bool live = now_ < reading->measured_at + spec.hold;
    if (view.state != SensorState::live) {
      view.state = live ? SensorState::live : SensorState::silent;
    }
  }
  const auto standing = standings_.find(spec.id);
  if (standing != standings_.end()) view.standing = standing->second;
  view.accuracy = accuracy_of(*ledger_, spec, now_);
  view.alerts = alerts_about({rules::SubjectKind::sensor, spec.id});
  return view;
}

std::vector<SensorView> Gathering::sensors() const {
  std::vector<SensorView> views;
  views.reserve(layout_.sensors.size());
  for (const rules::SensorSpec& spec : layout_.sensors) views.push_back(view_of(spec));
  for (const std::string& id : history_->known_sensors()) {
    const auto configured =
        std::find_if(layout_.sensors.begin(), layout_.sensors.end(),
                     [&](const rules::SensorSpec& spec) { return spec.id == id; });
    if (configured != layout_.sensors.end()) continue;
    // Its last placement says where it used to hang.
    rules::SensorSpec spec;
    for (const Placement& placement : placements_) {
      if (placement.spec.id == id) spec = placement.spec;
    }
    spec.id = id;
    SensorView view = view_of(spec);
    view.state = SensorState::not_configured;
    view.expected_interval = view.hold = std::nullopt;
    views.push_back(std::move(view));
  }
  return views;
}

tl::expected<std::vector<AlertView>, Error> Gathering::all_alerts() const {
  return read_alerts(*history_, false);
}

Gathering::Stretch Gathering::stretch(const Jar& jar, const HistoryRange& range) const {
  const Instant end = retired(jar, now_) ? *jar.retired_at : now_;
  const Instant to = std::min(range.to.value_or(end), now_);
  return {std::min(range.from.value_or(jar.closed()), to), to};
}

// A jar that was moved away while an alert stood is no longer in the alert's last list.
tl::expected<bool, Error> Gathering::ever_listed(const AlertView& view,
                                                 const std::string& jar) const {
  if (lists(view.alert, jar)) return true;
  for (const StoredAlertChange& change : history_->alert_changes(view.alert.number)) {
    const auto past = alert_from_json(change.body);
    if (!past) {
      return tl::unexpected(Error{ErrorKind::corrupt, fmt::format("a change of alert {}: {}",
                                                                  change.number, past.error())});
    }
    if (lists(past->alert, jar)) return true;
  }
  return false;
}

tl::expected<std::vector<AlertView>, Error> Gathering::alerts_of(const std::string& jar,
                                                                 Stretch stretch) const {
  auto views = all_alerts();
  if (!views) return views;
  std::vector<AlertView> concerned;
  for (AlertView& view : *views) {
    if (!touches(view.alert, stretch.from, stretch.to)) continue;
    const auto listed = ever_listed(view, jar);
    if (!listed) return tl::unexpected(listed.error());
    if (*listed) concerned.push_back(std::move(view));
  }
  return concerned;
}

std::vector<JournalEntry> Gathering::journal_of(const Jar& jar) const {
  const std::set<std::uint64_t> about = ledger_->entries_about(jar.made.jar);
  std::vector<JournalEntry> entries;
  for (JournalEntry& entry : history_->journal()) {
    if (about.count(entry.number) == 0) continue;
    entry.happened_at = ledger_->happened_at(entry.number).value_or(entry.happened_at);
    entries.push_back(std::move(entry));
  }
  return entries;
}

ActivityLimits Gathering::limits_of(const Jar& jar) const {
  namespace culture = rules::culture;
  const auto profile = settings_->cultures.for_stage(jar.made.stage);
  const auto ensemble = [&profile](double culture::Parameters::*figure) {
    return culture::Ensemble{profile->sets[culture::kCautious].*figure,
                             profile->sets[culture::kLikely].*figure,
                             profile->sets[culture::kHopeful].*figure};
  };
  return {ensemble(&culture::Parameters::mould_a_min), ensemble(&culture::Parameters::yeast_a_min)};
}

// Every step of the air is seen, and the model at equal distances.
rules::culture::JarModel Gathering::add_steps(JarHistoryView& view, const Jar& jar, Stretch when,
                                              const HistoryRange& range) const {
  StepRows steps(when.from, when.to);
  std::optional<IntervalRows> intervals;
  if (range.every) intervals.emplace(when.from, *range.every);
  RangeRows weeks(when.from, when.to, kWeek);
  RangeRows half_days(detailed_from(when.from, when.to), when.to, kHalfDay);
  const Duration slice =
      std::max<Duration>((when.to - when.from) / range.curve_points, Duration(1));
  // Rounding up keeps a remainder from becoming one more slice.
  RangeRows slices(when.from, when.to, slice + Duration(1), when.from);
  view.summary = stood_air_.walk(jar, when.from, when.to, [&](const ExposureStep& step) {
    if (intervals) {
      intervals->add(step);
    } else {
      steps.add(step);
    }
    weeks.add(step);
    half_days.add(step);
    slices.add(step);
  });
  view.exposure = intervals ? intervals->take() : steps.take();
  view.weeks = weeks.take();
  view.half_days = half_days.take();
  view.slices = slices.take();
  const std::vector<Jar> line = ledger_->split_line(jar);
  return life_of(jar, line).walk(
      when.from, when.to, slice,
      [&view](const rules::culture::JarModel& model) { view.life.push_back(life_point(model)); });
}

// Day by day: those that are stored cost nothing.
rules::culture::JarModel Gathering::add_days(JarHistoryView& view, const Jar& jar, Stretch when,
                                             const HistoryRange& range) const {
  using std::chrono::days;
  StepRows steps(when.from, when.to);
  RangeRows weeks(when.from, when.to, kWeek);
  const Instant detailed = detailed_from(when.from, when.to);
  RangeRows half_days(detailed, when.to, kHalfDay);
  const std::int64_t length = std::chrono::ceil<days>(when.to - when.from).count();
  RangeRows slices(when.from, when.to, days(length / range.curve_points + 1));
  ExposureTotals totals;
  const std::vector<Jar> line = ledger_->split_line(jar);
  rules::culture::JarModel last =
      life_of(jar, line).days(when.from, when.to, [&](const JarDay& day, bool) {
        totals.add(day.air);
        for (const HalfDay& half : day.halves) {
          for (const ExposureStep& step : half.steps) steps.add(step);
          weeks.add(half);
          slices.add(half);
          if (half.from >= detailed) half_days.add(half);
        }
        view.life.push_back(day.end);
      });
  view.summary = totals.summary(when.from, when.to);
  view.exposure = steps.take();
  view.weeks = weeks.take();
  view.half_days = half_days.take();
  view.slices = slices.take();
  return last;
}

tl::expected<JarHistoryView, Error> Gathering::jar_history(const Jar& jar,
                                                           const HistoryRange& range) const {
  const Stretch when = stretch(jar, range);
  JarHistoryView view;
  view.made = jar.made;
  view.events = jar.events;
  view.limits = limits_of(jar);
  for (const Stay& stay : jar.stays) {
    if (stay.from <= when.to && (!stay.to || *stay.to > when.from)) view.stays.push_back(stay);
  }
  const bool whole = range.every || when.to - when.from <= kSteppedWhole;
  const rules::culture::JarModel last =
      whole ? add_steps(view, jar, when, range) : add_days(view, jar, when, range);
  view.jar = view_of(jar, last, when.to);

  auto alerts = alerts_of(jar.made.jar, when);
  if (!alerts) return tl::unexpected(alerts.error());
  view.alerts = std::move(*alerts);
  view.journal = journal_of(jar);
  for (const JournalEntry& entry : view.journal) {
    if (const auto by = ledger_->withdrawn_by(entry.number)) view.withdrawn[entry.number] = *by;
  }
  view.line = line_of(*ledger_, jar);
  return view;
}

}  // namespace torpor::daemon
