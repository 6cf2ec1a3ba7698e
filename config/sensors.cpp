#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <set>
#include <utility>

#include "config/amounts.h"
#include "config/names.h"
#include "config/sections.h"
#include "config/shown_text.h"
#include "config/topic.h"

namespace torpor::config {
namespace {

struct Read {
  SensorSettings settings;
  bool comparable = false;  // id, topic and payload are good: it can be told from the others
  Field field;
};

// The configured places, to be looked up and to be listed.
struct KnownPlaces {
  explicit KnownPlaces(const std::vector<PlaceSettings>& places) {
    for (const PlaceSettings& place : places) {
      paths.insert(place.path);
      // A path with a fault of its own is not held up as an example.
      if (!has_control_character(place.path)) listed.push_back(place.path);
    }
  }
  std::set<std::string> paths;
  std::vector<std::string> listed;
};

class SensorReader {
 public:
  SensorReader(const Field& field, const KnownPlaces* places) : field_(field), places_(places) {}

  [[nodiscard]] std::optional<Read> read() {
    auto mapping = field_.mapping("{id: ID, place: PATH, topic: TOPIC, payload: FORM, ...}");
    if (!mapping) return std::nullopt;
    read_id(*mapping);
    read_where(*mapping);
    read_topic(*mapping);
    const bool payload_good = read_payload(*mapping, sensor_.payload);
    read_times(*mapping);
    mapping->refuse_unknown_keys();
    for (const Measure& measure : sensor_.payload.measures) {
      spec().measures.push_back(measure.quantity);
    }
    if (sensor_.payload.form == PayloadForm::senml && sensor_.payload.measures.empty()) {
      for (const QuantityFacts& row : quantities()) spec().measures.push_back(row.quantity);
    }
    std::erase_if(spec().measures, [](Quantity each) { return facts(each).of_sensor; });
    sensor_.at = field_.mark();
    const bool comparable = payload_good && !spec().id.empty() && !sensor_.topic.empty();
    return Read{std::move(sensor_), comparable, field_};
  }

 private:
  rules::SensorSpec& spec() { return sensor_.spec; }

  static std::string read_id_of(const Field& field) {
    const auto id = field.word(kIdExpected);
    if (!id) return {};
    if (is_id(*id)) return *id;
    field.fault_expected(kIdExpected);
    return {};
  }

  void read_id(Mapping& mapping) {
    if (const auto id = mapping.require("id", "add e.g. `id: s1`")) spec().id = read_id_of(*id);
  }

  void read_where(Mapping& mapping) {
    const auto place = mapping.find("place");
    const auto jar = mapping.find("jar");
    if (place && jar) {
      jar->fault(
          "found both a place and a jar; a sensor hangs on one: keep `place` for the air of "
          "the room, `jar` for a probe in or on a jar");
    } else if (!place && !jar) {
      field_.fault(
          "`place` or `jar` is missing; add `place: PATH` for the air of the room, or "
          "`jar: ID` for a probe in or on a jar");
    }
    if (place) read_place(*place);
    if (jar) spec().jar = read_id_of(*jar);
    spec().senses = jar ? rules::Senses::culture : rules::Senses::air;
    read_senses(mapping, jar.has_value());
  }

  void read_place(const Field& field) {
    const auto path = field.word("the path of a place, e.g. cellar/shelf-1");
    if (!path) return;
    spec().place = *path;
    if (places_ == nullptr || places_->paths.count(*path) > 0) return;
    if (places_->listed.empty()) {
      field.fault(
          fmt::format("{} is not a place: there are none; add it under `places`", quoted(*path)));
      return;
    }
    field.fault(fmt::format("{} is not a place{}", quoted(*path), place_hint(*path)));
  }

  // The nearest place, or the one of that last name elsewhere in the tree.
  [[nodiscard]] std::string place_hint(const std::string& path) const {
    constexpr std::size_t kMostListed = 12, kMostCompared = 500;
    const std::vector<std::string>& known = places_->listed;
    if (known.size() <= kMostCompared && !nearest_word(path, known).empty()) {
      return hint(path, known);
    }
    for (const std::string& place : known) {
      const std::size_t tail = place.rfind('/');
      if (tail != std::string::npos && place.substr(tail + 1) == path) {
        return fmt::format("; did you mean `{}`?", place);
      }
    }
    if (known.size() > kMostListed) return "; write the whole path as it stands under `places`";
    return hint(path, known);
  }

  void read_senses(Mapping& mapping, bool on_jar) {
    const auto field = mapping.find("senses");
    if (!field) return;
    const auto senses = field->one_of<rules::Senses>({{"air", rules::Senses::air},
                                                      {"headspace", rules::Senses::headspace},
                                                      {"glass", rules::Senses::glass},
                                                      {"culture", rules::Senses::culture}});
    if (!senses) return;
    if (on_jar && *senses == rules::Senses::air) {
      field->fault(
          "found air for a sensor on a jar; a probe there feels the jar's own damp and "
          "would make it look safe: write headspace, glass or culture, or hang it on a "
          "place");
      return;
    }
    spec().senses = *senses;
  }

