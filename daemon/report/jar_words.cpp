#include "daemon/report/jar_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "rules/culture/words.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

using rules::culture::Ensemble;

std::string with_range(const std::optional<Ensemble>& ensemble, std::string_view unit,
                       int decimals) {
  if (!ensemble) return "";
  // More water or less: the likely figure need not lie between the two others.
  const auto [low, high] = std::minmax({ensemble->cautious, ensemble->likely, ensemble->hopeful});
  return fmt::format("{:.{}f}{} ({:.{}f} to {:.{}f})", ensemble->likely, decimals, unit, low,
                     decimals, high, decimals);
}

// More than all of the work is no better known than all of it.
std::optional<Ensemble> at_most_all(std::optional<Ensemble> percent) {
  if (!percent) return percent;
  for (double* member : {&percent->cautious, &percent->likely, &percent->hopeful}) {
    *member = std::min(*member, 100.0);
  }
  return percent;
}

}  // namespace

std::string vessel_words(const NewJar& made) {
  std::string words;
  if (made.vessel) words = std::string(vessel_name(*made.vessel));
  if (made.volume_ml) {
    words +=
        fmt::format("{}{:.3g} l", words.empty() ? "vessel of " : " of ", *made.volume_ml / 1000.0);
  }
  if (made.mouth_mm) words += fmt::format(", mouth {:.3g} cm", *made.mouth_mm / 10.0);
  if (made.empty) words += fmt::format(", {} g empty", shown_number(made.empty->value(), 0));
  return words;
}

std::string contents_words(const NewJar& made) {
  std::string words;
  const auto add = [&words](std::string_view name, const std::optional<Grams>& grams) {
    if (!grams) return;
    words +=
        fmt::format("{}{} {} g", words.empty() ? "" : ", ", name, shown_number(grams->value(), 0));
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

std::vector<Speaker> speakers_of(const JarHistoryView& view) {
  std::vector<Speaker> speakers;
  for (const ExposureRow& row : view.exposure) {
    if (!speakers.empty() && speakers.back().sensor == row.sensor) {
      speakers.back().to = row.to;
      continue;
    }
    // Rows of a long life are thinned and leave gaps.
    if (!speakers.empty()) speakers.back().to = row.from;
    speakers.push_back({row.from, row.to, row.sensor});
  }
  return speakers;
}

std::vector<NamedFigure> estimate_rows(const JarView& view) {
  namespace culture = rules::culture;
  const culture::Figures& figures = view.figures;
  const auto& times = view.standing.time_to_wake;
  std::vector<NamedFigure> rows;
  const auto row = [&rows](std::string name, std::string value) {
    if (!value.empty()) rows.push_back({std::move(name), std::move(value)});
  };
  row("activity on top", with_range(figures.surface_activity, "", 3));
  row("in the body", with_range(figures.body_activity, "", 3));
  row("water taken up", with_range(figures.water_gained_g, " g", 1));
  row("can still take", with_range(figures.water_buffer_g, " g", 0));
  row("wake progress", with_range(at_most_all(figures.wake_progress_percent), " %", 0));
  row("slow work", with_range(at_most_all(figures.slow_work_percent), " %", 0));
  if (times[0].kind != culture::WakeTime::Kind::unknown) {
    row("wakes", culture::to_words(times));
  }
  if (figures.highest_temperature) {
    row("warmest inside", fmt::format("{:.1f} °C", figures.highest_temperature->value()));
  }
  if (figures.inner_dew_h >= 1.0) {
    row("dew inside", fmt::format("{:.0f} h on the lid or glass above it", figures.inner_dew_h));
  }
  for (const culture::Unknowable& unknown : view.unknown) {
    row("not known", fmt::format("{}: {}", unknown.figure, unknown.why));
  }
  return rows;
}

std::string to_wake_words(const rules::Standing& standing) {
  using rules::culture::WakeTime;
  const auto& times = standing.time_to_wake;
  const bool moot = standing.state == rules::culture::State::retired ||
                    standing.state == rules::culture::State::awake;
  if (moot || times[0].kind == WakeTime::Kind::unknown) return "-";
  if (times[0].kind == WakeTime::Kind::beyond) return "not in sight";
  if (times[2].kind == WakeTime::Kind::due) return "due";
  const auto days = [](const WakeTime& time) { return time.hours / 24.0; };
  const double soonest = days(times[0]);
  const bool in_weeks = soonest >= 21.0;
  const double unit = in_weeks ? 7.0 : 1.0;
  if (times[0].kind == WakeTime::Kind::due) return "maybe now";
  const std::string from = fmt::format("{:.0f}", std::floor(soonest / unit));
  if (times[2].kind != WakeTime::Kind::within) {
    return fmt::format("{}+ {}", from, in_weeks ? "weeks" : "d");
  }
  return fmt::format("{}-{:.0f} {}", from, std::ceil(days(times[2]) / unit),
                     in_weeks ? "weeks" : "d");
}

std::vector<std::string_view> caution_sentences(const NewJar& made) {
  std::vector<std::string_view> sentences = {
      "This is not food and not medicine. Label it, and keep it from children and animals."};
  if (made.cover == Cover::tight_lid || made.cover == Cover::film) {
    sentences.push_back(
        "A working jar under a tight cover builds up pressure and can burst: face and eyes "
        "away, a cloth over it, ease the cover slowly.");
  }
  if (made.vessel == Vessel::plastic) {
    sentences.push_back("Long storage wants glass or glazed ceramic; this jar is plastic.");
  }
  sentences.push_back(
      "Coloured or black growth, or a rotten smell: do not use any of it and do not scrape.");
  return sentences;
}

}  // namespace torpor::daemon
