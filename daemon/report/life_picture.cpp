#include "daemon/report/life_picture.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "daemon/report/life_marks.h"
#include "daemon/report/local_days.h"
#include "daemon/report/strip_lane.h"

namespace torpor::daemon {
namespace {

using rules::culture::Ensemble;

// Heights in pixels: four lanes and their titles on one page of A4 beside the words.
constexpr double kTitleHeight = 20.0;
constexpr double kAirHeight = 66.0;
constexpr double kActivityHeight = 100.0;
constexpr double kProgressHeight = 50.0;
constexpr double kAxisHeight = 26.0;
constexpr double kKeyHeight = 15.0;
constexpr double kDateLetterShare = 0.0187;  // as kLetterShare; dates are of narrow letters
// degC: from the first on a jar wakes about twice as fast as at 20, in the other it dies in days.
constexpr double kFast = 30.0, kDeadly = 40.0;
// The lanes' smallest spans: less than this is noise and must not look like a swing.
constexpr double kLeastKelvin = 6.0;
constexpr double kLeastPercent = 20.0;

// A part of a slice without trusted air; more than half of it is drawn as uncovered.
constexpr double kCoveredHalf = 50.0;

Instant middle(const ExposureRange& slice) { return slice.from + (slice.to - slice.from) / 2; }

using Bounds = std::pair<std::optional<double>, std::optional<double>>;

std::vector<Run> runs_of(const JarHistoryView& view,
                         const std::function<Bounds(const ExposureRange&)>& bounds) {
  std::vector<Run> runs;
  bool open = false;
  for (const ExposureRange& slice : view.slices) {
    const auto [low, high] = bounds(slice);
    if (!low || !high) {
      open = false;
      continue;
    }
    if (!open) runs.emplace_back();
    open = true;
    runs.back().push_back({middle(slice), *low, *high});
  }
  return runs;
}

// A long life has a point a day: of those that fall together the band holds all, the line the last.
std::vector<Run> runs_of(const JarHistoryView& view, std::optional<Ensemble> LifePoint::*figure,
                         bool range) {
  const std::size_t together = view.life.size() / static_cast<std::size_t>(kPicturePoints) + 1;
  std::vector<Run> runs;
  bool open = false;
  for (std::size_t i = 0; i < view.life.size(); ++i) {
    const std::optional<Ensemble>& ensemble = view.life[i].*figure;
    if (!ensemble) {
      open = false;
      continue;
    }
    const auto [low, high] = std::minmax({ensemble->cautious, ensemble->likely, ensemble->hopeful});
    BandPoint point{view.life[i].at, range ? low : ensemble->likely,
                    range ? high : ensemble->likely};
    if (open && i % together != 0) {
      BandPoint& last = runs.back().back();
      if (range) {
        point.low = std::min(point.low, last.low);
        point.high = std::max(point.high, last.high);
      }
      last = point;
      continue;
    }
    if (!open) runs.emplace_back();
    open = true;
    runs.back().push_back(point);
  }
  return runs;
}

void widen(double& low, double& high, const std::vector<Run>& runs) {
  for (const Run& run : runs) {
    for (const BandPoint& point : run) {
      low = std::min(low, point.low);
      high = std::max(high, point.high);
    }
  }
}

// Curves stretch with the width: their own coordinates, and lines that keep their strength.
void draw_runs(Markup& page, const std::vector<Run>& runs, const TimeScale& scale, const Lane& lane,
               bool area, Literal style) {
  const auto stretched =
      page.in("svg", {{"x", 0.0},
                      {"y", lane.top},
                      {"width", "100%"},
                      {"height", lane.height},
                      {"viewBox", fmt::format("0 0 {:.0f} {:.0f}", TimeScale::kWidth, lane.height)},
                      {"preserveAspectRatio", "none"}});
  for (const Run& run : runs) {
    page.shape("path", {{"class", style.text()},
                        {"d", area ? area_path(run, scale, lane) : line_path(run, scale, lane)}});
  }
}

class LifeDrawing {
 public:
  LifeDrawing(Markup& page, const JarHistoryView& view, const PageContext& context)
      : page_(page),
        view_(view),
        zone_(context.zone),
        units_(context.units),
        scale_(view.summary.from, view.summary.to),
        marks_(marks_of(view, scale_)),
        bars_(alert_bars(view, scale_)) {
    double y = kMarksTop + mark_rows(marks_) * kMarkRow;
    const auto lane = [&y](double height) {
      y += kTitleHeight;
      const Lane placed{y, height, 0.0, 1.0};
      y += height;
      return placed;
    };
    temperature_ = lane(kAirHeight);
    humidity_ = lane(kAirHeight);
    y += kKeyHeight;
    activity_ = lane(kActivityHeight);
    progress_ = lane(kProgressHeight);
    y += bars_.empty() ? 0.0 : kTitleHeight;
    bars_top_ = y;
    y += bar_rows(bars_) * kBarRow;
    axis_top_ = y + 6.0;
    height_ = axis_top_ + kAxisHeight;
  }