  void read_topic(Mapping& mapping) {
    const auto field = mapping.require("topic", "add the MQTT topic it publishes on");
    if (!field) return;
    const auto topic = field->word("the MQTT topic the sensor publishes on");
    if (!topic) return;
    if (const auto fault = topic_fault(*topic)) return field->fault(*fault);
    sensor_.topic = *topic;
  }

  static std::optional<Duration> read_duration(const std::optional<Field>& field) {
    if (!field) return std::nullopt;
    const auto text = field->word("a duration such as `60 s`, `30 min` or `2 h`");
    if (!text) return std::nullopt;
    const auto duration = parse_duration(*text);
    if (duration) return *duration;
    field->fault(duration.error());
    return std::nullopt;
  }

  void read_times(Mapping& mapping) {
    const auto interval = mapping.find("expected_interval");
    spec().expected_interval = read_duration(interval).value_or(kDefaultExpectedInterval);
    const auto field = mapping.find("hold");
    spec().learns_interval = !interval;
    spec().learns_hold = !interval && !field;
    const auto hold = read_duration(field);
    spec().hold = hold.value_or(rules::kHeldIntervals * spec().expected_interval);
    if (hold && *hold < spec().expected_interval) {
      field->fault(
          fmt::format("found {}, shorter than the expected interval; the value would be "
                      "unknown between readings: write at least the interval, or leave "
                      "`hold` away",
                      quoted(field->node().text)));
    }
  }

  Field field_;
  const KnownPlaces* places_;  // null: the places could not be read
  SensorSettings sensor_;
};

void refuse_repeated_ids(const std::vector<Read>& sensors) {
  std::map<std::string, const Read*> seen;
  for (const Read& sensor : sensors) {
    const std::string& id = sensor.settings.spec.id;
    if (id.empty()) continue;
    const auto [other, fresh] = seen.emplace(without_case(id), &sensor);
    if (fresh) continue;
    sensor.field.fault(fmt::format(
        "the id {} is taken by {} on line {} (case does not matter); "
        "give it another",
        quoted(id), quoted(other->second->settings.spec.id), other->second->settings.at.line));
  }
}

// Why one message on their common topic would be both sensors' reading; empty: it would not.
std::string clash(const PayloadFormat& one, const PayloadFormat& other) {
  if (one.form != other.form) return "their payloads differ in form";
  if (one.form == PayloadForm::number) return "one bare number cannot be both";
  if (one.form == PayloadForm::senml && (one.measures.empty() || other.measures.empty())) {
    return "without names each record is both";
  }
  for (const Measure& a : one.measures) {
    for (const Measure& b : other.measures) {
      // One battery may feed two sensors.
      if (a.quantity != b.quantity || facts(a.quantity).of_sensor) continue;
      const bool told_apart = one.form == PayloadForm::json
                                  ? a.pointer != b.pointer
                                  : !a.name.empty() && !b.name.empty() && a.name != b.name;
      if (!told_apart) return fmt::format("both read the same {}", facts(a.quantity).name);
    }
  }
  return {};
}

void refuse_ambiguous(const std::vector<Read>& sensors) {
  std::map<std::string, std::vector<const Read*>> by_topic;
  for (const Read& sensor : sensors) {
    if (!sensor.comparable) continue;
    const SensorSettings& settings = sensor.settings;
    std::vector<const Read*>& others = by_topic[topic_of(settings.topic, settings.spec.id)];
    for (const Read* other : others) {
      const std::string why = clash(other->settings.payload, settings.payload);
      if (why.empty()) continue;
      sensor.field.fault(fmt::format(
          "{} and {} (line {}) share the topic {} and cannot be told apart: {}; give each its own "
          "topic, or its own {}",
          quoted(settings.spec.id), quoted(other->settings.spec.id), other->settings.at.line,
          quoted(settings.topic), why,
          settings.payload.form == PayloadForm::json ? "pointer" : "SenML record name"));
      break;
    }
    others.push_back(&sensor);
  }
}

}  // namespace

void read_sensors(const Field& field, const std::vector<PlaceSettings>* places,
                  std::vector<SensorSettings>& sensors) {
  if (field.is(YamlNode::Kind::nothing)) return;
  const auto items = field.list("a list of sensors, each `- {id: ..., place: ..., topic: ...}`");
  if (!items) return;
  std::optional<KnownPlaces> known;
  if (places != nullptr) known.emplace(*places);
  std::vector<Read> read;
  for (const Field& item : *items) {
    if (auto sensor = SensorReader(item, known ? &*known : nullptr).read())
      read.push_back(std::move(*sensor));
  }
  refuse_repeated_ids(read);
  refuse_ambiguous(read);
  for (Read& sensor : read) sensors.push_back(std::move(sensor.settings));
}

}  // namespace torpor::config
