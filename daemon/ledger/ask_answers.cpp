#include "daemon/ledger/ask_answers.h"

#include <fmt/format.h>

#include <algorithm>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/collection_text.h"
#include "daemon/ledger/names.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kLongestDescription = 2000;  // characters: a line a phone can still scroll
constexpr std::size_t kMostJarsListed = 60;        // jars in one line; `torpor jars` lists all

// Ids of the jars that stand in each place now.
std::map<std::string, std::vector<std::string>> ids_by_place(
    const std::map<std::string, Jar>& jars) {
  std::map<std::string, std::vector<std::string>> by_place;
  for (const auto& [id, jar] : jars) {
    if (!jar.retired_at) by_place[jar.stays.back().place].push_back(id);
  }
  return by_place;
}

std::string count_text(std::size_t count, std::string_view what) {
  return fmt::format("{} {}{}", count, what, count == 1 ? "" : "s");
}

// "; from B-03 and C-01; made from it: B-11".
std::string line_text(const Jar& jar, const Ledger& ledger) {
  std::string text;
  if (jar.split) {
    text += fmt::format("; split off from {}", jar.split->from);
  } else if (!jar.made.from.empty()) {
    text += fmt::format("; from {}", listed(jar.made.from, kMostJarsListed));
  }
  const auto made = ledger.jars_from(jar.made.jar);
  if (!made.empty()) text += fmt::format("; made from it: {}", listed(made, kMostJarsListed));
  return text;
}

}  // namespace

std::string jars_answer(const std::map<std::string, Jar>& jars) {
  const auto by_place = ids_by_place(jars);
  std::size_t count = 0;
  for (const auto& [place, ids] : by_place) count += ids.size();
  if (count == 0) return "no jar is registered";
  std::vector<std::string> parts;
  std::size_t room = kMostJarsListed;
  for (const auto& [place, ids] : by_place) {
    if (room == 0) break;
    const std::size_t taken = std::min(room, ids.size());
    room -= taken;
    parts.push_back(
        fmt::format("{}: {}", harmless(place),
                    fmt::join(ids.begin(), ids.begin() + static_cast<long>(taken), ", ")));
  }
  return fmt::format(
      "{}: {}{}", count_text(count, "jar"), fmt::join(parts, "; "),
      count > kMostJarsListed ? fmt::format("; and {} more", count - kMostJarsListed) : "");
}

std::string places_answer(const std::vector<std::string>& places,
                          const std::map<std::string, Jar>& jars) {
  if (places.empty()) return "the configuration names no place";
  const auto by_place = ids_by_place(jars);
  std::vector<std::string> parts;
  for (const std::string& place : places) {
    const auto ids = by_place.find(place);
    parts.push_back(ids == by_place.end() ? harmless(place)
                                          : fmt::format("{} ({})", harmless(place),
                                                        count_text(ids->second.size(), "jar")));
  }
  return fmt::format("{}: {}", count_text(places.size(), "place"), listed(parts, kMostJarsListed));
}

tl::expected<std::string, SentenceRefusal> about_answer(std::string_view about,
                                                        const Ledger& ledger,
                                                        const std::vector<std::string>& places,
                                                        const LedgerView& view,
                                                        const LocalTime& zone) {
  const auto place = place_called(places, about);
  const auto known = name_meant(ledger.names(), about, "jar", "ask");
  // Several may be meant: asked, not passed over for the place of that name.
  const bool is_known = known || !ledger.jar_names().called(about).empty();
  if (is_known && !known) return tl::unexpected(known.error());
  const std::vector<ToldSensor> sensors = view.sensors();
  const auto sensor = std::find_if(sensors.begin(), sensors.end(), [&](const ToldSensor& each) {
    return same_word(each.id, about);
  });
  std::string answer;
  if (known) {
    const auto jar = ledger.jars().find(*known);
    answer = jar != ledger.jars().end()
                 ? harmless(view.describe_jar(jar->second), kLongestDescription) +
                       line_text(jar->second, ledger)
                 : collection_answer(ledger.collections().at(*known), ledger, zone);
  }
  if (place) {
    if (!answer.empty()) answer += "; ";
    answer += harmless(view.describe_place(*place), kLongestDescription);
  }
  if (sensor != sensors.end()) {
    if (!answer.empty()) answer += "; ";
    answer += harmless(view.describe_sensor(sensor->id), kLongestDescription);
  }
  if (known || place || sensor != sensors.end()) return answer;

  const bool like_a_place = about.find('/') != std::string_view::npos || !is_jar_id(about) ||
                            !nearest_place(places, about).empty();
  if (like_a_place) {
    const auto refused = place_meant(places, about, "ask");
    if (!refused) return tl::unexpected(refused.error());
  }
  return tl::unexpected(known.error());
}

}  // namespace torpor::daemon