  void draw() {
    const auto svg = page_.in("svg", {{"class", "life"},
                                      {"width", "100%"},
                                      {"height", height_},
                                      {"role", "img"},
                                      {"aria-labelledby", "life-title life-words"}});
    page_.element("title", "The life of jar " + view_.jar.jar, {{"id", "life-title"}});
    page_.element("desc", in_words(), {{"id", "life-words"}});
    hatching();
    draw_stays(page_, view_, scale_);
    draw_speakers(page_, view_, scale_);
    axis();
    uncovered();
    temperature();
    humidity();
    activity();
    progress();
    draw_marks(page_, marks_, axis_top_);
    draw_bars(page_, bars_, bars_top_);
  }

 private:
  void hatching() {
    const auto defs = page_.in("defs");
    const auto pattern = page_.in("pattern", {{"id", "uncovered"},
                                              {"width", 6.0},
                                              {"height", 6.0},
                                              {"patternUnits", "userSpaceOnUse"},
                                              {"patternTransform", "rotate(45)"}});
    page_.shape("line", {{"class", "hatch"}, {"x1", 0.0}, {"y1", 0.0}, {"x2", 0.0}, {"y2", 6.0}});
  }

  void axis() {
    double taken_to = -1.0;  // by the labels so far, share of the axis
    for (const AxisMark& mark : axis_marks(scale_.from(), scale_.to(), zone_)) {
      const std::string x = scale_.percent(mark.at);
      page_.shape("line", {{"class", mark.label.empty() ? "tick fine" : "tick"},
                           {"x1", x},
                           {"x2", x},
                           {"y1", mark.label.empty() ? axis_top_ : temperature_.top},
                           {"y2", axis_top_ + (mark.label.empty() ? 4.0 : 7.0)}});
      if (mark.label.empty()) continue;
      const double share = scale_.share(mark.at);
      const double width = kDateLetterShare * static_cast<double>(mark.label.size());
      const double begin = share < 0.06   ? share
                           : share > 0.94 ? share - width
                                          : share - width / 2.0;
      if (begin < taken_to) continue;
      taken_to = begin + width + kDateLetterShare;
      page_.element("text", mark.label,
                    {{"class", share < 0.06   ? "date start"
                               : share > 0.94 ? "date end"
                                              : "date"},
                     {"x", x},
                     {"y", axis_top_ + 20.0}});
    }
    page_.shape(
        "line",
        {{"class", "axis"}, {"x1", 0.0}, {"x2", "100%"}, {"y1", axis_top_}, {"y2", axis_top_}});
  }

