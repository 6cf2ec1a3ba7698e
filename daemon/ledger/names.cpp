#include "daemon/ledger/names.h"

#include <fmt/format.h>

#include <algorithm>

#include "config/fault.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kMostNamesListed = 60;  // names in one line for a phone

std::string_view without_slash(std::string_view path) {
  while (path.size() > 1 && path.back() == '/') path.remove_suffix(1);
  return path;
}

}  // namespace

tl::expected<std::string, SentenceRefusal> name_meant(const NameIndex& names, std::string_view id,
                                                      std::string_view what,
                                                      std::string_view example_before,
                                                      std::string_view example_behind) {
  const auto example = [&](std::string_view name) {
    return fmt::format("{} {}{}", example_before, name, example_behind);
  };
  auto called = names.called(id);
  if (called.size() == 1) return std::move(called.front());
  if (called.size() > 1) {
    return tl::unexpected(refusal(fmt::format("{} may be {}; write which one in full", shown(id),
                                              listed(called, kMostNamesListed)),
                                  "", example(called.front())));
  }
  const std::string nearest = config::nearest_word(std::string(id), names.all());
  if (!nearest.empty()) {
    return tl::unexpected(
        refusal(fmt::format("there is no {} {}; the nearest is {}", what, shown(id), nearest), "",
                example(nearest)));
  }
  return tl::unexpected(refusal(
      fmt::format("there is no {} {}; {}", what, shown(id),
                  names.empty() ? "none is registered yet" : "`ask jars` lists them"),
      "", names.empty() ? std::string("new jar B-07 in cellar/shelf-2") : std::string("ask jars")));
}

std::optional<std::string> place_called(const std::vector<std::string>& places,
                                        std::string_view path) {
  const std::string_view wanted = without_slash(path);
  if (const auto exact = std::find(places.begin(), places.end(), wanted); exact != places.end()) {
    return *exact;
  }
  std::optional<std::string> found;
  for (const std::string& place : places) {
    if (!same_word(place, wanted)) continue;
    if (found) return std::nullopt;
    found = place;
  }
  return found;
}

std::string nearest_place(const std::vector<std::string>& places, std::string_view path) {
  const std::string tail = "/" + lower_case(without_slash(path));
  for (const std::string& place : places) {
    const std::string lower = lower_case(place);
    if (lower.size() > tail.size() &&
        lower.compare(lower.size() - tail.size(), tail.size(), tail) == 0) {
      return place;
    }
  }
  return config::nearest_word(std::string(without_slash(path)), places);
}

tl::expected<std::string, SentenceRefusal> place_meant(const std::vector<std::string>& places,
                                                       std::string_view path,
                                                       std::string_view example_before) {
  if (auto place = place_called(places, path)) return std::move(*place);
  const std::string nearest = nearest_place(places, path);
  std::vector<std::string> known;
  known.reserve(places.size());
  for (const std::string& place : places) known.push_back(harmless(place));
  const std::string hint = nearest.empty()
                               ? fmt::format("the places are {}", listed(known, kMostNamesListed))
                               : fmt::format("the nearest is {}", harmless(nearest));
  const std::string example = !nearest.empty()  ? nearest
                              : !places.empty() ? places.front()
                                                : std::string("cellar");
  return tl::unexpected(refusal(fmt::format("there is no place {}; {}", shown(path),
                                            places.empty() ? "the configuration names none" : hint),
                                "", fmt::format("{} {}", example_before, as_told(example))));
}

}  // namespace torpor::daemon
