#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/report/accuracy_words.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/jar_words.h"
#include "daemon/report/printable.h"
#include "daemon/report/sensor_words.h"
#include "daemon/report/text.h"
#include "daemon/report/text_parts.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

std::string alert_numbers(const std::vector<std::uint64_t>& numbers) {
  return numbers.empty() ? std::string("-") : fmt::format("{}", fmt::join(numbers, " "));
}

Cell alerts_cell(const std::vector<std::uint64_t>& numbers) {
  return {alert_numbers(numbers), numbers.empty() ? Paint::none : Paint::warning};
}

std::string coverage_text(const std::optional<double>& percent) {
  // Rounded down: 74.9 must not read as the 75 that would be enough.
  return percent ? fmt::format("{:.0f} %", std::floor(*percent)) : "-";
}

std::string or_dash(const std::string& text) { return text.empty() ? "-" : text; }

// As short as a column.
std::string use_word(rules::Use use) {
  switch (use) {
    case rules::Use::look_first:
      return "look";
    case rules::Use::wake_test_first:
      return "test";
    case rules::Use::yes:
    case rules::Use::no:
      break;
  }
  return std::string(use_name(use));
}

Paint use_paint(rules::Use use) {
  if (use == rules::Use::yes) return Paint::none;
  return use == rules::Use::no ? Paint::alarm : Paint::warning;
}

std::string hangs_on(const SensorView& view) {
  return view.jar.empty() ? or_dash(view.place) : "jar " + view.jar;
}

Cell state_cell(SensorState state) {
  switch (state) {
    case SensorState::live:
      return "live";
    case SensorState::silent:
      return {"silent", Paint::warning};
    case SensorState::never_heard:
      return {"never heard", Paint::warning};
    case SensorState::not_configured:
      return "not configured";
  }
  return "never heard";
}

// "18.2", with "!" where the value is not believed.
std::string reading_text(const SensorView& view, Quantity quantity, const PersonUnits& units) {
  for (const SensorReading& reading : view.readings) {
    if (reading.quantity != quantity) continue;
    const double value = quantity == Quantity::temperature
                             ? units.temperature(Celsius(reading.value))
                             : reading.value;
    return fmt::format("{}{}", shown_number(value, 1), reading.trusted ? "" : "!");
  }
  return "-";
}

std::string last_heard(const SensorView& view, const LocalTime& zone) {
  std::optional<Instant> last;
  for (const SensorReading& reading : view.readings) {
    if (facts(reading.quantity).of_sensor) continue;
    last = std::max(last.value_or(reading.measured_at), reading.measured_at);
  }
  return last ? zone.to_text(*last) : "-";
}

bool any_untrusted(std::span<const SensorView> views) {
  for (const SensorView& view : views) {
    for (const SensorReading& reading : view.readings) {
      if (!reading.trusted) return true;
    }
  }
  return false;
}

}  // namespace

std::string heading(const TextContext& context) {
  std::string text = fmt::format("As of {} ({}).\n", context.zone.to_text(context.as_of),
                                 printable(context.zone.zone()));
  if (context.behind) {
    text += painted(fmt::format("No sensor has sent anything for {}.", in_words(*context.behind)),
                    Paint::warning, context.style.colour) +
            '\n';
  }
  return text + '\n';
}

std::string jars_text(std::span<const JarRow> rows, const TextContext& context) {
  std::string text = heading(context);
  if (rows.empty()) {
    return text +
           "No jar is registered yet. Register one with, for example:\n"
           "  torpor tell 'new jar B-01 in cellar/shelf-1 stage IMO-2 closed 2026-03-02'\n";
  }
  Table table({{"JAR", false, 2},
               {"STATE"},
               {"USE"},
               {"TO WAKE"},
               {"PLACE", false, 1},
               {std::string(context.units.temperature_symbol()), true},
               {"%", true},
               {"COVERED", true},
               {"ALERTS", false, 1},
               {"STAGE", false, 1}});
  for (const JarRow& row : rows) {
    table.add({row.jar,
               {std::string(state_name(row.standing.state)), state_paint(row.standing.state)},
               {use_word(row.standing.use), use_paint(row.standing.use)},
               to_wake_words(row.standing),
               or_dash(row.place),
               figure_text(context.units.temperature(row.air.temperature), 1),
               figure(row.air.humidity, 0),
               coverage_text(row.coverage_percent),
               alerts_cell(row.alerts),
               or_dash(row.stage)});
  }
  text += table.text(context.style.width, context.style.colour);
  return text;
}