  void uncovered() {
    std::optional<Instant> from;
    Instant to;
    const auto close = [&] {
      if (!from) return;
      page_.shape("rect", {{"class", "uncovered"},
                           {"fill", "url(#uncovered)"},
                           {"x", scale_.percent(*from)},
                           {"width", scale_.width(*from, to)},
                           {"y", temperature_.top},
                           {"height", humidity_.top + humidity_.height - temperature_.top}});
      from.reset();
    };
    for (const ExposureRange& slice : view_.slices) {
      if (slice.coverage_percent >= kCoveredHalf) {
        close();
        continue;
      }
      if (!from) from = slice.from;
      to = slice.to;
    }
    close();
  }

  [[nodiscard]] double degrees(double celsius) const {
    return units_.temperature(Celsius(celsius));
  }

  void temperature() {
    const auto runs = runs_of(view_, [this](const ExposureRange& slice) -> Bounds {
      if (!slice.lowest_temperature || !slice.highest_temperature) return {};
      return {units_.temperature(slice.lowest_temperature),
              units_.temperature(slice.highest_temperature)};
    });
    double low = 1e9, high = -1e9;
    widen(low, high, runs);
    if (low > high) low = degrees(10.0), high = degrees(20.0);
    const double least = degrees(kLeastKelvin) - degrees(0.0);
    const std::string title = fmt::format("Air, {}", units_.temperature_symbol());
    LaneTitle about{title, "", {degrees(kFast), degrees(kDeadly)}, 0, 5.0};
    fit_lane(temperature_, low, high, least, about);
    if (temperature_.shows(degrees(kFast))) about.note = "30 °C: wakes it fast";
    if (temperature_.shows(degrees(kDeadly))) about.note += ", 40 °C: kills in days";
    about.note = units_.in(about.note);
    draw_rulings(page_, temperature_, about);
    draw_air(temperature_, runs);
    draw_limits(page_, temperature_, about);
  }

  void humidity() {
    const auto runs = runs_of(view_, [](const ExposureRange& slice) -> Bounds {
      if (!slice.lowest_humidity || !slice.highest_humidity) return {};
      return {slice.lowest_humidity->value(), slice.highest_humidity->value()};
    });
    double low = 80.0, high = 90.0;
    widen(low, high, runs);
    LaneTitle about{"Air, % humidity", "above 85 % the sugar draws water", {85.0}, 0, 10.0};
    fit_lane(humidity_, low, std::min(high, 98.0), kLeastPercent, about);
    draw_rulings(page_, humidity_, about);
    draw_air(humidity_, runs);
    draw_limits(page_, humidity_, about);
  }

  void activity() {
    const auto top = runs_of(view_, &LifePoint::surface_activity, false);
    const auto top_range = runs_of(view_, &LifePoint::surface_activity, true);
    const auto body = runs_of(view_, &LifePoint::body_activity, false);
    const auto body_range = runs_of(view_, &LifePoint::body_activity, true);
    const double moulds = view_.limits.moulds.likely, yeasts = view_.limits.yeasts.likely;
    double low = moulds - 0.03, high = yeasts + 0.03;
    widen(low, high, top_range);
    widen(low, high, body_range);
    // Dry sugar on top begins far below; what matters lies near the limits.
    low = std::max(low, moulds - 0.11);
    LaneTitle about{"",
                    fmt::format("{:.2f}: moulds can grow, {:.2f}: yeasts can work", moulds, yeasts),
                    {moulds, yeasts},
                    2,
                    0.05};
    fit_lane(activity_, low, high, 0.05, about);
    draw_rulings(page_, activity_, about);
    draw_runs(page_, top_range, scale_, activity_, true, "range");
    draw_runs(page_, body_range, scale_, activity_, true, "range-edge");
    draw_runs(page_, body, scale_, activity_, false, "curve dashed");
    draw_runs(page_, top, scale_, activity_, false, "curve strong");
    draw_limits(page_, activity_, about);
    if (top.empty()) not_known(activity_);
    key(activity_);
  }

