#include "daemon/service/live_view.h"

#include <fmt/format.h>

#include <algorithm>

#include "daemon/ledger/answer_text.h"
#include "daemon/report/accuracy_words.h"
#include "rules/watch/air_speaker.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

// The alert's subject is it, lists it, or stands for a place above it.
bool concerns(const rules::Alert& alert, const rules::Subject& subject) {
  if (alert.subject == subject) return true;
  if (subject.kind == rules::SubjectKind::jar) {
    return std::find(alert.jars.begin(), alert.jars.end(), subject.id) != alert.jars.end();
  }
  return subject.kind == rules::SubjectKind::place &&
         alert.subject.kind == rules::SubjectKind::place &&
         rules::is_at_or_below(subject.id, alert.subject.id);
}

}  // namespace

LiveView::LiveView(const config::Settings& settings, const LocalTime& zone, const Ledger& ledger,
                   const rules::Watch& watch, const JarStandings& standings)
    : settings_(settings), zone_(zone), ledger_(ledger), watch_(watch), standings_(standings) {}

std::vector<std::string> LiveView::places() const {
  std::vector<std::string> paths;
  paths.reserve(settings_.places.size());
  for (const auto& place : settings_.places) paths.push_back(place.path);
  return paths;
}

std::vector<rules::Alert> LiveView::open_alerts() const { return watch_.open_alerts(); }

std::optional<rules::culture::JarModel> LiveView::model(std::string_view jar) const {
  return watch_.jar_model(jar);
}

std::string LiveView::air_words(std::string_view place) const {
  const rules::SpokenAir air = watch_.air_at(place);
  if (!air.temperature || !air.temperature_speaker) return "no live reading of the air";
  std::string words = fmt::format("{:.1f} °C", air.temperature->value());
  if (air.humidity) words += fmt::format(", {:.0f} % humidity", air.humidity->value());
  const std::string& speaker = settings_.sensors[*air.temperature_speaker].spec.id;
  if (const auto newest = watch_.newest_trusted(speaker, Quantity::temperature)) {
    words += fmt::format(" at {} ({})", zone_.to_words(newest->measured_at), speaker);
  }
  return words;
}

// "alerts 12, 14": what they ask for is in the jar's line.
std::string LiveView::alert_numbers(const rules::Subject& subject) const {
  std::vector<std::uint64_t> numbers;
  for (const rules::Alert& alert : watch_.open_alerts()) {
    if (concerns(alert, subject)) numbers.push_back(alert.number);
  }
  if (numbers.empty()) return "no alert";
  return fmt::format("alert{} {}", numbers.size() == 1 ? "" : "s", fmt::join(numbers, ", "));
}

std::string LiveView::alert_words(const rules::Subject& subject) const {
  std::string words;
  for (const rules::Alert& alert : watch_.open_alerts()) {
    if (!concerns(alert, subject)) continue;
    words += fmt::format("{}alert {}: {}", words.empty() ? "" : "; ", alert.number, alert.what);
  }
  return words.empty() ? "no alert" : words;
}

std::optional<rules::Standing> LiveView::standing(std::string_view jar) const {
  return standings_.of(std::string(jar));
}

std::string LiveView::todo() const { return watch_.todo(); }

std::shared_ptr<const rules::culture::Profile> LiveView::profile(std::string_view stage) const {
  return settings_.cultures.for_stage(stage);
}

std::string LiveView::describe_jar(const Jar& jar) const {
  const std::string& id = jar.made.jar;
  if (jar.retired_at) {
    return fmt::format("{}: retired {}", id, zone_.to_words(*jar.retired_at));
  }
  if (jar.stays.empty()) return fmt::format("{}: it is in no place yet", id);
  const Stay& stay = jar.stays.back();
  const auto standing = standings_.of(id);
  std::string words = standing ? rules::standing_line(*standing) : id + ":";
  if (standing && standing->next_date) {
    words += fmt::format(" By {} {}.", zone_.to_text(standing->next_date->at).substr(0, 10),
                         standing->next_date->what);
  }
  return fmt::format("{} {}closed {}, in {} since {}; {}; {}", words,
                     jar.made.stage.empty() ? "" : jar.made.stage + ", ",
                     zone_.to_words(jar.closed()), stay.place, zone_.to_words(stay.from),
                     air_words(stay.place), alert_numbers({rules::SubjectKind::jar, id}));
}

std::string LiveView::describe_place(std::string_view place) const {
  const std::vector<std::string> jars =
      ledger_.jars_at(place, watch_.now().value_or(Instant::max()));
  return fmt::format("{}: {}; {} jar{}{}{}; {}", place, air_words(place), jars.size(),
                     jars.size() == 1 ? "" : "s", jars.empty() ? "" : ": ", fmt::join(jars, " "),
                     alert_words({rules::SubjectKind::place, std::string(place)}));
}

std::vector<ToldSensor> LiveView::sensors() const {
  std::vector<ToldSensor> told;
  for (const config::SensorSettings& sensor : settings_.sensors) {
    ToldSensor each{sensor.spec.id, sensor.spec.measures, std::nullopt};
    if (const auto newest = watch_.newest(sensor.spec.id, Quantity::temperature)) {
      each.temperature = Celsius(corrected(ledger_.calibrations(), *newest));
    }
    told.push_back(std::move(each));
  }
  return told;
}

std::string LiveView::accuracy_words(const rules::SensorSpec& sensor, Instant now) const {
  std::string words;
  for (const SensorAccuracy& each : accuracy_of(ledger_, sensor, now)) {
    words += fmt::format("; {} {}{}", facts(each.quantity).name,
                         each.check ? done_text(*each.check, zone_) + ", corrected: " : "",
                         expected_error_text(each.quantity, each.correction));
  }
  return words;
}

std::string LiveView::describe_sensor(std::string_view id) const {
  const auto known = std::find_if(settings_.sensors.begin(), settings_.sensors.end(),
                                  [&](const auto& sensor) { return sensor.spec.id == id; });
  if (known == settings_.sensors.end()) return fmt::format("{}: not configured", id);
  const rules::SensorSpec& spec = known->spec;
  std::string words;
  std::optional<Instant> heard;
  for (const Quantity quantity : spec.measures) {
    const auto newest = watch_.newest(spec.id, quantity);
    if (!newest) continue;
    words += fmt::format("{}{} {}", words.empty() ? "" : ", ",
                         shown_number(corrected(ledger_.calibrations(), *newest), 1),
                         facts(quantity).symbol);
    heard = std::max(heard, std::optional(newest->measured_at));
  }
  if (heard) words += fmt::format(" at {}", zone_.to_words(*heard));
  if (const auto battery = watch_.newest_trusted(spec.id, Quantity::battery)) {
    words += fmt::format("{}battery {:.0f} %", words.empty() ? "" : ", ", battery->value());
  }
  const auto standing = watch_.standing(id);
  std::string trust;
  if (standing && !standing->check.empty()) {
    trust = "; " + without_stop(standing->check);
  } else if (standing) {
    for (const std::string& reason : standing->reasons) trust += "; " + reason;
  }
  return fmt::format("{}, {}: {}{}{}; {}", spec.id,
                     spec.jar.empty() ? "in " + spec.place : "on jar " + spec.jar,
                     words.empty() ? "never heard" : words, trust,
                     accuracy_words(spec, watch_.now().value_or(Instant{})),
                     alert_words({rules::SubjectKind::sensor, std::string(id)}));
}

}  // namespace torpor::daemon