std::string places_text(std::span<const PlaceView> views, const TextContext& context) {
  Table table({{"PLACE", false, 2},
               {std::string(context.units.temperature_symbol()), true},
               {"%", true},
               {fmt::format("DEW {}", context.units.temperature_symbol()), true},
               {"g/m³", true},
               {"SENSOR", false, 1},
               {"JARS", true},
               {"ALERTS", false, 1}});
  for (const PlaceView& view : views) {
    table.add({view.path + (view.outside ? " (outside)" : ""),
               figure_text(context.units.temperature(view.air.temperature), 1),
               figure(view.air.humidity, 0),
               figure_text(context.units.temperature(view.air.dew_point), 1),
               figure(view.air.absolute_humidity, 1), or_dash(view.air.sensor),
               fmt::format("{}", view.jars.size()), alerts_cell(view.alerts)});
  }
  return heading(context) + table.text(context.style.width, context.style.colour);
}

namespace {

// What the judges say of each sensor that they doubt, or that lies in a check.
std::string standings_text(std::span<const SensorView> views, const TextContext& context) {
  std::string text;
  for (const SensorView& view : views) {
    for (const std::string& line : trust_reasons(view)) {
      text += "\n";
      for (const std::string& row :
           wrap(context.units.in(fmt::format("{}: {}", view.id, line)), context.style.width)) {
        text += row + "\n";
      }
    }
  }
  return text;
}

// Of those that tell of theirs, the emptiest first.
std::string batteries_text(std::span<const SensorView> views, const TextContext& context) {
  std::vector<std::pair<double, std::string>> charges;
  for (const SensorView& view : views) {
    for (const SensorReading& reading : view.readings) {
      if (reading.quantity != Quantity::battery || !reading.trusted) continue;
      charges.emplace_back(reading.value, fmt::format("{} {:.0f} %", view.id, reading.value));
    }
  }
  if (charges.empty()) return {};
  std::sort(charges.begin(), charges.end());
  std::string words;
  for (const auto& [charge, text] : charges) words += (words.empty() ? "" : ", ") + text;
  return '\n' + paragraph(fmt::format("Batteries: {}.", words), 0, context.style.width);
}

}  // namespace

std::string sensors_text(std::span<const SensorView> views, const TextContext& context) {
  Table table({{"SENSOR", false, 2},
               {"HANGS ON", false, 1},
               {"SENSES"},
               {"STATE"},
               {std::string(context.units.temperature_symbol()), true},
               {"%", true},
               {"LAST READING"}});
  for (const SensorView& view : views) {
    table.add({view.id, hangs_on(view), std::string(rules::senses_name(view.senses)),
               state_cell(view.state), reading_text(view, Quantity::temperature, context.units),
               reading_text(view, Quantity::humidity, context.units),
               last_heard(view, context.zone)});
  }
  std::string text = heading(context) + table.text(context.style.width, context.style.colour);
  if (any_untrusted(views)) {
    text += "\n! a value that is not believed: kept, but nothing is concluded from it.\n";
  }
  text += standings_text(views, context);
  text += batteries_text(views, context);
  for (const SensorView& view : views) {
    for (const std::string& line : check_words(view, context.zone)) {
      text += '\n' + paragraph(context.units.in(fmt::format("{}, {}.", view.id, line)), 0,
                               context.style.width);
    }
  }
  if (const std::string never = never_checked_words(views); !never.empty()) {
    text += '\n' + paragraph(context.units.in(never), 0, context.style.width);
  }
  return text;
}

std::string alerts_text(std::span<const AlertView> views, bool all, const TextContext& context) {
  std::string text = heading(context);
  if (views.empty()) return text + (all ? "No alert was ever raised.\n" : "No alert stands.\n");
  bool first = true;
  for (const AlertView& view : views) {
    text += (first ? "" : "\n") + alert_block(view, true, context);
    first = false;
  }
  return text;
}

std::string air_text(const AirView& view) {
  std::string text = fmt::format("Air of {:.4g} °C and {:.4g} % relative humidity at {} Pa:\n",
                                 view.temperature.value(), view.humidity.value(),
                                 shown_number(view.pressure.value(), 0));
  const auto line = [&text](std::string_view name, const std::string& value) {
    text += fmt::format("  {:<28}{}\n", name, value);
  };
  line("dew point",
       view.dew_point ? fmt::format("{:.1f} °C", view.dew_point->value()) : "none (dry air)");
  line("vapour pressure", fmt::format("{:.0f} Pa", view.vapour_pressure.value()));
  line("saturation vapour pressure",
       fmt::format("{:.0f} Pa", view.saturation_vapour_pressure.value()));
  line("absolute humidity", fmt::format("{:.2f} g/m³", view.absolute_humidity.value()));
  line("humidity ratio",
       fmt::format("{:.2f} g water per kg dry air", view.humidity_ratio.value() * 1000.0));
  return text;
}

}  // namespace torpor::daemon