  void progress() {
    const auto likely = runs_of(view_, &LifePoint::wake_progress_percent, false);
    const auto range = runs_of(view_, &LifePoint::wake_progress_percent, true);
    LaneTitle about{"Waking, % done (estimate)", "100 %: first sign", {100.0}, 0, 50.0};
    fit_lane(progress_, 0.0, 100.0, 100.0, about);
    draw_rulings(page_, progress_, about);
    draw_runs(page_, range, scale_, progress_, true, "range");
    draw_runs(page_, likely, scale_, progress_, false, "curve strong");
    draw_limits(page_, progress_, about);
    if (likely.empty()) not_known(progress_);
  }

  static void fit_lane(Lane& lane, double low, double high, double least, LaneTitle& title) {
    if (high - low < least) {
      const double centre = (low + high) / 2.0;
      low = centre - least / 2.0;
      high = centre + least / 2.0;
    }
    title.step = std::max(round_step(low, high, 3), least > 1.0 ? 1.0 : 0.01);
    lane.low = std::floor(low / title.step + 0.001) * title.step;
    lane.high = high;
    if (lane.high - lane.low > 1.0) lane.high = std::ceil(high / title.step - 0.001) * title.step;
  }

  void draw_air(const Lane& lane, const std::vector<Run>& runs) {
    draw_runs(page_, runs, scale_, lane, true, "air");
    if (runs.empty()) not_known(lane);
  }

  void not_known(const Lane& lane) {
    page_.element("text", "not known",
                  {{"class", "absent"}, {"x", "50%"}, {"y", lane.top + lane.height / 2.0 + 4.0}});
  }

  // The title of the lane of two curves, and which is which: a line of its own above the note.
  void key(const Lane& lane) {
    const double y = lane.top - 4.0 - kKeyHeight;
    page_.element("text", "Water activity (estimate)", {{"class", "lane"}, {"x", 0.0}, {"y", y}});
    const auto entry = [&](Literal style, double from, std::string_view words) {
      const auto nested = page_.in("svg", {{"class", "key"}, {"x", "100%"}, {"y", y - 12.0}});
      page_.shape(
          "line",
          {{"class", style.text()}, {"x1", from}, {"x2", from + 22.0}, {"y1", 8.0}, {"y2", 8.0}});
      page_.element("text", words, {{"class", "key-words"}, {"x", from + 26.0}, {"y", 12.0}});
    };
    entry("curve strong", -106.0, "top");
    entry("curve dashed", -54.0, "body");
  }

  [[nodiscard]] std::string in_words() const {
    const ExposureSummary& air = view_.summary;
    std::string words =
        fmt::format("From {} to {}. Sensors covered {:.0f} % of it.", moment_words(air.from, zone_),
                    moment_words(air.to, zone_), std::floor(air.coverage_percent));
    if (air.highest_temperature) {
      words += units_.in(
          fmt::format(" The air was at most {:.1f} °C.", air.highest_temperature->value()));
    }
    if (!view_.life.empty() && view_.life.back().surface_activity) {
      words += fmt::format(" Water activity on top is now about {:.2f}, wake progress {:.0f} %.",
                           view_.life.back().surface_activity->likely,
                           view_.life.back().wake_progress_percent->likely);
    }
    return words + fmt::format(" {} alerts and {} journal entries are marked.", bars_.size(),
                               marks_.size());
  }

  Markup& page_;
  const JarHistoryView& view_;
  const LocalTime& zone_;
  const PersonUnits units_;
  const TimeScale scale_;
  const std::vector<LifeMark> marks_;
  const std::vector<AlertBar> bars_;
  Lane temperature_{}, humidity_{}, activity_{}, progress_{};
  double bars_top_ = 0.0, axis_top_ = 0.0, height_ = 0.0;
};

}  // namespace

void draw_life(Markup& page, const JarHistoryView& view, const PageContext& context) {
  if (view.summary.from >= view.summary.to) return;
  LifeDrawing(page, view, context).draw();
}

}  // namespace torpor::daemon
