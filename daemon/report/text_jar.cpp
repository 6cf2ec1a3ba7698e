#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/report/alert_words.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/jar_line.h"
#include "daemon/report/jar_words.h"
#include "daemon/report/printable.h"
#include "daemon/report/sparkline.h"
#include "daemon/report/text.h"
#include "daemon/report/text_parts.h"

namespace torpor::daemon {
namespace {

// What fits on one screen beside the rest; --csv and --json have them all.
constexpr std::size_t kAlertsShown = 6;
constexpr std::size_t kEntriesShown = 8;
constexpr std::size_t kSpeakersShown = 4;

// Points of the little curves: what an 80-column line holds beside its legend.
constexpr std::size_t kCurveColumns = 48;
// The curves' smallest height: less than this is noise and must not look like a swing.
constexpr double kLeastCurveKelvin = 4.0;
constexpr double kLeastCurvePercent = 10.0;

std::string section(std::string_view title, const TextContext& context) {
  return '\n' + painted(title, Paint::strong, context.style.colour) + '\n';
}

std::string earlier(std::size_t all, std::size_t shown, std::string_view option) {
  if (all <= shown) return "";
  return fmt::format("  (earlier ones not shown: {}; {} has all)\n", all - shown, option);
}

template <class T>
std::span<const T> newest_of(const std::vector<T>& all, std::size_t count) {
  return std::span(all).last(std::min(all.size(), count));
}

// At most `count` of the points at equal distances, the last one among them.
std::vector<LifePoint> evenly(const std::vector<LifePoint>& points, std::size_t count) {
  if (points.size() <= count) return points;
  std::vector<LifePoint> chosen;
  for (std::size_t i = 1; i <= count; ++i) chosen.push_back(points[points.size() * i / count - 1]);
  return chosen;
}

std::string what_it_is(const JarHistoryView& view, const TextContext& context) {
  const JarView& jar = view.jar;
  const NewJar& made = view.made;
  const int width = context.style.width;
  std::string text =
      painted(printable("Jar " + jar.jar), Paint::strong, context.style.colour) + '\n';
  const auto row = [&](std::string_view name, const std::string& value) {
    if (!value.empty()) text += paragraph(value, 12, width, fmt::format("  {}", name));
  };
  const auto amounts = [&](std::string_view name, const std::string& value) {
    row(name, context.units.in(value));
  };
  row("stage", jar.stage);
  row("closed",
      context.zone.to_text(jar.closed) +
          (jar.closed <= jar.as_of ? fmt::format(", {} ago", in_words(jar.as_of - jar.closed))
                                   : std::string()));
  if (jar.retired_at) row("retired", context.zone.to_text(*jar.retired_at));
  amounts("contents", contents_words(made));
  amounts("vessel", vessel_words(made));
  row("cover", made.cover ? std::string(cover_name(*made.cover)) : std::string());
  row("origin", made.origin);
  if (jar.air.temperature) {
    std::string now = fmt::format("{:.1f} °C", jar.air.temperature->value());
    if (jar.air.humidity) now += fmt::format(", {:.0f} %", jar.air.humidity->value());
    if (jar.air.dew_point) now += fmt::format(", dew point {:.1f} °C", jar.air.dew_point->value());
    amounts("air now", now + fmt::format(" ({})", jar.air.sensor));
  }
  return text;
}

// How it stands: the deed first, then why, then what else there is to know.
std::string state_text(const JarHistoryView& view, const TextContext& context) {
  const rules::Standing& standing = view.jar.standing;
  const int width = context.style.width;
  std::string text =
      section((view.jar.past ? "Then: " : "State: ") + standing_brief(standing), context);
  const auto said = [&](std::string_view words) {
    text += paragraph(context.units.in(words), 2, width);
  };
  if (standing.deed) {
    said(standing.urgency
             ? fmt::format("{}: {}", urgency_words(*standing.urgency), standing.deed->words)
             : standing.deed->words);
    if (standing.next) said("Then: " + standing.next->words);
  } else if (!view.jar.past && standing.state != rules::culture::State::retired) {
    said("Nothing to do.");
  }
  if (!standing.why.empty()) said(standing.why);
  if (standing.next_date) {
    said(fmt::format("By {} {}.", context.zone.to_text(standing.next_date->at).substr(0, 10),
                     standing.next_date->what));
  }
  for (const std::string& reason : standing.reasons) {
    text += paragraph(context.units.in(reason), 4, width, "  -");
  }
  return text;
}

std::string stays_text(const JarHistoryView& view, const TextContext& context) {
  std::string text = section("Where it stood", context);
  if (view.stays.empty()) return text + "  nowhere in this time\n";
  for (const Stay& stay : view.stays) {
    text += fmt::format("  {}  {:<16}  {}\n", context.zone.to_text(stay.from),
                        stay.to ? context.zone.to_text(*stay.to) : "still there",
                        printable(stay.place));
  }
  return text;
}

std::string speakers_text(const JarHistoryView& view, const TextContext& context) {
  const std::vector<Speaker> speakers = speakers_of(view);
  if (speakers.size() < 2) return "";  // one all along stands with the air
  std::string text = section("Which sensor spoke for its air", context);
  const auto shown = newest_of(speakers, kSpeakersShown);
  for (const Speaker& speaker : shown) {
    const bool last = &speaker == &speakers.back();
    text += fmt::format("  {}  {:<16}  {}\n", context.zone.to_text(speaker.from),
                        last ? "to the end" : context.zone.to_text(speaker.to),
                        speaker.sensor.empty() ? "none" : printable(speaker.sensor));
  }
  return text + earlier(speakers.size(), shown.size(), "--csv");
}

struct Curve {
  bool is_temperature;  // else humidity
  double least;         // smallest height
  std::optional<double> (*value)(const ExposureRange&);
};

std::string curve_text(const JarHistoryView& view, const Curve& curve, const TextContext& context) {
  std::vector<std::optional<double>> values;
  std::optional<double> low, high;
  for (const ExposureRange& slice : view.slices) {
    const std::optional<double> value = curve.value(slice);
    values.push_back(value);
    if (!value) continue;
    low = std::min(low.value_or(*value), *value);
    high = std::max(high.value_or(*value), *value);
  }
  if (!low) return "";
  double bottom = *low, top = *high;
  if (top - bottom < curve.least) {
    const double middle = (bottom + top) / 2.0;
    bottom = middle - curve.least / 2.0;
    top = middle + curve.least / 2.0;
  }
  return fmt::format("  highest {}  {}  {}\n",
                     fit(curve.is_temperature ? context.units.temperature_symbol() : "%", 2),
                     sparkline(values, bottom, top, context.style.utf8),
                     context.units.in(fmt::format("{:.0f} to {:.0f} {}", *low, *high,
                                                  curve.is_temperature ? "°C" : "%")));
}

std::string range_text(std::optional<double> low, std::optional<double> high, int decimals) {
  if (!low || !high) return "-";
  return figure_text(low, decimals) + "-" + figure_text(high, decimals);
}

std::optional<double> percent(const std::optional<Percent>& humidity) {
  return humidity ? std::optional(humidity->value()) : std::nullopt;
}

// The highest of each half day of one week, on one scale for all weeks.
template <class Tag>
class WeekCurve {
 public:
  WeekCurve(const JarHistoryView& view, std::optional<Amount<Tag>> ExposureRange::*highest,
            double least)
      : view_(view), highest_(highest) {
    std::optional<double> low, high;
    for (const ExposureRange& half : view.half_days) {
      if (!(half.*highest)) continue;
      const double value = (half.*highest)->value();
      low = std::min(low.value_or(value), value);
      high = std::max(high.value_or(value), value);
    }
    const double middle = (low.value_or(0.0) + high.value_or(0.0)) / 2.0;
    low_ = std::min(low.value_or(0.0), middle - least / 2.0);
    high_ = std::max(high.value_or(0.0), middle + least / 2.0);
  }
  [[nodiscard]] std::string of(const ExposureRange& week, bool utf8) const {
    std::vector<std::optional<double>> values;
    for (const ExposureRange& half : view_.half_days) {
      if (half.from < week.from || half.from >= week.to) continue;
      const auto& highest = half.*highest_;
      values.push_back(highest ? std::optional(highest->value()) : std::nullopt);
    }
    return sparkline(values, low_, high_, utf8);
  }

