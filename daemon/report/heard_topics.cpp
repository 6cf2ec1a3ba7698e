#include "daemon/report/heard_topics.h"

#include <fmt/format.h>

#include <algorithm>

#include "config/names.h"
#include "config/topic.h"
#include "daemon/report/printable.h"
#include "daemon/report/text_parts.h"
#include "sensors/utf8.h"

namespace torpor::daemon {
namespace {

constexpr std::size_t kMostTopics = 200;
constexpr std::size_t kMostGaps = 200;
constexpr std::size_t kLeastGaps = 3;  // fewer say nothing of how often it speaks

// Levels that say what is measured or how it is written, never who measures.
constexpr std::string_view kNoNames[] = {"temperature", "humidity", "temp", "hum",   "rh",
                                         "state",       "status",   "json", "senml", "sensor",
                                         "sensors",     "air",      "data", "value", "reading"};

std::string values_text(const std::vector<Reading>& readings) {
  std::string text;
  for (const Reading& reading : readings) {
    text += fmt::format("{}{} {:g} {}", text.empty() ? "" : ", ", facts(reading.quantity).name,
                        reading.raw, symbol(reading.unit));
  }
  return text;
}

// A plain word as it is, anything else in double quotes.
std::string yaml_word(std::string_view text) {
  const bool plain = !text.empty() && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '/' ||
           c == '_' || c == '-' || c == '.';
  });
  if (plain && text.front() != '-' && text.front() != '.') return std::string(text);
  std::string word = "\"";
  for (std::size_t at = 0; at < text.size();) {
    const Utf8Character c = utf8_character_at(text, at);
    const std::string_view character = text.substr(at, c.length);
    at += c.length;
    if (character == "\"" || character == "\\") word += '\\';
    word += printable(character) == character
                ? std::string(character)
                : fmt::format("\\U{:08x}", static_cast<unsigned>(c.value));
  }
  return word + '"';
}

std::string unit_text(Unit unit) {
  return unit == Unit::percent ? "\"%\"" : std::string(symbol(unit));
}

std::string measure_text(PayloadForm form, const Measure& measure) {
  const std::string_view name = facts(measure.quantity).name;
  switch (form) {
    case PayloadForm::number:
      return fmt::format("{}: {{unit: {}}}", name, unit_text(measure.unit));
    case PayloadForm::json:
      if (measure.volts) {
        const bool milli = measure.volts->full >= 1000.0;
        return fmt::format("{}: {{pointer: {}, unit: {}, empty: {:g} {}, full: {:g} {}}}", name,
                           yaml_word(measure.pointer), milli ? "mV" : "V", measure.volts->empty,
                           milli ? "mV" : "V", measure.volts->full, milli ? "mV" : "V");
      }
      return fmt::format("{}: {{pointer: {}, unit: {}}}", name, yaml_word(measure.pointer),
                         unit_text(measure.unit));
    case PayloadForm::senml:
      break;
  }
  return fmt::format("{}: {{name: {}}}", name, yaml_word(measure.name));
}

std::string_view form_name(PayloadForm form) {
  return form == PayloadForm::number ? "number" : form == PayloadForm::json ? "json" : "senml";
}

std::string_view time_format_name(TimeFormat format) {
  return format == TimeFormat::seconds        ? "seconds"
         : format == TimeFormat::milliseconds ? "milliseconds"
                                              : "rfc3339";
}

// The usual gap between messages, rounded as people write it; nullopt: too few were heard.
std::optional<Duration> usual_gap(std::vector<Duration> gaps) {
  if (gaps.size() < kLeastGaps) return std::nullopt;
  const auto middle = gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2);
  std::nth_element(gaps.begin(), middle, gaps.end());
  const auto seconds = std::chrono::round<std::chrono::seconds>(*middle);
  return std::max<Duration>(std::chrono::seconds(1), seconds);
}

std::string entry_text(const std::string& id, const std::string& place, const std::string& topic,
                       const PayloadFormat& format, std::optional<Duration> interval) {
  std::string entry = fmt::format("  - {{id: {}, place: {}, topic: {},\n     payload: {}", id,
                                  yaml_word(place), yaml_word(topic), form_name(format.form));
  if (interval) {
    entry += fmt::format(", expected_interval: {} s",
                         std::chrono::duration_cast<std::chrono::seconds>(*interval).count());
  }
  std::string measures;
  for (const Measure& measure : format.measures) {
    if (!measures.empty()) measures += ",\n                ";
    measures += measure_text(format.form, measure);
  }
  if (!measures.empty()) entry += fmt::format(",\n     measures: {{{}}}", measures);
  if (format.time) {
    entry += fmt::format(",\n     time: {{pointer: {}, format: {}}}",
                         yaml_word(format.time->pointer), time_format_name(format.time->format));
  }
  return entry + "}\n";
}

}  // namespace

