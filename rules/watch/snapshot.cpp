// The engine as bytes and back. CBOR (RFC 8949) of:
//
//   { "format": "torpor watch", "version": 4, "now": ms|null, "link": [[ms, connected]...],
//     "link_before_time": bool|null, "next_alert": n,
//     "disk": [[ms, % free]...], "clock_steps": [[ms, amount]...], "disk_before_time": %|null,
//     "rules":     [[name, conditions]...]                       what "instances" count by
//     "sensors":   [[id, first_known|null, [[ms, quantity]...], [reading...], [reading...]]...]
//     "airs":      [[[sensor id...], newest|null,
//                    [[ms, position, quantity, value, error, hold ms]...],
//                    [[window, steps]...], lately]...]
//     "figures":   [name...]                                     what [value...] below counts by
//     "jars":      [[id, [[ms, place, told ms]...], retired_at|null, retired,
//                    [stage, recipe, [told...], revision, [outdated, from, until], headspace_at,
//                     [ms, [value...], open_since|null, forecast_at, temperature, closed_at,
//                      looked_at],
//                     [jar split off...]]|null,
//                    [ms, sign, jar, entry]|null,                 what spoiled it
//                    [remedy, urgency, ms]|null]...]              what was last said of it
//     "instances": [[rule, kind, id, start|null, settled|null, settled_due, frozen, due,
//                    [[from, met, met_since, [since, banked...]]...]]...]
//     "judges":    {...}                                          see sensor_judges_snapshot.cpp
//     "alerts":    [{...}...], "delivered": [ms...], "flood_until": ms|null,
//     "leap":      [from ms, until ms, due ms]                   nobody watched; said when due
//     "unsaid":    [[rule, jar]...],                             met, and explained until lately
//     "clock":     [[id, ahead ms, behind, by ms]...]            under Clock::readings }
//
// A window is named by its canonical words; its steps are bytes: for each, what was added to the
// time (ms) and the value (millionths; the least number is unknown) of the one before, both as
// zigzag varints (varint.h), as wrapped 64-bit sums from zero.
//
// Times are Unix milliseconds, values in canonical units, indices positions in the same snapshot.
// What is a function of these (the moments of an air, timers, who depends on what) is rebuilt.
// A change of meaning takes a new version; an older one must stay readable. In version 1 the jars
// had no models; up to version 2 a remedy was its number alone, in version 3 its number and words,
// and figures were unnamed. What was added since without a new meaning may be missing. The models
// themselves are kept beside the snapshot: see watch.h.
#include <nlohmann/json.hpp>

#include <algorithm>
#include <limits>

#include "rules/watch/core.h"
#include "rules/watch/saved_json.h"
#include "rules/watch/varint.h"