 private:
  const JarHistoryView& view_;
  std::optional<Amount<Tag>> ExposureRange::*highest_;
  double low_ = 0.0, high_ = 1.0;
};

// One week a row: its extremes, and a little curve of half a day a letter.
std::string weeks_text(const JarHistoryView& view, const TextContext& context) {
  Table table({{"  WEEK", true},
               {"FROM"},
               {std::string(context.units.temperature_symbol()), true},
               {"BY HALF DAYS"},
               {"%", true},
               {"BY HALF DAYS"},
               {"COVERED", true}});
  const auto shown = newest_of(view.weeks, kDetailedWeeks);
  const WeekCurve temperature(view, &ExposureRange::highest_temperature, kLeastCurveKelvin);
  const WeekCurve humidity(view, &ExposureRange::highest_humidity, kLeastCurvePercent);
  std::size_t number = view.weeks.size() - shown.size();
  for (const ExposureRange& week : shown) {
    table.add({fmt::format("{}", ++number), context.zone.to_text(week.from).substr(0, 10),
               range_text(context.units.temperature(week.lowest_temperature),
                          context.units.temperature(week.highest_temperature), 1),
               temperature.of(week, context.style.utf8),
               range_text(percent(week.lowest_humidity), percent(week.highest_humidity), 0),
               humidity.of(week, context.style.utf8),
               fmt::format("{:.0f} %", std::floor(week.coverage_percent))});
  }
  return table.text(context.style.width, context.style.colour) +
         earlier(view.weeks.size(), shown.size(), "--csv");
}

std::string air_history_text(const JarHistoryView& view, const TextContext& context) {
  const ExposureSummary& summary = view.summary;
  std::string text =
      section(fmt::format("The air it stood in, {} to {}", context.zone.to_text(summary.from),
                          context.zone.to_text(summary.to)),
              context);
  if (summary.from == summary.to) return text + "  no time has passed yet\n";
  std::string words = fmt::format("covered by sensors {:.1f} % of the time",
                                  std::floor(summary.coverage_percent * 10.0) / 10.0);
  if (summary.highest_temperature) {
    words += fmt::format("; highest {:.1f} °C", summary.highest_temperature->value());
  }
  if (summary.mean_kinetic_temperature) {
    words += fmt::format("; mean kinetic temperature {:.1f} °C",
                         summary.mean_kinetic_temperature->value());
  }
  text += paragraph(context.units.in(words), 2, context.style.width);
  static constexpr Curve kTemperature = {
      true, kLeastCurveKelvin, [](const ExposureRange& range) {
        return range.highest_temperature ? std::optional(range.highest_temperature->value())
                                         : std::nullopt;
      }};
  static constexpr Curve kHumidity = {false, kLeastCurvePercent, [](const ExposureRange& range) {
                                        return range.highest_humidity
                                                   ? std::optional(range.highest_humidity->value())
                                                   : std::nullopt;
                                      }};
  text += curve_text(view, kTemperature, context) + curve_text(view, kHumidity, context);
  return view.weeks.empty() ? text : text + weeks_text(view, context);
}

// The part of the screen that is estimated, each figure with its range.
std::string estimates_text(const JarHistoryView& view, const TextContext& context) {
  std::string text = section("What that did to the jar (estimates)", context);
  for (const NamedFigure& row : estimate_rows(view.jar)) {
    text += paragraph(context.units.in(row.value), 18, context.style.width, "  " + row.name);
  }
  const auto curve = [&](std::string_view name, auto value) {
    std::vector<std::optional<double>> values;
    double low = 0.0, high = 0.0;
    bool any = false;
    for (const LifePoint& point : evenly(view.life, kCurveColumns)) {
      const std::optional<rules::culture::Ensemble>& ensemble = value(point);
      values.push_back(ensemble ? std::optional(ensemble->likely) : std::nullopt);
      if (!ensemble) continue;
      low = any ? std::min(low, ensemble->likely) : ensemble->likely;
      high = any ? std::max(high, ensemble->likely) : ensemble->likely;
      any = true;
    }
    // A line that does not move says nothing.
    if (!any || high - low < 0.005 * std::max(1.0, high)) return;
    text += fmt::format("  {:<10}  {}  {:.3g} to {:.3g}\n", name,
                        sparkline(values, low, high, context.style.utf8), low, high);
  };
  curve("activity", [](const LifePoint& point) { return point.surface_activity; });
  curve("progress", [](const LifePoint& point) { return point.wake_progress_percent; });
  return text;
}

std::string alerts_part(const JarHistoryView& view, const TextContext& context) {
  std::string text = section("Alerts that concerned it", context);
  if (view.alerts.empty()) return text + "  none\n";
  const auto shown = alerts_to_show(view.alerts, kAlertsShown);
  for (const AlertView* alert : shown) {
    text += alert_block(*alert, alert->alert.state == rules::AlertState::standing, context);
  }
  return text + earlier(view.alerts.size(), shown.size(), "--json");
}

std::string journal_part(const JarHistoryView& view, const TextContext& context) {
  std::string text = section("Journal", context);
  const auto shown = newest_of(view.journal, kEntriesShown);
  for (const JournalEntry& entry : shown) {
    text +=
        paragraph(entry_words(view, entry), 26, context.style.width,
                  fmt::format("  {:<5} {}", entry.number, context.zone.to_text(entry.happened_at)));
  }
  return text + earlier(view.journal.size(), shown.size(), "--json");
}

std::string line_part(const JarHistoryView& view, const TextContext& context) {
  const std::vector<LineRow> rows = line_rows(view, context.zone);
  if (rows.empty()) return "";
  std::string text = section("Its line", context);
  for (const LineRow& row : rows) {
    text += paragraph(context.units.in(row.value), 12, context.style.width, "  " + row.name);
  }
  return text;
}

std::string cautions(const JarHistoryView& view, const TextContext& context) {
  std::string text = section("Cautions", context);
  for (const std::string_view sentence : caution_sentences(view.made)) {
    text += paragraph(sentence, 4, context.style.width, "  -");
  }
  return text;
}

}  // namespace

std::string jar_history_text(const JarHistoryView& view, const TextContext& context) {
  return heading(context) + what_it_is(view, context) + state_text(view, context) +
         estimates_text(view, context) + line_part(view, context) + stays_text(view, context) +
         speakers_text(view, context) + air_history_text(view, context) +
         alerts_part(view, context) + journal_part(view, context) + cautions(view, context);
}

}  // namespace torpor::daemon