std::string id_for(std::string_view topic, const std::vector<std::string>& taken) {
  std::string best, last;
  std::size_t start = 0;
  while (start <= topic.size()) {
    const std::size_t slash = std::min(topic.find('/', start), topic.size());
    const std::string level(topic.substr(start, slash - start));
    start = slash + 1;
    if (!config::is_id(level)) continue;
    last = level;
    const std::string folded = config::without_case(level);
    if (std::find(std::begin(kNoNames), std::end(kNoNames), folded) == std::end(kNoNames)) {
      best = level;
    }
  }
  const std::string wanted = !best.empty() ? best : !last.empty() ? last : "s";
  std::string id = wanted;
  const auto is_taken = [&](const std::string& one) {
    return std::any_of(taken.begin(), taken.end(), [&](const std::string& other) {
      return config::without_case(one) == config::without_case(other);
    });
  };
  for (int number = 2; is_taken(id); ++number) {
    const std::string end = fmt::format("-{}", number);
    id = wanted.substr(0, config::kLongestId - end.size()) + end;
  }
  return id;
}

const config::SensorSettings* HeardTopics::reader_of(std::string_view topic) const {
  const auto found = std::find_if(settings_.sensors.begin(), settings_.sensors.end(),
                                  [&](const config::SensorSettings& sensor) {
                                    return config::topic_of(sensor.topic, sensor.spec.id) == topic;
                                  });
  return found == settings_.sensors.end() ? nullptr : &*found;
}

void HeardTopics::add(std::string_view topic, std::string_view payload, bool retained,
                      Instant received_at) {
  const std::string name(topic);
  if (topics_.size() >= kMostTopics && topics_.count(name) == 0) {
    ++passed_over_;
    return;
  }
  Heard& heard = topics_[name];
  ++heard.messages;
  if (retained) {
    ++heard.retained;
  } else {
    if (heard.last && heard.gaps.size() < kMostGaps) {
      heard.gaps.push_back(received_at - *heard.last);
    }
    heard.last = received_at;
  }
  if (payload.empty() && retained) return;
  heard.reader = reader_of(topic);
  if (heard.reader != nullptr) {
    const auto readings =
        decode(heard.reader->payload, heard.reader->spec.id, payload, received_at);
    heard.read = readings ? fmt::format("reads it: {}", values_text(*readings))
                          : fmt::format("cannot read it: {}", readings.error().text);
    if (readings) return;
  }
  auto guess = guess_format(topic, payload, received_at);
  if (guess) {
    heard.guess = std::move(*guess);
  } else {
    heard.why_not = guess.error();
  }
}

std::string HeardTopics::place() const {
  for (const config::PlaceSettings& place : settings_.places) {
    if (!place.outside) return place.path;
  }
  return settings_.places.empty() ? "PLACE" : settings_.places.front().path;
}

std::string HeardTopics::block(const std::string& topic, const Heard& heard,
                               std::vector<std::string>& ids, int width) const {
  constexpr int kIndent = 2;
  std::string text = paragraph(
      fmt::format("{}: {} message{}{}", topic, heard.messages, heard.messages == 1 ? "" : "s",
                  heard.retained == 0 ? std::string()
                                      : fmt::format(", {} of them retained", heard.retained)),
      0, width);
  if (const auto fault = config::topic_fault(topic)) {
    return text +
           paragraph(fmt::format("No sensor can be configured on it: {}", *fault), kIndent, width);
  }
  if (heard.reader != nullptr) {
    text +=
        paragraph(fmt::format("Sensor {} {}.", heard.reader->spec.id, heard.read), kIndent, width);
    if (!heard.guess) return text;
  }
  if (!heard.guess) return text + paragraph("Not read: " + heard.why_not + ".", kIndent, width);
  const std::string id = heard.reader != nullptr ? heard.reader->spec.id : id_for(topic, ids);
  ids.push_back(id);
  const auto interval = usual_gap(heard.gaps);
  text += entry_text(id, place(), topic, heard.guess->format, interval);
  text += paragraph(fmt::format("It would read {}.", values_text(heard.guess->readings)), kIndent,
                    width);
  for (const std::string& note : heard.guess->notes) {
    text += paragraph(note + ".", kIndent + 2, width, "  - ");
  }
  if (heard.messages > 1 && !heard.why_not.empty()) {
    text += paragraph("Other messages on it are not read: " + heard.why_not + ".", kIndent + 2,
                      width, "  - ");
  }
  return text;
}

std::string HeardTopics::text(int width) const {
  std::vector<std::string> ids;
  ids.reserve(settings_.sensors.size());
  for (const auto& sensor : settings_.sensors) ids.push_back(sensor.spec.id);
  std::string text;
  bool entries = false;
  for (const auto& [topic, heard] : topics_) {
    if (!text.empty()) text += '\n';
    text += block(topic, heard, ids, width);
    entries = entries || (heard.guess.has_value() && !config::topic_fault(topic));
  }
  if (passed_over_ > 0) {
    text += '\n' + paragraph(fmt::format("{} messages on further topics were passed over: listen "
                                         "to fewer topics at once.",
                                         passed_over_),
                             0, width);
  }
  if (entries) {
    text += '\n' + paragraph(
                       "Copy an entry below `sensors:` of the configuration and correct "
                       "`place`; `torpord --check` looks at it, and `expected_interval` "
                       "says how often the sensor speaks.",
                       0, width);
  }
  return text;
}

}  // namespace torpor::daemon
