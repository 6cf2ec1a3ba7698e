#include "daemon/report/jar_line.h"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <set>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/collection_text.h"

namespace torpor::daemon {
namespace {

std::vector<LineView::Step> parents_of(const Ledger& ledger, const std::string& id) {
  const auto jar = ledger.jars().find(id);
  if (jar == ledger.jars().end()) return {};
  std::vector<LineView::Step> steps;
  for (const std::string& parent : jar->second.made.from) steps.push_back({id, parent, {}});
  const auto& split = jar->second.split;
  if (split) steps.push_back({id, split->from, split->contents});
  return steps;
}

std::vector<LineView::Step> children_of(const Ledger& ledger, const std::string& id) {
  std::vector<LineView::Step> steps;
  for (const std::string& child : ledger.jars_from(id)) {
    const auto& split = ledger.jars().at(child).split;
    const bool is_split = split && split->from == id;
    steps.push_back({child, id, is_split ? std::optional(split->contents) : std::nullopt});
  }
  return steps;
}

// Breadth first, each jar once: two ways to one ancestor are two steps, not two lines.
template <class Next, class End>
std::vector<LineView::Step> walk_line(const std::string& start, Next next, End end_of) {
  std::vector<LineView::Step> steps;
  std::deque<std::string> open{start};
  std::set<std::string> seen{start};
  while (!open.empty()) {
    const std::string id = std::move(open.front());
    open.pop_front();
    for (LineView::Step& step : next(id)) {
      if (steps.size() == kMostLineSteps) return steps;
      if (seen.insert(end_of(step)).second) open.push_back(end_of(step));
      steps.push_back(std::move(step));
    }
  }
  return steps;
}

// "B-03 (IMO-1, closed 2026-02-25)"; a collection is named alone, it has a row of its own.
std::string with_who(const LineView& line, const std::string& id, const LocalTime& zone) {
  const auto who = line.jars.find(id);
  if (who == line.jars.end()) return id;
  return fmt::format(
      "{} ({}{}closed {}{})", id, who->second.stage, who->second.stage.empty() ? "" : ", ",
      zone.to_text(who->second.closed).substr(0, 10), who->second.retired ? ", retired" : "");
}

std::string step_words(const LineView& line, const LineView::Step& step, bool back,
                       const std::string& own, const LocalTime& zone) {
  const std::string split =
      step.split ? fmt::format("{} split off ", grams_text(*step.split)) : std::string();
  if (back) {
    const std::string subject = step.jar == own ? std::string() : step.jar + ": ";
    return fmt::format("{}{}{}{}", subject, split, split.empty() ? "" : "from ",
                       with_who(line, step.parent, zone));
  }
  const std::string origin =
      step.parent == own ? std::string() : fmt::format(" from {}", step.parent);
  return fmt::format("{}{}{}", split.empty() ? "" : split + "into ", with_who(line, step.jar, zone),
                     origin);
}

}  // namespace

LineView line_of(const Ledger& ledger, const Jar& jar) {
  LineView line;
  const std::string& id = jar.made.jar;
  line.back = walk_line(
      id, [&](const std::string& one) { return parents_of(ledger, one); },
      [](const LineView::Step& step) -> const std::string& { return step.parent; });
  line.forward = walk_line(
      id, [&](const std::string& one) { return children_of(ledger, one); },
      [](const LineView::Step& step) -> const std::string& { return step.jar; });
  for (const LineView::Step& step : line.back) {
    const auto collection = ledger.collections().find(step.parent);
    if (collection == ledger.collections().end()) continue;
    const bool known =
        std::any_of(line.collections.begin(), line.collections.end(),
                    [&](const Collection& one) { return one.made.collection == step.parent; });
    if (!known) line.collections.push_back(collection->second);
  }
  const auto name = [&](const std::string& one) {
    const auto known = ledger.jars().find(one);
    if (known == ledger.jars().end()) return;
    line.jars.insert_or_assign(one, LineView::Who{known->second.made.stage, known->second.closed(),
                                                  known->second.retired_at.has_value()});
  };
  for (const auto* steps : {&line.back, &line.forward}) {
    for (const LineView::Step& step : *steps) {
      name(step.jar);
      name(step.parent);
    }
  }
  line.taken = ledger.taken_from(id);
  return line;
}

std::vector<LineRow> line_rows(const JarHistoryView& view, const LocalTime& zone) {
  const LineView& line = view.line;
  const std::string& own = view.jar.jar;
  std::vector<LineRow> rows;
  rows.reserve(line.back.size());
  for (const LineView::Step& step : line.back) {
    rows.push_back({"from", step_words(line, step, true, own, zone)});
  }
  for (const Collection& collection : line.collections) {
    rows.push_back({collection.made.collection, collection_words(collection, zone)});
  }
  for (const LineView::Step& step : line.forward) {
    rows.push_back({"into", step_words(line, step, false, own, zone)});
  }
  for (const Portion& taken : line.taken) {
    if (!taken.into.empty()) continue;  // said with the jar it went into
    rows.push_back(
        {"taken",
         fmt::format(
             "{}: {}{}", zone.to_text(taken.at).substr(0, 10), grams_text(taken.contents),
             taken.purpose.empty() ? std::string() : fmt::format(" for \"{}\"", taken.purpose))});
  }
  return rows;
}

std::string entry_words(const JarHistoryView& view, const JournalEntry& entry) {
  std::string words = entry.sentence;
  if (!entry.by.empty()) words += " (" + entry.by + ")";
  const auto withdrawn = view.withdrawn.find(entry.number);
  if (withdrawn == view.withdrawn.end()) return words;
  return fmt::format("[withdrawn by entry {}] {}", withdrawn->second, words);
}

}  // namespace torpor::daemon
