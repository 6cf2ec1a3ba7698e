#include "daemon/report/life_marks.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "daemon/report/jar_words.h"

namespace torpor::daemon {
namespace {

constexpr int kMarkRows = 3;
constexpr int kBarRows = 5;
constexpr std::size_t kLongestRange = 7;  // letters of a usual one, "118\u2026131"
// What a mark takes beside its number, as kLetterShare.
constexpr double kMarkShare = 0.045;
// From here on a mark's number stands before it.
constexpr double kMarkAtEnd = 0.78;
// Of the axis: two pixels of a phone's.
constexpr double kLeastPartShare = 0.006;

MarkShape shape_of(const JarHistoryView& view, const JournalEntry& entry) {
  for (const JarEvent& event : view.events) {
    if (event.entry != entry.number) continue;
    return std::holds_alternative<rules::culture::Act>(event.what) ? MarkShape::done
                                                                   : MarkShape::seen;
  }
  for (const Stay& stay : view.stays) {
    if (stay.from == entry.happened_at) return MarkShape::moved;
  }
  return MarkShape::done;
}

template <class Placed>
int rows_of(const std::vector<Placed>& placed) {
  int rows = 0;
  for (const Placed& one : placed) rows = std::max(rows, one.row + 1);
  return rows;
}

void draw_shape(Markup& page, const LifeMark& mark, double y) {
  const auto place = page.in("svg", {{"class", "mark"}, {"x", percent_text(mark.share)}, {"y", y}});
  switch (mark.shape) {
    case MarkShape::done:
      page.shape("path", {{"d", "M-4 4h8l-4 -8z"}});
      break;
    case MarkShape::seen:
      page.shape("circle", {{"r", 4.0}});
      break;
    case MarkShape::moved:
      page.shape("rect", {{"x", -4.0}, {"y", -4.0}, {"width", 8.0}, {"height", 8.0}});
      break;
  }
  const bool at_end = mark.share > kMarkAtEnd;
  page.element(
      "text", mark.number,
      {{"class", at_end ? "number end" : "number"}, {"x", at_end ? -7.0 : 7.0}, {"y", 4.0}});
}

struct Strip {
  Literal style;
  double top, height;
};

// A stretch of one strip, with its words: those that are longer than it are cut.
void draw_part(Markup& page, const TimeScale& scale, Instant begin, Instant end, const Strip& strip,
               std::string_view words) {
  const Instant from = std::max(begin, scale.from());
  const Instant to = std::min(end, scale.to());
  if (from >= to) return;
  const auto part = page.in("svg", {{"x", scale.percent(from)},
                                    {"y", strip.top},
                                    {"width", scale.width(from, to)},
                                    {"height", strip.height}});
  page.shape("rect", {{"class", strip.style.text()}, {"width", "100%"}, {"height", strip.height}});
  page.element("text", words, {{"class", "place"}, {"x", 5.0}, {"y", strip.height - 5.0}});
}

}  // namespace

std::vector<LifeMark> marks_of(const JarHistoryView& view, const TimeScale& scale) {
  std::vector<const JournalEntry*> entries;
  for (const JournalEntry& entry : view.journal) {
    if (entry.happened_at >= scale.from() && entry.happened_at <= scale.to()) {
      entries.push_back(&entry);
    }
  }
  std::stable_sort(entries.begin(), entries.end(),
                   [](const auto* a, const auto* b) { return a->happened_at < b->happened_at; });
  std::vector<LifeMark> marks;
  std::array<double, kMarkRows> taken_to{};
  taken_to.fill(-1.0);
  // A number at the end may still grow to a range, and grows to the left.
  const auto width = [](double share, const std::string& number) {
    const std::size_t letters = share > kMarkAtEnd ? kLongestRange : number.size();
    return kMarkShare + kLetterShare * static_cast<double>(letters);
  };
  for (const JournalEntry* entry : entries) {
    const double share = scale.share(entry->happened_at);
    const std::string number = fmt::format("{}", entry->number);
    const double wide = width(share, number);
    const double begin = share > kMarkAtEnd ? share - wide : share - kMarkShare / 2.0;
    const auto row = std::find_if(taken_to.begin(), taken_to.end(),
                                  [begin](double taken) { return taken <= begin; });
    if (row == taken_to.end()) {
      LifeMark& last = marks.back();
      last.number =
          fmt::format("{}\u2026{}", last.number.substr(0, last.number.find("\u2026")), number);
      double& taken = taken_to[static_cast<std::size_t>(last.row)];
      taken = std::max(taken, last.share + width(last.share, last.number));
      continue;
    }
    *row = share > kMarkAtEnd ? share + kMarkShare / 2.0 : begin + wide;
    marks.push_back(
        {share, shape_of(view, *entry), number, static_cast<int>(row - taken_to.begin())});
  }
  return marks;
}

int mark_rows(const std::vector<LifeMark>& marks) { return rows_of(marks); }

std::vector<AlertBar> alert_bars(const JarHistoryView& view, const TimeScale& scale) {
  std::vector<AlertBar> bars;
  std::array<double, kBarRows> taken_from{};
  taken_from.fill(2.0);
  // From the newest back: they matter most.
  for (auto alert = view.alerts.rbegin(); alert != view.alerts.rend(); ++alert) {
    const rules::Alert& about = alert->alert;
    AlertBar bar;
    bar.from = scale.share(about.since);
    bar.open = !about.ended_at;
    bar.to = about.ended_at ? scale.share(*about.ended_at) : 1.0;
    bar.words = fmt::format("{} {}", about.number, about.rule);
    const double words = kLetterShare * static_cast<double>(bar.words.size());
    // Words that do not fit behind the bar's begin stand before its end.
    const double begin = std::min(bar.from, 1.0 - words);
    const double end = std::max(bar.to, begin + words);
    const auto row = std::find_if(taken_from.begin(), taken_from.end(),
                                  [end](double taken) { return end <= taken; });
    if (row == taken_from.end()) continue;
    *row = begin;
    bar.row = static_cast<int>(row - taken_from.begin());
    bars.push_back(std::move(bar));
  }
  return bars;
}

int bar_rows(const std::vector<AlertBar>& bars) { return rows_of(bars); }

void draw_stays(Markup& page, const JarHistoryView& view, const TimeScale& scale) {
  for (const Stay& stay : view.stays) {
    draw_part(page, scale, stay.from, stay.to.value_or(scale.to()), {"stay", 1.0, 20.0},
              stay.place);
  }
}

void draw_speakers(Markup& page, const JarHistoryView& view, const TimeScale& scale) {
  std::vector<Speaker> shown;
  for (const Speaker& speaker : speakers_of(view)) {
    // One that spoke for less than can be drawn is no change worth a line.
    const bool narrow = scale.share(speaker.to) - scale.share(speaker.from) < kLeastPartShare;
    if (!shown.empty() && (narrow || shown.back().sensor == speaker.sensor)) {
      shown.back().to = speaker.to;
    } else {
      shown.push_back(speaker);
    }
  }
  for (const Speaker& speaker : shown) {
    draw_part(page, scale, speaker.from, speaker.to, {"speaker", 21.0, 17.0},
              speaker.sensor.empty() ? "no sensor" : "by " + speaker.sensor);
  }
}

void draw_marks(Markup& page, const std::vector<LifeMark>& marks, double bottom) {
  for (const LifeMark& mark : marks) {
    const std::string x = percent_text(mark.share);
    const double y = kMarksTop + mark.row * kMarkRow + kMarkRow / 2.0;
    page.shape("line",
               {{"class", "thread"}, {"x1", x}, {"x2", x}, {"y1", y + 5.0}, {"y2", bottom}});
    draw_shape(page, mark, y);
  }
}

void draw_bars(Markup& page, const std::vector<AlertBar>& bars, double top) {
  if (bars.empty()) return;
  page.element("text", "Alerts, by number", {{"class", "lane"}, {"x", 0.0}, {"y", top - 6.0}});
  for (const AlertBar& bar : bars) {
    const double y = top + bar.row * kBarRow;
    page.shape("rect", {{"class", bar.open ? "alert open" : "alert"},
                        {"x", percent_text(bar.from)},
                        {"y", y + 13.0},
                        {"width", percent_text(std::max(bar.to - bar.from, 0.004))},
                        {"height", 4.0}});
    const double words = kLetterShare * static_cast<double>(bar.words.size());
    const bool before_end = bar.from > 1.0 - words;
    page.element("text", bar.words,
                 {{"class", before_end ? "number end" : "number"},
                  {"x", percent_text(before_end ? 1.0 : bar.from)},
                  {"y", y + 9.0}});
  }
}

}  // namespace torpor::daemon