namespace torpor::rules {
namespace {

using nlohmann::json;

constexpr const char* kFormat = "torpor watch";
constexpr int kVersion = 4;
constexpr int kOldestVersion = 1;

// A figure that is not named is unknown until the next look.
std::vector<std::optional<RuleQuantity>> figures_of(const json& root) {
  using enum RuleQuantity;
  const auto named = root.find("figures");
  if (named == root.end()) {  // as until version 3; the places of durations were never used
    return {jar_temperature,     self_heating,  outer_dew_margin, inner_dew_margin,
            surface_activity,    body_activity, water_gained,     water_buffer,
            wake_progress,       slow_work,     time_to_wake,     sugar_shortfall,
            kinetic_temperature, std::nullopt,  waking_signs,     gas_tight_lid};
  }
  std::vector<std::optional<RuleQuantity>> order;
  for (const json& name : *named) {
    const RuleQuantityFacts* row = find_rule_quantity(Scope::jar, name.get<std::string>());
    const bool known =
        row != nullptr && (row->source == Source::model || row->source == Source::forecast);
    order.push_back(known ? std::optional(row->quantity) : std::nullopt);
  }
  return order;
}

json to_json(Instant t) { return unix_ms(t); }
json to_json(const std::optional<Instant>& t) { return t ? json(unix_ms(*t)) : json(nullptr); }
std::optional<Instant> maybe_instant(const json& j) {
  return j.is_null() ? std::nullopt : std::optional(instant_from(j));
}

json to_json(const Reading& reading) {
  return {static_cast<int>(reading.quantity), reading.raw,
          static_cast<int>(reading.unit),     unix_ms(reading.measured_at),
          unix_ms(reading.received_at),       reading.marks};
}

Reading reading_from(const json& j, const std::string& sensor) {
  Reading reading;
  reading.sensor = sensor;
  reading.quantity = quantity_from(j.at(0));
  reading.raw = j.at(1).get<double>();
  reading.unit = enum_from(j.at(2), Unit::celsius, Unit::percent);
  reading.measured_at = instant_from(j.at(3));
  reading.received_at = instant_from(j.at(4));
  reading.marks = whole_from<std::uint8_t>(j.at(5));
  return reading;
}

json to_json(const std::string& id, const SensorTrack& track) {
  json spoken = json::array(), newest = json::array(), trusted = json::array();
  for (const auto& each : track.spoken()) {
    spoken.push_back({unix_ms(each.at), static_cast<int>(each.quantity)});
  }
  for (const QuantityFacts& row : quantities()) {
    if (const auto& reading = track.newest(row.quantity)) newest.push_back(to_json(*reading));
    if (const auto& reading = track.newest_trusted(row.quantity)) {
      trusted.push_back(to_json(*reading));
    }
  }
  return {id, to_json(track.first_known), spoken, newest, trusted};
}

void read_track(const json& j, SensorTrack& track) {
  const auto id = j.at(0).get<std::string>();
  std::vector<SensorTrack::Spoken> spoken;
  std::vector<Reading> newest, trusted;
  for (const json& each : j.at(2)) {
    spoken.push_back({instant_from(each.at(0)), quantity_from(each.at(1))});
  }
  for (const json& each : j.at(3)) newest.push_back(reading_from(each, id));
  for (const json& each : j.at(4)) trusted.push_back(reading_from(each, id));
  track.first_known = maybe_instant(j.at(1));
  track.restore(std::move(spoken), newest, trusted);
}

std::int64_t take_number(std::span<const std::uint8_t> bytes, std::size_t& at) {
  const auto zigzag = take_varint(bytes, at);
  if (!zigzag) throw std::out_of_range("steps");
  return number_of_zigzag(*zigzag);
}

json to_json(const WindowTrack& track) {
  std::vector<std::uint8_t> bytes;
  std::int64_t at = 0, value = 0;
  for (const WindowTrack::Step& step : track.steps()) {
    put_zigzag(bytes, wrapped_difference(unix_ms(step.from), at));
    put_zigzag(bytes, wrapped_difference(step.value, value));
    at = unix_ms(step.from);
    value = step.value;
  }
  return json::binary(std::move(bytes));
}

// Millionths of anything that is measured here are less.
constexpr std::int64_t kLargestValue = std::int64_t{1} << 60;

void read_steps(const json& j, WindowTrack& track) {
  const std::vector<std::uint8_t>& bytes = j.get_binary();
  std::vector<WindowTrack::Step> steps;
  std::int64_t ms = 0, value = 0;
  for (std::size_t at = 0; at < bytes.size();) {
    ms = wrapped_sum(ms, take_number(bytes, at));
    value = wrapped_sum(value, take_number(bytes, at));
    const Instant from = instant_or(kAlways, json(ms));
    const bool in_order = steps.empty() || from > steps.back().from;
    const bool known = value != WindowTrack::kUnknown;
    const bool summable = from != kAlways && value >= -kLargestValue && value <= kLargestValue;
    if (!in_order || (known && !summable)) throw std::out_of_range("steps");
    steps.push_back({from, value});
  }
  if (steps.empty()) throw std::out_of_range("steps");
  track.restore(steps);
}

json to_json(const AirTimeline& timeline, const Layout& layout) {
  json speakers = json::array(), kept = json::array();
  for (const std::size_t speaker : timeline.speakers()) {
    speakers.push_back(layout.sensors[speaker].id);
  }
  for (const AirReading& each : timeline.kept()) {
    kept.push_back({unix_ms(each.at), each.speaker, static_cast<int>(each.quantity), each.value,
                    each.error, each.hold.count()});
  }
  return {speakers, to_json(timeline.newest()), kept};
}

// An older snapshot has no errors and no holds.
void read_timeline(const json& j, AirTimeline& timeline, const Layout& layout) {
  std::vector<AirReading> kept;
  for (const json& each : j.at(2)) {
    kept.push_back({instant_from(each.at(0)), whole_from<std::uint32_t>(each.at(1)),
                    quantity_from(each.at(2)), each.at(3).get<double>(),
                    each.size() > 4 ? each.at(4).get<double>() : 0.0});
    const std::size_t speaker = timeline.speakers().at(kept.back().speaker);
    kept.back().hold = each.size() > 5 ? duration_from(each.at(5)) : layout.sensors[speaker].hold;
  }
  timeline.restore(kept, maybe_instant(j.at(1)));
}

json to_json(const LatelyAir& lately) {
  const LatelyAir::Saved& saved = lately.save();
  json day = json::array();
  for (const LatelyAir::Hour& hour : saved.day) {
    if (!hour.known) {
      day.push_back(nullptr);
    } else if (hour.humid) {
      day.push_back({hour.temperature, hour.vapour});
    } else {
      day.push_back(json::array({hour.temperature}));
    }
  }
  return {to_json(saved.settled), saved.hours,  saved.temperature,
          saved.humid_hours,      saved.vapour, day};
}

void read_lately(const json& j, LatelyAir& lately) {
  LatelyAir::Saved saved;
  saved.settled = maybe_instant(j.at(0));
  saved.hours = j.at(1).get<double>();
  saved.temperature = j.at(2).get<double>();
  saved.humid_hours = j.at(3).get<double>();
  saved.vapour = j.at(4).get<double>();
  for (std::size_t i = 0; i < saved.day.size(); ++i) {
    const json& hour = j.at(5).at(i);
    if (hour.is_null()) continue;
    saved.day[i].known = true;
    saved.day[i].temperature = hour.at(0).get<float>();
    saved.day[i].humid = hour.size() > 1;
    if (saved.day[i].humid) saved.day[i].vapour = hour.at(1).get<float>();
  }
  lately.restore(saved);
}

json to_json(const JarRecord& jar) {
  json stays = json::array();
  for (const JarStay& stay : jar.stays)
    stays.push_back({unix_ms(stay.from), stay.place, unix_ms(stay.told)});
  return {jar.id, stays, to_json(jar.retired_at), jar.retired};
}

JarRecord jar_from(const json& j) {
  JarRecord jar;
  jar.id = j.at(0).get<std::string>();
  for (const json& stay : j.at(1)) {
    const Instant from = instant_from(stay.at(0));
    const Instant told = stay.size() > 2 ? instant_from(stay.at(2)) : from;
    jar.stays.push_back({from, stay.at(1).get<std::string>(), told});
  }
  if (jar.stays.empty()) throw std::out_of_range("stays");
  jar.retired_at = maybe_instant(j.at(2));
  jar.retired = j.at(3).get<bool>();
  return jar;
}

json to_json(const Spoilage& spoilage) {
  return {unix_ms(spoilage.at), static_cast<int>(spoilage.sign), spoilage.jar, spoilage.entry};
}

Spoilage spoilage_from(const json& j) {
  return {instant_from(j.at(0)), enum_from(j.at(1), culture::Sign::bubbling, culture::Sign::larvae),
          j.at(2).get<std::string>(), whole_from<std::uint64_t>(j.at(3))};
}

json to_json(const RuleInstance::Entry& entry) {
  json lastings = json::array();
  for (const LastingState& each : entry.state.lastings) {
    lastings.push_back(unix_ms(each.since));
    lastings.push_back(each.banked.count());
  }
  return {unix_ms(entry.from), entry.state.met, unix_ms(entry.state.met_since), lastings};
}

RuleInstance::Entry entry_from(const json& j) {
  RuleInstance::Entry entry;
  entry.from = instant_from(j.at(0));
  entry.state.met = j.at(1).get<bool>();
  entry.state.met_since = instant_from(j.at(2));
  const json& lastings = j.at(3);
  for (std::size_t i = 0; i + 1 < lastings.size(); i += 2) {
    entry.state.lastings.push_back(
        {instant_or(kAlways, lastings[i]), duration_from(lastings[i + 1])});
  }
  return entry;
}

RuleInstance::Saved saved_from(const json& j) {
  RuleInstance::Saved saved;
  saved.start = maybe_instant(j.at(3));
  saved.settled = maybe_instant(j.at(4));
  saved.settled_due = instant_or(kNever, j.at(5));
  saved.frozen = instant_or(kAlways, j.at(6));
  for (const json& entry : j.at(8)) saved.log.push_back(entry_from(entry));
  if (saved.settled && saved.log.empty()) throw std::out_of_range("log");
  return saved;
}

json to_json(const Figure& figure) {
  return {figure.name, figure.value ? json(*figure.value) : json(nullptr), figure.unit};
}

Figure figure_from(const json& j) {
  return {j.at(0).get<std::string>(),
          j.at(1).is_null() ? std::nullopt : std::optional(j.at(1).get<double>()),
          j.at(2).get<std::string>()};
}

Remedy remedy_from(const json& j) {
  using enum Remedy;
  // As numbered before they were stored by name.
  static constexpr Remedy kNumbered[] = {add_sugar,   move,           vent,        keep_room_shut,
                                         dry_air,     ease_lid,       renew_cover, shade,
                                         look,        wake_test,      use_first,   check_sensor,
                                         check_board, change_battery, carry_out,   renew_vessel};
  if (!j.is_string()) {
    const auto number = whole_from<std::size_t>(j);
    if (number >= std::size(kNumbered)) throw std::out_of_range("remedy");
    return kNumbered[number];
  }
  const auto named = remedy_named(j.get<std::string>());
  if (!named) throw std::out_of_range("remedy");
  return *named;
}

// An earlier version stored a remedy alone, without its words.
Advice advice_from(const json& j) {
  const Remedy remedy = remedy_from(j.is_array() ? j.at(0) : j);
  if (!j.is_array()) return {remedy, std::string(remedy_sentence(remedy)), {}};
  Advice advice{remedy, j.at(1).get<std::string>(), {}};
  for (const json& amount : j.at(2)) advice.amounts.push_back(figure_from(amount));
  return advice;
}

json to_json(const OpenAlert& open) {
  const Alert& alert = open.alert;
  json figures = json::array(), remedies = json::array(), symptoms = json::array();
  for (const Symptom& each : alert.symptoms) {
    symptoms.push_back({each.jar, each.rule, each.what});
  }
  for (const Figure& each : alert.figures) figures.push_back(to_json(each));
  for (const Advice& each : alert.remedies) {
    json amounts = json::array();
    for (const Figure& amount : each.amounts) amounts.push_back(to_json(amount));
    remedies.push_back({remedy_name(each.remedy), each.words, amounts});
  }
  return {{"number", alert.number},
          {"rule", alert.rule},
          {"kind", static_cast<int>(alert.subject.kind)},
          {"id", alert.subject.id},
          {"urgency", static_cast<int>(alert.urgency)},
          {"state", static_cast<int>(alert.state)},
          {"since", to_json(alert.since)},
          {"raised_at", to_json(alert.raised_at)},
          {"eased_at", to_json(alert.eased_at)},
          {"seen_at", to_json(alert.seen_at)},
          {"seen_by", alert.seen_by},
          {"deferred_until", to_json(alert.deferred_until)},
          {"deferred_reason", alert.deferred_reason},
          {"what", alert.what},
          {"why", alert.why},
          {"outlook", alert.outlook},
          {"worst", alert.worst ? to_json(*alert.worst) : json(nullptr)},
          {"worst_at", to_json(alert.worst_at)},
          {"remedies", remedies},
          {"jars", alert.jars},
          {"symptoms", symptoms},
          {"figures", figures},
          {"standing", open.standing},
          {"joined", open.joined},
          {"notices", open.notices},
          {"last_notice", to_json(open.last_notice)},
          {"notice_due", to_json(open.notice_due)},
          {"described_at", to_json(open.described_at)},
          {"risen_unsaid", open.risen_unsaid}};
}

OpenAlert alert_from(const json& j) {
  OpenAlert open;
  Alert& alert = open.alert;
  alert.number = whole_from<std::uint64_t>(j.at("number"));
  alert.rule = j.at("rule").get<std::string>();
  alert.subject = {enum_from(j.at("kind"), SubjectKind::place, SubjectKind::service),
                   j.at("id").get<std::string>()};
  alert.urgency = enum_from(j.at("urgency"), Urgency::now, Urgency::this_week);
  alert.state = enum_from(j.at("state"), AlertState::standing, AlertState::ended);
  alert.since = instant_from(j.at("since"));
  alert.raised_at = instant_from(j.at("raised_at"));
  alert.eased_at = maybe_instant(j.at("eased_at"));
  if (alert.state == AlertState::eased && !alert.eased_at) throw std::out_of_range("eased_at");
  alert.seen_at = maybe_instant(j.at("seen_at"));
  alert.seen_by = j.at("seen_by").get<std::string>();
  if (j.contains("deferred_until")) {
    alert.deferred_until = maybe_instant(j.at("deferred_until"));
    alert.deferred_reason = j.at("deferred_reason").get<std::string>();
  }
  alert.what = j.at("what").get<std::string>();
  alert.why = j.at("why").get<std::string>();
  for (const json& each : j.at("remedies")) alert.remedies.push_back(advice_from(each));
  if (j.contains("outlook")) {
    alert.outlook = j.at("outlook").get<std::string>();
    if (!j.at("worst").is_null()) alert.worst = figure_from(j.at("worst"));
    alert.worst_at = maybe_instant(j.at("worst_at"));
    open.risen_unsaid = j.at("risen_unsaid").get<bool>();
  }
  alert.jars = j.at("jars").get<std::vector<std::string>>();
  if (j.contains("symptoms")) {
    for (const json& each : j.at("symptoms")) {
      alert.symptoms.push_back({each.at(0).get<std::string>(), each.at(1).get<std::string>(),
                                each.at(2).get<std::string>()});
    }
  }
  for (const json& each : j.at("figures")) alert.figures.push_back(figure_from(each));
  open.standing = j.at("standing").get<std::set<std::string>>();
  open.joined = j.at("joined").get<std::set<std::string>>();
  open.notices = whole_from<int>(j.at("notices"));
  open.last_notice = maybe_instant(j.at("last_notice"));
  open.notice_due = instant_or(kNever, j.at("notice_due"));
  if (j.contains("described_at")) open.described_at = instant_or(kAlways, j.at("described_at"));
  return open;
}

// One map in CBOR (RFC 8949), written piece by piece in its forms without a length: every minute,
// and as one tree the engine's state takes ten times the memory of its bytes.
class MapWriter {
 public:
  MapWriter() : bytes_{kBeginMap} {}

