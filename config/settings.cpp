#include "config/settings.h"

#include <fmt/core.h>

#include <algorithm>
#include <utility>

#include "config/amounts.h"
#include "config/fault_list.h"
#include "config/names.h"
#include "config/sections.h"
#include "config/shown_text.h"
#include "config/yaml_reader.h"
#include "config/yaml_tree.h"

namespace torpor::config {
namespace {

void read_zone(const Field& field, Settings& settings) {
  constexpr std::string_view kExpected = "the name of a time zone, e.g. Europe/Vienna";
  const auto zone = field.word(kExpected);
  if (!zone) return;
  const bool plausible = std::all_of(zone->begin(), zone->end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '/' ||
           c == '_' || c == '-' || c == '+';
  });
  // The daemon opens a file of this name: nothing that could lead out of the zone folder.
  if (!plausible || zone->front() == '/') return field.fault_expected(kExpected);
  settings.zone = *zone;
  settings.zone_at = field.mark();
}

void read_units(const Field& field, ShownUnits& units) {
  auto mapping = field.mapping("{temperature: °F, weight: oz}");
  if (!mapping) return;
  if (const auto temperature = mapping->find("temperature")) {
    units.fahrenheit =
        temperature->one_of<bool>({{"°C", false}, {"°F", true}, {"C", false}, {"F", true}})
            .value_or(false);
  }
  if (const auto weight = mapping->find("weight")) {
    units.ounces = weight->one_of<bool>({{"g", false}, {"oz", true}}).value_or(false);
  }
  mapping->refuse_unknown_keys();
}

void read_history(const Field& field, HistorySettings& history) {
  auto mapping = field.mapping("{file: FILE, survives: crash}");
  if (!mapping) return;
  if (const auto file = mapping->find("file")) {
    history.file = file->word("the name of the history file").value_or(history.file);
  }
  if (const auto survives = mapping->find("survives")) {
    history.survives =
        survives->one_of<Survives>({{"crash", Survives::crash}, {"power-cut", Survives::power_cut}})
            .value_or(history.survives);
  }
  if (const auto copy = mapping->find("copy")) {
    history.copy = copy->word("a folder on another disk, such as /mnt/stick").value_or("");
  }
  if (const auto keep = mapping->find("keep")) {
    if (const auto text = keep->word("years such as `5 y`")) {
      const auto years = parse_years(*text);
      if (years) {
        history.keep = *years;
      } else {
        keep->fault(years.error());
      }
    }
  }
  mapping->refuse_unknown_keys();
}

void read_quiet_hours(const Field& field, std::optional<rules::QuietHours>& quiet) {
  constexpr std::string_view kExpected = "two local times, e.g. 22:00-06:00 (00:00 to 23:59)";
  const auto text = field.word(kExpected);
  if (!text) return;
  std::string bare = *text;
  bare.erase(std::remove(bare.begin(), bare.end(), ' '), bare.end());
  const std::size_t dash = bare.find('-');
  const auto from = parse_time_of_day(bare.substr(0, dash));
  const auto to =
      dash == std::string::npos ? std::nullopt : parse_time_of_day(bare.substr(dash + 1));
  if (!from || !to) return field.fault_expected(kExpected);
  if (*from == *to) {
    return field.fault(
        fmt::format("found {}, which begins when it ends; write two different "
                    "times, or leave `quiet_hours` away",
                    quoted(*text)));
  }
  quiet = rules::QuietHours{*from, *to};
}

void read_rulebooks(const Field& field, Settings& settings) {
  const auto items = field.list("a list of rule books, e.g. [built-in, rules.yaml]");
  if (!items) return;
  settings.rulebooks.clear();
  settings.rulebooks_at.clear();
  for (const Field& item : *items) {
    const auto name = item.word("`built-in` or the name of a file");
    if (!name) continue;
    if (std::find(settings.rulebooks.begin(), settings.rulebooks.end(), *name) !=
        settings.rulebooks.end()) {
      item.fault(fmt::format("{} is listed twice; keep one", quoted(*name)));
      continue;
    }
    settings.rulebooks.push_back(*name);
    settings.rulebooks_at.push_back(item.mark());
  }
}

void read_storeroom(const Field& field, Settings& settings) {
  const std::string expected = fmt::format("a name of {}", kIdExpected);
  const auto name = field.word(expected);
  if (!name) return;
  if (!is_id(*name)) return field.fault_expected(expected);
  settings.storeroom = *name;
}

void read_places_and_sensors(Mapping& root, Settings& settings) {
  bool places_read = true;
  if (const auto places = root.find("places")) {
    places_read = read_places(*places, settings.places);
  }
  if (const auto sensors = root.find("sensors")) {
    read_sensors(*sensors, places_read ? &settings.places : nullptr, settings.sensors);
  }
}

void read_root(Mapping& root, Settings& settings) {
  if (const auto storeroom = root.require("storeroom", "add e.g. `storeroom: cellar`")) {
    read_storeroom(*storeroom, settings);
  }
  if (const auto zone = root.find("zone")) read_zone(*zone, settings);
  if (const auto units = root.find("units")) read_units(*units, settings.units);
  if (const auto clock = root.find("clock")) {
    settings.clock = clock
                         ->one_of<rules::Clock>(
                             {{"wall", rules::Clock::wall}, {"readings", rules::Clock::readings}})
                         .value_or(settings.clock);
  }
  if (const auto history = root.find("history")) read_history(*history, settings.history);
  if (const auto broker = root.find("broker")) read_broker(*broker, settings.broker);
  if (const auto web = root.find("web")) read_web(*web, settings.web);
  if (const auto quiet = root.find("quiet_hours")) read_quiet_hours(*quiet, settings.quiet);
  read_places_and_sensors(root, settings);
  if (const auto books = root.find("rulebooks")) read_rulebooks(*books, settings);
  if (const auto cultures = root.find("cultures")) {
    settings.cultures_at = cultures->mark();
    settings.cultures_file = cultures->word("the name of a file of culture profiles").value_or("");
  }
  root.refuse_unknown_keys();
}

}  // namespace

rules::Layout Settings::layout() const {
  rules::Layout layout;
  for (const PlaceSettings& place : places) {
    layout.places.push_back({place.path, place.outside, place.volume_m3});
  }
  for (const SensorSettings& sensor : sensors) layout.sensors.push_back(sensor.spec);
  return layout;
}

SettingsResult read_settings(std::string_view text, const std::string& file) {
  FaultList faults(text, file);
  SettingsResult result;
  if (check_characters(faults, kLargestSettings)) {
    if (const auto tree = parse_yaml(faults)) {
      const Field root(*tree, "", faults);
      if (auto mapping = root.mapping("settings such as `storeroom: cellar`")) {
        read_root(*mapping, result.settings);
      }
    }
  }
  result.faults = faults.faults();
  return result;
}

}  // namespace torpor::config
