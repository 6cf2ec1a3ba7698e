#include "daemon/ledger/names.h"

#include <fmt/format.h>

#include <algorithm>

#include "config/fault.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kMostNamesListed = 60;  // names in one line for a phone

std::string without_dashes(std::string_view id) {
  std::string bare;
  std::copy_if(id.begin(), id.end(), std::back_inserter(bare),
               [](char c) { return c != '-' && c != '_'; });
  return bare;
}

// "B-007" -> "B-7", "B-0" -> "B-0".
std::string without_leading_zeros(std::string_view id) {
  std::string bare;
  for (std::size_t i = 0; i < id.size(); ++i) {
    const bool leads = id[i] == '0' && (i == 0 || !is_digit(id[i - 1])) && i + 1 < id.size() &&
                       is_digit(id[i + 1]);
    if (!leads) {
      bare += id[i];
      continue;
    }
    while (i + 1 < id.size() && id[i] == '0' && is_digit(id[i + 1])) ++i;
    bare += id[i];
  }
  return bare;
}

// Both orders: B-1-02 is b12 read number by number, and b102 read as typed in one go.
bool same_short_form(std::string_view a, std::string_view b) {
  const auto numbers_first = [](std::string_view id) {
    return without_dashes(without_leading_zeros(lower_case(id)));
  };
  const auto dashes_first = [](std::string_view id) {
    return without_leading_zeros(without_dashes(lower_case(id)));
  };
  return numbers_first(a) == numbers_first(b) || dashes_first(a) == dashes_first(b);
}

std::string_view without_slash(std::string_view path) {
  while (path.size() > 1 && path.back() == '/') path.remove_suffix(1);
  return path;
}

// The one that equals it but for case, else all of the same short form.
std::vector<std::string> names_called(const std::vector<std::string>& names, std::string_view id) {
  std::vector<std::string> called;
  for (const std::string& name : names) {
    if (same_word(name, id)) return {name};
    if (same_short_form(name, id)) called.push_back(name);
  }
  return called;
}

std::vector<std::string> ids_of(const std::map<std::string, Jar>& jars) {
  std::vector<std::string> ids;
  ids.reserve(jars.size());
  for (const auto& [id, jar] : jars) ids.push_back(id);
  return ids;
}

}  // namespace

std::vector<const Jar*> jars_called(const std::map<std::string, Jar>& jars, std::string_view id) {
  std::vector<const Jar*> called;
  for (const std::string& name : names_called(ids_of(jars), id)) called.push_back(&jars.at(name));
  return called;
}

const Jar* jar_with_id(const std::map<std::string, Jar>& jars, std::string_view id) {
  const auto found = std::find_if(jars.begin(), jars.end(),
                                  [&](const auto& known) { return same_word(known.first, id); });
  return found == jars.end() ? nullptr : &found->second;
}

tl::expected<std::string, SentenceRefusal> name_meant(const std::vector<std::string>& names,
                                                      std::string_view id, std::string_view what,
                                                      std::string_view example_before,
                                                      std::string_view example_behind) {
  const auto example = [&](std::string_view name) {
    return fmt::format("{} {}{}", example_before, name, example_behind);
  };
  auto called = names_called(names, id);
  if (called.size() == 1) return std::move(called.front());
  if (called.size() > 1) {
    return tl::unexpected(refusal(fmt::format("{} may be {}; write which one in full", shown(id),
                                              listed(called, kMostNamesListed)),
                                  "", example(called.front())));
  }
  const std::string nearest = config::nearest_word(std::string(id), names);
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

tl::expected<const Jar*, SentenceRefusal> jar_meant(const std::map<std::string, Jar>& jars,
                                                    std::string_view id,
                                                    std::string_view example_before,
                                                    std::string_view example_behind) {
  return name_meant(ids_of(jars), id, "jar", example_before, example_behind)
      .map([&](const std::string& name) { return &jars.at(name); });
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
