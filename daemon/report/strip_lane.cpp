#include "daemon/report/strip_lane.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace torpor::daemon {
namespace {

constexpr double kAboveLane = 4.0;      // a title's distance to its lane, px
constexpr double kFigureHeight = 11.0;  // px that a figure in the margin takes

void margin_figure(Markup& page, Literal style, double value, int decimals, double y) {
  page.element("text", fmt::format("{:.{}f}", value, decimals),
               {{"class", style.text()}, {"x", -5.0}, {"y", y + 4.0}});
}

}  // namespace

std::string percent_text(double share) { return fmt::format("{:.2f}%", 100.0 * share); }

double TimeScale::share(Instant at) const {
  const auto whole = static_cast<double>((to_ - from_).count());
  return std::clamp(static_cast<double>((at - from_).count()) / whole, 0.0, 1.0);
}

std::string TimeScale::percent(Instant at) const { return percent_text(share(at)); }

std::string TimeScale::width(Instant from, Instant to) const {
  return percent_text(share(to) - share(from));
}

double Lane::y(double value) const {
  return height * (1.0 - std::clamp((value - low) / (high - low), 0.0, 1.0));
}

std::string line_path(const Run& run, const TimeScale& scale, const Lane& lane) {
  std::string path;
  for (const BandPoint& point : run) {
    path += fmt::format("{}{:.1f} {:.1f}", path.empty() ? "M" : "L", scale.x(point.at),
                        lane.y((point.low + point.high) / 2.0));
  }
  // One point alone is a dot: a line of no length with round ends.
  if (run.size() == 1) path += "h0.1";
  return path;
}

std::string area_path(const Run& run, const TimeScale& scale, const Lane& lane) {
  std::string path;
  for (const BandPoint& point : run) {
    path += fmt::format("{}{:.1f} {:.1f}", path.empty() ? "M" : "L", scale.x(point.at),
                        lane.y(point.high));
  }
  for (auto point = run.rbegin(); point != run.rend(); ++point) {
    path += fmt::format("L{:.1f} {:.1f}", scale.x(point->at), lane.y(point->low));
  }
  return path + 'Z';
}

double round_step(double low, double high, int lines) {
  const double rough = (high - low) / lines;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  for (const double factor : {1.0, 2.0, 5.0}) {
    if (factor * power >= rough * 0.999) return factor * power;
  }
  return 10.0 * power;
}

void draw_rulings(Markup& page, const Lane& lane, const LaneTitle& title) {
  page.shape("rect", {{"class", "frame"},
                      {"x", 0.0},
                      {"y", lane.top},
                      {"width", "100%"},
                      {"height", lane.height}});
  const double first = std::ceil(lane.low / title.step - 0.001) * title.step;
  for (int i = 0; first + i * title.step <= lane.high + title.step * 0.001; ++i) {
    const double value = first + i * title.step;
    const double y = lane.top + lane.y(value);
    page.shape("line", {{"class", "rule"}, {"x1", 0.0}, {"x2", "100%"}, {"y1", y}, {"y2", y}});
    const bool crowded = std::any_of(title.limits.begin(), title.limits.end(), [&](double limit) {
      return lane.shows(limit) && std::abs(lane.top + lane.y(limit) - y) < kFigureHeight;
    });
    if (!crowded) margin_figure(page, "figure", value, title.decimals, y);
  }
  page.element("text", title.title, {{"class", "lane"}, {"x", 0.0}, {"y", lane.top - kAboveLane}});
  if (!title.note.empty()) {
    page.element("text", title.note,
                 {{"class", "limit-words"}, {"x", "100%"}, {"y", lane.top - kAboveLane}});
  }
}

void draw_limits(Markup& page, const Lane& lane, const LaneTitle& title) {
  for (const double limit : title.limits) {
    if (!lane.shows(limit)) continue;
    const double y = lane.top + lane.y(limit);
    page.shape("line", {{"class", "limit"}, {"x1", 0.0}, {"x2", "100%"}, {"y1", y}, {"y2", y}});
    margin_figure(page, "limit-figure", limit, title.decimals, y);
  }
}

}  // namespace torpor::daemon