  void put(const char* key, const json& value) {
    json::to_cbor(key, bytes_);
    json::to_cbor(value, bytes_);
  }
  template <class Range, class Make>
  void put_each(const char* key, Range& range, const Make& make) {
    json::to_cbor(key, bytes_);
    bytes_.push_back(kBeginArray);
    for (auto& each : range) json::to_cbor(make(each), bytes_);
    bytes_.push_back(kEnd);
  }
  std::string take() {
    bytes_.push_back(kEnd);
    return std::move(bytes_);
  }

 private:
  static constexpr char kBeginMap = '\xbf', kBeginArray = '\x9f', kEnd = '\xff';
  std::string bytes_;
};

// Finds a saved instance: by rule, kind and id.
using InstanceKey = std::tuple<std::string, int, std::string>;

}  // namespace

json Watch::Core::instance_json(Instance& instance) const {
  catch_up(instance);
  // Whoever starts from this does not lie yet.
  const bool lies = instance.calm != nullptr && instance.calm->lies;
  const Instant due = lies ? head_of(instance).next.due : instance.due;
  const RuleInstance::Saved saved = instance.machine.save();
  json log = json::array();
  for (const auto& entry : saved.log) log.push_back(to_json(entry));
  return {instance.rule,
          static_cast<int>(instance.subject.kind),
          instance.subject.id,
          to_json(saved.start),
          to_json(saved.settled),
          to_json(saved.settled_due),
          to_json(saved.frozen),
          to_json(due),
          log};
}

std::string Watch::Core::snapshot() const {
  MapWriter map;
  map.put("format", kFormat);
  map.put("version", kVersion);
  map.put("now", to_json(now_));
  map.put("link_before_time", link_before_time_ ? json(*link_before_time_) : json(nullptr));
  map.put("next_alert", alerts_.next_number());
  map.put_each("link", link_, [](const LinkEvent& event) {
    return json{unix_ms(event.at), event.connected};
  });
  map.put_each("rules", rules_, [](const RunningRule& rule) {
    return json{rule.rule->name, conditions_text(*rule.rule)};
  });
  map.put_each("sensors", sensors_, [&](const Sensor& sensor) {
    const auto index = static_cast<std::size_t>(&sensor - sensors_.data());
    return to_json(settings_.layout.sensors[index].id, sensor.track);
  });
  map.put_each("airs", airs_, [&](Air& air) {
    track_rest(air);
    json each = to_json(air.timeline, settings_.layout), tracks = json::array();
    for (const auto& [window, track] : air.tracks) {
      tracks.push_back({to_text(*windows_[window]), to_json(track)});
    }
    each.push_back(std::move(tracks));
    each.push_back(to_json(air.lately));
    return each;
  });
  map.put_each("figures", model_quantities(),
               [](RuleQuantity quantity) { return json(facts(quantity).name); });
  map.put_each("jars", jars_, [&](const Jar& jar) {
    const auto index = static_cast<std::size_t>(&jar - jars_.data());
    json each = to_json(register_.at(index));
    each.push_back(track_json(index));
    each.push_back(jar.spoilage ? to_json(*jar.spoilage) : json(nullptr));
    each.push_back(jar.said ? json{remedy_name(jar.said->remedy),
                                   static_cast<int>(jar.said->urgency), unix_ms(jar.said->at)}
                            : json(nullptr));
    return each;
  });
  // In an order that does not depend on how the engine came to be: equal states, equal bytes.
  std::vector<std::size_t> instances;
  for (std::size_t at = 0; at < instances_.size(); ++at) {
    if (instances_[at]->subject.kind != SubjectKind::jar) instances.push_back(at);
  }
  for (const Jar& jar : jars_) {
    instances.insert(instances.end(), jar.instances.begin(), jar.instances.end());
  }
  map.put_each("instances", instances,
               [&](std::size_t at) { return instance_json(*instances_[at]); });
  const auto board = [](const BoardFigure& figure) {
    return json{unix_ms(figure.at), figure.value};
  };
  map.put_each("disk", disk_free_, board);
  map.put_each("clock_steps", clock_steps_, board);
  map.put("disk_before_time", disk_before_time_ ? json(*disk_before_time_) : json(nullptr));
  map.put_each("alerts", alerts_.open(), [](const auto& open) { return to_json(open.second); });
  json unsaid = json::array();
  for (const std::size_t at : instances) {
    const Instance& instance = *instances_[at];
    if (instance.unsaid) {
      unsaid.push_back({rules_[instance.rule].rule->name, instance.subject.id});
    }
  }
  map.put("unsaid", unsaid);
  map.put_each("delivered", delivered_, [](Instant t) { return json(unix_ms(t)); });
  map.put("flood_until", to_json(flood_until_));
  if (leap_)
    map.put("leap", json{unix_ms(leap_->from), unix_ms(leap_->until), unix_ms(leap_->due)});
  if (settings_.clock == Clock::readings) map.put("clock", clock_json());
  map.put("judges", judges_.save());
  return map.take();
}

// Of each sensor that has spoken; the one that carries time comes first.
json Watch::Core::clock_json() const {
  json saved = json::array();
  const auto& sensors = readings_clock_.save();
  for (std::size_t i = 0; i < sensors.size(); ++i) {
    const ReadingsClock::Sensor& each = sensors[i];
    if (!each.heard) continue;
    const json entry = {settings_.layout.sensors[i].id, each.ahead.count(), each.behind,
                        each.by.count()};
    saved.insert(i == readings_clock_.carrier() ? saved.begin() : saved.end(), entry);
  }
  return saved;
}

void Watch::Core::load_clock(const json& saved) {
  bool first = true;
  for (const json& each : saved) {
    const bool carries = std::exchange(first, false);
    const auto known = sensor_index_.find(each.at(0).get<std::string>());
    if (known == sensor_index_.end()) continue;
    readings_clock_.restore(known->second, {duration_from(each.at(1)), whole_from<int>(each.at(2)),
                                            duration_from(each.at(3)), true});
    if (carries) readings_clock_.restore_carrier(known->second);
  }
}

json Watch::Core::track_json(std::size_t jar) const {
  const Jar& own = jars_[jar];
  if (!own.track) return nullptr;
  const JarTrack::Saved saved = own.track->save(air_of_jar(jar));
  json told = json::array();
  for (const JarTold& each : saved.told) told.push_back(to_json(each));
  const JarFigures& look = saved.look;
  return {own.stage,
          to_json(own.track->recipe()),
          told,
          saved.revision,
          {saved.outdated, to_json(saved.outdated_from), to_json(saved.outdated_until)},
          to_json(own.headspace_at),
          {unix_ms(look.at), look.values, to_json(look.open_since), to_json(look.forecast_at),
           look.forecast_temperature, to_json(look.closed_at), to_json(look.looked_at)},
          own.split_off};
}

void Watch::Core::load_track(std::size_t jar, const json& j, const FigureOrder& figures,
                             const ModelsByJar& models) {
  Jar& own = jars_[jar];
  own.stage = j.at(0).get<std::string>();
  const culture::JarRecipe recipe = recipe_from_json(j.at(1));
  own.headspace_at = instant_or(kAlways, j.at(5));
  own.track = std::make_unique<JarTrack>(settings_.profiles.for_stage(own.stage), recipe);
  if (j.size() > 7) {
    for (const json& part : j.at(7)) own.split_off.push_back(whole_from<std::size_t>(part));
  }
  std::erase_if(own.split_off, [this](std::size_t part) { return part >= jars_.size(); });
  JarTrack::Saved saved;
  for (const json& each : j.at(2)) saved.told.push_back(told_from_json(each));
  saved.revision = whole_from<std::uint64_t>(j.at(3));
  saved.outdated = j.at(4).at(0).get<bool>();
  saved.outdated_from = instant_from(j.at(4).at(1));
  saved.outdated_until = instant_from(j.at(4).at(2));
  const json& look = j.at(6);
  saved.look.at = instant_from(look.at(0));
  const json& values = look.at(1);
  for (std::size_t i = 0; i < values.size() && i < figures.size(); ++i) {
    if (figures[i] && values[i].is_number()) saved.look.put(*figures[i], values[i].get<double>());
  }
  saved.look.open_since = maybe_instant(look.at(2));
  saved.look.forecast_at = instant_from(look.at(3));
  saved.look.forecast_temperature = look.at(4).get<double>();
  saved.look.closed_at = look.size() > 5 ? instant_from(look.at(5)) : recipe.closed;
  saved.look.looked_at = look.size() > 6 ? instant_from(look.at(6)) : recipe.closed;
  const auto model = models.find(register_.at(jar).id);
  const std::uint64_t revision = saved.revision;
  const bool restored = model != models.end() &&
                        own.track->restore(std::move(saved), model->second->model).has_value();
  // Another profile, or the model was lost.
  if (restored) return;
  own.track->begin_anew(revision);
  outdate_track(jar, recipe.closed);
}

tl::expected<void, std::string> Watch::Core::restore(std::string_view bytes,
                                                     const std::vector<JarModelBytes>& models) {
  try {
    const json root = json::from_cbor(bytes.begin(), bytes.end());
    if (root.at("format") != kFormat) {
      return tl::unexpected(std::string("this is not a snapshot of the engine"));
    }
    const int version = whole_from<int>(root.at("version"));
    if (version < kOldestVersion || version > kVersion) {
      return tl::unexpected("the snapshot has version " + root.at("version").dump() +
                            ", this program reads version " + std::to_string(kVersion));
    }
    // Into a new engine first: a snapshot that turns out to be damaged changes nothing.
    Core fresh(settings_);
    fresh.load(root, models);
    *this = std::move(fresh);
    return {};
  } catch (const json::exception& error) {
    return tl::unexpected("the snapshot of the engine is damaged: " + std::string(error.what()));
  } catch (const std::out_of_range& error) {
    return tl::unexpected("the snapshot of the engine is damaged: bad " +
                          std::string(error.what()));
  }
}

void Watch::Core::load(const json& root, const std::vector<JarModelBytes>& models) {
  now_ = maybe_instant(root.at("now"));
  for (const json& event : root.at("link")) {
    link_.push_back({instant_from(event.at(0)), event.at(1).get<bool>()});
  }
  if (!root.at("link_before_time").is_null()) {
    link_before_time_ = root.at("link_before_time").get<bool>();
  }
  if (root.contains("disk")) {
    const auto board = [](const json& saved) {
      std::vector<BoardFigure> figures;
      for (const json& each : saved) {
        figures.push_back({instant_from(each.at(0)), each.at(1).get<double>()});
      }
      return figures;
    };
    disk_free_ = board(root.at("disk"));
    clock_steps_ = board(root.at("clock_steps"));
    const json& before = root.at("disk_before_time");
    if (!before.is_null()) disk_before_time_ = before.get<double>();
  }
  if (root.contains("delivered")) {
    for (const json& t : root.at("delivered")) delivered_.push_back(instant_from(t));
    flood_until_ = maybe_instant(root.at("flood_until"));
    if (const auto leap = root.find("leap"); leap != root.end()) {
      leap_ = Leap{instant_from(leap->at(0)), instant_from(leap->at(1)), instant_from(leap->at(2))};
    }
  }
  for (const json& each : root.at("sensors")) {
    const auto known = sensor_index_.find(each.at(0).get<std::string>());
    if (known != sensor_index_.end()) read_track(each, sensors_[known->second].track);
  }
  if (root.contains("judges")) judges_.load(root.at("judges"));
  if (root.contains("clock")) load_clock(root.at("clock"));
  std::map<std::vector<std::string>, const json*> saved_airs;
  for (const json& each : root.at("airs")) {
    saved_airs.emplace(each.at(0).get<std::vector<std::string>>(), &each);
  }
  for (Air& air : airs_) {
    std::vector<std::string> ids;
    for (const std::size_t i : air.timeline.speakers()) {
      ids.push_back(settings_.layout.sensors[i].id);
    }
    const auto saved = saved_airs.find(ids);
    if (saved != saved_airs.end()) {
      read_timeline(*saved->second, air.timeline, settings_.layout);
    } else {
      seed(air.timeline);
    }
    const bool has_tracks = saved != saved_airs.end() && saved->second->size() > 3;
    load_tracks(has_tracks ? saved->second->at(3) : json::array(), air);
    if (saved != saved_airs.end() && saved->second->size() > 4) {
      read_lately(saved->second->at(4), air.lately);
    }
  }
  std::vector<JarRecord> jars;
  for (const json& each : root.at("jars")) jars.push_back(jar_from(each));
  const FigureOrder figures = figures_of(root);
  load_jars(std::move(jars));
  ModelsByJar by_jar;
  for (const JarModelBytes& each : models) by_jar.emplace(each.jar, &each);
  for (std::size_t i = 0; i < jars_.size(); ++i) {
    const json& saved = root.at("jars").at(i);
    if (saved.size() > 4 && !saved.at(4).is_null()) load_track(i, saved.at(4), figures, by_jar);
    if (saved.size() > 5 && !saved.at(5).is_null()) jars_[i].spoilage = spoilage_from(saved.at(5));
    if (saved.size() > 6 && !saved.at(6).is_null()) {
      const json& said = saved.at(6);
      jars_[i].said = Jar::Said{remedy_from(said.at(0)),
                                enum_from(said.at(1), Urgency::now, Urgency::this_week),
                                instant_from(said.at(2))};
    }
  }
  std::vector<OpenAlert> open;
  for (const json& each : root.at("alerts")) open.push_back(alert_from(each));
  alerts_.restore(std::move(open), whole_from<std::uint64_t>(root.at("next_alert")));
  load_instances(root);
  for (std::size_t i = 0; i < sensors_.size() && now_; ++i) look_at_sensor(i);
  for (std::size_t i = 0; i < jars_.size(); ++i) {
    if (!now_) break;
    register_.settle(i, *now_);
    arm(TimerOwner::jar, i, next_look_at_jar(i, *now_));
  }
  unbegun_ = !now_ || std::any_of(sensors_.begin(), sensors_.end(),
                                  [](const Sensor& sensor) { return !sensor.track.first_known; });
  orphans_ = true;
  for (const auto& [place, sensors] : air_sensors_at_) unsettled_places_.insert(place);
}

// A window that is new looks back as far as the air is known.
void Watch::Core::load_tracks(const json& saved, Air& air) {
  for (auto& [window, track] : air.tracks) {
    const json* known = nullptr;
    for (const json& each : saved) {
      if (each.at(0) == to_text(*windows_[window])) known = &each.at(1);
    }
    if (known != nullptr) {
      read_steps(*known, track);
    } else if (const auto newest = air.timeline.newest()) {
      track_window(window, track, air.timeline, *newest - settings_.late);
    }
  }
}

// An air that did not exist when the snapshot was made starts with what its speakers last said.
void Watch::Core::seed(AirTimeline& timeline) {
  std::vector<AirReading> known;
  for (std::uint32_t position = 0; position < timeline.speakers().size(); ++position) {
    const SensorTrack& track = sensors_[timeline.speakers()[position]].track;
    for (const QuantityFacts& row : quantities()) {
      if (const auto& reading = track.newest_trusted(row.quantity); reading && !row.of_sensor) {
        const std::size_t sensor = timeline.speakers()[position];
        known.push_back({reading->measured_at, position, row.quantity,
                         judges_.corrected(sensor, *reading),
                         judges_.expected_error(sensor, *reading), hold_of(sensor)});
      }
    }
  }
  std::stable_sort(known.begin(), known.end(),
                   [](const AirReading& a, const AirReading& b) { return a.at < b.at; });
  for (const AirReading& reading : known) timeline.insert(reading);
}

void Watch::Core::load_jars(std::vector<JarRecord> jars) {
  register_.restore(std::move(jars));
  jars_.resize(register_.size());
  for (std::size_t i = 0; i < jars_.size(); ++i) {
    for (const JarStay& stay : register_.at(i).stays) {
      const std::size_t air = air_of(stay.place);
      jars_[i].airs.push_back(air);
      auto& dwellers = airs_[air].jars;
      if (dwellers.empty() || dwellers.back() != i) dwellers.push_back(i);
    }
    if (!register_.at(i).retired) add_jar_instances(i);
  }
}

void Watch::Core::load_instances(const json& root) {
  const json& rules = root.at("rules");
  std::map<InstanceKey, const json*> saved;
  for (const json& each : root.at("instances")) {
    const auto rule = rules.at(whole_from<std::size_t>(each.at(0))).at(0).get<std::string>();
    saved.emplace(InstanceKey{rule, whole_from<int>(each.at(1)), each.at(2).get<std::string>()},
                  &each);
  }
  std::map<std::string, std::string> texts;
  for (const json& rule : rules) {
    texts.emplace(rule.at(0).get<std::string>(), rule.at(1).get<std::string>());
  }
  std::set<std::pair<std::string, std::string>> unsaid;
  if (root.contains("unsaid")) {
    for (const json& each : root.at("unsaid")) {
      unsaid.emplace(each.at(0).get<std::string>(), each.at(1).get<std::string>());
    }
  }
  // Rules whose conditions are what they were.
  std::vector<bool> same;
  for (const RunningRule& running : rules_) {
    const auto text = texts.find(running.rule->name);
    same.push_back(text != texts.end() && text->second == conditions_text(*running.rule));
  }
  for (std::size_t at = 0; at < instances_.size(); ++at) {
    Instance& instance = *instances_[at];
    const Rule& rule = *rules_[instance.rule].rule;
    const auto found =
        saved.find({rule.name, static_cast<int>(instance.subject.kind), instance.subject.id});
    set_met(at, instance, stands_in(rule.name, instance.subject));
    if (unsaid.count({rule.name, instance.subject.id}) > 0) {
      set_met(at, instance, 0);
      instance.unsaid = true;
    }
    if (instance.subject.kind == SubjectKind::jar) {
      instance.machine.begin_at(register_.at(instance.index).stays.front().from);
    }
    if (found != saved.end() && same[instance.rule]) {
      instance.machine.restore(saved_from(*found->second));
      instance.due = instant_or(kNever, found->second->at(7));
      arm(TimerOwner::instance, at, instance.due);
    } else if (now_) {
      begin_anew(at);
    }
  }
}

// A rule, or a rule's text, that the snapshot does not know: it starts from what holds now. An
// alert that stands goes on standing until its new conditions ease it.
void Watch::Core::begin_anew(std::size_t at) {
  Instance& instance = *instances_[at];
  if (instance.met) {
    const Rule& rule = *rules_[instance.rule].rule;
    Instant since = *now_;
    for (const auto& [number, open] : alerts_.open()) {
      if (open.alert.rule == rule.name && open.standing.count(instance.subject.id) > 0) {
        since = open.alert.since;
      }
    }
    instance.machine.carry_met(since, *now_);
    instance.due = *now_ + Duration(1);
    arm(TimerOwner::instance, at, instance.due);
    return;
  }
  const bool is_jar = instance.subject.kind == SubjectKind::jar;
  if (is_jar && register_.at(instance.index).stay_at(*now_) == nullptr) return;
  step_instance(at, *now_);
  instance.due = head_of(instance).next.due;
  arm(TimerOwner::instance, at, instance.due);
}

}  // namespace torpor::rules
