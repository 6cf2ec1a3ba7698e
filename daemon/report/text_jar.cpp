#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/report/duration_words.h"
#include "daemon/report/printable.h"
#include "daemon/report/sparkline.h"
#include "daemon/report/text.h"
#include "daemon/report/text_parts.h"
#include "rules/culture/words.h"

namespace torpor::daemon {
namespace {

// What fits on one screen beside the rest; --csv and --json have them all.
constexpr std::size_t kWeeksShown = 8;
constexpr std::size_t kAlertsShown = 6;
constexpr std::size_t kEntriesShown = 8;

// The curves' smallest height: less than this is noise and must not look like a swing.
constexpr double kLeastKelvin = 4.0;
constexpr double kLeastPercent = 10.0;

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

std::string vessel_words(const NewJar& made) {
  std::string words;
  if (made.vessel) words = std::string(vessel_name(*made.vessel));
  if (made.volume_ml) {
    words +=
        fmt::format("{}{:.3g} l", words.empty() ? "vessel of " : " of ", *made.volume_ml / 1000.0);
  }
  if (made.mouth_mm) words += fmt::format(", mouth {:.3g} cm", *made.mouth_mm / 10.0);
  if (made.empty) words += fmt::format(", {:.0f} g empty", made.empty->value());
  return words;
}

std::string contents_words(const NewJar& made) {
  std::string words;
  const auto add = [&words](std::string_view name, const std::optional<Grams>& grams) {
    if (!grams) return;
    words += fmt::format("{}{} {:.0f} g", words.empty() ? "" : ", ", name, grams->value());
  };
  add("rice", made.rice);
  add("raw", made.raw);
  add("cooked", made.cooked_weight);
  if (made.cooked) {
    words += fmt::format("{}cooked {}", words.empty() ? "" : ", ", cooked_name(*made.cooked));
  }
  add("sugar", made.sugar);
  if (made.sugar_kind) {
    words +=
        fmt::format("{}{} sugar", words.empty() ? "" : ", ", sugar_kind_name(*made.sugar_kind));
  }
  add("topping", made.topping);
  return words;
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
  row("stage", jar.stage);
  row("closed",
      context.zone.to_text(jar.closed) +
          (jar.closed <= jar.as_of ? fmt::format(", {} ago", in_words(jar.as_of - jar.closed))
                                   : std::string()));
  if (jar.retired_at) row("retired", context.zone.to_text(*jar.retired_at));
  row("contents", contents_words(made));
  row("vessel", vessel_words(made));
  row("cover", made.cover ? std::string(cover_name(*made.cover)) : std::string());
  row("origin", made.origin);
  if (jar.air.temperature) {
    std::string now = fmt::format("{:.1f} °C", jar.air.temperature->value());
    if (jar.air.humidity) now += fmt::format(", {:.0f} %", jar.air.humidity->value());
    if (jar.air.dew_point) now += fmt::format(", dew point {:.1f} °C", jar.air.dew_point->value());
    row("air now", now + fmt::format(" ({})", jar.air.sensor));
  }
  return text;
}

std::string state_text(const JarHistoryView& view, const TextContext& context) {
  const rules::culture::Verdict& verdict = view.jar.verdict;
  std::string text = section("State: " + std::string(state_name(verdict.state)), context);
  for (const std::string& reason : verdict.reasons) {
    text += paragraph(reason, 4, context.style.width, "  -");
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

struct Curve {
  std::string_view unit;
  double least;  // smallest height
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
  return fmt::format("  highest {}  {}  {:.0f} to {:.0f} {}\n", fit(curve.unit, 2),
                     sparkline(values, bottom, top, context.style.utf8), *low, *high, curve.unit);
}

template <class Tag>
std::string range_text(const std::optional<Amount<Tag>>& low,
                       const std::optional<Amount<Tag>>& high, int decimals) {
  if (!low || !high) return "-";
  return figure(low, decimals) + " to " + figure(high, decimals);
}

std::string weeks_text(const JarHistoryView& view, const TextContext& context) {
  Table table({{"  WEEK", true}, {"FROM"}, {"°C", true}, {"%", true}, {"COVERED", true}});
  const auto shown = newest_of(view.weeks, kWeeksShown);
  std::size_t number = view.weeks.size() - shown.size();
  for (const ExposureRange& week : shown) {
    table.add({fmt::format("{}", ++number), context.zone.to_text(week.from),
               range_text(week.lowest_temperature, week.highest_temperature, 1),
               range_text(week.lowest_humidity, week.highest_humidity, 0),
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
  text += paragraph(words, 2, context.style.width);
  static constexpr Curve kTemperature = {
      "°C", kLeastKelvin, [](const ExposureRange& range) {
        return range.highest_temperature ? std::optional(range.highest_temperature->value())
                                         : std::nullopt;
      }};
  static constexpr Curve kHumidity = {"%", kLeastPercent, [](const ExposureRange& range) {
                                        return range.highest_humidity
                                                   ? std::optional(range.highest_humidity->value())
                                                   : std::nullopt;
                                      }};
  text += curve_text(view, kTemperature, context) + curve_text(view, kHumidity, context);
  return view.weeks.empty() ? text : text + weeks_text(view, context);
}

// The part of the screen that is estimated, each figure with its range.
std::string estimates_text(const JarHistoryView& view, const TextContext& context) {
  namespace culture = rules::culture;
  const culture::Verdict& verdict = view.jar.verdict;
  const culture::Figures& figures = verdict.figures;
  const int width = context.style.width;
  std::string text = section("What that did to the jar (estimates)", context);
  const auto row = [&](std::string_view name, const std::string& value) {
    if (!value.empty()) text += paragraph(value, 18, width, fmt::format("  {}", name));
  };
  const auto range = [](const std::optional<culture::Ensemble>& ensemble, std::string_view unit,
                        int decimals) {
    if (!ensemble) return std::string();
    // More water or less: the likely figure need not lie between the two others.
    const auto [low, high] = std::minmax({ensemble->cautious, ensemble->likely, ensemble->hopeful});
    return fmt::format("{:.{}f}{} ({:.{}f} to {:.{}f})", ensemble->likely, decimals, unit, low,
                       decimals, high, decimals);
  };
  // More than all of the work is no better known than all of it.
  const auto done = [](std::optional<culture::Ensemble> percent) {
    if (!percent) return percent;
    for (double* member : {&percent->cautious, &percent->likely, &percent->hopeful}) {
      *member = std::min(*member, 100.0);
    }
    return percent;
  };
  row("activity on top", range(figures.surface_activity, "", 3));
  row("in the body", range(figures.body_activity, "", 3));
  row("water taken up", range(figures.water_gained_g, " g", 1));
  row("can still take", range(figures.water_buffer_g, " g", 0));
  row("wake progress", range(done(figures.wake_progress_percent), " %", 0));
  row("slow work", range(done(figures.slow_work_percent), " %", 0));
  if (verdict.time_to_wake[0].kind != culture::WakeTime::Kind::unknown) {
    row("wakes", culture::to_words(verdict.time_to_wake));
  }
  if (figures.highest_temperature) {
    row("warmest inside", fmt::format("{:.1f} °C", figures.highest_temperature->value()));
  }
  if (figures.inner_dew_h >= 1.0) {
    row("dew inside", fmt::format("{:.0f} h on the lid or glass above it", figures.inner_dew_h));
  }
  for (const culture::Unknowable& unknown : verdict.unknown) {
    row("not known", fmt::format("{}: {}", unknown.figure, unknown.why));
  }
  const auto curve = [&](std::string_view name, auto value) {
    std::vector<std::optional<double>> values;
    double low = 0.0, high = 0.0;
    bool any = false;
    for (const LifePoint& point : view.life) {
      const std::optional<culture::Ensemble>& ensemble = value(point);
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
  const auto shown = newest_of(view.alerts, kAlertsShown);
  for (const AlertView& alert : shown) text += alert_block(alert, false, context);
  return text + earlier(view.alerts.size(), shown.size(), "--json");
}

std::string journal_part(const JarHistoryView& view, const TextContext& context) {
  std::string text = section("Journal", context);
  const auto shown = newest_of(view.journal, kEntriesShown);
  for (const JournalEntry& entry : shown) {
    const std::string by = entry.by.empty() ? "" : " (" + entry.by + ")";
    text +=
        paragraph(entry.sentence + by, 26, context.style.width,
                  fmt::format("  {:<5} {}", entry.number, context.zone.to_text(entry.happened_at)));
  }
  return text + earlier(view.journal.size(), shown.size(), "--json");
}

// Common practice, no source.
std::string cautions(const JarHistoryView& view, const TextContext& context) {
  const NewJar& made = view.made;
  std::string text = section("Cautions", context);
  const auto caution = [&](std::string_view sentence) {
    text += paragraph(sentence, 4, context.style.width, "  -");
  };
  caution("This is not food and not medicine. Label it, and keep it from children and animals.");
  if (made.cover == Cover::tight_lid || made.cover == Cover::film) {
    caution(
        "A working jar under a tight cover builds up pressure and can burst: face and eyes "
        "away, a cloth over it, ease the cover slowly.");
  }
  if (made.vessel == Vessel::plastic) {
    caution("Long storage wants glass or glazed ceramic; this jar is plastic.");
  }
  caution("Coloured or black growth, or a rotten smell: do not use any of it and do not scrape.");
  return text;
}

}  // namespace

std::string jar_history_text(const JarHistoryView& view, const TextContext& context) {
  return heading(context) + what_it_is(view, context) + state_text(view, context) +
         estimates_text(view, context) + stays_text(view, context) +
         air_history_text(view, context) + alerts_part(view, context) +
         journal_part(view, context) + cautions(view, context);
}

}  // namespace torpor::daemon
